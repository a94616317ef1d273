"""Special cases under the level tables: element minimums and the 48-inch size rule."""

from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from inventory.engineering.standards.catalogue import (
    exact_sign_type,
    normalise_code,
    split_variant,
)
from inventory.engineering.standards.levels import dividing_size_in
from inventory.engineering.standards.tables import (
    PublishedRow,
    TableRow,
    exact_decimal,
    read_table,
)
from inventory.engineering.standards.vocabulary import Color, Edition, Shape
from inventory.errors import OutOfRangeError

SPECIAL_CASE_FILES = {
    Edition.MUTCD_2009: "special_cases_2009.toml",
    Edition.MUTCD_11: "special_cases_11th_2023.toml",
}
_ANY_OTHER_SHAPE = "*"


@dataclass(frozen=True, slots=True, kw_only=True)
class ElementMinimum(PublishedRow):
    """The minimum of one colour that holds for one code beside its colour pair's row."""

    edition: Edition
    code: str
    name: str
    color: Color
    minimum_ra_cd_lx_m2: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeRule(PublishedRow):
    """The rule that the largest dimension decides the 48-inch test; code ``*`` is any other."""

    edition: Edition
    code: str
    name: str
    rule: str


@cache
def element_minimums(edition: Edition) -> tuple[ElementMinimum, ...]:
    """Return every element minimum of an edition."""
    return tuple(
        ElementMinimum(
            **row.published(),
            edition=edition.manual,
            code=row.text("code"),
            name=row.text("name"),
            color=Color(row.text("color")),
            minimum_ra_cd_lx_m2=row.decimal("minimum_ra_cd_lx_m2"),
        )
        for row in _rows(edition, "element-minimum")
    )


@cache
def size_rules(edition: Edition) -> tuple[SizeRule, ...]:
    """Return every size rule of an edition."""
    return tuple(
        SizeRule(
            **row.published(),
            edition=edition.manual,
            code=row.text("code"),
            name=row.text("name"),
            rule=row.text("rule"),
        )
        for row in _rows(edition, "size-rule")
    )


def _rows(edition: Edition, kind: str) -> list[TableRow]:
    table = read_table(SPECIAL_CASE_FILES[edition.manual])
    return [row for row in table.rows if row.text("kind") == kind]


def special_minimums(edition: Edition, code: str) -> tuple[ElementMinimum, ...]:
    """
    Return the element minimums an edition prints for one code.

    Parameters
    ----------
    edition : Edition
        The recommended edition follows the 2009 manual here.
    code : str
        A designation; case, blanks and a left or right letter do not matter.

    Returns
    -------
    tuple of ElementMinimum
        Empty says that the edition prints none for this code. [cd/lx/m²]

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5, special cases.

    Examples
    --------
    >>> [(row.color.value, str(row.minimum_ra_cd_lx_m2))
    ...  for row in special_minimums(Edition.MUTCD_11, "W3-2")]
    [('red', '7'), ('white', '35')]
    """
    wanted = listed_code(code)
    return tuple(row for row in element_minimums(edition) if normalise_code(row.code) == wanted)


def size_rule(edition: Edition, code: str, shape: Shape | None) -> SizeRule | None:
    """
    Return the rule that makes the largest dimension decide, if it holds for a sign.

    Parameters
    ----------
    edition : Edition
        The recommended edition follows the 2009 manual here.
    code : str
        A designation, or empty when it is not known.
    shape : Shape or None
        The shape of the blank; ``None`` when it is not known.

    Returns
    -------
    SizeRule or None
        ``None`` for a diamond, whose side decides, and for an unknown shape of a code that the
        rule does not name.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5, special cases.

    Examples
    --------
    >>> size_rule(Edition.MUTCD_11, "W14-3", Shape.PENNANT).code
    'W14-3'
    """
    wanted = listed_code(code)
    fallback: SizeRule | None = None
    for rule in size_rules(edition):
        if rule.code == _ANY_OTHER_SHAPE:
            fallback = rule
        elif normalise_code(rule.code) == wanted:
            return rule
    return None if shape in (None, Shape.DIAMOND) else fallback


def criterion_dimension_in(
    edition: Edition,
    shape: Shape | None,
    width_in: Decimal | float | None,
    height_in: Decimal | float | None,
) -> Decimal | None:
    """
    Return the dimension that the 48-inch test compares, or ``None`` if it is not decided.

    A diamond is measured along its side, which is how its size is printed; any other sign by
    its largest dimension. With one dimension known, a value of 48 in or more decides; a
    smaller one does not, since the other could be larger. A diamond recorded with two
    different sides is not decided either.

    Parameters
    ----------
    edition : Edition
        The recommended edition follows the 2009 manual here.
    shape : Shape or None
        The shape of the blank; ``None`` when it is not known.
    width_in, height_in : Decimal, int, float or None
        The recorded size. [in]

    Returns
    -------
    Decimal or None
        The deciding dimension. [in]

    Raises
    ------
    OutOfRangeError
        If a dimension is not a positive number.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5, special cases.

    Examples
    --------
    >>> criterion_dimension_in(Edition.MUTCD_11, Shape.RECTANGLE, 24, 48)
    Decimal('48')
    >>> criterion_dimension_in(Edition.MUTCD_11, Shape.RECTANGLE, 24, None) is None
    True
    """
    known = [
        exact_decimal(value, "sign dimension in inches")
        for value in (width_in, height_in)
        if value is not None
    ]
    for value in known:
        if value <= 0:
            msg = f"A sign dimension of {value} in is not possible; it must be above 0 in."
            raise OutOfRangeError(msg)
    if not known:
        return None
    if shape is Shape.DIAMOND:
        return known[0] if len(set(known)) == 1 else None
    largest = max(known)
    return largest if len(known) > 1 or largest >= dividing_size_in(edition) else None


def listed_code(code: str) -> str:
    """Return a normalised code without a left or right letter that is not its own."""
    return normalise_code(code) if exact_sign_type(code) else split_variant(code)[0]
