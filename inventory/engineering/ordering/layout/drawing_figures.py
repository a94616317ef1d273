"""The figures of a drawing: length, waste, what none can go under, and the cuts in order."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.engineering.ordering.layout.plans import Load

_HAIR_IN = 1e-6

Edges = tuple[float, float, float, float]  # left, low, right, high [in]


class Direction(StrEnum):
    """Which way a cut goes."""

    ACROSS = "across"
    ALONG = "along"


@dataclass(frozen=True, slots=True)
class Cut:
    """
    One straight cut from edge to edge of what it parts, in inches.

    ``at_in`` is where it lies: from the roll's start for a cut across, from its edge for one
    along; ``from_in`` and ``to_in`` are its ends, measured the other way.
    """

    direction: Direction
    at_in: float
    from_in: float
    to_in: float


@dataclass(frozen=True, slots=True)
class Figures:
    """
    What a drawing of one load says.

    ``taken_in`` is what leaves the roll: lead-in, bleed, faces and tail. The waste is what of
    it is no face. ``area_bound_in`` is the faces' own area over the usable width, and
    ``bound_in`` the longest of what is proven that no layout of them goes under; both, as
    ``length_in``, without lead-in, bleed and tail. ``cuts`` are in the order to cut in, none
    for a contour cutter but the one that cuts the printed length off the roll.
    """

    length_in: float
    taken_in: float
    left_in: float
    waste_ft2: float
    waste_percent: float
    area_bound_in: float
    bound_in: float
    cuts: tuple[Cut, ...]


def figures_of(load: Load) -> Figures:
    """
    Return the figures of what lies on one roll.

    Raises
    ------
    OutOfRangeError
        See `cuts_of`; not for a layout made by `plan_rolls`.
    """
    area = sum(some.area_in2 for some in load.laid)
    taken = load.taken_in * load.roll.width_in
    whole: Edges = (0.0, 0.0, load.roll.width_in, load.taken_in)
    cuts = [Cut(Direction.ACROSS, load.taken_in, 0.0, load.roll.width_in)]
    if load.is_straight:
        cuts.extend(cuts_of([some.edges for some in load.laid], whole))
    return Figures(
        length_in=load.length_in,
        taken_in=load.taken_in,
        left_in=load.left_in,
        waste_ft2=(taken - area) / 144,
        waste_percent=100 * (1 - area / taken),
        area_bound_in=area / load.usable_width_in,
        bound_in=load.bound_in,
        cuts=tuple(cuts),
    )


def cuts_of(faces: Sequence[Edges], sheet: Edges) -> tuple[Cut, ...]:
    """
    Return cuts from edge to edge, in order, that leave every face with its own four edges.

    A sheet with several faces is cut across wherever a line crosses none, else along; so on
    with each part; a part with one face is trimmed. Each cut goes from edge to edge of the
    part it is made in.

    Parameters
    ----------
    faces : sequence of (left, low, right, high)
        Rectangles on the sheet. [in]
    sheet : (left, low, right, high)
        What is cut up. [in]

    Raises
    ------
    OutOfRangeError
        If no cuts from edge to edge part the faces, or one is not on the sheet.

    Examples
    --------
    >>> for cut in cuts_of([(0, 0, 2, 1), (2, 0, 3, 1)], (0, 0, 3, 2)):
    ...     print(cut.direction.value, cut.at_in, cut.from_in, cut.to_in)
    along 2 0 2
    across 1 0 2
    across 1 2 3
    """
    left, low, right, high = sheet
    for face in faces:
        is_on = (
            face[0] >= left - _HAIR_IN
            and face[1] >= low - _HAIR_IN
            and face[2] <= right + _HAIR_IN
            and face[3] <= high + _HAIR_IN
        )
        if not is_on:
            msg = (
                f"A face from {face[0]:g} to {face[2]:g} in across and {face[1]:g} to "
                f"{face[3]:g} in along does not lie on the sheet of {right - left:g} × "
                f"{high - low:g} in; move it."
            )
            raise OutOfRangeError(msg)
    cuts: list[Cut] = []
    todo = [(sheet, list(faces))]
    while todo:
        part, held = todo.pop()
        if len(held) == 1:
            cuts.extend(_trims(held[0], part))
        elif held:
            parted = _parted(held, part)
            if parted is None:
                msg = (
                    f"{len(held)} faces between {part[1]:g} and {part[3]:g} in along the roll "
                    "are not parted by cuts from edge to edge; lay them anew, or take the "
                    "contour cutter."
                )
                raise OutOfRangeError(msg)
            made, parts = parted
            cuts.extend(made)
            todo.extend(reversed(parts))
    return tuple(cuts)


def is_parted(faces: Sequence[Edges]) -> bool:
    """Return whether cuts from edge to edge part rectangles."""
    todo = [list(faces)]
    while todo:
        held = todo.pop()
        if len(held) > 1:
            parted = _parted(held, (0.0, 0.0, 0.0, 0.0))
            if parted is None:
                return False
            todo.extend(some for _, some in parted[1])
    return True


def _parted(
    faces: list[Edges], part: Edges
) -> tuple[list[Cut], list[tuple[Edges, list[Edges]]]] | None:
    """Return the cuts one way that part faces, and the parts with theirs; none if none do."""
    for direction, first in ((Direction.ACROSS, 1), (Direction.ALONG, 0)):
        ordered = sorted(faces, key=lambda face, at=first: (face[at], face))  # type: ignore[misc]
        groups: list[list[Edges]] = [[]]
        ends: list[float] = []
        reach = -float("inf")
        for face in ordered:
            if groups[-1] and face[first] >= reach - _HAIR_IN:
                ends.append(reach)
                groups.append([])
                reach = -float("inf")
            groups[-1].append(face)
            reach = max(reach, face[first + 2])
        if not ends:
            continue
        other = 1 - first
        cuts = [Cut(direction, end, part[other], part[other + 2]) for end in ends]
        parts = []
        for at, group in enumerate(groups):
            edges = list(part)
            if at:
                edges[first] = ends[at - 1]
            if at < len(ends):
                edges[first + 2] = ends[at]
            parts.append(((edges[0], edges[1], edges[2], edges[3]), group))
        return cuts, parts
    return None


def _trims(face: Edges, part: Edges) -> list[Cut]:
    """Return the cuts that leave one face of a part: across first, then along."""
    left, low, right, high = part
    cuts = []
    for at, edge in ((face[1], low), (face[3], high)):
        if abs(at - edge) > _HAIR_IN:
            cuts.append(Cut(Direction.ACROSS, at, left, right))
    for at, edge in ((face[0], left), (face[2], right)):
        if abs(at - edge) > _HAIR_IN:
            cuts.append(Cut(Direction.ALONG, at, face[1], face[3]))
    return cuts
