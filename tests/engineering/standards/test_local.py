"""An agency's own codes and aliases; all invented."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.standards.catalogue import sign_types, standard_size
from inventory.engineering.standards.local import (
    CodeBook,
    ResolvedVia,
    local_sign_type,
    resolve_code,
)
from inventory.engineering.standards.vocabulary import Checked, RoadClass, Series, Shape
from inventory.errors import NoPublishedValueError, OutOfRangeError

TRAIL = local_sign_type(
    code="TR-7",
    name="Trail Head",
    series=Series.GUIDE,
    shape=Shape.RECTANGLE,
    width_in=18,
    height_in=12,
)
OWN_CURVE = local_sign_type(code="W1-2R", name="Our right curve", series=Series.GUIDE)


def test_an_alias_comes_first_then_own_types_then_the_catalogue():
    book = CodeBook([TRAIL, OWN_CURVE], {"R1-1": "TR-7", "STP": "R1-1"})
    assert book.resolve("r1-1").sign_type is TRAIL
    assert book.resolve("r1-1").via is ResolvedVia.ALIAS
    assert book.resolve("W1-2R").sign_type is OWN_CURVE
    assert book.resolve("W1-2R").via is ResolvedVia.LOCAL
    assert book.resolve("W1-2L").sign_type.code == "W1-2"
    assert book.resolve("W1-2L").via is ResolvedVia.CATALOGUE
    assert book.resolve("stp").sign_type.code == "R1-1"


def test_a_side_letter_is_kept_from_the_code_or_from_what_the_alias_stands_for():
    book = CodeBook([TRAIL], {"CURVE": "W1-2", "BEND": "W1-2L"})
    assert book.resolve("CURVE").variant == ""
    assert book.resolve("CURVE-L").variant == "L"
    assert book.resolve("BEND").variant == "L"
    assert book.resolve("BEND L").variant == "L"
    assert book.resolve("TR-7R").variant == "R"
    with pytest.raises(NoPublishedValueError, match="ends in R but its alias stands for the L"):
        book.resolve("BEND R")


def test_an_alias_is_followed_once_and_must_lead_somewhere():
    book = CodeBook(aliases={"A": "B", "B": "R1-1", "C": "C"})
    assert book.resolve("B").sign_type.code == "R1-1"
    for code in ("A", "C"):
        with pytest.raises(
            NoPublishedValueError, match=f"The alias '{code.lower()}' stands for"
        ):
            book.resolve(code)


def test_an_unknown_code_is_refused_with_what_to_do():
    with pytest.raises(NoPublishedValueError, match="give it an alias"):
        resolve_code("ZZ-9", local_types={"TR-7": TRAIL}, aliases={"STP": "R1-1"})


def test_codes_that_mean_two_things_are_refused():
    with pytest.raises(OutOfRangeError, match="two codes, 'R1-1' and 'R1-2'"):
        CodeBook(aliases={"STP": "R1-1", "stp": "R1-2"})
    with pytest.raises(OutOfRangeError, match="two sign types"):
        CodeBook([TRAIL, local_sign_type(code="tr-7", name="Another", series=Series.GUIDE)])
    assert CodeBook([TRAIL, TRAIL], {"STP": "R1-1", "stp": "r1-1"}).resolve("STP").variant == ""


def test_what_an_agency_leaves_out_stays_unknown():
    own = local_sign_type(code=" X-1 ", name=" Invented ", series=Series.GUIDE)
    assert (own.code, own.name) == ("X-1", "Invented")
    assert own.is_local
    assert own.checked is Checked.YES
    assert (own.background, own.legend, own.shape, own.symbol_class) == (None,) * 4
    with pytest.raises(NoPublishedValueError, match="No size is printed for X-1"):
        standard_size(own, RoadClass.CONVENTIONAL_SINGLE_LANE)


def test_an_own_size_holds_for_conventional_roads():
    size = standard_size(TRAIL, RoadClass.CONVENTIONAL_MULTI_LANE)
    assert (size.width_in, size.height_in) == (Decimal(18), Decimal(12))


@pytest.mark.parametrize(
    "wrong",
    [
        {"code": " "},
        {"name": ""},
        {"width_in": 0},
        {"height_in": -3},
        {"width_in": float("nan")},
    ],
)
def test_an_impossible_own_type_is_refused(wrong):
    with pytest.raises(OutOfRangeError):
        local_sign_type(**{"code": "X-1", "name": "Invented", "series": Series.GUIDE} | wrong)


@given(st.sampled_from(sign_types()))
def test_without_aliases_or_own_types_the_catalogue_answers_alone(sign_type):
    found = resolve_code(sign_type.code)
    assert (found.sign_type, found.variant, found.via) == (sign_type, "", ResolvedVia.CATALOGUE)
