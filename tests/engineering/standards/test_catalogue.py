"""
The sign catalogue by code.

Sizes checked here were typed for this test from public transcriptions of MUTCD 11th edition
Tables 2B-1 and 2C-1; the whole catalogue is marked row by row.
"""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.standards.catalogue import (
    exact_sign_type,
    find_sign_type,
    normalise_code,
    sign_types,
    split_variant,
    standard_size,
)
from inventory.engineering.standards.vocabulary import (
    Checked,
    Color,
    RoadClass,
    Series,
    Shape,
    SymbolClass,
)
from inventory.errors import NoPublishedValueError

SINGLE, MULTI, EXPRESSWAY, FREEWAY = RoadClass
CODES = [each.code for each in sign_types()]


def test_the_catalogue_holds_the_stated_number_of_codes_in_each_series():
    # Counts stated in the notes to the reference set.
    assert Counter(each.series for each in sign_types()) == {
        Series.REGULATORY: 341,
        Series.WARNING: 191,
        Series.SCHOOL: 20,
        Series.GUIDE: 199,
        Series.SERVICE: 82,
        Series.RECREATION: 63,
        Series.TTC: 67,
        Series.GRADE_CROSSING: 45,
        Series.BICYCLE: 81,
        Series.OBJECT_MARKER: 13,
    }


def test_how_sure_a_row_is_follows_its_transcriptions():
    for each in sign_types():
        if "[A+B]" in each.verification:
            assert each.checked is Checked.YES
        elif each.verification == "from memory":
            assert each.checked is Checked.NO
        else:
            assert each.checked is Checked.PARTIAL
    assert find_sign_type("R1-1")[0].checked is Checked.PARTIAL
    assert find_sign_type("R4-11")[0].checked is Checked.NO


def test_names_and_colours_from_memory_stay_marked():
    # 133 + 1 names; 34 rows whose colours could not be verified are left blank.
    assert sum(each.is_name_from_memory for each in sign_types()) == 134
    blank = [each for each in sign_types() if each.color_basis == "not verified"]
    assert len(blank) == 34
    assert all(each.background is None and each.are_colors_from_memory for each in blank)


def test_a_row_carries_what_a_face_needs():
    stop, variant = find_sign_type("R1-1")
    assert variant == ""
    assert (stop.name, stop.shape) == ("Stop", Shape.OCTAGON)
    assert (stop.background, stop.legend) == (Color.RED, Color.WHITE)
    assert stop.symbol_class is SymbolClass.TEXT
    assert not stop.is_plaque
    assert "2B-1" in stop.source
    assert find_sign_type("R7-111")[0].secondary == (Color.GREEN,)


@pytest.mark.parametrize(
    ("code", "road_class", "size"),
    [
        ("R1-1", SINGLE, (30, 30)),  # Table 2B-1
        ("R1-1", MULTI, (36, 36)),
        ("R1-1", EXPRESSWAY, (36, 36)),
        ("R1-2", SINGLE, (36, 36)),
        ("R6-1", FREEWAY, (48, 18)),
        ("W1-2", SINGLE, (30, 30)),  # Table 2C-1
        ("W1-2", FREEWAY, (36, 36)),
        ("W14-3", EXPRESSWAY, (64, 48)),
        ("D9-2", MULTI, (24, 24)),  # Table 2I-1: one column for conventional roads
        ("D1-1", SINGLE, (None, 18)),  # Table 2D-1: width varies with the legend
    ],
)
def test_the_standard_size_is_the_printed_one(code, road_class, size):
    found = standard_size(find_sign_type(code)[0], road_class)
    assert (found.width_in, found.height_in) == size
    assert found.is_complete == (None not in size)


@pytest.mark.parametrize(("code", "road_class"), [("R1-1", FREEWAY), ("RS-006", SINGLE)])
def test_a_size_that_is_not_printed_is_not_made_up(code, road_class):
    with pytest.raises(NoPublishedValueError, match=f"No size is printed for {code} on"):
        standard_size(find_sign_type(code)[0], road_class)


def test_every_printed_size_is_positive_and_1039_codes_have_one_for_some_road():
    # 956 numeric + 83 with a varying width; 63 recreation symbols have none printed.
    with_size = 0
    for each in sign_types():
        printed = [
            size
            for size in (
                each.conventional,
                each.multi_lane,
                each.expressway,
                each.freeway,
                each.oversized,
                each.minimum,
            )
            if size is not None
        ]
        values = [
            v for size in printed for v in (size.width_in, size.height_in) if v is not None
        ]
        assert all(value > 0 for value in values)
        with_size += bool(each.size_text)
    assert with_size == 1039


@pytest.mark.parametrize(
    ("text", "code", "variant"),
    [
        ("R1-1", "R1-1", ""),
        ("r1-1", "R1-1", ""),
        (" W16 - 7p ", "W16-7P", ""),
        ("W1-2R", "W1-2", "R"),
        ("w1-2l", "W1-2", "L"),
        ("R3-7 (L)", "R3-7", "L"),
        ("R3-7-R", "R3-7", "R"),
        ("W16-7PL", "W16-7P", "L"),
        ("W1–2", "W1-2", ""),  # an en dash, as pasted
        ("OM3-L", "OM3-L", ""),
        ("om3-r", "OM3-R", ""),
        ("R3-8xa", "R3-8xa", ""),
    ],
)
def test_a_code_is_found_however_it_is_written(text, code, variant):
    found, side = find_sign_type(text)
    assert (found.code, side) == (code, variant)


@pytest.mark.parametrize(
    "text", ["", "  ", "R99-1", "STOP", "W1-2RR", "L", "R", "W1-2X", "1-1"]
)
def test_an_unknown_code_is_refused_with_what_to_do(text):
    with pytest.raises(NoPublishedValueError, match=r"catalogue .*\."):
        find_sign_type(text)


def test_no_two_codes_differ_only_in_case():
    assert len({normalise_code(code) for code in CODES}) == len(CODES) == 1102


@given(st.sampled_from(CODES), st.sampled_from(["", "L", "R", "l", "r"]))
def test_stripping_left_and_right_once_is_stripping_for_good(code, letter):
    found, variant = find_sign_type(code + letter)
    if exact_sign_type(code + letter) is None:
        assert (found.code, variant) == (code, letter.upper())
    assert find_sign_type(found.code) == (found, "")


@given(st.text(max_size=12))
def test_any_text_is_found_or_refused_with_a_sentence(text):
    base, variant = split_variant(text)
    assert variant in ("", "L", "R")
    assert base == normalise_code(base)
    try:
        found, side = find_sign_type(text)
    except NoPublishedValueError as error:
        sentence = str(error)
    else:
        sentence = f"{found.source}."
        assert normalise_code(found.code) in (normalise_code(text), base)
        assert side in ("", "L", "R")
    assert len(sentence) > 20
    assert sentence.endswith(".")
