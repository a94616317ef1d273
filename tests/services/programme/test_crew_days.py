"""A year's work is split into crew days: each piece once, or named with its reason."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    CrewPlan,
    DamageReport,
    DamageStanding,
    PlannedDay,
    PlannedStop,
    Sign,
)
from inventory.services.added_work import add_work
from inventory.services.programme import crew_days, crew_tours
from inventory.services.programme.crew_days import (
    give_up,
    newest_plan,
    open_plan,
    plan_crew_days,
)
from inventory.services.programme.crew_days_asked import CrewDaysAsked
from inventory.services.programme.crew_work import work_for
from inventory.services.work_packages import (
    WantedStop,
    close_package,
    hand_out,
    make_package,
    record_stop,
)
from tests.factories import (
    NOW,
    make_agency,
    make_person,
    make_position,
    make_sign,
    make_support,
    position_of,
)
from tests.services.programme.crew_worlds import (
    AT,
    MONDAY,
    YEAR,
    _short_search,
    a_crew,
    a_programme,
    asked_for,
    opened,
    planned,
    to_replace,
)

pytestmark = pytest.mark.django_db
__all__ = ["_short_search"]


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def programme(agency):
    return a_programme(agency)


def served(plan):
    rows = PlannedStop.objects.filter(plan=plan, day__isnull=False)
    return list(rows.order_by("day__number", "number").values_list("position", "task"))


def damaged(agency, position=None, **fields):
    """Return a place with damage of which the agency was told, as its list has it."""
    position = position or make_position(agency)
    said = {"kind": fields["kind"], "severity": fields["severity"]}
    report = DamageReport.objects.create(
        organisation=agency, position=position, channel="desk", entered_at=NOW,
        **said,
    )  # fmt: skip
    values = {
        "safety_class": 4, "is_open": True, "counted_from_on": MONDAY, "sort_on": MONDAY,
    } | fields  # fmt: skip
    DamageStanding.objects.create(
        report=report, organisation=agency, position=position, rebuilt_at=NOW, **values
    )
    return position


def on_a_day(plan, **which):
    """Return a stop that is on a day, with the crew of it."""
    stop = PlannedStop.objects.select_related("day__crew").get(plan=plan, **which)
    assert stop.day is not None
    assert stop.arrive_minute is not None
    return stop, stop.day.crew


def reasons(plan):
    rows = PlannedStop.objects.filter(plan=plan, day__isnull=True).order_by("position")
    return dict(rows.values_list("position", "reason"))


def test_every_piece_of_work_is_on_a_day_once_or_named_with_its_reason(agency, programme):
    crew = a_crew(agency, skills=[], shift_minutes=120)
    near = [to_replace(programme, -89.5 - n / 100) for n in range(9)]
    overhead = to_replace(programme, mount="overhead")
    far = to_replace(programme, -89.0)
    plan = planned(programme, crew, days=2)
    rows = PlannedStop.objects.filter(plan=plan)
    work = {each.position_id for each in [*near, overhead, far]}
    assert sorted(rows.values_list("position", flat=True)) == sorted(work)
    why = reasons(plan)
    assert why[overhead.position_id] == "no crew has: bucket truck"
    assert why[far.position_id].startswith("too far away, or too long a work")
    assert any(each.startswith("no time left on the days given") for each in why.values())
    assert len(served(plan)) + len(why) == len(work)
    # By hand: 60 × (0.4 + 0.3) = 42 min a stop, so at most two in 120 minutes with their ways.
    for day in PlannedDay.objects.filter(plan=plan):
        assert 1 <= day.stops.count() <= 2
        assert day.minutes <= 120
    assert plan.result["stops"] == len(served(plan))
    assert plan.result["unserved"] == len(why)


def test_a_day_says_when_to_leave_and_when_work_begins_at_each_stop(agency, programme):
    to_replace(programme, -89.52)
    plan = planned(programme, a_crew(agency))
    day = PlannedDay.objects.get(plan=plan)
    stop = day.stops.get()
    # By hand: 0.02° at 43° N are 1 627 m × 1.3 ÷ 13.41 m/s = 158 s of way, from 07:00 on.
    assert day.leave_minute == 420
    assert stop.arrive_minute == 423
    assert stop.service_minutes == pytest.approx(42.0)
    assert day.drive_mi == pytest.approx(2 * 1627 * 1.3 / 1609.344, abs=0.03)
    assert day.minutes == pytest.approx(42 + 2 * 158 / 60, abs=1)


def test_two_faces_of_one_support_are_one_visit_set_up_once(agency, programme):
    support = make_support(agency, support_type="wood")
    to_replace(programme, support=support)
    to_replace(programme, support=support)
    plan = planned(programme, a_crew(agency))
    [day] = PlannedDay.objects.filter(plan=plan)
    minutes = list(day.stops.order_by("number").values_list("service_minutes", flat=True))
    assert minutes == [pytest.approx(42.0), pytest.approx(24.0)]
    assert day.minutes == pytest.approx(66, abs=1)


def test_the_bucket_truck_goes_where_signs_hang_over_the_road(agency, programme):
    plain, bucket = a_crew(agency, "Plain", skills=[]), a_crew(agency, "Bucket")
    over = to_replace(programme, support_type="overhead_bridge")
    plan = planned(programme, plain, bucket)
    assert on_a_day(plan, position=over.position)[1] == bucket


def test_looks_by_night_go_to_a_crew_that_reads_at_night(agency, programme):
    day_crew = a_crew(agency, "Day")
    night = a_crew(
        agency, "Night", skills=["night_reading"], day_starts_minute=1260, shift_minutes=300
    )
    draft = make_package(
        organisation=agency,
        title="To look at",
        work_on=MONDAY,
        stops=[WantedStop(make_position(agency), "look")],
        now=NOW,
    )
    to_replace(programme)
    plan = planned(programme, day_crew, night, packages=(draft.pk,))
    look, crew = on_a_day(plan, task="look")
    assert (crew, look.source) == (night, "chosen")
    assert look.arrive_minute >= 1260
    assert on_a_day(plan, task="replace")[1] == day_crew


def test_what_must_come_first_gets_the_first_day_and_what_is_due_late_waits(agency, programme):
    crew = a_crew(agency, shift_minutes=60)
    late = to_replace(programme, -89.51, safety_class=4)
    must = to_replace(programme, -89.49, must_by_year=YEAR)
    plan = planned(programme, crew, days=2)
    days = dict(PlannedStop.objects.filter(plan=plan).values_list("position", "day__work_on"))
    assert days == {
        must.position_id: MONDAY, late.position_id: MONDAY + timedelta(days=1),
    }  # fmt: skip


def test_crews_go_out_on_their_working_days_that_are_free(agency, programme):
    crew = a_crew(agency, weekdays="135")
    span = (MONDAY, MONDAY + timedelta(days=6))
    free = crew_tours.free_days([crew], *span, days_off=[date(2027, 5, 5)])
    assert free == {crew.pk: [date(2027, 5, 3), date(2027, 5, 7)]}
    package = make_package(
        organisation=agency, title="Taken", work_on=date(2027, 5, 7), stops=[], now=NOW
    )
    type(package).objects.filter(pk=package.pk).update(team=crew)
    assert crew_tours.free_days([crew], *span, days_off=[])[crew.pk][-1] == date(2027, 5, 5)
    to_replace(programme)
    with pytest.raises(OutOfRangeError, match="has a free working day from 2027-05-04"):
        planned(programme, crew, first_on=date(2027, 5, 4), last_on=date(2027, 5, 4))


def test_what_a_crew_left_or_added_is_taken_up_again(agency, programme):
    crew, person = a_crew(agency), make_person(agency)
    reading, seen = make_position(agency), make_position(agency)
    before = make_package(
        organisation=agency,
        title="Last week",
        work_on=MONDAY - timedelta(days=7),
        stops=[WantedStop(reading, "read")],
        now=NOW,
    )
    type(before).objects.filter(pk=before.pk).update(programme=programme)
    hand_out(package=before, now=NOW)
    record_stop(stop=before.stops.get(), outcome="not_done", reason="rain", by=person, now=NOW)
    add_work(package=before, position=seen, task="repair", note="leans", by=person, now=NOW)
    close_package(package=before, now=NOW)
    plan = planned(programme, crew)
    found = {each.position_id: each for each in PlannedStop.objects.filter(plan=plan)}
    assert set(found) == {reading.pk, seen.pk}
    assert found[reading.pk].note == "not done last time: rain"
    assert (found[seen.pk].task, found[seen.pk].note) == ("repair", "leans")
    assert found[seen.pk].source == "left_over"


def test_a_face_in_stock_is_named_once(agency, programme):
    # Without its own sheeting on record no face is the right one: both are of one kind.
    first, second = to_replace(programme, -89.51), to_replace(programme, -89.49)
    face = Sign.objects.create(
        owner=agency, state="in_stock", sign_code="R1-1", width_in=30.0, height_in=30.0,
        label_id="A-1",
    )  # fmt: skip
    for old in first.sign.colour_areas.order_by("number"):
        old.pk, old.sign, old._state.adding = None, face, True
        old.save()
    plan = planned(programme, a_crew(agency))
    named = PlannedStop.objects.filter(plan=plan, face=face)
    assert named.count() == 1
    assert named.get().position_id in (first.position_id, second.position_id)


def test_more_work_than_can_be_planned_at_once_is_named(agency, programme, monkeypatch):
    monkeypatch.setattr(crew_tours, "MOST_WORK", 2)
    for n in range(3):
        to_replace(programme, -89.5 - n / 100)
    plan = planned(programme, a_crew(agency))
    assert len(served(plan)) == 2
    assert list(reasons(plan).values()) == [crew_tours.TOO_MUCH]


def test_more_working_days_than_can_be_planned_at_once_are_refused(
    agency, programme, monkeypatch
):
    monkeypatch.setattr(crew_tours, "MOST_DAYS", 4)
    to_replace(programme)
    crew = a_crew(agency)
    with pytest.raises(OutOfRangeError, match="have 5 working days in this span; at most 4"):
        planned(programme, crew)
    assert planned(programme, crew, days=4).days.count() == 1


def test_only_an_adopted_programme_and_days_of_its_year_are_planned(agency, programme):
    crew = a_crew(agency)
    for fields, sentence in (
        ({"year": 2030}, "has no year 2030; it runs from 2027 to 2028"),
        ({"first_on": date(2027, 4, 30)}, "begin today, 2027-05-01, or later"),
        ({"last_on": date(2027, 5, 2)}, "is before the first"),
        ({"last_on": date(2028, 1, 1)}, "end them by 2027-12-31"),
    ):
        with pytest.raises(OutOfRangeError, match=sentence):
            opened(programme, crew, **fields)
    draft = a_programme(agency, name="Draft", state="draft")
    with pytest.raises(StateConflictError, match="Adopt it first"):
        opened(draft, crew)
    foreign = a_crew(make_agency("Elsewhere"))
    with pytest.raises(StateConflictError, match="no longer goes out"):
        opened(programme, foreign)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"seconds": 61}, "give 2 to 60"),
        ({"month": 13}, "There is no month 13"),
        ({"by_day": (600, 600)}, "Work by day may begin"),
        ({"by_night": (1440, 1500)}, "Work by night may begin"),
        (
            {"takes_planned": False, "takes_damage": False, "takes_left_over": False},
            "No work is ticked",
        ),
    ],
)
def test_what_cannot_be_asked_for_says_why(agency, fields, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        asked_for(a_crew(agency), **fields)
    with pytest.raises(OutOfRangeError, match="No crew is ticked"):
        asked_for()


def test_one_planning_at_a_time_and_a_dead_one_is_taken_over(agency, programme):
    crew, person = a_crew(agency), make_person(agency)
    to_replace(programme)
    first = opened(programme, crew, by=person)
    with pytest.raises(StateConflictError, match=f"being planned by {person} since"):
        opened(programme, crew)
    second = open_plan(
        programme=programme,
        year=YEAR,
        first_on=MONDAY,
        last_on=MONDAY,
        asked=asked_for(crew),
        now=AT + crew_days.SILENT_FOR,
    )
    # The one taken over as dead writes nothing any more.
    with pytest.raises(StateConflictError, match="nothing of it is kept"):
        plan_crew_days(first)
    assert not PlannedStop.objects.exists()
    give_up(plan=second)
    with pytest.raises(StateConflictError, match="given up or taken over"):
        plan_crew_days(second)
    second.refresh_from_db()
    assert second.error == "It was given up."


def test_nothing_to_do_says_so(agency, programme):
    with pytest.raises(OutOfRangeError, match="Nothing of what is ticked is to be done"):
        planned(programme, a_crew(agency))
    newest = newest_plan(programme=programme, year=YEAR)
    assert newest is not None
    assert newest.error.startswith("Nothing of what is ticked")
    assert newest_plan(programme=programme, year=YEAR + 1) is None


def test_planning_anew_replaces_days_that_were_not_made_into_packages(agency, programme):
    crew = a_crew(agency)
    to_replace(programme)
    first = planned(programme, crew)
    second = planned(programme, crew)
    assert list(CrewPlan.objects.all()) == [second]
    assert first.pk != second.pk


def test_the_command_plans_what_a_page_began(agency, programme, capsys):
    to_replace(programme)
    plan = opened(programme, a_crew(agency))
    call_command("plan_crew_days", plan=plan.pk)
    assert "1 crew days with 1 stops; 0 left out." in capsys.readouterr().out
    with pytest.raises(CommandError, match="There is no open plan"):
        call_command("plan_crew_days", plan=plan.pk)


def test_planning_asks_as_many_questions_for_one_stop_as_for_many(
    agency, programme, django_assert_max_num_queries
):
    crew = a_crew(agency)
    for n in range(12):
        to_replace(programme, -89.5 - n / 100)
    plan = opened(programme, crew)
    with django_assert_max_num_queries(45):
        plan_crew_days(plan)
    assert len(served(plan)) == 12


def test_severe_damage_comes_before_what_must_be_replaced_and_moderate_damage_after(
    agency, programme
):
    must = to_replace(programme, must_by_year=YEAR)
    kinds = {
        "severe": damaged(agency, kind="vandalised", severity=3, safety_class=4),
        "down": damaged(agency, kind="knocked_down", severity=3, safety_class=1),
        "bent": damaged(agency, kind="bent", severity=2, safety_class=1),
        "late": damaged(agency, kind="bent", severity=2, safety_class=1, due_on=MONDAY),
    }
    done = damaged(agency, kind="bent", severity=3, is_open=False, way="repaired")
    packed = damaged(agency, kind="bent", severity=3)
    make_package(
        organisation=agency, title="Now", work_on=MONDAY,
        stops=[WantedStop(packed, "repair")], now=NOW,
    )  # fmt: skip
    plan = opened(programme, a_crew(agency))
    work = work_for(
        programme=programme, year=YEAR, asked=CrewDaysAsked.of_json(plan.asked), last_on=MONDAY
    )
    order = [each.position.pk for each in work]
    # Of equal weight, what has a day by which it is to be done comes first.
    assert order == [
        kinds["down"].pk, kinds["severe"].pk, kinds["late"].pk, must.position_id,
        kinds["bent"].pk,
    ]  # fmt: skip
    assert done.pk not in order
    tasks = {each.position.pk: (each.task, each.note) for each in work}
    assert tasks[kinds["down"].pk] == ("install", "damage: knocked down")
    assert tasks[kinds["bent"].pk] == ("install", "damage: bent")


def test_damage_is_repaired_unless_it_asks_for_a_new_face(agency, programme):
    tasks = {}
    for kind, severity in (("bent", 3), ("vandalised", 3), ("vandalised", 2), ("missing", 2)):
        place = position_of(make_sign(agency))
        damaged(agency, place, kind=kind, severity=severity)
        tasks[place.pk] = (kind, severity)
    plan = opened(programme, a_crew(agency))
    asked = CrewDaysAsked.of_json(plan.asked)
    work = work_for(programme=programme, year=YEAR, asked=asked, last_on=MONDAY)
    assert {tasks[each.position.pk]: str(each.task) for each in work} == {
        ("bent", 3): "repair",
        ("vandalised", 3): "replace",
        ("vandalised", 2): "repair",
        ("missing", 2): "replace",
    }
