"""Control signs: how many, which, when, and what they say; by hand."""

from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.forecast.control import (
    DueRange,
    choose_control_signs,
    compare_with_others,
    control_signs_for,
    measure_next,
    share_below_at_most,
)
from inventory.errors import OutOfRangeError


def test_three_signs_above_their_level_say_little_of_the_others():
    # 0.05 ** (1/3) = 0.3684, by hand: up to 63 % of the others may be below.
    assert share_below_at_most(3) == pytest.approx(0.6316, abs=5e-5)
    assert control_signs_for(0.10) == 29
    assert share_below_at_most(29) < 0.10 < share_below_at_most(28)
    assert share_below_at_most(0) == 1


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_a_share_that_no_number_shows_is_refused(share):
    with pytest.raises(OutOfRangeError, match="under 1"):
        control_signs_for(share)


def test_four_signs_of_forty_face_four_ways_and_the_oldest_is_one():
    ages = np.linspace(1, 14, 40)
    quadrant = np.arange(40) % 4
    lot = np.arange(40) % 5
    chosen = choose_control_signs(ages, quadrant, lot, wanted=4)
    assert chosen[0] == 39
    assert sorted(quadrant[chosen]) == [0, 1, 2, 3]
    assert len(set(lot[chosen])) == 4
    assert len(set(np.searchsorted([5.34, 9.67], ages[chosen]))) == 3


def test_what_is_not_known_is_not_taken_for_something_else():
    ages = np.array([9.0, np.nan, 8.0])
    chosen = choose_control_signs(ages, np.array([0, -1, 0]), np.array([1, -1, 1]), wanted=2)
    assert chosen.tolist() == [0, 1]


def test_all_are_taken_where_there_are_fewer_than_wanted():
    one = np.array([-1])
    assert choose_control_signs(np.array([2.0]), one, one, wanted=3).tolist() == [0]
    none = np.array([], dtype=np.int64)
    assert choose_control_signs(none.astype(float), none, none, wanted=3).tolist() == []
    with pytest.raises(OutOfRangeError, match="0 or more"):
        choose_control_signs(np.array([2.0]), one, one, wanted=-1)


@given(
    st.lists(
        st.tuples(st.floats(0, 30), st.integers(-1, 3), st.integers(-1, 6)),
        min_size=1,
        max_size=40,
    ),
    st.integers(1, 12),
)
def test_no_sign_is_taken_twice_and_the_oldest_always(signs, wanted):
    ages, quadrant, lot = (np.array(each) for each in zip(*signs, strict=True))
    chosen = choose_control_signs(ages.astype(float), quadrant, lot, wanted=wanted)
    assert len(set(chosen.tolist())) == len(chosen) == min(wanted, len(signs))
    assert ages[chosen[0]] == ages.max()


def next_on(**changes):
    terms: dict[str, Any] = {
        "measured_on": date(2026, 3, 1),
        "under_since_on": date(2020, 1, 1),
        "interval_months": 24,
        "early_crossing_on": None,
        "lead_months": 12,
        "today": date(2026, 6, 1),
    }
    return measure_next(**terms | changes)


@pytest.mark.parametrize(
    ("changes", "on"),
    [
        ({}, date(2028, 3, 1)),  # the interval
        ({"early_crossing_on": date(2040, 1, 1)}, date(2028, 3, 1)),
        ({"early_crossing_on": date(2028, 6, 15)}, date(2027, 6, 15)),  # a year before
        (
            {"early_crossing_on": date(2025, 1, 1)},
            date(2026, 9, 1),
        ),  # six months after the last
        ({"measured_on": None}, date(2026, 6, 1)),  # never measured, long since: now
        ({"measured_on": None, "under_since_on": date(2026, 1, 1)}, date(2028, 1, 1)),
        ({"measured_on": date(2023, 1, 1)}, date(2026, 6, 1)),
    ],
)
def test_a_control_sign_is_measured_before_it_may_cross_its_level(changes, on):
    assert next_on(**changes).on == on


def test_a_sign_that_should_have_been_measured_says_since_when():
    assert next_on(measured_on=date(2023, 1, 1)).words == (
        "now: end of the interval, since 2025-01-01"
    )
    with pytest.raises(OutOfRangeError, match="1 or more"):
        next_on(interval_months=0)


def due(year, spread=2):
    return DueRange(date(year, 7, 1), date(year - spread, 7, 1), date(year + spread, 7, 1))


NEVER = DueRange(None, None, None)


def test_others_due_before_the_first_control_sign_are_those_it_warns_of_too_late():
    said = compare_with_others([due(2033), due(2031), NEVER], [due(2029), due(2034), NEVER])
    assert said is not None
    assert (said.first_on.year, said.middle_on.year) == (2031, 2033)
    assert said.others_middle_on.year == 2034
    assert said.share_before_first == pytest.approx(1 / 3)
    assert said.share_agreeing == pytest.approx(1 / 3)


def test_without_forecasts_nothing_is_said():
    assert compare_with_others([], [due(2030)]) is None
    assert compare_with_others([due(2030)], []) is None
