"""Whether a method is being applied: each method by its own calendar."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.assessment.method_calendar import (
    Applied,
    CoveredSign,
    Method,
    Terms,
    add_months,
    method_calendar,
)
from inventory.models import MethodGroup

START = date(2024, 1, 1)
TODAY = date(2026, 6, 1)
DUE_TODAY = date(2024, 6, 1)  # plus 24 months


def sign(number=1, **fields):
    return CoveredSign(number, fields.pop("under_since_on", START), **fields)


def calendar(method, *signs, today=TODAY, **terms):
    return method_calendar(Terms(method, START, **terms), signs, today=today)


def test_the_methods_are_those_a_group_can_name():
    assert {each.value for each in Method} == set(MethodGroup.Method.values)


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        # Counted on a wall calendar.
        (date(2024, 1, 31), 1, date(2024, 2, 29)),
        (date(2025, 1, 31), 1, date(2025, 2, 28)),
        (date(2024, 11, 15), 14, date(2026, 1, 15)),
        (date(2024, 5, 31), 0, date(2024, 5, 31)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
    ],
)
def test_months_are_those_of_the_calendar(day, months, later):
    assert add_months(day, months) == later


@pytest.mark.parametrize(
    ("method", "field"), [(Method.MEASURED, "measured_on"), (Method.VISUAL_NIGHT, "rated_on")]
)
def test_an_inspected_sign_is_in_time_up_to_the_day_it_is_due(method, field):
    for last_on, applied in (
        (DUE_TODAY, Applied.IN_TIME),
        (DUE_TODAY - timedelta(days=1), Applied.OVERDUE),
    ):
        found = calendar(method, sign(**{field: last_on}), interval_months=24)
        assert found.entries[0].applied is applied
        assert found.entries[0].due_on == add_months(last_on, 24)


def test_readings_do_not_stand_for_a_look_by_night_nor_the_other_way_round():
    rated = sign(rated_on=TODAY)
    measured = sign(measured_on=TODAY)
    for method, other in ((Method.MEASURED, rated), (Method.VISUAL_NIGHT, measured)):
        entry = calendar(method, other, interval_months=12).entries[0]
        assert entry.due_on == add_months(START, 12)
        assert "not" in entry.words


def test_a_sign_never_inspected_counts_from_the_day_it_came_under_the_method():
    new = sign(under_since_on=date(2026, 5, 1))
    assert calendar(Method.MEASURED, new, interval_months=24).counts[Applied.IN_TIME] == 1


def test_the_expected_life_counts_from_the_day_put_up_then_from_the_day_made():
    both = sign(installed_on=date(2016, 7, 1), fabricated_on=date(2015, 1, 1))
    made = sign(fabricated_on=date(2014, 6, 1))
    neither = sign()
    found = calendar(Method.EXPECTED_LIFE, both, made, neither, expected_life_years=12)
    assert [entry.due_on for entry in found.entries] == [
        date(2028, 7, 1),
        date(2026, 6, 1),
        None,
    ]
    assert [entry.applied for entry in found.entries] == [
        Applied.IN_TIME,
        Applied.IN_TIME,
        Applied.AGE_NOT_KNOWN,
    ]
    # A sign of unknown age is not in time: nobody can say so.
    assert found.share_in_time == pytest.approx(2 / 3)


def test_a_blanket_round_counts_for_every_sign_it_did_not_miss():
    swapped = sign(1, installed_on=date(2023, 5, 1))
    unknown = sign(2)
    missed = sign(3, installed_on=date(2010, 5, 1))
    terms = {"interval_months": 120, "last_round_on": date(2023, 6, 1)}
    found = calendar(Method.BLANKET, swapped, unknown, missed, **terms)
    assert [entry.applied for entry in found.entries] == [
        Applied.IN_TIME,
        Applied.IN_TIME,
        Applied.OVERDUE,
    ]
    assert found.next_due_on == date(2033, 6, 1)
    assert [entry.sign_id for entry in found.overdue] == [3]


def test_without_a_round_on_record_each_sign_counts_from_its_own_age():
    old = sign(installed_on=date(2010, 5, 1))
    found = calendar(Method.BLANKET, old, interval_months=120)
    assert found.entries[0].due_on == date(2020, 5, 1)
    assert "No round of replacement is on record" in found.warnings[0]


def controls(count, **fields):
    return [sign(100 + n, is_control=True, sheeting="III", **fields) for n in range(count)]


def test_fewer_than_three_control_signs_of_a_sheeting_are_named():
    # At least three per sheeting type: FHWA-HRT-08-026 as cited in NCHRP Synthesis 431 p. 12.
    others = [sign(n, sheeting="III") for n in range(5)]
    two = calendar(
        Method.CONTROL_SIGNS, *others, *controls(2, measured_on=TODAY), interval_months=24
    )
    assert two.warnings[0].startswith("III: 2 control signs for 7 signs; at least 3")
    three = calendar(
        Method.CONTROL_SIGNS, *others, *controls(3, measured_on=TODAY), interval_months=24
    )
    assert three.warnings == ()


def test_signs_stand_as_the_control_sign_of_their_sheeting_longest_not_measured():
    fresh = sign(100, is_control=True, sheeting="III", measured_on=TODAY)
    stale = sign(101, is_control=True, sheeting="III", measured_on=date(2020, 1, 1))
    found = calendar(
        Method.CONTROL_SIGNS,
        fresh,
        stale,
        sign(1, sheeting="III"),
        sign(2, sheeting="XI"),
        interval_months=24,
    )
    by_sign = {entry.sign_id: entry for entry in found.entries}
    assert by_sign[100].applied is Applied.IN_TIME
    assert by_sign[1].applied is Applied.OVERDUE
    assert by_sign[1].due_on == date(2022, 1, 1)
    assert by_sign[2].words == "no control sign of its sheeting"


def test_signs_left_out_have_no_calendar():
    found = calendar(Method.EXCLUDED, sign())
    assert found.counts == {Applied.NO_CALENDAR: 1}
    assert found.share_in_time is None


@given(
    days=st.lists(st.dates(date(2000, 1, 1), date(2026, 6, 1)), min_size=1, max_size=8),
    later=st.integers(0, 4000),
)
def test_time_never_makes_an_overdue_sign_be_in_time(days, later):
    signs = [sign(number, measured_on=day) for number, day in enumerate(days)]
    now = calendar(Method.MEASURED, *signs, interval_months=24)
    then = calendar(
        Method.MEASURED, *signs, interval_months=24, today=TODAY + timedelta(days=later)
    )
    assert then.counts[Applied.OVERDUE] >= now.counts[Applied.OVERDUE]
    late = [entry.due_on for entry in then.overdue]
    assert late == sorted(late)
