"""Damage now, at the desk: reported, corrected, closed by hand and opened again."""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import date, timedelta

import pytest

from inventory.errors import OutOfRangeError, StateConflictError, UnlikelyError
from inventory.models import DamageClosure, DamageReport, DamageStanding, LogbookEntry, Standing
from inventory.services.damage import (
    Told,
    close_damage,
    correct_damage,
    open_damage,
    reopen_damage,
    report_damage,
)
from inventory.services.damage_lists import Order, clock_of, damage_list
from inventory.services.inspection import ObservationInput, record_inspection
from inventory.services.people import create_organisation, set_policy
from inventory.services.standing import mark_due
from tests.factories import NOW, make_agency, make_position, make_sign, position_of

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
DOWN = Told(
    kind="knocked_down",
    channel="call",
    told_by="a caller",
    reported_at=NOW - timedelta(hours=3),
    notified_at=NOW - timedelta(hours=2),
)


@pytest.fixture
def agency():
    return make_agency(damage_days={"severe": {"1": 1}, "moderate": {"1": 7}})


@pytest.fixture
def sign(agency):
    return make_sign(agency)


def tell(sign, told=DOWN, **fields):
    return report_damage(position=position_of(sign), told=told, **{"now": NOW} | fields)


def state(report):
    return DamageStanding.objects.get(report=report)


def test_a_stop_sign_told_down_is_open_with_its_three_clocks_apart(sign):
    report = tell(sign)
    assert (report.reported_at, report.notified_at) == (
        NOW - timedelta(hours=3),
        NOW - timedelta(hours=2),
    )
    assert report.entered_at == NOW
    assert report.sign == sign
    stands = state(report)
    assert stands.is_open
    assert (stands.safety_class, stands.severity) == (1, 3)
    assert stands.due_on == NOW.date() + DAY  # its agency's own time, from the day it knew
    assert list(open_damage(sign.owner)) == [stands]
    entry = LogbookEntry.objects.get(verb="report damage")
    assert "knocked down" in entry.text
    assert "a caller" in entry.text


def test_it_makes_the_sign_due_at_once(sign):
    tell(sign)
    standing = Standing.objects.get(sign=sign)
    assert standing.is_due
    assert standing.condition == Standing.Condition.SEVERE
    assert "knocked down" in standing.due_reason


def test_a_place_whose_sign_is_not_on_record_can_be_told_of_too(agency):
    place = make_position(agency, sign_code="R1-2")
    report = report_damage(position=place, told=replace(DOWN, kind="missing"), now=NOW)
    assert report.sign is None
    assert state(report).safety_class == 1


def test_a_report_sent_twice_is_stored_once_and_other_content_under_its_key_refused(sign):
    key = uuid.uuid4()
    report = tell(sign, client_uuid=key)
    assert tell(sign, client_uuid=key) == report
    assert DamageReport.objects.count() == 1
    with pytest.raises(StateConflictError, match="key of its own"):
        tell(sign, replace(DOWN, kind="missing"), client_uuid=key)


def test_the_same_told_again_is_asked_about_first(sign):
    report = tell(sign)
    with pytest.raises(UnlikelyError, match=f"Damage {report.pk} is open here already"):
        tell(sign)
    second = tell(sign, is_confirmed=True)
    assert second != report
    tell(sign, replace(DOWN, kind="bent", severity=2))  # another kind is another damage


def test_a_day_alone_and_a_day_not_known_stay_as_well_known_as_they_are(sign):
    report = tell(
        sign, replace(DOWN, channel="letter", reported_at=None, notified_at=date(2026, 5, 30))
    )
    assert (report.reported_at, report.reported_precision) == (None, "")
    assert report.notified_precision == "day"
    assert state(report).notified_on == date(2026, 5, 30)
    assert state(report).due_on == date(2026, 5, 31)


def test_where_nobody_knows_when_the_agency_knew_the_time_counts_from_the_entry(sign):
    report = tell(sign, replace(DOWN, reported_at=None, notified_at=None))
    stands = state(report)
    assert stands.notified_on is None
    assert stands.counted_from_on == NOW.date()


def test_a_clock_ten_minutes_ahead_is_taken_and_an_hour_ahead_is_not(sign):
    report = tell(sign, replace(DOWN, reported_at=NOW + timedelta(minutes=10)))
    assert report.reported_at > report.notified_at
    with pytest.raises(OutOfRangeError, match="still to come"):
        tell(sign, replace(DOWN, kind="missing", reported_at=NOW + timedelta(hours=1)))
    with pytest.raises(OutOfRangeError, match="2026-06-02 is still to come"):
        tell(sign, replace(DOWN, kind="missing", notified_at=NOW.date() + DAY))


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"kind": "melted"}, "no kind of damage"),
        ({"channel": "visit"}, "not how damage is told at the desk"),
        ({"told_by": "  "}, "Say who told of it"),
        ({"kind": "bent"}, "Say how bad it is"),
        ({"kind": "bent", "severity": 1}, "not to be acted on now"),
        ({"kind": "bent", "severity": 9}, "use 2"),
        ({"kind": "knocked_down", "severity": 0}, "not to be acted on now"),
        ({"description": "x" * 256}, "cannot be saved"),
        ({"description": "\0"}, "cannot be kept"),
        ({"notified_at": NOW.replace(tzinfo=None)}, "no time zone"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(sign, changes, match):
    with pytest.raises(OutOfRangeError, match=match):
        tell(sign, replace(DOWN, **changes))
    assert not DamageReport.objects.exists()


def test_a_retired_place_has_no_damage(agency):
    place = make_position(agency, is_retired=True)
    with pytest.raises(StateConflictError, match="retired"):
        report_damage(position=place, told=DOWN, now=NOW)


def test_what_is_down_is_severe_whatever_was_typed(sign):
    assert tell(sign, replace(DOWN, severity=1)).severity == 3


def test_a_stop_sign_that_is_down_comes_before_an_old_bend_and_the_clock_can_lead(agency):
    stop, guide = make_sign(agency), make_sign(agency, sign_code="D1-1")
    on = date(2026, 5, 20)
    old_guide = tell(guide, replace(DOWN, kind="bent", severity=3, notified_at=on))
    new_stop = tell(stop, replace(DOWN, notified_at=on + DAY))
    late_stop = tell(stop, replace(DOWN, kind="bent", severity=3, notified_at=on - DAY))
    old_bend = tell(stop, replace(DOWN, kind="leaning", severity=2, notified_at=on - 9 * DAY))
    by_class = [late_stop, new_stop, old_bend, old_guide]
    assert [each.report for each in open_damage(agency)] == by_class
    rows = damage_list(agency, order=Order.CLOCK, today=NOW.date())
    assert [each.report for each in rows] == [old_bend, late_stop, old_guide, new_stop]
    assert state(old_guide).due_on is None  # the agency set no time for class 4


def test_put_right_by_hand_it_is_closed_and_the_sign_is_sound(sign):
    report = tell(sign)
    closure = close_damage(report=report, way="repaired", done_at=NOW, note="new post", now=NOW)
    stands = state(report)
    assert (stands.is_open, stands.way, stands.done_on) == (False, "repaired", NOW.date())
    assert not open_damage(sign.owner).exists()
    standing = Standing.objects.get(sign=sign)
    assert standing.condition == Standing.Condition.SOUND
    assert "knocked down" not in standing.due_reason
    assert closure.done_precision == "minute"
    assert "repaired or straightened" in LogbookEntry.objects.get(verb="close damage").text


def test_damage_seen_on_a_visit_and_closed_by_hand_leaves_no_trace_in_the_standing(sign):
    record_inspection(
        sign=sign,
        taken_at=NOW - 2 * DAY,
        how="visual_day",
        observations=[ObservationInput("leaning", 3)],
        now=NOW - 2 * DAY,
    )
    report = DamageReport.objects.get()
    close_damage(report=report, way="repaired", done_at=NOW.date(), now=NOW)
    assert Standing.objects.get(sign=sign).condition == Standing.Condition.SOUND
    # Seen leaning again, it is new damage with a clock of its own.
    record_inspection(
        sign=sign,
        taken_at=NOW + DAY,
        how="visual_day",
        observations=[ObservationInput("leaning", 3)],
        now=NOW + DAY,
    )
    (again,) = open_damage(sign.owner)
    assert again.report != report
    assert again.counted_from_on == (NOW + DAY).date()
    assert Standing.objects.get(sign=sign).condition == Standing.Condition.SEVERE


def test_closed_twice_under_one_key_is_closed_once_and_otherwise_refused(sign):
    report, key = tell(sign), uuid.uuid4()
    closure = close_damage(report=report, way="repaired", client_uuid=key, now=NOW)
    again = close_damage(report=report, way="repaired", client_uuid=key, now=NOW)
    assert again == closure
    assert closure.done_at is None  # nobody said when
    assert state(report).done_on is None
    with pytest.raises(StateConflictError, match="closed already: repaired"):
        close_damage(report=report, way="repaired", now=NOW)
    with pytest.raises(StateConflictError, match="stays as it is"):
        close_damage(report=report, way="nothing", note="x", client_uuid=key, now=NOW)


@pytest.mark.parametrize(
    ("fields", "match"),
    [
        ({"way": "new_face"}, "A new face closes it when it is put up"),
        ({"way": "gone"}, "use one of repaired, nothing, same"),
        ({"way": "nothing"}, "Say why there is nothing to do"),
        ({"way": "same"}, "Say which other report"),
        ({"way": "repaired", "note": "x" * 256}, "at most 255"),
        ({"way": "repaired", "done_at": NOW + DAY}, "still to come"),
        ({"way": "repaired", "done_at": NOW.date() - DAY}, "cannot have been put right before"),
    ],
)
def test_a_closing_that_cannot_be_is_refused(sign, fields, match):
    report = tell(sign)
    with pytest.raises(OutOfRangeError, match=match):
        close_damage(report=report, now=NOW, **fields)
    assert state(report).is_open


def test_told_of_twice_names_the_report_that_goes_on(sign, agency):
    first = tell(sign)
    second = tell(sign, replace(DOWN, kind="missing", told_by="another caller"))
    elsewhere = tell(make_sign(agency))
    with pytest.raises(StateConflictError, match="not another open report of this place"):
        close_damage(report=second, way="same", same_as=elsewhere, now=NOW)
    with pytest.raises(OutOfRangeError, match="leave it out"):
        close_damage(report=second, way="repaired", same_as=first, now=NOW)
    close_damage(report=second, way="same", same_as=first, now=NOW)
    assert state(first).is_open
    close_damage(report=first, way="repaired", done_at=NOW, now=NOW)
    # Nothing of the second kind is left on the sign either.
    assert Standing.objects.get(sign=sign).condition == Standing.Condition.SOUND


def test_put_right_before_the_agency_knew_is_possible(sign):
    report = tell(sign, replace(DOWN, reported_at=NOW.date() - 3 * DAY))
    close_damage(report=report, way="repaired", done_at=NOW.date() - 2 * DAY, now=NOW)
    assert state(report).done_on < state(report).notified_on


def test_a_closing_taken_back_opens_the_damage_with_its_old_clock(sign):
    report = tell(sign)
    before = state(report).due_on
    close_damage(report=report, way="nothing", note="could not find it", now=NOW)
    reopen_damage(report=report, reason="it lies in the ditch", now=NOW + DAY)
    stands = state(report)
    assert stands.is_open
    assert stands.due_on == before
    assert DamageClosure.objects.count() == 1  # the fact stays
    assert Standing.objects.get(sign=sign).condition == Standing.Condition.SEVERE
    with pytest.raises(StateConflictError, match="no closing to take back"):
        reopen_damage(report=report, reason="again", now=NOW)
    close_damage(report=report, way="repaired", done_at=NOW, now=NOW + DAY)
    assert not state(report).is_open


def test_a_closing_is_taken_back_with_a_reason(sign):
    report = tell(sign)
    close_damage(report=report, way="repaired", now=NOW)
    with pytest.raises(OutOfRangeError, match="Say in a few words why"):
        reopen_damage(report=report, reason=" ", now=NOW)


def test_a_corrected_report_stays_on_record_and_counts_no_more(sign):
    report = tell(sign)
    told = replace(DOWN, notified_at=NOW.date() - 4 * DAY, told_by="the school")
    corrected = correct_damage(report=report, told=told, reason="call log", now=NOW)
    assert DamageReport.objects.count() == 2
    assert [each.report for each in open_damage(sign.owner)] == [corrected]
    assert state(corrected).due_on == NOW.date() - 3 * DAY
    with pytest.raises(
        StateConflictError, match=f"corrected already, by damage {corrected.pk}"
    ):
        correct_damage(report=report, told=told, reason="again", now=NOW)
    with pytest.raises(StateConflictError, match=f"close that one|by damage {corrected.pk}"):
        close_damage(report=report, way="repaired", now=NOW)


def test_what_put_a_corrected_report_right_counts_for_its_correction(sign):
    report = tell(sign)
    close_damage(report=report, way="repaired", done_at=NOW, now=NOW)
    twice = report
    for person in ("the school", "the school bus"):
        twice = correct_damage(
            report=twice, told=replace(DOWN, told_by=person), reason="asked", now=NOW
        )
    assert not state(twice).is_open
    assert state(twice).done_on == NOW.date()


def test_new_times_hold_for_open_damage_from_the_next_daily_run(sign, agency):
    report = tell(sign)
    set_policy(
        agency=agency,
        effective_on=NOW.date(),
        edition="11th-2023",
        basis="board",
        damage_days={"severe": {"1": 0}},
        now=NOW,
    )
    mark_due(organisation=agency, now=NOW)
    assert state(report).due_on == NOW.date()


def test_an_agency_without_rules_keeps_its_damage_with_no_time_set():
    agency = create_organisation(name="New County", kind="agency")
    place = make_position(agency)
    report = report_damage(position=place, told=DOWN, now=NOW)
    assert state(report).due_on is None
    assert state(report).sort_on == state(report).counted_from_on


def test_damage_is_its_agencys_alone(sign):
    tell(sign)
    assert not open_damage(make_agency()).exists()


def test_open_damage_takes_one_query(sign, agency, django_assert_num_queries):
    tell(sign)
    tell(make_sign(agency))
    with django_assert_num_queries(1):
        assert [
            (each.report.told_by, each.sign.sign_code, each.position.support.road)
            for each in open_damage(agency)
        ] == [("a caller", "R1-1", None)] * 2


def standing_at(**fields):
    counted = fields.pop("counted_from_on", date(2026, 6, 1))
    return DamageStanding(is_open=True, counted_from_on=counted, **fields)


@pytest.mark.parametrize(
    ("due_on", "pace", "words"),
    [
        (date(2026, 6, 9), "running", "8 days left"),
        (date(2026, 6, 1), "last-day", "today is the last day"),
        (date(2026, 5, 31), "late", "overdue by 1 day"),
        (date(2026, 1, 1), "late", "overdue by 5 months"),
        (date(2016, 6, 1), "late", "overdue by 10 years"),
        (None, "no-time-set", "known today; no time set"),
    ],
)
def test_the_clock_is_told_in_words_and_by_a_shape_of_its_own(due_on, pace, words):
    clock = clock_of(standing_at(due_on=due_on), date(2026, 6, 1))
    assert (clock.pace, clock.words) == (pace, words)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"way": "repaired", "done_on": date(2026, 6, 1)}, "the day it was known"),
        ({"way": "repaired", "done_on": date(2026, 6, 4)}, "after 3 days"),
        (
            {"way": "new_face", "done_on": date(2026, 6, 4), "due_on": date(2026, 6, 2)},
            "after 3 days, late",
        ),
        ({"way": "repaired", "done_on": None}, ", on a day not known"),
        ({"way": "nothing", "done_on": date(2026, 6, 4)}, "nothing to do"),
    ],
)
def test_what_is_over_says_after_how_long(fields, words):
    row = standing_at(**fields)
    row.is_open = False
    clock = clock_of(row, date(2026, 6, 9))
    assert clock.pace == "over"
    assert clock.words.endswith(words)
