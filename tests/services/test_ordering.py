"""Orders: what may be ordered, what is refused, and who may do what when."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.core.files.base import ContentFile

from inventory.errors import (
    InventoryError,
    NoPublishedValueError,
    NotPermittedError,
    OutOfRangeError,
    StateConflictError,
)
from inventory.models import (
    ColourArea,
    LogbookEntry,
    OrderLine,
    Position,
    PrintOrder,
    Road,
    Sign,
    Standing,
    Support,
)
from inventory.services.assessment import decide_disposition, mark_due
from inventory.services.installation import install_sign, remove_sign
from inventory.services.ordering import (
    add_line,
    amend_order,
    cancel_order,
    draft_order,
    order_counts,
    order_groups,
    order_progress,
    release_order,
    remove_line,
    set_line,
)
from inventory.services.people import set_policy
from tests.factories import (
    NOW,
    make_agency,
    make_person,
    make_position,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    make_support,
    position_of,
    print_order,
)
from tests.races import at_once

pytestmark = pytest.mark.django_db

YELLOW = (("background", "yellow"), ("legend", "black"))
GREEN = (("background", "green"), ("legend", "white"))
WALKERS = (("background", "fluorescent-yellow-green"), ("legend", "black"))


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def shop(agency):
    return make_shop(agency=agency)


def draft(agency, shop, *signs, **fields: Any):
    return draft_order(agency=agency, shop=shop, signs=signs, **{"now": NOW} | fields)


def refusal(agency, shop, sign, **fields: Any) -> str:
    """Return the sentence with which one sign is left out of an order of two."""
    result = draft(agency, shop, sign, make_sign(agency), **fields)
    ((refused, sentence),) = result.refusals
    assert refused == sign
    assert result.order.lines.count() == 1
    return str(sentence)


def change_position(sign: Sign, **fields: Any) -> Sign:
    Position.objects.filter(pk=position_of(sign).pk).update(**fields)
    return Sign.objects.get(pk=sign.pk)


# --- what a line says


def test_a_line_takes_code_size_sheeting_and_colours_from_position_and_old_face(agency, shop):
    sign = make_sign(agency)
    order, refusals = (result := draft(agency, shop, sign)).order, result.refusals
    assert refusals == []
    line = order.lines.get()
    assert (line.position, line.replaces, line.quantity) == (sign.position, sign, 1)
    assert (line.sign_code, line.shape, line.width_in, line.height_in) == (
        "R1-1",
        "octagon",
        30.0,
        30.0,
    )
    assert (line.sheeting_type, line.optics, line.base_color) == ("IX", "prismatic", "white")
    assert (line.background_color, line.legend_color) == ("red", "white")
    assert (order.agency, order.shop, order.state) == (agency, shop, PrintOrder.State.DRAFT)
    assert order.press_rate_ft2_per_h == 162.0


def test_the_order_can_name_one_sheeting_for_all(agency, shop):
    old = make_sign(agency, sheeting_type="", optics="unknown")
    line = draft(agency, shop, old, sheeting_type="type xi").order.lines.get()
    assert (line.sheeting_type, line.optics) == ("XI", "prismatic")


def test_a_size_nobody_set_is_the_tables_and_the_line_says_which(agency, shop):
    road = Road.objects.create(
        organisation=agency, name="Mill Road", road_class="conventional_multi_lane"
    )
    position = make_position(
        agency,
        sign_code="W1-2R",
        width_in=None,
        height_in=None,
        support=make_support(agency, road=road),
    )
    sign = make_sign(agency, position=position, colours=YELLOW)
    line = draft(agency, shop, sign).order.lines.get()
    # MUTCD 11th edition (2023) Table 2C-1: W1-2 is 36 × 36 on multi-lane conventional roads.
    assert (line.sign_code, line.variant, line.width_in, line.height_in) == (
        "W1-2",
        "R",
        36,
        36,
    )
    assert line.reason == "size: standard size on a conventional multi-lane road, table 2C-1"


def test_legend_variant_and_artwork_of_the_position_are_on_the_line(agency, shop):
    sign = make_sign(agency)
    position = position_of(sign)
    position.variant, position.legend_text, position.is_custom_legend = "L", "Elm St", True
    position.artwork.save("elm.svg", ContentFile(b"<svg/>"))
    position.save()
    line = draft(agency, shop, sign).order.lines.get()
    assert (line.variant, line.legend_text, line.is_custom_legend) == ("L", "Elm St", True)
    assert line.artwork.name == position.artwork.name


def test_a_fluorescent_face_is_ordered_on_sheeting_of_its_colour(agency, shop):
    sign = make_sign(agency, sign_code="W11-2", colours=WALKERS)
    line = draft(agency, shop, sign).order.lines.get()
    assert line.base_color == line.background_color == "fluorescent-yellow-green"


def test_a_face_in_the_wrong_colour_is_ordered_right_and_said_so(agency, shop):
    line = draft(agency, shop, make_sign(agency, colours=GREEN)).order.lines.get()
    assert line.background_color == "red"
    assert "The old face is recorded as green" in line.reason


def test_signs_keep_the_order_of_the_due_list_and_come_once(agency, shop):
    first, second = make_sign(agency), make_sign(agency)
    lines = draft(agency, shop, second, first, second).order.lines.order_by("number")
    assert [(line.number, line.replaces) for line in lines] == [(1, second), (2, first)]


# --- what is refused


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"sign_code": ""}, "The sign code of this position is not known; set it"),
        (
            {"sign_code": "", "source_code": "STOPP"},
            r"not known \(the list says 'STOPP'\); set it",
        ),
        ({"sign_code": "ZZ9"}, "'ZZ9' is not in the sign catalogue"),
        (
            {"width_in": None},
            r"The size of R1-1 depends on the road .* set the road's class",
        ),
        ({"sign_code": "D1-1", "width_in": None, "height_in": None}, "size of D1-1"),
        ({"is_retired": True}, "This position is retired"),
        ({"width_in": 6000}, "6000 × 30 in is larger than 600 in; .* check the unit"),
    ],
)
def test_what_the_position_does_not_settle_is_refused_in_a_sentence(
    agency, shop, changes, sentence
):
    sign = change_position(make_sign(agency), **changes)
    assert_matches(sentence, refusal(agency, shop, sign))


def assert_matches(pattern: str, text: str) -> None:
    with pytest.raises(InventoryError, match=pattern):
        raise InventoryError(text)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"responsible": "neighbour"}, "looked after by a neighbouring agency"),
        ({"responsible": "private"}, "looked after by a private owner"),
        (
            {"state": "removed", "removal_reason": "stolen"},
            "This face is removed, so there is no place",
        ),
        ({"sheeting_type": ""}, "The sheeting of the old face is not known"),
        (
            {"sheeting_type": "III", "optics": "unknown"},
            "Type III sheeting is made beaded and prismatic; say which",
        ),
        # MUTCD 11th edition (2023) Table 2A-5: no beaded Type I on yellow.
        (
            {
                "sign_code": "W1-2",
                "colours": YELLOW,
                "sheeting_type": "I",
                "optics": "beaded",
            },
            "Beaded Type I sheeting may not be used for the yellow of black on yellow signs",
        ),
        # Common practice, no source: fluorescent needs its own sheeting.
        (
            {"sign_code": "R1-6b", "colours": (("background", "white"), ("legend", "black"))},
            "fluorescent yellow-green of this face cannot be printed on white sheeting",
        ),
    ],
)
def test_a_face_that_is_not_to_be_ordered_is_refused_in_a_sentence(
    agency, shop, fields, sentence
):
    assert sentence in refusal(agency, shop, make_sign(agency, **fields))


def test_blue_goes_by_the_recommendation_where_the_agency_does():
    # FHWA memorandum of 5 April 2012: no beaded Type I for the white of white on blue. The 2009
    # manual alone has no row for blue.
    blue: dict[str, Any] = {
        "sign_code": "D9-2",
        "colours": (("background", "blue"), ("legend", "white")),
        "sheeting_type": "I",
        "optics": "beaded",
    }
    for follows, is_refused in ((False, False), (True, True)):
        agency = make_agency(edition="2009", uses_recommended_levels=follows)
        shop = make_shop(agency=agency)
        result = draft(agency, shop, make_sign(agency, **blue), make_sign(agency))
        assert [each.sentence.startswith("Beaded Type I") for each in result.refusals] == (
            [True] if is_refused else []
        )


def test_a_long_reason_is_shortened_to_its_column(agency, shop):
    sign = make_sign(agency, colours=GREEN)
    mark_due(organisation=agency, now=NOW)
    Standing.objects.filter(sign=sign).update(is_due=True, due_reason="x" * 160)
    change_position(sign, width_in=None)
    road = Road.objects.create(organisation=agency, name="A1", road_class="expressway")
    Support.objects.filter(positions=position_of(sign)).update(road=road)
    reason = draft(agency, shop, sign).order.lines.get().reason
    assert len(reason) == 255
    assert reason.endswith("…")


def test_another_agencys_sign_is_refused(agency, shop):
    other = make_agency()
    theirs = make_sign(other)
    assert refusal(agency, shop, theirs) == f"This sign belongs to {other}, not to {agency}."


@pytest.mark.parametrize("state", ["draft", "released"])
def test_a_position_is_on_one_open_order_only(agency, shop, state):
    sign = make_sign(agency)
    order = draft(agency, shop, sign).order
    if state == "released":
        release_order(order=order, now=NOW)
    sentence = refusal(agency, shop, sign)
    assert sentence == (
        f"A face for this position is already on order {order.number} ({state})."
    )


def test_a_cancelled_order_lets_its_positions_be_ordered_again(agency, shop):
    sign = make_sign(agency)
    cancel_order(order=draft(agency, shop, sign).order, reason="wrong year", now=NOW)
    assert draft(agency, shop, sign).refusals == []


def test_if_nothing_can_be_ordered_there_is_no_order(agency, shop):
    sign = change_position(make_sign(agency), sign_code="")
    with pytest.raises(StateConflictError, match=r"None of the 1 signs can be ordered\. sign"):
        draft(agency, shop, sign)
    assert not PrintOrder.objects.exists()


def test_the_first_few_reasons_are_told_when_nothing_can_be_ordered(agency, shop):
    signs = [change_position(make_sign(agency), sign_code="") for _ in range(7)]
    with pytest.raises(StateConflictError, match=r"None of the 7 signs .* And 2 more\."):
        draft(agency, shop, *signs)


def test_an_agency_orders_only_from_a_shop_that_prints_for_it(agency):
    stranger = make_shop()
    with pytest.raises(NotPermittedError, match=f"{stranger} does not print for {agency}"):
        draft(agency, stranger, make_sign(agency))


def test_a_day_that_is_past_is_refused_in_the_agencys_own_zone(agency, shop):
    agency.time_zone = "America/Denver"
    agency.save()
    # 03:00 UTC on 2 June is still 1 June in Denver (UTC-6 in summer).
    late = datetime(2026, 6, 2, 3, 0, tzinfo=UTC)
    assert draft(agency, shop, needed_by_on=date(2026, 6, 1), now=late).order
    with pytest.raises(OutOfRangeError, match=r"2026-05-31, which is past; .* from 2026-06-01"):
        draft(agency, shop, needed_by_on=date(2026, 5, 31), now=late)


def test_a_title_too_long_for_the_record_is_refused(agency, shop):
    with pytest.raises(OutOfRangeError, match=r"title: .* 120 characters \(it has 121\)"):
        draft(agency, shop, title="x" * 121)


# --- numbers


def test_orders_are_numbered_by_agency_and_year_without_gaps(agency, shop):
    other = make_agency()
    make_shop(agency=other)
    new_year = datetime(2027, 1, 5, tzinfo=UTC)
    numbers = [draft(agency, shop).order.number for _ in range(2)]
    with pytest.raises(OutOfRangeError):
        draft(agency, shop, title="x" * 121)
    numbers.append(draft(agency, shop).order.number)
    numbers.append(draft(agency, shop, now=new_year).order.number)
    theirs = draft(other, other.shops.get().organisation).order.number
    assert numbers == ["2026-001", "2026-002", "2026-003", "2027-001"]
    assert theirs == "2026-001"


# --- changing a draft


def test_a_position_can_be_added_with_or_without_a_face_on_it(agency, shop):
    order = draft(agency, shop).order
    sign = make_sign(agency)
    line = add_line(order=order, position=sign.position, reason="asked for by school", now=NOW)
    assert (line.number, line.replaces, line.reason) == (1, sign, "asked for by school")
    bare = make_position(agency, sign_code="W1-2")
    line = add_line(order=order, position=bare, sheeting_type="XI", now=NOW)
    assert (line.number, line.replaces, line.background_color) == (2, None, "yellow")
    with pytest.raises(NoPublishedValueError, match="choose the sheeting type"):
        add_line(order=order, position=make_position(agency), now=NOW)
    with pytest.raises(StateConflictError, match="already on order 2026-001"):
        add_line(order=order, position=bare, sheeting_type="XI", now=NOW)


def test_a_position_of_another_agency_is_not_added(agency, shop):
    order = draft(agency, shop).order
    other = make_agency()
    with pytest.raises(StateConflictError, match=f"belongs to {other}, not to {agency}"):
        add_line(order=order, position=make_position(other), sheeting_type="XI", now=NOW)


def test_faces_for_stock_are_ordered_by_code(agency, shop):
    order = draft(agency, shop).order
    line = add_line(
        order=order,
        sign_code="w11-2",
        quantity=6,
        width_in=30,
        height_in=30,
        sheeting_type="XI",
        background_color="fluorescent-yellow-green",
        now=NOW,
    )
    assert (line.sign_code, line.quantity, line.position) == ("W11-2", 6, None)
    assert line.base_color == "fluorescent-yellow-green"


@pytest.mark.parametrize(
    ("fields", "error", "sentence"),
    [
        ({"quantity": 0}, OutOfRangeError, "A quantity of 0 cannot be ordered; it is 1 to"),
        ({"quantity": 10_001}, OutOfRangeError, "A quantity of 10001 cannot be ordered"),
        ({"sheeting_type": "XX"}, OutOfRangeError, "'XX' is not a sheeting type"),
        ({"optics": "shiny"}, OutOfRangeError, "'shiny' is no kind of optics"),
        ({"width_in": 0.0}, OutOfRangeError, "0 × 30 in cannot be cut"),
        ({"sign_code": "ZZ9"}, NoPublishedValueError, "'ZZ9' is not in the sign catalogue"),
        ({"background_color": "pink"}, OutOfRangeError, "'pink' is no background colour"),
        ({"reason": "x" * 256}, OutOfRangeError, "reason: .* 255 characters"),
    ],
)
def test_a_line_that_cannot_be_printed_is_refused(agency, shop, fields, error, sentence):
    order = draft(agency, shop).order
    good = {"sign_code": "R1-1", "width_in": 30.0, "height_in": 30.0, "sheeting_type": "XI"}
    with pytest.raises(error, match=sentence):
        add_line(order=order, now=NOW, **good | fields)
    assert not order.lines.exists()


def test_a_changed_line_is_checked_as_a_whole(agency, shop):
    sign = make_sign(agency, sign_code="W1-2", colours=YELLOW)
    line = draft(agency, shop, sign).order.lines.get()
    changed = set_line(line=line, background_color="fluorescent-yellow", now=NOW)
    assert changed.base_color == "fluorescent-yellow"
    with pytest.raises(NoPublishedValueError, match="may not be used for the yellow"):
        set_line(line=line, sheeting_type="I", optics="beaded", now=NOW)
    with pytest.raises(OutOfRangeError, match="A position holds one face; 2 cannot"):
        set_line(line=line, quantity=2, now=NOW)
    line.refresh_from_db()
    assert (line.sheeting_type, line.quantity) == ("IX", 1)


def test_what_follows_from_a_line_is_not_set_by_hand(agency, shop):
    line = draft(agency, shop, make_sign(agency)).order.lines.get()
    by_hand: dict[str, Any] = {"base_color": "red"}
    with pytest.raises(OutOfRangeError, match="'base_color' of an order line is not changed"):
        set_line(line=line, now=NOW, **by_hand)


def test_a_line_taken_off_leaves_the_others_their_numbers(agency, shop):
    order = draft(agency, shop, make_sign(agency), make_sign(agency)).order
    remove_line(line=order.lines.get(number=1), now=NOW)
    line = add_line(
        order=order, sign_code="R1-1", width_in=30, height_in=30, sheeting_type="XI", now=NOW
    )
    assert line.number == 3
    assert list(order.lines.values_list("number", flat=True)) == [2, 3]


# --- release, amendment, cancelling


def test_a_released_order_is_frozen(agency, shop):
    order = draft(agency, shop, make_sign(agency)).order
    person = make_person(agency)
    released = release_order(order=order, by=person, now=NOW)
    assert (released.state, released.released_at, released.released_by) == (
        "released",
        NOW,
        person,
    )
    line = order.lines.get()
    sentence = f"Order {order.number} is released, so its lines stay as they are; amend"
    for change in (
        lambda: set_line(line=line, quantity=1, now=NOW),
        lambda: remove_line(line=line, now=NOW),
        lambda: add_line(order=order, sign_code="R1-1", now=NOW),
    ):
        with pytest.raises(StateConflictError, match=sentence):
            change()


def test_releasing_an_order_decides_that_its_signs_are_replaced(agency, shop):
    sign, decided = make_sign(agency), make_sign(agency)
    person = make_person(agency)
    earlier = decide_disposition(sign=decided, decision="replace", by=person, now=NOW)
    order = draft(agency, shop, sign, decided).order
    assert not sign.dispositions.exists()
    release_order(order=order, by=person, now=NOW + timedelta(hours=1))
    row = sign.dispositions.get()
    assert (row.decision, row.reason, row.decided_by) == (
        "replace",
        f"On order {order.number}.",
        person,
    )
    # What was decided already is not decided again.
    assert list(decided.dispositions.all()) == [earlier]


def test_an_order_is_released_once(agency, shop):
    order = draft(agency, shop, make_sign(agency)).order
    release_order(order=order, by=make_person(agency), now=NOW)
    with pytest.raises(
        StateConflictError, match="already released on 2026-06-01 12:00 UTC by person"
    ):
        release_order(order=order, now=NOW + timedelta(minutes=1))
    assert PrintOrder.objects.get(pk=order.pk).released_at == NOW


def test_an_empty_or_cancelled_order_is_not_released(agency, shop):
    order = draft(agency, shop).order
    with pytest.raises(StateConflictError, match="has no lines; add at least one face"):
        release_order(order=order, now=NOW)
    cancel_order(order=order, reason="not needed", now=NOW)
    with pytest.raises(StateConflictError, match="is cancelled and cannot be released"):
        release_order(order=order, now=NOW)


def test_a_legend_of_its_own_has_to_be_spelt_out_before_release(agency, shop):
    sign = change_position(make_sign(agency), is_custom_legend=True)
    order = draft(agency, shop, sign).order
    with pytest.raises(StateConflictError, match="neither wording nor artwork; add one of"):
        release_order(order=order, now=NOW)
    set_line(line=order.lines.get(), legend_text="Elm St", now=NOW)
    assert release_order(order=order, now=NOW).state == "released"


def test_the_rules_of_the_day_of_release_hold(agency, shop):
    # Blue is allowed on beaded Type I by the 2009 manual, which has no row for it, and not by
    # the 11th edition (Table 2A-5: white of white on blue, beaded I prohibited).
    agency = make_agency(edition="2009")
    shop = make_shop(agency=agency)
    blue = (("background", "blue"), ("legend", "white"))
    sign = make_sign(agency, sign_code="D9-2", colours=blue, sheeting_type="I", optics="beaded")
    order = draft(agency, shop, sign).order
    later = NOW + timedelta(days=1)
    set_policy(
        agency=agency,
        effective_on=later.date(),
        edition="11th-2023",
        basis="board minute",
        now=NOW,
    )
    with pytest.raises(NoPublishedValueError, match=r"Line 1 \(1 × D9-2\): Beaded Type I"):
        release_order(order=order, now=later)


def test_an_amendment_is_seen_by_both_and_changes_no_line(agency, shop):
    order = draft(agency, shop, make_sign(agency)).order
    with pytest.raises(StateConflictError, match="is draft and takes no amendment; change"):
        amend_order(order=order, text="two more", now=NOW)
    release_order(order=order, now=NOW)
    with pytest.raises(OutOfRangeError, match="The amendment is empty"):
        amend_order(order=order, text="  ", now=NOW)
    amendment = amend_order(order=order, text=" deliver to the north yard ", now=NOW)
    assert amendment.text == "deliver to the north yard"
    for party in (agency, shop):
        entry = LogbookEntry.objects.owned_by(party).filter(verb="amend order").get()
        assert entry.text == f"Order {order.number} amended: deliver to the north yard"
    assert order.lines.get().quantity == 1


def test_the_shop_hears_of_an_order_when_it_is_released(agency, shop):
    order = draft(agency, shop, make_sign(agency)).order
    assert not LogbookEntry.objects.owned_by(shop).filter(order=order).exists()
    assert order not in PrintOrder.objects.readable_by(shop)
    release_order(order=order, now=NOW)
    assert LogbookEntry.objects.owned_by(shop).filter(order=order).count() == 1
    assert order in PrintOrder.objects.readable_by(shop)


def test_a_cancelled_order_says_why_and_stays(agency, shop):
    order = draft(agency, shop, make_sign(agency)).order
    with pytest.raises(OutOfRangeError, match="Say why order 2026-001 is cancelled"):
        cancel_order(order=order, reason="", now=NOW)
    assert cancel_order(order=order, reason="wrong year", now=NOW).state == "cancelled"
    with pytest.raises(StateConflictError, match="is cancelled; there is nothing to cancel"):
        cancel_order(order=order, reason="again", now=NOW)
    assert not LogbookEntry.objects.owned_by(shop).filter(order=order).exists()
    with pytest.raises(StateConflictError, match="takes no amendment; draft another"):
        amend_order(order=order, text="never mind", now=NOW)


def test_an_order_with_printed_faces_is_not_cancelled(agency, shop):
    order = make_released_order(agency, shop, [make_sign(agency)])
    print_order(order, make_press(shop, make_roll(shop)))
    with pytest.raises(StateConflictError, match="has 1 printed faces and cannot be cancelled"):
        cancel_order(order=order, reason="too late", now=NOW)


# --- groups and progress


def test_an_order_is_grouped_by_sheeting_with_area_and_press_time(agency, shop):
    order = draft(agency, shop).order
    for code, size, quantity, color in (
        ("R2-1", (24, 24), 8, ""),
        ("W1-2", (24, 24), 4, ""),
        ("W11-2", (30, 30), 2, "fluorescent-yellow-green"),
    ):
        add_line(
            order=order,
            sign_code=code,
            width_in=size[0],
            height_in=size[1],
            quantity=quantity,
            sheeting_type="XI",
            background_color=color,
            now=NOW,
        )
    fluorescent, white = order_groups(order)
    # 12 faces of 24 × 24 in are 48 ft²: 17.8 min at 162 ft²/h (common practice, no source).
    assert (white.base_color, white.faces, white.area_ft2) == ("white", 12, 48.0)
    assert round(white.press_minutes, 1) == 17.8
    assert [line.sign_code for line in white.lines] == ["R2-1", "W1-2"]
    assert (fluorescent.base_color, fluorescent.faces) == ("fluorescent-yellow-green", 2)
    assert fluorescent.area_ft2 == 12.5


def test_the_progress_of_an_order_counts_printed_stock_up_and_lost(agency, shop):
    signs = [make_sign(agency) for _ in range(3)]
    order = make_released_order(agency, shop, signs)
    press = make_press(shop, make_roll(shop))
    run = print_order(order, press)
    first, second, _third = run.signs.order_by("print_number")
    install_sign(
        sign=first,
        position=position_of(signs[0]),
        installed_on=NOW.date(),
        removal_reason="aged",
        now=NOW,
    )
    remove_sign(sign=second, removed_on=NOW.date(), reason="damaged", now=NOW)
    counts = order_counts([order])[order.pk]
    assert (counts.ordered, counts.printed, counts.in_stock, counts.installed, counts.lost) == (
        3,
        3,
        1,
        1,
        1,
    )
    assert counts.outstanding == 1
    assert not counts.is_printed
    # A face lost before it was put up takes the order back to the shop.
    order.refresh_from_db()
    assert order.state == "released"
    assert [each.counts.outstanding for each in order_progress(order)] == [0, 1, 0]
    print_order(order, press, now=NOW + timedelta(hours=1))
    order.refresh_from_db()
    assert order.state == "printed"


def test_a_face_that_was_put_up_counts_whatever_happens_to_it_later(agency, shop):
    sign = make_sign(agency)
    order = make_released_order(agency, shop, [sign])
    (face,) = print_order(order, make_press(shop, make_roll(shop))).signs.all()
    install_sign(
        sign=face,
        position=position_of(sign),
        installed_on=NOW.date(),
        removal_reason="aged",
        now=NOW,
    )
    remove_sign(sign=face, removed_on=NOW.date(), reason="knocked_down", now=NOW)
    order.refresh_from_db()
    assert order.state == "closed"
    assert order_counts([order])[order.pk].installed == 1


def test_the_cost_of_a_draft_and_of_progress_does_not_grow_with_each_sign(
    agency, shop, django_assert_max_num_queries
):
    signs = [make_sign(agency) for _ in range(20)]
    with django_assert_max_num_queries(25):
        order = draft(agency, shop, *signs).order
    with django_assert_max_num_queries(2):
        order_progress(order)
    orders = [order, draft(agency, shop).order]
    with django_assert_max_num_queries(2):
        counts = order_counts(orders)
    assert [counts[each.pk].ordered for each in orders] == [20, 0]


# --- races


@pytest.mark.django_db(transaction=True)
def test_of_two_planners_releasing_one_order_one_succeeds():
    agency = make_agency()
    shop = make_shop(agency=agency)
    order = draft(agency, shop, make_sign(agency)).order
    planners = [make_person(agency), make_person(agency)]
    outcomes = at_once(
        *(lambda who=who: release_order(order=order, by=who, now=NOW) for who in planners)
    )
    refused = [each for each in outcomes if each is not None]
    assert len(refused) == 1
    assert "already released" in str(refused[0])
    winner = planners[outcomes.index(None)]
    assert PrintOrder.objects.get(pk=order.pk).released_by == winner
    assert LogbookEntry.objects.filter(verb="release order", organisation=shop).count() == 1


@pytest.mark.django_db(transaction=True)
def test_orders_drafted_at_once_get_numbers_without_gap_or_double():
    agency = make_agency()
    shop = make_shop(agency=agency)
    outcomes = at_once(*[lambda: draft(agency, shop)] * 4)
    assert outcomes == [None] * 4
    numbers = sorted(PrintOrder.objects.values_list("number", flat=True))
    assert numbers == ["2026-001", "2026-002", "2026-003", "2026-004"]


@pytest.mark.django_db(transaction=True)
def test_of_two_orders_for_one_position_one_gets_it():
    agency = make_agency()
    shop = make_shop(agency=agency)
    sign = make_sign(agency)
    outcomes = at_once(*[lambda: draft(agency, shop, sign)] * 2)
    assert sum(each is None for each in outcomes) == 1
    assert OrderLine.objects.filter(position=sign.position).count() == 1


def test_old_faces_without_colour_areas_are_ordered_by_the_catalogue(agency, shop):
    sign = make_sign(agency)
    ColourArea.objects.filter(sign=sign).delete()
    line = draft(agency, shop, sign, sheeting_type="XI").order.lines.get()
    assert (line.background_color, line.legend_color) == ("red", "white")
