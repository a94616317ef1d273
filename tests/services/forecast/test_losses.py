"""Faces lost: what counts, from when, by class and road."""

import json
from datetime import UTC, date, datetime
from typing import Any

import pytest

from inventory.models import (
    ForecastRun,
    ImportRun,
    Road,
    Sign,
    SourceFace,
    SourceRecord,
)
from inventory.services.forecast.losses import Losses, losses_of, stored_or_reckoned
from inventory.services.inspection import record_inspection
from inventory.services.logbook import log
from tests.factories import (
    NOW,
    make_agency,
    make_position,
    make_sign,
    make_support,
    position_of,
)

pytestmark = pytest.mark.django_db

YEARS = (NOW.date() - date(2016, 6, 1)).days / 365.25  # 10


def put_up(agency, *, road=None, code="R1-1", **fields):
    support = make_support(agency, road=road)
    position = make_position(agency, support=support, sign_code=code)
    terms: dict[str, Any] = {"installed_on": date(2016, 6, 1), "position": position}
    return make_sign(agency, **terms | fields)


def took_down(agency, on, reason, **fields):
    return put_up(
        agency, state=Sign.State.REMOVED, removed_on=on, removal_reason=reason, **fields
    )


def reckoned(agency):
    return losses_of(organisation=agency, now=NOW)


def of(losses, safety_class=None, road_class=None):
    return next(
        each
        for each in losses.rows
        if (each.safety_class, each.road_class) == (safety_class, road_class)
    )


def test_a_rate_is_losses_over_the_years_that_faces_were_on_record():
    agency = make_agency()
    put_up(agency)
    took_down(agency, date(2021, 6, 1), "knocked_down")
    took_down(agency, date(2021, 6, 1), "aged")
    total = reckoned(agency).total
    five = (date(2021, 6, 1) - date(2016, 6, 1)).days / 365.25
    assert total.rate.lost == 1
    assert total.rate.sign_years == pytest.approx(YEARS + 2 * five)
    assert total.standing_count == 1
    expected, low, high = total.expected_a_year()
    assert low < expected < high
    assert expected == pytest.approx(1 / total.rate.sign_years)


@pytest.mark.parametrize(
    ("reason", "lost"),
    [
        ("damaged", 1),
        ("knocked_down", 1),
        ("stolen", 1),
        ("faded", 0),
        ("below_level", 0),
        ("not_needed", 0),
        ("other", 0),
    ],
)
def test_damage_knock_down_and_theft_are_losses_and_the_rest_is_not(reason, lost):
    agency = make_agency()
    took_down(agency, date(2020, 6, 1), reason)
    assert reckoned(agency).total.rate.lost == lost


def test_a_face_recorded_twice_is_not_counted():
    agency = make_agency()
    took_down(agency, date(2020, 6, 1), "duplicate")
    assert reckoned(agency).total.rate.sign_years == 0
    assert reckoned(agency).total.rate.per_year is None


def test_rates_are_told_apart_by_class_and_road():
    agency = make_agency()
    freeway = Road.objects.create(organisation=agency, name="A", road_class="freeway")
    took_down(agency, date(2020, 6, 1), "damaged", road=freeway)
    put_up(agency, road=freeway, code="D1-1")
    put_up(agency)  # no road on record
    found = reckoned(agency)
    assert of(found, 1, "freeway").rate.lost == 1
    assert of(found, 4, "freeway").rate.lost == 0
    assert of(found, 1, "").standing_count == 1
    assert of(found, 1).rate.lost == of(found, None, "freeway").rate.lost == 1
    assert [each.road_words for each in found.rows][-1] == "freeway"
    whole = sum(
        each.rate.sign_years
        for each in found.rows
        if each.safety_class and each.road_class is not None
    )
    assert whole == pytest.approx(found.total.rate.sign_years)


def test_a_face_from_a_list_is_watched_from_its_first_witness_on():
    agency = make_agency()
    listed = put_up(agency, is_reconstructed=True, installed_on=date(2006, 6, 1))
    unseen = put_up(agency, is_reconstructed=True, installed_on=date(2006, 6, 1))
    first = datetime(2024, 6, 1, 12, tzinfo=UTC)
    record_inspection(sign=listed, taken_at=first, how="visual_day", note="seen", now=first)
    assert unseen.pk
    found = reckoned(agency)
    assert found.total.rate.sign_years == pytest.approx(2.0, abs=0.01)
    assert dict(found.left_out) == {"no day on record from which it was watched": 1}


def test_a_face_from_an_import_is_watched_from_the_import_on():
    agency = make_agency()
    listed = put_up(agency, is_reconstructed=True, installed_on=date(2006, 6, 1))
    run = ImportRun.objects.create(
        organisation=agency,
        source_name="list",
        file_name="list.csv",
        file_sha256="",
        mapping_text="",
        started_at=datetime(2023, 6, 1, 12, tzinfo=UTC),
    )
    record = SourceRecord.objects.create(
        organisation=agency,
        source_name="list",
        external_id="1",
        raw={},
        row_sha256="",
        first_run=run,
        last_run=run,
        changed_at=NOW,
    )
    SourceFace.objects.create(record=record, position=position_of(listed))
    assert reckoned(agency).total.rate.sign_years == pytest.approx(3.0, abs=0.01)


def test_a_face_found_by_a_crew_is_watched_from_when_it_was_added():
    agency = make_agency()
    found = put_up(agency, is_reconstructed=True, installed_on=None)
    log(
        organisation=agency,
        actor=None,
        verb="add sign",
        text="added",
        at=datetime(2025, 6, 1, 12, tzinfo=UTC),
        sign=found,
    )
    assert reckoned(agency).total.rate.sign_years == pytest.approx(1.0, abs=0.01)


def test_a_face_of_unknown_age_is_in_the_rate_and_not_in_the_curve():
    agency = make_agency()
    sign = put_up(agency, installed_on=None)
    first = datetime(2020, 6, 1, 12, tzinfo=UTC)
    record_inspection(sign=sign, taken_at=first, how="visual_day", note="seen", now=first)
    found = reckoned(agency)
    assert found.total.rate.sign_years == pytest.approx(6.0, abs=0.01)
    assert dict(found.left_out) == {"age not known: in the rates, not in the curve": 1}
    assert found.years == ()


def test_a_neighbours_sign_is_not_the_agencys_loss():
    agency = make_agency()
    took_down(agency, date(2020, 6, 1), "damaged", responsible="neighbour")
    assert reckoned(agency).total.rate.lost == 0


def test_the_curve_is_by_age_with_those_watched_and_lost_each_year():
    agency = make_agency()
    for year in (2018, 2019, 2020):
        took_down(agency, date(year, 12, 1), "damaged")
    for _ in range(12):
        put_up(agency)
    found = reckoned(agency)
    by_age = {each.age_years: each for each in found.years}
    assert [by_age[age].lost for age in range(5)] == [0, 0, 1, 1, 1]
    assert by_age[2].at_risk == 15
    # By hand: 14/15, then 13/14, then 12/13: 12 of 15 left.
    assert by_age[5].share_left == pytest.approx(0.8, abs=1e-6)
    assert by_age[5].low < 0.8 < by_age[5].high
    assert Losses.from_json(json.loads(json.dumps(found.to_json()))) == found


def test_the_newest_finished_forecast_holds_them(monkeypatch):
    agency = make_agency()
    put_up(agency)
    stored = reckoned(agency).to_json() | {"reasons": [["stored", 7]]}
    for counts, finished in (({"losses": stored}, NOW), ({}, None)):
        ForecastRun.objects.create(
            organisation=agency,
            started_at=NOW,
            seen_at=NOW,
            finished_at=finished,
            counts=counts,
        )
    found = stored_or_reckoned(organisation=agency, now=NOW)
    assert found is not None
    assert found.reasons == (("stored", 7),)


def test_a_large_fleet_is_not_reckoned_while_a_page_loads(monkeypatch):
    agency = make_agency()
    put_up(agency)
    put_up(agency)
    monkeypatch.setattr("inventory.services.forecast.losses.MOST_SIGNS_AT_ONCE", 1)
    assert stored_or_reckoned(organisation=agency, now=NOW) is None
    monkeypatch.setattr("inventory.services.forecast.losses.MOST_SIGNS_AT_ONCE", 2)
    assert stored_or_reckoned(organisation=agency, now=NOW) is not None


def test_a_fleet_is_reckoned_in_six_queries(django_assert_num_queries):
    agency = make_agency()
    put_up(agency)
    took_down(agency, date(2020, 6, 1), "damaged")
    with django_assert_num_queries(6):
        reckoned(agency)
