"""Chromaticity limits and luminance factors of retroreflective sign sheeting; all recalled."""

from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from inventory.engineering.standards.sheeting import read_sheeting_type
from inventory.engineering.standards.tables import PublishedRow, read_table
from inventory.engineering.standards.vocabulary import Color, LightCondition, SheetingType
from inventory.errors import NoPublishedValueError

CORNER_FILES = (
    "color_table_1.toml",
    "color_table_2.toml",
    "color_table_3.toml",
    "color_table_4.toml",
)
LUMINANCE_FILES = ("color_table_1a.toml", "color_table_3a.toml")


@dataclass(frozen=True, slots=True, kw_only=True)
class ChromaticityCorner(PublishedRow):
    """One corner of the box a colour must lie in, CIE 1931 x and y."""

    condition: LightCondition
    color: Color
    corner: int
    chromaticity_x: Decimal
    chromaticity_y: Decimal
    is_on_gamut_boundary: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LuminanceFactorLimits(PublishedRow):
    """Limits of the daytime luminance factor Y in percent; no types named means any."""

    condition: LightCondition
    color: Color
    sheeting_types: tuple[SheetingType, ...]
    min_percent: Decimal | None
    max_percent: Decimal | None
    min_fluorescent_percent: Decimal | None


@cache
def chromaticity_corners() -> tuple[ChromaticityCorner, ...]:
    """Return every corner of every colour box."""
    return tuple(
        ChromaticityCorner(
            **row.published(),
            condition=LightCondition(row.text("condition")),
            color=Color(row.text("color")),
            corner=int(row.decimal("corner")),
            chromaticity_x=row.decimal("chromaticity_x"),
            chromaticity_y=row.decimal("chromaticity_y"),
            is_on_gamut_boundary=row.flag("is_on_gamut_boundary"),
        )
        for name in CORNER_FILES
        for row in read_table(name).rows
    )


@cache
def luminance_factor_rows() -> tuple[LuminanceFactorLimits, ...]:
    """Return every row of luminance factor limits."""
    return tuple(
        LuminanceFactorLimits(
            **row.published(),
            condition=LightCondition(row.text("condition")),
            color=Color(row.text("color")),
            sheeting_types=tuple(
                SheetingType(each) for each in row.cells.get("sheeting_types", ())
            ),
            min_percent=row.optional_decimal("min_percent"),
            max_percent=row.optional_decimal("max_percent"),
            min_fluorescent_percent=row.optional_decimal("min_fluorescent_percent"),
        )
        for name in LUMINANCE_FILES
        for row in read_table(name).rows
    )


def color_box(color: Color, condition: LightCondition) -> tuple[ChromaticityCorner, ...]:
    """
    Return the four corners of the box a colour must lie in, in printed order.

    Parameters
    ----------
    color : Color
        The colour of the sheeting.
    condition : LightCondition
        By day (illuminant D65) or by night (illuminant A).

    Raises
    ------
    NoPublishedValueError
        If no box is known for that colour and light.

    References
    ----------
    .. [1] 23 CFR 655 Subpart F Appendix, tables 1 to 4 (recalled; see the rows' mark).

    Examples
    --------
    >>> box = color_box(Color.WHITE, LightCondition.DAYTIME)
    >>> box[0].chromaticity_x, box[0].checked.value
    (Decimal('0.303'), 'no')
    """
    corners = tuple(
        row
        for row in chromaticity_corners()
        if (row.color, row.condition) == (color, condition)
    )
    if not corners:
        msg = f"No colour box is known for {color.words}, {condition.value}."
        raise NoPublishedValueError(msg)
    return corners


def luminance_factor_limits(color: Color, sheeting_type: str) -> LuminanceFactorLimits:
    """
    Return the limits of a colour's daytime luminance factor for one sheeting type.

    Parameters
    ----------
    color : Color
        The colour of the sheeting.
    sheeting_type : str
        A type of ASTM D4956, I to XI; fluorescent colours have one row for any type.

    Raises
    ------
    NoPublishedValueError
        If no row is known for that colour and type.
    OutOfRangeError
        If the type is none of I to XI.

    References
    ----------
    .. [1] 23 CFR 655 Subpart F Appendix, tables 1A and 3A (recalled; see the rows' mark).

    Examples
    --------
    >>> luminance_factor_limits(Color.WHITE, "III").min_percent
    Decimal('27')
    """
    wanted = read_sheeting_type(sheeting_type)
    for row in luminance_factor_rows():
        if row.color is color and (not row.sheeting_types or wanted in row.sheeting_types):
            return row
    msg = f"No luminance factor limit is known for {color.words} Type {wanted.value} sheeting."
    raise NoPublishedValueError(msg)
