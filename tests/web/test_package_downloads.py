"""A package taken away as a file: who may, and what comes."""

from __future__ import annotations

import json

import pytest

from inventory.models import Role
from inventory.services.work_packages import hand_out
from tests.factories import NOW, make_agency, make_shop
from tests.services.test_work_packages import package_of, places
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def package(agency):
    return package_of(agency, places(agency, -89.50, -89.49))


@pytest.mark.parametrize(
    ("ending", "kind", "words"),
    [
        ("gpx", "application/gpx+xml", "<rtept"),
        ("geojson", "application/geo+json", "LineString"),
    ],
)
def test_the_engineer_takes_a_package_away(
    client, agency, package, ending, kind, words, django_assert_max_num_queries
):
    act_as(client, agency)
    with django_assert_max_num_queries(6):  # who asks: four; the package and its stops: two
        answer = client.get(f"/packages/{package.pk}.{ending}")
    assert answer.status_code == 200
    assert answer["Content-Type"] == kind
    assert (
        f'filename="package-{package.pk}-2026-06-02.{ending}"' in answer["Content-Disposition"]
    )
    assert words in answer.content.decode()


@pytest.mark.parametrize("ending", ["gpx", "geojson"])
def test_the_crew_gets_what_is_handed_out_and_another_agency_nothing(
    client, agency, package, ending
):
    address = f"/packages/{package.pk}.{ending}"
    act_as(client, agency, Role.CREW)
    assert client.get(address).status_code == 404
    hand_out(package=package, now=NOW)
    assert client.get(address).status_code == 200
    act_as(client, make_agency("Another"))
    assert client.get(address).status_code == 404
    act_as(client, make_shop("A shop", agency), Role.SHOP)
    assert client.get(address).status_code == 403


def test_the_stops_come_in_their_order(client, agency, package):
    act_as(client, agency)
    found = json.loads(client.get(f"/packages/{package.pk}.geojson").content)
    numbers = [each["properties"].get("number") for each in found["features"]]
    assert numbers == [None, 1, 2]
    page = client.get(f"/packages/{package.pk}/").content.decode()
    assert f'href="/packages/{package.pk}.gpx"' in page
