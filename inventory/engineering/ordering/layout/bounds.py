"""The length that no layout of boxes on a roll can go under."""

from __future__ import annotations

import math
import time
from collections import Counter
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linprog

from inventory.engineering.ordering.layout.kernels import best_sums

if TYPE_CHECKING:
    import numpy.typing as npt

    from inventory.engineering.ordering.layout.strip import Strip

MOST_SIZES = 150
MOST_STEPS = 100_000
_HAIR = 1e-7


def simple_bound(strip: Strip) -> int:
    """
    Return the plain bound: the area over the width, the longest box, those that lie alone.

    A box wider than half the room lies with no other such box beside it, so their lengths
    add up.
    """
    shortest = np.where(
        strip.can_turn & (strip.length <= strip.room),
        np.minimum(strip.width, strip.length),
        strip.length,
    )
    narrow = np.where(strip.can_turn, np.minimum(strip.width, strip.length), strip.width)
    alone = narrow * 2 > strip.room
    return max(-(-strip.area // strip.room), int(shortest.max()), int(shortest[alone].sum()))


def bar_bound(strip: Strip, *, deadline: float = math.inf) -> int:
    """
    Return the bound of bars across the roll, at least the plain one.

    Take any layout and any line across the roll: the boxes it crosses fit beside one another.
    So the length is at least the least total of bars, each a set of widths that fit across,
    that cover every box along its length; a box that may turn is covered one way or the
    other, in parts. That linear programme is solved by adding bars that its prices find worth
    it (Gilmore and Gomory 1961); the prices of any round, scaled so that no bar is worth over
    one, prove a bound whatever the solver's tolerance (Farley 1990), and the best of them is
    returned when the ``deadline`` (seconds of ``time.monotonic``) is reached.

    Where there are over 150 sizes, or widths too fine to be summed up, the plain bound is
    returned.
    """
    plain = simple_bound(strip)
    sizes: Counter[tuple[int, int, bool]] = Counter()
    for width, length, turns in zip(
        strip.width.tolist(), strip.length.tolist(), strip.can_turn.tolist(), strict=True
    ):
        sizes[
            (min(width, length), max(width, length), True) if turns else (width, length, False)
        ] += 1
    ways = [
        (across, along, size)
        for size, (one, other, turns) in enumerate(sizes)
        for across, along in ({(one, other), (other, one)} if turns else {(one, other)})
        if across <= strip.room
    ]
    ways.sort()
    step = math.gcd(*(way[0] for way in ways))
    if len(sizes) > MOST_SIZES or strip.room // step > MOST_STEPS:
        return plain
    return max(
        plain,
        math.ceil(
            _bar_value(strip, list(sizes.values()), ways, step, deadline) - _HAIR * plain
        ),
    )


def _bar_value(
    strip: Strip,
    wanted: list[int],
    ways: list[tuple[int, int, int]],
    step: int,
    deadline: float,
) -> float:
    across = np.array([way[0] // step for way in ways], dtype=np.int64)
    along = np.array([way[1] for way in ways], dtype=float)
    size = np.array([way[2] for way in ways], dtype=np.int64)
    count = len(ways)
    room = strip.room // step
    is_of_size = (size[None, :] == np.arange(len(wanted))[:, None]).astype(float)
    bars = [np.bincount([way], minlength=count) * (room // across[way]) for way in range(count)]
    proven = 0.0
    while time.monotonic() < deadline:
        covers = -np.array(bars, dtype=float).T
        found = linprog(
            np.concatenate((np.ones(len(bars)), np.zeros(count))),
            A_ub=np.hstack((covers, np.diag(along))),
            b_ub=np.zeros(count),
            A_eq=np.hstack((np.zeros((len(wanted), len(bars))), is_of_size)),
            b_eq=np.array(wanted, dtype=float),
            method="highs",
        )
        if found.status != 0:
            return proven
        prices: npt.NDArray[np.float64] = np.maximum(-found.ineqlin.marginals, 0.0)
        worth, bar = best_sums(across, prices, room)
        # A price of each size that its ways can bear; the scaled prices are feasible.
        least = np.full(len(wanted), np.inf)
        np.minimum.at(least, size, prices * along)
        value = float(least @ np.array(wanted)) / max(1.0, float(worth))
        proven = max(proven, value)
        if worth <= 1 + _HAIR:
            return proven
        bars.append(bar)
    return proven
