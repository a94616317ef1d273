"""How many signs fall due in each year, put together from stored counts."""

from datetime import date
from typing import Any

import pytest

from inventory.engineering.forecast.count_range import count_range
from inventory.models import ForecastRun
from inventory.services.forecast.due_outlook import due_outlook
from tests.factories import NOW, make_agency, make_sign, make_standing
from tests.web.forecast_records import color_of, make_fit, make_forecast

pytestmark = pytest.mark.django_db

TODAY = NOW.date()  # 1 June 2026
YELLOW = "IV/prismatic/yellow/sheeting/none/hand_held"


def counts(by_class, first_year=2026):
    return {"due_counts": {"as_of_on": "2026-06-01", "first_year": first_year, **by_class}}


def of_class(expected, shared_sd, sd, already=0.0):
    return {"expected": expected, "shared_sd": shared_sd, "sd": sd, "already": already}


@pytest.fixture
def agency():
    return make_agency()


def forecast(agency, due_on, **fields):
    sign = make_sign(agency)
    make_standing(sign)
    dates = {"due_on": due_on, "due_early_on": due_on}
    return make_forecast(sign, [color_of(None)], **dates | fields)


def test_what_cohorts_expect_of_a_year_adds_up_and_so_does_their_variance(agency):
    make_fit(
        agency, life=counts({"by_class": {"1": of_class([4.0, 10.0], [0.0, 3.0], [1.5, 4.0])}})
    )
    make_fit(agency, YELLOW, life=counts({"by_class": {"1": of_class([1.0], [0.5], [1.0])}}))
    first, second, third = due_outlook(organisation=agency, today=TODAY).years[:3]
    low, high = count_range(5.0, 1.5**2 + 1.0**2)
    assert (first.year, first.total.mean, first.total.low, first.total.high) == (
        2026,
        5.0,
        low,
        high,
    )
    assert (second.total.low, second.total.high) == count_range(10.0, 16.0)
    assert second.of_class[1] == second.total
    assert (third.total.mean, third.total.low, third.total.high) == (0.0, 0, 0)


def test_classes_of_one_cohort_err_the_same_way(agency):
    # Each class 10 ± 3 that is shared and 4 of its own variance: of the sum 20, the shared
    # deviations add to 6, so that its variance is 4 + 4 + 36.
    one = of_class([10.0], [3.0], [13.0**0.5])
    make_fit(agency, life=counts({"by_class": {"1": one, "2": one}}))
    first = due_outlook(organisation=agency, today=TODAY).years[0]
    assert (first.total.low, first.total.high) == count_range(20.0, 44.0)
    assert (first.of_class[2].low, first.of_class[2].high) == count_range(10.0, 13.0)


def test_counts_of_last_year_still_hold_until_they_are_made_again(agency):
    numbers = of_class([2.0, 3.0, 5.0], [0.0] * 3, [1.0] * 3)
    make_fit(agency, life=counts({"by_class": {"3": numbers}}, first_year=2025))
    first, second = due_outlook(organisation=agency, today=TODAY).years[:2]
    assert (first.total.mean, second.total.mean) == (5.0, 5.0)


def test_a_sign_that_goes_by_its_age_or_fade_is_added_with_certainty(agency):
    forecast(agency, date(2027, 3, 1), basis="agency_life", safety_class=2)
    forecast(agency, date(2027, 9, 1), end="fade")
    forecast(agency, date(2027, 9, 1))  # its own readings: in the counts of its cohort
    year = due_outlook(organisation=agency, today=TODAY).years[1]
    assert (year.by_age, year.due_dates) == (2, 3)
    assert (year.total.mean, year.total.low, year.total.high) == (2.0, 2, 2)
    assert (year.of_class[1].mean, year.of_class[2].mean) == (1.0, 1.0)


def test_what_has_no_date_is_told_apart_from_what_is_not_known(agency):
    forecast(agency, None)
    forecast(agency, None, basis="none")
    forecast(agency, date(2025, 1, 1), basis="agency_life")
    forecast(agency, TODAY)
    forecast(agency, date(2026, 6, 2))
    make_standing(make_sign(agency), is_due=True)
    seen = due_outlook(organisation=agency, today=TODAY)
    assert (seen.not_within, seen.nothing, seen.dates_by_now, seen.due_now) == (1, 1, 2, 1)
    assert (seen.years[0].due_dates, seen.years[0].by_age) == (1, 0)
    assert seen.count_of_basis["agency_life"] == 1
    assert (seen.sign_count, seen.made_at, seen.lost_a_year) == (5, None, None)
    assert not seen.is_counted


def test_the_losses_of_the_newest_round_stand_apart(agency):
    # 20 lost in 1,000 sign-years; 500 signs stand: 10 a year.
    losses: dict[str, Any] = {
        "as_of_on": "2026-06-01",
        "rows": [[None, None, 500, 20, 1000.0]],
        "reasons": [],
        "left_out": [],
        "begins_at_years": None,
        "curve": [[], [], [], []],
        "years": [],
    }
    ForecastRun.objects.create(
        organisation=agency,
        started_at=NOW,
        seen_at=NOW,
        finished_at=NOW,
        stage="done",
        counts={"losses": losses},
    )
    seen = due_outlook(organisation=agency, today=TODAY)
    assert seen.made_at == NOW
    assert seen.lost_a_year is not None
    assert seen.lost_a_year.mean == pytest.approx(10.0)
    assert seen.lost_a_year.low < 10 < seen.lost_a_year.high


def test_a_larger_fleet_takes_no_more_queries(agency, django_assert_num_queries):
    for n in range(12):
        forecast(agency, date(2027 + n, 5, 1))
    make_fit(agency, life=counts({"by_class": {"1": of_class([1.0], [0.0], [1.0])}}))
    forecast(make_agency(), date(2027, 5, 1))
    with django_assert_num_queries(4):
        seen = due_outlook(organisation=agency, today=TODAY)
    assert [each.due_dates for each in seen.years[1:13]] == [1] * 12
