"""An order through every state, by hand in the browser: shop and agency, each at its desk."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from inventory.models import LayoutPlan, PressEvent, PrintRun, Proof, Role, Sign
from inventory.services.ordering.layouts import solving
from inventory.services.production import record_press_event
from tests.browser.acting import overflow_px, sign_in
from tests.browser.conftest import DESK
from tests.services.layouts.worlds import make_world

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PICTURE = b"%PDF-1.7 the proof of a legend"


@pytest.fixture(autouse=True)
def _in_this_process(monkeypatch, tmp_path, settings):
    """What the page starts in a process of its own is done at once here, and quickly."""
    settings.MEDIA_ROOT = tmp_path

    def search(run):
        LayoutPlan.objects.filter(pk=run.plan_id).update(seconds=1)
        solving.solve(run)

    monkeypatch.setattr(solving, "_spawn", search)


@pytest.fixture
def world():
    world = make_world(signs=3)
    world.order.lines.filter(number=3).update(is_custom_legend=True, legend_text="Ferry Rd")
    # The log speaks of today: the roll went on an hour ago.
    record_press_event(
        press=world.press,
        kind=PressEvent.Kind.ROLL_LOADED,
        roll=world.narrow,
        happened_at=timezone.now() - timedelta(hours=1),
    )
    return world


def submit(page):
    page.click("main button.primary")
    page.wait_for_load_state()
    assert overflow_px(page) <= 0


def test_an_order_goes_through_every_state(browser, desk, live_server, world, tmp_path):
    site, order = live_server.url, f"{live_server.url}/orders/{world.order.pk}/"
    shop = desk
    sign_in(shop, site, world.shop, Role.SHOP)
    context = browser.new_context(viewport=DESK)
    engineer = context.new_page()
    sign_in(engineer, site, world.agency, Role.ENGINEER)

    # Released → asked, answered, accepted.
    shop.goto(order + "ask/")
    shop.fill("[name=text]", "Red face or white?")
    submit(shop)
    engineer.goto(order)
    engineer.click("main a:has-text('Answer')")
    engineer.fill("[name=text]", "Red.")
    submit(engineer)
    shop.goto(order)
    shop.click("text=Accept order")
    shop.fill("[name=promised_on]", f"{timezone.localdate() + timedelta(days=9)}")
    submit(shop)
    engineer.goto(order)
    expect(engineer.locator("main")).to_contain_text("Promised for")

    # Proof sent → approved.
    proof = tmp_path / "ferry.pdf"
    proof.write_bytes(PICTURE)
    shop.click("main a:text-is('proofs')")
    shop.set_input_files("[name=file]", str(proof))
    submit(shop)
    engineer.click("main a:text-is('proofs')")
    expect(engineer.locator(".spelt")).to_have_text("Ferry Rd")
    engineer.click("button[value=approve]")
    expect(engineer.locator("main")).to_contain_text("may be laid out")
    assert Proof.objects.get().decision.is_approved

    # Laid out → frozen.
    shop.goto(order)
    shop.click("main a:text-is('Lay out')")
    shop.select_option("[name=cutter]", "straight")
    for name, value in (("gap_in", "0.25"), ("edge_margin_in", "0.5"), ("bleed_in", "0.125")):
        shop.fill(f"[name={name}]", value)
    shop.uncheck(f"#roll-{world.roll.pk}")
    submit(shop)
    expect(shop.locator("svg.layout-drawing polygon.face")).to_have_count(3)
    shop.click("text=Freeze layout")
    expect(shop.locator("main")).to_contain_text("The layout is frozen")

    # Printed, all but one face.
    shop.click("text=Record its print run")
    now = timezone.localtime()
    for name, minutes in (("started_at", 50), ("finished_at", 20)):
        moment = now - timedelta(minutes=minutes)
        shop.fill(f"[name={name}]", f"{moment:%Y-%m-%dT%H:%M}")
    shop.check("[name=not_printed] >> nth=2")
    submit(shop)
    run = PrintRun.objects.get()
    assert run.signs.count() == 2

    # Checked: nothing is wrong with what was printed.
    shop.goto(f"{site}/runs/{run.pk}/checks/")
    submit(shop)
    expect(shop.locator("main")).to_contain_text("2 faces are passed")

    # Labelled.
    shop.goto(f"{site}/labels/sheets/add/")
    for name, value in {
        "name": "Ten", "page_width_in": "8.5", "page_height_in": "11", "columns": "2",
        "rows": "5", "label_width_in": "4", "label_height_in": "2", "left_in": "0.2",
        "top_in": "0.5", "gap_across_in": "0.1", "gap_down_in": "0",
    }.items():  # fmt: skip
        shop.fill(f"[name={name}]", value)
    submit(shop)
    shop.goto(f"{site}/runs/{run.pk}/labels/")
    submit(shop)
    expect(shop.locator("h1")).to_have_text("2 labels")

    # Shipped → received, one of them broken.
    shop.goto(order + "ship/")
    submit(shop)
    expect(shop.locator("h1")).to_contain_text("Packing list")
    engineer.goto(order)
    engineer.click(f"main a:text-is('{world.order.number}/1')")
    broken = run.signs.order_by("print_number")[0]
    engineer.select_option(f"[name=outcome_{broken.pk}]", "broken")
    engineer.fill(f"[name=note_{broken.pk}]", "bent at the corner")
    submit(engineer)
    expect(engineer.locator("main")).to_contain_text("bent at the corner")
    whole = Sign.objects.get(owner=world.agency, print_run=run)

    # Installed.
    line = whole.layout_face.line
    engineer.goto(f"{site}/l/{whole.label_id}")
    engineer.goto(f"{site}/crew/positions/{line.position_id}/put-up/")
    if engineer.locator("text=I have read").count():
        engineer.click("main button.primary")
    engineer.fill("[name=label_id]", whole.label_id)
    engineer.select_option("[name=removal_reason]", "aged")
    submit(engineer)
    whole.refresh_from_db()
    assert whole.state == Sign.State.INSTALLED

    # What is left: the face that was not printed, and the broken one.
    shop.goto(order)
    expect(shop.locator("main")).to_contain_text(
        "3 asked for, 2 printed, 2 checked, 2 labelled, 2 shipped, 1 received, 0 in stock, "
        "1 put up, 1 lost"
    )
    shop.click("main a:text-is('Lay out')")
    expect(shop.locator("[name^=count_]")).to_have_count(2)
    context.close()
