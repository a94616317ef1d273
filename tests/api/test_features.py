"""Signs as GeoJSON, a page at a time, for maps of other systems."""

import geojson
import pytest

from inventory.models import Standing
from tests.factories import make_agency, make_position, make_sign, make_standing, make_support
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db

ADDRESS = "/api/v1/collections/signs/items"


@pytest.fixture
def agency(client):
    agency = make_agency()
    act_as(client, agency)
    return agency


def sign_at(agency, latitude_deg, longitude_deg, **fields):
    support = make_support(agency, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    return make_standing(
        make_sign(agency, position=make_position(agency, support=support)), **fields
    )


def test_a_page_is_valid_geojson_with_the_longitude_first(client, agency):
    # RFC 7946, section 3.1.1: longitude, latitude.
    sign_at(agency, 43.25, -89.5, verdict="below")
    answer = client.get(ADDRESS)
    assert answer["Content-Type"].startswith("application/geo+json")
    page = geojson.loads(answer.content)
    assert page.is_valid
    (feature,) = page.features
    assert feature.geometry.coordinates == [-89.5, 43.25]
    assert feature.properties["verdict"] == "below"


def test_a_page_carries_the_counts_and_links_the_standard_asks_for(client, agency):
    # OGC 17-069r4, OGC API - Features Part 1, section 7.16.
    for n in range(3):
        sign_at(agency, 43.0 + n / 100, -89.5)
    page = client.get(ADDRESS, {"limit": 2}).json()
    assert (page["numberMatched"], page["numberReturned"]) == (3, 2)
    assert page["timeStamp"]
    links = {link["rel"]: link["href"] for link in page["links"]}
    assert set(links) == {"self", "next"}
    last = client.get(links["next"]).json()
    assert last["numberReturned"] == 1
    assert {link["rel"] for link in last["links"]} == {"self", "prev"}
    seen = [f["id"] for f in page["features"] + last["features"]]
    assert sorted(seen) == sorted(Standing.objects.values_list("sign_id", flat=True))


def test_a_box_is_west_south_east_north(client, agency):
    # OGC 17-069r4, section 7.15.3.
    inside = sign_at(agency, 43.0, -89.0)
    sign_at(agency, 45.0, -89.0)
    page = client.get(ADDRESS, {"bbox": "-90,42,-88,44"}).json()
    assert [f["id"] for f in page["features"]] == [inside.sign_id]


@pytest.mark.parametrize(
    "query",
    [
        {"bbox": "1,2,3"},
        {"bbox": "a,b,c,d"},
        {"bbox": "-88,42,-90,44"},
        {"bbox": "-200,42,-88,44"},
        {"limit": 0},
        {"limit": 1001},
        {"offset": -1},
        {"verdict": "splendid"},
    ],
)
def test_a_question_that_makes_no_sense_is_refused(client, agency, query):
    answer = client.get(ADDRESS, query)
    assert answer.status_code == 400
    assert "error" in answer.json()


def test_what_is_not_known_is_null(client, agency):
    sign_at(agency, 43.0, -89.0)
    (feature,) = client.get(ADDRESS).json()["features"]
    assert feature["properties"]["margin_ratio"] is None
    assert feature["properties"]["due_on"] is None
