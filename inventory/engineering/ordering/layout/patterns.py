"""
Layers of columns for faces of few sizes, chosen by a whole-number programme.

A layer lies across the roll; it is cut off by one cut, its columns by cuts along the roll,
their boxes by cuts across again, and two boxes of like length that lie side by side in a
column by one more: cuts from edge to edge throughout.
"""

from __future__ import annotations

import math
import time
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from inventory.engineering.ordering.layout.kernels import best_stacks, best_sums, layer_worths
from inventory.engineering.ordering.layout.strip import Packing

if TYPE_CHECKING:
    import numpy.typing as npt

    from inventory.engineering.ordering.layout.strip import Strip, WholeArray

MOST_SIZES = 40
_LAYER_LENGTHS = (0.65, 1.0, 1.35, 1.8, 2.6, 4.2)  # longest layer, in longest boxes
_MOST_STEPS = 4_000  # of the raster along a layer
_MOST_ROOM_STEPS = 1_000
_MOST_HEIGHTS = 1_500
_BESIDE = 0.2  # two boxes side by side differ in length by so much of the longer at most
_LAYERS_A_ROUND = 40
_SHARE_TO_PRICE = 0.6  # of the time goes into finding layers, the rest into choosing them
_HAIR = 1e-6


@dataclass(frozen=True, slots=True)
class _Way:
    """A size laid one way."""

    size: int
    across: int
    along: int


Layer = tuple[tuple[tuple[int, ...], ...], ...]  # columns of blocks of ways


def pack_layers(strip: Strip, *, deadline: float) -> Packing | None:
    """
    Return a packing in layers, or none where the faces are of more than 40 sizes.

    Layers are found by their price in the linear programme that covers the faces of each
    size (column generation; Gilmore and Gomory 1965), for several longest layers; of all that
    were found HiGHS chooses whole numbers.

    Parameters
    ----------
    deadline : float
        When to stop, in seconds of ``time.monotonic``.
    """
    members: dict[tuple[int, int, bool], list[int]] = defaultdict(list)
    for at, (width, length, turns) in enumerate(
        zip(strip.width.tolist(), strip.length.tolist(), strip.can_turn.tolist(), strict=True)
    ):
        members[
            (min(width, length), max(width, length), True) if turns else (width, length, False)
        ].append(at)
    if len(members) > MOST_SIZES:
        return None
    book = _Book(strip, members)
    began = time.monotonic()
    until = began + (deadline - began) * _SHARE_TO_PRICE
    for at, longest in enumerate(_LAYER_LENGTHS):
        here = began + (until - began) * (at + 1) / len(_LAYER_LENGTHS)
        book.find_layers(longest, here)
    chosen = book.choose(max(0.5, deadline - time.monotonic()))
    return book.lay(chosen)


class _Book:
    """The sizes, their ways to lie, and every layer found so far."""

    def __init__(self, strip: Strip, members: dict[tuple[int, int, bool], list[int]]) -> None:
        self.strip = strip
        self.members = list(members.values())
        self.wanted: WholeArray = np.array([len(some) for some in self.members], dtype=np.int64)
        self.ways: list[_Way] = []
        for size, (one, other, turns) in enumerate(members):
            for across, along in sorted(
                {(one, other), (other, one)} if turns else {(one, other)}
            ):
                if across <= strip.room:
                    self.ways.append(_Way(size, across, along))
        self.blocks = self._blocks()
        self.block_width = np.array(
            [self._width(block) for block in self.blocks], dtype=np.int64
        )
        self.block_length = np.array(
            [self._length(block) for block in self.blocks], dtype=np.int64
        )
        self.layers: list[Layer] = []
        self.lengths: list[int] = []
        self.counts: list[WholeArray] = []
        self._known: dict[tuple[int, ...], int] = {}
        for way in range(len(self.ways)):
            self._add((((way,),),) * (strip.room // self.ways[way].across))

    def _blocks(self) -> list[tuple[int, ...]]:
        """Return one way, or two of like length side by side."""
        blocks: list[tuple[int, ...]] = [(way,) for way in range(len(self.ways))]
        for one, a in enumerate(self.ways):
            for two in range(one, len(self.ways)):
                b = self.ways[two]
                longer = max(a.along, b.along)
                if (
                    a.across + b.across <= self.strip.room
                    and abs(a.along - b.along) <= _BESIDE * longer
                ):
                    blocks.append((one, two))
        return blocks

    def _width(self, block: tuple[int, ...]) -> int:
        return sum(self.ways[way].across for way in block)

    def _length(self, block: tuple[int, ...]) -> int:
        return max(self.ways[way].along for way in block)

    def _add(self, columns: Layer) -> bool:
        """Keep a layer, without what is more than wanted; say whether it is new or shorter."""
        counts: WholeArray = np.zeros(len(self.wanted), dtype=np.int64)
        kept: list[tuple[tuple[int, ...], ...]] = []
        for column in columns:
            blocks = []
            for block in column:
                left = []
                for way in block:
                    size = self.ways[way].size
                    if counts[size] < self.wanted[size]:
                        counts[size] += 1
                        left.append(way)
                if left:
                    blocks.append(tuple(left))
            if blocks:
                kept.append(tuple(blocks))
        if not kept:
            return False
        length = max(sum(self._length(block) for block in column) for column in kept)
        key = tuple(counts.tolist())
        at = self._known.get(key)
        if at is None:
            self._known[key] = len(self.layers)
            self.layers.append(tuple(kept))
            self.lengths.append(length)
            self.counts.append(counts)
            return True
        if self.lengths[at] <= length:
            return False
        self.layers[at], self.lengths[at] = tuple(kept), length
        return True

    def _prices(self) -> npt.NDArray[np.float64] | None:
        found = linprog(
            np.array(self.lengths, dtype=float),
            A_ub=-np.array(self.counts, dtype=float).T,
            b_ub=-self.wanted.astype(float),
            method="highs",
        )
        return np.maximum(-found.ineqlin.marginals, 0.0) if found.status == 0 else None

    def find_layers(self, longest: float, until: float) -> None:
        """Add layers no longer than so many of the longest box, until none is worth it."""
        most_length = int(
            max(longest * max(way.along for way in self.ways), self.block_length.min())
        )
        step = _raster(self.block_length, most_length, _MOST_STEPS)
        room_step = _raster(self.block_width, self.strip.room, _MOST_ROOM_STEPS)
        lengths = -(-self.block_length // step)
        widths = -(-self.block_width // room_step)
        room = self.strip.room // room_step
        most = most_length // step
        heights = _sums(lengths, most)
        columns = np.unique(widths[widths <= room])
        if not len(heights) or not len(columns):
            return
        while time.monotonic() < until:
            prices = self._prices()
            if prices is None:
                return
            worth_of = np.array(
                [sum(prices[self.ways[way].size] for way in block) for block in self.blocks]
            )
            worth, choice = best_stacks(lengths, worth_of, widths, columns, most)
            gains = layer_worths(worth, heights, columns, room) - heights * step
            added = False
            for at in np.argsort(-gains)[:_LAYERS_A_ROUND]:
                if gains[at] <= _HAIR:
                    break
                height = int(heights[at])
                _, counts = best_sums(columns, np.ascontiguousarray(worth[:, height]), room)
                layer = []
                for column in np.repeat(np.arange(len(columns)), counts):
                    layer.append(_stack(choice[column], height, lengths, self.blocks))
                added = self._add(tuple(layer)) or added
            if not added:
                return

    def choose(self, seconds: float) -> WholeArray:
        """Return how many of each layer, all faces covered at the least length."""
        counts = np.array(self.counts, dtype=float).T
        found = milp(
            np.array(self.lengths, dtype=float),
            constraints=LinearConstraint(counts, self.wanted.astype(float), np.inf),
            integrality=np.ones(len(self.lengths), dtype=np.int64),
            bounds=Bounds(0, np.inf),
            options={"time_limit": seconds, "mip_rel_gap": 1e-5},
        )
        if found.x is None:  # no time for one whole-number choice: a layer a way covers all
            chosen = np.zeros(len(self.lengths), dtype=np.int64)
            for size, wanted in enumerate(self.wanted.tolist()):
                at = next(k for k, some in enumerate(self.counts) if some[size])
                chosen[at] = max(chosen[at], -(-wanted // int(self.counts[at][size])))
            return chosen
        return np.rint(found.x).astype(np.int64)

    def lay(self, chosen: WholeArray) -> Packing:
        """Return where every box lies; a place too many of a size is left empty."""
        count = len(self.strip.width)
        across = np.full(count, -1, dtype=np.int64)
        along = np.zeros(count, dtype=np.int64)
        turned = np.zeros(count, dtype=np.bool_)
        left = [list(reversed(some)) for some in self.members]
        base = 0
        for layer in np.repeat(np.arange(len(chosen)), chosen):
            at_x, top = 0, 0
            for column in self.layers[layer]:
                at_y, widest = 0, 0
                for block in column:
                    beside, high = at_x, 0
                    for number in block:
                        way = self.ways[number]
                        if not left[way.size]:
                            continue
                        box = left[way.size].pop()
                        across[box], along[box] = beside, base + at_y
                        # Of one size are faces that are given upright and lying.
                        turned[box] = way.across != self.strip.width[box]
                        beside += way.across
                        high = max(high, way.along)
                    at_y += high
                    widest = max(widest, beside - at_x)
                at_x += widest
                top = max(top, at_y)
            base += top
        return Packing(across, along, turned, base)


def _raster(values: WholeArray, most: int, steps: int) -> int:
    """Return a step that the values are multiples of, or one that keeps the raster small."""
    step = math.gcd(*values.tolist())
    return step if most // step <= steps else -(-most // steps)


def _sums(lengths: WholeArray, most: int) -> WholeArray:
    """Return the heights that a few lengths add up to."""
    single = np.unique(lengths[lengths <= most])
    heights = single
    for _ in range(3):
        if len(heights) > _MOST_HEIGHTS:
            break
        more = (heights[:, None] + single[None, :]).ravel()
        heights = np.unique(np.concatenate((heights, more[more <= most])))
    if len(heights) > _MOST_HEIGHTS:
        heights = heights[np.linspace(0, len(heights) - 1, _MOST_HEIGHTS).astype(int)]
    return heights.astype(np.int64)


def _stack(
    choice: WholeArray, height: int, lengths: WholeArray, blocks: list[tuple[int, ...]]
) -> tuple[tuple[int, ...], ...]:
    """Return the blocks of the best stack of a height."""
    stack = []
    while height > 0:
        block = int(choice[height])
        if block < 0:
            height -= 1
        else:
            stack.append(blocks[block])
            height -= int(lengths[block])
    return tuple(stack)
