"""Due dates and cohorts over the API: paged, filtered, and the agency's own alone."""

from __future__ import annotations

from datetime import date

import pytest

from inventory.models import Role, SignForecast
from inventory.services.forecast.refreshing import refresh_forecasts
from tests.factories import NOW, make_agency, make_lot_finding, make_shop, make_sign
from tests.services.forecast.fleet import read_fleet
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    agency = make_agency()
    read_fleet(agency, 6)
    refresh_forecasts(organisation=agency, now=NOW)
    return agency


def test_forecasts_come_paged_the_earliest_due_first(
    client, agency, django_assert_max_num_queries
):
    act_as(client, agency)
    with django_assert_max_num_queries(5):
        found = client.get("/api/v1/forecasts/").json()
    assert found["count"] == 6
    days = [each["due_on"] for each in found["results"] if each["due_on"]]
    assert days == sorted(days)
    first = found["results"][0]
    assert first["sentence"].startswith("Due")
    assert client.get(f"/api/v1/forecasts/{first['sign_id']}/").json() == first


def test_forecasts_are_narrowed_by_day_class_and_basis(client, agency):
    act_as(client, agency)
    middle = date(2030, 1, 1)
    before = SignForecast.objects.filter(due_on__lt=middle).count()
    assert 0 < before < 6

    def count(**how):
        return client.get("/api/v1/forecasts/", how).json()["count"]

    assert count(due_before=middle.isoformat()) == before
    assert count(safety_class=1) == 6
    assert count(safety_class=2) == 0
    assert count(basis="own_readings") == 6
    assert client.get("/api/v1/forecasts/", {"due_before": "soon"}).status_code == 400


def test_cohorts_say_what_their_fit_rests_on(client, agency):
    act_as(client, agency)
    found = client.get("/api/v1/cohorts/").json()["results"]
    assert [each["color"] for each in found] == ["red", "white"]
    assert found[0]["parameters"]["coefficients"]
    assert found[0]["sign_count"] == 6


def test_another_agency_and_a_crew_read_none_of_it(client, agency):
    other = make_agency()
    make_sign(other)
    act_as(client, other)
    assert client.get("/api/v1/forecasts/").json()["count"] == 0
    assert client.get("/api/v1/cohorts/").json()["count"] == 0
    act_as(client, agency, Role.CREW)
    assert client.get("/api/v1/forecasts/").status_code == 403


def test_lots_come_suspect_ones_first_to_the_agency_and_the_shop_that_made_them(
    client, agency, django_assert_max_num_queries
):
    shop, other = make_shop(), make_agency()
    make_lot_finding(agency, name="L-1", q_value=0.8, maker=shop)
    make_lot_finding(agency, name="L-2", q_value=0.01, is_suspect=True)
    make_lot_finding(agency, name="V-1", kind="overlay", q_value=0.5)
    make_lot_finding(other, name="L-9")
    act_as(client, agency)

    def names(**how):
        return [each["name"] for each in client.get("/api/v1/lots/", how).json()["results"]]

    with django_assert_max_num_queries(5):
        assert names() == ["L-2", "V-1", "L-1"]
    assert names(kind="overlay") == ["V-1"]
    assert names(is_suspect="true") == ["L-2"]
    first = client.get("/api/v1/lots/").json()["results"][0]
    assert first["effect_low_per_year"] < first["effect_per_year"]
    assert client.get(f"/api/v1/lots/{first['id']}/").json() == first
    act_as(client, shop, Role.SHOP)
    assert names() == ["L-1"]
    assert client.get(f"/api/v1/lots/{first['id']}/").status_code == 404
    act_as(client, agency, Role.CREW)
    assert client.get("/api/v1/lots/").status_code == 403
