"""Programmes are made, solved, stopped, locked and adopted; what cannot be is refused."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Disposition, PlannedReplacement, Programme, Sign
from inventory.services.programme.deciding import adopt, lock_replacement, unlock_replacement
from inventory.services.programme.gathering import NO_FORECAST, NO_LEVEL
from inventory.services.programme.making import problem_of
from inventory.services.programme.solving import ask_to_stop, open_run, solve
from inventory.services.standing import mark_due
from tests.factories import NOW, make_position, make_sign, make_support
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


@pytest.fixture
def agency():
    return planning_agency()


def test_the_dark_sign_comes_first_and_the_money_is_kept(agency):
    fit = make_fit(agency)
    dark = a_sign(agency, fit, HIGH)
    others = [a_sign(agency, fit, RISING) for _ in range(4)]
    mark_due(organisation=agency, now=NOW)
    programme = solved(a_programme(agency, money=150.0))
    years = years_of(programme)
    assert years[dark.pk] == FIRST
    assert set(years) == {dark.pk, *(each.pk for each in others)}
    result = programme.result
    for each in result["by_year"]:
        assert each["money"] <= 150.0
        assert each["replaced"] <= 1
    assert result["risk_left"] < result["risk_nothing"]
    assert result["risk_nothing"] - result["risk_left"] == pytest.approx(result["value"])
    assert result["value"] <= result["bound"]
    assert {"worst_first", "oldest_first"} == set(result["rivals"])
    assert result["risk_left"] <= result["rivals"]["oldest_first"]["risk_left"] + 1e-6
    assert result["ten_percent_more"]["risk_left"] <= result["risk_left"] + 1e-6


def test_two_faces_of_one_support_go_in_one_trip(agency):
    fit, support = make_fit(agency), make_support(agency)
    for _ in range(2):
        a_sign(agency, fit, HIGH, support=support)
    mark_due(organisation=agency, now=NOW)
    # Each alone: 40 + 50 + 20 + 30 = 140; both in one trip 230.
    programme = solved(a_programme(agency, money=235.0, years=1))
    assert programme.result["by_year"][0]["replaced"] == 2
    assert programme.result["by_year"][0]["money"] == pytest.approx(230.0)


def test_a_class_1_sign_is_replaced_before_it_is_due_less_the_lead_time(agency):
    fit = make_fit(agency)
    stop = a_sign(agency, fit, RISING, due_on=date(FIRST + 2, 1, 20))
    mark_due(organisation=agency, now=NOW)
    programme = solved(a_programme(agency))
    row = PlannedReplacement.objects.get(programme=programme)
    assert (row.sign_id, row.must_by_year) == (stop.pk, FIRST + 1)
    assert row.year is not None
    assert row.year <= FIRST + 1
    assert "class 1, before it is due" in row.reason


def test_musts_that_do_not_fit_say_how_much_is_missing_and_who_misses(agency):
    fit = make_fit(agency)
    for _ in range(2):
        a_sign(agency, fit, HIGH, due_on=NOW.date())
    mark_due(organisation=agency, now=NOW)
    programme = solved(a_programme(agency, money=150.0, years=1))
    short = programme.result["shortfall"]
    assert short["count"] == 1
    assert short["extra_money"] == [pytest.approx(130.0)]
    assert programme.result["by_year"][0]["replaced"] == 1
    row = PlannedReplacement.objects.get(programme=programme, year=FIRST)
    assert row.reason.startswith("class 1, due since")
    assert programme.result["least_budget_class_1"]["share"] == pytest.approx(
        250 / 150, rel=1e-3
    )


def test_signs_without_a_forecast_or_a_level_are_counted_and_not_planned(agency):
    fit = make_fit(agency)
    a_sign(agency, fit, HIGH)
    a_sign(agency, fit, [], basis="none")
    a_sign(agency, fit, [], basis="cohort")
    make_sign(agency, position=make_position(agency), responsible=Sign.Responsible.STATE)
    mark_due(organisation=agency, now=NOW)
    frame = problem_of(a_programme(agency), today=NOW.date())
    assert len(frame.position) == 1
    assert dict(frame.left_out) == {NO_FORECAST: 1, NO_LEVEL: 1, "not ours": 1}


def test_a_deferred_sign_waits(agency):
    sign = a_sign(agency, make_fit(agency), HIGH)
    Disposition.objects.create(
        organisation=agency, sign=sign, decision="defer", reason="road is rebuilt",
        defer_until_on=date(FIRST + 2, 3, 1), decided_at=NOW,
    )  # fmt: skip
    mark_due(organisation=agency, now=NOW)
    assert years_of(solved(a_programme(agency))) == {sign.pk: FIRST + 2}


def test_a_lock_is_kept_when_it_is_solved_again_and_may_be_taken_off(agency):
    sign = a_sign(agency, make_fit(agency), HIGH)
    mark_due(organisation=agency, now=NOW)
    programme = solved(a_programme(agency))
    row = PlannedReplacement.objects.get(programme=programme)
    lock_replacement(planned=row, year=FIRST + 2, reason="with the new road")
    assert years_of(solved(programme)) == {sign.pk: FIRST + 2}
    row = PlannedReplacement.objects.get(programme=programme)
    assert (row.is_locked, row.lock_reason) == (True, "with the new road")
    unlock_replacement(planned=row)
    assert years_of(solved(programme)) == {sign.pk: FIRST}


def test_locks_need_a_reason_and_a_year_of_the_programme(agency):
    a_sign(agency, make_fit(agency), HIGH)
    mark_due(organisation=agency, now=NOW)
    row = PlannedReplacement.objects.get(programme=solved(a_programme(agency)))
    with pytest.raises(OutOfRangeError, match="Say why it is locked"):
        lock_replacement(planned=row, year=FIRST, reason=" ")
    with pytest.raises(OutOfRangeError, match=f"The year {FIRST + 9} is not of this programme"):
        lock_replacement(planned=row, year=FIRST + 9, reason="later")


def test_a_larger_budget_that_begins_from_a_smaller_one_never_leaves_more(agency):
    fit = make_fit(agency)
    for number in range(8):
        a_sign(agency, fit, [min(0.1 + 0.02 * number + 0.03 * n, 1.0) for n in range(30)])
    mark_due(organisation=agency, now=NOW)
    small = solved(a_programme(agency, money=150.0))
    large = solved(a_programme(agency, money=165.0, name="More", began_from=small))
    assert large.result["risk_left"] <= small.result["risk_left"] + 1e-9


def test_one_programme_is_adopted_and_the_one_before_it_ends(agency):
    a_sign(agency, make_fit(agency), HIGH)
    mark_due(organisation=agency, now=NOW)
    with pytest.raises(StateConflictError, match="a solved draft can be adopted"):
        adopt(programme=a_programme(agency, name="Empty"))
    first = adopt(programme=solved(a_programme(agency)))
    second = adopt(programme=solved(a_programme(agency, name="Second")))
    first.refresh_from_db()
    assert (first.state, second.state) == ("ended", "adopted")
    with pytest.raises(StateConflictError, match="stays as it is"):
        open_run(programme=second)


def test_a_programme_is_solved_once_at_a_time_and_a_dead_run_is_taken_over(agency):
    programme = a_programme(agency)
    run = open_run(programme=programme, now=NOW)
    with pytest.raises(StateConflictError, match="is being solved since"):
        open_run(programme=programme, now=NOW + timedelta(seconds=30))
    again = open_run(programme=programme, now=NOW + timedelta(minutes=5))
    run.refresh_from_db()
    assert again.pk != run.pk
    assert run.error == "It was broken off."


def test_a_run_that_is_asked_to_stop_keeps_a_plan(agency):
    fit = make_fit(agency)
    for _ in range(3):
        a_sign(agency, fit, HIGH)
    mark_due(organisation=agency, now=NOW)
    run = open_run(programme=a_programme(agency))
    ask_to_stop(run=run)
    programme = solve(run, now=NOW)
    assert programme.result["by_year"][0]["replaced"] >= 1
    run.refresh_from_db()
    assert run.finished_at is not None
    assert run.error == ""


def test_a_programme_without_a_forecast_says_what_to_do_and_closes_its_run(agency):
    programme = a_programme(agency)
    with pytest.raises(StateConflictError, match="has no installed sign to plan; add signs"):
        solve(open_run(programme=programme), now=NOW)
    a_sign(agency, make_fit(agency), [], basis="none")
    mark_due(organisation=agency, now=NOW)
    run = open_run(programme=programme)
    with pytest.raises(StateConflictError, match=r"run manage\.py forecast first"):
        solve(run, now=NOW)
    run.refresh_from_db()
    assert "manage.py forecast" in run.error
    assert "Left out: 1 (no forecast: read it first)" in run.error


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"years": 16, "budget": [1.0] * 16, "crew_hours": [1.0] * 16}, "has 16 years"),
        ({"first_year": 2020}, "begins in 2020"),
        ({"budget": [1.0]}, "There are 1 figures of budget for 3 years"),
        ({"budget": [1.0, -5.0, 1.0]}, f"The budget of {FIRST + 1} is -5; it is 0 or more"),
        ({"name": " "}, "name"),
    ],
)
def test_a_programme_that_cannot_be_is_refused(agency, fields, words):
    with pytest.raises(OutOfRangeError, match=words):
        a_programme(agency, **fields)
    assert not Programme.objects.exists()


def test_a_name_is_given_once(agency):
    a_programme(agency)
    with pytest.raises(StateConflictError, match="There is a programme 'Replacements' already"):
        a_programme(agency)


def test_signs_are_brought_together_in_few_queries(agency, django_assert_num_queries):
    fit = make_fit(agency)
    for _ in range(6):
        a_sign(agency, fit, HIGH)
    mark_due(organisation=agency, now=NOW)
    programme = Programme.objects.select_related("work_basis", "organisation").get(
        pk=a_programme(agency).pk
    )
    with django_assert_num_queries(12):
        problem_of(programme, today=NOW.date())


def test_the_command_solves_a_programme_by_its_name(agency, capsys):
    a_sign(agency, make_fit(agency), HIGH)
    mark_due(organisation=agency, now=NOW)
    a_programme(agency)
    call_command("solve_programme", organisation=agency.name, name="Replacements")
    assert "1 signs planned" in capsys.readouterr().out
    with pytest.raises(CommandError, match="has no programme 'None such'"):
        call_command("solve_programme", organisation=agency.name, name="None such")
    with pytest.raises(CommandError, match="There is no open run 99"):
        call_command("solve_programme", run=99)


def test_musts_of_one_support_that_fit_only_together_are_all_kept(agency):
    fit, support = make_fit(agency), make_support(agency)
    for _ in range(2):
        a_sign(agency, fit, HIGH, support=support, due_on=NOW.date())
    mark_due(organisation=agency, now=NOW)
    # Alone 140 each; together 230.
    programme = solved(a_programme(agency, money=235.0, years=1))
    assert programme.result["shortfall"] is None
    assert programme.result["by_year"][0]["replaced"] == 2
    assert programme.result["least_budget_class_1"]["share"] == pytest.approx(230 / 235)
    rows = PlannedReplacement.objects.filter(programme=programme)
    assert {row.must_by_year for row in rows} == {FIRST}


def test_nothing_is_locked_or_adopted_while_years_are_being_chosen(agency):
    a_sign(agency, make_fit(agency), HIGH)
    mark_due(organisation=agency, now=NOW)
    programme = solved(a_programme(agency))
    row = PlannedReplacement.objects.get(programme=programme)
    open_run(programme=programme)
    with pytest.raises(StateConflictError, match="are being chosen; wait, or stop it first"):
        lock_replacement(planned=row, year=FIRST + 1, reason="with the new road")
    with pytest.raises(StateConflictError, match="are being chosen"):
        adopt(programme=programme)


def test_a_run_that_was_taken_over_stores_nothing(agency):
    a_sign(agency, make_fit(agency), HIGH)
    mark_due(organisation=agency, now=NOW)
    programme = a_programme(agency)
    silent = open_run(programme=programme, now=NOW - timedelta(minutes=9))
    open_run(programme=programme, now=NOW)
    with pytest.raises(StateConflictError, match="nothing of this run is kept"):
        solve(silent, polish_seconds=0.2, now=NOW)
    silent.refresh_from_db()
    assert silent.error == "It was broken off."
    assert not PlannedReplacement.objects.filter(programme=programme).exists()
