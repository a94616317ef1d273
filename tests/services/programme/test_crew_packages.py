"""Crew days become packages once, in the order of their tours, with what is to be brought."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import StateConflictError
from inventory.models import PackageStop, PlannedDay, PlannedStop, Sign, WorkPackage
from inventory.services.installation import remove_sign
from inventory.services.programme import crew_packages
from inventory.services.programme.crew_packages import (
    make_packages,
    packages_of,
    withdraw_packages,
)
from inventory.services.programme.material import bring_words, material_of
from inventory.services.programme.pool import State, pool, state_of
from inventory.services.work_packages import (
    WantedStop,
    hand_out,
    make_package,
    record_stop,
    set_stop,
    take_back,
)
from tests.factories import NOW, make_agency, make_person, make_position, make_support
from tests.services.programme.crew_worlds import (
    MONDAY,
    YEAR,
    _short_search,
    a_crew,
    a_crew_day,
    a_programme,
    opened,
    planned,
    to_replace,
)
from tests.services.races import together

__all__ = ["_short_search"]
pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def programme(agency):
    return a_programme(agency)


def order_of(stops):
    return list(stops.order_by("number").values_list("position", flat=True))


def test_a_package_keeps_the_order_times_and_crew_of_its_tour(agency, programme):
    person = make_person(agency)
    crew = a_crew(agency, person=person)
    for n in range(5):
        to_replace(programme, -89.51 - n / 50)
    plan = planned(programme, crew)
    [package] = make_packages(plan=plan, by=person, now=NOW)
    day = PlannedDay.objects.get(plan=plan)
    assert order_of(package.stops) == order_of(day.stops)
    assert (package.team, package.crew, package.programme) == (crew, person, programme)
    assert package.state == WorkPackage.State.HANDED_OUT
    assert package.title == "North crew, Mon 3 May 2027"
    assert (package.leave_minute, package.minutes) == (day.leave_minute, day.minutes)
    first, planned_first = package.stops.get(number=1), day.stops.get(number=1)
    assert first.arrive_minute == planned_first.arrive_minute
    assert first.service_minutes == pytest.approx(42.0)
    assert first.planned == planned_first.planned
    assert day.package == package
    assert "5 × R1-1 30 × 30 in; 5 NOT in stock" in package.bring
    assert "Hardware for 5 faces on 5 × U-channel steel post" in package.bring
    assert not pool(programme=programme, year=YEAR).exists()
    assert first.planned is not None
    assert state_of(first.planned).state == State.IN_PACKAGE


def test_a_package_can_stay_at_the_desk(agency, programme):
    to_replace(programme)
    plan = planned(programme, a_crew(agency))
    [package] = make_packages(plan=plan, is_handed_out=False, now=NOW)
    assert package.state == WorkPackage.State.DRAFT


def test_what_is_not_done_is_in_the_next_crew_days(agency, programme):
    crew = a_crew(agency)
    row = to_replace(programme)
    [package] = make_packages(plan=planned(programme, crew), now=NOW)
    record_stop(stop=package.stops.get(), outcome="not_done", reason="parked cars", now=NOW)
    plan = planned(programme, crew)
    again = PlannedStop.objects.get(plan=plan)
    assert again.planned == row
    assert again.day is not None
    assert again.day.work_on == MONDAY + timedelta(days=1)


def test_the_second_engineer_is_refused(agency, programme):
    person = make_person(agency)
    to_replace(programme)
    plan = planned(programme, a_crew(agency))
    make_packages(plan=plan, by=person, now=NOW)
    with pytest.raises(
        StateConflictError, match=f"already made of these crew days by {person}"
    ):
        make_packages(plan=plan, now=NOW)
    assert WorkPackage.objects.count() == 1


def test_a_plan_that_is_not_ready_or_gone_makes_no_package(agency, programme):
    crew = a_crew(agency)
    to_replace(programme)
    plan = opened(programme, crew)
    with pytest.raises(StateConflictError, match="still being planned"):
        make_packages(plan=plan, now=NOW)
    type(plan).objects.filter(pk=plan.pk).update(finished_at=NOW, error="It was broken off.")
    with pytest.raises(StateConflictError, match="no crew day in this plan"):
        make_packages(plan=plan, now=NOW)
    planned(programme, crew)  # the newest one takes its place
    with pytest.raises(StateConflictError, match="planned anew meanwhile"):
        make_packages(plan=plan, now=NOW)


@pytest.mark.parametrize("task", ["replace", "install"])
def test_work_taken_up_meanwhile_is_not_sent_out_twice(agency, programme, task):
    row = to_replace(programme)
    plan = planned(programme, a_crew(agency))
    make_package(
        organisation=agency, title="By hand", work_on=MONDAY,
        stops=[WantedStop(row.position, task)], now=NOW,
    )  # fmt: skip
    with pytest.raises(StateConflictError, match="1 of the stops are done, given up or in"):
        make_packages(plan=plan, now=NOW)
    assert not WorkPackage.objects.filter(team__isnull=False).exists()


def test_a_crew_that_got_another_package_that_day_is_not_sent_twice(agency, programme):
    crew = a_crew(agency)
    to_replace(programme)
    plan = planned(programme, crew)
    other = make_package(
        organisation=agency, title="Urgent", work_on=MONDAY,
        stops=[WantedStop(make_position(agency), "read")], now=NOW,
    )  # fmt: skip
    WorkPackage.objects.filter(pk=other.pk).update(team=crew)
    with pytest.raises(StateConflictError, match="North crew has the package 'Urgent' on"):
        make_packages(plan=plan, now=NOW)


def test_chosen_stops_leave_the_package_they_were_put_together_in(agency, programme):
    crew, positions = a_crew(agency), [make_position(agency) for _ in range(2)]
    draft = make_package(
        organisation=agency, title="Readings", work_on=MONDAY,
        stops=[WantedStop(each, "read") for each in positions], now=NOW,
    )  # fmt: skip
    plan = planned(programme, crew, packages=(draft.pk,))
    [package] = make_packages(plan=plan, now=NOW)
    assert sorted(order_of(package.stops)) == sorted(each.pk for each in positions)
    draft.refresh_from_db()
    assert (draft.state, draft.stops.count()) == (WorkPackage.State.CLOSED, 0)


def test_a_day_of_more_stops_than_a_package_holds_is_in_parts(agency, programme, monkeypatch):
    monkeypatch.setattr(crew_packages, "MOST_STOPS", 2)
    for n in range(3):
        to_replace(programme, -89.5 - n / 100)
    plan = planned(programme, a_crew(agency))
    first, second = make_packages(plan=plan, now=NOW)
    assert first.title.endswith("part 1 of 2")
    assert (first.stops.count(), second.stops.count()) == (2, 1)


def test_times_are_forgotten_when_the_order_is_changed_by_hand(agency, programme):
    for n in range(2):
        to_replace(programme, -89.5 - n / 100)
    [package] = make_packages(plan=planned(programme, a_crew(agency)), now=NOW)
    take_back(package=package, now=NOW)
    stop = package.stops.get(number=1)
    set_stop(stop=stop, task="replace", note="first", number=1)
    package.refresh_from_db()
    assert package.minutes is not None
    set_stop(stop=stop, task="replace", note="", number=2)
    forgotten = WorkPackage.objects.get()
    assert [forgotten.minutes, forgotten.leave_minute, forgotten.drive_mi] == [None] * 3
    assert set(package.stops.values_list("arrive_minute", flat=True)) == {None}
    assert hand_out(package=package, now=NOW).state == WorkPackage.State.HANDED_OUT


def test_packages_not_begun_are_withdrawn_and_their_work_is_to_do_again(agency, programme):
    crew = a_crew(agency, shift_minutes=60)
    rows = [to_replace(programme, -89.51 - n / 50) for n in range(2)]
    plan = planned(programme, crew)
    begun, waiting = make_packages(plan=plan, now=NOW)
    plan.refresh_from_db()
    said = begun.stops.get()
    record_stop(stop=said, outcome="done", now=NOW)
    assert list(packages_of(plan)) == [begun, waiting]
    assert withdraw_packages(plan=plan, now=NOW) == (1, 1)
    left = [each for each in rows if each.position_id != said.position_id]
    assert list(pool(programme=programme, year=YEAR)) == left
    with pytest.raises(StateConflictError, match="No package of these crew days can be"):
        withdraw_packages(plan=plan, now=NOW)
    # The crew is free again on the day of the withdrawn one, not on that of the begun one.
    again = planned(programme, crew)
    assert [each.work_on for each in again.days.all()] == [waiting.work_on]


def test_material_counts_faces_hardware_and_tools(agency, django_assert_num_queries):
    wood = make_support(agency, support_type="wood")
    over = make_support(agency, support_type="overhead_bridge")
    made = make_package(
        organisation=agency,
        title="Mixed",
        work_on=MONDAY,
        stops=[
            WantedStop(make_position(agency, support=wood), "replace"),
            WantedStop(make_position(agency, support=wood, width_in=None), "install"),
            WantedStop(make_position(agency, support=over, sign_code="D1-1"), "repair"),
            WantedStop(make_position(agency, support=wood), "remove"),
            WantedStop(make_position(agency), "read"),
            WantedStop(make_position(agency), "look"),
        ],
        now=NOW,
    )
    stops = list(
        PackageStop.objects.filter(package=made).select_related("position__support", "face")
    )
    with django_assert_num_queries(0):
        material = material_of(stops)
    assert [(each.name, each.count, each.missing) for each in material.faces] == [
        ("R1-1 30 × 30 in", 1, 1),
        ("R1-1 size not known", 1, 1),
    ]
    assert [(each.support, each.supports, each.faces) for each in material.hardware] == [
        ("Overhead sign bridge (spans the roadway)", 1, 1),
        ("Wood post", 1, 2),
    ]
    words = bring_words(material)
    assert "Bucket truck: 1 overhead" in words
    assert "Reading instrument, checked today: 1 reading" in words
    assert "For looks by night: 1" in words


def test_packages_of_many_stops_take_a_bounded_number_of_questions(agency, programme):
    counts = []
    for more in (1, 7):
        for n in range(more):
            to_replace(programme, -89.5 - n / 100)
        plan = planned(programme, a_crew(agency, f"Crew {more}"))
        with CaptureQueriesContext(
            connection,
        ) as asked:
            [_package] = make_packages(plan=plan, now=NOW)
        counts.append(len(asked))
    assert counts[0] == counts[1]


@pytest.mark.django_db(transaction=True)
def test_of_two_engineers_making_the_same_packages_one_is_refused():
    agency = make_agency()
    programme = a_programme(agency)
    to_replace(programme)
    plan = planned(programme, a_crew(agency))
    results = together(
        lambda: make_packages(plan=plan, now=NOW), lambda: make_packages(plan=plan, now=NOW)
    )
    errors = [each for each in results if isinstance(each, Exception)]
    assert [type(each) for each in errors] == [StateConflictError]
    assert "already made of these crew days" in str(errors[0])
    assert WorkPackage.objects.count() == 1


def test_a_face_that_was_spoilt_meanwhile_is_not_named(agency, programme):
    row, other = to_replace(programme), to_replace(programme, -89.6)
    plan = a_crew_day(row).plan
    spoilt = Sign.objects.create(
        owner=agency, state="in_stock", sign_code="R1-1", width_in=30.0, height_in=30.0
    )
    for old in other.sign.colour_areas.order_by("number"):
        old.pk, old.sign, old._state.adding = None, spoilt, True
        old.save()
    PlannedStop.objects.filter(plan=plan).update(face=spoilt)
    remove_sign(sign=spoilt, removed_on=NOW.date(), reason="damaged", now=NOW)
    (package,) = make_packages(plan=plan, now=NOW)
    assert package.stops.get().face is None
    assert "1 NOT in stock" in package.bring
