"""
Whether a face is still the standard one.

Sizes are those of the size tables of MUTCD 11th edition (2023, Revision 1), in one or two
transcriptions; the successors of withdrawn codes are the reference catalogue's word, R9-20 from
memory.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from inventory.engineering.ordering.standard_checks import (
    SUPERSEDED_FILE,
    Check,
    standard_warnings,
    successor_of,
)
from inventory.engineering.standards.catalogue import (
    exact_sign_type,
    find_sign_type,
    sign_types,
)
from inventory.engineering.standards.local import local_sign_type
from inventory.engineering.standards.tables import read_table
from inventory.engineering.standards.vocabulary import Edition, RoadClass, Series

ONE_LANE, MULTI = RoadClass.CONVENTIONAL_SINGLE_LANE, RoadClass.CONVENTIONAL_MULTI_LANE
EXPRESSWAY, FREEWAY = RoadClass.EXPRESSWAY, RoadClass.FREEWAY
NOW, BEFORE = Edition.MUTCD_11, Edition.MUTCD_2009


def warnings(code, width_in, height_in, road_class, edition=NOW):
    return standard_warnings(find_sign_type(code)[0], width_in, height_in, road_class, edition)


@pytest.mark.parametrize(
    ("code", "edition", "successor"),
    [
        ("R1-3", NOW, "R1-3P"),
        ("R1-4", NOW, "R1-3P"),
        ("R1-4", BEFORE, "R1-3P"),
        ("R4-11", NOW, "R9-20"),
    ],
)
def test_a_withdrawn_code_is_told_with_its_successor(code, edition, successor):
    (found,) = warnings(code, 6, 6, ONE_LANE, edition)
    assert found.check is Check.CODE
    assert found.successor == successor
    assert code in found.sentence
    assert f"row {successor}" in found.sentence
    assert "unverified" in found.sentence


def test_a_code_that_the_agencys_edition_still_lists_is_not_withdrawn():
    assert not warnings("R4-11", 30, 30, ONE_LANE, BEFORE)
    assert not warnings("R4-11", 30, 30, ONE_LANE, Edition.MUTCD_2009_RECOMMENDED)
    assert successor_of(find_sign_type("R1-1")[0], NOW) is None


def test_every_code_of_an_older_edition_has_a_successor_that_is_listed_now():
    older = {each.code for each in sign_types() if "11th" not in each.edition}
    assert older == {row.text("row_id") for row in read_table(SUPERSEDED_FILE).rows}
    for code in older:
        old = exact_sign_type(code)
        assert old is not None
        new = successor_of(old, NOW)
        assert new is not None
        assert "11th" in new.edition


@pytest.mark.parametrize(
    ("code", "size", "road", "said"),
    [
        # Table 2B-1: R1-1 is 30 in on single-lane and 36 in on multi-lane conventional roads.
        ("R1-1", (24, 24), ONE_LANE, "smaller than the 30 × 30 in"),
        ("R1-1", (30, 30), MULTI, "smaller than the 36 × 36 in"),
        ("R1-1", (30, 30), EXPRESSWAY, "smaller than the 36 × 36 in"),
        # Table 2C-1: W1-2 is 36 in on multi-lane roads.
        ("W1-2", (30, 30), MULTI, "smaller than the 36 × 36 in"),
        # A width that varies is not compared; table 2D-1 prints a height of 12 in.
        ("D3-1", (60, 9), ONE_LANE, "9 in high is less than the 12 in"),
        # One dimension is enough.
        ("R2-1", (24, 29), ONE_LANE, "smaller than the 24 × 30 in"),
    ],
)
def test_a_size_too_small_for_its_road_is_told_with_table_and_row(code, size, road, said):
    (found,) = warnings(code, size[0], size[1], road)
    assert found.check is Check.SIZE
    assert f"{said} printed for {code} on {road.words}" in found.sentence
    assert f"table {found.table}, row {code}" in found.sentence


@pytest.mark.parametrize(
    ("code", "size", "road"),
    [
        ("R1-1", (30, 30), ONE_LANE),
        ("R1-1", (36, 36), ONE_LANE),  # larger is no fault
        ("R1-1", (36, 36), EXPRESSWAY),
        ("R1-1", (29.995, 30), ONE_LANE),  # a hundredth of an inch is how sizes are typed
        ("D3-1", (20, 12), ONE_LANE),
        ("R1-1", (48, 48), None),
    ],
)
def test_a_size_large_enough_is_not_told(code, size, road):
    assert not warnings(code, size[0], size[1], road)


def test_the_printed_minimum_is_said_beside_a_size_below_the_standard():
    # Table 2C-1: W8-1 is 36 in on multi-lane roads, at least 24 in.
    (above,) = warnings("W8-1", 24, 24, MULTI)
    assert "It meets the minimum printed, 24 × 24 in" in above.sentence
    assert "from memory" in above.sentence
    (below,) = warnings("W8-1", 18, 18, MULTI)
    assert "falls short even of the minimum printed, 24 × 24 in" in below.sentence


def test_on_a_road_of_unknown_class_the_size_may_be_too_small_or_surely_is():
    (may_be,) = warnings("R1-1", 30, 30, None)
    assert may_be.check is Check.NOT_CHECKED
    assert "class of the road is not known" in may_be.sentence
    (surely,) = warnings("R1-1", 24, 24, None)
    assert surely.check is Check.SIZE
    assert "and than that of every other class of road" in surely.sentence


def test_where_no_size_is_printed_it_is_said_that_none_was_checked():
    (told,) = warnings("S1-1", 36, 36, FREEWAY)
    assert told.check is Check.NOT_CHECKED
    sizeless = next(each for each in sign_types() if each.series is Series.RECREATION)
    (told,) = standard_warnings(sizeless, 24, 24, None, NOW)
    assert told.check is Check.NOT_CHECKED
    assert "no size is printed" in told.sentence


def test_an_agencys_own_type_goes_by_its_own_size():
    own = local_sign_type(
        code="TR-7", name="Trail Head", series=Series.GUIDE, width_in=Decimal(18), height_in=24
    )
    (found,) = standard_warnings(own, 12, 24, ONE_LANE, NOW)
    assert "the agency's own sign type" in found.sentence
    assert not standard_warnings(own, 18, 24, ONE_LANE, NOW)
