"""Faces of one lot, made and put up years ago, and what was promised of them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from inventory.engineering.production.warranty import PromiseStep
from inventory.models import (
    Instrument,
    Organisation,
    PrintRun,
    ShopCustomer,
    Sign,
    User,
    WarrantyTerm,
)
from inventory.services.inspection import (
    ObservationInput,
    ReadingSetInput,
    record_inspection,
)
from inventory.services.production import record_press_event
from inventory.services.warranty.terms import TermContent, enter_term
from tests.factories import (
    NOW,
    make_agency,
    make_instrument,
    make_person,
    make_press,
    make_roll,
    make_shop,
    make_sign,
)

MADE_AT = datetime(2021, 5, 10, 15, tzinfo=UTC)
CONTENT = TermContent(
    name="Type XI, colour of the sheeting",
    made_from_on=date(2020, 1, 1),
    sheeting_type="XI",
    colouring="sheeting",
    overlay="any",
    starts="fabricated",
    initials={"white": Decimal(380), "red": Decimal(76)},
    initial_basis="the initial values of the supplier's table 1",
    supplier_text="The sheeting keeps 80 % for 7 years and 70 % for 10 years.",
    steps=[
        PromiseStep(7, Decimal("0.8"), "a new face, put up"),
        PromiseStep(10, Decimal("0.7"), "the sheeting"),
    ],
)


class Road(NamedTuple):
    """The two parties, the run the faces come from, who reads, and with what."""

    agency: Organisation
    shop: Organisation
    run: PrintRun
    person: User
    instrument: Instrument
    lot: str


def make_road(lot: str = "L-77", agency: Organisation | None = None) -> Road:
    """Return a shop that printed for an agency in 2021, on one lot, and a reader of 2026."""
    agency = agency or make_agency()
    customer = ShopCustomer.objects.filter(agency=agency).first()
    shop = customer.organisation if customer else make_shop(agency=agency)
    roll = make_roll(shop, lot=lot, received_on=date(2021, 1, 20))
    press = make_press(shop)
    record_press_event(
        press=press,
        kind="roll_loaded",
        roll=roll,
        happened_at=MADE_AT - timedelta(hours=1),
        now=MADE_AT,
    )
    run = PrintRun.objects.create(
        press=press,
        run_number=f"R-{lot}",
        started_at=MADE_AT,
        finished_at=MADE_AT + timedelta(hours=1),
        printed_area_ft2=60.0,
    )
    return Road(agency, shop, run, make_person(agency), make_instrument(agency), lot)


def make_face(road: Road, **fields: Any) -> Sign:
    """Return a Stop sign of the run, standing since June 2021."""
    defaults: dict[str, Any] = {
        "maker": road.shop,
        "print_run": road.run,
        "fabricated_on": MADE_AT.date(),
        "installed_on": date(2021, 6, 1),
        "sheeting_type": "XI",
    }
    return make_sign(road.agency, **defaults | fields)


def read(
    road: Road,
    sign: Sign,
    white: list[str],
    red: list[str] | None = None,
    *,
    observations: list[ObservationInput] | None = None,
    **fields: Any,
) -> None:
    """Read a face on the day, dry, having looked at it: sound unless told otherwise."""
    seen = [ObservationInput(kind="general", severity=0)]
    defaults: dict[str, Any] = {
        "taken_at": NOW - timedelta(hours=2),
        "how": "hand_held",
        "surface_state": "dry",
        "instrument": road.instrument,
        "inspector": road.person,
        "now": NOW,
    }
    record_inspection(
        sign=sign,
        reading_sets=[
            ReadingSetInput("white", white),
            ReadingSetInput("red", red or ["70"] * 4),
        ],
        observations=seen if observations is None else observations,
        **defaults | fields,
    )


def make_term(road: Road, **changes: Any) -> WarrantyTerm:
    """Return a term of the shop: 304 cd/lx/m² of white for 7 years, 266 for 10."""
    return enter_term(
        shop=road.shop, content=TermContent(**{**vars(CONTENT), **changes}), now=NOW
    )
