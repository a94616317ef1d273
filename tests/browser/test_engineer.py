"""The engineer's way: from what needs me today to a drafted order, and the map."""

import re
from datetime import timedelta

import pytest

from inventory.models import PrintOrder, Road, Role
from inventory.services.assessment import mark_due
from inventory.services.inspection import ObservationInput, ReadingSetInput, record_inspection
from tests.browser.acting import overflow_px, sign_in
from tests.factories import NOW, make_agency, make_position, make_shop, make_sign, make_support
from tests.web.acting import stop_the_clock

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MOST_TABS_TO_THE_ACTION = 30


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    agency = make_agency("Alder County")
    make_shop("Tern Signs", agency)
    road = Road.objects.create(
        organisation=agency, name="Mill Road", line=[[-89.51, 43.0], [-89.49, 43.0]]
    )
    for n in range(4):
        support = make_support(agency, road=road, longitude_deg=-89.5 + n * 0.002)
        sign = make_sign(agency, position=make_position(agency, support=support))
        # MUTCD 11th edition (2023), Table 2A-5: red 7.
        record_inspection(
            sign=sign,
            taken_at=NOW - timedelta(days=n + 1),
            how="hand_held",
            surface_state="dry",
            reading_sets=[
                ReadingSetInput("white", ["40", "44"]),
                ReadingSetInput("red", ["5" if n < 2 else "9", "6" if n < 2 else "10"]),
            ],
            observations=[ObservationInput("bent", 3)] if n == 3 else [],
            now=NOW,
        )
    mark_due(organisation=agency, now=NOW)
    return agency


def pages_of(agency):
    sign = agency.signs_owned.order_by("pk").first()
    return (
        "/today/",
        "/signs/",
        "/signs/map/",
        f"/signs/{sign.pk}/",
        "/due/",
        "/imports/",
        "/logbook/",
        "/rules/",
        "/help/",
    )


def test_the_due_list_becomes_an_order(desk, live_server, agency):
    sign_in(desk, live_server.url, agency, Role.ENGINEER)
    desk.click("text=Draft an order from the due list")
    desk.check("[data-choose-all]")
    assert "3 signs ticked" in desk.inner_text("[data-choose-count]")
    desk.fill("[name=title]", "First of the year")
    desk.select_option("[name=sheeting_type]", "XI")
    desk.click("text=Draft order")
    desk.wait_for_url("**/orders/*/")
    assert "First of the year" in desk.inner_text("main")
    assert PrintOrder.objects.get().lines.count() == 3


def test_a_mark_on_the_map_opens_a_card_with_the_way_to_its_sign(desk, live_server, agency):
    sign_in(desk, live_server.url, agency, Role.ENGINEER)
    desk.goto(f"{live_server.url}/signs/map/?verdict=below")
    desk.wait_for_selector("[data-map][data-filled='2']")
    assert desk.locator(".map-marker").count() == 2
    desk.locator(".map-marker").first.click()
    card = desk.locator(".map-card")
    assert "below" in card.inner_text()
    card.get_by_role("link").click()
    desk.wait_for_url(re.compile(r"/signs/\d+/$"))
    assert "below" in desk.inner_text(".answer")


def test_map_and_list_stand_side_by_side_on_a_desk_and_below_each_other_on_a_phone(
    desk, phone, live_server, agency
):
    for page, is_side_by_side in ((desk, True), (phone, False)):
        sign_in(page, live_server.url, agency, Role.ENGINEER)
        page.goto(f"{live_server.url}/signs/map/")
        chart = page.locator("#map").bounding_box()
        lines = page.locator(".list-section").bounding_box()
        assert (lines["x"] >= chart["x"] + chart["width"]) is is_side_by_side


def test_the_map_can_be_walked_by_keyboard(desk, live_server, agency):
    sign_in(desk, live_server.url, agency, Role.ENGINEER)
    desk.goto(f"{live_server.url}/signs/map/")
    desk.wait_for_selector("[data-filled='4']")
    desk.locator(".map-marker").first.focus()
    desk.keyboard.press("Enter")
    assert desk.locator(".map-card").count() == 1


def test_no_page_of_the_engineer_is_wider_than_a_phone(phone, live_server, agency):
    sign_in(phone, live_server.url, agency, Role.ENGINEER)
    for address in pages_of(agency):
        phone.goto(live_server.url + address)
        assert overflow_px(phone) == 0, address


def test_the_phone_has_four_ways_at_the_bottom_and_all_in_the_menu(phone, live_server, agency):
    sign_in(phone, live_server.url, agency, Role.ENGINEER)
    assert phone.locator(".bottom-bar a").count() <= 4
    phone.click("text=Menu")
    phone.click(".menu-sheet >> text=Logbook")
    phone.wait_for_url("**/logbook/")


@pytest.mark.parametrize("address", ["/today/", "/due/", "first sign"])
def test_the_primary_action_is_reached_by_keyboard_and_shows_its_focus(
    desk, live_server, agency, address
):
    sign_in(desk, live_server.url, agency, Role.ENGINEER)
    sign = agency.signs_owned.order_by("pk").first()
    desk.goto(live_server.url + (f"/signs/{sign.pk}/" if address == "first sign" else address))
    desk.keyboard.press("Tab")
    assert desk.evaluate("document.activeElement.className") == "skip-link"
    desk.keyboard.press("Enter")
    for _ in range(MOST_TABS_TO_THE_ACTION):
        desk.keyboard.press("Tab")
        if desk.evaluate("document.activeElement.classList.contains('primary')"):
            break
    else:
        pytest.fail("the primary action was not reached")
    outline = desk.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"


def test_without_scripts_every_page_still_shows_its_data(browser, live_server, agency):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    sign_in(page, live_server.url, agency, Role.ENGINEER)
    for address in pages_of(agency):
        page.goto(live_server.url + address)
        assert page.locator("main h1").count() == 1, address
    page.goto(f"{live_server.url}/signs/map/")
    assert page.locator(".sign-line").count() == 4
    assert "The map needs scripts" in page.inner_text("#map")
    context.close()


def test_the_readings_are_drawn_beside_their_level(desk, live_server, agency):
    sign_in(desk, live_server.url, agency, Role.ENGINEER)
    sign = agency.signs_owned.order_by("pk").first()
    desk.goto(f"{live_server.url}/signs/{sign.pk}/")
    assert desk.locator(".plot canvas").count() == 2
    assert "level 7" in desk.locator(".plot-legend").nth(1).text_content()
    assert "level 7" in desk.locator(".plot [role=img]").nth(1).get_attribute("aria-label")


def test_every_field_and_picture_has_a_name(desk, live_server, agency):
    sign_in(desk, live_server.url, agency, Role.ENGINEER)
    for address in pages_of(agency):
        desk.goto(live_server.url + address)
        unnamed = desk.evaluate(
            """() => [...document.querySelectorAll(
                'main input:not([type=hidden]), main select, main textarea')]
              .filter((field) => !field.labels?.length && !field.getAttribute('aria-label'))
              .map((field) => field.name)"""
        )
        assert unnamed == [], address
        assert desk.locator("main img:not([alt])").count() == 0, address
        assert desk.locator("h1").count() == 1, address
