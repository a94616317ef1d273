"""
Tasks by days and by hours of printing, checks around a run, shelf life, ink on an area.

Common practice, no source, but for calendar months and lengths: see each test.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from inventory.engineering.production.maintenance import (
    PrintCheck,
    checks_around,
    hours_run,
    task_due,
)
from inventory.engineering.production.stock_life import ink_ml, months_after
from inventory.errors import OutOfRangeError

DONE = datetime(2026, 5, 4, 8, tzinfo=UTC)
HOUR = timedelta(hours=1)


def due(now, runs=(), done_at=DONE, **every):
    every = {"every_days": None, "every_hours": None} | every
    return task_due(done_at=done_at, runs=list(runs), now=now, **every)


@pytest.mark.parametrize(("every", "hours"), [(1, 24), (7, 168), (30, 720)])
def test_a_task_by_days_is_due_when_the_days_are_over_and_not_a_minute_before(every, hours):
    at = DONE + hours * HOUR
    assert not due(at - timedelta(minutes=1), every_days=every).is_due
    assert due(at, every_days=every).is_due
    assert due(at, every_days=every).due_at == at


def test_a_task_by_hours_counts_printing_only_and_only_since_it_was_done():
    runs = [(DONE - HOUR, DONE + HOUR), (DONE + 100 * HOUR, DONE + 103 * HOUR)]
    now = DONE + 200 * HOUR
    assert hours_run(runs, DONE, now) == 4.0
    assert due(now, runs, every_hours=4.5).hours_left == pytest.approx(0.5)
    assert not due(now, runs, every_hours=4.5).is_due
    assert due(now, runs, every_hours=4.0).is_due
    assert due(DONE + 102 * HOUR, runs, every_hours=4.5).hours_left == pytest.approx(1.5)


def test_a_task_that_is_on_no_record_is_due():
    assert due(DONE, done_at=None, every_days=7).is_due
    assert due(DONE, done_at=None, every_hours=50.0).is_due


@pytest.mark.parametrize(
    "every",
    [{}, {"every_days": 1, "every_hours": 5.0}, {"every_days": 0}, {"every_hours": -1.0}],
)
def test_a_task_comes_back_by_days_or_hours(every):
    with pytest.raises(OutOfRangeError, match="one of them and over 0"):
        due(DONE, **every)


def check(key, hours, is_passed, kind="nozzle"):
    return PrintCheck(key, DONE + hours * HOUR, is_passed, kind)


@pytest.mark.parametrize(
    ("checks", "is_in_doubt"),
    [
        ([(0, True), (8, True)], False),
        ([(0, True), (8, False)], True),  # every run since the last passed one
        ([(0, False), (8, True)], True),  # and until one passes again
        ([(0, False), (1, True), (8, True)], False),
        ([(0, True), (2.5, False), (2.6, True), (8, True)], True),  # failed in mid-run
        ([(0, True), (8, True), (9, False)], False),
    ],
)
def test_a_failed_check_puts_the_runs_beside_it_in_doubt(checks, is_in_doubt):
    made = [check(key, hours, passed) for key, (hours, passed) in enumerate(checks)]
    (found,) = checks_around(made, (DONE + 2 * HOUR, DONE + 3 * HOUR))
    assert found.is_in_doubt is is_in_doubt


def test_nozzle_and_density_are_told_apart_and_what_was_not_made_is_none():
    checks = [check(1, 0, True), check(2, 1, False, "density"), check(3, 5, True)]
    density, nozzle = checks_around(checks, (DONE + 2 * HOUR, DONE + 3 * HOUR))
    assert (density.kind, density.before, density.after) == ("density", checks[1], None)
    assert (nozzle.before, nozzle.after) == (checks[0], checks[2])
    assert density.is_in_doubt
    assert not nozzle.is_in_doubt
    assert checks_around([], (DONE, DONE + HOUR)) == []


@pytest.mark.parametrize(
    ("day", "months", "until"),
    [
        (date(2026, 1, 31), 1, date(2026, 2, 28)),
        (date(2027, 12, 31), 2, date(2028, 2, 29)),
        (date(2026, 5, 4), 12, date(2027, 5, 4)),
        (date(2026, 12, 1), 1, date(2027, 1, 1)),
    ],
)
def test_months_are_the_calendars(day, months, until):
    # The Gregorian calendar, as PostgreSQL's date + interval '1 month' counts (from memory).
    assert months_after(day, months) == until


def test_a_shelf_life_of_nothing_or_past_the_calendar_is_refused():
    with pytest.raises(OutOfRangeError, match="0 months keeps nothing"):
        months_after(date(2026, 5, 4), 0)
    with pytest.raises(OutOfRangeError, match="after the year 9999"):
        months_after(date(9999, 12, 1), 1)


def test_ink_goes_by_the_square_metre():
    # 10.7639 ft² are 1 m² (NIST SP 811, appendix B.8, from memory).
    assert ink_ml(10.7639104, 12.0) == pytest.approx(12.0, rel=1e-6)
    assert ink_ml(10.7639104, 12.0, 0.25) == pytest.approx(3.0, rel=1e-6)
    assert ink_ml(0.0, 12.0) == 0.0


@pytest.mark.parametrize("wrong", [(-1.0, 12.0, 1.0), (1.0, 0.0, 1.0), (1.0, 12.0, 1.5)])
def test_ink_that_is_none_is_refused(wrong):
    with pytest.raises(OutOfRangeError):
        ink_ml(*wrong)
