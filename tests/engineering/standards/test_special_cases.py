"""
Special cases under the level tables.

Figures and codes of MUTCD 11th edition (2023) Table 2A-5, special cases, typed for this test
from a public transcription; the 2009 edition alike, from memory.
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.standards.special_cases import (
    criterion_dimension_in,
    element_minimums,
    size_rule,
    size_rules,
    special_minimums,
)
from inventory.engineering.standards.vocabulary import Checked, Edition, Shape
from inventory.errors import OutOfRangeError

MANUALS = [Edition.MUTCD_2009, Edition.MUTCD_11]


@pytest.mark.parametrize("edition", MANUALS)
def test_the_element_minimums_are_the_printed_ones(edition):
    assert [
        (row.code, row.color.value, row.minimum_ra_cd_lx_m2)
        for row in element_minimums(edition)
    ] == [
        ("W3-1", "red", Decimal(7)),
        ("W3-2", "red", Decimal(7)),
        ("W3-2", "white", Decimal(35)),
        ("W3-3", "red", Decimal(7)),
        ("W3-3", "green", Decimal(7)),
        ("W3-5", "white", Decimal(50)),
    ]


@pytest.mark.parametrize("edition", MANUALS)
def test_the_size_rule_names_the_printed_examples_and_any_other_sign(edition):
    assert [row.code for row in size_rules(edition)] == [
        "W14-3",
        "W4-4P",
        "W13-1P",
        "W13-2",
        "W13-3",
        "W13-6",
        "W13-7",
        "*",
    ]


def test_special_minimums_are_found_whatever_case_and_side_letter():
    assert len(special_minimums(Edition.MUTCD_11, "w3-2")) == 2
    assert len(special_minimums(Edition.MUTCD_11, "W3-1 L")) == 1
    assert special_minimums(Edition.MUTCD_11, "R1-1") == ()


def test_the_recommended_edition_follows_the_2009_manual():
    rows = special_minimums(Edition.MUTCD_2009_RECOMMENDED, "W3-1")
    assert [row.edition for row in rows] == [Edition.MUTCD_2009]
    assert rows[0].checked is Checked.PARTIAL


def test_the_size_rule_holds_for_named_codes_and_for_any_sign_that_is_not_a_diamond():
    named = size_rule(Edition.MUTCD_11, "W13-1P", None)
    other = size_rule(Edition.MUTCD_11, "W1-6", Shape.RECTANGLE)
    assert named is not None
    assert other is not None
    assert (named.code, other.code) == ("W13-1P", "*")
    assert size_rule(Edition.MUTCD_11, "W1-2", Shape.DIAMOND) is None
    assert size_rule(Edition.MUTCD_11, "", None) is None


@pytest.mark.parametrize(
    ("shape", "width", "height", "expected"),
    [
        (Shape.DIAMOND, 36, 36, 36),
        (Shape.DIAMOND, 36, None, 36),
        (Shape.DIAMOND, 36, 48, None),  # a diamond has one side length
        (Shape.PENNANT, 48, 36, 48),  # W14-3
        (Shape.RECTANGLE, 24, 48, 48),
        (Shape.RECTANGLE, 48, None, 48),
        (Shape.RECTANGLE, 47, None, None),  # the other dimension could be larger
        (None, 30, 24, 30),
        (None, None, None, None),
    ],
)
def test_the_deciding_dimension(shape, width, height, expected):
    assert criterion_dimension_in(Edition.MUTCD_11, shape, width, height) == expected


@pytest.mark.parametrize("value", [0, -1, Decimal("NaN")])
def test_an_impossible_dimension_is_refused(value):
    with pytest.raises(OutOfRangeError):
        criterion_dimension_in(Edition.MUTCD_11, Shape.RECTANGLE, value, 30)


sizes = st.decimals(min_value=1, max_value=200, places=1)


@given(sizes, sizes)
def test_turning_a_rectangle_never_changes_the_deciding_dimension(width, height):
    turned = criterion_dimension_in(Edition.MUTCD_11, Shape.RECTANGLE, height, width)
    assert criterion_dimension_in(Edition.MUTCD_11, Shape.RECTANGLE, width, height) == turned


@given(sizes, sizes)
def test_one_dimension_alone_never_decides_otherwise_than_both(width, height):
    alone = criterion_dimension_in(Edition.MUTCD_11, Shape.RECTANGLE, width, None)
    both = criterion_dimension_in(Edition.MUTCD_11, Shape.RECTANGLE, width, height)
    assert both is not None
    assert alone is None or (alone >= 48) == (both >= 48)
