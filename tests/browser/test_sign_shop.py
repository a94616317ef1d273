"""The shop's way from a released order to labelled faces in stock."""

from datetime import timedelta

import pytest

from inventory.models import PrintRun, Role, Sign
from tests.browser.acting import overflow_px, sign_in
from tests.factories import (
    make_agency,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
)
from tests.web.acting import PAGE_TIME, stop_the_clock

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


def typed(moment):
    return moment.strftime("%Y-%m-%dT%H:%M")


def test_an_order_is_released_seen_on_the_board_and_printed(desk, live_server):
    agency = make_agency("Alder County")
    shop = make_shop("Tern Signs", agency)
    roll = make_roll(shop)
    make_press(shop, roll)
    order = make_released_order(agency, shop, [make_sign(agency), make_sign(agency)])
    sign_in(desk, live_server.url, shop, Role.SHOP)
    assert "12.5" in desk.inner_text("main")  # 2 × 6.25 ft² of 30 × 30 in
    desk.click(f"text=Record a run for {order.number}")
    desk.wait_for_load_state()  # its script listens from here on
    desk.fill("[name=started_at]", typed(PAGE_TIME - timedelta(minutes=40)))
    desk.fill("[name=finished_at]", typed(PAGE_TIME - timedelta(minutes=10)))
    desk.locator("[name=finished_at]").dispatch_event("change")
    desk.wait_for_selector(f"[data-loaded] >> text={roll.lot}")
    desk.click("text=Record print run")
    desk.wait_for_url("**/runs/*/")
    shown = desk.inner_text("main")
    labels = Sign.objects.filter(maker=shop).values_list("label_id", flat=True)
    assert len(labels) == 2
    assert all(label in shown for label in labels)
    assert PrintRun.objects.count() == 1


def test_the_shops_pages_fit_a_phone(phone, live_server):
    agency = make_agency("Alder County")
    shop = make_shop("Tern Signs", agency)
    press = make_press(shop, make_roll(shop))
    order = make_released_order(agency, shop, [make_sign(agency)])
    sign_in(phone, live_server.url, shop, Role.SHOP)
    for address in (
        "/board/",
        "/orders/",
        f"/orders/{order.pk}/",
        f"/orders/{order.pk}/run/",
        "/presses/",
        f"/presses/{press.pk}/",
        f"/presses/{press.pk}/ink_changed/",
        "/stock/faces/",
        "/stock/rolls/",
        "/stock/rolls/receive/",
    ):
        phone.goto(live_server.url + address)
        assert overflow_px(phone) == 0, address
