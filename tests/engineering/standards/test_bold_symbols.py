"""
The list of signs with bold symbols.

Typed for this test by family, from the list under MUTCD 2009 Table 2A-3 (from memory). A public
transcription of the California edition, built on the 11th, confirms the families, and by exact
code only W3-1 to W3-3, W12-1, W16-5P to W16-7P, W20-7 and W21-1.
"""

from dataclasses import replace

import pytest

from inventory.engineering.standards.bold_symbols import (
    bold_symbol_rows,
    find_symbol_class,
    is_bold_symbol,
)
from inventory.engineering.standards.catalogue import find_sign_type, sign_types
from inventory.engineering.standards.local import local_sign_type
from inventory.engineering.standards.vocabulary import Checked, Edition, Series, SymbolClass

FAMILIES = {
    "W1": "1 2 3 4 5 6 7 8 10 11 15",
    "W2": "1 2 3 4 5 6 7 8",
    "W3": "1 2 3",
    "W4": "1 2 3 5 6",
    "W6": "1 2 3",
    "W10": "1 2 3 4 11 12",
    "W11": "2 3 4 5 6 7 8 10 16 17 18 19 20 21 22",
    "W12": "1",
    "W16": "5P 6P 7P",
    "W20": "7",
    "W21": "1",
}
LISTED = [f"{family}-{each}" for family, ends in FAMILIES.items() for each in ends.split()]
CONFIRMED = "W3-1 W3-2 W3-3 W12-1 W16-5P W16-6P W16-7P W20-7 W21-1".split()  # noqa: SIM905 - as printed


@pytest.mark.parametrize("edition", [Edition.MUTCD_2009, Edition.MUTCD_11])
def test_the_list_is_the_printed_one(edition):
    assert [row.code for row in bold_symbol_rows(edition)] == LISTED


def test_only_exact_codes_that_were_read_are_marked_so():
    for row in bold_symbol_rows(Edition.MUTCD_11):
        expected = Checked.YES if row.code in CONFIRMED else Checked.PARTIAL
        assert is_bold_symbol(Edition.MUTCD_11, row.code) == (True, expected)
        assert is_bold_symbol(Edition.MUTCD_2009, row.code) == (True, Checked.NO)


def test_that_a_code_is_not_listed_is_no_surer_than_the_list():
    assert is_bold_symbol(Edition.MUTCD_11, "W8-1") == (False, Checked.PARTIAL)
    assert is_bold_symbol(Edition.MUTCD_2009, "W8-1") == (False, Checked.NO)
    assert is_bold_symbol(Edition.MUTCD_11, "W1-4b")[0] is False


def test_side_letters_and_case_do_not_matter():
    assert is_bold_symbol(Edition.MUTCD_11, "w1-2r")[0]
    assert is_bold_symbol(Edition.MUTCD_11, "W16-5p")[0]
    assert is_bold_symbol(Edition.MUTCD_2009_RECOMMENDED, "W1-2L") == (True, Checked.NO)


@pytest.mark.parametrize("edition", [Edition.MUTCD_2009, Edition.MUTCD_11])
def test_the_catalogue_files_exactly_the_listed_codes_as_bold(edition):
    bold = {each.code for each in sign_types() if each.symbol_class is SymbolClass.BOLD}
    assert bold == set(LISTED)
    for sign_type in sign_types():
        mark = find_symbol_class(edition, sign_type)
        assert mark.symbol_class is sign_type.symbol_class
        assert bool(mark.row_id) == (sign_type.code in bold)


def test_a_code_that_an_edition_does_not_list_is_not_bold_whatever_the_catalogue_says():
    curve = find_sign_type("W1-2")[0]
    unlisted = replace(curve, code="W99-9")
    assert find_symbol_class(Edition.MUTCD_11, unlisted).symbol_class is SymbolClass.FINE


def test_a_sign_of_the_agencys_own_keeps_the_class_it_was_given():
    own = local_sign_type(
        code="X-1", name="Invented", series=Series.GUIDE, symbol_class=SymbolClass.BOLD
    )
    assert find_symbol_class(Edition.MUTCD_11, own).symbol_class is SymbolClass.BOLD
    assert (
        find_symbol_class(Edition.MUTCD_11, replace(own, symbol_class=None)).symbol_class
        is None
    )
