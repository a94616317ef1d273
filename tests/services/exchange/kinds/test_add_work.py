"""Work added on the road: kept once, at the end of the package, done or still to be done."""

from __future__ import annotations

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import PackageStop, StopResult, WorkPackage
from inventory.services.work_packages import close_package, hand_out, left_over
from tests.factories import NOW, make_agency, make_person, make_position
from tests.services.exchange.kinds.asking import AN_HOUR_AGO, apply
from tests.services.exchange.phones import Phone, said
from tests.services.test_work_packages import package_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def package(agency):
    made = package_of(agency, [make_position(agency)])
    return hand_out(package=made, now=NOW)


def work(package, position, **fields):
    return {
        "package_id": package.pk,
        "position": {"id": position.pk},
        "task": "repair",
        "note": "Leans.",
    } | fields


def test_what_a_crew_sees_becomes_the_last_stop_and_is_left_to_do(agency, package):
    position, crew = make_position(agency), make_person(agency)
    told = apply(agency, "add_work", work(package, position), person=crew)
    stop = PackageStop.objects.get(pk=told["stop_id"])
    assert (stop.package, stop.number, stop.position) == (package, 2, position)
    assert (stop.task, stop.note, stop.added_by) == ("repair", "Leans.", crew)
    assert told["package_id"] == package.pk
    close_package(package=package, now=NOW)
    assert stop in left_over(WorkPackage.objects.get(pk=package.pk))


def test_what_was_done_there_and_then_is_done(agency, package):
    told = apply(agency, "add_work", work(package, make_position(agency), outcome="done"))
    result = StopResult.objects.get(stop=told["stop_id"])
    assert (result.outcome, result.happened_at) == ("done", AN_HOUR_AGO)


def test_a_phone_that_sends_it_twice_adds_it_once(agency, package):
    phone = Phone(agency)
    phone.record("add_work", work(package, make_position(agency)))
    assert [answer for answer, _code in said(phone.send())] == ["applied"]
    assert [answer for answer, _code in said(phone.send())] == ["already_applied"]
    assert package.stops.count() == 2


def test_work_at_a_sign_that_was_just_added_finds_its_place(agency, package):
    phone = Phone(agency)
    new = phone.record(
        "add_sign",
        {
            "support": {"new": {"latitude_deg": 43.0, "longitude_deg": -89.5}},
            "sign_code": "R1-1",
            "width_in": 30.0,
            "colours": [],
        },
    )
    payload = work(package, make_position(agency)) | {
        "position": {"operation": new.client_uuid}
    }
    phone.record("add_work", payload, needs=[new.client_uuid])
    assert [answer for answer, _code in said(phone.send())] == ["applied", "applied"]
    assert package.stops.order_by("number").last().position.sign_code == "R1-1"


@pytest.mark.parametrize(
    ("fields", "error", "words"),
    [
        ({"task": "paint"}, OutOfRangeError, "task is"),
        ({"package_id": 10**9}, OutOfRangeError, "no work package"),
        ({"note": "x" * 256}, OutOfRangeError, "256 characters; at most 255"),
        ({"outcome": "perhaps"}, OutOfRangeError, "outcome is"),
        ({"outcome": "not_done"}, OutOfRangeError, "why"),
    ],
)
def test_what_cannot_be_added_is_refused(agency, package, fields, error, words):
    with pytest.raises(error, match=words):
        apply(agency, "add_work", work(package, make_position(agency), **fields))


def test_another_agencys_package_or_place_is_not_there(agency, package):
    other = make_agency("Another")
    with pytest.raises(OutOfRangeError, match="among those you may use"):
        apply(other, "add_work", work(package, make_position(other)))
    with pytest.raises(OutOfRangeError, match="among those you may use"):
        apply(agency, "add_work", work(package, make_position(other)))


def test_a_stop_that_is_there_already_is_not_added_again(agency, package):
    stop = package.stops.get()
    with pytest.raises(StateConflictError, match="Stop 1 of 'North round' is this place"):
        apply(agency, "add_work", work(package, stop.position, task=stop.task))
