"""Faces on one roll: those fixed, those between them, and the rest behind, rank after rank."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.ordering.layout.boxes import lay_boxes
from inventory.engineering.ordering.layout.clearance import turned
from inventory.engineering.ordering.layout.climbing import climb_down
from inventory.engineering.ordering.layout.contours import Contour, ContourLayout, ContourPlace
from inventory.engineering.ordering.layout.pins import Spot, fill_between
from inventory.engineering.ordering.layout.roll import (
    HAIR_IN,
    Cutter,
    Laying,
    Piece,
    Press,
    usable_width_in,
)
from inventory.engineering.ordering.layout.stretches import lay_contours
from inventory.engineering.ordering.layout.strip import Box, StripLayout, layout_of, strip_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

LEAST_SECONDS = 0.1
_LEAST_NESTING_S = 1.0
_SHARE_OF_BETWEEN = 0.3  # of the time, for orders of faces between fixed ones
_MOST_SHUFFLES = 200
SHARE_OF_BOXES = 0.15  # of the time, where outlines are nested too


@dataclass(frozen=True, slots=True)
class Room:
    """What may be used of a roll: how wide, from where, and how long, in inches."""

    usable_in: float
    edge_in: float
    start_in: float
    most_in: float

    @classmethod
    def of(cls, width_in: float, length_in: float, press: Press, laying: Laying) -> Room:
        """Return it for a roll, lead-in, tail and bleed taken off."""
        usable = usable_width_in(width_in, press, laying)
        lost = press.lead_in_in + press.tail_in + 2 * laying.bleed_in
        return cls(
            usable,
            (width_in - usable) / 2,
            press.lead_in_in + laying.bleed_in,
            length_in - lost,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Filling:
    """Where pieces lie in a room, the length they take, and one that none goes under."""

    spots: tuple[Spot, ...]
    length_in: float
    bound_in: float
    is_straight: bool


def fill_room(
    room: Room,
    groups: Sequence[Sequence[Piece]],
    pinned: Sequence[Spot],
    laying: Laying,
    *,
    seconds: float | None = None,
    seed: int = 1,
    should_stop: Callable[[], bool] = lambda: False,
) -> Filling:
    """
    Return pieces laid: the first group between the fixed ones, then group behind group.

    Without ``seconds`` only the usual orders are tried, which takes milliseconds; with them the
    length is never more than that.
    """
    spots = list(pinned)
    left = [list(group) for group in groups]
    if pinned:
        # The first group alone, else a later one would come off before what is behind them.
        at = next((at for at, group in enumerate(left) if group), None)
        if at is not None:
            between, left[at] = _between(
                room, pinned, left[at], laying, seconds, seed, should_stop
            )
            spots.extend(between)
    end = max((spot.edges[3] for spot in spots), default=-laying.between_in)
    bound = 0.0
    is_straight = True
    left = [group for group in left if group]
    area = sum(piece.area_in2 for group in left for piece in group)
    for group in left:
        share = None
        if seconds is not None:
            part = sum(piece.area_in2 for piece in group) / area
            share = max(LEAST_SECONDS, seconds * part)
        block = _block(room, group, laying, share, seed, should_stop)
        base = end + laying.between_in
        spots.extend(
            Spot(spot.piece, spot.angle_deg, spot.across_in, base + spot.along_in)
            for spot in block.spots
        )
        bound += block.bound_in + (laying.between_in if bound else 0)
        end = base + block.length_in
        is_straight = is_straight and block.is_straight
    if pinned or laying.cutter is Cutter.CONTOUR:
        area = sum(spot.piece.area_in2 for spot in spots)
        bound = max(area / room.usable_in, max((s.edges[3] for s in pinned), default=0.0))
        is_straight = is_straight and laying.cutter is Cutter.STRAIGHT
    return Filling(tuple(spots), max(end, 0.0), min(bound, max(end, 0.0)), is_straight)


def _between(
    room: Room,
    pinned: Sequence[Spot],
    pieces: Sequence[Piece],
    laying: Laying,
    seconds: float | None,
    seed: int,
    should_stop: Callable[[], bool],
) -> tuple[list[Spot], list[Piece]]:
    """Return pieces between the fixed ones and the rest, as is shortest of several orders."""
    deadline = time.monotonic() + (seconds or 0.0) * _SHARE_OF_BETWEEN
    random = np.random.default_rng(seed)
    keys: list[Callable[[Piece], float]] = [
        lambda piece: -piece.area_in2,
        lambda piece: -max(max(size) for size in piece.sizes.values()),
        lambda piece: -piece.least_across_in,
        lambda piece: piece.area_in2,
    ]
    best: tuple[float, list[Spot], list[Piece]] | None = None
    for attempt in range(len(keys) + _MOST_SHUFFLES):
        if attempt < len(keys):
            order = sorted(pieces, key=keys[attempt])
        elif time.monotonic() >= deadline or should_stop():
            break
        else:
            order = [pieces[at] for at in random.permutation(len(pieces))]
        spots, rest = fill_between(pinned, order, usable_width_in=room.usable_in, laying=laying)
        length = max(spot.edges[3] for spot in (*pinned, *spots))
        if rest:
            behind = _block(room, rest, laying, None, seed, should_stop)
            length += laying.between_in + behind.length_in
        if best is None or length < best[0]:
            best = length, spots, rest
        if not rest:
            break
    if best is None:
        msg = "no order of faces was tried"
        raise AssertionError(msg)
    return best[1], best[2]


def _block(
    room: Room,
    pieces: Sequence[Piece],
    laying: Laying,
    seconds: float | None,
    seed: int,
    should_stop: Callable[[], bool],
) -> Filling:
    is_straight = laying.cutter is Cutter.STRAIGHT
    nests = (
        not is_straight
        and seconds is not None
        and seconds * (1 - SHARE_OF_BOXES) >= _LEAST_NESTING_S
    )
    turns = []
    boxes = []
    for key, piece in enumerate(pieces):
        angle, can_turn = piece.box_turn(room.usable_in)
        across, along = piece.sizes[angle]
        turns.append(angle)
        boxes.append(
            Box(
                key=key,
                width_in=min(across, room.usable_in),
                length_in=along,
                can_turn=can_turn,
            )
        )
    layout = _boxes_laid(
        boxes,
        room.usable_in,
        laying.between_in,
        is_straight=is_straight,
        seconds=seconds and (seconds * SHARE_OF_BOXES if nests else seconds),
        seed=seed,
        should_stop=should_stop,
    )
    spots = tuple(
        Spot(
            pieces[place.key],
            (turns[place.key] + 90 * place.is_turned) % 360,
            place.across_in,
            place.along_in,
        )
        for place in layout.places
    )
    laid = Filling(spots, layout.length_in, layout.bound_in, layout.is_straight)
    if not nests or seconds is None or should_stop():
        return laid
    nested = lay_contours(
        [
            Contour(key=key, outline=piece.outline, angles_deg=piece.angles_deg)
            for key, piece in enumerate(pieces)
        ],
        _as_contours(layout, pieces, turns),
        usable_width_in=room.usable_in,
        gap_in=laying.between_in,
        seconds=seconds * (1 - SHARE_OF_BOXES),
        seed=seed,
        should_stop=should_stop,
    )
    if nested.length_in >= layout.length_in - HAIR_IN:
        return laid
    placed = []
    for place in nested.places:
        piece = pieces[place.key]
        angle = _nearest(piece, place.angle_deg)
        across, along = place.outline.min(axis=0).tolist()
        placed.append(Spot(piece, angle, across, along))
    return Filling(tuple(placed), nested.length_in, nested.bound_in, is_straight=False)


def _as_contours(
    layout: StripLayout, pieces: Sequence[Piece], turns: Sequence[float]
) -> ContourLayout:
    """Return a layout of boxes with the outlines in them, each at its box's lower left."""
    places = []
    for place in layout.places:
        angle = (turns[place.key] + 90 * place.is_turned) % 360
        outline = turned(pieces[place.key].outline, angle)
        lower_left = np.array([place.across_in, place.along_in])
        places.append(
            ContourPlace(place.key, outline - outline.min(axis=0) + lower_left, angle)
        )
    return ContourLayout(tuple(places), layout.length_in, 0.0)


def _nearest(piece: Piece, angle_deg: float) -> float:
    """Return the allowed turn that a turn reckoned in single precision stands for."""
    return min(
        piece.angles_deg,
        key=lambda allowed: abs((allowed - angle_deg + 180) % 360 - 180),
    )


def _boxes_laid(
    boxes: Sequence[Box],
    usable_in: float,
    gap_in: float,
    *,
    is_straight: bool,
    seconds: float | None,
    seed: int,
    should_stop: Callable[[], bool],
) -> StripLayout:
    if seconds is not None:
        return lay_boxes(
            boxes,
            usable_width_in=usable_in,
            gap_in=gap_in,
            is_straight=is_straight,
            seconds=max(LEAST_SECONDS, seconds),
            seed=seed,
            should_stop=should_stop,
        )
    strip = strip_of(boxes, usable_width_in=usable_in, gap_in=gap_in)
    best = climb_down(strip, is_straight=True, best=None, bound=0, deadline=0.0, seed=seed)
    straight = True
    if not is_straight:
        free = climb_down(strip, is_straight=False, best=best, bound=0, deadline=0.0, seed=seed)
        straight = free is best
        best = free
    return layout_of(strip, best, bound=0, is_straight=straight, way="")
