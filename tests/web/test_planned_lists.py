"""A programme year's replacements as CSV and GeoJSON, read back by other programs."""

from __future__ import annotations

import csv
import io
from datetime import date

import geojson
import pytest

from inventory.models import Road, Role
from tests.factories import make_agency, make_position, make_sign, make_support
from tests.web.acting import act_as
from tests.web.programme_records import make_programme_row, plan

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def programme(agency):
    return make_programme_row(agency, "Ten years, all of it")


def a_sign(agency, **fields):
    road = Road.objects.create(organisation=agency, name='Mill "Old" Lane,\nnorth')
    support = make_support(
        agency, road=road, milepoint_mi=3.25, latitude_deg=43.123456789, longitude_deg=-89.5
    )
    return make_sign(agency, position=make_position(agency, support=support), **fields)


def read(client, programme, year, kind):
    answer = client.get(f"/programmes/{programme.pk}/{year}.{kind}")
    assert answer.status_code == 200
    return answer, b"".join(answer.streaming_content).decode()


def test_the_csv_of_a_year_has_a_line_a_sign_with_what_it_costs_and_where(
    client, agency, programme
):
    act_as(client, agency)
    sign = a_sign(agency, legend_text="STOP, é")
    plan(
        programme, sign, 2028, cost=121.5, due_on=date(2028, 4, 1), must_by_year=2028,
        is_locked=True, lock_reason="asked for",
    )  # fmt: skip
    plan(programme, make_sign(agency), 2027)
    answer, text = read(client, programme, 2028, "csv")
    assert answer["Content-Type"] == "text/csv; charset=utf-8; header=present"
    assert 'filename="ten-years-all-of-it-2028.csv"' in answer["Content-Disposition"]
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert row["road"] == 'Mill "Old" Lane,\nnorth'
    assert (row["sign_id"], row["legend_text"]) == (str(sign.pk), "STOP, é")
    assert (row["cost"], row["currency"], row["due_on"]) == ("121.5", "$", "2028-04-01")
    assert (row["latitude_deg"], row["milepoint_mi"]) == ("43.123456789", "3.25")
    assert (row["must_by_year"], row["is_locked"]) == ("2028", "True")
    assert text.count("\r\n") == 2  # RFC 4180: the names and one line


def test_the_geojson_of_a_year_is_valid_and_has_a_point_a_sign(client, agency, programme):
    act_as(client, agency)
    signs = [a_sign(agency), make_sign(agency)]
    for sign in signs:
        plan(programme, sign, 2027)
    answer, text = read(client, programme, 2027, "geojson")
    assert answer["Content-Type"] == "application/geo+json"
    found = geojson.loads(text)
    assert found.is_valid
    assert {each.id for each in found.features} == {sign.position_id for sign in signs}
    first = next(each for each in found.features if each.id == signs[0].position_id)
    # RFC 7946: longitude first, and no more decimals than the point is worth.
    assert '"coordinates": [-89.5, 43.1234568]' in text
    assert first.properties["year"] == 2027
    assert first.properties["must_by_year"] is None
    assert "latitude_deg" not in first.properties


def test_a_year_without_replacements_and_the_signs_in_no_year_are_files_too(
    client, agency, programme
):
    act_as(client, agency)
    plan(programme, make_sign(agency), None)
    assert geojson.loads(read(client, programme, 2027, "geojson")[1]).features == []
    answer, text = read(client, programme, 0, "csv")
    assert "not-planned.csv" in answer["Content-Disposition"]
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert row["year"] == ""


@pytest.mark.parametrize("kind", ["csv", "geojson"])
def test_many_signs_take_as_many_queries_as_few(
    client, agency, programme, kind, django_assert_max_num_queries
):
    act_as(client, agency)
    for _ in range(7):
        plan(programme, make_sign(agency), 2027)
    with django_assert_max_num_queries(6):
        read(client, programme, 2027, kind)


@pytest.mark.parametrize("kind", ["csv", "geojson"])
def test_a_year_that_is_none_and_another_agency_are_refused(client, agency, programme, kind):
    act_as(client, agency)
    answer = client.get(f"/programmes/{programme.pk}/2099.{kind}")
    assert answer.status_code == 400
    assert "has no year 2099; it runs from 2027 to 2028" in answer.content.decode()
    act_as(client, agency, Role.CREW)
    assert client.get(f"/programmes/{programme.pk}/2027.{kind}").status_code == 403
    act_as(client, make_agency())
    assert client.get(f"/programmes/{programme.pk}/2027.{kind}").status_code == 404


def test_the_year_leads_to_its_files(client, agency, programme):
    act_as(client, agency)
    plan(programme, make_sign(agency), 2027)
    page = client.get(f"/programmes/{programme.pk}/2027/").content.decode()
    for kind in ("csv", "geojson"):
        assert f'href="/programmes/{programme.pk}/2027.{kind}"' in page
