"""What a phone knows before any sign: rules, instruments, packages, words."""

from __future__ import annotations

import json
from datetime import date, timedelta

import pytest

from inventory.engineering.inspection.visual import check_evidence
from inventory.engineering.standards.night_procedures import NightProcedure
from inventory.errors import OutOfRangeError
from inventory.models import Crew, Role, WorkPackage
from inventory.services.field.basics import field_basics
from inventory.services.instruments import record_check
from inventory.services.people import create_organisation
from tests.factories import NOW, make_agency, make_instrument, make_person, make_position
from tests.services.field.test_area import make_package

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def crew(agency):
    return make_person(agency, Role.CREW)


def basics(agency, person, now=NOW):
    return field_basics(organisation=agency, person=person, now=now)


def test_the_rules_in_force_are_carried_whole(agency, crew):
    policy = basics(agency, crew)["policy"]
    assert policy["version"] == 1
    assert policy["edition"] == "11th-2023"
    assert policy["rule"]["kind"] == "simple"


def test_an_agency_without_rules_is_told_so_by_their_absence():
    bare = create_organisation(name="No rules yet", kind="agency")
    answer = basics(bare, make_person(bare, Role.CREW))
    assert answer["policy"] is None
    assert answer["reading"]["spread_warning_rel"] is None


def test_an_instrument_out_of_date_is_carried_with_what_that_holds_against_it(agency, crew):
    make_instrument(agency, serial="A", certificate_due_on=date(2026, 5, 31))
    make_instrument(agency, serial="B")
    doubts = {each["serial"]: each["doubt"] for each in basics(agency, crew)["instruments"]}
    assert "certificate of the instrument was out of date" in doubts["A"]
    assert doubts["B"] == ""


def test_the_last_check_of_an_instrument_is_carried_and_a_failed_one_doubts_it(agency, crew):
    instrument = make_instrument(agency)
    for hours, shown in ((3, "100"), (2, "120")):
        record_check(
            instrument=instrument,
            moment="before",
            reference="100",
            shown=shown,
            checked_at=NOW - timedelta(hours=hours),
            now=NOW,
        )
    (told,) = basics(agency, crew)["instruments"]
    assert told["last_check"] == {
        "checked_at": (NOW - timedelta(hours=2)).isoformat(),
        "is_within_tolerance": False,
    }
    assert "outside its tolerance" in told["doubt"]


def test_packages_with_a_crew_are_listed_with_how_far_they_are(agency, crew):
    positions = [make_position(agency) for _ in range(2)]
    mine = make_package(agency, positions, crew=crew)
    make_package(agency, positions, state=WorkPackage.State.DRAFT)
    anybodys = make_package(agency, positions, work_on=date(2026, 5, 30))
    mine.stops.first().results.create(outcome="done", happened_at=NOW, recorded_at=NOW)
    told = basics(agency, crew)["packages"]
    assert [(each["id"], each["crew_is_me"], each["crew_is_any"]) for each in told] == [
        (mine.pk, True, False),
        (anybodys.pk, False, True),
    ]
    assert [(each["stop_count"], each["done_count"]) for each in told] == [(2, 1), (2, 0)]
    assert told[0]["bounds"] == {
        "south_deg": 43.0,
        "west_deg": -89.5,
        "north_deg": 43.0,
        "east_deg": -89.5,
    }


def test_a_planned_day_comes_with_when_to_leave_and_when_it_is_over(agency, crew):
    package = make_package(agency, [make_position(agency)])
    assert basics(agency, crew)["packages"][0]["leave_at"] is None
    team = Crew.objects.create(
        organisation=agency,
        name="Sign crew",
        depot_name="North yard",
        depot_latitude_deg=43.0,
        depot_longitude_deg=-89.5,
    )
    WorkPackage.objects.filter(pk=package.pk).update(
        team=team, leave_minute=1200, minutes=470, drive_mi=12.5
    )
    (told,) = basics(agency, crew)["packages"]
    assert (told["team"], told["leave_at"], told["back_at"]) == (
        "Sign crew",
        "20:00",
        "03:50 the next day",
    )
    assert told["drive_mi"] == 12.5


def test_every_night_procedure_asks_on_the_phone_what_the_server_checks(agency, crew):
    carried = {each["key"]: each for each in basics(agency, crew)["night_procedures"]}
    assert set(carried) == {each.value for each in NightProcedure}
    # A rating with nothing stated is refused for the first thing each procedure asks for.
    for key, procedure in carried.items():
        with pytest.raises(OutOfRangeError) as refused:
            check_evidence(key, {})
        labels = [each["label"] for each in procedure["fields"]]
        assert any(label in str(refused.value) for label in labels) or any(
            each["per_color"] for each in procedure["fields"]
        )


def test_black_is_no_colour_to_read(agency, crew):
    answer = basics(agency, crew)
    assert "black" not in dict(answer["colours"])
    assert "black" in dict(answer["all_colours"])


def test_everything_survives_the_journey_as_json(agency, crew):
    make_instrument(agency)
    make_package(agency, [make_position(agency)])
    answer = basics(agency, crew)
    assert json.loads(json.dumps(answer)) == answer


def test_more_packages_and_instruments_take_no_more_queries(
    agency, crew, django_assert_max_num_queries
):
    make_instrument(agency)
    make_package(agency, [make_position(agency)])
    basics(agency, crew)  # the first ever asked begins the database's epoch
    with django_assert_max_num_queries(13) as few:
        basics(agency, crew)
    for _ in range(3):
        make_instrument(agency)
        make_package(agency, [make_position(agency), make_position(agency)])
    with django_assert_max_num_queries(len(few)):
        basics(agency, crew)
