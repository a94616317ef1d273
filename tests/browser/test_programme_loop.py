"""Once round: a programme to order, packages, a phone without signal, and back to its year."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from inventory.models import (
    Crew,
    CrewPlan,
    PlannedReplacement,
    PrintOrder,
    Programme,
    Role,
    Sign,
    StopResult,
    WorkPackage,
)
from inventory.services.crews import add_crew
from inventory.services.programme import crew_days, solving
from inventory.services.programme.crew_days_asked import LEAST_SECONDS
from inventory.services.programme.pool import pool
from inventory.services.standing import mark_due
from tests.browser.acting import sign_in
from tests.browser.field_acting import CrewPhone
from tests.factories import make_press, make_roll, make_shop, make_support, print_order
from tests.services.programme.records import HIGH, a_sign, planning_agency
from tests.web.forecast_records import make_fit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def _in_this_process(monkeypatch):
    """What pages start in a process of its own is done at once here; that is tested beside."""
    monkeypatch.setattr(solving, "_spawn", lambda run: solving.solve(run, polish_seconds=0.1))

    def plan(command, **_how):
        asked = CrewPlan.objects.get(pk=int(command[-1]))
        asked.asked["seconds"] = LEAST_SECONDS  # two stops need no ten
        asked.save(update_fields=["asked"])
        return crew_days.plan_crew_days(asked)

    monkeypatch.setattr(crew_days, "subprocess", SimpleNamespace(Popen=plan, DEVNULL=None))


@pytest.fixture
def agency():
    return planning_agency()


@pytest.fixture
def signs(agency):
    fit, today = make_fit(agency), agency.day_of(timezone.now())
    stand = [
        a_sign(
            agency, fit, HIGH, due_on=today, as_of_on=today,
            support=make_support(agency, latitude_deg=43.0 + 0.01 * number, accuracy_m=1.0),
        )
        for number in range(2)
    ]  # fmt: skip
    mark_due(organisation=agency, now=timezone.now())
    return stand


def plan_at_the_desk(desk, site, year):
    """Make a programme of this year, choose its years and adopt it."""
    desk.goto(f"{site}/programmes/new/")
    desk.fill("[name=name]", "This year")
    desk.fill("[name=first_year]", str(year))
    desk.fill("[name=years]", "1")
    desk.fill("[name=budget]", "500")
    desk.fill("[name=crew_hours]", "8")
    desk.click("text=Make the programme")
    desk.click("text=Choose the years")
    expect(desk.locator("main")).to_contain_text("2 signs are replaced for")
    desk.click("text=Adopt this programme")
    desk.click(f"text=Plan the work of {year}")
    expect(desk.locator("h1")).to_have_text(str(year))


def order_what_it_asks_for(desk, shop):
    """Hand the year over to the shop; return the order, released."""
    desk.click("text=Hand over to the shop")
    desk.select_option("[name=sheeting_type]", "XI")
    desk.click("text=Draft it this way")
    desk.select_option("[name=shop]", str(shop.pk))
    desk.click("text=Make 1 draft order")
    desk.wait_for_load_state()
    order = PrintOrder.objects.get()
    assert order.lines.count() == 2
    desk.goto(desk.url.split("/programmes/")[0].split("/orders/")[0] + f"/orders/{order.pk}/")
    desk.click(f"text=Release order to {shop}")
    expect(desk.locator("main")).to_contain_text("released")
    order.refresh_from_db()
    return order


def send_a_crew(desk, site, programme, today):
    """Split the year into crew days, of today alone, and hand the package out."""
    desk.goto(f"{site}/programmes/{programme.pk}/{today.year}/crew-days/")
    desk.fill("[name=first_on]", today.isoformat())
    desk.fill("[name=last_on]", today.isoformat())
    desk.click("button:text('Plan crew days')")
    expect(desk.locator("main")).to_contain_text("1 crew day with 2 stops")
    desk.click("text=Make 1 package and hand them out")
    expect(desk.locator("main")).to_contain_text("handed out")
    return WorkPackage.objects.get()


def test_a_year_is_ordered_driven_put_up_and_what_was_not_done_comes_back(
    browser, desk, live_server, agency, signs
):
    shop = make_shop("Tern Signs", agency)
    today = agency.day_of(timezone.now())
    add_crew(
        organisation=agency, name="Yard", depot_name="County yard", weekdays="1234567",
        depot_latitude_deg=43.0, depot_longitude_deg=-89.5, person=None,
    )  # fmt: skip
    assert Crew.objects.count() == 1
    sign_in(desk, live_server.url, agency, Role.ENGINEER)
    plan_at_the_desk(desk, live_server.url, today.year)
    programme = Programme.objects.get()
    assert programme.state == Programme.State.ADOPTED
    order = order_what_it_asks_for(desk, shop)
    assert order.state == PrintOrder.State.RELEASED
    print_order(order, make_press(shop, make_roll(shop)), now=timezone.now())
    package = send_a_crew(desk, live_server.url, programme, today)
    first, second = package.stops.order_by("number")
    face = Sign.objects.get(layout_face__line__position=first.position)
    assert first.face == face  # what to bring, printed for this place

    phone = CrewPhone(browser, live_server.url)
    phone.prepare(agency)
    phone.go_offline()
    phone.show(f"#/install/{first.position_id}")
    phone.page.fill("#label", str(face.label_id))
    phone.page.wait_for_selector("text=It fits, and was printed for this place.")
    phone.page.click("text=colour faded")
    phone.save()
    phone.show(f"#/stop/{first.pk}?outcome=done")
    phone.save()
    phone.page.wait_for_selector("text=1 of 2 stops done")
    phone.show(f"#/stop/{second.pk}")
    phone.page.click("text=not done")
    phone.page.click("text=not safe to stop there")
    phone.save()
    assert StopResult.objects.count() == 0  # all of it without signal
    phone.send()
    phone.close()

    outcomes = dict(StopResult.objects.values_list("stop", "outcome"))
    assert outcomes == {first.pk: "done", second.pk: "not_done"}
    face.refresh_from_db()
    assert (face.state, face.position_id) == ("installed", first.position_id)
    waiting = pool(programme=programme, year=today.year)
    assert [each.position_id for each in waiting] == [second.position_id]
    done = PlannedReplacement.objects.get(programme=programme, position=first.position)
    desk.goto(f"{live_server.url}/programmes/{programme.pk}/{today.year}/")
    shown = desk.locator(f"#planned-{done.pk}")
    expect(shown).to_contain_text("Done")
    left = PlannedReplacement.objects.get(programme=programme, position=second.position)
    expect(desk.locator(f"#planned-{left.pk}")).to_contain_text("not safe to stop there")
    desk.click("text=Hand over to the shop")
    expect(desk.locator("main")).not_to_contain_text("Make 1 draft order")
