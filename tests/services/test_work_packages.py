"""Work packages: put together, walked in order, handed out, worked, closed, taken over."""

from __future__ import annotations

import uuid
from datetime import date, timedelta

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LogbookEntry, PackageStop, Role, StopResult, WorkPackage
from inventory.services.work_packages import (
    LONGEST_REASON,
    WantedStop,
    add_stops,
    close_package,
    crew_members,
    hand_out,
    left_over,
    make_package,
    progress_of,
    record_stop,
    remove_stop,
    set_package,
    set_stop,
    suggest_task,
    take_back,
    walk_order,
)
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
from tests.services.races import together

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 2)


@pytest.fixture
def agency():
    return make_agency()


def places(agency, *longitudes):
    return [
        make_position(agency, support=make_support(agency, longitude_deg=each))
        for each in longitudes
    ]


def package_of(agency, positions, **fields):
    return make_package(
        **{
            "organisation": agency,
            "title": "North round",
            "work_on": DAY,
            "stops": [WantedStop(each, "read") for each in positions],
            "now": NOW,
        }
        | fields
    )


def order_of(package):
    return list(package.stops.order_by("number").values_list("position", flat=True))


def numbers_of(package):
    return list(package.stops.order_by("number").values_list("number", flat=True))


def test_stops_begin_in_the_order_of_a_walk_from_the_first_one_chosen(agency):
    far, near, nearest = places(agency, -89.40, -89.48, -89.49)
    first = places(agency, -89.50)[0]
    package = package_of(agency, [first, far, near, nearest])
    assert order_of(package) == [first.pk, nearest.pk, near.pk, far.pk]
    assert numbers_of(package) == [1, 2, 3, 4]


def test_the_engineer_moves_a_stop_to_another_place_in_the_order(agency):
    a, b, c = places(agency, -89.50, -89.49, -89.48)
    package = package_of(agency, [a, b, c])
    last = package.stops.get(position=c)
    moved = set_stop(stop=last, task="replace", note="new face on the truck", number=1)
    assert (moved.number, moved.task, moved.note) == (1, "replace", "new face on the truck")
    assert order_of(package) == [c.pk, a.pk, b.pk]
    with pytest.raises(
        OutOfRangeError, match="no place 4 in this package; its stops are 1 to 3"
    ):
        set_stop(stop=moved, task="read", note="", number=4)
    # The walk begins at what is first now.
    walk_order(package=package)
    assert order_of(package) == [c.pk, b.pk, a.pk]


def test_a_stop_taken_out_leaves_no_gap(agency):
    package = package_of(agency, places(agency, -89.50, -89.49, -89.48))
    remove_stop(stop=package.stops.get(number=2))
    assert numbers_of(package) == [1, 2]


def test_stops_are_added_at_the_end_and_not_twice_for_one_task(agency):
    a, b = places(agency, -89.50, -89.49)
    package = package_of(agency, [a])
    add_stops(
        package=package,
        stops=[WantedStop(a, "read"), WantedStop(a, "repair"), WantedStop(b, "read")],
        now=NOW,
    )
    assert [(s.position_id, s.task) for s in package.stops.order_by("number")] == [
        (a.pk, "read"),
        (a.pk, "repair"),
        (b.pk, "read"),
    ]


def test_a_package_is_handed_out_worked_and_closed_and_each_step_is_in_the_logbook(agency):
    crew = make_person(agency, Role.CREW)
    package = package_of(agency, places(agency, -89.50, -89.49, -89.48), crew=crew)
    hand_out(package=package, now=NOW)
    done, not_done, silent = package.stops.order_by("number")
    record_stop(stop=done, outcome="done", by=crew, now=NOW)
    record_stop(stop=not_done, outcome="not_done", reason="parked car", by=crew, now=NOW)
    progress = progress_of([package])[package.pk]
    assert (progress.stops, progress.done, progress.not_done, progress.open) == (3, 1, 1, 1)
    closed = close_package(package=package, now=NOW)
    assert closed.state == WorkPackage.State.CLOSED
    assert [each.pk for each in left_over(package)] == [not_done.pk, silent.pk]
    texts = list(LogbookEntry.objects.order_by("pk").values_list("text", flat=True))[-5:]
    assert texts[0] == "Package 'North round' of 2026-06-02: with 3 stops."
    assert "Stop 2 of package 'North round' not done: parked car." in texts
    assert texts[-1].endswith("closed, 2 stops left.")


def test_the_newest_word_of_the_crew_counts(agency):
    package = package_of(agency, places(agency, -89.50))
    hand_out(package=package, now=NOW)
    stop = package.stops.get()
    record_stop(stop=stop, outcome="not_done", reason="rain", now=NOW)
    record_stop(stop=stop, outcome="done", now=NOW + timedelta(hours=1))
    assert progress_of([package])[package.pk].done == 1
    # What was said first stays on record.
    assert StopResult.objects.filter(stop=stop).count() == 2


def test_a_result_sent_twice_is_recorded_once_and_another_under_its_key_is_refused(agency):
    package = package_of(agency, places(agency, -89.50))
    hand_out(package=package, now=NOW)
    stop, key = package.stops.get(), uuid.uuid4()
    first = record_stop(stop=stop, outcome="done", client_uuid=key, now=NOW)
    assert record_stop(stop=stop, outcome="done", client_uuid=key, now=NOW) == first
    with pytest.raises(StateConflictError, match="Something else was already recorded"):
        record_stop(stop=stop, outcome="not_done", reason="rain", client_uuid=key, now=NOW)
    assert StopResult.objects.count() == 1


def test_a_crew_that_says_so_late_is_heard_after_the_package_was_closed(agency):
    package = package_of(agency, places(agency, -89.50))
    hand_out(package=package, now=NOW)
    close_package(package=package, now=NOW)
    record_stop(stop=package.stops.get(), outcome="done", now=NOW)
    assert not left_over(package).exists()


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"outcome": "perhaps"}, "'perhaps' does not say what came of a stop"),
        ({"outcome": "not_done", "reason": " "}, "Say in a few words why stop 1 was not done"),
        (
            {"outcome": "not_done", "reason": "x" * (LONGEST_REASON + 1)},
            "The reason has 256 characters; at most 255",
        ),
    ],
)
def test_a_result_that_says_nothing_is_refused(agency, fields, words):
    package = package_of(agency, places(agency, -89.50))
    hand_out(package=package, now=NOW)
    with pytest.raises(OutOfRangeError, match=words):
        record_stop(stop=package.stops.get(), now=NOW, **fields)


def test_a_draft_is_not_worked(agency):
    package = package_of(agency, places(agency, -89.50))
    with pytest.raises(StateConflictError, match="still being put together"):
        record_stop(stop=package.stops.get(), outcome="done", now=NOW)


def test_what_a_crew_has_is_not_changed_under_it(agency):
    package = package_of(agency, places(agency, -89.50))
    hand_out(package=package, now=NOW)
    stop = package.stops.get()
    for step in (
        lambda: set_stop(stop=stop, task="read", note=""),
        lambda: remove_stop(stop=stop),
        lambda: walk_order(package=package),
        lambda: add_stops(package=package, stops=[], now=NOW),
        lambda: hand_out(package=package, now=NOW),
    ):
        with pytest.raises(StateConflictError, match="is with the crew; this is for one"):
            step()


def test_a_package_comes_back_to_the_desk_only_while_nothing_was_recorded(agency):
    package = package_of(agency, places(agency, -89.50))
    hand_out(package=package, now=NOW)
    assert take_back(package=package, now=NOW).state == WorkPackage.State.DRAFT
    hand_out(package=package, now=NOW)
    record_stop(stop=package.stops.get(), outcome="done", now=NOW)
    with pytest.raises(StateConflictError, match="already recorded stops"):
        take_back(package=package, now=NOW)


def test_an_empty_package_is_not_handed_out(agency):
    with pytest.raises(StateConflictError, match="has no stop yet"):
        hand_out(package=package_of(agency, []), now=NOW)


def test_a_package_is_given_to_the_agencys_own_people(agency):
    other = make_person(make_agency(), Role.CREW)
    with pytest.raises(StateConflictError, match="does not work for"):
        package_of(agency, [], crew=other)
    crew = make_person(agency, Role.CREW)
    make_person(agency, Role.ENGINEER)
    assert crew_members(agency) == [crew]


def test_the_places_of_another_agency_are_no_stops(agency):
    with pytest.raises(StateConflictError, match="does not belong to"):
        package_of(agency, [make_position(make_agency())])


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"title": ""}, "title: This field cannot be blank"),
        ({"title": "x" * 121}, "at most 120 characters"),
    ],
)
def test_a_package_has_a_title_that_fits(agency, fields, words):
    with pytest.raises(OutOfRangeError, match=words):
        package_of(agency, [], **fields)


def test_more_stops_than_a_package_holds_are_refused(agency, monkeypatch):
    monkeypatch.setattr("inventory.services.work_packages.MOST_STOPS", 2)
    with pytest.raises(OutOfRangeError, match="would have 3 stops; at most 2"):
        package_of(agency, places(agency, -89.50, -89.49, -89.48))
    assert not PackageStop.objects.exists()


def test_the_day_and_the_crew_can_change_while_the_crew_has_it(agency):
    crew = make_person(agency, Role.CREW)
    package = package_of(agency, places(agency, -89.50))
    hand_out(package=package, now=NOW)
    changed = set_package(
        package=package,
        title="North round, again",
        work_on=DAY + timedelta(days=1),
        crew=crew,
        bring="two posts",
        now=NOW,
    )
    changed.refresh_from_db()
    assert (changed.title, changed.work_on, changed.crew, changed.bring) == (
        "North round, again",
        date(2026, 6, 3),
        crew,
        "two posts",
    )


@pytest.mark.parametrize(
    ("verdict", "condition", "task"),
    [
        ("below", 0, "replace"),
        ("sheeting not allowed", 0, "replace"),
        ("meets", 3, "repair"),
        ("no usable reading", 0, "read"),
        ("undecided", 0, "read"),
    ],
)
def test_a_task_is_suggested_from_how_the_sign_stands(agency, verdict, condition, task):
    sign = make_sign(agency)
    standing = make_standing(sign, verdict=verdict, condition=condition)
    assert suggest_task(position_of(sign), standing) == task


def test_an_empty_place_asks_for_a_face(agency):
    assert suggest_task(make_position(agency), None) == "install"


def test_how_far_many_packages_are_takes_one_query(agency, django_assert_num_queries):
    packages = [package_of(agency, places(agency, -89.50, -89.49)) for _ in range(4)]
    with django_assert_num_queries(1):
        assert [each.stops for each in progress_of(packages).values()] == [2, 2, 2, 2]


@pytest.mark.django_db(transaction=True)
def test_two_engineers_who_reorder_at_once_leave_each_number_once():
    agency = make_agency()
    package = package_of(agency, places(agency, -89.50, -89.49, -89.48, -89.47))
    stops = list(package.stops.order_by("number"))

    def move(stop, number):
        return lambda: set_stop(stop=stop, task="read", note="", number=number)

    results = together(move(stops[0], 4), move(stops[3], 1))
    assert not [each for each in results if isinstance(each, Exception)]
    assert numbers_of(package) == [1, 2, 3, 4]


@pytest.mark.django_db(transaction=True)
def test_one_result_sent_by_two_connections_is_recorded_once():
    agency = make_agency()
    package = package_of(agency, places(agency, -89.50))
    hand_out(package=package, now=NOW)
    stop, key = package.stops.get(), uuid.uuid4()

    def send():
        return record_stop(stop=stop, outcome="done", client_uuid=key, now=NOW)

    one, other = together(send, send)
    assert one == other
    assert StopResult.objects.count() == 1
