"""Bold, fine or text: the symbol class an edition's list gives a sign."""

from dataclasses import dataclass
from functools import cache

from inventory.engineering.standards.catalogue import SignType, normalise_code
from inventory.engineering.standards.special_cases import listed_code
from inventory.engineering.standards.tables import PublishedRow, read_table
from inventory.engineering.standards.vocabulary import Checked, Edition, SymbolClass

BOLD_SYMBOL_FILES = {
    Edition.MUTCD_2009: "bold_symbols_2009.toml",
    Edition.MUTCD_11: "bold_symbols_11th_2023.toml",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BoldSymbolRow(PublishedRow):
    """One code of an edition's list of signs with bold symbols."""

    edition: Edition
    code: str
    series: str
    name: str


@dataclass(frozen=True, slots=True)
class SymbolClassMark:
    """A symbol class and how far it was checked; ``row_id`` is empty for an unlisted code."""

    symbol_class: SymbolClass | None
    checked: Checked
    table_id: str
    row_id: str
    basis: str


@cache
def bold_symbol_rows(edition: Edition) -> tuple[BoldSymbolRow, ...]:
    """Return an edition's list of signs with bold symbols."""
    return tuple(
        BoldSymbolRow(
            **row.published(),
            edition=edition.manual,
            code=row.text("code"),
            series=row.text("series"),
            name=row.text("name"),
        )
        for row in read_table(BOLD_SYMBOL_FILES[edition.manual]).rows
    )


@cache
def _rows_by_code(edition: Edition) -> dict[str, BoldSymbolRow]:
    return {normalise_code(row.code): row for row in bold_symbol_rows(edition)}


def is_bold_symbol(edition: Edition, code: str) -> tuple[bool, Checked]:
    """
    Return whether an edition lists a code among its bold symbols, and how sure that is.

    Parameters
    ----------
    edition : Edition
        The recommended edition follows the 2009 manual here.
    code : str
        A designation; case, blanks and a left or right letter do not matter.

    Returns
    -------
    tuple of bool and Checked
        The mark of an unlisted code is that of the list's completeness.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5, bold symbol signs.

    Examples
    --------
    >>> is_bold_symbol(Edition.MUTCD_11, "W3-1")
    (True, <Checked.YES: 'yes'>)
    >>> is_bold_symbol(Edition.MUTCD_2009, "W3-5")
    (False, <Checked.NO: 'no'>)
    """
    row = _rows_by_code(edition).get(listed_code(code))
    return (False, _unlisted_mark(edition)) if row is None else (True, row.checked)


def find_symbol_class(edition: Edition, sign_type: SignType) -> SymbolClassMark:
    """
    Return the symbol class that an edition gives a sign type.

    The list decides bold; the catalogue tells text from fine, which the levels do not need.
    An agency's own type keeps the class the agency gave it.

    Parameters
    ----------
    edition : Edition
        The recommended edition follows the 2009 manual here.
    sign_type : SignType
        From the catalogue or the agency's own.

    Returns
    -------
    SymbolClassMark
        ``symbol_class`` is ``None`` if an agency left its own type's class open.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5, bold symbol signs.

    Examples
    --------
    >>> from inventory.engineering.standards.catalogue import find_sign_type
    >>> find_symbol_class(Edition.MUTCD_11, find_sign_type("W1-2")[0]).symbol_class.value
    'bold'
    """
    if sign_type.is_local:
        return SymbolClassMark(
            sign_type.symbol_class,
            sign_type.checked,
            sign_type.table_id,
            sign_type.row_id,
            sign_type.source,
        )
    row = _rows_by_code(edition).get(normalise_code(sign_type.code))
    if row is not None:
        return SymbolClassMark(
            SymbolClass.BOLD, row.checked, row.table_id, row.row_id, row.verification
        )
    table = read_table(BOLD_SYMBOL_FILES[edition.manual])
    symbol_class = sign_type.symbol_class
    if symbol_class is SymbolClass.BOLD:
        symbol_class = SymbolClass.FINE
    return SymbolClassMark(
        symbol_class, _unlisted_mark(edition), table.source.table_id, "", table.source.note
    )


def _unlisted_mark(edition: Edition) -> Checked:
    """Return how sure it is that a code missing from the list is missing from the original."""
    return Checked(read_table(BOLD_SYMBOL_FILES[edition.manual]).head["unlisted_checked"])
