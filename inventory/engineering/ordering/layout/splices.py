"""Faces wider than the roll, made up of two parts by the rules for a splice."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.ordering.layout.contours import outline_of
from inventory.engineering.ordering.layout.roll import HAIR_IN, Piece
from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from inventory.engineering.ordering.layout.clearance import FloatArray
    from inventory.engineering.ordering.layout.roll import Face, Turns


def spliced_pieces(
    face: Face, *, usable_width_in: float, overlap_in: float | None, turns: Turns
) -> tuple[Piece, Piece]:
    """
    Return the two parts of a face that is wider than what can be used of the roll.

    The splice is vertical, in the centre of the face as hung; both parts lie in one and the
    same turn. Where they overlap, the middle of the overlap is in the centre, so that the parts
    are equally wide. They have to come off one lot, which the caller keeps.

    Parameters
    ----------
    usable_width_in : float
        Width of the roll that may be cut into faces. [in]
    overlap_in : float or None
        By how much the parts overlap, 0 for a butt splice; none: the shop does not splice. [in]

    Raises
    ------
    OutOfRangeError
        If the shop does not splice, the face is a crossbuck (made of blades already), the
        overlap is as wide as half the face, or more than one splice would be needed.

    References
    ----------
    .. [1] North Dakota Administrative Code 37-11-05-01: one maker's lot, spliced in one
       direction, at most one splice, a vertical one in the centre (a chapter for
       tourist-oriented directional signs; what it says of horizontal splices was not read, so
       none is made).
    .. [2] California, non-standard provision of 2006: an overlap of 1 in by default, butted
       where the maker of the sheeting asks for it.

    Examples
    --------
    >>> from inventory.engineering.ordering.layout.roll import Face, Turns
    >>> guide = Face(key=1, shape=Shape.RECTANGLE, width_in=84, height_in=60)
    >>> parts = spliced_pieces(guide, usable_width_in=48, overlap_in=1, turns=Turns())
    >>> [part.least_across_in for part in parts]
    [42.5, 42.5]
    """
    if overlap_in is None:
        msg = (
            f"The {face.words} is wider than the {usable_width_in:g} in that can be used of "
            "the roll, and splices are not set; say butt (0 in) or overlap, or take a wider "
            "roll."
        )
        raise OutOfRangeError(msg)
    if face.shape is Shape.CROSSBUCK:
        msg = (
            f"The {face.words} has a blade wider than the {usable_width_in:g} in that can be "
            "used of the roll; a blade is not spliced. Take a wider roll."
        )
        raise OutOfRangeError(msg)
    outline = outline_of(face.shape, face.width_in, face.height_in)
    wide = float(outline[:, 0].max())
    if not 0 <= overlap_in < wide / 2:
        msg = (
            f"An overlap of {overlap_in:g} in is out of range for the {face.words}; it is 0 to "
            f"less than half its width, {wide / 2:.4g} in."
        )
        raise OutOfRangeError(msg)
    left = _beyond(-outline, -(wide + overlap_in) / 2)
    halves = (-left, _beyond(outline, (wide - overlap_in) / 2))
    halves = (halves[0] - halves[0].min(axis=0), halves[1] - halves[1].min(axis=0))
    least = np.inf
    for angle in turns.all_deg:
        one, other = (
            Piece(face=face, part=part, parts=2, outline=half, angles_deg=(angle,))
            for part, half in enumerate(halves, start=1)
        )
        across = max(one.least_across_in, other.least_across_in)
        if across <= usable_width_in + HAIR_IN:
            return one, other
        least = min(least, across)
    msg = (
        f"The {face.words} would need more than one splice: its halves are {least:.4g} in "
        f"across at least, and {usable_width_in:g} in of the roll can be used. At most one "
        "splice, a vertical one in the centre, is made (North Dakota Administrative Code "
        "37-11-05-01); take a wider roll, or have the face made up of panels."
    )
    raise OutOfRangeError(msg)


def _beyond(outline: FloatArray, at: float) -> FloatArray:
    """Return the part of a convex outline at or beyond a line along the roll."""
    kept = []
    for here, there in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        if here[0] >= at:
            kept.append(here)
        if (here[0] - at) * (there[0] - at) < 0:
            share = (at - here[0]) / (there[0] - here[0])
            kept.append(here + share * (there - here))
    return np.array(kept, dtype=np.float64)
