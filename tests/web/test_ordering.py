"""The pages of orders: what each of the two parties sees and may do."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from inventory.models import OrderAmendment, PrintOrder, Role
from inventory.services.ordering import draft_order, release_order
from tests.factories import (
    NOW,
    make_agency,
    make_position,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    print_order,
)
from tests.web.acting import act_as, stop_the_clock

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def shop(agency):
    return make_shop("Tern Signs", agency)


def make_draft(agency, shop, **fields):
    return draft_order(
        agency=agency,
        shop=shop,
        signs=[make_sign(agency)],
        sheeting_type="XI",
        now=NOW,
        **fields,
    ).order


def test_an_order_page_says_area_and_press_time_at_the_stated_rate(client, agency, shop):
    act_as(client, agency)
    # 12 faces of 24 × 24 in are 48 ft²; at 162 ft²/h 17.8 min (issue 2, check value; common
    # practice, no source).
    signs = [
        make_sign(
            agency,
            colours=(("background", "white"), ("legend", "black")),
            position=make_position(agency, sign_code="R2-1", width_in=24.0, height_in=24.0),
        )
        for _ in range(12)
    ]
    order = make_released_order(agency, shop, signs)
    page = client.get(reverse("order-page", args=(order.pk,))).content.decode()
    assert "48.0" in page
    assert "17.8" in page
    assert "162 ft²/h" in page


def test_a_draft_is_no_page_of_the_shop(client, agency, shop):
    order = make_draft(agency, shop)
    act_as(client, shop, Role.SHOP)
    assert client.get(reverse("order-page", args=(order.pk,))).status_code == 404
    assert order.number not in client.get(reverse("order-list")).content.decode()
    release_order(order=order, now=NOW)
    assert client.get(reverse("order-page", args=(order.pk,))).status_code == 200
    assert order.number in client.get(reverse("order-list")).content.decode()


def test_an_order_cancelled_as_a_draft_is_no_page_of_the_shop(client, agency, shop):
    order = make_draft(agency, shop)
    act_as(client, agency)
    client.post(reverse("order-cancel", args=(order.pk,)), {"reason": "Not needed."})
    client.logout()
    act_as(client, shop, Role.SHOP)
    assert client.get(reverse("order-page", args=(order.pk,))).status_code == 404


def test_an_order_of_others_is_no_page(client, agency, shop):
    order = make_draft(agency, shop)
    other = make_agency()
    act_as(client, other)
    assert client.get(reverse("order-page", args=(order.pk,))).status_code == 404
    assert client.post(reverse("order-release", args=(order.pk,))).status_code == 404


@pytest.mark.parametrize("name", ["order-release", "order-amend", "order-cancel"])
def test_the_shop_does_not_release_amend_or_cancel(client, agency, shop, name):
    order = make_released_order(agency, shop, [make_sign(agency)])
    act_as(client, shop, Role.SHOP)
    answer = client.post(reverse(name, args=(order.pk,)), {"text": "x", "reason": "x"})
    assert answer.status_code == 403
    order.refresh_from_db()
    assert order.state == PrintOrder.State.RELEASED
    assert not order.amendments.exists()


def test_the_crew_has_no_orders(client, agency):
    act_as(client, agency, Role.CREW)
    assert client.get(reverse("order-list")).status_code == 403


def test_releasing_twice_releases_once(client, agency, shop):
    order = make_draft(agency, shop)
    act_as(client, agency)
    address = reverse("order-release", args=(order.pk,))
    assert client.post(address).status_code == 302
    assert client.post(address).status_code == 302
    order.refresh_from_db()
    assert order.state == PrintOrder.State.RELEASED
    assert order.logbook.filter(organisation=agency, verb="release order").count() == 1


def test_a_colleague_releasing_a_released_order_reads_who_did(client, agency, shop):
    order = make_draft(agency, shop)
    act_as(client, agency)
    address = reverse("order-release", args=(order.pk,))
    client.post(address)
    act_as(client, agency)
    answer = client.post(address)
    assert answer.status_code == 409
    assert "already released" in answer.content.decode()


def test_an_amendment_tapped_twice_is_written_once(client, agency, shop):
    order = make_released_order(agency, shop, [make_sign(agency)])
    act_as(client, agency)
    address = reverse("order-amend", args=(order.pk,))
    for _ in range(2):
        assert client.post(address, {"text": "Two of line 1."}).status_code == 302
    assert OrderAmendment.objects.filter(order=order).count() == 1
    client.logout()
    act_as(client, shop, Role.SHOP)
    page = client.get(reverse("order-page", args=(order.pk,))).content.decode()
    assert "Two of line 1." in page


def test_a_refused_amendment_keeps_what_was_typed(client, agency, shop):
    order = make_draft(agency, shop)
    act_as(client, agency)
    answer = client.post(reverse("order-amend", args=(order.pk,)), {"text": "Blue, not green."})
    assert answer.status_code == 409
    assert "change its lines instead" in answer.content.decode()


def test_a_printed_order_is_not_cancelled_and_the_reason_stays(client, agency, shop):
    order = make_released_order(agency, shop, [make_sign(agency), make_sign(agency)])
    line = order.lines.order_by("number")[0]
    print_order(order, make_press(shop, make_roll(shop)), line_quantities={line.pk: 1})
    act_as(client, agency)
    answer = client.post(
        reverse("order-cancel", args=(order.pk,)), {"reason": "The road is closed."}
    )
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "cannot be cancelled" in page
    assert "The road is closed." in page


def test_a_line_is_taken_off_a_draft(client, agency, shop):
    order = make_draft(agency, shop)
    act_as(client, agency)
    line = order.lines.get()
    answer = client.post(reverse("order-line-remove", args=(order.pk, line.pk)))
    assert answer.status_code == 302
    assert not order.lines.exists()


def test_a_line_of_a_released_order_stays(client, agency, shop):
    order = make_released_order(agency, shop, [make_sign(agency)])
    act_as(client, agency)
    line = order.lines.get()
    answer = client.post(reverse("order-line-remove", args=(order.pk, line.pk)))
    assert answer.status_code == 409
    assert order.lines.count() == 1


def test_an_order_past_its_day_is_called_late(client, agency, shop):
    order = make_draft(agency, shop, needed_by_on=NOW.date())
    release_order(order=order, now=NOW)
    PrintOrder.objects.filter(pk=order.pk).update(needed_by_on=NOW.date() - timedelta(days=1))
    act_as(client, shop, Role.SHOP)
    assert "late" in client.get(reverse("order-page", args=(order.pk,))).content.decode()


def test_the_list_is_narrowed_by_state(client, agency, shop):
    draft = make_draft(agency, shop)
    released = make_released_order(agency, shop, [make_sign(agency)])
    act_as(client, agency)
    page = client.get(reverse("order-list"), {"state": "draft"}).content.decode()
    assert draft.number in page
    assert released.number not in page


def test_the_list_of_orders_asks_no_more_for_more_orders(
    client, agency, shop, django_assert_max_num_queries
):
    for _ in range(12):
        make_draft(agency, shop)
    act_as(client, agency)
    # Session, user, roles, the filter's shops (twice: choices and value), count, page, two of
    # progress.
    with django_assert_max_num_queries(10):
        client.get(reverse("order-list"))


def test_an_order_of_many_lines_is_paged_and_asks_no_more(
    client, agency, shop, django_assert_max_num_queries
):
    order = make_released_order(agency, shop, [make_sign(agency) for _ in range(60)])
    act_as(client, agency)
    with django_assert_max_num_queries(16):
        page = client.get(reverse("order-page", args=(order.pk,))).content.decode()
    assert "1 to 50 of 60" in page


def line_form(line, **fields):
    """Return a line as its own form has it."""
    names = (
        "variant",
        "legend_text",
        "width_in",
        "height_in",
        "sheeting_type",
        "optics",
        "background_color",
        "legend_color",
        "reason",
    )
    form = {name: str(getattr(line, name)) for name in names}
    if line.position_id is None:
        form["quantity"] = str(line.quantity)
    return form | fields


def test_a_legend_of_its_own_gets_its_wording_before_release(client, agency, shop):
    sign = make_sign(agency, position=make_position(agency, is_custom_legend=True))
    order = draft_order(
        agency=agency, shop=shop, signs=[sign], sheeting_type="XI", now=NOW
    ).order
    act_as(client, agency)
    release = reverse("order-release", args=(order.pk,))
    refused = client.post(release)
    assert refused.status_code == 409
    assert "neither wording nor artwork" in refused.content.decode()
    line = order.lines.get()
    address = reverse("order-line", args=(order.pk, line.pk))
    changed = client.post(
        address, line_form(line, legend_text="STOP AT BAR", is_custom_legend="on")
    )
    assert changed.status_code == 302
    line.refresh_from_db()
    assert (line.legend_text, line.is_custom_legend) == ("STOP AT BAR", True)
    assert client.post(release).status_code == 302


def test_a_refused_line_keeps_what_was_typed(client, agency, shop):
    order = make_draft(agency, shop)
    act_as(client, agency)
    line = order.lines.get()
    address = reverse("order-line", args=(order.pk, line.pk))
    for change, sentence in (
        ({"width_in": "900"}, "larger than 600 in"),
        ({"width_in": "wide"}, "is not a number"),
    ):
        answer = client.post(address, line_form(line, reason="for the fair") | change)
        page = answer.content.decode()
        assert answer.status_code == 400
        assert sentence in page
        assert "for the fair" in page
        assert f'value="{change["width_in"]}"' in page
    line.refresh_from_db()
    assert line.width_in == 30.0


def test_a_released_line_is_frozen(client, agency, shop):
    order = make_released_order(agency, shop, [make_sign(agency)])
    act_as(client, agency)
    line = order.lines.get()
    address = reverse("order-line", args=(order.pk, line.pk))
    assert client.post(address, line_form(line, reason="x")).status_code == 409


def test_faces_for_stock_are_added_to_a_draft(client, agency, shop):
    order = make_draft(agency, shop)
    act_as(client, agency)
    address = reverse("order-line-add", args=(order.pk,))
    form = {
        "sign_code": "R2-1",
        "quantity": "6",
        "sheeting_type": "XI",
        "optics": "prismatic",
        "width_in": "24",
        "height_in": "30",
    }
    assert client.post(address, form | {"reason": "rack"}).status_code == 302
    line = order.lines.get(position=None)
    assert (line.sign_code, line.quantity, line.reason) == ("R2-1", 6, "rack")
    refused = client.post(address, form | {"sign_code": "ZZ-99", "reason": "rack two"})
    assert refused.status_code == 404
    assert "ZZ-99" in refused.content.decode()
    assert "rack two" in refused.content.decode()


def test_artwork_reaches_the_shop_as_a_file(client, agency, shop):
    order = make_draft(agency, shop)
    act_as(client, agency)
    line = order.lines.get()
    drawing = SimpleUploadedFile("bar.svg", b"<svg/>", "image/svg+xml")
    address = reverse("order-line", args=(order.pk, line.pk))
    assert client.post(address, line_form(line) | {"artwork": drawing}).status_code == 302
    release_order(order=order, now=NOW)
    client.logout()
    act_as(client, shop, Role.SHOP)
    answer = client.get(reverse("order-artwork", args=(order.pk, line.pk)))
    assert b"".join(answer.streaming_content) == b"<svg/>"
    assert answer["Content-Type"] == "application/octet-stream"
    assert "attachment" in answer["Content-Disposition"]
    client.logout()
    act_as(client, make_agency())
    assert client.get(reverse("order-artwork", args=(order.pk, line.pk))).status_code == 404


def test_a_line_without_artwork_has_no_file(client, agency, shop):
    order = make_draft(agency, shop)
    act_as(client, agency)
    line = order.lines.get()
    assert client.get(reverse("order-artwork", args=(order.pk, line.pk))).status_code == 404


def test_the_shop_changes_no_lines(client, agency, shop):
    order = make_released_order(agency, shop, [make_sign(agency)])
    act_as(client, shop, Role.SHOP)
    line = order.lines.get()
    for address in (
        reverse("order-line", args=(order.pk, line.pk)),
        reverse("order-line-add", args=(order.pk,)),
        reverse("order-line-remove", args=(order.pk, line.pk)),
    ):
        assert client.post(address, line_form(line)).status_code == 403
