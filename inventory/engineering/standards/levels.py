"""
Minimum maintained levels of retroreflectivity, at the geometry the tables state.

The look-up returns every row that could apply; what is not known (mount, size, symbol class,
sheeting) leaves more than one, and the caller judges against each.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from inventory.engineering.standards.placement import Placement
from inventory.engineering.standards.tables import PublishedRow, exact_decimal, read_table
from inventory.engineering.standards.vocabulary import (
    Color,
    Edition,
    MountClass,
    SheetingClass,
    SignColors,
    SizeCriterion,
    SymbolClass,
)
from inventory.errors import NoPublishedValueError, OutOfRangeError

LEVEL_FILES = {
    Edition.MUTCD_2009: "minimum_levels_2009.toml",
    Edition.MUTCD_11: "minimum_levels_11th_2023.toml",
    Edition.MUTCD_2009_RECOMMENDED: "minimum_levels_2009_recommended.toml",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MinimumLevel(PublishedRow):
    """
    One cell of a level table: the minimum of one colour under one sheeting column.

    ``minimum_ra_cd_lx_m2`` is ``None`` exactly where ``is_prohibited``: that sheeting may not
    be used for that colour there, whatever it measures. ``mount`` is ``None`` where the row
    holds for any mount. ``min_contrast_ratio`` stands on both colours of the pair.
    """

    edition: Edition
    sign_colors: SignColors
    mount: MountClass | None
    criterion: SizeCriterion
    sheeting_class: SheetingClass
    color: Color
    minimum_ra_cd_lx_m2: Decimal | None
    is_prohibited: bool
    min_contrast_ratio: Decimal | None


@cache
def level_rows(edition: Edition) -> tuple[MinimumLevel, ...]:
    """Return every cell of one edition's level table, in printed order."""
    return tuple(
        MinimumLevel(
            **row.published(),
            edition=edition,
            sign_colors=SignColors(row.text("sign_colors")),
            mount=None if row.text("mount") == "any" else MountClass(row.text("mount")),
            criterion=SizeCriterion(row.text("criterion")),
            sheeting_class=SheetingClass(row.text("sheeting_class")),
            color=Color(row.text("color")),
            minimum_ra_cd_lx_m2=row.optional_decimal("minimum_ra_cd_lx_m2"),
            is_prohibited=row.flag("prohibited"),
            min_contrast_ratio=row.optional_decimal("min_contrast_ratio"),
        )
        for row in read_table(LEVEL_FILES[edition]).rows
    )


def dividing_size_in(edition: Edition) -> Decimal:
    """
    Return the size from which on text and fine symbols take the lower level.

    Parameters
    ----------
    edition : Edition
        The recommended edition follows the 2009 manual here.

    Returns
    -------
    Decimal
        A face of this size is large. [in]

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5, notes 2 and 3.

    Examples
    --------
    >>> dividing_size_in(Edition.MUTCD_11)
    Decimal('48')
    """
    head = read_table(LEVEL_FILES[edition.manual]).head
    return exact_decimal(head["dividing_size_in"], "dividing size in inches")


def size_criteria(
    edition: Edition, symbol_class: SymbolClass | None, dimension_in: Decimal | float | None
) -> tuple[SizeCriterion, ...]:
    """
    Return the size rows that could apply to a black-on-yellow or black-on-orange face.

    Parameters
    ----------
    edition : Edition
        The recommended edition follows the 2009 manual here.
    symbol_class : SymbolClass or None
        Bold symbols take the lower level at any size; ``None`` when it is not known.
    dimension_in : Decimal, int, float or None
        The dimension the 48-inch test uses, see
        :func:`~inventory.engineering.standards.special_cases.criterion_dimension_in`. [in]

    Returns
    -------
    tuple of SizeCriterion
        One row, or both when what is known does not decide.

    Raises
    ------
    OutOfRangeError
        If the dimension is not a positive number.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5, notes 2 and 3.

    Examples
    --------
    >>> [each.value for each in size_criteria(Edition.MUTCD_11, SymbolClass.TEXT, 30)]
    ['under-48in']
    >>> len(size_criteria(Edition.MUTCD_11, None, 30))
    2
    """
    large: bool | None = None
    if dimension_in is not None:
        dimension = exact_decimal(dimension_in, "sign dimension in inches")
        if dimension <= 0:
            msg = f"A sign dimension of {dimension} in is not possible; it must be above 0 in."
            raise OutOfRangeError(msg)
        large = dimension >= dividing_size_in(edition)
    if symbol_class is SymbolClass.BOLD or large:
        return (SizeCriterion.BOLD_OR_48_IN,)
    if large is False and symbol_class in (SymbolClass.TEXT, SymbolClass.FINE):
        return (SizeCriterion.UNDER_48_IN,)
    return (SizeCriterion.BOLD_OR_48_IN, SizeCriterion.UNDER_48_IN)


def minimum_levels(
    edition: Edition,
    placement: Placement | SignColors,
    *,
    mount: MountClass | None,
    sheeting_classes: Iterable[SheetingClass],
    symbol_class: SymbolClass | None = None,
    dimension_in: Decimal | float | None = None,
) -> tuple[MinimumLevel, ...]:
    """
    Return every cell of an edition's level table that could apply to a face.

    Parameters
    ----------
    edition : Edition
        The table to read. The recommended edition holds blue and brown only.
    placement : Placement or SignColors
        The colour pair, from :func:`~inventory.engineering.standards.placement.find_placement`.
    mount : MountClass or None
        Post or overhead; ``None`` when it is not known, which leaves the rows of both.
    sheeting_classes : iterable of SheetingClass
        The columns that could apply, from
        :func:`~inventory.engineering.standards.sheeting.sheeting_classes`; at least one.
    symbol_class : SymbolClass, optional
        Decides between the size rows of yellow and orange; ``None`` leaves both.
    dimension_in : Decimal, int or float, optional
        The dimension the 48-inch test uses; ``None`` leaves both. [in]

    Returns
    -------
    tuple of MinimumLevel
        Never empty; one or more cells for each colour of the pair that has a level. Cells
        where the sheeting is prohibited are among them.

    Raises
    ------
    NoPublishedValueError
        If the edition has no row for the colours.
    OutOfRangeError
        If no sheeting column is named or the dimension is not a positive number.

    References
    ----------
    .. [1] MUTCD 2009 Table 2A-3.
    .. [2] MUTCD 11th edition (2023) Table 2A-5.
    .. [3] FHWA memorandum of 5 April 2012 on blue and brown signs.

    Examples
    --------
    >>> rows = minimum_levels(
    ...     Edition.MUTCD_11,
    ...     SignColors.WHITE_ON_RED,
    ...     mount=None,
    ...     sheeting_classes=[SheetingClass.PRISMATIC],
    ... )
    >>> [(row.color.value, str(row.minimum_ra_cd_lx_m2)) for row in rows]
    [('white', '35'), ('red', '7')]
    """
    classes = frozenset(sheeting_classes)
    if not classes:
        msg = "No sheeting column was named; unknown sheeting stands for all four columns."
        raise OutOfRangeError(msg)
    sign_colors = placement.sign_colors if isinstance(placement, Placement) else placement
    criteria = {SizeCriterion.ANY, *size_criteria(edition, symbol_class, dimension_in)}
    of_colors = [row for row in level_rows(edition) if row.sign_colors is sign_colors]
    if not of_colors:
        raise NoPublishedValueError(_no_row_message(edition, sign_colors))
    return tuple(
        row
        for row in of_colors
        if row.sheeting_class in classes
        and (mount is None or row.mount in (mount, None))
        and row.criterion in criteria
    )


def required_minimum(level: MinimumLevel) -> Decimal:
    """
    Return the level a colour must keep under one cell of a table.

    Parameters
    ----------
    level : MinimumLevel
        A cell from :func:`minimum_levels`.

    Returns
    -------
    Decimal
        Minimum coefficient of retroreflection R_A. [cd/lx/m²]

    Raises
    ------
    NoPublishedValueError
        If the cell prohibits that sheeting for that colour.

    Examples
    --------
    >>> required_minimum(level_rows(Edition.MUTCD_11)[1])
    Decimal('7')
    """
    if level.minimum_ra_cd_lx_m2 is None:
        where = f" {level.mount.value}-mounted" if level.mount else ""
        msg = (
            f"{_start(level.sheeting_class.words)} may not be used for the {level.color.words} "
            f"of{where} {level.sign_colors.words} signs, whatever it measures, under "
            f"{level.edition.words}."
        )
        raise NoPublishedValueError(msg)
    return level.minimum_ra_cd_lx_m2


def _no_row_message(edition: Edition, sign_colors: SignColors) -> str:
    """Return why an edition has no row: 2009 binds no blue or brown, the memo nothing else."""
    if edition is Edition.MUTCD_2009_RECOMMENDED:
        return (
            f"{_start(edition.words)} covers white on blue and white on brown only; take "
            f"{sign_colors.words} from {edition.manual.words}."
        )
    recommended = Edition.MUTCD_2009_RECOMMENDED
    return (
        f"{_start(edition.words)} has no binding level for {sign_colors.words}; "
        f"{recommended.words} recommends levels (edition '{recommended.value}')."
    )


def _start(words: str) -> str:
    """Return words as a sentence starts with them; capitals within stay."""
    return words[0].upper() + words[1:]
