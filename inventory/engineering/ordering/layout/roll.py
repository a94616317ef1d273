"""What a roll, a press and a sheeting allow, and why a face does not come off a roll."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.ordering.layout.clearance import turned
from inventory.engineering.ordering.layout.contours import outline_of
from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from inventory.engineering.ordering.layout.clearance import FloatArray

MOST_WIDTH_IN = 1_000.0
MOST_LENGTH_IN = 100_000.0
TURNS_DEG = (0, 45, 90, 180)
HAIR_IN = 1e-6


class Cutter(StrEnum):
    """How faces are parted: by cuts from edge to edge, or along their outline."""

    STRAIGHT = "straight"
    CONTOUR = "contour"


@dataclass(frozen=True, slots=True, kw_only=True)
class Turns:
    """
    The turns a sheeting may be laid in, and on what grounds.

    ``angles_deg`` are some of 0, 45, 90 and 180; a face as hung (0) always may. Any other turn
    needs a ``basis`` in words, such as what the sheeting maker writes. 45 stands for either
    side; turns add up, so with 90 and 180 a face lies by 270 too.
    """

    angles_deg: tuple[int, ...] = (0,)
    basis: str = ""

    def __post_init__(self) -> None:
        for angle in self.angles_deg:
            if angle not in TURNS_DEG:
                msg = f"A turn of {angle:g}° cannot be set; turns are 0, 45, 90 and 180°."
                raise OutOfRangeError(msg)
        more = [angle for angle in sorted(set(self.angles_deg)) if angle]
        if more and not self.basis.strip():
            turns = ", ".join(f"{angle}°" for angle in more)
            msg = (
                f"Turns of {turns} are allowed without a basis; write on what grounds the "
                "sheeting may be turned, or lay it as it is hung."
            )
            raise OutOfRangeError(msg)

    @property
    def all_deg(self) -> tuple[float, ...]:
        """
        Return every turn that follows, the one as hung first.

        Examples
        --------
        >>> Turns(angles_deg=(0, 90, 180), basis="maker's bulletin (invented)").all_deg
        (0.0, 90.0, 180.0, 270.0)
        """
        found = {0}
        if 45 in self.angles_deg:
            found |= {45, 315}
        for step in (90, 180):
            if step in self.angles_deg:
                found |= {(angle + step) % 360 for angle in found}
        return tuple(float(angle) for angle in sorted(found))


@dataclass(frozen=True, slots=True, kw_only=True)
class Press:
    """
    What the press prints across, and what is lost at every load, in inches.

    ``printable_width_in`` lies in the middle of the roll; ``lead_in_in`` passes before the
    first print, ``tail_in`` behind the last one.
    """

    printable_width_in: float
    lead_in_in: float = 0.0
    tail_in: float = 0.0

    def __post_init__(self) -> None:
        _check(self.printable_width_in, "printable width", 0, MOST_WIDTH_IN, over=True)
        _check(self.lead_in_in, "lead-in", 0, 1_000)
        _check(self.tail_in, "tail", 0, 1_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Laying:
    """
    The shop's own rules for a layout, in inches.

    ``gap_in`` is the least distance of two cut lines, ``bleed_in`` what is printed beyond a
    cut line, ``edge_margin_in`` the least distance of a cut line from the edge of the roll;
    margin and gap have no default, for they are the shop's choice. With ``is_to_the_edge``
    there is no margin even where there is bleed: a face may be as wide as the roll, and its
    bleed ends with the roll. ``overlap_in`` is that of a splice, 0 for a butt splice; none
    where the shop does not splice.
    """

    cutter: Cutter
    edge_margin_in: float
    gap_in: float
    bleed_in: float = 0.0
    is_to_the_edge: bool = False
    overlap_in: float | None = None

    def __post_init__(self) -> None:
        _check(self.gap_in, "gap", 0, 12)
        _check(self.bleed_in, "bleed", 0, 6)
        _check(self.edge_margin_in, "edge margin", 0, 12)
        if self.overlap_in is not None:
            _check(self.overlap_in, "overlap of a splice", 0, 6)

    @property
    def between_in(self) -> float:
        """Return the least distance of two cut lines: no face is printed into another."""
        return max(self.gap_in, 2 * self.bleed_in)


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """
    One face: ``width_in`` × ``height_in`` is its cut size as it is printed in the catalogue.

    ``due_rank`` puts faces in order, 1 the most urgent. ``key`` is the caller's own.
    """

    key: int
    shape: Shape | None
    width_in: float
    height_in: float
    due_rank: int = 1

    @property
    def words(self) -> str:
        """Return what the face is called in a sentence."""
        shape = self.shape.value.replace("-", " ") if self.shape else "face"
        return f"{shape} {self.key} of {self.width_in:g} × {self.height_in:g} in"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """
    What is cut off the roll in one: a face, a blade of a crossbuck or a part of a splice.

    ``outline`` has its corners as hung, counter-clockwise, from 0; ``angles_deg`` are the turns
    it may be laid in.
    """

    face: Face
    part: int
    parts: int
    outline: FloatArray
    angles_deg: tuple[float, ...]
    sizes: dict[float, tuple[float, float]] = field(init=False)

    def __post_init__(self) -> None:
        sizes = {}
        for angle in self.angles_deg:
            across, along = np.ptp(turned(self.outline, angle), axis=0)
            sizes[angle] = (round(float(across), 9), round(float(along), 9))
        object.__setattr__(self, "sizes", sizes)

    @property
    def area_in2(self) -> float:
        """Return the area within the outline, in square inches."""
        x, y = self.outline[:, 0], self.outline[:, 1]
        return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2

    @property
    def least_across_in(self) -> float:
        """Return how wide it lies across the roll at least, in inches."""
        return min(across for across, _ in self.sizes.values())

    def laid_at(self, angle_deg: float, across_in: float, along_in: float) -> FloatArray:
        """Return its corners turned, the lowest and leftmost of its box where asked."""
        outline = turned(self.outline, angle_deg)
        return np.asarray(
            outline - outline.min(axis=0) + np.array([across_in, along_in]), dtype=np.float64
        )

    def box_turn(self, usable_width_in: float) -> tuple[float, bool]:
        """
        Return the turn of the smallest box that comes off, and whether 90° more is allowed.

        Raises
        ------
        ValueError
            If it does not come off the roll in any turn.
        """
        fits = [
            (round(across * along, 6), angle)
            for angle, (across, along) in self.sizes.items()
            if across <= usable_width_in + HAIR_IN
        ]
        _, best = min(fits)
        return best, (best + 90) % 360 in self.sizes


def whole_pieces(face: Face, turns: Turns) -> tuple[Piece, ...]:
    """
    Return a face in one piece, or a crossbuck in its two blades.

    A diamond lies on its corner, as it is hung, unless the sheeting may be turned by 45°.

    Examples
    --------
    >>> diamond = Face(key=1, shape=Shape.DIAMOND, width_in=36, height_in=36)
    >>> (upright,) = whole_pieces(diamond, Turns())
    >>> (square,) = whole_pieces(diamond, Turns(angles_deg=(45,), basis="invented"))
    >>> round(upright.least_across_in, 1), round(square.least_across_in, 1)
    (50.9, 36.0)
    """
    outline = outline_of(face.shape, face.width_in, face.height_in)
    count = 2 if face.shape is Shape.CROSSBUCK else 1
    angles = _unlike(outline, turns.all_deg)
    return tuple(
        Piece(face=face, part=part, parts=count, outline=outline, angles_deg=angles)
        for part in range(1, count + 1)
    )


def _unlike(outline: FloatArray, angles_deg: tuple[float, ...]) -> tuple[float, ...]:
    """Return the turns in which the outline looks unlike, the first of each."""
    seen = set()
    kept = []
    for angle in angles_deg:
        laid = turned(outline, angle)
        corners = frozenset(
            (round(x, 3) + 0.0, round(y, 3) + 0.0)
            for x, y in (laid - laid.min(axis=0)).tolist()
        )
        if corners not in seen:
            seen.add(corners)
            kept.append(angle)
    return tuple(kept)


def usable_width_in(roll_width_in: float, press: Press, laying: Laying) -> float:
    """
    Return how much of a roll's width may be cut into faces; it lies in the middle of the roll.

    Four widths meet here: the faces' cut size has to lie within the roll less its margins; cut
    size and bleed within what the press prints, and on the roll. A face cut to the edge of the
    roll needs no bleed there, for the sheeting ends with it.

    Raises
    ------
    OutOfRangeError
        If the roll's width is out of range, or margins and bleed leave nothing of it.

    Examples
    --------
    >>> wide = Press(printable_width_in=50)
    >>> half = Laying(cutter=Cutter.STRAIGHT, edge_margin_in=0.5, gap_in=0.25)
    >>> none = Laying(cutter=Cutter.STRAIGHT, edge_margin_in=0, gap_in=0.25)
    >>> usable_width_in(48, wide, half), usable_width_in(48, wide, none)
    (47.0, 48)
    """
    _check(roll_width_in, "roll width", 0, MOST_WIDTH_IN, over=True)
    margin = 0.0 if laying.is_to_the_edge else max(laying.edge_margin_in, laying.bleed_in)
    width = roll_width_in - 2 * margin if margin else roll_width_in
    if press.printable_width_in < roll_width_in or not laying.is_to_the_edge:
        width = min(width, press.printable_width_in - 2 * laying.bleed_in)
    if width <= 0:
        msg = (
            f"Nothing of a {roll_width_in:g} in roll can be used: margins of {margin:g} in, a "
            f"bleed of {laying.bleed_in:g} in and a printable width of "
            f"{press.printable_width_in:g} in leave no width. Check these four."
        )
        raise OutOfRangeError(msg)
    return width


def require_fit(
    face: Face,
    *,
    roll_width_in: float,
    widths_in: Iterable[float],
    press: Press,
    laying: Laying,
    turns: Turns,
) -> None:
    """
    Refuse a face that does not come off a roll in one piece; say what would do.

    Parameters
    ----------
    widths_in : iterable of float
        The widths there are, of which the next that would do is named. [in]

    Raises
    ------
    OutOfRangeError
        If the face is wider than what can be used of the roll, or its size is no size.

    Examples
    --------
    >>> rules = Laying(cutter=Cutter.STRAIGHT, edge_margin_in=0.25, gap_in=0.25)
    >>> require_fit(Face(key=7, shape=Shape.RECTANGLE, width_in=36, height_in=48),
    ...     roll_width_in=36, widths_in=[24, 30, 36, 48], press=Press(printable_width_in=60),
    ...     laying=rules, turns=Turns())
    Traceback (most recent call last):
    inventory.errors.OutOfRangeError: The rectangle 7 of 36 × 48 in ... take a 48 in roll.
    """
    least = max(piece.least_across_in for piece in whole_pieces(face, turns))
    usable = usable_width_in(roll_width_in, press, laying)
    if least <= usable + HAIR_IN:
        return
    ways = []
    to_edge = replace(laying, is_to_the_edge=True)
    if least <= usable_width_in(roll_width_in, press, to_edge) + HAIR_IN:
        ways.append("choose zero margin if the shop cuts faces as wide as the roll")
    given = sorted(set(widths_in))
    wider = next(
        (
            width
            for width in given
            if width > roll_width_in
            and least <= usable_width_in(width, press, laying) + HAIR_IN
        ),
        None,
    )
    if wider is not None:
        ways.append(f"take a {wider:g} in roll")
    ways.extend(_turns_that_would_do(face, turns, usable))
    if not ways:
        widths = ", ".join(f"{width:g}" for width in given) or "none"
        ways.append(f"splice it or order a wider roll: no width given ({widths} in) would do")
    if wider is None and least > press.printable_width_in - 2 * laying.bleed_in + HAIR_IN:
        ways.append(f"mind that the press prints {press.printable_width_in:g} in only")
    advice = ", or ".join(ways)
    msg = (
        f"The {face.words} is {least:.4g} in across at least and does not come off the "
        f"{roll_width_in:g} in roll, of which {usable:g} in can be used. "
        f"{advice[0].upper()}{advice[1:]}."
    )
    raise OutOfRangeError(msg)


def _turns_that_would_do(face: Face, turns: Turns, usable_in: float) -> list[str]:
    """Return the first turn not allowed in which the face would come off, in words."""
    for angle, words in ((45, "laid square"), (90, "laid on its side")):
        if angle in turns.angles_deg or (angle == 45) != (face.shape is Shape.DIAMOND):
            continue
        asked = Turns(angles_deg=(*turns.angles_deg, angle), basis="asked here only")
        across = max(piece.least_across_in for piece in whole_pieces(face, asked))
        if across <= usable_in + HAIR_IN:
            return [
                f"take sheeting that may be turned by {angle}°: {words} it is {across:.4g} in "
                "across"
            ]
    return []


def _check(value: float, words: str, least: float, most: float, *, over: bool = False) -> None:
    if math.isfinite(value) and least <= value <= most and not (over and value <= least):
        return
    bound = f"over {least:g}, to {most:,.0f} in" if over else f"{least:g} to {most:,.0f} in"
    msg = f"A {words} of {value:g} in is out of range; it is {bound}."
    raise OutOfRangeError(msg)
