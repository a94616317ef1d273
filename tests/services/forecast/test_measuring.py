"""Which signs are read this season: open decisions first, what is settled or on order not."""

from __future__ import annotations

from datetime import date

import pytest

from inventory.engineering.forecast.measuring import DecisionWeights
from inventory.engineering.forecast.reading_round import CrewTimes
from inventory.models import Standing
from inventory.services.forecast import measuring
from inventory.services.forecast.measuring import (
    MOST_SIGNS,
    programme_years,
    signs_to_read,
)
from inventory.services.work_packages import MOST_STOPS, WantedStop, close_package, make_package
from tests.factories import (
    make_agency,
    make_position,
    make_released_order,
    make_shop,
    make_sign,
    make_standing,
    make_support,
)
from tests.web.forecast_records import AGE_YEARS, color_of, make_fit, make_forecast

pytestmark = pytest.mark.django_db

TODAY = date(2026, 12, 1)
HOUR = 60.0


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def fit(agency):
    return make_fit(agency)


def state_at(level_log, spread=0.15):
    """A state whose level now lies here on the log scale, falling 4 % a year."""
    return [level_log, -0.04, spread**2, 0.0, 0.0001]


def put_up(agency, *, latitude_deg=43.0, position=None, safety_class=2):
    if position is None:
        support = make_support(agency, latitude_deg=latitude_deg)
        position = make_position(agency, support=support)
    sign = make_sign(agency, position=position)
    make_standing(sign, safety_class=safety_class)
    return sign


def forecast(sign, fit, *, level_log=4.95, due_on="2027-05-01", colors=None, **fields):
    """Store a forecast: by default about as bright as its level of 120 (log 4.79) wants it."""
    given = colors
    if given is None:
        given = [color_of(fit, state=state_at(level_log), due_on=due_on)]
    made = make_forecast(
        sign,
        given,
        due_on=due_on,
        due_early_on="2026-12-05" if due_on else None,
        due_late_on="2040-01-01" if due_on else None,
        as_of_on=TODAY,
        **fields,
    )
    Standing.objects.filter(sign=sign).update(forecast_due_on=due_on)
    return made


def season(agency, *, hours=8.0, **more):
    return signs_to_read(
        organisation=agency,
        standings=Standing.objects.owned_by(agency),
        crew_minutes=hours * HOUR,
        today=TODAY,
        **more,
    )


def chosen(found):
    return [each.sign_id for each in found.signs]


def test_a_round_fits_into_one_work_package():
    assert MOST_SIGNS == MOST_STOPS


@pytest.mark.parametrize(
    ("today", "years"),
    [
        (date(2026, 12, 1), (2027, 2028)),
        (date(2027, 6, 30), (2027, 2028)),
        (date(2027, 7, 1), (2028, 2029)),
    ],
)
def test_the_next_two_programme_years_are_decided(today, years):
    assert programme_years(today) == years


def test_open_decisions_come_before_settled_ones(agency, fit):
    is_open, bright, lost = (put_up(agency) for _each in range(3))
    forecast(is_open, fit)
    forecast(bright, fit, level_log=5.9)
    forecast(lost, fit, level_log=3.5)
    found = season(agency)
    assert chosen(found)[0] == is_open.pk
    assert {each.sign_id: each.value for each in found.signs}.get(bright.pk, 0.0) < 1e-6
    first = found.signs[0]
    assert first.year in (2027, 2028)
    assert first.color == "white"
    assert "is open" in first.reason
    assert "white is below its level" in first.reason
    assert found.looked_at == 3


def test_the_reason_says_chance_decision_and_how_often_it_turns(agency, fit):
    sign = put_up(agency)
    forecast(sign, fit, level_log=5.05)
    (only,) = season(agency).signs
    percent = round(100 * only.probability_below)
    assert f"{percent}\N{NO-BREAK SPACE}% chance that white is below" in only.reason
    assert only.is_replaced_now == (only.probability_below >= 0.2)
    assert ("to be replaced" in only.reason) == only.is_replaced_now
    assert f"in {round(100 * only.flip)} of 100 cases" in only.reason
    assert (
        only.note == f"Decides {only.year}: {percent}\N{NO-BREAK SPACE}% chance of being below."
    )


def test_the_colour_that_is_most_probably_below_decides(agency, fit):
    # Red is gone for certain: however open white is, the sign is to be replaced.
    sign = put_up(agency)
    red = color_of(fit, "red", state=state_at(3.0, spread=0.02))
    white = color_of(fit, state=state_at(5.0))
    forecast(sign, fit, colors=[white, red])
    assert season(agency).signs == ()
    # Two open colours: the one more probably below tells.
    both = put_up(agency)
    forecast(both, fit, colors=[color_of(fit, "red", state=state_at(5.05)), white])
    (only,) = season(agency).signs
    assert only.color == "white"


def test_class_weighs_where_decisions_are_as_open(agency, fit):
    guide, stop = put_up(agency, safety_class=4), put_up(agency, safety_class=1)
    for sign in (guide, stop):
        forecast(sign, fit)
    found = season(agency)
    assert chosen(found) == [stop.pk, guide.pk]
    assert found.signs[0].value == pytest.approx(8 * found.signs[1].value)
    even = DecisionWeights(dict.fromkeys((1, 2, 3, 4), 1.0))
    first, second = season(agency, weights=even).signs
    assert first.value == pytest.approx(second.value)


def test_signs_of_one_support_share_the_stop_and_the_way_counts(agency, fit):
    support = make_support(agency)
    pair = [
        put_up(agency, position=make_position(agency, support=support, facing_deg=facing))
        for facing in (0, 180)
    ]
    far = put_up(agency, latitude_deg=43.9)
    for sign in (*pair, far):
        forecast(sign, fit)
    found = season(agency, hours=0.5)
    assert set(chosen(found)) == {sign.pk for sign in pair}
    assert found.stops == 1
    assert found.total_minutes == 5 + 2 * 4
    # 0.9° of latitude are 100 km: some 195 minutes by the assumed way and speed.
    wide = season(agency)
    assert set(chosen(wide)) == {sign.pk for sign in (*pair, far)}
    assert wide.travel_minutes == pytest.approx(100.08 * 1.3 / 40 * 60, rel=0.01)
    assert wide.share == pytest.approx(1.0)
    quick = season(agency, times=CrewTimes(speed_km_h=80.0))
    assert quick.travel_minutes == pytest.approx(wide.travel_minutes / 2)


def test_a_sign_with_nothing_to_go_by_is_taken_as_the_others_are(agency, fit):
    known, unknown = put_up(agency), put_up(agency)
    forecast(known, fit, level_log=4.95, probability_below=0.12)
    forecast(unknown, fit, colors=[], due_on=None, basis="none", probability_below=None)
    found = season(agency)
    assert set(chosen(found)) == {known.pk, unknown.pk}
    assert found.unread == 1
    told = next(each for each in found.signs if each.sign_id == unknown.pk)
    # The chance of the one sign that was read.
    assert told.probability_below == pytest.approx(0.12)
    assert "a first reading starts its forecast" in told.reason
    assert told.note == "First reading."


def test_where_nothing_was_ever_read_a_first_reading_is_as_open_as_can_be(agency):
    sign = put_up(agency)
    forecast(sign, None, colors=[], due_on=None, basis="none")
    (only,) = season(agency).signs
    assert only.probability_below == pytest.approx(0.2)  # the agency's due probability
    assert only.value > 0


def test_an_agencys_expected_life_is_decided_by_its_stored_chances(agency):
    sign = put_up(agency)
    life = color_of(None, basis="agency_life", due_on="2027-05-01")
    forecast(
        sign, None, colors=[life], basis="agency_life", probabilities_below=[0.1, 0.3, 0.6, 0.9]
    )
    (only,) = season(agency).signs
    assert (only.year, only.probability_below) in {(2027, 0.3), (2028, 0.6)}
    assert "Not read yet: a reading turns" in only.reason
    assert "it has come to its end" in only.reason


def test_an_expected_life_without_chances_is_half_over_at_its_end(agency):
    ends, lasts = put_up(agency), put_up(agency)
    for sign, due_on in ((ends, "2027-05-01"), (lasts, "2031-05-01")):
        life = color_of(None, basis="agency_life", due_on=due_on)
        forecast(sign, None, colors=[life], basis="agency_life", due_on=due_on)
    told = {each.sign_id: each for each in season(agency).signs}
    assert told[ends.pk].probability_below == 0.5
    assert told[lasts.pk].probability_below == pytest.approx(0.2)  # nothing was read at all
    assert "goes by the agency's expected life alone" in told[lasts.pk].reason
    assert told[lasts.pk].note == "First reading."


def test_what_is_on_order_or_a_stop_to_read_already_is_left_out(agency, fit):
    on_order, on_package, free = (put_up(agency) for _each in range(3))
    for sign in (on_order, on_package, free):
        forecast(sign, fit)
    make_released_order(agency, make_shop("Tern Signs", agency), [on_order])
    package = make_package(
        organisation=agency,
        title="Round",
        work_on=TODAY,
        stops=[WantedStop(on_package.position, "read")],
    )
    assert chosen(season(agency)) == [free.pk]
    close_package(package=package)
    assert set(chosen(season(agency))) == {on_package.pk, free.pk}


def test_signs_that_no_reading_of_the_agency_decides_are_left_out(agency, fit):
    signs = [put_up(agency) for _each in range(5)]
    for sign in signs:
        forecast(sign, fit)
    for sign, verdict in zip(signs, measuring.NOT_DECIDED_BY_READING, strict=False):
        Standing.objects.filter(sign=sign).update(verdict=verdict)
    Standing.objects.filter(sign=signs[3]).update(responsible="private")
    assert chosen(season(agency)) == [signs[4].pk]


def test_another_agencys_signs_are_never_chosen(agency, fit):
    other = make_agency("Birch County")
    forecast(put_up(other), make_fit(other))
    assert season(agency).signs == ()


def test_candidates_are_bounded_and_it_is_said(agency, fit, monkeypatch):
    monkeypatch.setattr(measuring, "MOST_FORECAST", 2)
    signs = [put_up(agency) for _each in range(3)]
    for sign, due_on in zip(signs, ("2027-03-01", "2029-03-01", "2027-02-01"), strict=True):
        forecast(sign, fit, due_on=due_on)
    found = season(agency)
    assert found.is_bounded
    assert set(chosen(found)) == {signs[0].pk, signs[2].pk}


def test_the_queries_do_not_grow_with_the_signs(agency, fit, django_assert_num_queries):
    for number in range(12):
        forecast(put_up(agency, latitude_deg=43.0 + number / 100), fit)
    # Rules, signs with due dates, signs without, the fits.
    with django_assert_num_queries(4):
        assert len(season(agency, hours=40.0).signs) == 12


def test_a_fit_of_an_older_method_is_left_alone(agency, fit):
    sign = put_up(agency)
    forecast(sign, fit, probabilities_below=[0.1, 0.2, 0.3, 0.4])
    fit.parameters["method"] = "forecast-0"
    fit.method_version = "forecast-0"
    fit.save()
    (only,) = season(agency).signs
    assert only.probability_below in (0.2, 0.3)


def test_ages_are_those_of_the_day_of_the_forecast(agency, fit):
    sign = put_up(agency)
    forecast(sign, fit)
    assert sign.forecast.colors[0]["age_years"] == AGE_YEARS
    (now,) = season(agency).signs
    sign.forecast.as_of_on = date(2026, 6, 1)
    sign.forecast.save()
    (earlier,) = season(agency).signs
    # Told half a year before: the decline to the end of the year is longer.
    assert earlier.probability_below > now.probability_below
