"""The pages of crews: who goes out, from where, when."""

from __future__ import annotations

import pytest
from django.urls import reverse

from inventory.models import Crew, Role
from tests.factories import make_agency, make_person
from tests.services.programme.crew_worlds import a_crew
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db
TYPED = {
    "name": "North crew",
    "depot_name": "North yard",
    "depot_latitude_deg": "43.01",
    "depot_longitude_deg": "−89.5",
    "day_starts_minute": "06:30",
    "shift_hours": "9.5",
    "weekdays": ["1", "2", "3", "4"],
    "skills": ["bucket_truck"],
}


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def engineer(client, agency):
    act_as(client, agency)
    return client


def test_a_crew_is_added_as_it_was_typed(engineer, agency):
    person = make_person(agency, Role.CREW)
    answer = engineer.post(reverse("crew-new"), TYPED | {"person": person.pk})
    assert answer.status_code == 302
    crew = Crew.objects.get()
    assert (crew.day_starts_minute, crew.shift_minutes, crew.weekdays) == (390, 570, "1234")
    assert (crew.depot_longitude_deg, crew.person) == (-89.5, person)
    page = engineer.get(reverse("crew-list")).content.decode()
    for words in ("North crew", "Mon to Thu", "06:30 to 16:00", "bucket truck", str(person)):
        assert words in page


def test_a_night_shift_says_that_it_ends_on_the_next_day(engineer, agency):
    a_crew(agency, day_starts_minute=1260, shift_minutes=480, weekdays="15")
    page = engineer.get(reverse("crew-list")).content.decode()
    assert "21:00 to 05:00 the next day" in page
    assert "Mon, Fri" in page


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"day_starts_minute": "25:00"}, "&#x27;25:00&#x27; is not a time of day"),
        ({"weekdays": []}, "Tick the days of the week"),
        ({"depot_latitude_deg": "north"}, "is not a number"),
        ({"depot_latitude_deg": "95"}, "The depot&#x27;s latitude is 95°"),
        ({"shift_hours": "17"}, "The shift is 1020 minutes long; give 30 to 960."),
        ({"skills": ["welding"]}, "not in the list any more"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_stays(engineer, typed, sentence):
    answer = engineer.post(reverse("crew-new"), TYPED | typed)
    assert answer.status_code == 400
    page = answer.content.decode()
    assert sentence in page
    assert 'value="North yard"' in page
    assert not Crew.objects.exists()


def test_a_crew_is_changed_and_goes_out_no_more_and_again(engineer, agency):
    crew = a_crew(agency)
    address = reverse("crew-page", args=[crew.pk])
    assert 'value="07:00"' in engineer.get(address).content.decode()
    assert engineer.post(address, TYPED | {"name": "South crew"}).status_code == 302
    crew.refresh_from_db()
    assert crew.name == "South crew"
    step = reverse("crew-step", args=[crew.pk])
    engineer.post(step, {"step": "out"})
    assert "goes out no more" in engineer.get(reverse("crew-list")).content.decode()
    engineer.post(step, {"step": "back"})
    crew.refresh_from_db()
    assert crew.is_active


def test_a_crew_with_open_packages_is_kept_with_the_reason(engineer, agency):
    from inventory.models import WorkPackage
    from tests.factories import NOW

    crew = a_crew(agency)
    WorkPackage.objects.create(
        organisation=agency, title="Round", work_on=NOW.date(), team=crew, made_at=NOW
    )
    answer = engineer.post(reverse("crew-step", args=[crew.pk]), {"step": "out"})
    assert answer.status_code == 409
    assert "still has 1 packages" in answer.content.decode()


def test_crews_are_the_engineers_and_the_agencys_own(client, agency):
    other = a_crew(make_agency("Elsewhere"))
    act_as(client, agency)
    assert client.get(reverse("crew-page", args=[other.pk])).status_code == 404
    assert client.post(reverse("crew-step", args=[other.pk])).status_code == 404
    assert "North crew" not in client.get(reverse("crew-list")).content.decode()
    act_as(client, agency, Role.CREW)
    assert client.get(reverse("crew-list")).status_code == 403


def test_the_list_asks_as_often_for_many_crews_as_for_one(
    engineer, agency, django_assert_num_queries
):
    address = reverse("crew-list")
    a_crew(agency)
    engineer.get(address)
    with django_assert_num_queries(5):
        engineer.get(address)
    for number in range(6):
        a_crew(agency, f"Crew {number}", person=make_person(agency, Role.CREW))
    with django_assert_num_queries(5):
        engineer.get(address)
