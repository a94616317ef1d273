"""Which columns of the level tables a sheeting may fall under."""

import re
from dataclasses import dataclass
from functools import cache

from inventory.engineering.standards.tables import PublishedRow, read_table
from inventory.engineering.standards.vocabulary import Optics, SheetingClass, SheetingType
from inventory.errors import NoPublishedValueError, OutOfRangeError

_BEADED_CLASSES = (
    SheetingClass.BEADED_I,
    SheetingClass.BEADED_II,
    SheetingClass.BEADED_III,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetingTypeRow(PublishedRow):
    """The level-table columns of one sheeting type; ``None`` where the tables have none."""

    sheeting_type: SheetingType
    beaded_class: SheetingClass | None
    prismatic_class: SheetingClass | None

    def classes(self, optics: Optics) -> tuple[SheetingClass, ...]:
        """Return the columns this type may fall under, given what is known of its optics."""
        beaded = () if self.beaded_class is None else (self.beaded_class,)
        prismatic = () if self.prismatic_class is None else (self.prismatic_class,)
        if optics is Optics.BEADED:
            return beaded
        if optics is Optics.PRISMATIC:
            return prismatic
        return beaded + prismatic


@cache
def sheeting_type_rows() -> tuple[SheetingTypeRow, ...]:
    """Return every sheeting type with its columns, in order of type."""
    return tuple(
        SheetingTypeRow(
            **row.published(),
            sheeting_type=SheetingType(row.text("sheeting_type")),
            beaded_class=SheetingClass(row.text("beaded_class"))
            if "beaded_class" in row.cells
            else None,
            prismatic_class=SheetingClass(row.text("prismatic_class"))
            if "prismatic_class" in row.cells
            else None,
        )
        for row in read_table("sheeting_types.toml").rows
    )


def read_sheeting_type(text: str) -> SheetingType:
    """
    Return the sheeting type that a text such as ``"Type III"`` or ``"iii"`` names.

    Parameters
    ----------
    text : str
        The numeral, with or without the word "type" before it.

    Raises
    ------
    OutOfRangeError
        If the text names none of the types I to XI.

    Examples
    --------
    >>> read_sheeting_type("type xi").value
    'XI'
    """
    numeral = re.sub(r"^\s*type\b", "", text, flags=re.IGNORECASE).strip().upper()
    try:
        return SheetingType(numeral)
    except ValueError:
        names = ", ".join(SheetingType)
        msg = (
            f"'{text}' is not a sheeting type of ASTM D4956; use one of {names}, or leave it "
            "unknown."
        )
        raise OutOfRangeError(msg) from None


def find_sheeting_type(sheeting_type: str) -> SheetingTypeRow:
    """
    Return the columns of one sheeting type, with the mark of how far they were checked.

    Parameters
    ----------
    sheeting_type : str
        A type of ASTM D4956, I to XI.

    Raises
    ------
    OutOfRangeError
        If the text names none of the types I to XI.

    References
    ----------
    .. [1] MUTCD 2009 Table 2A-3, note on prismatic types (from memory; see the row's mark).

    Examples
    --------
    >>> find_sheeting_type("IX").checked.value
    'no'
    """
    wanted = read_sheeting_type(sheeting_type)
    return next(row for row in sheeting_type_rows() if row.sheeting_type is wanted)


def sheeting_classes(sheeting_type: str | None, optics: Optics) -> tuple[SheetingClass, ...]:
    """
    Return every column of the level tables that a sheeting could fall under.

    What is not known leaves more than one column; the caller judges against each of them.

    Parameters
    ----------
    sheeting_type : str or None
        A type of ASTM D4956, I to XI; ``None`` when it is not known.
    optics : Optics
        Beaded, prismatic, or unknown.

    Returns
    -------
    tuple of SheetingClass
        One to four columns, in the order of the printed tables.

    Raises
    ------
    OutOfRangeError
        If the text names none of the types I to XI.
    NoPublishedValueError
        If the tables have no column for that type with those optics, such as Type I prismatic:
        the record is wrong, or the sheeting is one the tables do not cover.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5, column heads.
    .. [2] MUTCD 2009 Table 2A-3, note on prismatic types (from memory).

    Examples
    --------
    >>> [str(each) for each in sheeting_classes("III", Optics.UNKNOWN)]
    ['beaded-III', 'prismatic']
    >>> [str(each) for each in sheeting_classes(None, Optics.PRISMATIC)]
    ['prismatic']
    """
    if sheeting_type is None:
        if optics is Optics.BEADED:
            return _BEADED_CLASSES
        if optics is Optics.PRISMATIC:
            return (SheetingClass.PRISMATIC,)
        return (*_BEADED_CLASSES, SheetingClass.PRISMATIC)
    row = find_sheeting_type(sheeting_type)
    classes = row.classes(optics)
    if not classes:
        msg = (
            f"The level tables have no column for {optics.value} Type "
            f"{row.sheeting_type.value} sheeting; check the type and the optics "
            "recorded for this face."
        )
        raise NoPublishedValueError(msg)
    return classes
