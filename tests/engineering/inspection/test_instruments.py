"""Checks, certificates, and the readings they put in doubt."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.inspection.instruments import (
    CertificateState,
    Check,
    CheckHistory,
    certificate_state,
    is_within_tolerance,
    relative_difference,
)
from inventory.errors import OutOfRangeError

START = datetime(2026, 6, 1, tzinfo=UTC)


def at(hour: int) -> datetime:
    return START + timedelta(hours=hour)


def before(hour: int, number: int = 0, is_good: bool = True) -> Check:
    return Check(at(hour), True, is_good, number)


def after(hour: int, number: int = 0, is_good: bool = True) -> Check:
    return Check(at(hour), False, is_good, number)


# --- one check ------------------------------------------------------------------------------


def test_the_difference_is_a_share_of_the_reference():
    # By hand: |241.5 − 250| / 250 = 8.5 / 250 = 0.034.
    assert relative_difference(Decimal(250), Decimal("241.5")) == Fraction(34, 1000)


@pytest.mark.parametrize(
    ("shown", "is_good"),
    [("105", True), ("95", True), ("105.001", False), ("94.999", False), ("100", True)],
)
def test_a_difference_equal_to_the_tolerance_is_within_it(shown, is_good):
    assert is_within_tolerance(Decimal(100), Decimal(shown), 0.05) is is_good


def test_a_tolerance_counts_as_the_decimal_it_is_written_as():
    # In binary 0.07 is a little over 7/100, and 0.29 a little under 29/100: neither may show.
    assert is_within_tolerance(Decimal(100), Decimal(129), 0.29)
    assert not is_within_tolerance(Decimal(100), Decimal("107.001"), 0.07)


@pytest.mark.parametrize(("reference", "shown"), [("0", "1"), ("-1", "1"), ("100", "-1")])
def test_a_standard_returns_light_and_an_instrument_shows_no_less_than_none(reference, shown):
    with pytest.raises(OutOfRangeError):
        relative_difference(Decimal(reference), Decimal(shown))


@pytest.mark.parametrize("tolerance", [0.0, -0.01, 0.51, float("nan"), float("inf")])
def test_a_tolerance_is_over_nothing_and_at_most_a_half(tolerance):
    with pytest.raises(OutOfRangeError, match="at most 50 %"):
        is_within_tolerance(Decimal(100), Decimal(100), tolerance)


# --- which readings a check is about --------------------------------------------------------


def failed(checks, hour):
    return [each.number for each in CheckHistory(checks).failed_around(at(hour))]


def test_a_failed_check_doubts_what_was_read_since_the_last_good_one():
    checks = [after(0), before(8, 1), after(17, 2, is_good=False)]
    assert failed(checks, 12) == [2]
    assert failed(checks, 17) == [2]
    assert failed(checks, 7) == []


def test_what_is_read_after_a_failed_check_is_in_doubt_until_a_good_one():
    checks = [before(8, 1), after(17, 2, is_good=False), before(32, 3)]
    assert failed(checks, 20) == [2]
    assert failed(checks, 33) == []


def test_without_any_good_check_everything_is_in_doubt():
    checks = [after(17, 1, is_good=False)]
    assert failed(checks, -9000) == [1]
    assert failed(checks, 9000) == [1]


def test_without_any_check_nothing_is_in_doubt():
    assert failed([], 12) == []


def test_readings_between_two_good_checks_are_not_in_doubt():
    checks = [before(8, 1), after(12, 2), after(17, 3, is_good=False)]
    assert failed(checks, 10) == []
    assert failed(checks, 14) == [3]


def test_a_reading_of_the_minute_of_a_check_is_of_the_session_the_check_is_about():
    good = [before(8, 1), after(17, 2)]
    failed_after = after(17, 3, is_good=False)
    # Read in the minute of the check before the session: part of that session.
    assert failed([before(8, 1), failed_after], 8) == [3]
    # Read in the minute of the good check after the session: before that check.
    assert failed([*good, after(20, 4, is_good=False)], 17) == []


def test_of_two_checks_of_one_minute_the_one_written_down_first_came_first():
    # Outside the tolerance, adjusted, good: what was read before stays in doubt, not after.
    checks = [after(0, 1), after(17, 2, is_good=False), before(17, 3)]
    assert failed(checks, 12) == [2]
    assert failed(checks, 18) == []


checks = st.builds(
    Check,
    st.integers(0, 40).map(at),
    st.booleans(),
    st.booleans(),
    st.integers(0, 1000),
)


@given(st.lists(checks, max_size=12, unique_by=lambda each: each.number), st.integers(0, 40))
def test_it_is_as_a_walk_from_the_reading_in_both_directions_finds_it(history, hour):
    """Walk outwards from the reading; a good check ends the walk."""
    ordered = sorted(history, key=lambda each: each.place)
    moment = at(hour)
    ahead = [each for each in ordered if each.is_good and each.is_ahead_of(moment)]
    behind = [each for each in ordered if each.is_good and not each.is_ahead_of(moment)]
    expected = [
        each
        for each in ordered
        if not each.is_good
        and all(each.place > good.place for good in ahead)
        and all(each.place < good.place for good in behind)
    ]
    assert list(CheckHistory(history).failed_around(moment)) == expected


@given(st.lists(checks, max_size=12, unique_by=lambda each: each.number), st.integers(0, 40))
def test_the_order_in_which_checks_arrive_does_not_matter(history, hour):
    forwards = CheckHistory(history).failed_around(at(hour))
    assert CheckHistory(history[::-1]).failed_around(at(hour)) == forwards


@given(
    st.lists(checks, max_size=12, unique_by=lambda each: each.number),
    st.integers(0, 40),
    checks,
)
def test_one_more_failed_check_never_clears_a_reading(history, hour, more):
    more = Check(more.checked_at, more.is_before, False, 5000)
    without = CheckHistory(history).failed_around(at(hour))
    assert set(without) <= set(CheckHistory([*history, more]).failed_around(at(hour)))


# --- certificates ---------------------------------------------------------------------------

FIRST = (date(2025, 3, 1), date(2026, 3, 1))
RENEWED = (date(2026, 4, 10), date(2027, 4, 10))


@pytest.mark.parametrize(
    ("certificates", "day", "state"),
    [
        ([FIRST], date(2026, 3, 1), CertificateState.VALID),
        ([FIRST], date(2026, 3, 2), CertificateState.EXPIRED),
        ([FIRST], date(2025, 2, 28), CertificateState.UNKNOWN),
        ([FIRST, RENEWED], date(2026, 3, 15), CertificateState.EXPIRED),
        ([FIRST, RENEWED], date(2026, 4, 10), CertificateState.VALID),
        ([FIRST, RENEWED], date(2025, 6, 1), CertificateState.VALID),
        ([(None, None)], date(2026, 3, 1), CertificateState.UNKNOWN),
        ([(None, date(2026, 3, 1))], date(2026, 3, 2), CertificateState.EXPIRED),
        ([(date(2025, 3, 1), None)], date(2030, 3, 1), CertificateState.UNKNOWN),
        ([], date(2026, 3, 1), CertificateState.UNKNOWN),
    ],
)
def test_a_certificate_holds_from_its_day_to_its_due_day(certificates, day, state):
    assert certificate_state(certificates, day) is state


def test_of_two_statements_about_one_certificate_the_later_counts():
    mistyped = (date(2025, 3, 1), date(2028, 3, 1))
    assert certificate_state([mistyped, FIRST], date(2027, 1, 1)) is CertificateState.EXPIRED
    assert certificate_state([FIRST, mistyped], date(2027, 1, 1)) is CertificateState.VALID
