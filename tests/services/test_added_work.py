"""Work a crew adds on the road is kept once, with what came of it."""

from __future__ import annotations

import uuid
from datetime import date

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LogbookEntry, PackageStop
from inventory.services import added_work
from inventory.services.added_work import add_work
from inventory.services.work_packages import (
    WantedStop,
    hand_out,
    left_over,
    make_package,
    progress_of,
)
from tests.factories import NOW, make_agency, make_person, make_position

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def package(agency):
    made = make_package(
        organisation=agency,
        title="North round",
        work_on=date(2026, 6, 2),
        stops=[WantedStop(make_position(agency), "replace")],
        now=NOW,
    )
    return hand_out(package=made, now=NOW)


def test_work_done_on_the_road_is_a_stop_that_is_done(agency, package):
    place, crew = make_position(agency), make_person(agency)
    stop = add_work(
        package=package, position=place, task="repair", outcome="done", by=crew, now=NOW
    )
    assert (stop.number, stop.added_by) == (2, crew)
    assert progress_of([package])[package.pk].done == 1
    assert LogbookEntry.objects.filter(verb="add work", actor=crew).count() == 1


def test_work_seen_and_not_done_is_left_over(agency, package):
    place = make_position(agency)
    stop = add_work(package=package, position=place, task="replace", note="faded", now=NOW)
    assert stop in left_over(package)
    key = uuid.UUID(int=7)
    other = add_work(
        package=package, position=place, task="repair", outcome="not_done",
        reason="no wedge on the truck", client_uuid=key, now=NOW,
    )  # fmt: skip
    assert left_over(package).get(pk=other.pk).outcome_reason == "no wedge on the truck"


def test_sent_twice_it_is_added_once_and_other_content_is_refused(agency, package):
    place, key = make_position(agency), uuid.UUID(int=8)
    given = {"package": package, "task": "repair", "client_uuid": key, "now": NOW}
    first = add_work(position=place, outcome="done", **given)
    assert add_work(position=place, outcome="done", **given) == first
    assert PackageStop.objects.filter(added_uuid=key).count() == 1
    with pytest.raises(StateConflictError, match="Other work was already added under the key"):
        add_work(position=make_position(agency), **given)


def test_what_cannot_be_added_says_why(agency, package, monkeypatch):
    place = make_position(agency)
    draft = make_package(
        organisation=agency, title="Later", work_on=date(2026, 6, 3), stops=[], now=NOW
    )
    with pytest.raises(StateConflictError, match="still being put together"):
        add_work(package=draft, position=place, task="read", now=NOW)
    with pytest.raises(OutOfRangeError, match="'paint' is no task; use one of"):
        add_work(package=package, position=place, task="paint", now=NOW)
    foreign = make_position(make_agency("Elsewhere"))
    with pytest.raises(StateConflictError, match="does not belong to"):
        add_work(package=package, position=foreign, task="read", now=NOW)
    stop = package.stops.get()
    with pytest.raises(StateConflictError, match="Stop 1 of 'North round' is this place"):
        add_work(package=package, position=stop.position, task="replace", now=NOW)
    with pytest.raises(OutOfRangeError, match="note"):
        add_work(package=package, position=place, task="read", note="n" * 256, now=NOW)
    monkeypatch.setattr(added_work, "MOST_STOPS", 1)
    with pytest.raises(OutOfRangeError, match="the most there can be"):
        add_work(package=package, position=place, task="read", now=NOW)
