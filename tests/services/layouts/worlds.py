"""A shop with rolls and a press, and an order of an agency to be laid out."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, NamedTuple

from inventory.models import LayoutPlan, Organisation, Press, PrintOrder, SheetingRoll
from inventory.services.ordering.layouts.making import Rules, make_plan
from inventory.services.ordering.layouts.solving import open_run, solve
from inventory.services.production import record_press_event, record_print_run
from inventory.services.production.laying_settings import set_press_measures
from tests.factories import (
    NOW,
    make_agency,
    make_position,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
)

KIND: dict[str, Any] = {"sheeting_type": "XI", "optics": "prismatic", "base_color": "white"}
RULES = Rules(cutter="straight", gap_in=0.25, edge_margin_in=0.5, bleed_in=0.125, seconds=1)


class Shop(NamedTuple):
    """Who takes part, what is in stock, and what is ordered."""

    agency: Organisation
    shop: Organisation
    press: Press
    roll: SheetingRoll
    narrow: SheetingRoll
    order: PrintOrder


def make_world(signs: int = 6) -> Shop:
    """Return a released order of Stop signs of 30 in, and a 48 in and a 36 in roll."""
    agency = make_agency()
    shop = make_shop(agency=agency)
    roll = make_roll(shop)
    narrow = make_roll(shop, width_in=36.0, length_ft=50.0)
    press = make_press(shop, roll)
    press = set_press_measures(
        press=press, printable_width_in=50.0, lead_in_in=6.0, tail_in=12.0, now=NOW
    )
    faces = [
        make_sign(agency, position=make_position(agency, width_in=30.0, height_in=30.0))
        for _ in range(signs)
    ]
    return Shop(agency, shop, press, roll, narrow, make_released_order(agency, shop, faces))


def laid_out(world: Shop, **more: Any) -> LayoutPlan:
    """Return a layout of all that is free, searched for."""
    plan = make_plan(
        order=world.order,
        press=world.press,
        now=NOW,
        **{"rules": RULES, "rolls": [world.roll, world.narrow], **KIND, **more},
    )
    return solve(open_run(plan=plan))


def print_load(world: Shop, load: Any, minutes: int = 31, roll: Any = None, **more: Any) -> Any:
    """Record the run that printed a load, its roll (or another) having been put on before."""
    record_press_event(
        press=world.press,
        kind="roll_loaded",
        roll=roll or load.roll,
        happened_at=NOW - timedelta(minutes=minutes + 5),
        now=NOW,
    )
    return record_print_run(
        order=world.order,
        press=world.press,
        started_at=NOW - timedelta(minutes=minutes),
        finished_at=NOW - timedelta(minutes=minutes - 30),
        load=load,
        now=NOW,
        **more,
    )
