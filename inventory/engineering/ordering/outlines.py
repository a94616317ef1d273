"""The rectangle a face is cut from, and the area of the shape within it."""

import math
from dataclasses import dataclass

from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import OutOfRangeError
from inventory.units import square_inches_to_square_feet


@dataclass(frozen=True, slots=True)
class Outline:
    """
    What one face takes of the sheeting.

    The rectangle is the one that leaves the roll; ``rectangle_count`` of them make a face.
    ``shape_area_ft2`` is ``None`` where the shape's own drawing is not at hand.
    """

    rectangle_width_in: float
    rectangle_height_in: float
    rectangle_count: int
    shape_area_ft2: float | None

    @property
    def rectangle_area_ft2(self) -> float:
        """Return the area of sheeting one face takes, in square feet."""
        return square_inches_to_square_feet(
            self.rectangle_width_in * self.rectangle_height_in * self.rectangle_count
        )


def face_outline(shape: Shape | None, width_in: float, height_in: float) -> Outline:
    """
    Return the rectangle a face is cut from, and the area of the shape within it.

    Sizes are read as the catalogue prints them: a triangle by its side (twice), a pennant by
    its long side and its upright edge, a circle by its diameter (twice), a diamond by the side
    of the square it is, a crossbuck by one of its two blades. A triangle with two different
    dimensions is read as base and height.

    Parameters
    ----------
    shape : Shape or None
        The shape of the blank; ``None`` when it is not known, which takes the rectangle.
    width_in, height_in : float
        The size as printed, over zero. [in]

    Returns
    -------
    Outline
        A diamond is laid square, so that it takes its own area and no more. The area of a
        shape is that of its straight outline; rounded corners are not taken off. It is not
        known for a pentagon, a trapezoid, an unknown shape, and an octagon or a circle with
        two different dimensions.

    Raises
    ------
    OutOfRangeError
        If a dimension is not a positive number, or a pennant's long sides do not meet.

    References
    ----------
    .. [1] Plane geometry; sizes as in MUTCD 11th edition (2023) Tables 2B-1 and 2C-1.

    Examples
    --------
    >>> stop = face_outline(Shape.OCTAGON, 30, 30)
    >>> stop.rectangle_area_ft2, round(stop.shape_area_ft2, 3)
    (6.25, 5.178)
    >>> face_outline(Shape.PENTAGON, 36, 36).shape_area_ft2 is None
    True
    """
    for value in (width_in, height_in):
        if not (math.isfinite(value) and value > 0):
            msg = (
                f"A face of {width_in:g} × {height_in:g} in cannot be cut; both dimensions "
                "have to be over 0 in."
            )
            raise OutOfRangeError(msg)
    width, height, count = width_in, height_in, 1
    area_in2: float | None = None
    match shape:
        case Shape.RECTANGLE | Shape.DIAMOND:
            area_in2 = width * height
        case Shape.OCTAGON if width == height:
            area_in2 = 2 * (math.sqrt(2) - 1) * width**2
        case Shape.CIRCLE if width == height:
            area_in2 = math.pi * width**2 / 4
        case Shape.TRIANGLE_DOWN:
            height = width * math.sqrt(3) / 2 if width == height else height
            area_in2 = width * height / 2
        case Shape.PENNANT:
            width = _pennant_length_in(width, height)
            area_in2 = width * height / 2
        case Shape.CROSSBUCK:
            count = 2
            area_in2 = 2 * width * height
    shape_area_ft2 = None if area_in2 is None else square_inches_to_square_feet(area_in2)
    return Outline(width, height, count, shape_area_ft2)


def _pennant_length_in(long_side_in: float, edge_in: float) -> float:
    """Return how long a pennant is from its upright edge to its point, in inches."""
    if long_side_in <= edge_in / 2:
        msg = (
            f"A pennant with long sides of {long_side_in:g} in and an upright edge of "
            f"{edge_in:g} in has no point; give the long side first, more than half the edge."
        )
        raise OutOfRangeError(msg)
    return math.sqrt(long_side_in**2 - (edge_in / 2) ** 2)
