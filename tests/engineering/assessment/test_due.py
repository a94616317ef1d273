"""What makes a sign due, since when, and who comes first."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.assessment.due import (
    Cause,
    Due,
    due_order,
    find_causes,
    find_due,
    put_right_by,
    read_damage_days,
)
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.inspection.vocabulary import Severity
from inventory.errors import OutOfRangeError

READ_ON = date(2026, 4, 2)
SEEN_ON = date(2026, 5, 20)
TODAY = date(2026, 6, 1)


def causes(verdict=Verdict.MEETS, **fields):
    return find_causes(
        verdict=verdict, verdict_words="red 6 is below 7", judged_on=READ_ON, **fields
    )


@pytest.mark.parametrize("verdict", list(Verdict))
def test_only_failing_verdicts_are_a_cause(verdict):
    # Undecided and unread signs have to be read, not replaced.
    expected = [READ_ON] if verdict in (Verdict.BELOW, Verdict.SHEETING_NOT_ALLOWED) else []
    assert [cause.from_on for cause in causes(verdict)] == expected


@pytest.mark.parametrize("severity", [None, *Severity])
def test_moderate_and_severe_damage_are_causes(severity):
    found = causes(severity=severity, condition_words="bent", seen_on=SEEN_ON)
    expected = severity in (Severity.MODERATE, Severity.SEVERE)
    assert found == ((Cause("bent", SEEN_ON),) if expected else ())


def test_the_agencys_own_list_is_a_cause_from_the_year_it_names():
    (planned,) = causes(planned_year=2024)
    assert planned == Cause("the agency's own list plans 2024", date(2024, 1, 1))


@pytest.mark.parametrize(
    ("year", "due"),
    [
        (2026, Due(True, date(2026, 1, 1), "the agency's own list plans 2026")),
        (2027, Due(False, date(2027, 1, 1), "the agency's own list plans 2027")),
    ],
)
def test_a_planned_year_still_to_come_is_told_and_not_due(year, due):
    assert find_due(causes(planned_year=year), today=TODAY, is_ours=True) == due


def test_all_that_holds_today_is_named_the_earliest_first():
    found = causes(
        Verdict.BELOW,
        severity=Severity.SEVERE,
        condition_words="severe: knocked down",
        seen_on=SEEN_ON,
        inadequate_on=date(2026, 5, 2),
        planned_year=2030,
    )
    assert find_due(found, today=TODAY, is_ours=True) == Due(
        True, READ_ON, "red 6 is below 7; not adequate by night; severe: knocked down"
    )


def test_anothers_sign_is_never_due():
    found = causes(Verdict.BELOW, planned_year=2020)
    assert find_due(found, today=TODAY, is_ours=False) == Due(False, None, "")


def test_a_sign_without_a_cause_is_not_due():
    assert find_due((), today=TODAY, is_ours=True) == Due(False, None, "")


def test_the_due_list_in_order():
    # Source of the classes: Cornell Local Roads Program, What signs should we replace first?
    in_order = [
        due_order(safety_class=1, severity=Severity.SEVERE, margin_ratio=None),
        due_order(safety_class=1, severity=None, margin_ratio=0.0),
        due_order(safety_class=1, severity=Severity.MODERATE, margin_ratio=0.857_142),
        due_order(safety_class=1, severity=None, margin_ratio=0.857_144),
        due_order(safety_class=1, severity=Severity.SLIGHT, margin_ratio=4000.0),
        due_order(safety_class=1, severity=None, margin_ratio=None),
        due_order(safety_class=2, severity=Severity.SEVERE, margin_ratio=0.1),
        due_order(safety_class=4, severity=None, margin_ratio=None),
    ]
    assert in_order == sorted(in_order)
    assert len(set(in_order)) == len(in_order)


@given(
    st.integers(1, 4),
    st.sampled_from([None, *Severity]),
    st.one_of(st.none(), st.floats(0, 1e9)),
)
def test_the_key_fits_a_big_integer_and_never_leaves_its_class(safety_class, severity, margin):
    key = due_order(safety_class=safety_class, severity=severity, margin_ratio=margin)
    assert key < 2**63
    assert key // 10_000_000_000 == safety_class


def test_a_sign_damaged_today_is_due_today_with_the_agencys_time_to_put_it_right():
    found = causes(
        severity=Severity.SEVERE,
        condition_words="bent",
        seen_on=TODAY,
        put_right_by_on=date(2026, 6, 8),
    )
    assert find_due(found, today=TODAY, is_ours=True) == Due(True, date(2026, 6, 8), "bent")
    below = (Cause("red 6 is below 7", READ_ON), *found)
    assert find_due(below, today=TODAY, is_ours=True).due_on == READ_ON


def test_the_clock_starts_when_the_agency_is_told():
    times = read_damage_days({"severe": {"1": 1, "2": 2}, "moderate": {"4": 0}})
    by: dict[str, Any] = {
        "seen_on": date(2026, 5, 1),
        "notified_on": date(2026, 5, 4),
        "damage_days": times,
    }
    for severity, number, day in (
        (Severity.SEVERE, 1, date(2026, 5, 5)),
        (Severity.SEVERE, 2, date(2026, 5, 6)),
        (Severity.MODERATE, 4, date(2026, 5, 4)),
    ):
        assert put_right_by(severity=severity, safety_class=number, **by)[0] == day
    # Without a time of the agency's own: the day it was seen, and the words say so.
    assert put_right_by(severity=Severity.MODERATE, safety_class=1, **by) == (
        date(2026, 5, 1),
        "no target set by the agency",
    )


@pytest.mark.parametrize(
    "stated",
    [
        {"slight": {"1": 1}},
        {"severe": 3},
        {"severe": {"5": 1}},
        {"severe": {"1": -1}},
        {"severe": {"1": True}},
        {"severe": {"1": "soon"}},
    ],
)
def test_times_that_cannot_be_read_are_refused_in_a_sentence(stated):
    with pytest.raises(OutOfRangeError) as refusal:
        read_damage_days(stated)
    assert str(refusal.value).endswith(".")
