"""Faces that can be printed on one sheeting, with their area and the press time."""

from collections.abc import Iterable
from dataclasses import dataclass

from inventory.engineering.ordering.outlines import face_outline
from inventory.engineering.production.press_time import press_minutes
from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import OutOfRangeError


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceLine:
    """A number of equal faces; ``key`` is the caller's own, such as that of an order line."""

    key: int
    sheeting_type: str
    optics: str
    base_color: str
    shape: Shape | None
    width_in: float
    height_in: float
    quantity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceGroup:
    """
    Faces of one base sheeting.

    ``area_ft2`` is the sheeting they take, rectangle by rectangle, which is also what passes
    under the press; ``shape_area_ft2`` is the area of the shapes themselves, ``None`` where
    one of them is not known.
    """

    sheeting_type: str
    optics: str
    base_color: str
    face_count: int
    area_ft2: float
    shape_area_ft2: float | None
    press_minutes: float
    keys: tuple[int, ...]


def group_faces(lines: Iterable[FaceLine], rate_ft2_per_h: float) -> tuple[FaceGroup, ...]:
    """
    Return the faces grouped by the base sheeting they are printed on.

    Parameters
    ----------
    lines : iterable of FaceLine
        Each with a quantity of one or more.
    rate_ft2_per_h : float
        Rate of the press, over zero. [ft²/h]

    Returns
    -------
    tuple of FaceGroup
        In order of type, optics and colour; the lines of a group in the order given. Gaps
        between faces, bleed and set-up are not in area or time.

    Raises
    ------
    OutOfRangeError
        If a quantity is below one, a size is not positive, or the rate is not over zero.

    References
    ----------
    .. [1] Common practice, no source: press time is area over rate; check value 48 ft² at
       162 ft²/h, 17.8 min.

    Examples
    --------
    >>> twelve = FaceLine(key=1, sheeting_type="XI", optics="prismatic", base_color="white",
    ...     shape=Shape.RECTANGLE, width_in=24, height_in=24, quantity=12)
    >>> (group,) = group_faces([twelve], 162.0)
    >>> group.face_count, group.area_ft2, round(group.press_minutes, 1)
    (12, 48.0, 17.8)
    """
    grouped: dict[tuple[str, str, str], list[FaceLine]] = {}
    for line in lines:
        if line.quantity < 1:
            msg = f"A line of {line.quantity} faces cannot be printed; it needs one or more."
            raise OutOfRangeError(msg)
        key = (line.sheeting_type, line.optics, line.base_color)
        grouped.setdefault(key, []).append(line)
    return tuple(
        _group(key, members, rate_ft2_per_h) for key, members in sorted(grouped.items())
    )


def _group(
    key: tuple[str, str, str], members: list[FaceLine], rate_ft2_per_h: float
) -> FaceGroup:
    area_ft2 = 0.0
    shape_area_ft2: float | None = 0.0
    for line in members:
        outline = face_outline(line.shape, line.width_in, line.height_in)
        area_ft2 += outline.rectangle_area_ft2 * line.quantity
        if shape_area_ft2 is not None and outline.shape_area_ft2 is not None:
            shape_area_ft2 += outline.shape_area_ft2 * line.quantity
        else:
            shape_area_ft2 = None
    sheeting_type, optics, base_color = key
    return FaceGroup(
        sheeting_type=sheeting_type,
        optics=optics,
        base_color=base_color,
        face_count=sum(line.quantity for line in members),
        area_ft2=area_ft2,
        shape_area_ft2=shape_area_ft2,
        press_minutes=press_minutes(area_ft2, rate_ft2_per_h),
        keys=tuple(line.key for line in members),
    )
