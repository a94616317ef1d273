"""The back-test of an agency: what was on record by each day, kept day by day."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from inventory.engineering.forecast.backtest import Rival, Tally
from inventory.engineering.forecast.choose import choose_cohort_model
from inventory.engineering.forecast.fit import Scale
from inventory.engineering.forecast.simulate import FleetPlan, simulate_fleet
from inventory.errors import OutOfRangeError
from inventory.models import BackTest
from inventory.services.forecast import backtests
from inventory.services.forecast.back_test_report import (
    RECORDED,
    TAKEN,
    BackTestReport,
    Compared,
    back_test_lines,
    report_of,
)
from inventory.services.forecast.backtests import run_back_test
from tests.factories import NOW, make_agency, make_sign, make_visit

pytestmark = pytest.mark.django_db

WHITE = "IX/prismatic/white/sheeting/unknown/hand_held"
SIGNS = 16
YEARS = (2016, 2018, 2020, 2022, 2024)


@pytest.fixture
def agency():
    return make_agency()


def read_fleet(agency, *, recorded_at=None, signs=SIGNS, years=YEARS):
    """Signs put up in 2014 and 2015, falling 4 % a year, read in each of the years."""
    draw = np.random.default_rng(5)
    made = []
    for number in range(signs):
        sign = make_sign(agency, installed_on=date(2014 + number % 2, 6, 1))
        made.append(sign)
        level = np.exp(draw.normal(5.5, 0.15))
        for year in years:
            age = year - 2014 - number % 2
            value = level * np.exp(-0.04 * age + draw.normal(0, 0.08))
            on = date(year, 6, 1 + number % 20)
            fields = {"recorded_at": recorded_at} if recorded_at else {}
            make_visit(sign, on, values={"white": [round(float(value), 1)]}, **fields)
    return made


def test_later_readings_are_told_from_what_was_on_record_on_each_new_years_day(agency):
    read_fleet(agency)
    told: list[str] = []
    test = run_back_test(organisation=agency, now=NOW, progress=told.append)
    # 30 readings are there from 2018 on; 2020 knows no more than 2019; after 2024 there is
    # nothing to tell.
    assert test.cut_offs == ["2019-01-01", "2021-01-01", "2023-01-01"]
    assert test.finished_at is not None
    report = report_of(test)
    assert (report.done, report.of, report.known_by) == (3, 3, RECORDED)
    assert report.whole is not None
    # Read once each in 2020, 2022 and 2024; told from 1, 2 and 3 days.
    assert report.whole.readings == 3 * SIGNS
    assert report.whole.ours.count == (1 + 2 + 3) * SIGNS
    assert [each.name for each in report.cohorts] == [WHITE]
    assert set(report.whole.told) == set(Rival)
    assert [each.name for each in report.days] == test.cut_offs
    assert report.sentence.startswith(
        "Of 48 later readings, told 96 times from 3 earlier days, "
    )
    assert "48 readings say little yet" in report.verdict
    assert any("1 January 2019 (1 of 3): Type IX white" in each for each in told)
    lines = back_test_lines(test)
    assert lines[0] == report.sentence
    assert any(line.startswith("Type IX white") and "48" in line for line in lines)


def test_a_correction_recorded_later_was_not_known_then(agency):
    signs = read_fleet(agency)
    first = signs[0]
    wrong = first.inspections.order_by("taken_at").first()
    days = [date(2019, 1, 1), date(2022, 1, 1)]
    before = run_back_test(organisation=agency, cut_offs=days, now=NOW)
    # Put right in 2021, to half of what it was: on 1 January 2019 nobody knew.
    make_visit(
        first,
        wrong.taken_at,
        values={"white": [100]},
        corrects=wrong,
        recorded_at=datetime(2021, 3, 1, tzinfo=UTC),
    )
    after = run_back_test(organisation=agency, cut_offs=days, now=NOW)
    assert after.pk != before.pk
    assert after.rows[0] == before.rows[0]
    assert after.rows[1]["cohorts"][0]["known"] == 3 * SIGNS
    assert after.rows[1] != before.rows[1]


def test_a_reading_recorded_after_the_day_it_was_taken_before_is_neither_known_nor_told(agency):
    signs = read_fleet(agency)
    make_visit(
        signs[0],
        date(2018, 12, 20),
        values={"white": [230]},
        recorded_at=datetime(2019, 1, 5, tzinfo=UTC),
    )
    test = run_back_test(organisation=agency, cut_offs=[date(2019, 1, 1)], now=NOW)
    (cohort,) = test.rows[0]["cohorts"]
    assert (cohort["known"], cohort["later"]) == (2 * SIGNS, 3 * SIGNS)


def test_signs_put_up_later_or_without_age_and_reading_are_not_told(agency):
    read_fleet(agency)
    newer = make_sign(agency, installed_on=date(2021, 6, 1))
    make_visit(newer, date(2022, 6, 1), values={"white": [260]})
    ageless = make_sign(agency, installed_on=None)
    make_visit(ageless, date(2022, 6, 1), values={"white": [260]})
    unread = make_sign(agency, installed_on=date(2015, 6, 1))
    make_visit(unread, date(2022, 6, 1), values={"white": [200]})
    test = run_back_test(organisation=agency, cut_offs=[date(2019, 1, 1)], now=NOW)
    (cohort,) = test.rows[0]["cohorts"]
    assert cohort["later"] == 3 * SIGNS + 1
    assert test.rows[0]["left_out"] == {backtests.NOT_STARTED: 1}
    report = report_of(test)
    assert report.unread is not None
    assert report.unread.ours.count == 1


def test_readings_imported_in_one_go_count_from_the_day_they_were_taken(agency):
    read_fleet(agency, recorded_at=NOW - timedelta(days=1))
    test = run_back_test(organisation=agency, now=NOW)
    report = report_of(test)
    assert report.known_by == TAKEN
    assert report.whole is not None
    assert report.whole.readings == 3 * SIGNS
    assert any("long after they were taken" in line for line in back_test_lines(test))


def test_a_back_test_broken_off_goes_on_where_it_was(agency):
    read_fleet(agency)
    whole = run_back_test(organisation=agency, now=NOW)

    def break_off(words):
        if "3 of 3" in words:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_back_test(organisation=agency, now=NOW, progress=break_off)
    half = BackTest.objects.owned_by(agency).get(finished_at__isnull=True)
    assert [row["cut_off"] for row in half.rows] == ["2019-01-01", "2021-01-01"]
    assert report_of(half).done == 2
    begun: list[str] = []
    test = run_back_test(
        organisation=agency, now=NOW + timedelta(days=9), progress=begun.append
    )
    assert test.pk == half.pk
    assert not any("1 of 3" in words for words in begun)
    assert (test.rows, test.summary) == (whole.rows, whole.summary)


def test_other_days_begin_anew(agency):
    read_fleet(agency)

    def break_off(words):
        if "of 2" in words:
            raise KeyboardInterrupt

    days = [date(2019, 1, 1), date(2021, 1, 1)]
    for _twice in range(2):
        with pytest.raises(KeyboardInterrupt):
            run_back_test(organisation=agency, cut_offs=days, now=NOW, progress=break_off)
    half = BackTest.objects.owned_by(agency).get()
    test = run_back_test(organisation=agency, cut_offs=days[:1], now=NOW)
    assert test.cut_offs == ["2019-01-01"]
    assert not BackTest.objects.filter(pk=half.pk).exists()


def test_a_fleet_that_was_hardly_read_says_what_it_takes(agency):
    read_fleet(agency, signs=2)
    test = run_back_test(organisation=agency, now=NOW)
    assert (test.cut_offs, test.rows) == ([], [])
    assert "it takes signs that were read" in report_of(test).sentence
    assert back_test_lines(test) == [report_of(test).sentence]
    assert report_of(test).verdict == report_of(test).comparison == ""


def test_a_cohort_of_too_few_readings_is_counted_as_left_out(agency):
    read_fleet(agency, signs=4)
    test = run_back_test(organisation=agency, cut_offs=[date(2017, 1, 1)], now=NOW)
    assert test.rows[0]["cohorts"] == []
    assert test.rows[0]["left_out"] == {backtests.TOO_FEW_KNOWN: 16}


def test_a_cohort_without_any_known_age_is_counted_as_left_out(agency):
    for number in range(12):
        sign = make_sign(agency, installed_on=None)
        for year in (2018, 2022):
            make_visit(sign, date(year, 6, 1), values={"white": [240 - number]})
    test = run_back_test(organisation=agency, cut_offs=[date(2019, 1, 1)], now=NOW)
    assert test.rows[0]["left_out"] == {backtests.NO_AGE_KNOWN: 12}


def test_a_day_to_come_is_refused(agency):
    with pytest.raises(OutOfRangeError, match="2031-01-01 is not past"):
        run_back_test(organisation=agency, cut_offs=[date(2031, 1, 1)], now=NOW)


def test_another_agencys_readings_play_no_part(agency):
    read_fleet(agency)
    other = make_agency("Birch County")
    read_fleet(other, signs=3)
    alone = run_back_test(organisation=agency, now=NOW)
    whole = report_of(alone).whole
    assert whole is not None
    assert whole.readings == 3 * SIGNS


def test_a_model_is_chosen_again_once_there_are_half_as_many_readings_more(agency, monkeypatch):
    # 32 readings on the first day, 48 on the next, 64 on the last.
    read_fleet(agency)
    chosen = []

    def choose(known, **options):
        chosen.append(len(known))
        return choose_cohort_model(known, **options)

    monkeypatch.setattr(backtests, "choose_cohort_model", choose)
    test = run_back_test(organisation=agency, now=NOW)
    assert chosen == [32, 48]
    models = [row["cohorts"][0]["model"]["chosen_of"] for row in test.rows]
    assert models == [32, 48, 48]


def test_a_model_kept_is_fitted_to_what_is_known_now():
    fleet = simulate_fleet(FleetPlan(signs=200, bend=0.2), 3).observations
    facing = replace(fleet, quadrant=np.arange(fleet.sign_count) % 4)
    kept = {
        "scale": "plain",
        "shape": "curved",
        "quadrant": True,
        "district": False,
        "chosen_of": len(fleet),
    }
    fit, model = backtests._fit(facing, session_sd=None, before=kept)
    assert model is kept
    assert (fit.scale, fit.shape.name, fit.covariates.uses_quadrant) == (
        Scale.PLAIN,
        "curved",
        True,
    )
    # All read at one age: no curve can be drawn through it, so a line stands in.
    alike = replace(fleet, age_years=np.full(len(fleet), 3.0))
    fit, _model = backtests._fit(alike, session_sd=None, before=kept | {"quadrant": False})
    assert fit.shape.name == "linear"


def compared(name, *, inside=900, below=100, said=100.0, readings=1_000):
    tally = Tally(
        count=1_000,
        inside=inside,
        seen_sum=200_000.0,
        crps_sum=10_000.0,
        judged=1_000,
        below=below,
        said_below_sum=said,
    )
    return Compared(name, readings, dict.fromkeys(Rival, tally))


@pytest.mark.parametrize(
    ("inside", "readings", "said"),
    [
        (849, 1_000, "too narrow"),
        (850, 1_000, "may be taken at their word."),
        (950, 1_000, "may be taken at their word."),
        (951, 1_000, "wider than they had to be"),
        (700, 99, "99 readings say little yet"),
    ],
)
def test_what_follows_for_due_dates_is_said_by_the_share_in_range(inside, readings, said):
    whole = compared("", inside=inside, readings=readings)
    assert said in BackTestReport(RECORDED, 1, 1, whole=whole).verdict


def test_too_narrow_ranges_far_ahead_are_said_though_all_together_hold():
    far = compared("over 5 years", inside=810)
    thin = compared("3 to 5 years", inside=500, readings=20)
    report = BackTestReport(RECORDED, 1, 1, whole=compared(""), horizons=[thin, far])
    assert "too narrow for readings told over 5 years (81.0 %) ahead" in report.verdict


@pytest.mark.parametrize(
    ("below", "said"),
    [(200, "due dates came too late"), (110, "about as many as told"), (60, "came early")],
)
def test_more_below_than_told_means_that_due_dates_came_too_late(below, said):
    report = BackTestReport(
        RECORDED, 1, 1, whole=compared(""), next_ones=compared("", below=below)
    )
    assert said in report.below_sentence
    few = BackTestReport(RECORDED, 1, 1, next_ones=compared("", below=19))
    assert few.below_sentence == ""
