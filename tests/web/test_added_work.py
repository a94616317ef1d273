"""Work added on the road by the site's own pages: once, into a package in hand."""

from __future__ import annotations

import uuid

import pytest
from django.urls import reverse

from inventory.models import PackageStop, Role, StopResult
from inventory.services.installation import remove_sign
from inventory.services.work_packages import hand_out
from tests.factories import NOW, make_agency, make_person, make_sign, position_of
from tests.services.test_work_packages import package_of
from tests.web.acting import act_as, read_reminder

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def sign(agency):
    return make_sign(agency)


@pytest.fixture
def package(agency, sign):
    return hand_out(package=package_of(agency, [position_of(sign)]), now=NOW)


@pytest.fixture
def crew(client, agency):
    user = act_as(client, agency, Role.CREW)
    read_reminder(client)
    return user


def address_of(sign):
    return reverse("add-work", args=(position_of(sign).pk,))


def work(package, **fields):
    return {
        "client_uuid": str(uuid.uuid4()),
        "task": "repair",
        "note": "Leans.",
        "package": package.pk,
    } | fields


def test_a_crew_adds_what_it_sees_once_however_often_the_button_is_tapped(
    client, crew, sign, package
):
    assert (
        address_of(sign) in client.get(reverse("crew-sign", args=(sign.pk,))).content.decode()
    )
    assert "Leans" not in client.get(address_of(sign)).content.decode()
    typed = work(package)
    for _tap in range(2):
        answer = client.post(address_of(sign), typed)
        assert answer["Location"] == reverse("crew-sign", args=(sign.pk,))
    stop = package.stops.get(task="repair")
    assert (stop.number, stop.note, stop.added_by) == (2, "Leans.", crew)
    assert not StopResult.objects.exists()


def test_what_was_done_there_and_then_is_done(client, crew, sign, package):
    client.post(address_of(sign), work(package, is_done="on"))
    assert StopResult.objects.get().outcome == "done"


@pytest.mark.parametrize(
    ("typed", "status", "words"),
    [
        ({"task": ""}, 400, "Say what is needed here."),
        ({"task": "install"}, 400, "install"),  # a face stands there
        ({"package": ""}, 400, "Pick the package it goes into."),
        ({"package": 10**9}, 400, "not in the list any more"),
        ({"task": "read"}, 409, "Stop 1 of"),  # that is a stop of it already
    ],
)
def test_what_cannot_be_added_keeps_what_was_typed(
    client, crew, sign, package, typed, status, words
):
    answer = client.post(address_of(sign), work(package) | typed)
    assert answer.status_code == status
    page = answer.content.decode()
    assert words in page
    assert "Leans." in page
    assert PackageStop.objects.count() == 1


def test_a_crew_adds_to_its_own_packages_and_those_of_any_crew(client, agency, sign, crew):
    other = make_person(agency, Role.CREW)
    theirs = hand_out(package=package_of(agency, [position_of(sign)], crew=other), now=NOW)
    assert "No package is with you" in client.get(address_of(sign)).content.decode()
    assert client.post(address_of(sign), work(theirs)).status_code == 400
    act_as(client, agency)
    read_reminder(client)
    assert client.post(address_of(sign), work(theirs)).status_code == 302


def test_at_an_empty_place_a_face_can_be_asked_for(client, crew, sign, package):
    remove_sign(sign=sign, reason="knocked_down", removed_on=NOW.date(), now=NOW)
    page = client.get(address_of(sign)).content.decode()
    assert "no face is up" in page
    assert 'value="read"' not in page
    answer = client.post(address_of(sign), work(package, task="install"))
    assert answer["Location"] == reverse("package-page", args=(package.pk,))
    assert package.stops.get(task="install").position == position_of(sign)
