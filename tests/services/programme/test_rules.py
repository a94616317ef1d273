"""Signs that wait, rounds of blanket replacement, and what a lock goes against."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from inventory.errors import StateConflictError
from inventory.models import Disposition, PlannedReplacement, Position, Standing
from inventory.services.assessment import decide_disposition
from inventory.services.methods import REPLACEMENT_ROUND, assign, create_group, record_step
from inventory.services.programme.deciding import lock_replacement
from inventory.services.programme.making import problem_of
from inventory.services.programme.solving import open_run, solve
from inventory.services.standing import mark_due
from tests.factories import NOW
from tests.services.programme.records import (
    FIRST,
    HIGH,
    RISING,
    a_programme,
    a_sign,
    planning_agency,
    solved,
    years_of,
)
from tests.web.forecast_records import make_fit

pytestmark = pytest.mark.django_db
GUIDE: dict[str, Any] = {
    "place": {"sign_code": "D3-1"},
    "face": {"colours": (("background", "green"),)},
}


@pytest.fixture
def agency():
    return planning_agency()


def area_of(agency, *, done_on=date(2020, 5, 1), months=108):
    """Put every place under blanket replacement every nine years, the last round in 2020."""
    group = create_group(
        organisation=agency, name="Street names", method="blanket", interval_months=months,
        started_on=date(2019, 1, 1), basis="board decision (invented)", now=NOW,
    )  # fmt: skip
    assign(group=group, positions=Position.objects.all(), from_on=date(2019, 1, 1), now=NOW)
    record_step(group=group, kind=REPLACEMENT_ROUND, done_on=done_on, text="Round", now=NOW)


def row_of(programme, sign):
    return PlannedReplacement.objects.get(programme=programme, sign=sign)


def test_signs_of_a_blanket_area_go_in_the_year_of_their_round_and_not_before(agency):
    fit = make_fit(agency)
    signs = [a_sign(agency, fit, HIGH, safety_class=4, **GUIDE) for _ in range(2)]
    area_of(agency)
    mark_due(organisation=agency, now=NOW)
    programme = solved(a_programme(agency, years=4))
    assert years_of(programme) == dict.fromkeys((each.pk for each in signs), 2029)
    row = row_of(programme, signs[0])
    assert row.must_by_year == 2029
    assert "replaced every 108 months: round of 2020-05-01" in row.reason
    said = " ".join(programme.result["assumptions"])
    assert "2 signs go in a round of blanket replacement" in said


def test_a_sign_of_a_blanket_area_that_is_below_does_not_wait_for_the_round(agency):
    sign = a_sign(agency, make_fit(agency), HIGH, safety_class=4, **GUIDE)
    area_of(agency)
    mark_due(organisation=agency, now=NOW)
    Standing.objects.filter(sign=sign).update(verdict="below")
    programme = solved(a_programme(agency, years=4))
    assert years_of(programme) == {sign.pk: FIRST}
    assert row_of(programme, sign).must_by_year == 2029


def test_an_overdue_round_goes_into_the_first_year(agency):
    sign = a_sign(agency, make_fit(agency), [0.0] * 30, safety_class=4, **GUIDE)
    area_of(agency, months=60)
    mark_due(organisation=agency, now=NOW)
    assert years_of(solved(a_programme(agency))) == {sign.pk: FIRST}


def test_an_area_whose_round_comes_after_the_programme_is_no_must(agency):
    sign = a_sign(agency, make_fit(agency), [0.0] * 30, safety_class=4, **GUIDE)
    area_of(agency, months=200)
    mark_due(organisation=agency, now=NOW)
    assert years_of(solved(a_programme(agency))) == {sign.pk: None}


def test_a_deferred_sign_of_a_blanket_area_waits_beyond_its_round(agency):
    sign = a_sign(agency, make_fit(agency), HIGH, safety_class=4, **GUIDE)
    area_of(agency, months=60)
    Disposition.objects.create(
        organisation=agency, sign=sign, decision="defer", reason="road is rebuilt",
        defer_until_on=date(FIRST + 2, 3, 1), decided_at=NOW,
    )  # fmt: skip
    mark_due(organisation=agency, now=NOW)
    assert years_of(solved(a_programme(agency))) == {sign.pk: FIRST + 2}


@pytest.mark.parametrize(("verdict", "year"), [("meets", FIRST + 1), ("below", FIRST)])
def test_a_sign_waits_for_a_warranty_claim_unless_it_is_unsafe(agency, verdict, year):
    sign = a_sign(agency, make_fit(agency), HIGH, safety_class=2)
    mark_due(organisation=agency, now=NOW)
    Standing.objects.filter(sign=sign).update(verdict=verdict)
    decide_disposition(
        sign=sign, decision="claim", by=None, reason="claim 2026-17 with the shop",
        defer_until_on=date(FIRST + 1, 3, 1), now=NOW,
    )  # fmt: skip
    assert years_of(solved(a_programme(agency))) == {sign.pk: year}


def test_a_lock_later_than_a_must_is_kept_and_said(agency):
    sign = a_sign(agency, make_fit(agency), HIGH, due_on=NOW.date())
    mark_due(organisation=agency, now=NOW)
    programme = solved(a_programme(agency))
    assert programme.result["late_locks"] == 0
    for year in (FIRST + 2, None):
        row = lock_replacement(planned=row_of(programme, sign), year=year, reason="new road")
        assert row.reason == f"locked by a person, though it must be replaced by {FIRST}"
        programme = solved(programme)
        assert years_of(programme) == {sign.pk: year}
        assert programme.result["late_locks"] == 1
        assert programme.result["shortfall"] is None
        again = row_of(programme, sign)
        assert (again.reason, again.must_by_year) == (row.reason, FIRST)
    # The least money for class 1 goes by what must be, not by what was locked.
    assert programme.result["least_budget_class_1"]["share"] == pytest.approx(0.14)


def test_locks_that_take_more_than_there_is_are_said_and_nothing_is_changed(agency):
    fit = make_fit(agency)
    signs = [a_sign(agency, fit, HIGH) for _ in range(2)]
    mark_due(organisation=agency, now=NOW)
    programme = solved(a_programme(agency, money=150.0))
    for sign in signs:
        lock_replacement(planned=row_of(programme, sign), year=FIRST, reason="new road")
    # Two supports on one stretch: 2 (40 + 50 + 20) + 30.
    with pytest.raises(
        StateConflictError,
        match=rf"locked to {FIRST} take \$ 100 more than the 150 there is; unlock some",
    ):
        solved(programme)
    rows = PlannedReplacement.objects.filter(programme=programme)
    assert {(row.year, row.is_locked) for row in rows} == {(FIRST, True)}


def test_locks_go_before_musts_where_both_do_not_fit(agency):
    fit = make_fit(agency)
    must = a_sign(agency, fit, HIGH, due_on=NOW.date())
    light = a_sign(agency, fit, RISING, safety_class=4)
    mark_due(organisation=agency, now=NOW)
    programme = solved(a_programme(agency, money=150.0, years=1))
    assert years_of(programme) == {must.pk: FIRST, light.pk: None}
    lock_replacement(planned=row_of(programme, light), year=FIRST, reason="new road")
    programme = solved(programme)
    assert years_of(programme) == {must.pk: None, light.pk: FIRST}
    assert programme.result["shortfall"]["count"] == 1
    assert row_of(programme, must).reason == (
        f"must be replaced by {FIRST} (class 1); money or hours lack"
    )


def test_the_lock_of_a_place_without_a_forecast_is_kept_outside_the_figures(agency):
    fit = make_fit(agency)
    sign, other = a_sign(agency, fit, HIGH), a_sign(agency, fit, HIGH)
    mark_due(organisation=agency, now=NOW)
    programme = solved(a_programme(agency))
    lock_replacement(planned=row_of(programme, sign), year=FIRST + 1, reason="new road")
    sign.forecast.delete()
    programme = solved(programme)
    row = row_of(programme, sign)
    assert (row.year, row.is_locked, row.lock_reason) == (FIRST + 1, True, "new road")
    assert "not in the figures" in row.reason
    assert years_of(programme)[other.pk] == FIRST
    assert sum(each["replaced"] for each in programme.result["by_year"]) == 1


def test_years_that_are_past_are_closed_when_a_draft_is_solved_later(agency):
    fit = make_fit(agency)
    late = NOW + timedelta(days=2 * 365)  # in FIRST + 1
    signs = [
        a_sign(agency, fit, HIGH, due_on=due_on, as_of_on=late.date())
        for due_on in (NOW.date(), None)
    ]
    mark_due(organisation=agency, now=NOW)
    programme = a_programme(agency)
    solve(open_run(programme=programme), polish_seconds=0.2, now=late)
    programme.refresh_from_db()
    assert years_of(programme) == dict.fromkeys((each.pk for each in signs), FIRST + 1)
    assert row_of(programme, signs[0]).must_by_year == FIRST + 1
    lock_replacement(planned=row_of(programme, signs[1]), year=FIRST, reason="was planned so")
    solve(open_run(programme=programme), polish_seconds=0.2, now=late)
    programme.refresh_from_db()
    assert programme.result["past_locks"] == 1
    assert row_of(programme, signs[1]).reason.endswith("that year is past")


def test_a_programme_that_is_past_is_refused(agency):
    a_sign(agency, make_fit(agency), HIGH)
    mark_due(organisation=agency, now=NOW)
    with pytest.raises(StateConflictError, match=f"is {FIRST + 2}, which is past; make a new"):
        problem_of(a_programme(agency), today=date(FIRST + 3, 1, 1))
