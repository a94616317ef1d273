"""Two people at one programme, and the process that chooses the years beside them."""

from __future__ import annotations

import time

import pytest
from django.conf import settings
from django.db import connection

from inventory.models import PlannedReplacement, Programme, ProgrammeRun
from inventory.services.programme.deciding import adopt, lock_replacement
from inventory.services.programme.solving import open_run, solve, start_solving
from inventory.services.standing import mark_due
from tests.factories import NOW
from tests.races import at_once
from tests.services.programme.records import (
    FIRST,
    HIGH,
    a_programme,
    a_sign,
    planning_agency,
    solved,
)
from tests.web.forecast_records import make_fit

pytestmark = pytest.mark.django_db(transaction=True)
LONGEST_S = 120  # what a test waits for another process before it gives up


@pytest.fixture
def programme():
    agency = planning_agency()
    fit = make_fit(agency)
    for _ in range(2):
        a_sign(agency, fit, HIGH)
    mark_due(organisation=agency, now=NOW)
    return solved(a_programme(agency))


def refusals(outcomes):
    return [str(each) for each in outcomes if each is not None]


def test_of_two_who_start_at_once_one_is_told_that_it_is_being_solved(programme):
    outcomes = at_once(*[lambda: open_run(programme=programme)] * 2)
    (refused,) = refusals(outcomes)
    assert "is being solved" in refused
    assert ProgrammeRun.objects.filter(programme=programme, finished_at=None).count() == 1


def test_a_programme_is_adopted_or_solved_anew_at_one_moment_never_both(programme):
    outcomes = at_once(
        lambda: open_run(programme=programme), lambda: adopt(programme=programme)
    )
    (refused,) = refusals(outcomes)
    programme.refresh_from_db()
    is_running = programme.runs.filter(finished_at=None).exists()
    assert is_running is (programme.state == Programme.State.DRAFT)
    assert ("are being chosen" in refused) is is_running


def test_a_year_is_locked_before_the_years_are_chosen_anew_or_refused(programme):
    row = PlannedReplacement.objects.filter(programme=programme).order_by("pk")[0]
    outcomes = at_once(
        lambda: open_run(programme=programme),
        lambda: lock_replacement(planned=row, year=FIRST + 1, reason="new road"),
    )
    assert outcomes[0] is None
    row.refresh_from_db()
    assert row.is_locked is (outcomes[1] is None)


def test_a_lock_while_a_plan_is_stored_waits_and_is_refused_without_a_deadlock(programme):
    row = PlannedReplacement.objects.filter(programme=programme).order_by("pk")[0]
    run = open_run(programme=programme)
    outcomes = at_once(
        lambda: solve(run, polish_seconds=0.1, now=NOW),
        lambda: lock_replacement(planned=row, year=FIRST + 1, reason="new road"),
        lambda: adopt(programme=programme),
    )
    assert outcomes[0] is None
    assert PlannedReplacement.objects.filter(programme=programme).count() == 2
    run.refresh_from_db()
    assert run.error == ""


def address_of_the_test_database():
    found = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{found['NAME']}"
    return (
        f"postgres://{found['USER']}:{found['PASSWORD']}@{found['HOST']}:{found['PORT']}"
        f"/{found['NAME']}"
    )


def ended(run):
    """Wait until a run has ended; another process does it."""
    until = time.monotonic() + LONGEST_S
    while time.monotonic() < until:
        run.refresh_from_db()
        if run.finished_at is not None:
            return run
        time.sleep(0.1)
    pytest.fail(f"the run is still at '{run.words}' after {LONGEST_S} s")


def test_years_are_chosen_by_a_process_of_its_own_that_goes_on_by_itself(
    programme, monkeypatch
):
    monkeypatch.setenv("DATABASE_URL", address_of_the_test_database())
    monkeypatch.setenv("SIGNFLEET_VAR_DIR", str(settings.VAR_DIR))
    PlannedReplacement.objects.filter(programme=programme).delete()
    Programme.objects.filter(pk=programme.pk).update(result={}, solved_at=None)
    run = start_solving(programme=programme)
    assert run.finished_at is None
    assert ended(run).error == ""
    programme.refresh_from_db()
    assert programme.result["risk_left"] < programme.result["risk_nothing"]
    assert PlannedReplacement.objects.filter(programme=programme, year=FIRST).count() == 2


def test_a_process_that_cannot_be_started_closes_its_run_with_the_reason(
    programme, monkeypatch
):
    monkeypatch.setattr("inventory.services.programme.solving.sys.executable", "/no/python")
    run = start_solving(programme=programme)
    run.refresh_from_db()
    assert "could not be started" in run.error
    open_run(programme=programme)
