"""The pages of work packages: who sees them, from ticked signs to what the crew said."""

from __future__ import annotations

from datetime import date
from html import unescape

import pytest

from inventory.models import PackageStop, Role, StopResult, WorkPackage
from inventory.services.work_packages import close_package, hand_out
from tests.factories import (
    make_agency,
    make_person,
    make_position,
    make_sign,
    make_standing,
    make_support,
    position_of,
)
from tests.services.test_work_packages import package_of, places
from tests.web.acting import act_as, stop_the_clock

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def signs(agency):
    made = []
    for longitude in (-89.50, -89.40, -89.49):
        position = make_position(agency, support=make_support(agency, longitude_deg=longitude))
        made.append(make_sign(agency, position=position))
    for sign, verdict in zip(made, ("below", "meets", "undecided"), strict=True):
        make_standing(sign, verdict=verdict, is_due=verdict == "below", due_reason="below")
    return made


def text(answer):
    return unescape(answer.content.decode())


@pytest.mark.parametrize("address", ["/signs/", "/signs/map/", "/due/"])
def test_signs_are_ticked_on_the_list_the_map_and_the_due_list(client, agency, signs, address):
    act_as(client, agency)
    page = text(client.get(address))
    assert f'<input type="checkbox" name="signs" value="{signs[0].pk}"' in page
    assert 'action="/packages/new/"' in page  # of the form, or of a button of it


@pytest.mark.parametrize("address", ["/signs/", "/signs/map/"])
def test_the_crew_ticks_nothing(client, agency, signs, address):
    act_as(client, agency, Role.CREW)
    assert 'name="signs"' not in text(client.get(address))


def test_ticked_signs_come_with_a_task_each_and_become_a_package(client, agency, signs):
    crew = make_person(agency, Role.CREW)
    act_as(client, agency)
    chosen = client.post("/packages/new/", {"signs": [each.pk for each in signs]})
    page = text(chosen)
    assert chosen.status_code == 200
    assert '<option value="replace" selected>' in page
    keys = [position_of(each).pk for each in signs]
    made = client.post(
        "/packages/new/",
        {
            "save": "1",
            "places": keys,
            f"task_{keys[0]}": "replace",
            f"task_{keys[1]}": "look",
            f"task_{keys[2]}": "read",
            f"note_{keys[1]}": "by night",
            "title": "North round",
            "work_on": "2026-06-02",
            "crew": crew.pk,
            "bring": "two posts",
        },
    )
    package = WorkPackage.objects.get()
    assert made.url == f"/packages/{package.pk}/"
    assert (package.crew, package.work_on, package.bring) == (
        crew,
        date(2026, 6, 2),
        "two posts",
    )
    # From the first ticked to the nearest left: the third stands closer than the second.
    assert list(package.stops.order_by("number").values_list("position", "task", "note")) == [
        (keys[0], "replace", ""),
        (keys[2], "read", ""),
        (keys[1], "look", "by night"),
    ]


def test_what_was_typed_stays_when_a_package_is_refused(client, agency, signs):
    act_as(client, agency)
    key = position_of(signs[0]).pk
    refused = client.post(
        "/packages/new/",
        {"save": "1", "places": [key], f"note_{key}": "mind the dog", "bring": "a ladder"},
    )
    assert refused.status_code == 400
    assert "Give the package a title" in text(refused)
    assert "mind the dog" in text(refused)
    assert "a ladder" in text(refused)
    assert not WorkPackage.objects.exists()


def test_without_a_ticked_sign_the_page_says_where_to_tick(client, agency):
    act_as(client, agency)
    assert "No sign is chosen yet" in text(client.get("/packages/new/"))


def test_ticked_signs_can_go_into_a_draft_there_is(client, agency, signs):
    act_as(client, agency)
    draft = package_of(agency, [position_of(signs[0])])
    key = position_of(signs[1]).pk
    client.post("/packages/new/", {"save": "1", "into": draft.pk, "places": [key]})
    assert draft.stops.count() == 2


def test_the_signs_of_another_agency_are_not_taken(client, agency):
    theirs = make_sign(make_agency())
    act_as(client, agency)
    assert "No sign is chosen yet" in text(
        client.post("/packages/new/", {"signs": [theirs.pk]})
    )


def test_a_draft_is_ordered_handed_out_worked_and_closed(client, agency):
    package = package_of(agency, places(agency, -89.50, -89.49, -89.48))
    act_as(client, agency)
    stops = list(package.stops.order_by("number"))
    address = f"/packages/{package.pk}/"
    moved = client.post(
        f"{address}stops/{stops[2].pk}/", {"task": "repair", "note": "leans", "number": "1"}
    )
    assert moved.url == f"{address}#stops"
    assert package.stops.get(number=1) == stops[2]
    client.post(f"{address}stops/{stops[1].pk}/", {"remove": "1"})
    assert package.stops.count() == 2
    client.post(f"{address}step/", {"step": "hand-out"})
    act_as(client, agency, Role.CREW)
    client.post(f"{address}stops/{stops[2].pk}/result/", {"outcome": "done"})
    client.post(
        f"{address}stops/{stops[0].pk}/result/", {"outcome": "not_done", "reason": "rain"}
    )
    act_as(client, agency)
    page = text(client.get(address))
    assert "1 done, 1 not done, 0 with no word yet" in page
    assert "rain" in page
    client.post(f"{address}step/", {"step": "close"})
    page = text(client.get(address))
    assert "Take over what is left (1)" in page
    over = text(client.get(f"/packages/new/?over={package.pk}"))
    assert f'name="places" value="{stops[0].position_id}"' in over
    assert f'name="places" value="{stops[2].position_id}"' not in over


def test_a_refused_step_says_why_and_keeps_what_was_typed(client, agency):
    package = package_of(agency, places(agency, -89.50))
    stop = package.stops.get()
    act_as(client, agency)
    address = f"/packages/{package.pk}/"
    refused = client.post(
        f"{address}stops/{stop.pk}/", {"task": "read", "note": "typed", "number": "9"}
    )
    assert refused.status_code == 400
    assert "There is no place 9" in text(refused)
    assert 'value="typed"' in text(refused)
    assert client.post(f"{address}step/", {"step": "fly"}).status_code == 400
    hand_out(package=package)
    silent = client.post(f"{address}stops/{stop.pk}/result/", {"outcome": "not_done"})
    assert silent.status_code == 400
    assert "Say in a few words why stop 1 was not done" in text(silent)
    assert not StopResult.objects.exists()
    assert client.post(f"{address}step/", {"step": "hand-out"}).status_code == 409


def test_the_crew_sees_what_was_handed_out_and_plans_nothing(client, agency):
    package = package_of(agency, places(agency, -89.50))
    act_as(client, agency, Role.CREW)
    address = f"/packages/{package.pk}/"
    assert client.get(address).status_code == 404
    assert "North round" not in text(client.get("/packages/"))
    hand_out(package=package)
    page = text(client.get(address))
    assert "Say what came of it" in page
    # The crew's page of a sign, with what it can do there, not the desk's.
    make_standing(make_sign(agency, position=package.stops.get().position))
    assert "/crew/signs/" in text(client.get(address))
    assert "Close it" not in page
    for way in ("step/", "change/", f"stops/{package.stops.get().pk}/"):
        assert client.post(f"{address}{way}", {"step": "close"}).status_code == 403


def test_the_day_and_crew_are_changed_on_the_page(client, agency):
    package = package_of(agency, places(agency, -89.50))
    act_as(client, agency)
    address = f"/packages/{package.pk}/change/"
    changed = {"title": "South round", "work_on": "2026-06-05", "crew": "", "bring": ""}
    assert client.post(address, changed).status_code == 302
    assert WorkPackage.objects.get().title == "South round"
    refused = client.post(address, changed | {"work_on": "Friday"})
    assert refused.status_code == 400
    assert "'Friday' is not a calendar date" in text(refused)


def test_packages_are_listed_by_state(client, agency):
    package = package_of(agency, places(agency, -89.50))
    closed = package_of(agency, places(agency, -89.50), title="Old round")
    close_package(package=closed)
    act_as(client, agency)
    both = text(client.get("/packages/"))
    assert "North round" in both
    assert "Old round" in both
    page = text(client.get("/packages/?state=closed"))
    assert "Old round" in page
    assert package.title not in page


def test_a_package_prints_whole_with_room_to_write(client, agency):
    package = package_of(agency, places(agency, *(-89.5 + n / 1000 for n in range(60))))
    act_as(client, agency)
    page = text(client.get(f"/packages/{package.pk}/print/"))
    assert page.count("☐") == 60
    assert "take readings" in page


def test_a_longer_list_of_packages_takes_no_more_queries(
    client, agency, django_assert_max_num_queries
):
    for _ in range(3):
        package_of(agency, places(agency, -89.50), crew=make_person(agency, Role.CREW))
    act_as(client, agency)
    client.get("/packages/")
    with django_assert_max_num_queries(8) as few:
        client.get("/packages/")
    for _ in range(4):
        package_of(agency, places(agency, -89.50), crew=make_person(agency, Role.CREW))
    with django_assert_max_num_queries(len(few)):
        assert text(client.get("/packages/")).count("North round") == 7


def test_more_stops_take_no_more_queries_and_come_in_pages(
    client, agency, signs, django_assert_max_num_queries
):
    package = package_of(agency, [position_of(each) for each in signs])
    act_as(client, agency)
    address = f"/packages/{package.pk}/"
    client.get(address)
    with django_assert_max_num_queries(13) as few:
        client.get(address)
    longer = package_of(
        agency,
        [position_of(each) for each in signs]
        + places(agency, *(-89.5 + n / 1000 for n in range(57))),
    )
    with django_assert_max_num_queries(len(few)):
        page = text(client.get(f"/packages/{longer.pk}/"))
    assert page.count('class="stop"') == 50
    assert text(client.get(f"/packages/{longer.pk}/?page=2")).count('class="stop"') == 10


def test_choosing_more_signs_takes_no_more_queries(
    client, agency, signs, django_assert_max_num_queries
):
    act_as(client, agency)
    client.post("/packages/new/", {"signs": [signs[0].pk]})
    with django_assert_max_num_queries(12) as few:
        client.post("/packages/new/", {"signs": [signs[0].pk]})
    with django_assert_max_num_queries(len(few)):
        client.post("/packages/new/", {"signs": [each.pk for each in signs]})
    assert not PackageStop.objects.exists()
