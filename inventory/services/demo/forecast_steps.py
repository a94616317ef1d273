"""Looking ahead after the main job: expected lives, when each sign is due, and how well."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from inventory.models import (
    BackTest,
    ExpectedLife,
    ForecastRun,
    Inspection,
    LotFinding,
    Role,
    SignForecast,
)
from inventory.services.demo.job import counted, person_in
from inventory.services.demo.load import scenario_parties
from inventory.services.demo.press_history import moment
from inventory.services.demo.words import words
from inventory.services.forecast.back_test_report import back_test_lines
from inventory.services.forecast.backtests import run_back_test
from inventory.services.forecast.expected_lives import set_expected_life
from inventory.services.forecast.refreshing import refresh_forecasts

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from inventory.models import Organisation

FORECAST_H = 20
BACK_TEST_YEARS = (2020, 2023)  # so that the demo stays quick; more by manage.py forecast
BACK_TEST_LINES = 3  # the cohorts one by one are on the page


def look_ahead(
    *,
    say: Callable[[str], None],
    progress: Callable[[str, int, int], None],
    with_back_test: bool = True,
) -> None:
    """
    Forecast every sign of the scenario from its readings, and back-test the forecasts.

    All of it has the scenario's days. What is there already is said and not made again; what
    was broken off goes on.
    """
    agency, _shop = scenario_parties()
    now = moment(words("scenario")["job"]["road_day"], FORECAST_H)
    say("Looking ahead: when each sign is due, from the readings of all years")
    _set_lives(agency, now)
    if _is_forecast(agency):
        say("    Already done: nothing was read since the last forecast.")
    else:
        _forecast(agency, now, say, progress)
    for lot in LotFinding.objects.owned_by(agency).filter(is_suspect=True):
        say(
            f"    Suspect: {lot}; its {lot.sign_count} signs that were read fall "
            f"{-100 * lot.effect_per_year:.1f} % a year faster than others like them."
        )
    if with_back_test:
        _back_test(agency, now, say, progress)


def _forecast(
    agency: Organisation,
    now: datetime,
    say: Callable[[str], None],
    progress: Callable[[str, int, int], None],
) -> None:
    summary = refresh_forecasts(
        organisation=agency,
        now=now,
        by=person_in(agency, Role.ENGINEER),
        progress=progress,
    )
    fits = summary.cohorts - summary.without_fit
    say(
        f"    {counted(fits, 'cohort')} fitted to their readings; "
        f"{counted(summary.signs, 'sign')} forecast:"
    )
    for basis in SignForecast.Basis:
        if count := summary.bases[basis.value]:
            say(f"      {count:>6,} by {basis.label}")


def _set_lives(agency: Organisation, now: datetime) -> None:
    """Set the invented lives that hold where no reading says anything, once."""
    if ExpectedLife.objects.owned_by(agency).exists():
        return
    for life in words("scenario")["expected_lives"]:
        set_expected_life(
            organisation=agency, by=person_in(agency, Role.ENGINEER), now=now, **life
        )


def _is_forecast(agency: Organisation) -> bool:
    last = (
        ForecastRun.objects.owned_by(agency)
        .filter(stage=ForecastRun.Stage.DONE)
        .order_by("-started_at", "-pk")
        .first()
    )
    if last is None:
        return False
    since = Inspection.objects.owned_by(agency).filter(recorded_at__gt=last.started_at)
    return not since.exists()


def _back_test(
    agency: Organisation,
    now: datetime,
    say: Callable[[str], None],
    progress: Callable[[str, int, int], None],
) -> None:
    made = (
        BackTest.objects.owned_by(agency)
        .filter(finished_at__isnull=False)
        .order_by("-started_at", "-pk")
        .first()
    )
    test = made or run_back_test(
        organisation=agency,
        cut_offs=[date(year, 1, 1) for year in BACK_TEST_YEARS],
        now=now,
        progress=lambda text: progress(text, 0, 0),
    )
    for line in back_test_lines(test)[:BACK_TEST_LINES]:
        say(f"    {line}")
