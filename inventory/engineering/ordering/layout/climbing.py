"""Better orders of boxes: less length is asked for, until no order is found that fits it."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.ordering.layout.kernels import climb, fill_by_cuts, fill_free
from inventory.engineering.ordering.layout.strip import Packing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from inventory.engineering.ordering.layout.strip import Strip, WholeArray

_STARTS = 10  # orders that a round begins from
_WORK_AT_ONCE = 2_000_000  # box comparisons between two looks at the clock


@dataclass(frozen=True, slots=True, eq=False)
class _Order:
    order: WholeArray
    cuts: WholeArray


def climb_down(
    strip: Strip,
    *,
    is_straight: bool,
    best: Packing | None,
    bound: int,
    deadline: float,
    seed: int,
    should_stop: Callable[[], bool] = lambda: False,
) -> Packing:
    """
    Return the shortest packing found, no longer than ``best``.

    Halves the way between the bound and the best length again and again, with more tries at
    each round: a length is asked for, and orders are changed at random as long as no less
    area goes into it (a decision version with doubled effort, as in Wei, Hu, Leung and Zhang
    2017, European Journal of Operational Research 265).

    Parameters
    ----------
    deadline : float
        When to stop, in seconds of ``time.monotonic``.
    """
    count = len(strip.width)
    orders = list(_sorted_orders(strip, is_straight=is_straight))
    for order in orders:
        found = _pack(strip, order, strip_limit(strip), is_straight=is_straight)
        if found is not None and (best is None or found.top < best.top):
            best = found
    if best is None:  # an order packed without a limit leaves nothing out
        msg = "no order of boxes was packed"
        raise AssertionError(msg)
    random = np.random.default_rng(seed)
    tries = max(20, 20_000 // max(10, count))
    while best.top > bound and not _is_over(deadline, should_stop):
        least = bound
        while least < best.top and not _is_over(deadline, should_stop):
            limit = min((least + best.top) // 2, best.top - 1)
            better = _reach(
                strip,
                orders,
                limit,
                tries,
                random,
                deadline,
                should_stop,
                is_straight=is_straight,
            )
            if better is None:
                least = limit + 1
            else:
                packing, order = better
                best = packing
                orders = [order, *orders[: _STARTS - 1]]
        tries *= 2
    return best


def strip_limit(strip: Strip) -> int:
    """Return a length in which any order of boxes fits."""
    return int(np.maximum(strip.width, strip.length).sum())


def _is_over(deadline: float, should_stop: Callable[[], bool]) -> bool:
    return time.monotonic() >= deadline or should_stop()


def _sorted_orders(strip: Strip, *, is_straight: bool) -> Iterator[_Order]:
    """Give the usual orders: by area, length, width, girth and longest side, large first."""
    width, length = strip.width, strip.length
    keys = (
        (-(width * length),),
        (-width, -length),
        (-length, -width),
        (-(width + length),),
        (-np.maximum(width, length),),
    )
    for key in keys:
        order = np.lexsort(key).astype(np.int64)
        for cut in (0, 1) if is_straight else (0,):
            yield _Order(order, np.full(len(order), cut, dtype=np.int64))


def _pack(strip: Strip, order: _Order, limit: int, *, is_straight: bool) -> Packing | None:
    """Return a packing of all boxes within a length, or none."""
    count = len(strip.width)
    across = np.empty(count, np.int64)
    along = np.empty(count, np.int64)
    turned = np.zeros(count, np.bool_)
    fill = fill_by_cuts if is_straight else fill_free
    area, top = fill(
        order.order,
        order.cuts,
        strip.width,
        strip.length,
        strip.can_turn,
        strip.room,
        limit,
        across,
        along,
        turned,
    )
    return Packing(across, along, turned, int(top)) if area == strip.area else None


def _reach(
    strip: Strip,
    orders: list[_Order],
    limit: int,
    tries: int,
    random: np.random.Generator,
    deadline: float,
    should_stop: Callable[[], bool],
    *,
    is_straight: bool,
) -> tuple[Packing, _Order] | None:
    """Return a packing within a length and its order, or none found with so many tries."""
    count = len(strip.width)
    at_once = max(10, _WORK_AT_ONCE // (count * count))
    for start in orders:
        order = _Order(start.order.copy(), start.cuts.copy())
        done = 0
        while done < tries and not _is_over(deadline, should_stop):
            step = min(tries - done, at_once)
            area = climb(
                is_straight,
                order.order,
                order.cuts,
                strip.width,
                strip.length,
                strip.can_turn,
                strip.room,
                limit,
                step,
                int(random.integers(1 << 31)),
                strip.area,
            )
            if area == strip.area:
                packing = _pack(strip, order, limit, is_straight=is_straight)
                return None if packing is None else (packing, order)
            done += step
    return None
