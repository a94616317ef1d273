"""What a press holds and needs: containers, faces split in mid-run, tasks, checks, stock."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    InkChannel,
    InkContainer,
    InkKind,
    LogbookEntry,
    Press,
    PressEvent,
    PrintRun,
)
from inventory.services.ordering import add_line, draft_order, release_order
from inventory.services.production import (
    loaded_at,
    production_record,
    receive_overlay,
    record_press_event,
)
from inventory.services.production.inks import (
    receive_container,
    set_channel,
    set_setup_minutes,
    set_shelf_lives,
    set_stock_days,
)
from inventory.services.production.maintenance import set_task, tasks_of
from inventory.services.production.press_needs import channels_of, press_needs
from inventory.services.production.stock_left import (
    container_left_ml,
    containers_left,
    keeping_of,
    overlays_left,
    roll_left_ft,
)
from tests.factories import NOW, make_agency, make_press, make_roll, make_shop, print_order

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)
START, END = NOW - timedelta(minutes=31), NOW - timedelta(minutes=1)  # of factories.print_order
M2_PER_FT2 = 0.09290304  # exact: 0.3048² (NIST SP 811, from memory)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def shop(agency):
    return make_shop(agency=agency)


@pytest.fixture
def press(shop):
    return make_press(shop, make_roll(shop))


def event(press: Press, kind: str, at: Any, **fields: Any) -> PressEvent:
    return record_press_event(press=press, kind=kind, happened_at=at, **{"now": NOW} | fields)


def container(shop: Any, number: str, **fields: Any) -> InkContainer:
    given: dict[str, Any] = {
        "lot": f"L-{number}",
        "color": "red",
        "kind": InkKind.SPOT,
        "volume_ml": 500.0,
    }
    return receive_container(shop=shop, container_number=number, now=NOW, **given | fields)


def channel(press: Press, name: str = "R1", **fields: Any) -> InkChannel:
    given: dict[str, Any] = {"color": "red", "kind": InkKind.SPOT}
    return set_channel(press=press, name=name, now=NOW, **given | fields)


def put_in(press: Press, box: InkContainer, at: Any, name: str = "R1", **fields: Any) -> Any:
    return event(press, "ink_changed", at, ink_channel=name, container=box, **fields)


def print_red(agency: Any, shop: Any, press: Press, count: int, **fields: Any) -> PrintRun:
    """Print red faces on white, 24 × 24 in, 4 ft² each."""
    order = draft_order(agency=agency, shop=shop, now=NOW).order
    add_line(
        order=order,
        sign_code="R5-1",
        width_in=24,
        height_in=24,
        quantity=count,
        sheeting_type="XI",
        now=NOW,
    )
    return print_order(release_order(order=order, now=NOW), press, **fields)


def lots(run: PrintRun) -> list[tuple[str, ...]]:
    """Return the lots in channel R1 face by face, in the order printed."""
    found = []
    for face in run.signs.order_by("print_number"):
        (ink,) = production_record(face).inks
        found.append(ink.lots)
    return found


# --- what is in the channels


def test_a_container_in_stock_brings_its_colour_and_lot(shop, press):
    channel(press)
    box = container(shop, "1")
    written = put_in(press, box, NOW - HOUR)
    assert (written.ink_color, written.ink_lot, written.ink_kind) == ("red", "L-1", "spot")
    state = loaded_at(press, NOW)
    assert state.inks == {"R1": "L-1"}
    assert state.containers == {"R1": box}


def test_two_channels_carry_one_colour_each_with_its_own_lot(shop, press):
    channel(press, "R1")
    channel(press, "R2")
    put_in(press, container(shop, "1"), NOW - 2 * HOUR, "R1")
    put_in(press, container(shop, "2"), NOW - HOUR, "R2")
    assert loaded_at(press, NOW).inks == {"R1": "L-1", "R2": "L-2"}
    assert [each.lot for each in channels_of(press, loaded_at(press, NOW))] == ["L-1", "L-2"]


def test_the_wrong_ink_for_a_channel_is_refused(shop, press):
    channel(press, color="blue")
    with pytest.raises(StateConflictError, match="takes blue as spot colour; container 1"):
        put_in(press, container(shop, "1"), NOW - HOUR)


def test_a_container_is_in_one_channel_at_a_time(shop, press):
    channel(press, "R1")
    channel(press, "R2")
    box = container(shop, "1")
    first = put_in(press, box, NOW - 2 * HOUR, "R1")
    with pytest.raises(StateConflictError, match="was in channel R1 of"):
        put_in(press, box, NOW - HOUR, "R2")
    # The first was written for the wrong channel: corrected, it is free for the right one.
    put_in(press, box, NOW - 2 * HOUR, "R2", corrects=first)
    assert loaded_at(press, NOW).inks == {"R2": "L-1"}


def test_an_ink_for_mixing_makes_no_spot_colour(agency, shop, press):
    channel(press, "R1", kind=InkKind.PROCESS)
    put_in(press, container(shop, "1", kind=InkKind.PROCESS), NOW - HOUR)
    run = print_red(agency, shop, press, 1)
    (red,) = run.signs.get().colour_areas.filter(color="red")
    assert red.colouring == ""


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"volume_ml": 0.0}, "cannot be 0 ml; type over 0"),
        ({"kind": "dye"}, "'dye' is no kind of ink"),
        ({"color": " "}, "Type the colour"),
        ({"use_by_on": date(2026, 1, 1), "received_on": date(2026, 2, 1)}, "to be used by"),
        ({"received_on": date(2999, 1, 1)}, "cannot have been received on 2999"),
    ],
)
def test_a_container_that_is_none_is_refused(shop, fields, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        container(shop, "1", **fields)


def test_a_container_is_received_once_and_by_shops(agency, shop):
    container(shop, "1")
    with pytest.raises(StateConflictError, match="a container is received once"):
        container(shop, "1")
    with pytest.raises(StateConflictError, match="only a sign shop keeps inks"):
        container(agency, "2")


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"ml_per_m2": 0.0}, "over 0"),
        ({"cover_share": 1.2}, "cannot cover 120 %"),
        ({"kind": ""}, "no kind of ink"),
    ],
)
def test_a_channel_that_is_none_is_refused(press, fields, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        channel(press, **fields)


def test_channels_and_tasks_are_of_one_press_and_named_once(shop, press):
    kept = channel(press)
    with pytest.raises(StateConflictError, match="already has a channel R1"):
        channel(press)
    other = make_press(shop)
    with pytest.raises(StateConflictError, match="is on"):
        channel(other, channel=kept)
    task = set_task(press=press, name="Wipe", every_days=1, now=NOW)
    with pytest.raises(StateConflictError, match="already has a task 'Wipe'"):
        set_task(press=press, name="Wipe", every_days=2, now=NOW)
    with pytest.raises(StateConflictError, match="is a task of"):
        event(other, "maintenance_done", NOW - HOUR, task=task)


# --- a change in mid-run


def test_a_change_noted_with_its_face_splits_the_run_there(agency, shop, press):
    channel(press)
    put_in(press, container(shop, "1"), NOW - 2 * HOUR)
    put_in(press, container(shop, "2"), START + timedelta(minutes=3), after_face=3)
    run = print_red(agency, shop, press, 5)
    assert lots(run) == [("L-1",)] * 3 + [("L-2",)] * 2
    record = production_record(run.signs.order_by("print_number")[0])
    assert not record.is_split_estimated
    assert dict(record.rows)["ink R1"] == "red, lot L-1"
    assert "which of several lots" not in dict(record.rows)


def test_a_change_not_noted_is_split_by_time_and_says_so_until_it_is_corrected(
    agency, shop, press
):
    channel(press)
    put_in(press, container(shop, "1"), NOW - 2 * HOUR)
    changed = put_in(press, container(shop, "2"), START + timedelta(minutes=15))
    run = print_red(agency, shop, press, 5)
    assert lots(run) == [("L-1",)] * 2 + [("L-1", "L-2")] + [("L-2",)] * 2
    face = run.signs.order_by("print_number")[0]
    assert "estimated by time" in dict(production_record(face).rows)["which of several lots"]
    put_in(
        press,
        changed.container,
        changed.happened_at,
        after_face=4,
        corrects=changed,
    )
    assert lots(run) == [("L-1",)] * 4 + [("L-2",)]
    assert not production_record(face).is_split_estimated
    assert PressEvent.objects.get(pk=changed.pk).after_face is None  # what was written stays
    assert LogbookEntry.objects.filter(verb="correct run").exists()


def test_an_overlay_changed_in_mid_run_splits_the_faces_too(agency, shop, press):
    films = [
        receive_overlay(
            shop=shop, roll_number=n, lot=n, width_in=48.0, length_ft=150.0, now=NOW
        )
        for n in "AB"
    ]
    event(press, "overlay_loaded", NOW - 2 * HOUR, overlay=films[0])
    event(press, "overlay_loaded", START + timedelta(minutes=9), overlay=films[1], after_face=1)
    run = print_red(agency, shop, press, 2)
    told = [production_record(face).overlays for face in run.signs.order_by("print_number")]
    assert told == [(films[0],), (films[1],)]


# --- tasks and checks


def test_a_task_is_due_again_after_its_days_or_its_hours_of_printing(agency, shop, press):
    daily = set_task(press=press, name="Wipe", every_days=1, now=NOW)
    hours = set_task(press=press, name="Filter", every_hours=0.5, now=NOW)
    assert [each.task for each in press_needs(press, NOW).due] == [hours, daily]
    for task in (daily, hours):
        event(press, "maintenance_done", NOW - 2 * HOUR, task=task)
    assert press_needs(press, NOW).due == []
    print_red(agency, shop, press, 1)  # half an hour
    assert [each.task for each in press_needs(press, NOW).due] == [hours]
    assert {each.task for each in press_needs(press, NOW + 22 * HOUR).due} == {daily, hours}


def test_a_withdrawn_doing_was_not_done(press):
    task = set_task(press=press, name="Wipe", every_days=1, now=NOW)
    done = event(press, "maintenance_done", NOW - HOUR, task=task)
    assert not tasks_of(press, NOW)[0].due.is_due
    event(press, "withdrawn", NOW - HOUR, corrects=done)
    assert tasks_of(press, NOW)[0].due.is_due


@pytest.mark.parametrize(
    ("every", "sentence"),
    [
        ({}, "one of the two"),
        ({"every_days": 1, "every_hours": 1.0}, "one of the two"),
        ({"every_days": 0}, "Every 0 days is out of range"),
        ({"every_hours": float("inf")}, "Every inf hours is out of range"),
    ],
)
def test_a_task_that_never_comes_back_is_refused(press, every, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        set_task(press=press, name="Wipe", now=NOW, **every)


def test_a_failed_check_flags_the_runs_since_the_last_passed_one(agency, shop, press):
    event(press, "check_passed", NOW - 2 * HOUR, check_kind="nozzle")
    run = print_red(agency, shop, press, 1)
    assert press_needs(press, NOW).doubtful == []
    failed = event(press, "check_failed", NOW, check_kind="nozzle")
    needs = press_needs(press, NOW)
    assert needs.doubtful == [run]
    assert needs.failed == [failed]
    rows = dict(production_record(run.signs.get()).rows)
    assert rows["nozzle check before the run"].startswith("passed, ")
    assert rows["nozzle check after the run"].startswith("failed, ")
    event(press, "check_passed", NOW, check_kind="nozzle", corrects=failed)
    assert press_needs(press, NOW).doubtful == []


def test_checks_of_another_kind_long_ago_hide_nothing(agency, shop):
    press = make_press(shop, make_roll(shop), on_at=NOW - 3 * HOUR)
    event(press, "check_passed", NOW - 2000 * HOUR)
    passed = event(press, "check_passed", NOW - 2 * HOUR, check_kind="density")
    run = print_red(agency, shop, press, 1)
    failed = event(press, "check_failed", START + HOUR / 6, check_kind="nozzle")
    needs = press_needs(press, NOW)
    assert needs.failed == [failed]
    assert needs.doubtful == [run]
    assert passed in needs.checks
    rows = dict(production_record(run.signs.get()).rows)
    assert rows["nozzle check after the run"].startswith("failed, ")
    assert rows["print check before the run"].startswith("passed, ")


def test_the_dryer_of_a_face_is_what_it_was_set_to_before_its_run(agency, shop, press):
    event(press, "dryer_set", NOW - 2 * HOUR, dryer_f=140.0)
    event(press, "dryer_set", NOW, dryer_f=32.0)
    run = print_red(agency, shop, press, 1)
    assert dict(production_record(run.signs.get()).rows)["dryer"] == "140 °F"
    with pytest.raises(OutOfRangeError, match="900 °F is out of range"):
        event(press, "dryer_set", NOW, dryer_f=900.0)


# --- what is left and how long it keeps


def test_ink_left_is_the_volume_less_what_the_faces_took(agency, shop, press):
    channel(press, ml_per_m2=12.0, cover_share=0.25)
    box = container(shop, "1")
    put_in(press, box, NOW - 2 * HOUR)
    assert container_left_ml(box) == 500.0
    print_red(agency, shop, press, 10)  # 40 ft²
    left = containers_left([box])[box.pk]
    assert left.left_ml == pytest.approx(500 - 40 * M2_PER_FT2 * 0.25 * 12)
    assert (left.is_estimate, left.is_at_least) == (True, False)


def test_two_channels_of_one_colour_share_what_is_taken(agency, shop, press):
    boxes = [container(shop, "1"), container(shop, "2")]
    for name, box in zip(("R1", "R2"), boxes, strict=True):
        channel(press, name, ml_per_m2=12.0)
        put_in(press, box, NOW - 2 * HOUR, name)
    print_red(agency, shop, press, 10)
    for left in containers_left(boxes).values():
        assert left.left_ml == pytest.approx(500 - 20 * M2_PER_FT2 * 12)
        assert left.is_at_least  # the usual cover is not stated


def test_what_was_measured_overrules_what_was_estimated(agency, shop, press):
    channel(press, ml_per_m2=12.0)
    box = container(shop, "1", volume_ml=None)
    put_in(press, box, NOW - 2 * HOUR)
    assert container_left_ml(box) is None
    print_red(agency, shop, press, 10)
    event(press, "ink_measured", NOW, container=box, remaining_ml=222.0)
    left = containers_left([box])[box.pk]
    assert (left.left_ml, left.is_estimate) == (222.0, False)


def test_ink_without_a_measured_use_is_not_known_once_it_was_printed_with(agency, shop, press):
    channel(press)
    box = container(shop, "1")
    put_in(press, box, NOW - 2 * HOUR)
    print_red(agency, shop, press, 1)
    left = containers_left([box])[box.pk]
    assert left.left_ml is None
    assert "channel R1 is not measured" in left.why


def test_more_than_a_container_held_is_not_left_in_it(shop, press):
    with pytest.raises(OutOfRangeError, match="it held 500 ml when new"):
        event(press, "ink_measured", NOW, container=container(shop, "1"), remaining_ml=501.0)
    with pytest.raises(OutOfRangeError, match="how much ink is left"):
        event(press, "ink_measured", NOW, container=container(shop, "2"))


def test_a_length_measured_off_the_press_overrules_what_the_runs_used(agency, shop):
    roll = make_roll(shop, length_ft=150.0)
    press = make_press(shop, roll)
    print_red(agency, shop, press, 2, roll_length_used_ft=10.0)
    assert roll_left_ft(roll) == 140.0
    event(press, "roll_taken_off", NOW, roll=roll, remaining_ft=131.5)
    assert roll_left_ft(roll) == 131.5


def test_a_run_uses_no_more_than_was_measured_before_it(agency, shop):
    roll = make_roll(shop, length_ft=150.0)
    press = make_press(shop, roll, on_at=NOW - 5 * HOUR)
    event(press, "roll_taken_off", NOW - 4 * HOUR, roll=roll, remaining_ft=12.0)
    event(press, "roll_loaded", NOW - 3 * HOUR, roll=roll)
    with pytest.raises(OutOfRangeError, match="12 ft were left"):
        print_red(agency, shop, press, 2, roll_length_used_ft=13.0)
    print_red(agency, shop, press, 2, roll_length_used_ft=11.0)
    assert roll_left_ft(roll) == 1.0


def test_film_goes_with_the_runs_it_was_on_for(agency, shop, press):
    film = receive_overlay(
        shop=shop, roll_number="F", lot="F", width_in=48.0, length_ft=150.0, now=NOW
    )
    event(press, "overlay_loaded", NOW - 2 * HOUR, overlay=film)
    print_red(agency, shop, press, 2, roll_length_used_ft=10.0)
    left = overlays_left([film])[film.pk]
    assert (left.left_ft, left.is_at_most) == (140.0, False)


def test_a_shelf_life_is_not_known_until_the_shop_states_it_and_a_label_goes_before(shop):
    roll = make_roll(shop, received_on=date(2026, 3, 31))
    assert keeping_of([roll], shop)[roll.pk].use_by_on is None
    set_shelf_lives(
        shop=shop, sheeting_months=11, overlay_months=None, ink_months=None, now=NOW
    )
    kept = keeping_of([roll], shop)[roll.pk]
    assert kept.use_by_on == date(2027, 2, 28)
    assert kept.is_over(date(2027, 3, 1))
    assert not kept.is_over(date(2027, 2, 28))
    set_stock_days(stock=roll, opened_on=None, use_by_on=date(2026, 9, 9), now=NOW)
    kept = keeping_of([roll], shop)[roll.pk]
    assert (kept.use_by_on, kept.is_on_label) == (date(2026, 9, 9), True)
    unknown = make_roll(shop)
    assert keeping_of([unknown], shop)[unknown.pk].use_by_on is None
    with pytest.raises(OutOfRangeError, match="0 months for ink is out of range"):
        set_shelf_lives(
            shop=shop, sheeting_months=None, overlay_months=None, ink_months=0, now=NOW
        )


def test_a_roll_was_opened_when_it_was_first_loaded_unless_it_was_said(shop):
    roll = make_roll(shop)
    press = make_press(shop, roll, on_at=NOW - 48 * HOUR)
    event(press, "roll_taken_off", NOW - 30 * HOUR, roll=roll)
    event(press, "roll_loaded", NOW - HOUR, roll=roll)
    assert keeping_of([roll], shop)[roll.pk].opened_on == shop.day_of(NOW - 48 * HOUR)
    set_stock_days(stock=roll, opened_on=date(2026, 1, 5), use_by_on=None, now=NOW)
    assert keeping_of([roll], shop)[roll.pk].opened_on == date(2026, 1, 5)


def test_a_set_up_time_is_kept_and_bounded(press):
    assert set_setup_minutes(press=press, setup_minutes=12.0, now=NOW).setup_minutes == 12.0
    with pytest.raises(OutOfRangeError, match="-1 minutes of set-up"):
        set_setup_minutes(press=press, setup_minutes=-1.0, now=NOW)
