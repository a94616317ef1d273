"""The map: the same signs as the list, from the same filters."""

import pytest
from django.urls import reverse

from inventory.models import Road
from tests.factories import make_agency, make_position, make_sign, make_standing, make_support
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db

BOX = {
    "south_deg": "42",
    "west_deg": "-90",
    "north_deg": "44",
    "east_deg": "-88",
    "zoom": "10",
}


@pytest.fixture
def agency():
    return make_agency()


def ask(client, **query):
    return client.get(reverse("sign-map-data"), BOX | query)


def test_the_map_is_filled_with_marks_of_the_same_words_as_the_list(client, agency):
    sign = make_sign(agency)
    make_standing(sign, verdict="below", is_due=True)
    act_as(client, agency)
    (marker,) = ask(client).json()["signs"]
    assert (marker["id"], marker["mark"], marker["word"]) == (sign.pk, "below", "below")
    assert marker["at"] == [43.0, -89.5]
    page = client.get(reverse("sign-list")).content.decode()
    assert f"mark-{marker['mark']}" in page


def test_map_and_list_leave_out_the_same_signs(client, agency):
    make_standing(make_sign(agency), verdict="below")
    make_standing(make_sign(agency), verdict="meets")
    act_as(client, agency)
    shown = ask(client, verdict="below").json()["signs"]
    listed = client.get(reverse("sign-list"), {"verdict": "below"}).context["page"]
    assert [marker["id"] for marker in shown] == [row.sign_id for row in listed]
    assert len(shown) == 1


@pytest.mark.parametrize(
    "query",
    [
        {"south_deg": "95"},
        {"zoom": "x"},
        {"east_deg": ""},
        {"north_deg": "41"},
        {"verdict": "splendid"},
    ],
)
def test_a_box_that_is_none_is_refused(client, agency, query):
    act_as(client, agency)
    assert ask(client, **query).status_code == 400


def test_roads_are_drawn_from_the_agencys_own_lines(client, agency):
    Road.objects.create(organisation=agency, name="Mill Road", line=[[-89.0, 43.0]])
    act_as(client, agency)
    roads = client.get(reverse("road-data")).json()["roads"]
    assert [road["name"] for road in roads] == ["Mill Road"]


def test_without_scripts_the_map_page_still_lists_the_signs(client, agency):
    make_standing(make_sign(agency), sign_name="Stop Ahead")
    act_as(client, agency)
    page = client.get(reverse("sign-map")).content.decode()
    assert "Stop Ahead" in page
    assert "The map needs scripts" in page


def test_an_agency_without_signs_gets_a_map_and_a_way_to_bring_signs_in(client, agency):
    act_as(client, agency)
    page = client.get(reverse("sign-map")).content.decode()
    assert "how to import a list" in page


@pytest.mark.parametrize("page", ["sign-map", "sign-list"])
def test_a_longer_list_takes_no_more_queries(
    client, agency, page, django_assert_max_num_queries
):
    road = Road.objects.create(organisation=agency, name="Mill Road")
    for _ in range(12):
        support = make_support(agency, road=road)
        make_standing(make_sign(agency, position=make_position(agency, support=support)))
    act_as(client, agency)
    # Session, person, roles; local types, sheetings, roads; count, page; on the map its extent.
    with django_assert_max_num_queries(10):
        client.get(reverse(page))


def test_a_long_list_comes_in_pages_of_fifty(client, agency):
    for _ in range(51):
        make_standing(make_sign(agency))
    act_as(client, agency)
    first = client.get(reverse("sign-list"))
    assert len(first.context["page"]) == 50
    assert "1 to 50 of 51" in first.content.decode()
    last = client.get(reverse("sign-list"), {"page": 2})
    assert len(last.context["page"]) == 1


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({"code": "r1"}, {"R1-1"}),
        ({"due": "true"}, {"W1-2"}),
        ({"due": "false"}, {"R1-1", "D3-1"}),
        ({"safety_class": "2"}, {"W1-2"}),
        ({"sheeting": "IX prismatic"}, {"R1-1"}),
        ({"sheeting": "not known"}, {"W1-2", "D3-1"}),
        ({"condition": "4"}, {"D3-1"}),
        ({"responsible": "state"}, {"D3-1"}),
        ({"verdict": ["below", "undecided"]}, {"W1-2", "D3-1"}),
    ],
)
def test_every_filter_finds_its_signs(client, agency, query, found):
    make_standing(make_sign(agency), sheeting="IX prismatic")
    make_standing(
        make_sign(agency, sign_code="W1-2"), verdict="below", is_due=True, safety_class=2
    )
    make_standing(
        make_sign(agency, sign_code="D3-1"),
        verdict="undecided",
        condition=4,
        safety_class=4,
        responsible="state",
    )
    act_as(client, agency)
    page = client.get(reverse("sign-list"), query).context["page"]
    assert {row.sign_code for row in page} == found


def test_a_closed_filter_box_still_says_what_it_hides(client, agency):
    road = Road.objects.create(organisation=agency, name="Mill Road")
    act_as(client, agency)
    page = client.get(reverse("sign-list"), {"road": road.pk, "verdict": "below"})
    assert "Verdict below; Road Mill Road" in page.content.decode()


def test_another_agencys_road_is_no_choice(client, agency):
    foreign = Road.objects.create(organisation=make_agency(), name="Secret Lane")
    act_as(client, agency)
    page = client.get(reverse("sign-list"), {"road": foreign.pk}).content.decode()
    assert "Secret Lane" not in page
    assert "errorlist" in page
