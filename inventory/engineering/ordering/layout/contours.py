"""True outlines nested on the roll, by a library in a process of its own."""

from __future__ import annotations

import math
from collections import defaultdict
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.ordering.layout.clearance import grown, least_separation, turned
from inventory.engineering.ordering.layout.nesting_process import NestingProcess
from inventory.engineering.ordering.outlines import face_outline
from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.engineering.ordering.layout.clearance import FloatArray

CORNERS_OF_A_CIRCLE = 48
_ALLOWANCE_IN = 1e-3  # the library reckons in single precision
_PLAY_IN = 0.05  # less play than this across the roll is none
_HAIR_IN = 1e-6
MOST_SECONDS = 3_600


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contour:
    """
    One face to be cut along its outline.

    ``outline`` has the corners counter-clockwise as the face is hung, across the roll first,
    in inches; ``angles_deg`` are the turns allowed. ``key`` is the caller's own.
    """

    key: int
    outline: FloatArray
    angles_deg: tuple[float, ...] = (0.0,)


@dataclass(frozen=True, slots=True, eq=False)
class ContourPlace:
    """Where a face lies: its corners on the roll, across first, and its turn."""

    key: int
    outline: FloatArray
    angle_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class ContourLayout:
    """Faces nested on the roll, the length they take, and the area none can go under."""

    places: tuple[ContourPlace, ...]
    length_in: float
    bound_in: float


def outline_of(shape: Shape | None, width_in: float, height_in: float) -> FloatArray:
    """
    Return the corners of a face as hung; an unknown outline is its rectangle.

    A circle is a polygon around it of 48 corners. Rounded corners are not taken off. A
    diamond stands on its corner: one of 36 in is 50.9 in across. A crossbuck is one of its
    two blades.

    Returns
    -------
    float array, corners × 2
        Counter-clockwise, the lowest and leftmost of the surrounding rectangle at 0. [in]

    Raises
    ------
    OutOfRangeError
        See `face_outline`.

    Examples
    --------
    >>> outline_of(Shape.DIAMOND, 36, 36).max(axis=0).round(1).tolist()
    [50.9, 50.9]
    """
    box = face_outline(shape, width_in, height_in)
    wide, high = box.rectangle_width_in, box.rectangle_height_in
    corners: list[tuple[float, float]] = [(0, 0), (wide, 0), (wide, high), (0, high)]
    match shape:
        case Shape.OCTAGON if width_in == height_in:
            cut = wide / (2 + math.sqrt(2))
            corners = [
                (cut, 0),
                (wide - cut, 0),
                (wide, cut),
                (wide, high - cut),
                (wide - cut, high),
                (cut, high),
                (0, high - cut),
                (0, cut),
            ]
        case Shape.DIAMOND:
            # A square of unequal sides would be a rectangle on its corner.
            flat = np.array(corners, dtype=float)
            stood = turned(flat, 45.0)
            return np.asarray(stood - stood.min(axis=0), dtype=np.float64)
        case Shape.CIRCLE if width_in == height_in:
            step = math.pi / CORNERS_OF_A_CIRCLE
            radius = wide / 2 / math.cos(step)
            angles = [2 * step * at + step for at in range(CORNERS_OF_A_CIRCLE)]
            ring = np.array(
                [(radius * math.cos(angle), radius * math.sin(angle)) for angle in angles]
            )
            return np.asarray(ring - ring.min(axis=0), dtype=np.float64)
        case Shape.TRIANGLE_DOWN:
            corners = [(wide / 2, 0), (wide, high), (0, high)]
        case Shape.PENNANT:
            corners = [(0, 0), (wide, high / 2), (0, high)]
    return np.array(corners, dtype=np.float64)


def nest_contours(
    contours: Sequence[Contour],
    *,
    usable_width_in: float,
    gap_in: float,
    seconds: float,
    seed: int = 1,
    process: NestingProcess | None = None,
) -> ContourLayout | None:
    """
    Return the outlines nested, or none where the library found no layout or gave way.

    Each outline is grown by half the gap; the library runs in a process of its own, since a
    fault in it ends its process; what it gives back is checked for gaps and edges before it
    is believed.

    Parameters
    ----------
    contours : sequence of Contour
    usable_width_in, gap_in : float
        Width to lie in, and the least distance of two faces. [in]
    seconds : float
        Time of the search, 1 to 3,600, in whole seconds. [s]
    process : NestingProcess, optional
        One that is kept for many sets; without it one is started and ended.

    Raises
    ------
    OutOfRangeError
        If there is no face, one does not fit across the roll in any turn allowed, or the time
        is out of range.
    """
    if not contours:
        msg = "There is no face to lay out; choose at least one."
        raise OutOfRangeError(msg)
    if not 1 <= seconds <= MOST_SECONDS:
        msg = f"A search of {seconds:g} s is out of range; it is 1 to {MOST_SECONDS:,} s."
        raise OutOfRangeError(msg)
    for contour in contours:
        _check_outline(contour)
        _check_fits(contour, usable_width_in)
    nested, alone = _parted(contours, usable_width_in)
    kinds: dict[tuple[bytes, tuple[float, ...]], list[Contour]] = defaultdict(list)
    for contour in nested:
        kinds[(contour.outline.round(6).tobytes(), contour.angles_deg)].append(contour)
    grow = _edge(gap_in)
    # Along the roll comes first for the library, whose strip has a fixed height.
    items = [
        (
            [(float(y), float(x)) for x, y in grown(some[0].outline, grow)[::-1]],
            len(some),
            [(360.0 - angle) % 360.0 for angle in some[0].angles_deg],
        )
        for some in kinds.values()
    ]
    strip_in = usable_width_in + gap_in + 2 * _ALLOWANCE_IN
    with ExitStack() as stack:
        nester = process or stack.enter_context(NestingProcess())
        placed = (
            nester.nest(items, strip_in=strip_in, seconds=seconds, seed=seed) if items else []
        )
    if placed is None:
        return None
    places = []
    left = [list(reversed(some)) for some in kinds.values()]
    for kind, angle, along, across in placed:
        contour = left[kind].pop()
        turn = (360.0 - angle) % 360.0
        outline = turned(contour.outline, turn) + np.array([across, along])
        places.append(ContourPlace(contour.key, outline, turn))
    if any(left):
        return None
    on_roll = _on_the_roll(places, usable_width_in, gap_in)
    end = max((float(place.outline[:, 1].max()) for place in on_roll), default=-gap_in)
    for contour, angle in alone:
        outline = turned(contour.outline, angle)
        outline = outline - outline.min(axis=0) + np.array([0.0, end + gap_in])
        end = float(outline[:, 1].max())
        on_roll.append(ContourPlace(contour.key, outline, angle))
    return _checked(on_roll, contours, usable_width_in, gap_in)


def _parted(
    contours: Sequence[Contour], usable_width_in: float
) -> tuple[list[Contour], list[tuple[Contour, float]]]:
    """
    Return those to nest, and rectangles as wide as the roll with the turn they lie in.

    Nothing lies beside the latter, and the library does not take what fits without play.
    """
    nested: list[Contour] = []
    alone: list[tuple[Contour, float]] = []
    for contour in contours:
        widths = [float(np.ptp(turned(contour.outline, a)[:, 0])) for a in contour.angles_deg]
        narrow = contour.angles_deg[int(np.argmin(widths))]
        width, length = np.ptp(turned(contour.outline, narrow), axis=0)
        is_box = math.isclose(area_in2(contour.outline), width * length, rel_tol=1e-9)
        if is_box and width > usable_width_in - _PLAY_IN:
            alone.append((contour, narrow))
        else:
            nested.append(contour)
    return nested, alone


def _check_outline(contour: Contour) -> None:
    edges = np.roll(contour.outline, -1, axis=0) - contour.outline
    after = np.roll(edges, -1, axis=0)
    bends = edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0]
    if len(edges) < 3 or not np.isfinite(bends).all() or bends.min() <= 0:
        msg = (
            f"The outline of face {contour.key} is not convex with its corners counter-"
            "clockwise; give its rectangle instead."
        )
        raise OutOfRangeError(msg)


def _check_fits(contour: Contour, usable_width_in: float) -> None:
    least = min(
        float(np.ptp(turned(contour.outline, angle)[:, 0])) for angle in contour.angles_deg
    )
    if least > usable_width_in + 1e-6:
        msg = (
            f"A face {least:.1f} in across at least does not fit into the {usable_width_in:g} "
            f"in that can be used across the roll; take a roll {least - usable_width_in:.1f} "
            "in wider, allow another turn, or part the face in two."
        )
        raise OutOfRangeError(msg)


def _on_the_roll(
    places: list[ContourPlace], usable_width_in: float, gap_in: float
) -> list[ContourPlace]:
    """Return the places from the roll's edge and start; what is a hair over is moved back."""
    if not places:
        return []
    start = min(float(place.outline[:, 1].min()) for place in places)
    moved = []
    for place in places:
        left = float(place.outline[:, 0].min()) - _edge(gap_in)
        right = float(place.outline[:, 0].max()) - _edge(gap_in)
        over = max(0.0, right - usable_width_in) + min(0.0, left)
        back = np.array([_edge(gap_in) + over, start])
        moved.append(ContourPlace(place.key, place.outline - back, place.angle_deg))
    return moved


def _checked(
    places: list[ContourPlace],
    contours: Sequence[Contour],
    usable_width_in: float,
    gap_in: float,
) -> ContourLayout | None:
    """Return the layout, or none if it breaks a rule."""
    outlines = [place.outline for place in places]
    reach = np.max([outline.max(axis=0) for outline in outlines], axis=0)
    edge = min(float(outline[:, 0].min()) for outline in outlines)
    is_inside = edge >= -_HAIR_IN and reach[0] <= usable_width_in + _HAIR_IN
    if not is_inside or least_separation(outlines) < gap_in - _HAIR_IN:
        return None
    area = sum(area_in2(contour.outline) for contour in contours)
    return ContourLayout(tuple(places), float(reach[1]), area / usable_width_in)


def _edge(gap_in: float) -> float:
    """Return how far from the strip's edge a face may lie: it was grown by that."""
    return gap_in / 2 + _ALLOWANCE_IN


def area_in2(outline: FloatArray) -> float:
    """Return the area of an outline, in square inches."""
    x, y = outline[:, 0], outline[:, 1]
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)
