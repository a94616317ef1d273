"""The pages of the hand-over: the draft is shown first, then one action makes its orders."""

from __future__ import annotations

from datetime import date

import pytest
from django.urls import reverse

from inventory.models import OrderLine, PrintOrder, Road, Role, StockReservation
from inventory.services.ordering import add_line, draft_order
from inventory.services.ordering.face_choices import leave_out
from tests.factories import (
    NOW,
    make_agency,
    make_position,
    make_shop,
    make_sign,
    make_standing,
    make_support,
    position_of,
)
from tests.services.hand_over_world import (
    XI,
    YEAR,
    in_stock,
    make_adopted,
    make_many,
    planned,
    stop_at,
)
from tests.web.acting import act_as, stop_the_clock

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def shop(agency):
    return make_shop(agency=agency)


@pytest.fixture
def programme(agency):
    return make_adopted(agency)


@pytest.fixture
def engineer(client, agency, shop, monkeypatch):
    stop_the_clock(monkeypatch)
    act_as(client, agency)
    return client


def address(programme, year=YEAR, **query) -> str:
    path = reverse("programme-order", args=[programme.pk, year])
    given = {"sheeting_type": "XI", "step": "month"} | query
    return path + "?" + "&".join(f"{k}={v}" for k, v in given.items())


def shown(client, where, status=200):
    answer = client.get(where)
    assert answer.status_code == status
    return answer


def made(client, where, shop, **more):
    """Send what the page's form holds."""
    seen = client.get(where).context["draft"].digest
    return client.post(where, {"seen": seen, "shop": shop.pk} | more)


def on_a_big_road(agency):
    road = Road.objects.create(
        organisation=agency, name="A1", road_class="conventional_multi_lane"
    )
    return make_sign(
        agency, position=make_position(agency, support=make_support(agency, road=road))
    )


def test_the_draft_shows_orders_lines_stock_and_what_warns(engineer, programme, agency):
    planned(programme, date(YEAR, 3, 9))
    planned(programme, date(YEAR, 4, 9), sign=on_a_big_road(agency))
    planned(
        programme,
        date(YEAR, 5, 9),
        sign=make_sign(agency, sign_code="R1-4", width_in=18.0, height_in=6.0),
    )
    out = planned(programme, date(YEAR, 6, 9))
    leave_out(position=out.position, agency=agency, reason="road works", now=NOW)
    face = in_stock(agency, date(2025, 7, 7))
    text = shown(engineer, address(programme)).content.decode()
    assert "Due before 2027-05-01" in text
    assert "2027-02-08" in text  # 9 April less 60 days
    assert f"face {face.pk}</strong>, made 2025-07-07" in text
    assert "30 × 30 in is smaller than the 36 × 36 in printed for R1-1" in text
    assert "Order 36 × 36 in instead" in text
    assert "Order R1-3P instead" in text
    assert "Left out: road works" in text
    assert "Make 2 draft orders" in text
    assert not PrintOrder.objects.exists()


def test_one_action_makes_the_orders_and_doing_it_again_says_what_is_on_order(
    engineer, programme, agency, shop
):
    planned(programme, date(YEAR, 3, 9))
    planned(programme, date(YEAR, 8, 9))
    planned(programme, date(YEAR, 1, 9))
    in_stock(agency)
    answer = made(engineer, address(programme), shop)
    assert answer.status_code == 302
    page = shown(engineer, answer["Location"])
    text = page.content.decode()
    assert "2 faces on 2 draft orders: 2026-001, 2026-002" in text
    assert "1 face in stock is kept for these places" in text
    assert "On order already: " in text
    assert "Kept in stock" in text
    again = made(engineer, address(programme), shop)
    assert again.status_code == 409
    assert "There is nothing to order here" in again.content.decode()
    assert OrderLine.objects.count() == 2
    assert {each.lines.get().sheeting_type for each in PrintOrder.objects.all()} == {"XI"}


def test_a_draft_that_changed_is_shown_again_and_nothing_is_made(engineer, programme, shop):
    planned(programme)
    answer = engineer.post(address(programme), {"seen": "old", "shop": shop.pk})
    assert answer.status_code == 409
    assert "has changed since this draft was shown" in answer.content.decode()
    assert not PrintOrder.objects.exists()


def test_a_draft_programme_is_shown_without_the_action(engineer, agency, shop):
    programme = make_adopted(agency, state="draft")
    planned(programme)
    page = shown(engineer, address(programme)).content.decode()
    assert "adopt it before faces are ordered by it" in page
    assert "draft order</button>" not in page
    assert made(engineer, address(programme), shop).status_code == 409


def test_the_list_can_be_narrowed_and_is_paged(engineer, programme):
    make_many(programme, 60)
    page = shown(engineer, address(programme))
    assert len(page.context["rows"]) == 50
    page = shown(engineer, address(programme, show="stock"))
    assert {line.state.value for line, _words in page.context["rows"]} == {"stock"}
    assert len(page.context["rows"]) == 15


def test_the_page_asks_as_often_for_many_lines_as_for_few(
    engineer, programme, django_assert_max_num_queries
):
    make_many(programme, 5)
    make_many(programme, 100, year=YEAR + 1)
    engineer.get(address(programme))
    with django_assert_max_num_queries(32) as few:
        engineer.get(address(programme))
    with django_assert_max_num_queries(32) as many:
        engineer.get(address(programme, YEAR + 1))
    assert len(many) == len(few)


# --- one place


def place(row) -> str:
    return reverse("hand-over-line", args=[row.position_id])


def test_the_proposed_successor_and_size_are_ordered_with_one_tap(engineer, programme, agency):
    row = planned(
        programme,
        sign=make_sign(agency, sign_code="R1-4", width_in=18.0, height_in=6.0),
    )
    back = address(programme)
    answer = engineer.post(place(row), {"step": "ask", "sign_code": "R1-3P", "next": back})
    assert answer["Location"] == back
    row.position.refresh_from_db()
    assert (row.position.sign_code, row.position.width_in) == ("R1-3P", None)
    assert "Order R1-3P instead" not in shown(engineer, back).content.decode()


def test_a_line_is_left_out_with_a_reason_and_taken_in_again(engineer, programme):
    row = planned(programme)
    answer = engineer.post(place(row), {"step": "leave", "reason": ""})
    assert answer.status_code == 400
    assert "Say in a few words why nothing is ordered" in answer.content.decode()
    back = address(programme)
    engineer.post(place(row), {"step": "leave", "reason": "road works", "next": back})
    assert "Left out: road works" in shown(engineer, back).content.decode()
    assert "Order it again" in shown(engineer, place(row)).content.decode()
    engineer.post(place(row), {"step": "take-in", "next": back})
    assert "Left out: " not in shown(engineer, back).content.decode()


def test_the_sheeting_of_one_face_is_chosen_and_a_wrong_one_refused(engineer, programme):
    row = planned(programme, sheeting_type="")
    bare = address(programme, sheeting_type="")
    assert "choose the sheeting type" in shown(engineer, bare).content.decode()
    answer = engineer.post(place(row), {"step": "sheeting", "sheeting_type": "III"})
    assert answer.status_code == 400
    assert "made beaded and prismatic" in answer.content.decode()
    engineer.post(place(row), {"step": "sheeting", "sheeting_type": "IV", "next": bare})
    assert "Type IV, red" in shown(engineer, bare).content.decode()


def test_a_kept_face_is_set_free_with_a_reason(engineer, programme, agency, shop):
    row = planned(programme)
    in_stock(agency)
    made(engineer, address(programme), shop)
    assert "Set the face free" in shown(engineer, place(row)).content.decode()
    engineer.post(place(row), {"step": "free", "reason": "needed in town"})
    assert not StockReservation.objects.filter(ended_at=None).exists()


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        ({"step": "ask", "sign_code": ""}, "Type the sign&#x27;s code"),
        ({"step": "ask", "sign_code": "XY-99"}, "is not in the sign catalogue"),
        ({"step": "ask", "sign_code": "R1-1", "width_in": "30"}, "Give both width and height"),
        (
            {"step": "ask", "sign_code": "R1-1", "width_in": "9000", "height_in": "9000"},
            "check the unit",
        ),
        ({"step": "melt"}, "It is not known what to change"),
    ],
)
def test_what_cannot_be_asked_for_is_refused_in_a_sentence(engineer, programme, sent, sentence):
    row = planned(programme)
    answer = engineer.post(place(row), sent)
    assert answer.status_code in (400, 404)
    assert sentence in answer.content.decode()


# --- packages and chosen signs


def test_a_package_is_handed_over(engineer, agency, shop):
    stop = stop_at(position_of(make_sign(agency, **XI)), date(2026, 9, 2))
    where = reverse("package-order", args=[stop.package_id]) + "?step=all"
    assert "the day before the work of package" in shown(engineer, where).content.decode()
    assert made(engineer, where, shop).status_code == 302
    assert PrintOrder.objects.get().needed_by_on == date(2026, 9, 1)


def test_ticked_signs_are_handed_over(engineer, agency, shop):
    signs = [make_sign(agency, **XI) for _each in range(2)]
    theirs = make_sign(make_agency())
    where = reverse("selection-order")
    answer = engineer.post(where, {"signs": [each.pk for each in (*signs, theirs)]})
    page = shown(engineer, answer["Location"])
    assert {line.asked.standing for line, _words in page.context["rows"]} == set(signs)
    assert "No date known" in page.content.decode()
    late = made(engineer, answer["Location"], shop, undated_by="2020-01-01")
    assert late.status_code == 400
    assert "which is past" in late.content.decode()
    assert made(engineer, answer["Location"], shop, undated_by="2026-10-01").status_code == 302
    assert PrintOrder.objects.get().needed_by_on == date(2026, 10, 1)


def test_all_signs_that_pass_the_filters_are_handed_over(engineer, agency):
    due, other = make_sign(agency), make_sign(agency)
    make_standing(due, is_due=True, due_reason="below its level")
    make_standing(other)
    page = shown(engineer, reverse("selection-order") + "?all=1&due=true&step=month")
    assert [line.asked.standing for line, _words in page.context["rows"]] == [due]
    assert page.context["source"].title == "Signs: Due yes"


def test_no_tick_is_told(engineer):
    answer = engineer.post(reverse("selection-order"), {}, follow=True)
    assert "No sign is ticked" in answer.content.decode()


def test_more_ticks_than_are_taken_are_told_and_not_cut(engineer, shop):
    for name in ("due-list", "decisions"):
        answer = engineer.post(
            reverse(name),
            {"signs": list(range(1, 502)), "shop": shop.pk, "decision": "replace"},
        )
        assert answer.status_code == 400
        (sentence,) = answer.context["form"].non_field_errors()
        assert sentence.startswith("501 signs are ticked; at most 500 are taken at once.")


# --- ordinary drafting warns too


def test_an_order_drafted_from_the_due_list_tells_what_warns(engineer, agency, shop):
    sign = on_a_big_road(agency)
    make_standing(sign, is_due=True)
    answer = engineer.post(reverse("due-list"), {"signs": [sign.pk], "shop": shop.pk})
    assert answer.status_code == 200
    assert "smaller than the 36 × 36 in printed for R1-1" in answer.content.decode()
    order = PrintOrder.objects.get()
    page = shown(engineer, reverse("order-page", args=[order.pk])).content.decode()
    assert "smaller than the 36 × 36 in printed for R1-1" in page


def test_a_line_added_by_hand_tells_a_withdrawn_code(engineer, agency, shop):
    order = draft_order(agency=agency, shop=shop, now=NOW).order
    answer = engineer.post(
        reverse("order-line-add", args=[order.pk]),
        {"sign_code": "R1-4", "quantity": 2, "sheeting_type": "XI", "optics": "prismatic"},
        follow=True,
    )
    assert "R1-3P, All Way (plaque), takes its place" in answer.content.decode()


def test_the_shop_is_told_no_warnings_of_the_agency(client, agency, shop):
    order = draft_order(agency=agency, shop=shop, now=NOW).order
    add_line(order=order, sign_code="R1-4", now=NOW, **XI)
    order.state, order.released_at = "released", NOW
    order.save()
    act_as(client, shop, Role.SHOP)
    page = shown(client, reverse("order-page", args=[order.pk])).content.decode()
    assert "takes its place" not in page


# --- who may


def test_crews_and_shops_do_not_hand_over(client, agency, shop, programme):
    row = planned(programme)
    for organisation, role in ((agency, Role.CREW), (shop, Role.SHOP)):
        act_as(client, organisation, role)
        for where in (address(programme), place(row), reverse("selection-order")):
            shown(client, where, status=403)


def test_another_agencys_year_package_and_place_are_not_found(engineer):
    theirs = make_adopted(make_agency())
    row = planned(theirs)
    stop = stop_at(row.position, date(2026, 9, 2))
    for where in (
        address(theirs),
        place(row),
        reverse("package-order", args=[stop.package_id]),
    ):
        shown(engineer, where, status=404)
