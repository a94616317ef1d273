"""A round of forecasting: what is stored, kept, refused, raced and taken up again."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import StateConflictError
from inventory.models import CohortFit, ForecastRun, Organisation, Sign, SignForecast, Standing
from inventory.services.assessment import assess_signs, mark_due
from inventory.services.forecast import fitting, storing
from inventory.services.forecast.expected_lives import set_expected_life
from inventory.services.forecast.refreshing import RefreshSummary, refresh_forecasts
from inventory.services.forecast.runs import begin_run
from inventory.services.people import set_policy
from tests.factories import NOW, make_agency, make_sign, make_visit
from tests.races import at_once
from tests.services.forecast.fleet import TODAY, read_fleet

pytestmark = pytest.mark.django_db

WHITE = "IX/prismatic/white/sheeting/unknown/hand_held"


@pytest.fixture
def agency():
    return make_agency()


def refresh(agency: Organisation, now: datetime = NOW, **how) -> RefreshSummary:
    return refresh_forecasts(organisation=agency, now=now, **how)


def forecast_of(sign):
    return SignForecast.objects.get(sign=sign)


def test_each_sign_has_a_due_date_with_its_colour_basis_and_sentence(agency):
    signs = read_fleet(agency)
    summary = refresh(agency)
    assert (summary.cohorts, summary.fitted, summary.signs) == (2, 2, 12)
    assert summary.bases == {"own_readings": 12}
    oldest = forecast_of(signs[-1])
    assert (oldest.end, oldest.color, oldest.basis) == ("level", "white", "own_readings")
    assert oldest.due_early_on <= oldest.due_on <= oldest.due_late_on
    assert len(oldest.probabilities_below) == 30
    assert oldest.level_cd_lx_m2 == 35.0  # MUTCD 11th edition (2023) Table 2A-5, white on red
    assert oldest.ra_low_cd_lx_m2 < oldest.ra_cd_lx_m2 < oldest.ra_high_cd_lx_m2
    assert "white falls below 35 cd/lx/m²" in forecast_of(signs[0]).sentence
    assert oldest.fit == CohortFit.objects.get(key=WHITE)
    red, white = oldest.colors
    assert (red["color"], white["color"]) == ("red", "white")
    assert len(white["state"]) == 5
    assert white["due_on"] == oldest.due_on.isoformat()
    assert white["is_level_verified"] is True
    standing = Standing.objects.get(sign=signs[-1])
    assert standing.forecast_due_on == oldest.due_on
    run = ForecastRun.objects.get()
    assert (run.stage, run.counts["remade"]) == ("done", 12)
    assert {"losses", "fades"} <= run.counts.keys()


def test_a_fit_says_what_it_was_made_from(agency):
    read_fleet(agency)
    refresh(agency)
    fit = CohortFit.objects.get(key=WHITE)
    assert (fit.sign_count, fit.visit_count, fit.unknown_age_count) == (12, 24, 0)
    assert fit.newest_reading_on == date(2026, 5, 20)
    assert (fit.sheeting_type, fit.optics, fit.color) == ("IX", "prismatic", "white")
    assert fit.scores["reason"]
    assert fit.scores["models"] == []  # too few readings to compare models on
    assert fit.parameters["lots_known"] == {"signs": 0, "lots": 0}
    assert fit.life["level_cd_lx_m2"] == 35.0
    assert len(fit.cloud["ages_years"]) == 24
    counts = fit.life["due_counts"]
    assert (counts["as_of_on"], counts["first_year"]) == ("2026-06-01", 2026)
    governed = SignForecast.objects.filter(fit=fit, end="level").count()
    assert governed > 0
    assert counts["by_class"]["1"]["signs"] == governed
    assert fit.left_out == {}


def test_a_second_round_changes_nothing_and_fits_nothing(agency, monkeypatch):
    read_fleet(agency)
    refresh(agency)
    before = list(SignForecast.objects.order_by("sign").values())

    def refuse(*_args, **_how):
        pytest.fail("nothing changed, so nothing is fitted")

    monkeypatch.setattr(fitting, "choose_cohort_model", refuse)
    monkeypatch.setattr(fitting, "fit_again", refuse)
    again = refresh(agency, NOW + timedelta(days=1))
    assert (again.fitted, again.unchanged, again.remade) == (0, 2, 0)
    assert list(SignForecast.objects.order_by("sign").values()) == before


def test_a_reading_refits_its_cohort_alone_and_the_old_fit_stays(agency):
    signs = read_fleet(agency)
    refresh(agency)
    old = CohortFit.objects.get(key=WHITE)
    make_visit(signs[3], NOW, values={"white": [41.0]})
    later = NOW + timedelta(hours=1)
    again = refresh(agency, later)
    assert (again.fitted, again.unchanged, again.remade) == (1, 1, 12)
    old.refresh_from_db()
    assert (old.succeeded_at, old.cloud) == (later, {})
    new = CohortFit.objects.get(key=WHITE, succeeded_at__isnull=True)
    assert new.visit_count == 25


def test_a_new_month_remakes_every_forecast_from_the_fits_that_are_stored(agency, monkeypatch):
    signs = read_fleet(agency)
    refresh(agency)
    before = forecast_of(signs[0])

    def refuse(*_args, **_how):
        pytest.fail("no reading changed")

    monkeypatch.setattr(fitting, "choose_cohort_model", refuse)
    again = refresh(agency, NOW + timedelta(days=31))
    assert (again.fitted, again.remade) == (0, 12)
    after = forecast_of(signs[0])
    assert after.as_of_on == date(2026, 7, 2)
    assert after.ra_cd_lx_m2 < before.ra_cd_lx_m2
    assert abs((after.due_on - before.due_on).days) < 40


def test_a_changed_level_remakes_what_it_concerns(agency):
    signs = read_fleet(agency)
    refresh(agency)
    signs[0].sign_code = "R1-2"
    signs[0].save()
    areas = signs[0].colour_areas
    areas.filter(color="red").update(color="white", part="background")
    areas.filter(number=2).update(color="black", part="legend")
    assess_signs(organisation=agency, now=NOW + timedelta(hours=1))
    assert refresh(agency, NOW + timedelta(hours=2)).remade >= 1
    assert forecast_of(signs[0]).sign_id == signs[0].pk


def test_changed_rules_remake_all_and_a_greater_probability_is_later(agency):
    signs = read_fleet(agency)
    refresh(agency)
    before = forecast_of(signs[0]).due_on
    set_policy(
        agency=agency,
        effective_on=date(2026, 6, 1),
        edition="11th-2023",
        basis="decided",
        due_probability=0.5,
        now=NOW,
    )
    assert refresh(agency, NOW + timedelta(hours=1)).remade == 12
    assert forecast_of(signs[0]).due_on > before


def test_a_sign_not_read_itself_goes_by_its_cohort(agency):
    read_fleet(agency)
    unread = make_sign(agency, installed_on=date(2024, 1, 1))
    assess_signs(organisation=agency, now=NOW)
    refresh(agency)
    found = forecast_of(unread)
    assert found.basis == "cohort"
    assert "it was not read itself" in found.sentence


def test_a_sign_of_unknown_age_that_was_never_read_has_nothing_to_go_by(agency):
    read_fleet(agency)
    bare = make_sign(agency, installed_on=None)
    unknown = make_sign(agency, colours=())
    refresh(agency)
    found = forecast_of(bare)
    assert (found.basis, found.due_on, found.color) == ("none", None, "")
    assert found.sentence == "No reading and no known age: nothing to go by. Read it once."
    assert "colours are not on record" in forecast_of(unknown).sentence


def test_a_sign_of_unknown_age_goes_by_its_own_readings(agency):
    read_fleet(agency)
    sign = make_sign(agency, installed_on=None)
    make_visit(sign, date(2024, 5, 1), values={"white": [52], "red": [12]})
    assess_signs(organisation=agency, now=NOW)
    refresh(agency)
    found = forecast_of(sign)
    assert found.basis == "own_readings"
    assert found.colors[1]["is_age_known"] is False


def test_without_a_reading_the_agencys_expected_life_holds_with_its_basis(agency):
    sign = make_sign(agency, installed_on=date(2020, 6, 1))
    assess_signs(organisation=agency, now=NOW)
    refresh(agency)
    assert forecast_of(sign).basis == "none"
    set_expected_life(
        organisation=agency,
        end="level",
        years=12,
        basis="an invented trial",
        approved_by="the engineer",
        effective_on=TODAY,
        now=NOW,
    )
    assert refresh(agency, NOW + timedelta(hours=1)).remade == 1
    found = forecast_of(sign)
    assert (found.basis, found.end) == ("agency_life", "level")
    assert found.due_on == date(2032, 6, 1)
    assert found.due_early_on is None
    assert "expected life of 12 years" in found.sentence
    assert "an invented trial" in found.sentence


def test_fade_is_an_end_of_its_own_and_governs_where_it_comes_first(agency):
    signs = read_fleet(agency)
    set_expected_life(
        organisation=agency,
        end="fade",
        color="red",
        years=4.5,
        basis="an invented trial",
        approved_by="the engineer",
        effective_on=TODAY,
        now=NOW,
    )
    refresh(agency)
    found = forecast_of(signs[0])
    assert (found.end, found.color, found.basis) == ("fade", "red", "agency_life")
    assert "red fades" in found.sentence


def test_a_sign_taken_down_loses_its_forecast(agency):
    signs = read_fleet(agency)
    refresh(agency)
    Sign.objects.filter(pk=signs[0].pk).update(
        state="removed", removed_on=TODAY, removal_reason="aged"
    )
    assert refresh(agency, NOW + timedelta(hours=1)).dropped == 1
    assert not SignForecast.objects.filter(sign=signs[0]).exists()


def test_a_sign_due_within_the_agencys_months_is_due_soon_and_stays_so_when_judged(agency):
    signs = read_fleet(agency)
    refresh(agency)
    soon = Standing.objects.filter(is_due_soon=True)
    limit = date(2027, 6, 1)
    expected = set(
        SignForecast.objects.filter(due_on__lte=limit).values_list("sign", flat=True)
    )
    assert 0 < len(expected) < len(signs)
    assert set(soon.values_list("sign", flat=True)) == expected
    assess_signs(organisation=agency, now=NOW + timedelta(hours=1))
    assert set(soon.values_list("sign", flat=True)) == expected
    mark_due(organisation=agency, now=NOW + timedelta(days=365 * 10))
    due = SignForecast.objects.filter(due_on__isnull=False)
    assert soon.count() == due.count()


def test_a_second_round_at_the_same_time_is_refused_and_a_cut_off_one_is_taken_over(agency):
    read_fleet(agency, 3)
    under_way = begin_run(organisation=agency, by=None, now=NOW)
    with pytest.raises(StateConflictError, match="is under way since 2026-06-01 12:00"):
        refresh(agency)
    old = under_way.run.seen_at - timedelta(minutes=16)
    ForecastRun.objects.filter(pk=under_way.run.pk).update(seen_at=old)
    assert refresh(agency).signs == 3
    with pytest.raises(StateConflictError, match="was taken over by another"):
        under_way.hold(done=1)
    assert ForecastRun.objects.filter(finished_at__isnull=True).count() == 0
    assert sorted(ForecastRun.objects.values_list("stage", flat=True)) == ["done", "gathering"]


def test_a_round_that_broke_off_goes_on_where_it_was(agency, monkeypatch):
    read_fleet(agency)
    monkeypatch.setattr(storing, "SIGNS_PER_STEP", 5)
    seen: list[tuple[str, int, int]] = []

    def stop_at_10(stage: str, done: int, total: int) -> None:
        seen.append((stage, done, total))
        if (stage, done) == ("forecasting signs", 10):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        refresh(agency, progress=stop_at_10)
    assert seen[-1] == ("forecasting signs", 10, 12)
    assert SignForecast.objects.count() == 10
    run = ForecastRun.objects.get()
    assert (run.stage, run.finished_at is None) == ("signs", False)
    again = refresh(agency, NOW + timedelta(minutes=1))
    assert (again.fitted, again.remade, again.signs) == (0, 2, 12)
    assert ForecastRun.objects.filter(stage="done").count() == 1


def test_forced_every_cohort_is_fitted_again(agency):
    read_fleet(agency)
    refresh(agency)
    assert refresh(agency, NOW + timedelta(hours=1), is_forced=True).fitted == 2


def test_the_number_of_queries_grows_with_cohorts_not_with_signs(agency):
    read_fleet(agency, 4)
    refresh(agency)
    with CaptureQueriesContext(
        connection,
    ) as few:
        refresh(agency, NOW + timedelta(days=31))
    read_fleet(agency, 12, seed=1)
    refresh(agency, NOW + timedelta(days=32))
    with CaptureQueriesContext(connection) as many:
        refresh(agency, NOW + timedelta(days=62))
    # one or two more statements, where a database takes so many rows in each
    assert len(many) <= len(few) + 2


@pytest.mark.django_db(transaction=True)
def test_of_two_rounds_begun_at_the_same_moment_one_is_refused(agency):
    read_fleet(agency, 3)
    outcomes = at_once(lambda: refresh(agency), lambda: refresh(agency))
    refused = [each for each in outcomes if each is not None]
    assert len(refused) <= 1
    assert all("is under way" in str(each) for each in refused)
    assert SignForecast.objects.count() == 3
    assert CohortFit.objects.filter(succeeded_at__isnull=True).count() == 2
