"""Hand-over to the shop: each face is ordered once or covered from stock, and by its day."""

from __future__ import annotations

import random
from collections import Counter
from datetime import date, timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    FaceChoice,
    OrderLine,
    PrintOrder,
    Road,
    Sign,
    StockReservation,
)
from inventory.services.installation import faces_fitting, install_sign, remove_sign
from inventory.services.merging import merge_signs
from inventory.services.ordering import (
    add_line,
    cancel_order,
    draft_order,
    release_order,
    set_line,
)
from inventory.services.ordering.face_choices import (
    choose_sheeting,
    leave_out,
    set_asked_face,
    take_in,
)
from inventory.services.ordering.from_programme import of_package, of_signs
from inventory.services.ordering.hand_over import LineState, draft_hand_over, make_orders
from inventory.services.ordering.reservations import free_face
from inventory.services.ordering.stock_matching import fitting_stock, stock_for
from inventory.services.standards import code_book
from inventory.services.work_packages import record_stop
from tests.factories import (
    NOW,
    make_agency,
    make_position,
    make_press,
    make_roll,
    make_shop,
    make_sign,
    make_standing,
    make_support,
    position_of,
    print_order,
)
from tests.races import at_once
from tests.services.hand_over_world import (
    XI,
    YEAR,
    draft_of,
    hand_over,
    in_stock,
    make_adopted,
    make_many,
    planned,
    stop_at,
)

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
YELLOW = (("background", "yellow"), ("legend", "black"))


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def shop(agency):
    return make_shop(agency=agency)


@pytest.fixture
def programme(agency):
    return make_adopted(agency)


def states(draft) -> list[str]:
    return [each.state.value for each in draft.lines]


# --- by when


def test_lines_are_grouped_by_due_before_and_ordered_the_lead_before(programme):
    planned(programme, date(YEAR, 3, 20))
    planned(programme, date(YEAR, 3, 9))
    planned(programme, date(YEAR, 7, 1))
    planned(programme, date(YEAR + 2, 1, 1))  # due after the year that replaces it
    march, july, december = draft_of(programme).groups
    assert (march.words, march.needed_by) == ("due before 2027-04-01", date(YEAR, 3, 9))
    assert [each.asked.needed_by for each in march.lines] == [
        date(YEAR, 3, 9),
        date(YEAR, 3, 20),
    ]
    # The agency's lead is 60 days from the order to the post.
    assert march.order_by == date(YEAR, 3, 9) - 60 * DAY
    assert july.lines[0].asked.needed_words == "the due date"
    assert december.needed_by == date(YEAR, 12, 31)
    assert december.lines[0].asked.needed_words == "the last day of 2027"


def test_work_that_has_its_day_needs_its_face_the_day_before(programme):
    row = planned(programme, date(YEAR, 9, 9))
    stop_at(row.position, date(YEAR, 4, 1))
    (line,) = draft_of(programme).lines
    assert line.asked.needed_by == date(YEAR, 3, 31)
    assert line.asked.order_by == date(YEAR, 4, 1) - 60 * DAY
    assert line.asked.needed_words == "the day before the work of package Round of 01 April"


def test_what_is_needed_already_comes_first_and_is_late(programme, shop):
    planned(programme, date(2026, 1, 9), year=YEAR)
    planned(programme, date(YEAR, 5, 5))
    first, _may = draft_of(programme).groups
    assert (first.words, first.is_late) == ("needed already", True)
    made = hand_over(programme, shop)
    assert [each.needed_by_on for each in made.orders] == [NOW.date(), date(YEAR, 5, 5)]
    assert made.orders[1].title == "Ten years, 2027: due before 2027-06-01"


def test_class_1_musts_come_first_and_have_first_choice_of_stock(programme, agency):
    planned(programme, date(YEAR, 5, 1), plan_fields={"safety_class": 2})
    must = planned(programme, date(YEAR, 5, 9), plan_fields={"must_by_year": YEAR})
    planned(programme, date(YEAR, 5, 5), plan_fields={"safety_class": 1})
    in_stock(agency)
    (group,) = draft_of(programme).groups
    assert group.lines[0].asked.position == must.position
    assert [each.state.value for each in group.lines] == ["stock", "order", "order"]


@pytest.mark.parametrize(("step", "groups"), [("month", 4), ("quarter", 3), ("all", 1)])
def test_orders_by_month_by_quarter_or_one(programme, step, groups):
    for month in (2, 3, 6, 12):
        planned(programme, date(YEAR, month, 5))
    assert len(draft_of(programme, step=step).groups) == groups


def test_a_step_that_is_none_is_refused(programme):
    with pytest.raises(OutOfRangeError, match="use one of month, quarter, all"):
        draft_of(programme, step="week")


# --- what is left of a year


def test_what_is_done_or_given_up_asks_for_no_face(programme, agency):
    new, gone, retired, knocked = (planned(programme) for _each in range(4))
    for row, reason in ((new, "below_level"), (gone, "not_needed"), (knocked, "knocked_down")):
        remove_sign(sign=row.sign, removed_on=NOW.date(), reason=reason, now=NOW)
    make_sign(agency, position=new.position, installed_on=NOW.date())
    retired.position.is_retired = True
    retired.position.save()
    draft = draft_of(programme)
    # A knocked-down sign is not done: its place still asks for a face.
    assert [each.asked.position for each in draft.lines] == [knocked.position]
    assert states(draft) == ["order"]
    assert len(draft.source.done) == 3


def test_what_the_crew_says_is_done_is_told_and_not_ordered(programme):
    row = planned(programme)
    stop = stop_at(row.position, date(2026, 5, 20))
    record_stop(stop=stop, outcome="done", happened_at=NOW, now=NOW)
    draft = draft_of(programme)
    assert draft.lines == []
    assert "the crew says done on 2026-06-01; no new face is on record" in draft.source.done[0]


def test_a_year_the_programme_does_not_have_is_refused(programme):
    with pytest.raises(OutOfRangeError, match="has no year 2031; it runs from 2027 to 2028"):
        draft_of(programme, year=2031)


@pytest.mark.parametrize("state", ["draft", "ended"])
def test_nothing_is_ordered_of_a_programme_that_is_not_the_adopted_one(agency, shop, state):
    programme = make_adopted(agency, state=state)
    planned(programme)
    assert states(draft_of(programme)) == ["order"]
    with pytest.raises(StateConflictError, match="adopt"):
        hand_over(programme, shop)
    assert not PrintOrder.objects.exists()


# --- nothing twice


def test_handing_over_twice_orders_nothing_twice(programme, shop):
    planned(programme, date(YEAR, 3, 9))
    planned(programme, date(YEAR, 8, 9))
    made = hand_over(programme, shop)
    assert [order.lines.count() for order in made.orders] == [1, 1]
    again = draft_of(programme)
    assert states(again) == ["on_order", "on_order"]
    assert [each.ordered and each.ordered.order for each in again.lines] == made.orders
    with pytest.raises(StateConflictError, match="nothing to order here"):
        hand_over(programme, shop)
    assert OrderLine.objects.count() == 2


def test_a_place_with_a_kept_face_is_on_no_other_order_either(programme, agency, shop):
    row = planned(programme)
    face = in_stock(agency)
    hand_over(programme, shop)
    with pytest.raises(StateConflictError, match=rf"face {face.pk}\) is kept for this pos"):
        draft_order(agency=agency, shop=shop, signs=[row.sign], now=NOW)
    order = draft_order(agency=agency, shop=shop, now=NOW).order
    with pytest.raises(StateConflictError, match="Put it up, or set it free first"):
        add_line(order=order, position=row.position, now=NOW)


def test_what_other_orders_hold_is_told_and_a_cancelled_order_gives_it_back(
    programme, agency, shop
):
    row = planned(programme, date(YEAR, 3, 9))
    order = draft_order(agency=agency, shop=shop, signs=[row.sign], now=NOW).order
    (line,) = draft_of(programme).lines
    assert line.ordered is not None
    assert line.ordered.order == order
    cancel_order(order=order, reason="too early", now=NOW)
    assert states(draft_of(programme)) == ["order"]


def test_a_face_put_up_elsewhere_leaves_its_place_to_be_ordered_again(programme, agency, shop):
    row, other = planned(programme, date(YEAR, 3, 9)), planned(programme, date(YEAR, 3, 10))
    (order,) = hand_over(programme, shop).orders
    release_order(order=order, now=NOW)
    run = print_order(order, make_press(shop, make_roll(shop)))
    first = run.signs.get(layout_face__line__position=row.position)
    assert states(draft_of(programme)) == ["on_order", "on_order"]
    install_sign(
        sign=first,
        position=other.position,
        installed_on=NOW.date(),
        removal_reason="aged",
        now=NOW,
    )
    # The crew took the face of one place for the other: that one is done, the first lacks one.
    (line,) = draft_of(programme).lines
    assert (line.asked.position, line.state) == (row.position, LineState.ORDER)


def test_a_draft_that_has_changed_since_it_was_looked_at_is_not_ordered(programme, shop):
    planned(programme, date(YEAR, 3, 9))
    seen = draft_of(programme).digest
    planned(programme, date(YEAR, 3, 10))
    with pytest.raises(StateConflictError, match="has changed since this draft was shown"):
        hand_over(programme, shop, seen=seen)
    assert not PrintOrder.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_of_two_people_handing_over_at_once_one_does():
    agency = make_agency()
    shop = make_shop(agency=agency)
    programme = make_adopted(agency)
    planned(programme, date(YEAR, 3, 9))
    planned(programme, date(YEAR, 3, 9))
    in_stock(agency)
    seen = draft_of(programme).digest
    outcomes = at_once(*[lambda: hand_over(programme, shop, seen=seen)] * 2)
    assert sum(each is None for each in outcomes) == 1
    assert OrderLine.objects.count() == StockReservation.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_lines_added_by_hand_for_one_position_do_not_pass_each_other():
    agency = make_agency()
    shop = make_shop(agency=agency)
    position = position_of(make_sign(agency))
    orders = [draft_order(agency=agency, shop=shop, now=NOW).order for _each in range(2)]
    outcomes = at_once(
        *(lambda o=order: add_line(order=o, position=position, now=NOW) for order in orders)
    )
    assert sum(each is None for each in outcomes) == 1
    assert OrderLine.objects.filter(position=position).count() == 1


# --- stock


def test_stock_is_used_first_made_first_and_kept_for_its_place(programme, agency, shop):
    early = planned(programme, date(YEAR, 2, 1))
    late = planned(programme, date(YEAR, 5, 1))
    newer, older = in_stock(agency, date(2026, 4, 1)), in_stock(agency, date(2025, 4, 1))
    made = hand_over(programme, shop)
    assert (made.orders, made.kept) == ([], 2)
    kept = dict(StockReservation.objects.values_list("position", "sign"))
    assert kept == {early.position_id: older.pk, late.position_id: newer.pk}
    assert {each.reason for each in StockReservation.objects.all()} == {"Ten years, 2027"}
    # The next hand-over finds them kept, and takes neither for another place.
    third = planned(programme, date(YEAR, 1, 1))
    draft = draft_of(programme)
    assert {each.asked.position: each.state.value for each in draft.lines} == {
        third.position: "order",
        early.position: "kept",
        late.position: "kept",
    }


@pytest.mark.parametrize(
    "fields",
    [
        {"sheeting_type": "IX"},
        {"sheeting_type": ""},
        {"colours": YELLOW},
        {"colours": ()},
        {"sign_code": "R1-2"},
        {"width_in": 36.0},
        {"width_in": None},
        {"variant": "L"},
    ],
)
def test_a_face_that_is_another_or_not_known_covers_nothing(programme, agency, fields):
    planned(programme)
    face = in_stock(agency)
    own = {k: v for k, v in fields.items() if k not in ("colours", "sheeting_type")}
    if "colours" in fields or "sheeting_type" in fields:
        face = in_stock(agency, **fields)
        Sign.objects.exclude(pk=face.pk).filter(state="in_stock").update(
            state="removed", removal_reason="other"
        )
    else:
        Sign.objects.filter(pk=face.pk).update(**own)
    assert states(draft_of(programme)) == ["order"]


def test_a_face_printed_for_another_place_is_not_free(programme, agency, shop):
    elsewhere = make_sign(agency)
    order = draft_order(agency=agency, shop=shop, signs=[elsewhere], now=NOW, **XI).order
    release_order(order=order, now=NOW)
    print_order(order, make_press(shop, make_roll(shop)))
    row = planned(programme)
    assert states(draft_of(programme)) == ["order"]
    assert fitting_stock(row.position, any_sheeting=True, now=NOW) == []
    assert len(fitting_stock(position_of(elsewhere), now=NOW)) == 1
    # A place that is given up waits for no face any more.
    place = position_of(elsewhere)
    place.is_retired = True
    place.save()
    assert states(draft_of(programme)) == ["stock"]


def test_a_face_that_a_package_brings_elsewhere_is_not_free(programme, agency):
    row, other = planned(programme), make_sign(agency)
    face = in_stock(agency)
    stop_at(position_of(other), date(2026, 7, 1), face=face)
    assert states(draft_of(programme)) == ["order"]
    assert fitting_stock(row.position, any_sheeting=True, now=NOW) == []


def test_a_reservation_ends_when_its_face_goes_up_is_spoilt_or_is_set_free(
    programme, agency, shop
):
    rows = [planned(programme, date(YEAR, month, 1)) for month in (1, 2, 3)]
    faces = [in_stock(agency, date(2025, month, 1)) for month in (1, 2, 3)]
    hand_over(programme, shop)
    install_sign(
        sign=faces[0],
        position=rows[0].position,
        installed_on=NOW.date(),
        removal_reason="aged",
        now=NOW,
    )
    remove_sign(sign=faces[1], removed_on=NOW.date(), reason="damaged", now=NOW)
    third = StockReservation.objects.get(sign=faces[2])
    for _twice in range(2):
        free_face(reservation=third, reason="wanted in town", now=NOW)
    ended = dict(StockReservation.objects.values_list("sign", "end_reason"))
    assert ended == {
        faces[0].pk: "put up",
        faces[1].pk: "spoilt before it was put up",
        faces[2].pk: "wanted in town",
    }
    assert states(draft_of(programme)) == ["stock", "order"]


def test_another_face_going_up_sets_the_kept_one_free(programme, agency, shop):
    row = planned(programme)
    kept = in_stock(agency, date(2025, 1, 1))
    hand_over(programme, shop)
    other = in_stock(agency)
    install_sign(
        sign=other,
        position=row.position,
        installed_on=NOW.date(),
        removal_reason="aged",
        now=NOW,
    )
    assert StockReservation.objects.get(sign=kept).ended_at == NOW


def test_merging_a_place_away_sets_its_kept_face_free(programme, agency, shop):
    row, other = planned(programme), make_sign(agency)
    face = in_stock(agency)
    hand_over(programme, shop)
    merge_signs(kept=other, duplicate=row.sign, reason="one sign", now=NOW)
    assert StockReservation.objects.get(sign=face).ended_at == NOW
    assert fitting_stock(position_of(other), any_sheeting=True, now=NOW) == [face]


def test_the_face_to_bring_is_named_once_for_each_place(agency):
    places = [position_of(make_sign(agency, **XI)) for _each in range(3)]
    faces = [in_stock(agency, date(2025, 5, 1)), in_stock(agency, date(2024, 5, 1))]
    found = stock_for(organisation=agency, positions=places, now=NOW)
    assert found == {places[0].pk: faces[1], places[1].pk: faces[0]}


def test_in_an_emergency_any_sheeting_the_table_allows_will_do(agency):
    stop = position_of(make_sign(agency))  # Type IX stands
    curve = position_of(make_sign(agency, sign_code="W1-2", colours=YELLOW))
    red = in_stock(agency, sheeting_type="I", optics="beaded")
    in_stock(agency, sign_code="W1-2", colours=YELLOW, sheeting_type="I", optics="beaded")
    assert fitting_stock(stop, now=NOW) == []
    assert fitting_stock(stop, any_sheeting=True, now=NOW) == [red]
    # MUTCD 11th edition Table 2A-5: Type I is not to be used for yellow.
    assert fitting_stock(curve, any_sheeting=True, now=NOW) == []


# --- what warns, and what the engineer changes


def test_a_withdrawn_code_warns_and_its_successor_can_be_ordered(programme, agency, shop):
    face = make_sign(agency, sign_code="R1-4", width_in=18.0, height_in=6.0)
    row = planned(programme, date(YEAR, 3, 1), sign=face)
    in_stock(agency, sign_code="R1-4", width_in=18.0, height_in=6.0)
    (line,) = draft_of(programme).lines
    # Not from stock either: a withdrawn face is not put up again.
    assert (line.state, line.warns) == (LineState.ORDER, True)
    assert line.warnings[0].successor == "R1-3P"
    set_asked_face(position=row.position, agency=agency, sign_code="R1-3P", now=NOW)
    made = hand_over(programme, shop)
    (ordered,) = made.orders[0].lines.all()
    assert (ordered.sign_code, ordered.width_in, ordered.height_in) == ("R1-3P", 18.0, 6.0)
    # And what is printed fits the place it was ordered for.
    release_order(order=made.orders[0], now=NOW)
    new = print_order(made.orders[0], make_press(shop, make_roll(shop))).signs.get()
    assert faces_fitting(type(row.position).objects.get(pk=row.position_id)) == [new]


def test_a_size_too_small_for_its_road_warns_until_a_reason_is_given(programme, agency):
    road = Road.objects.create(
        organisation=agency, name="A1", road_class="conventional_multi_lane"
    )
    position = make_position(agency, support=make_support(agency, road=road))
    row = planned(programme, sign=make_sign(agency, position=position))
    (line,) = draft_of(programme).lines
    # Table 2B-1 of the 11th edition: R1-1 is 36 in on multi-lane roads.
    assert "smaller than the 36 × 36 in printed for R1-1" in line.warnings[0].sentence
    assert line.warns
    assert line.warnings[0].size_words == "36 × 36"
    set_asked_face(
        position=row.position,
        agency=agency,
        sign_code="R1-1",
        width_in=30.0,
        height_in=30.0,
        size_reason="no room at the wall",
        now=NOW,
    )
    (line,) = draft_of(programme).lines
    assert (line.warns, line.warnings[0].accepted_reason) == (False, "no room at the wall")
    set_asked_face(position=row.position, agency=agency, sign_code="R1-1", now=NOW)
    (line,) = draft_of(programme).lines
    assert line.line is not None
    assert (line.line.width_in, line.warnings) == (36.0, [])


def test_a_line_changed_on_its_order_is_what_the_place_asks_for(programme, agency, shop):
    row = planned(programme)
    (order,) = hand_over(programme, shop).orders
    set_line(line=order.lines.get(), width_in=36.0, height_in=36.0, variant="", now=NOW)
    release_order(order=order, now=NOW)
    face = print_order(order, make_press(shop, make_roll(shop))).signs.get()
    put_up = install_sign(
        sign=face,
        position=row.position,
        installed_on=NOW.date(),
        removal_reason="aged",
        now=NOW,
    )
    assert put_up.width_in == 36.0


def test_a_sheeting_not_allowed_is_refused_and_another_can_be_chosen(programme, agency, shop):
    face = make_sign(
        agency, sign_code="W1-2", colours=YELLOW, sheeting_type="I", optics="beaded"
    )
    row = planned(programme, sign=face)
    (line,) = draft_of(programme, sheeting_type="", optics="").lines
    assert line.state is LineState.REFUSED
    assert "Type I" in line.refusal or "beaded" in line.refusal
    choose_sheeting(position=row.position, agency=agency, sheeting_type="IV", now=NOW)
    made = hand_over(programme, shop, sheeting_type="", optics="")
    (ordered,) = made.orders[0].lines.all()
    assert (ordered.sheeting_type, ordered.optics) == ("IV", "prismatic")


def test_what_is_left_out_stays_out_until_taken_in_or_another_face_stands(
    programme, agency, shop
):
    row = planned(programme)
    with pytest.raises(OutOfRangeError, match="Say in a few words why"):
        leave_out(position=row.position, agency=agency, reason=" ", now=NOW)
    leave_out(position=row.position, agency=agency, reason="road works until May", now=NOW)
    draft = draft_of(programme)
    assert states(draft) == ["left_out"]
    assert FaceChoice.objects.get() == draft.lines[0].choice
    take_in(position=row.position, agency=agency, now=NOW)
    assert states(draft_of(programme)) == ["order"]
    assert not FaceChoice.objects.exists()
    leave_out(position=row.position, agency=agency, reason="road works", now=NOW)
    remove_sign(sign=row.sign, removed_on=NOW.date(), reason="knocked_down", now=NOW)
    assert states(draft_of(programme)) == ["order"]  # that was about the face that is down


def test_what_is_on_order_is_not_changed_behind_the_orders_back(programme, agency, shop):
    rows = [planned(programme, date(YEAR, month, 1)) for month in (1, 2)]
    in_stock(agency)
    hand_over(programme, shop)
    for row, sentence in zip(
        rows, ("is kept for this", "already on order 2026-001"), strict=True
    ):
        with pytest.raises(StateConflictError, match=sentence):
            set_asked_face(position=row.position, agency=agency, sign_code="R1-2", now=NOW)


# --- packages and chosen signs


def test_a_package_hands_over_the_faces_its_stops_take(agency, shop):
    make_adopted(agency)
    sign, read = make_sign(agency), make_sign(agency)
    bare = make_position(agency)
    stop = stop_at(position_of(sign), date(2026, 9, 2))
    for number, (place, task) in enumerate(((position_of(read), "read"), (bare, "install")), 2):
        stop.package.stops.create(number=number, position=place, task=task)

    def source():
        return of_package(package=stop.package, book=code_book(agency), now=NOW)

    draft = draft_hand_over(source=source(), now=NOW, **XI)
    assert [each.asked.position for each in draft.lines] == [position_of(sign), bare]
    assert {each.asked.needed_by for each in draft.lines} == {date(2026, 9, 1)}
    made = make_orders(
        gather=source, agency=agency, shop=shop, seen=draft.digest, now=NOW, **XI
    )
    assert made.orders[0].needed_by_on == date(2026, 9, 1)
    assert made.orders[0].lines.count() == 2


def test_chosen_signs_go_by_their_due_dates_and_without_one_by_the_day_given(agency, shop):
    due, later, undated = (make_sign(agency) for _each in range(3))
    make_standing(due, is_due=True, due_reason="below its level")
    make_standing(later, forecast_due_on=date(2026, 11, 11))
    keys = [due.pk, later.pk, undated.pk]

    def source():
        return of_signs(agency=agency, signs=keys, book=code_book(agency), now=NOW)

    draft = draft_hand_over(source=source(), now=NOW, **XI)
    assert [group.words for group in draft.groups] == [
        "needed already",
        "due before 2026-12-01",
        "no date known",
    ]
    assert draft.groups[0].order_by is None  # the agency has not said its lead days
    made = make_orders(
        gather=source,
        agency=agency,
        shop=shop,
        seen=draft.digest,
        undated_by=date(2026, 12, 24),
        now=NOW,
        **XI,
    )
    assert [each.needed_by_on for each in made.orders] == [
        NOW.date(),
        date(2026, 11, 11),
        date(2026, 12, 24),
    ]
    assert made.orders[0].lines.get().reason == "below its level"


def test_chosen_signs_due_in_years_are_one_order_for_each_year(agency):
    signs = [make_sign(agency) for _each in range(3)]
    for sign, due_on in zip(
        signs, (date(2026, 9, 9), date(2031, 2, 2), date(2031, 8, 8)), strict=True
    ):
        make_standing(sign, forecast_due_on=due_on)
    source = of_signs(
        agency=agency, signs=[each.pk for each in signs], book=code_book(agency), now=NOW
    )
    draft = draft_hand_over(source=source, now=NOW, **XI)
    assert [group.words for group in draft.groups] == [
        "due before 2026-10-01",
        "due before 2032-01-01",
    ]


def test_another_agencys_signs_and_shop_are_not_reached(agency, shop):
    theirs = make_sign(make_agency())
    source = of_signs(agency=agency, signs=[theirs.pk], book=code_book(agency), now=NOW)
    assert source.asked == []


def test_more_signs_than_are_taken_are_refused_in_a_sentence(agency):
    with pytest.raises(OutOfRangeError, match="5,001 signs are chosen; at most 5,000"):
        of_signs(agency=agency, signs=range(5001), book=code_book(agency), now=NOW)


# --- many, and anything


def test_a_thousand_signs_take_as_many_queries_as_ten(programme, agency, shop):
    make_many(programme, 10, year=YEAR)
    make_many(programme, 1000, year=YEAR + 1)
    counts = []
    for year in (YEAR, YEAR + 1):
        with CaptureQueriesContext(connection) as queries:
            draft = draft_of(programme, year)
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 20
    assert draft.count(LineState.ORDER) + draft.count(LineState.STOCK) == 1000
    assert draft.count(LineState.STOCK) == 252  # with the two of the first ten
    with CaptureQueriesContext(connection) as queries:
        made = hand_over(programme, shop, YEAR + 1, seen=draft.digest)
    assert len(queries) <= 20 + 20 + 12 * 6  # lines go in by the order, not one by one
    # The faces in stock go to the first months, which need no order then.
    assert (made.faces, made.kept, len(made.orders)) == (748, 252, 10)


STEPS = st.lists(
    st.sampled_from(["hand over", "hand over next", "cancel", "leave out", "free", "put up"]),
    min_size=2,
    max_size=5,
)


@given(steps=STEPS, seed=st.integers(0, 10_000))
@settings(
    max_examples=3,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_whatever_is_done_nothing_is_ordered_twice_and_nothing_is_missing(
    programme, agency, shop, steps, seed
):
    with transaction.atomic():
        _try_out(programme, agency, shop, steps, random.Random(seed))  # noqa: S311 - a test
        transaction.set_rollback(True)


def _try_out(programme, agency, shop, steps, choose) -> None:
    for number in range(4):
        planned(programme, date(YEAR, 1 + number, 1), year=YEAR + number % 2)
    for number in range(2):
        in_stock(agency, date(2025, 1 + number, 1))
    for step in [*steps, "hand over", "hand over next"]:
        if step.startswith("hand over"):
            year = YEAR + ("next" in step)
            if draft_of(programme, year).count(LineState.ORDER, LineState.STOCK):
                hand_over(programme, shop, year)
            assert not draft_of(programme, year).count(LineState.ORDER, LineState.STOCK)
        else:
            _anything(step, agency, choose)
        _check(programme)
    for year in (YEAR, YEAR + 1):
        for line in draft_of(programme, year).lines:
            assert line.state in (LineState.ON_ORDER, LineState.KEPT, LineState.LEFT_OUT)


def _anything(step, agency, choose) -> None:
    """Do something that may be done between two hand-overs."""
    orders = list(PrintOrder.objects.exclude(state="cancelled").order_by("number"))
    kept = list(StockReservation.objects.filter(ended_at=None).order_by("position"))
    if step == "cancel" and orders:
        cancel_order(order=choose.choice(orders), reason="again", now=NOW)
    elif step == "free" and kept:
        free_face(reservation=choose.choice(kept), reason="again", now=NOW)
    elif step == "put up" and kept:
        each = choose.choice(kept)
        install_sign(
            sign=each.sign,
            position=each.position,
            installed_on=NOW.date(),
            removal_reason="aged",
            now=NOW,
        )
    elif step == "leave out":
        place = choose.choice(list(Sign.objects.filter(state="installed").order_by("pk")))
        leave_out(position=position_of(place), agency=agency, reason="not now", now=NOW)


def _check(programme) -> None:
    """No position has two faces to come, and no face two places."""
    lines = OrderLine.objects.filter(order__state__in=("draft", "released", "printed"))
    kept = StockReservation.objects.filter(ended_at=None)
    to_come = Counter(lines.values_list("position", flat=True))
    to_come.update(kept.values_list("position", flat=True))
    assert all(count == 1 for count in to_come.values())
    signs = Counter(kept.values_list("sign", flat=True))
    assert all(count == 1 for count in signs.values())
