"""What is damage to be acted on now, and how long it took."""

from __future__ import annotations

import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.inspection.damage import damage_severity, times_taken
from inventory.engineering.inspection.vocabulary import Severity
from inventory.models import Observation


@pytest.mark.parametrize("kind", ["missing", "knocked_down"])
@pytest.mark.parametrize("severity", [Severity.SLIGHT, Severity.MODERATE, Severity.SEVERE])
def test_what_is_not_there_is_severe_however_it_was_graded(kind, severity):
    assert damage_severity(kind, severity) is Severity.SEVERE


@pytest.mark.parametrize(
    ("kind", "least"),
    [
        ("damaged", Severity.MODERATE),
        ("bent", Severity.MODERATE),
        ("leaning", Severity.MODERATE),
        ("turned", Severity.MODERATE),
        ("obstructed", Severity.MODERATE),
        ("vandalised", Severity.MODERATE),
        ("faded", Severity.SEVERE),
        ("delaminated", Severity.SEVERE),
        ("wrong_sign", Severity.SEVERE),
        ("general", Severity.SEVERE),
    ],
)
def test_wear_is_damage_only_where_the_face_cannot_be_relied_on(kind, least):
    # Common practice, no source.
    for severity in Severity:
        wanted = severity if severity >= least else None
        assert damage_severity(kind, severity) is wanted


@pytest.mark.parametrize("kind", Observation.Kind.values)
def test_a_sign_seen_sound_has_no_damage_of_any_kind(kind):
    assert damage_severity(kind, Severity.NONE) is None


@given(st.lists(st.integers(min_value=0, max_value=400), min_size=1, max_size=40))
def test_nine_in_ten_are_done_within_the_ninetieth_percentile_and_no_shorter_time(days):
    found = times_taken(days)
    assert found.number == len(days)
    assert found.median_d == statistics.median(days)  # the standard library's
    within = sum(each <= found.most_d for each in days)
    assert 10 * within >= 9 * len(days)
    assert 10 * sum(each < found.most_d for each in days) < 9 * len(days)
