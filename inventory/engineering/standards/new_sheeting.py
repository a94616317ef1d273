"""Minimums of new sheeting, as delivered: by type, colour and geometry."""

from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from inventory.engineering.standards.sheeting import read_sheeting_type
from inventory.engineering.standards.tables import PublishedRow, exact_decimal, read_table
from inventory.engineering.standards.vocabulary import Color, SheetingType
from inventory.errors import NoPublishedValueError

NEW_SHEETING_FILES = (
    "new_sheeting_d4956_01.toml",
    "new_sheeting_recalled.toml",
    "new_sheeting_agency_rule_2005.toml",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSheetingMinimum(PublishedRow):
    """
    The least R_A of new sheeting at one geometry; not a level a sign in service must keep.

    ``sheeting_type`` is ``None`` for an agency's own grade, named in ``agency_grade``.
    """

    sheeting_type: SheetingType | None
    agency_grade: str
    color: Color
    observation_angle_deg: Decimal
    entrance_angle_deg: Decimal
    minimum_ra_cd_lx_m2: Decimal


@cache
def new_sheeting_rows() -> tuple[NewSheetingMinimum, ...]:
    """Return every new-sheeting minimum of every file."""
    return tuple(
        NewSheetingMinimum(
            **row.published(),
            sheeting_type=SheetingType(row.text("sheeting_type"))
            if "sheeting_type" in row.cells
            else None,
            agency_grade=row.optional_text("agency_grade"),
            color=Color(row.text("color")),
            observation_angle_deg=row.decimal("observation_angle_deg"),
            entrance_angle_deg=row.decimal("entrance_angle_deg"),
            minimum_ra_cd_lx_m2=row.decimal("minimum_ra_cd_lx_m2"),
        )
        for name in NEW_SHEETING_FILES
        for row in read_table(name).rows
    )


@cache
def _rows_by_key() -> dict[tuple[SheetingType, Color, Decimal, Decimal], NewSheetingMinimum]:
    return {
        (
            row.sheeting_type,
            row.color,
            row.observation_angle_deg,
            row.entrance_angle_deg,
        ): row
        for row in new_sheeting_rows()
        if row.sheeting_type is not None
    }


def new_sheeting_minimum(
    sheeting_type: str,
    color: Color,
    observation_angle_deg: Decimal | float,
    entrance_angle_deg: Decimal | float,
) -> NewSheetingMinimum:
    """
    Return the least R_A that new sheeting of a type must have in one colour.

    Parameters
    ----------
    sheeting_type : str
        A type of ASTM D4956, I to XI.
    color : Color
        The sheeting's colour.
    observation_angle_deg, entrance_angle_deg : Decimal, int or float
        The geometry, such as 0.2 and -4. [deg]

    Returns
    -------
    NewSheetingMinimum
        Types IV, VIII, IX, XI and the end of III are recalled only: see ``checked``.

    Raises
    ------
    NoPublishedValueError
        If no figure is known for that type, colour and geometry.
    OutOfRangeError
        If the type is none of I to XI or an angle is not a number.

    References
    ----------
    .. [1] ASTM D4956-01, tables of Types I, II and III, as quoted by an unofficial page.

    Examples
    --------
    >>> new_sheeting_minimum("I", Color.WHITE, 0.2, -4).minimum_ra_cd_lx_m2
    Decimal('70')
    """
    wanted = read_sheeting_type(sheeting_type)
    observation = exact_decimal(observation_angle_deg, "observation angle in degrees")
    entrance = exact_decimal(entrance_angle_deg, "entrance angle in degrees")
    row = _rows_by_key().get((wanted, color, observation, entrance))
    if row is not None:
        return row
    of_type = [each for each in new_sheeting_rows() if each.sheeting_type is wanted]
    of_color = [each for each in of_type if each.color is color]
    if not of_type:
        reason = f"no table of Type {wanted.value} was reached"
    elif not of_color:
        reason = f"no row for {color.words} Type {wanted.value} was reached"
    else:
        angles = sorted(
            {(each.observation_angle_deg, each.entrance_angle_deg) for each in of_color}
        )
        reason = (
            f"the geometry {observation}°/{entrance}° is not among those known for "
            f"{color.words} Type {wanted.value} ({', '.join(f'{a}°/{b}°' for a, b in angles)})"
        )
    msg = f"No new-sheeting minimum is known: {reason}."
    raise NoPublishedValueError(msg)
