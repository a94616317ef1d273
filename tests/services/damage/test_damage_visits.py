"""Damage as crews tell of it and put it right: by visits, new faces and what came in late."""

from __future__ import annotations

import uuid
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import (
    DamageClosure,
    DamageReport,
    DamageStanding,
    Inspection,
    Observation,
    Sign,
    Standing,
)
from inventory.services.damage import (
    Told,
    close_damage,
    open_damage,
    reopen_damage,
    report_damage,
)
from inventory.services.damage_times import damage_times
from inventory.services.importing.faces import Made
from inventory.services.inspection import ObservationInput, record_inspection
from inventory.services.inspection_batch import Visit, record_inspections
from inventory.services.installation import install_sign, remove_sign
from inventory.services.merging import merge_signs, undo_sign_merge
from inventory.services.method_coverage import as_known
from inventory.services.method_findings import seen_on
from tests.factories import NOW, make_agency, make_person, make_sign, position_of

pytestmark = pytest.mark.django_db

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
DOWN = Told(kind="knocked_down", channel="police", told_by="the police", notified_at=NOW)


@pytest.fixture
def agency():
    return make_agency(damage_days={"severe": {"1": 1}})


@pytest.fixture
def sign(agency):
    return make_sign(agency)


def look(sign, *seen, at=NOW, now=None, **fields):
    return record_inspection(
        sign=sign,
        taken_at=at,
        how="visual_day",
        observations=[ObservationInput(kind, severity) for kind, severity in seen],
        now=now or max(at, NOW),
        **fields,
    )


@pytest.fixture
def face(agency):
    return Sign.objects.create(
        owner=agency, state="in_stock", sign_code="R1-1", width_in=30.0, height_in=30.0
    )


def put_up(face, sign, **fields):
    return install_sign(
        sign=face,
        position=position_of(sign),
        removal_reason="knocked_down",
        **{"installed_on": NOW.date(), "now": NOW} | fields,
    )


def open_kinds(agency):
    return [each.kind for each in open_damage(agency)]


def test_what_a_crew_saw_is_on_the_list_with_when_it_was_seen_and_when_it_came_in(sign, agency):
    visit = look(sign, ("knocked_down", 3), at=NOW - DAY, now=NOW)
    report = DamageReport.objects.get()
    assert report.observation == visit.observations.get()
    assert (report.reported_at, report.notified_at) == (NOW - DAY, NOW)
    (stands,) = open_damage(agency)
    assert stands.due_on == NOW.date() + DAY  # from the day the agency knew


def test_two_kinds_of_damage_on_one_visit_are_two_reports(sign, agency):
    look(sign, ("bent", 2), ("leaning", 3), ("faded", 2))  # faded is the programme's
    assert sorted(open_kinds(agency)) == ["bent", "leaning"]


def test_the_same_visit_sent_twice_reports_once(sign, agency):
    key = uuid.uuid4()
    for _ in range(2):
        look(sign, ("knocked_down", 3), client_uuid=key)
    assert open_kinds(agency) == ["knocked_down"]
    assert DamageReport.objects.count() == 1


def test_a_phones_clock_ten_minutes_ahead_loses_nothing(sign, agency):
    record_inspection(
        sign=sign,
        taken_at=NOW + timedelta(minutes=10),
        how="visual_day",
        observations=[ObservationInput("knocked_down", 3)],
        now=NOW,
    )
    report = DamageReport.objects.get()
    assert (report.reported_at, report.notified_at) == (NOW + timedelta(minutes=10), NOW)
    # Put right within those ten minutes, it is over all the same.
    report = DamageReport.objects.get()
    close_damage(report=report, way="repaired", done_at=NOW, now=NOW)
    assert not open_damage(agency).exists()
    assert Standing.objects.get(sign=sign).condition == Standing.Condition.SOUND


def test_the_same_damage_seen_again_runs_on_the_clock_it_has(sign, agency):
    look(sign, ("bent", 3), at=NOW - DAY, now=NOW - DAY)
    look(sign, ("bent", 3))
    (stands,) = open_damage(agency)
    assert stands.counted_from_on == (NOW - DAY).date()


def test_damage_told_at_the_desk_and_then_seen_is_one(sign, agency):
    report_damage(position=position_of(sign), told=DOWN, now=NOW)
    look(sign, ("knocked_down", 3), at=NOW + HOUR)
    assert open_kinds(agency) == ["knocked_down"]


def test_damage_that_got_worse_has_a_second_shorter_clock(sign, agency):
    look(sign, ("bent", 2), at=NOW - DAY, now=NOW - DAY)
    look(sign, ("bent", 3))
    assert [each.severity for each in open_damage(agency)] == [3, 2]


@pytest.mark.parametrize(
    "seen", [("general", 0), ("bent", 0), ("bent", 1)], ids=["sound", "not bent", "slight"]
)
def test_a_later_look_that_finds_it_in_order_closes_it(sign, agency, seen):
    look(sign, ("bent", 3), at=NOW - DAY, now=NOW - DAY)
    visit = look(sign, seen)
    assert not open_damage(agency).exists()
    closure = DamageClosure.objects.get()
    assert (closure.way, closure.inspection, closure.done_at) == ("found_sound", visit, NOW)


def test_a_look_at_other_damage_closes_nothing(sign, agency):
    look(sign, ("bent", 3), at=NOW - DAY, now=NOW - DAY)
    look(sign, ("obstructed", 1))
    assert open_kinds(agency) == ["bent"]


def test_an_earlier_look_that_comes_in_late_closes_nothing_and_is_over_itself(sign, agency):
    look(sign, ("general", 0), at=NOW - 2 * DAY, now=NOW - 2 * DAY)
    look(sign, ("bent", 3), at=NOW - DAY, now=NOW - DAY)
    look(sign, ("general", 0), at=NOW - 3 * DAY, now=NOW)
    assert open_kinds(agency) == ["bent"]
    # Seen knocked down before the sign was found sound: told late, over at once.
    look(sign, ("knocked_down", 3), at=NOW - 5 * DAY, now=NOW)
    assert open_kinds(agency) == ["bent"]
    late = DamageStanding.objects.get(kind="knocked_down")
    assert (late.way, late.done_on) == ("found_sound", (NOW - 3 * DAY).date())


def test_a_new_face_closes_what_it_puts_right_and_leaves_the_post_open(sign, agency, face):
    look(sign, ("knocked_down", 3), ("leaning", 2), ("obstructed", 3), at=NOW - DAY)
    up = put_up(face, sign, installed_at=NOW - HOUR, by=make_person(agency))
    assert sorted(open_kinds(agency)) == ["leaning", "obstructed"]
    closure = DamageClosure.objects.get()
    assert (closure.way, closure.new_sign, closure.done_at) == ("new_face", up, NOW - HOUR)
    # What is left counts for the new face, on every screen.
    assert {each.sign for each in open_damage(agency)} == {up}
    assert "hidden by growth" in Standing.objects.get(sign=up).due_reason


def test_put_up_twice_by_a_phone_it_closes_once(sign, agency, face):
    look(sign, ("missing", 3), at=NOW - DAY)
    for _ in range(2):
        put_up(face, sign)
    assert DamageClosure.objects.count() == 1
    assert DamageClosure.objects.get().done_precision == "day"


def test_a_face_for_a_place_with_none_on_record_closes_what_was_told_of_it(agency, face):
    place = position_of(make_sign(agency, state="removed", removal_reason="stolen"))
    report_damage(position=place, told=DOWN, now=NOW)
    later = Told(kind="missing", channel="police", told_by="x", reported_at=NOW + DAY)
    install_sign(sign=face, position=place, installed_on=date(2026, 5, 30), now=NOW)
    # Told on 1 June of 1 June: after the face went up, so of the new one.
    assert open_kinds(agency) == ["knocked_down"]
    assert open_damage(agency).get().sign == face
    report_damage(position=place, told=later, now=NOW + DAY)
    assert sorted(open_kinds(agency)) == ["knocked_down", "missing"]


def test_damage_seen_before_the_new_face_and_sent_after_it_is_over_at_once(sign, agency, face):
    put_up(face, sign)
    look(sign, ("knocked_down", 3), ("leaning", 2), at=NOW - DAY, now=NOW + HOUR)
    assert open_kinds(agency) == ["leaning"]
    stands = DamageStanding.objects.get(kind="knocked_down")
    assert (stands.way, stands.done_on) == ("new_face", NOW.date())


def test_a_face_taken_down_leaves_its_damage_open_until_another_is_up(sign, agency, face):
    look(sign, ("knocked_down", 3), at=NOW - DAY)
    remove_sign(sign=sign, removed_on=NOW.date(), reason="knocked_down", now=NOW)
    assert open_kinds(agency) == ["knocked_down"]
    install_sign(sign=face, position=position_of(sign), installed_on=NOW.date(), now=NOW)
    assert not open_damage(agency).exists()


def test_a_sign_no_longer_needed_has_no_damage(sign, agency):
    look(sign, ("bent", 3), at=NOW - DAY)
    remove_sign(sign=sign, removed_on=NOW.date(), reason="not_needed", now=NOW)
    stands = DamageStanding.objects.get()
    assert (stands.is_open, stands.way) == (False, "nothing")
    look(sign, ("missing", 3), at=NOW - DAY, now=NOW + HOUR)  # told late
    assert not open_damage(agency).exists()


def test_of_two_records_of_one_face_the_damage_counts_for_the_kept_one(sign, agency, face):
    twin = make_sign(agency)
    look(twin, ("knocked_down", 3), at=NOW - DAY)
    merge = merge_signs(kept=sign, duplicate=twin, reason="one face", now=NOW)
    (stands,) = open_damage(agency)
    assert (stands.sign, stands.position) == (sign, position_of(sign))
    assert Standing.objects.get(sign=sign).condition == Standing.Condition.SEVERE
    undo_sign_merge(merge=merge, reason="two faces", now=NOW)
    (stands,) = open_damage(agency)
    assert (stands.sign, stands.position) == (twin, position_of(twin))
    merge_signs(kept=sign, duplicate=twin, reason="one face after all", now=NOW)
    put_up(face, sign)
    assert not open_damage(agency).exists()


def test_damage_of_merged_signs_can_be_closed_by_hand(sign, agency):
    twin = make_sign(agency)
    look(twin, ("bent", 3), at=NOW - DAY)
    merge_signs(kept=sign, duplicate=twin, reason="one face", now=NOW)
    report = DamageReport.objects.get()
    close_damage(report=report, way="repaired", done_at=NOW, now=NOW)
    assert Standing.objects.get(sign=sign).condition == Standing.Condition.SOUND


def test_a_corrected_visit_has_its_damage_known_since_the_first(sign, agency):
    first = look(sign, ("bent", 3), at=NOW - DAY, now=NOW - DAY)
    look(sign, ("bent", 2), at=NOW - 2 * HOUR, corrects=first)
    (stands,) = open_damage(agency)
    assert stands.severity == 2
    assert stands.counted_from_on == (NOW - DAY).date()
    assert stands.report.corrects.observation.inspection == first


def test_damage_on_the_wrong_sign_goes_with_the_correction(sign, agency):
    other = make_sign(agency)
    wrong = look(sign, ("knocked_down", 3), at=NOW - HOUR)
    look(other, ("knocked_down", 3), at=NOW - HOUR, corrects=wrong)
    (stands,) = open_damage(agency)
    assert stands.sign == other


def test_a_corrected_visit_gives_back_what_it_had_closed(sign, agency):
    look(sign, ("bent", 3), at=NOW - DAY, now=NOW - DAY)
    sound = look(sign, ("general", 0), at=NOW - HOUR)
    assert not open_damage(agency).exists()
    look(sign, ("faded", 1), at=NOW - HOUR, corrects=sound)
    assert open_kinds(agency) == ["bent"]


def test_who_saw_it_too_tells_of_it_where_the_first_was_wrong(sign, agency):
    wrong = look(sign, ("bent", 3), at=NOW - DAY, now=NOW - DAY)
    look(sign, ("bent", 3), at=NOW - 2 * HOUR)
    look(sign, ("general", 1), at=NOW - DAY, corrects=wrong)
    (stands,) = open_damage(agency)
    assert stands.counted_from_on == NOW.date()


def test_a_day_sent_at_once_has_its_damage_and_its_end_in_order(sign, agency):
    """A phone sends what it saw and what it put right in one batch, in any order."""
    visits = [
        Visit(
            sign_id=sign.pk,
            taken_at=NOW - hours * HOUR,
            how="visual_day",
            client_uuid=uuid.uuid4(),
            observations=[ObservationInput(kind, severity)],
        )
        for hours, kind, severity in ((1, "general", 0), (3, "bent", 3), (5, "missing", 3))
    ]
    record_inspections(organisation=agency, visits=visits, now=NOW)
    assert not open_damage(agency).exists()
    ended = DamageClosure.objects.order_by("report__kind")
    assert [(each.report.kind, each.done_at) for each in ended] == [
        ("bent", NOW - HOUR),
        ("missing", NOW - HOUR),
    ]


def test_the_number_of_queries_does_not_grow_with_the_signs_seen_damaged(agency):
    def queries(count):
        visits = [
            Visit(
                sign_id=make_sign(agency).pk,
                taken_at=NOW - HOUR,
                how="visual_day",
                client_uuid=uuid.uuid4(),
                observations=[ObservationInput("bent", 3)],
            )
            for _ in range(count)
        ]
        with CaptureQueriesContext(connection) as captured:
            record_inspections(organisation=agency, visits=visits, now=NOW)
        return len(captured)

    assert queries(2) == queries(9)


def test_the_method_record_knows_what_the_desk_was_told_and_what_was_put_right(agency):
    sign = make_sign(agency)
    told = Told(kind="bent", channel="desk", severity=3, reported_at=NOW - 3 * DAY)
    report = report_damage(position=position_of(sign), told=told, now=NOW - DAY)
    close_damage(report=report, way="repaired", done_at=NOW - 2 * HOUR, now=NOW)

    def damaged(days_ago, known):
        on = (NOW - days_ago * DAY).date()
        asked = as_known(agency, on, known, today=NOW.date())
        return list(seen_on(asked))

    assert damaged(2, "now") == [sign.pk]  # it was bent by then, as is known today
    assert damaged(2, "then") == []  # nobody had told of it
    assert damaged(1, "then") == [sign.pk]
    assert damaged(0, "then") == damaged(0, "now") == []
    reopen_damage(report=report, reason="another sign", now=NOW + DAY)
    assert damaged(0, "now") == [sign.pk]
    assert damaged(0, "then") == []


def test_the_damage_a_list_tells_of_is_open_and_counts_in_no_time(agency):
    place = position_of(make_sign(agency))
    sign = place.signs.get()
    visit = Inspection.objects.create(
        organisation=agency,
        sign=sign,
        taken_at=NOW - 400 * DAY,
        recorded_at=NOW,
        how="visual_day",
    )
    seen = Observation(inspection=visit, kind="leaning", severity=2)
    Made(observations=[seen]).save()
    (stands,) = open_damage(agency)
    assert stands.report.channel == "record"
    assert damage_times(agency, since=date(2020, 1, 1), today=NOW.date()).told == 0
