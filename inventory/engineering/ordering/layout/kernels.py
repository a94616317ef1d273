"""
One packing of boxes in a given order, compiled: anywhere, or by cuts from edge to edge.

Both fill a room of a given width and height and leave out what does not fit; a search asks
for less height and for an order with which all fits. Compiled with numba, since a search
packs some hundred thousand times.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from collections.abc import Callable

CUTS = 4  # ways to part what is left beside a box, see `fill_by_cuts`


def _compiled(function: Callable[..., Any]) -> Any:
    """Compile, and keep the result between processes where there is a place to write."""
    try:
        return njit(cache=True, nogil=True)(function)
    except RuntimeError:  # no folder for the cache can be written
        return njit(nogil=True)(function)


@_compiled
def _drop(starts, tops, widths, count, at):  # type: ignore[no-untyped-def]
    """Take a step out of the skyline."""
    for step in range(at, count - 1):
        starts[step] = starts[step + 1]
        tops[step] = tops[step + 1]
        widths[step] = widths[step + 1]
    return count - 1


@_compiled
def _join(starts, tops, widths, count, at):  # type: ignore[no-untyped-def]
    """Join a step with its neighbours of the same height."""
    if at < count - 1 and tops[at + 1] == tops[at]:
        widths[at] += widths[at + 1]
        count = _drop(starts, tops, widths, count, at + 1)
    if at > 0 and tops[at - 1] == tops[at]:
        widths[at - 1] += widths[at]
        count = _drop(starts, tops, widths, count, at)
    return count


@_compiled
def _fit(box_width, box_height, room, higher, lower):  # type: ignore[no-untyped-def]
    """
    Say how well a box fits between two walls: fewer steps left is better.

    Ours; the thought of rating by the steps left is that of the skyline heuristics
    (Wei, Oon, Zhu and Lim 2011, European Journal of Operational Research 215).
    """
    if box_width == room:
        if box_height == higher:
            return 7
        if box_height == lower:
            return 6
        if box_height > higher:
            return 5
        return 3 if box_height > lower else 2
    if box_height == higher:
        return 4
    return 1 if box_height == lower else 0


@_compiled
def fill_free(order, cuts, width, height, can_turn, room, limit, across, along, turned):  # type: ignore[no-untyped-def]
    """
    Pack boxes at the lowest place of the skyline, the best fitting first, ties by the order.

    ``cuts`` says of each box how it is taken: 0 where it fits best, 2 as soon as it is the
    first in order that fits; 1 and 3 the same, and only turned, where it may be.
    ``across``, ``along`` and ``turned`` are filled in; ``across`` is -1 for a box that found
    no place.

    Returns
    -------
    area, top : int
        The area packed, and how high.
    """
    count_of_boxes = order.shape[0]
    after = np.arange(1, count_of_boxes + 1)
    first = 0
    starts = np.empty(count_of_boxes + 2, np.int64)
    tops = np.empty(count_of_boxes + 2, np.int64)
    widths = np.empty(count_of_boxes + 2, np.int64)
    starts[0], tops[0], widths[0] = 0, 0, room
    count = 1
    area = 0
    top = 0
    across[:] = -1
    while first < count_of_boxes:
        low = 0
        for step in range(1, count):
            if tops[step] < tops[low]:
                low = step
        base = tops[low]
        here = widths[low]
        left = tops[low - 1] - base if low > 0 else limit - base
        right = tops[low + 1] - base if low < count - 1 else limit - base
        higher = max(left, right)
        lower = min(left, right)
        best, best_before, best_fit, best_turn = -1, -1, -1, False
        before = -1
        at = first
        while at < count_of_boxes and best_fit < 7:
            box = order[at]
            may_turn = can_turn[box] and width[box] != height[box]
            for turn in range(2):
                if (turn == 1 and not may_turn) or (
                    turn == 0 and may_turn and cuts[box] % 2 == 1
                ):
                    continue
                box_width = height[box] if turn == 1 else width[box]
                box_height = width[box] if turn == 1 else height[box]
                if box_width <= here and box_height <= limit - base:
                    fit = _fit(box_width, box_height, here, higher, lower)
                    if cuts[box] >= 2 and best < 0:
                        fit = 8
                    if fit > best_fit:
                        best, best_before, best_fit, best_turn = at, before, fit, turn == 1
            before = at
            at = after[at]
        if best < 0:
            if count == 1:
                break
            if low == 0:
                tops[low] = tops[1]
            elif low == count - 1:
                tops[low] = tops[low - 1]
            else:
                tops[low] = min(tops[low - 1], tops[low + 1])
            count = _join(starts, tops, widths, count, low)
            continue
        box = order[best]
        box_width = height[box] if best_turn else width[box]
        box_height = width[box] if best_turn else height[box]
        if best_before < 0:
            first = after[best]
        else:
            after[best_before] = after[best]
        area += box_width * box_height
        top = max(top, base + box_height)
        turned[box] = best_turn
        along[box] = base
        if box_width == here:
            across[box] = starts[low]
            tops[low] = base + box_height
            count = _join(starts, tops, widths, count, low)
            continue
        # A new step beside the higher wall; the rest of the old one stays.
        at_left = left >= right
        for step in range(count, low, -1):
            starts[step] = starts[step - 1]
            tops[step] = tops[step - 1]
            widths[step] = widths[step - 1]
        count += 1
        new = low if at_left else low + 1
        rest = low + 1 if at_left else low
        across[box] = starts[low] if at_left else starts[low] + here - box_width
        widths[rest] = here - box_width
        starts[rest] = starts[low] + box_width if at_left else starts[low]
        starts[new] = across[box]
        widths[new] = box_width
        tops[new] = base + box_height
        tops[rest] = base
        count = _join(starts, tops, widths, count, new)
    return area, top


@_compiled
def fill_by_cuts(order, cuts, width, height, can_turn, room, limit, across, along, turned):  # type: ignore[no-untyped-def]
    """
    Pack boxes so that cuts from edge to edge part them; returns as `fill_free` does.

    Each box lies in the corner of the rest that was cut off last. ``cuts`` says of each box
    how the rest beside it is parted: 0 across the roll at its top, 1 along the roll at its
    side, 2 along the roll behind it and the next box that fits beside it, 3 across the roll
    above it and the next box that fits on it.
    """
    count_of_boxes = order.shape[0]
    after = np.arange(1, count_of_boxes + 1)
    first = 0
    rests = np.empty((4 * count_of_boxes + 8, 4), np.int64)
    rests[0, 0], rests[0, 1], rests[0, 2], rests[0, 3] = 0, 0, room, limit
    count = 1
    area = 0
    top = 0
    across[:] = -1
    while count > 0 and first < count_of_boxes:
        count -= 1
        at_x, at_y = rests[count, 0], rests[count, 1]
        wide, high = rests[count, 2], rests[count, 3]
        best, best_before, best_fit, best_turn = -1, -1, -1, False
        before = -1
        at = first
        while at < count_of_boxes and best_fit < 3:
            box = order[at]
            for turn in range(2):
                if turn == 1 and (not can_turn[box] or width[box] == height[box]):
                    break
                box_width = height[box] if turn == 1 else width[box]
                box_height = width[box] if turn == 1 else height[box]
                if box_width <= wide and box_height <= high:
                    fit = 2 * (box_width == wide) + (box_height == high)
                    if fit > best_fit:
                        best, best_before, best_fit, best_turn = at, before, fit, turn == 1
            before = at
            at = after[at]
        if best < 0:
            continue
        box = order[best]
        box_width = height[box] if best_turn else width[box]
        box_height = width[box] if best_turn else height[box]
        if best_before < 0:
            first = after[best]
        else:
            after[best_before] = after[best]
        across[box], along[box], turned[box] = at_x, at_y, best_turn
        area += box_width * box_height
        top = max(top, at_y + box_height)
        beside = wide - box_width
        above = high - box_height
        cut = cuts[box]
        next_width, next_height = 0, 0
        if cut >= 2 and beside > 0 and above > 0:
            at = first
            while at < count_of_boxes:
                other = order[at]
                if (cut == 2 and width[other] <= beside and height[other] <= high) or (
                    cut == 3 and height[other] <= above and width[other] <= wide
                ):
                    next_width, next_height = width[other], height[other]
                    break
                at = after[at]
        if next_width > 0 and cut == 2:
            reach = box_width + next_width
            row = max(box_height, next_height)
            count = _keep(rests, count, at_x + reach, at_y, wide - reach, high)
            count = _keep(rests, count, at_x, at_y + row, reach, high - row)
            count = _keep(rests, count, at_x, at_y + box_height, box_width, row - box_height)
            count = _keep(rests, count, at_x + box_width, at_y, next_width, row)
        elif next_width > 0:
            reach = box_height + next_height
            column = max(box_width, next_width)
            count = _keep(rests, count, at_x, at_y + reach, wide, high - reach)
            count = _keep(rests, count, at_x + column, at_y, wide - column, reach)
            count = _keep(rests, count, at_x + box_width, at_y, column - box_width, box_height)
            count = _keep(rests, count, at_x, at_y + box_height, column, next_height)
        elif cut % 2 == 0:
            count = _keep(rests, count, at_x, at_y + box_height, wide, above)
            count = _keep(rests, count, at_x + box_width, at_y, beside, box_height)
        else:
            count = _keep(rests, count, at_x + box_width, at_y, beside, high)
            count = _keep(rests, count, at_x, at_y + box_height, box_width, above)
    return area, top


@_compiled
def _keep(rests, count, at_x, at_y, wide, high):  # type: ignore[no-untyped-def]
    """Put a rest on the pile, if anything is left of it."""
    if wide <= 0 or high <= 0:
        return count
    rests[count, 0], rests[count, 1], rests[count, 2], rests[count, 3] = at_x, at_y, wide, high
    return count + 1


@_compiled
def climb(by_cuts, order, cuts, width, height, can_turn, room, limit, tries, seed, total):  # type: ignore[no-untyped-def]
    """
    Change an order and its cuts at random, and keep what packs no less into the room.

    ``order`` and ``cuts`` are changed in place; ends early when all boxes are in.

    Returns
    -------
    area : int
        The area packed at the end.
    """
    np.random.seed(seed)
    count = order.shape[0]
    across = np.empty(count, np.int64)
    along = np.empty(count, np.int64)
    turned = np.zeros(count, np.bool_)
    if by_cuts:
        area, _ = fill_by_cuts(
            order, cuts, width, height, can_turn, room, limit, across, along, turned
        )
    else:
        area, _ = fill_free(
            order, cuts, width, height, can_turn, room, limit, across, along, turned
        )
    if area == total or count == 1:
        return area
    for _ in range(tries):
        one = np.random.randint(count)
        other = np.random.randint(count)
        kind = np.random.random()
        if not by_cuts:
            kind = 0.3 if kind < 0.1 else 0.5
        before = cuts[one]
        if kind < 0.4:
            cuts[one] = np.random.randint(CUTS)
        elif kind < 0.7:
            if (
                width[order[one]] == width[order[other]]
                and height[order[one]] == height[order[other]]
            ):
                continue
            order[one], order[other] = order[other], order[one]
        else:
            _move(order, one, other)
        if by_cuts:
            got, _ = fill_by_cuts(
                order, cuts, width, height, can_turn, room, limit, across, along, turned
            )
        else:
            got, _ = fill_free(
                order, cuts, width, height, can_turn, room, limit, across, along, turned
            )
        if got >= area:
            area = got
            if area == total:
                break
        elif kind < 0.4:
            cuts[one] = before
        elif kind < 0.7:
            order[one], order[other] = order[other], order[one]
        else:
            _move(order, other, one)
    return area


@_compiled
def _move(order, start, end):  # type: ignore[no-untyped-def]
    """Move one entry of an order to another place."""
    box = order[start]
    if start < end:
        for at in range(start, end):
            order[at] = order[at + 1]
    else:
        for at in range(start, end, -1):
            order[at] = order[at - 1]
    order[end] = box


@_compiled
def best_sums(sizes, prices, room):  # type: ignore[no-untyped-def]
    """
    Return the dearest set of sizes, any number of each, that fits a room.

    Returns
    -------
    worth : float
    counts : int array, an entry a size
    """
    worth = np.zeros(room + 1)
    choice = np.full(room + 1, -1, np.int64)
    for used in range(1, room + 1):
        worth[used] = worth[used - 1]
        for at in range(sizes.shape[0]):
            if sizes[at] <= used:
                value = worth[used - sizes[at]] + prices[at]
                if value > worth[used] + 1e-12:
                    worth[used] = value
                    choice[used] = at
    counts = np.zeros(sizes.shape[0], np.int64)
    used = room
    while used > 0:
        if choice[used] < 0:
            used -= 1
        else:
            counts[choice[used]] += 1
            used -= sizes[choice[used]]
    return worth[room], counts


@_compiled
def best_stacks(lengths, prices, widths, columns, most):  # type: ignore[no-untyped-def]
    """
    Return the dearest stack of blocks in columns of given widths, for every height.

    Returns
    -------
    worth : float array, columns × (most + 1)
    choice : int array of the same shape
        The block on top of the best stack; -1: the height below is as good.
    """
    count = columns.shape[0]
    worth = np.zeros((count, most + 1))
    choice = np.full((count, most + 1), -1, np.int64)
    for column in range(count):
        for height in range(1, most + 1):
            best = worth[column, height - 1]
            chosen = -1
            for block in range(lengths.shape[0]):
                if widths[block] <= columns[column] and lengths[block] <= height:
                    value = worth[column, height - lengths[block]] + prices[block]
                    if value > best + 1e-12:
                        best = value
                        chosen = block
            worth[column, height] = best
            choice[column, height] = chosen
    return worth, choice


@_compiled
def layer_worths(worth, heights, columns, room):  # type: ignore[no-untyped-def]
    """Return what the best columns side by side are worth, for layers of given heights."""
    result = np.empty(heights.shape[0])
    best = np.zeros(room + 1)
    for at in range(heights.shape[0]):
        height = heights[at]
        for used in range(1, room + 1):
            best[used] = best[used - 1]
            for column in range(columns.shape[0]):
                if columns[column] <= used:
                    value = best[used - columns[column]] + worth[column, height]
                    if value > best[used]:
                        best[used] = value
        result[at] = best[room]
    return result


def warm_up() -> None:
    """Have everything compiled, so that a search's time is not spent on it."""
    one = np.array([0], dtype=np.int64)
    size = np.array([1], dtype=np.int64)
    turns = np.array([False])
    for by_cuts in (False, True):
        climb(by_cuts, one, one.copy(), size, size, turns, 1, 1, 1, 1, 1)
        fill = fill_by_cuts if by_cuts else fill_free
        fill(one, one.copy(), size, size, turns, 1, 1, one.copy(), one.copy(), turns.copy())
    price = np.array([1.0])
    best_sums(size, price, 1)
    worth, _ = best_stacks(size, price, size, size, 1)
    layer_worths(worth, size, size, 1)
