"""The area a phone takes along: which supports, which signs, and what it is told of each."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest

from inventory.engineering.assessment.assess import assess_faces
from inventory.engineering.assessment.carried import carry_plan, plan_key
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import PackageStop, Road, Sign, WorkPackage
from inventory.services.field.area import (
    NEAR_STOP_M,
    carry_page,
    supports_in_box,
    supports_of_package,
)
from inventory.services.inspection import (
    ObservationInput,
    ReadingSetInput,
    record_inspection,
)
from inventory.services.installation import install_sign, remove_sign
from inventory.services.judging import gather
from inventory.services.merging import merge_signs
from inventory.services.own_levels import rules_on
from inventory.services.people import create_organisation, policy_at
from inventory.services.sign_map import Box
from inventory.services.standards import code_book
from tests.factories import (
    NOW,
    make_agency,
    make_person,
    make_position,
    make_sign,
    make_standing,
    make_support,
    position_of,
)

pytestmark = pytest.mark.django_db

BOX = Box(42.9, -89.6, 43.1, -89.4)
METRES_PER_DEGREE_OF_LATITUDE = 111_195.0  # on the mean sphere: 2 pi R / 360, R 6 371 008.8 m


@pytest.fixture
def agency():
    return make_agency()


def carried(agency, **page):
    asked = supports_in_box(organisation=agency, box=BOX, page=1) if not page else page["asked"]
    return carry_page(organisation=agency, asked=asked, now=NOW)


def make_package(agency, positions, state=WorkPackage.State.HANDED_OUT, **fields):
    package = WorkPackage.objects.create(
        organisation=agency,
        **{"title": "North", "work_on": date(2026, 6, 1), "state": state, "made_at": NOW}
        | fields,
    )
    for number, position in enumerate(positions, start=1):
        PackageStop.objects.create(
            package=package, number=number, position=position, task=PackageStop.Task.READ
        )
    return package


def read(sign, *sets, **fields):
    return record_inspection(
        **{
            "sign": sign,
            "taken_at": NOW - timedelta(days=1),
            "how": "hand_held",
            "surface_state": "dry",
            "reading_sets": [ReadingSetInput(color, values) for color, values in sets],
            "now": NOW,
        }
        | fields
    )


def test_a_box_holds_the_supports_in_it_and_no_others(agency):
    inside = make_support(agency, latitude_deg=43.05, longitude_deg=-89.45)
    make_support(agency, latitude_deg=43.05, longitude_deg=-89.39)
    make_support(make_agency(), latitude_deg=43.05, longitude_deg=-89.45)
    asked = supports_in_box(organisation=agency, box=BOX, page=1)
    assert (asked.ids, asked.pages) == ([inside.pk], 1)


def test_a_large_area_comes_in_pages_that_repeat_nothing_and_leave_nothing_out(
    agency, monkeypatch
):
    monkeypatch.setattr("inventory.services.field.area.SUPPORTS_PER_PAGE", 3)
    made = {
        make_support(agency, latitude_deg=43.0 + n * 0.001, longitude_deg=-89.5).pk
        for n in range(8)
    }
    pages = [supports_in_box(organisation=agency, box=BOX, page=number) for number in (1, 2, 3)]
    assert [(each.page, each.pages) for each in pages] == [(1, 3), (2, 3), (3, 3)]
    keys = [key for each in pages for key in each.ids]
    assert len(keys) == len(set(keys))
    assert set(keys) == made
    with pytest.raises(OutOfRangeError, match="no page 4; this area has 3"):
        supports_in_box(organisation=agency, box=BOX, page=4)


def test_more_supports_than_a_phone_takes_are_refused_with_their_number(agency, monkeypatch):
    monkeypatch.setattr("inventory.services.field.area.MOST_SUPPORTS", 1)
    make_support(agency)
    make_support(agency)
    with pytest.raises(OutOfRangeError, match="There are 2 supports in this area, more than"):
        supports_in_box(organisation=agency, box=BOX, page=1)


def test_a_package_takes_along_its_stops_and_what_stands_within_the_stated_distance(agency):
    stop = make_position(agency)
    within, beyond = (
        make_support(
            agency,
            latitude_deg=43.0 + metres / METRES_PER_DEGREE_OF_LATITUDE,
            longitude_deg=-89.5,
        )
        for metres in (NEAR_STOP_M - 1.0, NEAR_STOP_M + 1.0)
    )
    package = make_package(agency, [stop])
    asked = supports_of_package(package=package, page=1)
    assert set(asked.ids) == {stop.support_id, within.pk}
    assert beyond.pk not in asked.ids
    assert carried(agency, asked=asked)["near_stop_m"] == NEAR_STOP_M


def test_a_package_that_is_not_with_a_crew_is_not_taken_along(agency):
    draft = make_package(agency, [make_position(agency)], state=WorkPackage.State.DRAFT)
    with pytest.raises(StateConflictError, match="being put together"):
        supports_of_package(package=draft, page=1)


def test_a_package_without_stops_holds_nothing(agency):
    asked = supports_of_package(package=make_package(agency, []), page=1)
    assert (asked.ids, asked.pages) == ([], 1)


def test_the_phone_is_told_the_stops_of_what_it_takes_and_their_last_outcome(agency):
    position = make_position(agency)
    package = make_package(agency, [position])
    make_package(agency, [position], state=WorkPackage.State.DRAFT)
    stop = package.stops.get()
    before = carried(agency)["stops"]
    assert [(each["id"], each["number"], each["outcome"]) for each in before] == [
        (stop.pk, 1, None)
    ]
    assert before[0]["task_words"] == "take readings"
    for seconds, outcome in enumerate(("not_done", "done")):
        stop.results.create(
            outcome=outcome,
            reason="rain" if outcome == "not_done" else "",
            happened_at=NOW,
            recorded_at=NOW + timedelta(seconds=seconds),
        )
    assert [each["outcome"] for each in carried(agency)["stops"]] == ["done"]


def test_a_stop_comes_with_its_time_its_minutes_and_the_face_to_bring(agency):
    here, there = make_position(agency), make_position(agency)
    package = make_package(agency, [here, there])
    face = Sign.objects.create(
        owner=agency, state=Sign.State.IN_STOCK, sign_code="R1-1", label_id="001-0JK"
    )
    package.stops.filter(position=here).update(
        arrive_minute=1500, service_minutes=25.0, face=face, added_by=make_person(agency)
    )
    planned, plain = carried(agency)["stops"]
    assert planned["arrive_at"] == "01:00 the next day"
    assert planned["service_minutes"] == 25.0
    assert planned["is_added"]
    assert planned["face"] == {
        "id": face.pk,
        "label": "001-0JK",
        "code": "R1-1",
        "variant": "",
        "is_in_stock": True,
        "is_up_here": False,
    }
    assert (plain["arrive_at"], plain["service_minutes"], plain["face"]) == (None, None, None)
    assert not plain["is_added"]
    Sign.objects.filter(pk=face.pk).update(state=Sign.State.INSTALLED, position=here)
    gone = carried(agency)["stops"][0]["face"]
    assert (gone["is_in_stock"], gone["is_up_here"]) == (False, True)


def test_a_sign_comes_with_its_face_its_place_and_its_level_rows(agency):
    sign = make_sign(agency, legend_text="")
    answer = carried(agency)
    (position,) = answer["positions"]
    (told,) = answer["signs"]
    assert position["sign_id"] == told["id"] == sign.pk
    assert (told["code"], told["name"], told["colours"]) == ("R1-1", "Stop", ["white", "red"])
    assert told["drawing"] in answer["drawings"]
    assert answer["drawings"][told["drawing"]].startswith("<svg")
    (gathered,) = gather([sign], code_book(agency), ZoneInfo("UTC"))
    rules = rules_on(policy_at(agency, NOW.date()), NOW.date())
    plan = carry_plan(gathered.face, rules)
    assert answer["plans"] == {plan_key(plan): plan}
    assert told["plan"] == plan_key(plan)


def test_equal_faces_share_one_drawing_and_one_plan(agency):
    for _ in range(5):
        make_sign(agency)
    answer = carried(agency)
    assert len(answer["signs"]) == 5
    assert len(answer["plans"]) == 1
    assert len(answer["drawings"]) == 1


def test_an_empty_place_says_what_it_asks_for_as_putting_a_face_up_checks_it(agency):
    make_position(agency, width_in=None, height_in=None)
    (position,) = carried(agency)["positions"]
    assert position["sign_id"] is None
    assert position["asks"]["code"] == "R1-1"
    # Without a road class no size is looked up.
    assert position["asks"]["width_in"] is None
    make_position(agency, sign_code="R1-1", is_custom_legend=True, legend_text="ALTO")
    assert carried(agency)["positions"][1]["asks"]["legend_text"] == "ALTO"


def test_the_version_of_a_place_changes_with_what_stands_there(agency):
    sign = make_sign(agency)
    with_sign = carried(agency)["positions"][0]["version"]
    assert carried(agency)["positions"][0]["version"] == with_sign
    remove_sign(sign=sign, removed_on=date(2026, 5, 1), reason="damaged", now=NOW)
    empty = carried(agency)["positions"][0]["version"]
    assert empty != with_sign
    face = Sign.objects.create(owner=agency, state=Sign.State.IN_STOCK, sign_code="R1-1")
    install_sign(sign=face, position=position_of(sign), installed_on=date(2026, 5, 2), now=NOW)
    assert carried(agency)["positions"][0]["version"] not in (empty, with_sign)


def test_a_retired_place_is_taken_along_only_where_a_stop_is_at_it(agency):
    retired = make_position(agency, is_retired=True)
    assert carried(agency)["positions"] == []
    make_package(agency, [retired])
    assert [each["id"] for each in carried(agency)["positions"]] == [retired.pk]


def test_the_last_readings_stand_beside_their_level(agency):
    sign = make_sign(agency)
    read(sign, ("white", ["30", "31", "30", "31"]), ("red", ["9", "9", "9", "9"]))
    (told,) = carried(agency)["signs"]
    last = {each["color"]: each for each in told["last_readings"]}
    assert last["white"]["mean"] == "30.5"  # (30 + 31 + 30 + 31) / 4
    # MUTCD 11th edition (2023), Table 2A-5: white on red, white at least 35, red 7, 3:1.
    assert (last["white"]["level"], last["white"]["verdict"]) == ("35", "below")
    assert (last["red"]["level"], last["red"]["verdict"]) == ("7", "meets")
    assert (last["red"]["count"], last["red"]["taken_on"]) == (4, "2026-05-31")
    assert told["standing"]["word"] == "below"


def test_a_forecast_due_date_and_the_mark_of_one_due_soon_come_along(agency):
    make_standing(make_sign(agency), forecast_due_on=date(2027, 2, 3), is_due_soon=True)
    (told,) = carried(agency)["signs"]
    assert told["standing"]["forecast_due_on"] == date(2027, 2, 3)
    assert (told["standing"]["mark"], told["standing"]["word"]) == ("due-soon", "due soon")


def test_readings_that_are_not_judged_say_why(agency):
    read(make_sign(agency), ("white", ["80"]), surface_state="dew")
    (told,) = carried(agency)["signs"]
    (last,) = told["last_readings"]
    assert last["verdict"] is None
    assert "dew" in last["not_judged"]


def test_what_the_phone_carries_gives_the_servers_verdict(agency):
    sign = make_sign(agency)
    read(sign, ("white", ["90", "91"]), ("red", ["20", "21"]))
    read(sign, ("white", ["34.9", "35.1"]), taken_at=NOW - timedelta(hours=1))
    (told,) = carried(agency)["signs"]
    (gathered,) = gather([sign], code_book(agency), ZoneInfo("UTC"))
    assert [(each["color"], each["values"]) for each in told["readings"]] == [
        (each.color.value, [str(value) for value in each.values]) for each in gathered.readings
    ]
    rules = rules_on(policy_at(agency, NOW.date()), NOW.date())
    (result,) = assess_faces([(gathered.face, gathered.readings)], rules)
    assert told["standing"]["verdict"] == result.verdict.value


def test_damage_that_stands_is_told_and_what_was_put_right_is_not(agency):
    sign = make_sign(agency)

    def saw(kind, severity, days_ago):
        read(
            sign,
            how="visual_day",
            taken_at=NOW - timedelta(days=days_ago),
            observations=[ObservationInput(kind, severity)],
        )

    saw("bent", 3, days_ago=9)
    (damage,) = carried(agency)["signs"][0]["damage"]
    assert (damage["kind"], damage["severity"], damage["seen_on"]) == ("bent", 3, "2026-05-23")
    saw("general", 0, days_ago=2)
    told = carried(agency)["signs"][0]
    assert told["damage"] == []
    assert [each["on"] for each in told["history"]] == ["2026-05-30", "2026-05-23"]
    assert "bent (severe" in told["history"][1]["words"]


def test_only_the_newest_five_visits_are_carried(agency):
    sign = make_sign(agency)
    for days in range(1, 8):
        read(sign, ("white", ["90"]), taken_at=NOW - timedelta(days=days))
    history = carried(agency)["signs"][0]["history"]
    assert [each["on"] for each in history] == [
        f"2026-05-{day}" for day in (31, 30, 29, 28, 27)
    ]


def test_what_was_seen_on_a_duplicate_is_told_of_the_sign_that_is_kept(agency):
    kept, duplicate = make_sign(agency), make_sign(agency)
    read(kept, ("white", ["90"]), taken_at=NOW - timedelta(days=3))
    read(
        duplicate,
        ("red", ["20"]),
        taken_at=NOW - timedelta(days=1),
        observations=[ObservationInput("bent", 2)],
    )
    merge_signs(kept=kept, duplicate=duplicate, reason="one face", now=NOW)
    (told,) = carried(agency)["signs"]
    assert told["id"] == kept.pk
    assert [each["on"] for each in told["history"]] == ["2026-05-31", "2026-05-29"]
    assert [each["kind"] for each in told["damage"]] == ["bent"]
    assert {each["color"] for each in told["last_readings"]} == {"white", "red"}


def test_an_agency_without_rules_has_its_signs_but_no_levels():
    bare = create_organisation(name="No rules yet", kind="agency")
    make_sign(bare)
    (told,) = carried(bare)["signs"]
    assert told["plan"] is None
    assert told["colours"] == ["red", "white"]


def test_what_is_not_known_is_told_as_not_known(agency):
    make_sign(
        agency,
        colours=(("background", ""),),
        sign_code="",
        width_in=None,
        height_in=None,
        installed_on=date(2015, 1, 1),
        installed_precision="year",
    )
    (told,) = carried(agency)["signs"]
    assert (told["name"], told["width_in"], told["installed_on"]) == ("", None, "2015")
    assert told["standing"] is None
    assert told["photo_ids"] == []


def test_roads_come_once_with_their_centre_lines(agency):
    road = Road.objects.create(
        organisation=agency, name="Mill Road", line=[[-89.5, 43.0], [-89.4, 43.0]]
    )
    for _ in range(2):
        make_support(agency, road=road)
    answer = carried(agency)
    assert [each["road"] for each in answer["supports"]] == ["Mill Road", "Mill Road"]
    assert answer["roads"] == [
        {"id": road.pk, "name": "Mill Road", "road_class": "", "line": road.line}
    ]


def test_more_signs_take_no_more_queries(agency, django_assert_max_num_queries):
    person = make_person(agency)
    for _ in range(3):
        sign = make_sign(agency)
        read(sign, ("white", ["90"]), ("red", ["20"]), inspector=person)
        make_package(agency, [position_of(sign)])
    with django_assert_max_num_queries(32) as few:
        carried(agency)
    for _ in range(4):
        sign = make_sign(agency)
        read(
            sign,
            ("white", ["90"]),
            ("red", ["20"]),
            inspector=person,
            observations=[ObservationInput("bent", 1)],
        )
        make_package(agency, [position_of(sign)])
    with django_assert_max_num_queries(len(few)):
        carried(agency)
