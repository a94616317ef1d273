"""Outlines nested anew, stretch by stretch of the roll, as long as that makes it shorter."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.ordering.layout.contours import (
    ContourLayout,
    ContourPlace,
    area_in2,
    nest_contours,
)
from inventory.engineering.ordering.layout.nesting_process import NestingProcess

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from inventory.engineering.ordering.layout.contours import Contour

_NEST_S = 1.0  # the least the library takes
_MOST_S = 5.0  # before it is asked again whether to stop
# Faces nested anew together, about: all of them once to three times in the time given, and no
# fewer or more than makes sense in a second.
_FEWEST_AT_ONCE = 20, 150
_MOST_AT_ONCE = 80, 300
_MOST_FAILURES = 3
_FEW = 60  # faces that are nested all together first, in half the time
_HAIR_IN = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A part of a layout that lines across the roll part from the rest; it starts at 0."""

    places: tuple[ContourPlace, ...]
    length_in: float
    waste_in2: float


def lay_contours(
    contours: Sequence[Contour],
    start: ContourLayout,
    *,
    usable_width_in: float,
    gap_in: float,
    seconds: float,
    seed: int = 1,
    should_stop: Callable[[], bool] = lambda: False,
) -> ContourLayout:
    """
    Return the shortest layout of outlines found in the time given, never longer than ``start``.

    Few faces are nested all together first; then the shorter of that and ``start``, such as a
    layout of their boxes, is nested anew stretch by stretch (`shorten`).

    Parameters
    ----------
    contours : sequence of Contour
    start : ContourLayout
        A layout of all of them that keeps the gap.
    usable_width_in, gap_in, seconds, seed, should_stop
        As for `shorten`.

    Returns
    -------
    ContourLayout
    """
    began = time.monotonic()
    best = start
    if len(contours) <= _FEW and seconds >= 2 * _NEST_S:
        whole = nest_contours(
            contours,
            usable_width_in=usable_width_in,
            gap_in=gap_in,
            seconds=seconds / 2,
            seed=seed,
        )
        if whole is not None and whole.length_in < best.length_in - _HAIR_IN:
            best = whole
    return shorten(
        best,
        contours,
        usable_width_in=usable_width_in,
        gap_in=gap_in,
        seconds=seconds - (time.monotonic() - began),
        seed=seed,
        should_stop=should_stop,
    )


def shorten(
    layout: ContourLayout,
    contours: Sequence[Contour],
    *,
    usable_width_in: float,
    gap_in: float,
    seconds: float,
    seed: int = 1,
    should_stop: Callable[[], bool] = lambda: False,
) -> ContourLayout:
    """
    Return a layout with some of its stretches nested anew, never longer than it was.

    A layout is a row of stretches that lines across the roll part. A few of them, wasteful ones
    rather, are nested together for a second; what comes out takes their place if it is shorter.
    (Destroy and repair: Shaw, CP 1998, "large neighbourhood search"; from memory.)

    Parameters
    ----------
    layout : ContourLayout
        One that keeps the gap.
    contours : sequence of Contour
        Every face of it, and no other.
    usable_width_in, gap_in : float
        Width to lie in, and the least distance of two faces. [in]
    seconds : float
        Time to search; under one second nothing is done. [s]
    seed : int
        The same seed makes the same choices; what comes of them depends on the machine.
    should_stop
        Asked whether to stop and keep the best.

    Returns
    -------
    ContourLayout
    """
    deadline = time.monotonic() + seconds
    bound = sum(area_in2(contour.outline) for contour in contours) / usable_width_in
    by_key = {contour.key: contour for contour in contours}
    row = stretches_of(layout.places, usable_width_in=usable_width_in, gap_in=gap_in)
    random = np.random.default_rng(seed)
    once = len(contours) * _NEST_S / max(seconds, _NEST_S)
    fewest = int(np.clip(once, *_FEWEST_AT_ONCE))
    most = int(np.clip(3 * once, *_MOST_AT_ONCE))
    failures = 0  # in a row
    with NestingProcess() as process:
        while (
            failures < _MOST_FAILURES
            and time.monotonic() + _NEST_S <= deadline
            and not should_stop()
        ):
            chosen = _chosen(row, int(random.integers(fewest, most)), random)
            keys = {place.key for at in chosen for place in row[at].places}
            left = deadline - time.monotonic() if len(keys) == len(contours) else 0.0
            before = sum(row[at].length_in for at in chosen) + gap_in * (len(chosen) - 1)
            nested = nest_contours(
                [by_key[key] for key in sorted(keys)],
                usable_width_in=usable_width_in,
                gap_in=gap_in,
                seconds=min(max(left, _NEST_S), _MOST_S),
                seed=int(random.integers(1, 2**31)),
                process=process,
            )
            failures = failures + 1 if nested is None else 0
            if nested is not None and nested.length_in < before - _HAIR_IN:
                kept = [each for at, each in enumerate(row) if at not in chosen]
                new = stretches_of(
                    nested.places, usable_width_in=usable_width_in, gap_in=gap_in
                )
                row = [*kept, *new]
    return _in_a_row(row, bound, gap_in)


def stretches_of(
    places: Sequence[ContourPlace], *, usable_width_in: float, gap_in: float
) -> list[Stretch]:
    """Return a layout parted wherever a line across the roll, and a gap, crosses no face."""
    found: list[Stretch] = []
    some: list[ContourPlace] = []
    end = 0.0
    for place in sorted(places, key=lambda each: float(each.outline[:, 1].min())):
        if some and float(place.outline[:, 1].min()) >= end + gap_in - _HAIR_IN:
            found.append(_stretch(some, usable_width_in))
            some = []
        some.append(place)
        end = max(end, float(place.outline[:, 1].max()))
    if some:
        found.append(_stretch(some, usable_width_in))
    return found


def _stretch(places: Sequence[ContourPlace], usable_width_in: float) -> Stretch:
    start = min(float(place.outline[:, 1].min()) for place in places)
    end = max(float(place.outline[:, 1].max()) for place in places)
    back = np.array([0.0, start])
    moved = tuple(
        ContourPlace(place.key, place.outline - back, place.angle_deg) for place in places
    )
    area = sum(area_in2(place.outline) for place in places)
    return Stretch(moved, end - start, (end - start) * usable_width_in - area)


def _chosen(row: Sequence[Stretch], most: int, random: np.random.Generator) -> set[int]:
    """Return some stretches to nest together: any, or rather those that waste much."""
    if random.random() < 0.5:
        order = random.permutation(len(row))
    else:
        share = np.array([max(each.waste_in2, 0.0) / each.length_in for each in row])
        order = np.argsort(-share * random.random(len(row)), kind="stable")
    chosen: set[int] = set()
    count = 0
    for at in order.tolist():
        faces = len(row[at].places)
        if count + faces <= most:
            chosen.add(at)
            count += faces
    return chosen or {int(order[0])}


def _in_a_row(row: Sequence[Stretch], bound_in: float, gap_in: float) -> ContourLayout:
    places: list[ContourPlace] = []
    at = -gap_in
    for stretch in row:
        forward = np.array([0.0, at + gap_in])
        places.extend(
            ContourPlace(place.key, place.outline + forward, place.angle_deg)
            for place in stretch.places
        )
        at += gap_in + stretch.length_in
    return ContourLayout(tuple(places), max(at, 0.0), bound_in)
