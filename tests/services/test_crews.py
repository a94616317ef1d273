"""Crews: where they start from, what they can do, when they work."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Crew, LogbookEntry
from inventory.services import crews
from inventory.services.crews import add_crew, change_crew, crews_of, set_active
from inventory.services.work_packages import make_package
from tests.factories import NOW, make_agency, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


def added(agency, **fields):
    given: dict[str, Any] = {
        "name": "North crew",
        "depot_name": "North yard",
        "depot_latitude_deg": 43.0,
        "depot_longitude_deg": -89.5,
    }
    return add_crew(organisation=agency, now=NOW, **given | fields)


def test_a_crew_is_kept_as_it_was_said_and_in_the_logbook(agency):
    crew = added(agency, name=" North crew ", skills=["bucket_truck"], weekdays="531")
    assert (crew.name, crew.skills, crew.weekdays) == ("North crew", ["bucket_truck"], "135")
    assert (crew.day_starts_minute, crew.shift_minutes) == (420, 480)
    assert LogbookEntry.objects.get(verb="add crew").text == (
        "Crew 'North crew': starts from North yard."
    )


def test_a_crew_is_changed_and_the_same_again_leaves_no_trace(agency):
    crew = change_crew(crew=added(agency), shift_minutes=600, now=NOW)
    assert Crew.objects.get().shift_minutes == 600
    change_crew(crew=crew, shift_minutes=600, now=NOW)
    assert LogbookEntry.objects.filter(verb="change crew").count() == 1


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"depot_latitude_deg": 91.0}, "The depot's latitude is 91°"),
        ({"depot_latitude_deg": float("nan")}, "The depot's latitude is nan°"),
        ({"depot_longitude_deg": -180.5}, "The depot's longitude is -180.5°"),
        ({"day_starts_minute": 1440}, "a day has 0 to 1439"),
        ({"shift_minutes": 29}, "give 30 to 960"),
        ({"shift_minutes": 961}, "give 30 to 960"),
        ({"weekdays": "08"}, "works on no day of the week"),
        ({"skills": ["welding"]}, "'welding' is no skill"),
        ({"name": ""}, "name"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(agency, fields, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        added(agency, **fields)


def test_a_name_is_there_once_and_the_phone_is_of_ones_own_people(agency, monkeypatch):
    added(agency)
    with pytest.raises(StateConflictError, match="There is a crew 'North crew' already"):
        added(agency)
    stranger = make_person(make_agency("Elsewhere"))
    with pytest.raises(StateConflictError, match="does not work for"):
        added(agency, name="South crew", person=stranger)
    monkeypatch.setattr(crews, "MOST_CREWS", 1)
    with pytest.raises(OutOfRangeError, match="the most there can be"):
        added(agency, name="South crew")


def test_a_crew_with_open_packages_goes_on_and_one_without_stops(agency):
    crew = added(agency)
    package = make_package(
        organisation=agency, title="Round", work_on=date(2027, 5, 3), stops=[], now=NOW
    )
    type(package).objects.filter(pk=package.pk).update(team=crew)
    with pytest.raises(StateConflictError, match="still has 1 packages"):
        set_active(crew=crew, is_active=False, now=NOW)
    type(package).objects.filter(pk=package.pk).update(state="closed")
    assert not set_active(crew=crew, is_active=False, now=NOW).is_active
    assert not crews_of(agency).exists()
    assert crews_of(agency, active_only=False).count() == 1
    assert set_active(crew=crew, is_active=True, now=NOW).is_active
