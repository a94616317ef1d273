"""The boxes of one base sheeting on a roll: the problem in whole numbers, and a layout."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Sequence

WholeArray = npt.NDArray[np.int64]
TruthArray = npt.NDArray[np.bool_]

UNITS_PER_IN = 1000
MOST_FACES = 10_000
_HAIR_IN = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """
    The rectangle one face is cut from.

    ``width_in`` lies across the roll and ``length_in`` along it, as the face is hung; with
    ``can_turn`` it may also lie turned by 90°. ``key`` is the caller's own.
    """

    key: int
    width_in: float
    length_in: float
    can_turn: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """Where a box lies, in inches: its corner nearest to the roll's edge and start."""

    key: int
    across_in: float
    along_in: float
    width_in: float
    length_in: float
    is_turned: bool


@dataclass(frozen=True, slots=True)
class StripLayout:
    """
    Boxes on the roll.

    ``length_in`` is what the faces take along the roll, ``bound_in`` a length that no layout
    of the same boxes can go under, ``is_straight`` whether cuts from edge to edge part them.
    """

    places: tuple[Place, ...]
    length_in: float
    bound_in: float
    is_straight: bool
    way: str


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """
    The same in whole thousandths of an inch, each box grown by the gap on two sides.

    ``width``, ``length`` and ``can_turn`` have an entry a box; ``room`` is the width to lie
    in, with one gap more, since the last box across needs none beside it.
    """

    width: WholeArray
    length: WholeArray
    can_turn: TruthArray
    room: int
    gap: int
    keys: tuple[int, ...] = field(default=())

    @property
    def area(self) -> int:
        """Return the area of all boxes, gaps with them."""
        return int((self.width * self.length).sum())


@dataclass(frozen=True, slots=True, eq=False)
class Packing:
    """A corner and a turn for every box of a strip, and the length they reach."""

    across: WholeArray
    along: WholeArray
    turned: TruthArray
    top: int


def strip_of(boxes: Sequence[Box], *, usable_width_in: float, gap_in: float) -> Strip:
    """
    Return the problem in whole numbers; sizes are rounded up, the room is rounded down.

    Parameters
    ----------
    boxes : sequence of Box
        At most 10,000, each fitting the usable width one way.
    usable_width_in : float
        Width of the roll that is printed and cut from, its edge margins taken off. [in]
    gap_in : float
        Least distance between two boxes. [in]

    Raises
    ------
    OutOfRangeError
        If there are none or too many boxes, a size, the width or the gap is out of range, or
        a box is wider than the room however it is laid.

    Examples
    --------
    >>> face = Box(key=1, width_in=24, length_in=30)
    >>> strip = strip_of([face], usable_width_in=48, gap_in=0.25)
    >>> strip.width.tolist(), strip.length.tolist(), strip.room
    ([24250], [30250], 48250)
    """
    _check_numbers(boxes, usable_width_in, gap_in)
    for box in boxes:
        least = min(box.width_in, box.length_in) if box.can_turn else box.width_in
        if least > usable_width_in + _HAIR_IN:
            way = "however it is laid" if box.can_turn else "laid as it is hung"
            msg = (
                f"A face of {box.width_in:g} × {box.length_in:g} in does not fit into the "
                f"{usable_width_in:g} in that can be used across the roll, {way}; take a roll "
                f"at least {least - usable_width_in:g} in wider, or a face in two parts."
            )
            raise OutOfRangeError(msg)
    return Strip(
        width=np.array([_up(box.width_in + gap_in) for box in boxes], dtype=np.int64),
        length=np.array([_up(box.length_in + gap_in) for box in boxes], dtype=np.int64),
        can_turn=np.array([box.can_turn for box in boxes], dtype=np.bool_),
        room=math.floor((usable_width_in + gap_in) * UNITS_PER_IN + _HAIR_IN),
        gap=_up(gap_in),
        keys=tuple(box.key for box in boxes),
    )


def _up(value_in: float) -> int:
    return math.ceil(value_in * UNITS_PER_IN - 1e-6)


def _check_numbers(boxes: Sequence[Box], usable_width_in: float, gap_in: float) -> None:
    if not boxes:
        msg = "There is no face to lay out; choose at least one."
        raise OutOfRangeError(msg)
    if len(boxes) > MOST_FACES:
        msg = (
            f"There are {len(boxes):,} faces; at most {MOST_FACES:,} are laid out at a time. "
            "Take fewer lines."
        )
        raise OutOfRangeError(msg)
    if not (math.isfinite(usable_width_in) and 0 < usable_width_in <= 1_000):
        msg = (
            f"A usable width of {usable_width_in:g} in is out of range; it is over 0, to "
            "1,000 in."
        )
        raise OutOfRangeError(msg)
    if not (math.isfinite(gap_in) and 0 <= gap_in <= 12):
        msg = f"A gap of {gap_in:g} in is out of range; it is 0 to 12 in."
        raise OutOfRangeError(msg)
    for box in boxes:
        for value in (box.width_in, box.length_in):
            if not (math.isfinite(value) and 0 < value <= 10_000):
                msg = (
                    f"A face of {box.width_in:g} × {box.length_in:g} in cannot be laid out; "
                    "both dimensions are over 0, to 10,000 in."
                )
                raise OutOfRangeError(msg)


def layout_of(
    strip: Strip, packing: Packing, *, bound: int, is_straight: bool, way: str
) -> StripLayout:
    """Return a packing in inches, the gaps taken off again."""
    places = []
    for at, key in enumerate(strip.keys):
        turned = bool(packing.turned[at])
        width = int(strip.length[at] if turned else strip.width[at]) - strip.gap
        length = int(strip.width[at] if turned else strip.length[at]) - strip.gap
        places.append(
            Place(
                key=key,
                across_in=int(packing.across[at]) / UNITS_PER_IN,
                along_in=int(packing.along[at]) / UNITS_PER_IN,
                width_in=width / UNITS_PER_IN,
                length_in=length / UNITS_PER_IN,
                is_turned=turned,
            )
        )
    return StripLayout(
        places=tuple(places),
        length_in=(packing.top - strip.gap) / UNITS_PER_IN,
        bound_in=(min(bound, packing.top) - strip.gap) / UNITS_PER_IN,
        is_straight=is_straight,
        way=way,
    )
