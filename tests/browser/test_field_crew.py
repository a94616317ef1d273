"""The crew's way through a day on a phone: find, read, report, put up; by day and by night."""

import pytest
from PIL import Image

from inventory.models import Inspection, Instrument, Photo, Reading, Role, Sign
from tests.browser.acting import overflow_px, sign_in
from tests.browser.conftest import PHONE
from tests.factories import (
    make_agency,
    make_position,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    make_standing,
    make_support,
    print_order,
)
from tests.web.acting import stop_the_clock

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LEAST_TARGET_PX = 48
# Everything one can tap that is not a link within a sentence (WCAG 2.2, 2.5.8 leaves those
# out); a box or radio counts with the label around it.
SMALL_TARGETS = f"""() => [...document.querySelectorAll(
    "main a.button, main button, main select, main textarea, main summary, main a.field-line, "
    + "main input:not([type=hidden]):not([type=radio]):not([type=checkbox]), main label.chip"
  )].filter((each) => each.checkVisibility())
    .map((each) => [each.outerHTML.slice(0, 80), each.getBoundingClientRect().height])
    .filter(([, height]) => height < {LEAST_TARGET_PX})"""
# By night nothing is lighter than the sand-coloured text, and blue never leads.
GLARING_COLOURS = """() => {
  const glaring = new Set();
  for (const each of document.querySelectorAll("body, body *")) {
    if (each.closest("svg.sign-face, svg.swatch") || !each.checkVisibility()) continue;
    const style = getComputedStyle(each);
    for (const name of ["color", "backgroundColor", "borderTopColor"]) {
      const found = style[name].match(/^rgba?\\((\\d+), (\\d+), (\\d+)(?:, ([\\d.]+))?\\)$/);
      if (!found || found[4] === "0") continue;
      const [red, green, blue] = found.slice(1, 4).map(Number);
      const isPureWhite = red > 250 && green > 250 && blue > 250;
      const isBlue = blue > red + 8;
      if (isPureWhite || isBlue) glaring.add(`${each.tagName} ${name} ${style[name]}`);
    }
  }
  return [...glaring];
}"""


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency("Alder County")


def stand(agency, latitude_deg=43.0):
    support = make_support(agency, latitude_deg=latitude_deg, longitude_deg=-89.5)
    sign = make_sign(agency, position=make_position(agency, support=support))
    make_standing(sign)
    return sign


def fill_readings(page, red, white):
    for colour, values in ((0, red), (1, white)):
        for place, value in enumerate(values):
            page.fill(f"[name=value_{colour}_{place}]", value)


def test_a_crew_finds_a_sign_by_the_phones_position_and_reads_it(browser, live_server, agency):
    sign = stand(agency)
    stand(agency, 43.002)
    context = browser.new_context(
        viewport=PHONE,
        has_touch=True,
        is_mobile=True,
        geolocation={"latitude": 43.00003, "longitude": -89.5, "accuracy": 15},
        permissions=["geolocation"],
    )
    phone = context.new_page()
    sign_in(phone, live_server.url, agency, Role.CREW)
    phone.goto(f"{live_server.url}/near/")
    phone.click("text=Find signs near me")
    phone.wait_for_url("**/near/?**")
    assert "could be the sign before you" in phone.inner_text("main")
    phone.click("a.field-line >> nth=0")
    phone.wait_for_url(f"**/crew/signs/{sign.pk}/")
    phone.click("text=Record readings")
    phone.click("text=I have read this")
    fill_readings(phone, ("12", "12.2", "11.9", "12"), ("36", "36.5", "36", "35.9"))
    phone.click("text=Store readings")
    phone.wait_for_url(f"**/crew/signs/{sign.pk}/")
    assert Inspection.objects.get().sign == sign
    assert "Readings stored." in phone.inner_text("main")
    context.close()


def test_the_mean_runs_along_and_says_on_which_side_it_is(phone, live_server, agency):
    sign = stand(agency)
    address = f"{live_server.url}/crew/signs/{sign.pk}/readings/"
    sign_in(phone, live_server.url, agency, Role.CREW)
    phone.goto(address)
    phone.click("text=I have read this")
    fill_readings(phone, ("8", "8"), ("40", "40"))
    phone.wait_for_selector("text=mean of 2: 40.0")  # no level before the first verdict
    phone.click("text=Store readings")
    phone.wait_for_url(f"**/crew/signs/{sign.pk}/")
    phone.goto(address)
    # Stop sign: white 35, red 7, contrast 3:1 (MUTCD 11th edition, Table 2A-5).
    fill_readings(phone, ("6", "6"), ("34.9", "35.1"))
    for said in (
        "mean of 2: 35.0, at or above the level",
        "mean of 2: 6.0, below the level",
        "white to red 5.83 to 1, at or above 3 to 1",
    ):
        phone.wait_for_selector(f"text={said}")


def test_the_angles_follow_the_instrument_that_is_picked(phone, live_server, agency):
    instrument = Instrument.objects.create(
        organisation=agency,
        serial="RT-5",
        observation_angle_deg="0.5",
        entrance_angle_deg="-4.0",
    )
    sign = stand(agency)
    sign_in(phone, live_server.url, agency, Role.CREW)
    phone.goto(f"{live_server.url}/crew/signs/{sign.pk}/readings/")
    phone.click("text=I have read this")
    phone.wait_for_load_state("load")
    phone.select_option("[name=instrument]", str(instrument.pk))
    assert phone.input_value("[name=observation_angle_deg]") == "0.5"


def test_a_double_tap_on_store_stores_once(phone, live_server, agency):
    sign = stand(agency)
    sign_in(phone, live_server.url, agency, Role.CREW)
    phone.goto(f"{live_server.url}/crew/signs/{sign.pk}/readings/")
    phone.click("text=I have read this")
    fill_readings(phone, ("8",), ("40",))
    phone.dblclick("text=Store readings")
    phone.wait_for_url(f"**/crew/signs/{sign.pk}/")
    assert Inspection.objects.count() == 1


def test_a_refused_form_keeps_values_and_photo_on_the_phone(
    phone, live_server, agency, tmp_path
):
    picture = tmp_path / "sign.png"
    Image.new("RGB", (60, 60), "red").save(picture)
    sign = stand(agency)
    sign_in(phone, live_server.url, agency, Role.CREW)
    phone.goto(f"{live_server.url}/crew/signs/{sign.pk}/readings/")
    phone.click("text=I have read this")
    fill_readings(phone, ("8", "8.1"), ("40", "4o"))
    phone.fill("[name=note]", "read through the fence")
    phone.set_input_files("[name=photo]", picture)
    phone.click("text=Store readings")
    phone.wait_for_selector("[data-refusal]")
    assert "'4o' is not a number" in phone.inner_text("[data-refusal]")
    assert phone.input_value("[name=value_0_1]") == "8.1"
    assert phone.input_value("[name=note]") == "read through the fence"
    assert "The photo you sent is kept" in phone.inner_text("main")
    assert not Inspection.objects.exists()
    phone.fill("[name=value_1_1]", "40")
    phone.click("text=Store readings")
    phone.wait_for_url(f"**/crew/signs/{sign.pk}/")
    assert Reading.objects.count() == 4
    assert Photo.objects.get().sign == sign


def test_the_pages_work_without_scripts(browser, live_server, agency):
    sign = stand(agency)
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    sign_in(page, live_server.url, agency, Role.CREW)
    page.click("noscript a")
    page.click("text=Type a position")
    page.fill("[name=latitude]", "43.0001")
    page.fill("[name=longitude]", "-89.5")
    page.click("text=Find signs near this position")
    page.click("a.field-line >> nth=0")
    page.click("text=Record readings")
    page.click("text=I have read this")
    fill_readings(page, ("8",), ("40",))
    page.click("text=Store readings")
    assert Inspection.objects.get().sign == sign
    context.close()


def test_a_face_goes_up_by_its_label(phone, live_server, agency):
    old = stand(agency)
    shop = make_shop("Tern Signs", agency)
    order = make_released_order(agency, shop, [old])
    print_order(order, make_press(shop, make_roll(shop)))
    face = Sign.objects.get(layout_face__line__order=order)
    sign_in(phone, live_server.url, agency, Role.CREW)
    phone.goto(f"{live_server.url}/crew/signs/{old.pk}/")
    phone.click("text=Put up a new face here")
    phone.click("text=I have read this")
    phone.fill("[name=label_id]", (face.label_id or "").lower())
    phone.select_option("[name=removal_reason]", "faded")
    phone.click("text=Put this face up")
    phone.wait_for_url(f"**/crew/signs/{face.pk}/")
    old.refresh_from_db()
    assert old.state == "removed"


@pytest.mark.parametrize("night", [False, True], ids=["day", "night"])
def test_every_field_page_fits_the_phone_the_glove_and_the_hour(
    phone, live_server, agency, night
):
    sign = stand(agency)
    make_position(agency)
    sign_in(phone, live_server.url, agency, Role.CREW)
    phone.goto(f"{live_server.url}/crew/before-you-start/")
    if night:
        phone.click("text=Night colours")
    pages = [
        "/crew/before-you-start/",
        "/near/",
        "/near/?latitude=43.0&longitude=-89.5&accuracy_m=30",
        "/near/?q=R1",
        f"/crew/signs/{sign.pk}/",
    ]
    actions = [
        f"/crew/signs/{sign.pk}/readings/",
        f"/crew/signs/{sign.pk}/damage/",
        f"/crew/signs/{sign.pk}/take-down/",
        f"/crew/positions/{sign.position_id}/put-up/",
    ]
    for address in pages:
        look(phone, live_server.url + address, night=night)
    phone.goto(live_server.url + actions[0])
    phone.click("text=I have read this")
    for address in actions:
        look(phone, live_server.url + address, night=night)


def look(page, address, *, night):
    page.goto(address)
    assert overflow_px(page) == 0, address
    assert page.evaluate(SMALL_TARGETS) == [], address
    # ux.md: 18 px in the field.
    assert page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)") == 18
    if night:
        assert page.evaluate(GLARING_COLOURS) == [], address


# Whether what has the focus can be seen at its middle, or is under a bar (WCAG 2.2, 2.4.11).
IS_COVERED = """() => {
  const focused = document.activeElement;
  const box = focused.getBoundingClientRect();
  const top = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
  return !(top && (top === focused || focused.contains(top) || top.contains(focused)));
}"""


def test_what_the_keyboard_comes_to_is_never_under_a_bar(phone, live_server, agency):
    sign = stand(agency)
    sign_in(phone, live_server.url, agency, Role.CREW)
    phone.goto(f"{live_server.url}/crew/signs/{sign.pk}/readings/")
    phone.click("text=I have read this")
    phone.wait_for_url("**/readings/")
    phone.focus("[name=value_0_0]")
    while phone.evaluate("document.activeElement.innerText") != "Store readings":
        assert not phone.evaluate(IS_COVERED), phone.evaluate(
            "document.activeElement.outerHTML"
        )
        phone.keyboard.press("Tab")


def test_an_unverified_level_fits_the_phone_beside_its_number(phone, live_server):
    # The table of the 2009 edition was read in part only; see its 'checked' mark.
    agency = make_agency("Birch County", edition="2009")
    sign = stand(agency)
    sign_in(phone, live_server.url, agency, Role.CREW)
    phone.goto(f"{live_server.url}/crew/signs/{sign.pk}/readings/")
    phone.click("text=I have read this")
    fill_readings(phone, ("8.25", "8.125"), ("40.5", "40.25"))
    phone.click("text=Store readings")
    phone.wait_for_url(f"**/crew/signs/{sign.pk}/")
    assert "unverified" in phone.inner_text("main")
    assert overflow_px(phone) <= 0
