"""The engineer's way from a year of due dates to its sign, cohort, lot and map."""

from datetime import date

import pytest
from playwright.sync_api import expect

from inventory.models import Role
from tests.browser.acting import overflow_px, sign_in
from tests.factories import (
    make_agency,
    make_lot_finding,
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
from tests.web.forecast_records import color_of, make_fit, make_forecast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    """Six signs out of one print run; the first falls due in 2034, by its own readings."""
    agency = make_agency("Alder County")
    shop = make_shop("Tern Signs", agency)
    counts = {
        "as_of_on": "2026-06-01",
        "first_year": 2026,
        "by_class": {
            "1": {"expected": [0.1 * n for n in range(31)], "shared_sd": [0.1] * 31}
            | {"sd": [0.1 + 0.3 * n**0.5 for n in range(31)]}
        },
    }
    fit = make_fit(agency)
    fit.life |= {"due_counts": counts}
    fit.save(update_fields=["life"])
    press = make_press(shop, make_roll(shop))
    run = print_order(make_released_order(agency, shop, [make_sign(agency)]), press)
    for n in range(6):
        support = make_support(agency, longitude_deg=-89.5 + n * 0.002)
        position = make_position(agency, support=support)
        sign = make_sign(agency, position=position, print_run=run, maker=shop)
        due_on = date(2034 + n, 3, 1)
        make_standing(sign, forecast_due_on=due_on)
        make_forecast(sign, [color_of(fit)], due_on=due_on)
    make_lot_finding(
        agency,
        maker=shop,
        name="L-204",
        is_suspect=True,
        effect_per_year=-0.021,
        detail={"made_in": [{"color": "", "run_ids": [run.pk]}], "cohorts": [fit.key]},
    )
    make_lot_finding(agency, maker=shop, name="L-205")
    return agency


def drawn(page, plot_id):
    """Wait until a plot is drawn, and return how much of its canvas has ink on it."""
    page.wait_for_selector(f"#{plot_id} canvas")
    return page.evaluate(
        """id => {
            const canvas = document.querySelector(`#${id} canvas`);
            const {width, height} = canvas;
            const pixels = canvas.getContext("2d").getImageData(0, 0, width, height).data;
            let inked = 0;
            for (let at = 3; at < pixels.length; at += 4) inked += pixels[at] > 0 ? 1 : 0;
            return inked;
        }""",
        plot_id,
    )


def test_from_a_year_to_a_sign_its_cohort_its_lot_and_the_map(desk, live_server, agency):
    sign_in(desk, live_server.url, agency, Role.ENGINEER)
    desk.click(".rail >> text=Due dates")
    assert drawn(desk, "due-by-year") > 500
    figures = desk.locator("#due-by-year .table-scroll")
    assert "2034" in figures.inner_text()
    # The table is reached and scrolled with the keyboard alone.
    expect(figures.get_by_role("row", name="2041")).not_to_be_in_viewport()
    figures.focus()
    assert figures.evaluate("element => element === document.activeElement")
    desk.keyboard.press("End")
    expect(figures.get_by_role("row", name="2041")).to_be_in_viewport()
    figures.get_by_role("row", name="2034").get_by_role("link").press("Enter")
    desk.wait_for_url("**due_year=2034*")
    signs = desk.locator("#signs tbody tr")
    assert signs.count() == 1
    assert "2034-03-01" in signs.inner_text()
    signs.locator(".sign-name").click()
    desk.wait_for_selector("[data-plot] canvas")
    desk.locator("a[href^='/forecast/cohorts/']").first.click()
    desk.wait_for_selector("[data-plot] canvas")
    desk.click(".forecast-tabs >> text=Lots")
    assert drawn(desk, "lots") > 200
    desk.click(".lot-lines >> text=Sheeting lot L-204")
    assert drawn(desk, "rivals") > 200
    desk.wait_for_selector("[data-map][data-filled='6']")
    desk.click("text=Map and list of them")
    desk.wait_for_selector("[data-map][data-filled='6']")
    assert desk.locator(".sign-lines li").count() == 6
    assert "L-204" in desk.inner_text(".filter-box summary")


def test_due_dates_and_lots_fit_a_phone(phone, live_server, agency):
    sign_in(phone, live_server.url, agency, Role.ENGINEER)
    finding = agency.lot_findings.get(name="L-204")
    for address in ("/forecast/", "/forecast/lots/", f"/forecast/lots/{finding.pk}/"):
        phone.goto(live_server.url + address)
        phone.wait_for_selector("[data-plot] canvas")
        assert overflow_px(phone) == 0, address
