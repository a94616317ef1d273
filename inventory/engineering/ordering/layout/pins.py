"""Faces fixed at a place of the roll, and other faces in the room they leave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.ordering.layout.clearance import separation
from inventory.engineering.ordering.layout.drawing_figures import is_parted
from inventory.engineering.ordering.layout.roll import HAIR_IN, Cutter, Laying, Piece
from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.engineering.ordering.layout.clearance import FloatArray
    from inventory.engineering.ordering.layout.drawing_figures import Edges

_MOST_ROOMS_TRIED = 8


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """A piece laid with a turn, its box's corner nearest to the usable edge and the start."""

    piece: Piece
    angle_deg: float
    across_in: float
    along_in: float
    is_pinned: bool = False

    @property
    def outline(self) -> FloatArray:
        """Return the corners."""
        return self.piece.laid_at(self.angle_deg, self.across_in, self.along_in)

    @property
    def edges(self) -> Edges:
        """Return the box: left, low, right, high."""
        across, along = self.piece.sizes[self.angle_deg]
        return (
            self.across_in,
            self.along_in,
            self.across_in + across,
            self.along_in + along,
        )


def check_pins(
    pinned: Sequence[Spot], *, usable_width_in: float, most_length_in: float, laying: Laying
) -> None:
    """
    Refuse faces fixed where they cannot lie: off the roll, too close, or not to be cut apart.

    Raises
    ------
    OutOfRangeError
        With the face, what it breaks, and what to do.
    """
    for spot in pinned:
        left, low, right, high = spot.edges
        is_on = (
            left >= -HAIR_IN
            and low >= -HAIR_IN
            and right <= usable_width_in + HAIR_IN
            and high <= most_length_in + HAIR_IN
        )
        if not is_on:
            msg = (
                f"The {spot.piece.face.words} is fixed from {left:g} to {right:g} in across "
                f"and {low:g} to {high:g} in along, but only {usable_width_in:g} in across and "
                f"{most_length_in:g} in along can be used; move it or let it go."
            )
            raise OutOfRangeError(msg)
    ordered = sorted(pinned, key=lambda spot: spot.along_in)
    for at, one in enumerate(ordered):
        for other in ordered[at + 1 :]:
            if other.along_in >= one.edges[3] + laying.between_in:
                break
            apart = separation(one.outline, other.outline)
            if apart < laying.between_in - HAIR_IN:
                msg = (
                    f"The {one.piece.face.words} and the {other.piece.face.words} are fixed "
                    f"{max(apart, 0):.3g} in apart, and {laying.between_in:g} in are kept; "
                    "move one or let it go."
                )
                raise OutOfRangeError(msg)
    if laying.cutter is Cutter.STRAIGHT and not is_parted([spot.edges for spot in pinned]):
        msg = (
            f"The {len(pinned)} fixed faces are not parted by cuts from edge to edge; move "
            "one, let one go, or take the contour cutter."
        )
        raise OutOfRangeError(msg)


def fill_between(
    pinned: Sequence[Spot], pieces: Sequence[Piece], *, usable_width_in: float, laying: Laying
) -> tuple[list[Spot], list[Piece]]:
    """
    Return faces laid between the fixed ones, and those for which there was no room.

    Taken in the order given, each as near to the roll's start as an empty rectangle lets it;
    with straight cuts only where all are parted still. None lies beyond the last fixed one.
    """
    gap = laying.between_in
    end = max((spot.edges[3] for spot in pinned), default=0.0)
    taken = [spot.edges for spot in pinned]
    rooms: list[Edges] = [(0.0, 0.0, usable_width_in + gap, end + gap)]
    for edges in taken:
        rooms = _less(rooms, edges, gap)
    placed: list[Spot] = []
    over: list[Piece] = []
    hopeless: set[tuple[tuple[float, tuple[float, float]], ...]] = set()
    for piece in pieces:
        kind = tuple(sorted(piece.sizes.items()))
        spot = None if kind in hopeless else _fitting(piece, rooms, taken, laying)
        if spot is None:
            hopeless.add(kind)
            over.append(piece)
            continue
        placed.append(spot)
        taken.append(spot.edges)
        rooms = _less(rooms, spot.edges, gap)
    return placed, over


def _fitting(
    piece: Piece, rooms: Sequence[Edges], taken: Sequence[Edges], laying: Laying
) -> Spot | None:
    """Return the nearest place in an empty rectangle, if there is one."""
    gap = laying.between_in
    found = []
    for left, low, right, high in rooms:
        for angle, (across, along) in piece.sizes.items():
            if across + gap <= right - left + HAIR_IN and along + gap <= high - low + HAIR_IN:
                found.append((low + along, left, low, angle))
    for _, left, low, angle in sorted(found)[:_MOST_ROOMS_TRIED]:
        spot = Spot(piece, angle, left, low)
        if laying.cutter is Cutter.CONTOUR or is_parted([*taken, spot.edges]):
            return spot
    return None


def _less(rooms: list[Edges], box: Edges, gap: float) -> list[Edges]:
    """
    Return the empty rectangles without a box, those within another left out.

    A room holds pieces each with a gap beyond it, so a box takes the gap beyond itself.
    """
    left, low, right, high = box[0], box[1], box[2] + gap, box[3] + gap
    parts: list[Edges] = []
    for room in rooms:
        if (
            room[2] <= left + HAIR_IN
            or room[0] >= right - HAIR_IN
            or room[3] <= low + HAIR_IN
            or room[1] >= high - HAIR_IN
        ):
            parts.append(room)
            continue
        if left > room[0] + HAIR_IN:
            parts.append((room[0], room[1], left, room[3]))
        if right < room[2] - HAIR_IN:
            parts.append((right, room[1], room[2], room[3]))
        if low > room[1] + HAIR_IN:
            parts.append((room[0], room[1], room[2], low))
        if high < room[3] - HAIR_IN:
            parts.append((room[0], high, room[2], room[3]))
    if not parts:
        return []
    array = np.unique(np.array(parts), axis=0)
    starts, ends = array[:, :2], array[:, 2:]
    holds = np.all(starts[None] <= starts[:, None], axis=2)
    holds &= np.all(ends[None] >= ends[:, None], axis=2)
    # Each holds itself; being unlike, no two hold one another.
    kept = array[holds.sum(axis=1) == 1]
    return [(a, b, c, d) for a, b, c, d in kept.tolist()]
