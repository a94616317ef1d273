"""Programmes at their ends: no money, no hours, one year, all of them locked, and stops."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from inventory.errors import StateConflictError
from inventory.models import PlannedReplacement, Programme
from inventory.services.programme import solving
from inventory.services.programme.deciding import lock_replacement
from inventory.services.programme.new_faces import until_stopped
from inventory.services.programme.results import LACKING, LEAST, RIVALS, TEN_PERCENT
from inventory.services.programme.solving import ask_to_stop, open_run, solve
from inventory.services.standing import mark_due
from tests.factories import NOW, make_support
from tests.services.programme.records import (
    FIRST,
    HIGH,
    a_programme,
    a_sign,
    planning_agency,
    solved,
    years_of,
)
from tests.web.forecast_records import make_fit

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return planning_agency()


def several(agency, number=8, **fields):
    """Put up signs of all classes, two on a support, ever worse."""
    fit, signs = make_fit(agency), []
    for each in range(number):
        support = make_support(agency, latitude_deg=43.0 + 0.1 * (each // 2))
        worse = [min(0.05 * (each + 1) + 0.04 * n, 1.0) for n in range(30)]
        signs.append(
            a_sign(agency, fit, worse, support=support, safety_class=1 + each % 4, **fields)
        )
    mark_due(organisation=agency, now=NOW)
    return signs


@pytest.mark.parametrize("money", [[0.0] * 3, [0.0, 0.0, 500.0]])
def test_without_money_in_time_the_least_that_keeps_class_1_is_said_in_money(agency, money):
    stop = a_sign(agency, make_fit(agency), HIGH, due_on=NOW.date())
    mark_due(organisation=agency, now=NOW)
    programme = solved(a_programme(agency, budget=money))
    result = programme.result
    assert result["least_budget_class_1"] == {"share": None, "yearly": [140.0] * 3}
    assert result["shortfall"]["count"] == 1
    assert sum(result["shortfall"]["extra_money"]) == pytest.approx(140.0)
    assert result["by_year"][0]["money"] == 0.0
    assert years_of(programme) == {stop.pk: FIRST + 2 if any(money) else None}


def test_without_crew_hours_nothing_is_replaced_and_hours_are_what_lacks(agency):
    a_sign(agency, make_fit(agency), HIGH, due_on=NOW.date())
    mark_due(organisation=agency, now=NOW)
    result = solved(a_programme(agency, crew_hours=[0.0] * 3)).result
    assert sum(each["replaced"] for each in result["by_year"]) == 0
    assert sum(result["shortfall"]["extra_hours"]) == pytest.approx(1.0)
    assert result["risk_left"] == result["risk_nothing"]


def test_a_programme_of_one_year_takes_what_is_worth_most(agency):
    signs = several(agency)
    programme = solved(a_programme(agency, money=280.0, years=1))
    planned = {key for key, year in years_of(programme).items() if year is not None}
    assert planned
    assert signs[0].pk not in planned or signs[4].pk in planned
    assert len(programme.result["by_year"]) == 1


def test_locking_every_choice_changes_nothing(agency):
    several(agency)
    programme = solved(a_programme(agency, money=300.0))
    before, value = years_of(programme), programme.result["value"]
    for row in PlannedReplacement.objects.filter(programme=programme).order_by("pk"):
        lock_replacement(planned=row, year=row.year, reason="as it is")
    programme = solved(programme)
    assert years_of(programme) == before
    assert programme.result["value"] == pytest.approx(value)


def test_solving_again_is_never_worse_even_with_a_new_lock(agency):
    signs = several(agency)
    programme = solved(a_programme(agency, money=300.0))
    before = years_of(programme)
    row = PlannedReplacement.objects.get(programme=programme, sign=signs[0])
    lock_replacement(planned=row, year=None, reason="the road is given up")
    programme = solved(programme)
    kept = sum(
        years_of(programme)[key] == year for key, year in before.items() if key != signs[0].pk
    )
    assert kept >= len(signs) - 3  # the plan of before is gone on with


@pytest.mark.parametrize(
    ("phase", "left"),
    [
        ("placing what has to be done", {RIVALS, TEN_PERCENT, LEAST}),
        ("finding what no plan can pass", {RIVALS, TEN_PERCENT, LEAST}),
        ("bundling trips, round 1 of 2", {RIVALS, TEN_PERCENT, LEAST}),
        (f"reckoning {RIVALS}", {RIVALS, TEN_PERCENT, LEAST}),
        (f"reckoning {TEN_PERCENT}", {TEN_PERCENT, LEAST}),
        (f"reckoning {LEAST}", {LEAST}),
    ],
)
def test_asked_to_stop_in_any_phase_it_keeps_a_plan_and_says_what_it_left_out(
    agency, monkeypatch, phase, left
):
    several(agency, due_on=NOW.date())
    run = open_run(programme=a_programme(agency, money=300.0))
    heard, after = [], []
    tell, should_stop = solving.Watch.tell, solving.Watch.should_stop

    def telling(self, words):
        tell(self, words)
        heard.append(words)
        if words == phase:
            ask_to_stop(run=run)
            self.asked_at -= timedelta(seconds=9)  # the next question is asked of the database

    def asked(self):
        answer = should_stop(self)
        if answer:
            after.append(heard[-1])
        return answer

    monkeypatch.setattr(solving.Watch, "tell", telling)
    monkeypatch.setattr(solving.Watch, "should_stop", asked)
    programme = solve(run, polish_seconds=30.0, now=NOW)
    assert after[0] == phase  # heard in that phase, not in a later one
    assert heard[-1] == "storing the plan"
    result = programme.result
    assert set(result["not_reckoned"]) - {LACKING} == left
    assert bool(result["rivals"]) == (RIVALS not in left)
    assert sum(each["replaced"] for each in result["by_year"]) >= 1
    assert PlannedReplacement.objects.filter(programme=programme).count() == 8
    for each in result["by_year"]:
        assert each["money"] <= 300.0


def test_the_best_so_far_is_kept_when_it_is_stopped_at_once(agency):
    several(agency)
    programme = solved(a_programme(agency, money=300.0))
    value = programme.result["value"]
    run = open_run(programme=programme)
    ask_to_stop(run=run)
    programme = solve(run, now=NOW)
    assert programme.result["value"] >= value - 1e-9
    assert programme.result["is_stopped"]


def test_a_later_chunk_of_signs_hears_the_stop_and_what_was_found_before_stays(
    agency, monkeypatch
):
    several(agency)
    programme = solved(a_programme(agency, money=300.0))
    before = years_of(programme)
    monkeypatch.setattr("inventory.services.programme.new_faces.ROWS_AT_ONCE", 4)
    run = open_run(programme=programme)
    ask_to_stop(run=run)
    with pytest.raises(StateConflictError, match="what was found before is kept"):
        solve(run, now=NOW)
    assert years_of(Programme.objects.get(pk=programme.pk)) == before


def test_ten_percent_more_is_told_by_year_too(agency):
    several(agency)
    more = solved(a_programme(agency, money=300.0)).result["ten_percent_more"]
    assert [each["year"] for each in more["by_year"]] == [FIRST, FIRST + 1, FIRST + 2]
    assert sum(each["replaced"] for each in more["by_year"]) == more["replaced"]
    assert np.isclose(
        sum(each["risk"] for each in more["by_year"]), more["risk_left"], atol=0.01
    )


def test_no_reading_is_open_while_it_leaves_a_sign_of_life(monkeypatch):
    """SQLite refuses to write beside an open reading once somebody else has written."""
    monkeypatch.setattr("inventory.services.programme.new_faces.ROWS_AT_ONCE", 2)
    ended, asked = [], []

    def rows():
        yield from range(5)
        ended.append(True)

    def should_stop():
        asked.append(bool(ended))
        return False

    assert list(until_stopped(rows(), should_stop)) == list(range(5))
    assert asked == [True, True]
