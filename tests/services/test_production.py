"""The shop: stock, the press log, runs and what becomes of them, and how a face was made."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from inventory.engineering.production.labels import read_label
from inventory.errors import NoPublishedValueError, OutOfRangeError, StateConflictError
from inventory.models import (
    ColourArea,
    LayoutFace,
    LogbookEntry,
    Organisation,
    Press,
    PressEvent,
    PrintOrder,
    PrintRun,
    QualityReading,
    Role,
    Sign,
)
from inventory.services.installation import remove_sign
from inventory.services.ordering import add_line, draft_order, order_progress, release_order
from inventory.services.production import (
    add_press,
    loaded_at,
    production_record,
    receive_overlay,
    receive_roll,
    record_press_event,
    record_print_run,
    record_quality_reading,
)
from tests.factories import (
    NOW,
    make_agency,
    make_person,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    print_order,
)
from tests.races import at_once

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)
START, END = NOW - timedelta(minutes=31), NOW - timedelta(minutes=1)  # of factories.print_order


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def shop(agency):
    return make_shop(agency=agency)


def event(press: Press, kind: str, happened_at: datetime, **fields: Any) -> PressEvent:
    return record_press_event(
        press=press, kind=kind, happened_at=happened_at, **{"now": NOW} | fields
    )


def ink(press: Press, lot: str, happened_at: datetime, color: str = "red") -> PressEvent:
    return event(
        press,
        "ink_changed",
        happened_at,
        ink_channel="1",
        ink_color=color,
        ink_lot=lot,
    )


def stock_order(agency: Organisation, shop: Organisation, **lines: int) -> PrintOrder:
    """Return a released order of faces for stock: a base colour and how many of it."""
    order = draft_order(agency=agency, shop=shop, now=NOW).order
    for color, quantity in lines.items():
        name = color.replace("_", "-")
        add_line(
            order=order,
            sign_code="W1-2",
            width_in=24,
            height_in=24,
            quantity=quantity,
            sheeting_type="XI",
            background_color="" if name == "white" else name,
            now=NOW,
        )
    return release_order(order=order, now=NOW)


# --- stock


def test_a_roll_is_received_once_with_its_lot_and_sheeting(shop):
    roll = make_roll(shop, roll_number=" 77 ", lot="A1", sheeting_type="type ix")
    assert (roll.roll_number, roll.sheeting_type, roll.optics) == ("77", "IX", "prismatic")
    assert LogbookEntry.objects.owned_by(shop).get().text == (
        "Roll 77 received: white Type IX prismatic, lot A1, 48 in × 150 ft."
    )
    with pytest.raises(StateConflictError, match=r"already has roll 77 \(lot A1\); a roll is"):
        make_roll(shop, roll_number="77")


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"sheeting_type": "XX"}, "'XX' is not a sheeting type"),
        ({"sheeting_type": "III"}, "made beaded and prismatic; say which of them this roll is"),
        ({"optics": "shiny"}, "'shiny' is no kind of optics"),
        ({"color": "pink"}, "'pink' is no sheeting colour; use one of white, yellow"),
        ({"width_in": 0.0}, "The width of a roll cannot be 0 in; it has to be over 0 in"),
        ({"length_ft": -1.0}, "The length of a roll cannot be -1 ft"),
        ({"lot": ""}, "lot: This field cannot be blank"),
        ({"received_on": date(2026, 6, 2)}, "received on 2026-06-02; today is 2026-06-01"),
    ],
)
def test_a_roll_that_is_none_is_refused(shop, fields, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        make_roll(shop, **fields)


def test_a_type_that_is_not_made_that_way_is_refused(shop):
    with pytest.raises(NoPublishedValueError, match="no column for prismatic Type I sheeting"):
        make_roll(shop, sheeting_type="I", optics="prismatic")


def test_a_roll_received_today_where_the_shop_is_is_not_of_tomorrow(shop):
    shop.time_zone = "Pacific/Auckland"  # UTC+12 in June
    shop.save()
    assert make_roll(shop, received_on=date(2026, 6, 2)).received_on == date(2026, 6, 2)


def test_an_overlay_and_a_press_are_kept_by_number_and_name(shop):
    fields: dict[str, Any] = {"lot": "O1", "width_in": 48.0, "length_ft": 150.0, "now": NOW}
    receive_overlay(shop=shop, roll_number="9", **fields)
    with pytest.raises(StateConflictError, match=r"already has overlay 9 \(lot O1\)"):
        receive_overlay(shop=shop, roll_number="9", **fields)
    with pytest.raises(OutOfRangeError, match="width of a roll cannot be nan in"):
        receive_overlay(shop=shop, roll_number="10", **fields | {"width_in": float("nan")})
    add_press(shop=shop, name="North", width_in=54.0, rate_ft2_per_h=162.0, now=NOW)
    with pytest.raises(StateConflictError, match="already has a press 'North'"):
        add_press(shop=shop, name="North", width_in=54.0, rate_ft2_per_h=162.0, now=NOW)
    with pytest.raises(OutOfRangeError, match="rate of a press cannot be 0 ft²/h"):
        add_press(shop=shop, name="South", width_in=54.0, rate_ft2_per_h=0.0, now=NOW)


def test_an_agency_keeps_no_rolls(agency):
    with pytest.raises(StateConflictError, match="road agency; only a sign shop keeps rolls"):
        receive_roll(
            shop=agency,
            roll_number="1",
            lot="A",
            sheeting_type="XI",
            color="white",
            width_in=48.0,
            length_ft=150.0,
            now=NOW,
        )


# --- the press log


def test_what_is_loaded_follows_from_the_log(shop):
    roll, overlay = (
        make_roll(shop),
        receive_overlay(
            shop=shop, roll_number="9", lot="O1", width_in=48.0, length_ft=150.0, now=NOW
        ),
    )
    press = make_press(shop)
    before = loaded_at(press, NOW)
    assert (before.roll, before.is_roll_known, dict(before.inks)) == (None, False, {})
    event(press, "roll_loaded", NOW - 3 * HOUR, roll=roll)
    event(press, "overlay_loaded", NOW - 3 * HOUR, overlay=overlay)
    ink(press, "K-1", NOW - 3 * HOUR, color="Fluorescent Red")
    event(press, "roll_taken_off", NOW - HOUR, roll=roll, remaining_ft=90.0)
    then, now = loaded_at(press, NOW - 2 * HOUR), loaded_at(press, NOW)
    assert (then.roll, then.overlay, dict(then.inks)) == (roll, overlay, {"1": "K-1"})
    assert dict(then.ink_colors) == {"1": "fluorescent-red"}
    assert (now.roll, now.is_roll_known, now.overlay) == (None, True, overlay)


@pytest.mark.parametrize(
    ("kind", "sentence"),
    [
        ("roll_loaded", "'roll loaded' has to say which roll"),
        ("roll_taken_off", "'roll taken off' has to say which roll"),
        ("overlay_loaded", "'overlay film loaded' has to say which overlay roll"),
        ("overlay_taken_off", "has to say which overlay roll"),
        ("ink_changed", "has to say which channel and which ink lot"),
        ("withdrawn", "'withdrawn: did not happen' has to say which event"),
        ("exploded", "kind: Value 'exploded' is not a valid choice"),
    ],
)
def test_an_event_says_what_its_kind_needs(shop, kind, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        event(make_press(shop), kind, NOW - HOUR)


def test_an_event_is_not_of_the_future_nor_without_a_zone(shop):
    press = make_press(shop)
    with pytest.raises(OutOfRangeError, match="2026-06-01 13:00 UTC is still to come"):
        event(press, "check_passed", NOW + HOUR)
    with pytest.raises(OutOfRangeError, match="12:00 has no time zone"):
        event(press, "check_passed", NOW.replace(tzinfo=None))


def test_another_shops_roll_is_not_loaded(shop):
    theirs = make_roll(make_shop())
    with pytest.raises(StateConflictError, match=f"belongs to .*, not to {shop}"):
        event(make_press(shop), "roll_loaded", NOW - HOUR, roll=theirs)


def test_a_roll_is_not_loaded_before_it_came_nor_left_with_more_than_it_had(shop):
    roll = make_roll(shop, received_on=date(2026, 6, 1))
    press = make_press(shop)
    with pytest.raises(OutOfRangeError, match="was received on 2026-06-01, after 2026-05-31"):
        event(press, "roll_loaded", NOW - 24 * HOUR, roll=roll)
    event(press, "roll_loaded", NOW - 2 * HOUR, roll=roll)
    for remaining_ft in (151.0, -1.0):
        with pytest.raises(OutOfRangeError, match="was received with 150 ft"):
            event(press, "roll_taken_off", NOW - HOUR, roll=roll, remaining_ft=remaining_ft)


def test_a_roll_is_on_one_press_at_a_time(shop):
    roll = make_roll(shop)
    first, second = make_press(shop, roll), make_press(shop)
    with pytest.raises(StateConflictError, match=f"was on {first} at 2026-06-01 11:00 UTC"):
        event(second, "roll_loaded", NOW - HOUR, roll=roll)
    event(first, "roll_taken_off", NOW - 2 * HOUR, roll=roll)
    event(second, "roll_loaded", NOW - HOUR, roll=roll)
    assert loaded_at(second, NOW).roll == roll


def test_what_is_not_on_cannot_be_taken_off(shop):
    on, other = make_roll(shop), make_roll(shop)
    press = make_press(shop, on)
    with pytest.raises(StateConflictError, match=rf"by the press log roll {on.roll_number}"):
        event(press, "roll_taken_off", NOW - HOUR, roll=other)
    assert press.events.count() == 1


def test_a_late_entry_that_makes_nonsense_of_the_log_is_refused(shop):
    first, second = make_roll(shop), make_roll(shop)
    press = make_press(shop, first)
    event(press, "roll_taken_off", NOW - HOUR, roll=first)
    with pytest.raises(StateConflictError, match=rf"roll {first.roll_number} .* cannot have"):
        event(press, "roll_loaded", NOW - 2 * HOUR, roll=second)


def test_a_correction_replaces_an_event_and_a_withdrawal_takes_it_back(shop):
    wrong, right = make_roll(shop), make_roll(shop)
    press = make_press(shop)
    mistake = event(press, "roll_loaded", NOW - 3 * HOUR, roll=wrong)
    better = event(press, "roll_loaded", NOW - 2 * HOUR, roll=right, corrects=mistake)
    assert not loaded_at(press, NOW - 3 * HOUR).is_roll_known
    assert loaded_at(press, NOW).roll == right
    with pytest.raises(StateConflictError, match=f"already corrected by event {better.pk};"):
        event(press, "withdrawn", NOW, corrects=mistake)
    event(press, "withdrawn", NOW, corrects=better)
    assert not loaded_at(press, NOW).is_roll_known
    assert press.events.count() == 3


def test_an_event_of_another_press_is_not_corrected_here(shop):
    there = make_press(shop, make_roll(shop))
    here = make_press(shop)
    with pytest.raises(StateConflictError, match=f"happened at {there}, not at {here}"):
        event(here, "withdrawn", NOW, corrects=there.events.get())


# --- runs


def test_a_run_makes_faces_in_the_shops_stock(agency, shop):
    shop.time_zone = "America/Chicago"
    shop.save()
    signs = [make_sign(agency) for _ in range(3)]
    order = make_released_order(agency, shop, signs)
    roll = make_roll(shop)
    press = make_press(shop, roll)
    ink(press, "R-1", NOW - 2 * HOUR)
    operator = make_person(shop, role=Role.SHOP)
    # The run ends at 04:59 UTC on 2 June, which is 23:59 on 1 June in Chicago (UTC-5).
    run = print_order(
        order, press, now=datetime(2026, 6, 2, 5, 0, tzinfo=UTC), operator=operator
    )
    faces = list(run.signs.order_by("print_number"))
    assert [face.print_number for face in faces] == [1, 2, 3]
    for face in faces:
        assert (face.state, face.maker, face.owner) == (Sign.State.IN_STOCK, shop, None)
        assert (face.sign_code, face.width_in, face.height_in) == ("R1-1", 30.0, 30.0)
        assert face.fabricated_on == date(2026, 6, 1)
        assert face.label_id == read_label(face.label_id.lower())
    assert len({face.label_id for face in faces}) == 3
    areas = [
        (area.part, area.color, area.sheeting_type, area.optics, area.colouring)
        for area in faces[0].colour_areas.all()
    ]
    assert areas == [
        ("background", "red", "XI", "prismatic", ColourArea.Colouring.PRINTED_SPOT),
        ("legend", "white", "XI", "prismatic", ColourArea.Colouring.SHEETING),
    ]
    assert (run.layout.order, run.layout.roll, run.operator) == (order, roll, operator)
    lines = LayoutFace.objects.filter(layout=run.layout).order_by("sign__print_number")
    assert [face.line.replaces for face in lines] == signs
    # Three octagons of 30 in are cut from 6.25 ft² each.
    assert run.printed_area_ft2 == 18.75
    order.refresh_from_db()
    assert order.state == PrintOrder.State.PRINTED
    for party in (agency, shop):
        entry = LogbookEntry.objects.owned_by(party).get(verb="record print run")
        assert f"3 faces printed in {run} on {roll}; printed." in entry.text


def test_every_colour_of_a_face_is_kept_once(agency, shop):
    # R1-2 has a white ground, and red legend and border (MUTCD 11th edition section 2B.05);
    # W3-2 is yellow with black, red and white.
    order = draft_order(agency=agency, shop=shop, now=NOW).order
    for code in ("R1-2", "W3-2"):
        add_line(
            order=order,
            sign_code=code,
            width_in=36,
            height_in=36,
            sheeting_type="XI",
            now=NOW,
        )
    order = release_order(order=order, now=NOW)
    run = print_order(order, make_press(shop, make_roll(shop)))
    yield_sign, ahead = run.signs.order_by("print_number")
    assert [(a.part, a.color) for a in yield_sign.colour_areas.all()] == [
        ("background", "white"),
        ("legend", "red"),
    ]
    assert [(a.number, a.part, a.color, a.colouring) for a in ahead.colour_areas.all()] == [
        (1, "background", "yellow", ""),
        (2, "legend", "black", "opaque"),
        (3, "secondary", "red", ""),
        (4, "secondary", "white", "sheeting"),
    ]


def test_an_order_can_be_printed_in_parts(agency, shop):
    order = stock_order(agency, shop, white=5)
    press = make_press(shop, make_roll(shop))
    line = order.lines.get()
    first = print_order(order, press, line_quantities={line.pk: 2})
    order.refresh_from_db()
    assert (order.state, first.signs.count()) == ("released", 2)
    with pytest.raises(OutOfRangeError, match=r"4 faces of line 1 .*: 3 of 5 are still to be"):
        print_order(order, press, now=NOW + HOUR, line_quantities={line.pk: 4})
    second = print_order(order, press, now=NOW + HOUR)
    order.refresh_from_db()
    assert (order.state, second.signs.count()) == ("printed", 3)
    assert [first.run_number, second.run_number] == ["0001", "0002"]
    with pytest.raises(StateConflictError, match=r"Every face of order .* is printed"):
        print_order(order, press, now=NOW + 2 * HOUR)


@pytest.mark.parametrize(
    ("quantities", "sentence"),
    [
        ({0: 1}, "has no line with key 0"),
        ({}, "The run printed no face of this order"),
    ],
)
def test_a_run_of_nothing_of_the_order_is_refused(agency, shop, quantities, sentence):
    order = stock_order(agency, shop, white=1)
    with pytest.raises(OutOfRangeError, match=sentence):
        print_order(order, make_press(shop, make_roll(shop)), line_quantities=quantities)


def test_one_roll_prints_only_the_lines_of_its_sheeting(agency, shop):
    order = stock_order(agency, shop, fluorescent_yellow=2, white=3)
    press = make_press(shop, make_roll(shop))
    run = print_order(order, press)
    assert run.signs.count() == 3
    assert [each.counts.outstanding for each in order_progress(order)] == [2, 0]
    fluorescent = order.lines.get(base_color="fluorescent-yellow")
    later = NOW + HOUR
    with pytest.raises(
        StateConflictError,
        match=r"Line 1 is to be printed on fluorescent yellow Type XI prismatic, but roll .* "
        r"was on the press, which is white Type XI prismatic",
    ):
        print_order(order, press, now=later, line_quantities={fluorescent.pk: 1})
    with pytest.raises(StateConflictError, match="Line 1 is to be printed on fluorescent"):
        print_order(order, press, now=later)
    assert PrintRun.objects.count() == 1


@pytest.mark.parametrize(
    "fields", [{"sheeting_type": "IV"}, {"sheeting_type": "III", "optics": "beaded"}]
)
def test_a_roll_of_another_type_is_refused(agency, shop, fields):
    order = stock_order(agency, shop, white=1)
    with pytest.raises(StateConflictError, match="which is white Type I"):
        print_order(order, make_press(shop, make_roll(shop, **fields)))


def test_a_press_whose_roll_is_not_known_prints_nothing(agency, shop):
    order = stock_order(agency, shop, white=1)
    press = make_press(shop)
    with pytest.raises(
        StateConflictError,
        match=r"press log does not say which roll was on Press .* from 2026-06-01 11:29 UTC",
    ):
        print_order(order, press)
    roll = make_roll(shop)
    event(press, "roll_loaded", NOW - 3 * HOUR, roll=roll)
    event(press, "roll_taken_off", NOW - 2 * HOUR, roll=roll)
    with pytest.raises(StateConflictError, match=f"{press} had no roll on from"):
        print_order(order, press)


def test_a_roll_changed_in_mid_run_is_two_runs(agency, shop):
    order = stock_order(agency, shop, white=1)
    first, second = make_roll(shop), make_roll(shop)
    press = make_press(shop, first)
    ink(press, "R-1", START + timedelta(minutes=5))
    event(press, "roll_loaded", START + timedelta(minutes=10), roll=second)
    with pytest.raises(
        StateConflictError,
        match=rf"roll {first.roll_number} \(lot {first.lot}\) until 2026-06-01 11:39 UTC, then "
        rf"roll {second.roll_number} \(lot {second.lot}\) until 2026-06-01 11:59 UTC\.",
    ):
        print_order(order, press)


def test_a_draft_a_cancelled_order_and_another_shops_press_are_refused(agency, shop):
    draft = draft_order(agency=agency, shop=shop, signs=[make_sign(agency)], now=NOW).order
    press = make_press(shop, make_roll(shop))
    with pytest.raises(StateConflictError, match="is draft; faces are printed for released"):
        print_order(draft, press)
    order = release_order(order=draft, now=NOW)
    other = make_shop()
    with pytest.raises(StateConflictError, match=f"belongs to {other}, and order .* is with"):
        print_order(order, make_press(other, make_roll(other)))


def test_two_runs_do_not_overlap_on_one_press(agency, shop):
    order = stock_order(agency, shop, white=2)
    press = make_press(shop, make_roll(shop))
    line = order.lines.get()
    print_order(order, press, line_quantities={line.pk: 1})
    with pytest.raises(StateConflictError, match="was printing run 0001 from 2026-06-01 11:29"):
        print_order(order, press, now=NOW + timedelta(minutes=10))
    # One that starts as the other ends does not overlap.
    record_print_run(order=order, press=press, started_at=END, finished_at=NOW, now=NOW)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"finished_at": NOW + HOUR}, r"ends at 2026-06-01 13:00 UTC is not over yet"),
        ({"finished_at": START}, "the start has to be before the end"),
        ({"started_at": START.replace(tzinfo=None)}, "need a time zone"),
        ({"printed_area_ft2": 0.0}, "cannot have printed 0 ft²"),
        ({"roll_length_used_ft": 151.0}, "cannot have used 151 ft .* 150 ft were left"),
        ({"roll_length_used_ft": 0.0}, "cannot have used 0 ft"),
        ({"note": "x" * 256}, "note: .* 255 characters"),
    ],
)
def test_an_impossible_run_is_refused(agency, shop, fields, sentence):
    order = stock_order(agency, shop, white=1)
    press = make_press(shop, make_roll(shop))
    good = {"started_at": START, "finished_at": END, "now": NOW}
    with pytest.raises(OutOfRangeError, match=sentence):
        record_print_run(order=order, press=press, **good | fields)
    assert not Sign.objects.filter(maker=shop).exists()


def test_the_length_used_of_a_roll_adds_up_over_its_runs(agency, shop):
    order = stock_order(agency, shop, white=2)
    press = make_press(shop, make_roll(shop))
    line = order.lines.get()
    print_order(order, press, line_quantities={line.pk: 1}, roll_length_used_ft=100.0)
    with pytest.raises(OutOfRangeError, match=r"60 ft of roll .*, 50 ft were left"):
        print_order(order, press, now=NOW + HOUR, roll_length_used_ft=60.0)
    print_order(order, press, now=NOW + HOUR, roll_length_used_ft=50.0)


def test_a_run_number_is_the_shops_own_or_the_next(agency, shop):
    order = stock_order(agency, shop, white=3)
    press = make_press(shop, make_roll(shop))
    line = order.lines.get()
    one: dict[str, Any] = {"line_quantities": {line.pk: 1}}
    assert print_order(order, press, run_number="B-7", **one).run_number == "B-7"
    assert print_order(order, press, now=NOW + HOUR, run_number=" ", **one).run_number == "0001"
    with pytest.raises(StateConflictError, match="already has a run B-7"):
        print_order(order, press, now=NOW + 2 * HOUR, run_number="B-7", **one)


def test_many_faces_cost_no_more_queries_than_few(agency, shop, django_assert_max_num_queries):
    order = stock_order(agency, shop, white=200)
    press = make_press(shop, make_roll(shop))
    with django_assert_max_num_queries(40):
        run = print_order(order, press)
    assert run.signs.exclude(label_id=None).count() == 200


# --- the log corrected after a run


def test_a_lot_corrected_later_is_the_runs_lot(agency, shop):
    order = stock_order(agency, shop, white=1)
    wrong, right = make_roll(shop), make_roll(shop, lot="RIGHT")
    press = make_press(shop, wrong)
    run = print_order(order, press)
    mistake = press.events.get()
    event(press, "roll_loaded", mistake.happened_at, roll=right, corrects=mistake)
    (face,) = run.signs.all()
    assert production_record(face).roll == right
    assert run.layout.__class__.objects.get(print_run=run).roll == right
    assert LogbookEntry.objects.owned_by(shop).filter(verb="correct run").count() == 1


def test_an_ink_written_down_late_tells_what_made_the_colour(agency, shop):
    order = make_released_order(agency, shop, [make_sign(agency)])
    press = make_press(shop, make_roll(shop))
    (face,) = print_order(order, press).signs.all()
    red = face.colour_areas.get(color="red")
    assert red.colouring == ColourArea.Colouring.UNKNOWN
    ink(press, "R-1", START - HOUR)
    red.refresh_from_db()
    assert red.colouring == ColourArea.Colouring.PRINTED_SPOT


def test_faces_on_record_are_not_turned_into_another_sheeting(agency, shop):
    order = stock_order(agency, shop, white=2)
    press = make_press(shop, make_roll(shop))
    run = print_order(order, press)
    yellow = make_roll(shop, color="yellow")
    late: dict[str, Any] = {"happened_at": NOW - 3 * HOUR, "roll": yellow}
    with pytest.raises(
        StateConflictError,
        match=r"\(yellow Type XI prismatic\) was on during run 0001, whose 2 faces are on "
        r"record as white Type XI prismatic\. .* take them out of use first",
    ):
        event(press, "roll_loaded", **late)
    with pytest.raises(StateConflictError, match="cannot stand beside run 0001"):
        event(press, "roll_loaded", START + timedelta(minutes=1), roll=yellow)
    with pytest.raises(StateConflictError, match="cannot stand beside run 0001"):
        event(press, "withdrawn", NOW, corrects=press.events.get())
    for face in run.signs.all():
        remove_sign(sign=face, removed_on=NOW.date(), reason="other", now=NOW)
    event(press, "roll_loaded", **late)
    order.refresh_from_db()
    assert order.state == "released"


# --- how a face was made


def test_the_production_record_of_a_face_tells_what_was_on_the_press(agency, shop):
    order = make_released_order(agency, shop, [make_sign(agency)])
    roll = make_roll(shop)
    overlay = receive_overlay(
        shop=shop, roll_number="9", lot="O1", width_in=48.0, length_ft=150.0, now=NOW
    )
    press = make_press(shop, roll)
    event(press, "overlay_loaded", NOW - 3 * HOUR, overlay=overlay)
    ink(press, "R-1", NOW - 3 * HOUR)
    ink(press, "R-2", START + timedelta(minutes=10))
    run = print_order(order, press)
    (face,) = run.signs.all()
    record = production_record(face)
    assert (record.roll, record.run, record.order) == (roll, run, order)
    assert record.line == order.lines.get()
    assert record.overlays == (overlay,)
    assert dict(record.rows) == {
        "label": face.label_id,
        "made by": str(shop),
        "made on": "2026-06-01",
        "order": order.number,
        "run": "0001",
        "number in the run": "1",
        "press": str(press),
        "operator": "not known",
        "sheeting roll": roll.roll_number,
        "sheeting lot": roll.lot,
        "place on the roll": "not known",
        "overlay": "overlay 9 (lot O1)",
        "ink 1": "red, lot R-1 or R-2",
        "which of several lots": "estimated by time: the position at a change in mid-run was "
        "not noted",
        "to be built": "not known",
        "dryer": "not known",
        "check before the run": "not known",
        "check after the run": "not known",
        "steps after the press": "not known",
        "blank": "not known",
        "check of the new face": "not known",
        "label made": "not known",
        "shipped": "not known",
        "received": "not known",
    }


def test_an_overlay_known_to_be_off_is_none_and_not_unknown(agency, shop):
    order = stock_order(agency, shop, white=1)
    overlay = receive_overlay(
        shop=shop, roll_number="9", lot="O1", width_in=48.0, length_ft=150.0, now=NOW
    )
    press = make_press(shop, make_roll(shop))
    event(press, "overlay_loaded", NOW - 3 * HOUR, overlay=overlay)
    event(press, "overlay_taken_off", NOW - 2 * HOUR, overlay=overlay)
    (face,) = print_order(order, press).signs.all()
    assert dict(production_record(face).rows)["overlay"] == "none"


def test_of_a_face_from_a_list_nothing_is_known_and_it_says_so(agency):
    sign = make_sign(agency, fabricated_on=date(2014, 1, 1), fabricated_precision="year")
    rows = dict(production_record(sign).rows)
    assert rows.pop("made on") == "2014"
    assert set(rows.values()) == {"not known"}
    assert set(rows) >= {"sheeting lot", "overlay", "inks", "press", "operator", "run"}


# --- readings of new faces


def test_a_reading_of_a_new_face_is_kept_as_it_was_typed(agency, shop):
    order = make_released_order(agency, shop, [make_sign(agency)])
    (face,) = print_order(order, make_press(shop, make_roll(shop))).signs.all()
    reading = record_quality_reading(sign=face, color="white", typed=" 480.50 ", now=NOW)
    assert (reading.typed, reading.ra_cd_lx_m2) == ("480.50", Decimal("480.50"))
    assert (reading.observation_angle_deg, reading.entrance_angle_deg) == (
        Decimal("0.2"),
        Decimal("-4.0"),
    )
    assert production_record(face).quality_readings == (reading,)


@pytest.mark.parametrize(
    ("fields", "error", "sentence"),
    [
        ({"typed": "4,5"}, OutOfRangeError, "'4,5' is not a number"),
        ({"typed": "-1"}, OutOfRangeError, "-1 cd/lx/m² is negative"),
        ({"color": "green"}, OutOfRangeError, "has no green; its colours are red, white"),
        ({"observation_angle_deg": "x"}, OutOfRangeError, "'x' is no angle"),
        ({"observation_angle_deg": "20"}, OutOfRangeError, "Observation angle 20°"),
        ({"taken_at": NOW + HOUR}, OutOfRangeError, "still to come"),
    ],
)
def test_a_reading_that_is_none_is_refused(agency, shop, fields, error, sentence):
    order = make_released_order(agency, shop, [make_sign(agency)])
    (face,) = print_order(order, make_press(shop, make_roll(shop))).signs.all()
    good = {"color": "white", "typed": "480", "now": NOW}
    with pytest.raises(error, match=sentence):
        record_quality_reading(sign=face, **good | fields)
    assert not QualityReading.objects.exists()


def test_a_face_of_unknown_make_has_no_readings_of_its_shop(agency):
    with pytest.raises(StateConflictError, match=r"not known which shop made .* inspection"):
        record_quality_reading(sign=make_sign(agency), color="white", typed="80", now=NOW)


# --- at once


@pytest.mark.django_db(transaction=True)
def test_the_last_face_of_an_order_is_printed_once():
    agency = make_agency()
    shop = make_shop(agency=agency)
    order = stock_order(agency, shop, white=1)
    presses = [make_press(shop, make_roll(shop)) for _ in range(2)]
    outcomes = at_once(*(lambda press=press: print_order(order, press) for press in presses))
    lost = [each for each in outcomes if each is not None]
    assert [type(each) for each in lost] == [StateConflictError]
    assert "Every face of order" in str(lost[0])
    assert Sign.objects.filter(maker=shop).count() == 1


@pytest.mark.django_db(transaction=True)
def test_runs_recorded_at_once_get_numbers_of_their_own():
    agency = make_agency()
    shop = make_shop(agency=agency)
    press = make_press(shop, make_roll(shop))
    orders = [stock_order(agency, shop, white=1) for _ in range(3)]
    outcomes = at_once(
        *(
            lambda order=order, hours=hours: print_order(order, press, now=NOW + hours * HOUR)
            for hours, order in enumerate(orders)
        )
    )
    assert outcomes == [None] * 3
    numbers = PrintRun.objects.values_list("run_number", flat=True)
    assert sorted(numbers) == ["0001", "0002", "0003"]
