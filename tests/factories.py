"""Small builders of records; each test makes just what it needs."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import count
from typing import TYPE_CHECKING, Any

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.places import cell_of
from inventory.models import (
    ColourArea,
    Inspection,
    LotFinding,
    Organisation,
    Position,
    Reading,
    ReadingSet,
    Role,
    Sign,
    Standing,
    Support,
    User,
)
from inventory.services.inspection import VisualRatingInput
from inventory.services.instruments import register_instrument
from inventory.services.ordering import draft_order, release_order
from inventory.services.people import add_customer, add_person, create_organisation, set_policy
from inventory.services.production import (
    add_press,
    receive_roll,
    record_press_event,
    record_print_run,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from inventory.models import Instrument, Press, PrintOrder, PrintRun, SheetingRoll

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
_numbers = count(1)


def make_agency(name: str | None = None, edition: str = "11th-2023", **policy: Any):
    agency = create_organisation(
        name=name or f"County {next(_numbers)}", kind=Organisation.Kind.AGENCY
    )
    set_policy(
        agency=agency,
        effective_on=date(2000, 1, 1),
        edition=edition,
        basis="for tests",
        now=NOW,
        **policy,
    )
    return agency


def make_shop(name: str | None = None, agency: Organisation | None = None) -> Organisation:
    shop = create_organisation(
        name=name or f"Shop {next(_numbers)}", kind=Organisation.Kind.SHOP
    )
    if agency is not None:
        add_customer(shop=shop, agency=agency)
    return shop


def make_person(organisation: Organisation, role: str = Role.ENGINEER) -> User:
    return add_person(
        username=f"person{next(_numbers)}",
        password="a-long-test-word",
        organisation=organisation,
        role=role,
    )


def make_support(agency: Organisation, **fields: Any) -> Support:
    point = {"latitude_deg": 43.0, "longitude_deg": -89.5}
    support = Support(organisation=agency, **point | fields)
    support.cell = cell_of(support.latitude_deg, support.longitude_deg)
    # The database asks its constraints by itself.
    support.full_clean(exclude=["organisation", "road"], validate_constraints=False)
    support.save()
    return support


def make_position(agency: Organisation, **fields: Any) -> Position:
    support = fields.pop("support", None) or make_support(agency)
    defaults = {"sign_code": "R1-1", "width_in": 30.0, "height_in": 30.0, "mount": "post"}
    position = Position(organisation=agency, support=support, **defaults | fields)
    position.full_clean(
        exclude=["organisation", "support", "parent"], validate_constraints=False
    )
    position.save()
    return position


def position_of(sign: Sign) -> Position:
    """Return where a face is; a face without a position is a mistake of the test."""
    assert sign.position is not None
    return sign.position


STOP_COLOURS = (("background", "red"), ("legend", "white"))


def make_sign(
    agency: Organisation,
    *,
    colours: tuple[tuple[str, str], ...] = STOP_COLOURS,
    sheeting_type: str = "IX",
    optics: str = "prismatic",
    position: Position | None = None,
    **fields: Any,
) -> Sign:
    """Return an installed face, a Stop sign unless told otherwise."""
    position = position or make_position(
        agency,
        **{k: fields[k] for k in ("sign_code", "width_in", "height_in") if k in fields},
    )
    defaults: dict[str, Any] = {
        "owner": agency,
        "state": Sign.State.INSTALLED,
        "position": position,
        "sign_code": position.sign_code,
        "width_in": position.width_in,
        "height_in": position.height_in,
        "installed_on": date(2015, 5, 1),
    }
    sign = Sign.objects.create(**defaults | fields)
    ColourArea.objects.bulk_create(
        ColourArea(
            sign=sign,
            number=number,
            part=part,
            color=color,
            sheeting_type=sheeting_type,
            optics=optics,
            colouring="sheeting",
        )
        for number, (part, color) in enumerate(colours, start=1)
    )
    return sign


def make_rating(*, is_adequate: bool, **changes: Any) -> VisualRatingInput:
    """Return a rating by night by an inspector of 63 in a pick-up of 2015."""
    evidence: dict[str, Any] = {
        "inspector_age_years": 63,
        "vehicle_kind": "pick-up",
        "vehicle_model_year": 2015,
        "low_beams_aimed": True,
    }
    return VisualRatingInput("consistent_parameters", is_adequate, evidence | changes)


def make_standing(sign: Sign, **fields: Any) -> Standing:
    """Return how a sign stands, as a page would find it; judged by nobody."""
    position = sign.position
    assert position is not None
    assert sign.owner is not None
    defaults: dict[str, Any] = {
        "organisation": sign.owner,
        "sign": sign,
        "verdict": Verdict.MEETS.value,
        "safety_class": 1,
        "responsible": sign.responsible,
        "sign_code": sign.sign_code,
        "sign_name": "Stop",
        "road": position.support.road,
        "latitude_deg": position.support.latitude_deg,
        "longitude_deg": position.support.longitude_deg,
        "cell": position.support.cell,
        "rebuilt_at": NOW,
    }
    standing, _created = Standing.objects.update_or_create(
        sign=sign, defaults=defaults | fields
    )
    return standing


def make_roll(shop: Organisation, **fields: Any) -> SheetingRoll:
    """Return a roll in stock, white Type XI prismatic unless told otherwise."""
    number = next(_numbers)
    defaults: dict[str, Any] = {
        "roll_number": f"R{number}",
        "lot": f"L{number}",
        "sheeting_type": "XI",
        "color": "white",
        "width_in": 48.0,
        "length_ft": 150.0,
        "now": NOW,
    }
    return receive_roll(shop=shop, **defaults | fields)


def make_press(
    shop: Organisation, roll: SheetingRoll | None = None, on_at: datetime | None = None
) -> Press:
    """Return a press, with a roll on it from a day before ``NOW`` if one is given."""
    press = add_press(
        shop=shop,
        name=f"Press {next(_numbers)}",
        width_in=54.0,
        rate_ft2_per_h=162.0,
        now=NOW,
    )
    if roll is not None:
        record_press_event(
            press=press,
            kind="roll_loaded",
            roll=roll,
            happened_at=on_at or NOW - timedelta(days=1),
            now=NOW,
        )
    return press


def make_released_order(
    agency: Organisation, shop: Organisation, signs: Sequence[Sign]
) -> PrintOrder:
    """Return an order for the signs' positions that the shop may print."""
    drafted = draft_order(agency=agency, shop=shop, signs=signs, sheeting_type="XI", now=NOW)
    return release_order(order=drafted.order, now=NOW)


def print_order(
    order: PrintOrder, press: Press, now: datetime = NOW, **fields: Any
) -> PrintRun:
    """Record a run of half an hour that ended a minute ago, of all that the roll can print."""
    return record_print_run(
        order=order,
        press=press,
        started_at=now - timedelta(minutes=31),
        finished_at=now - timedelta(minutes=1),
        now=now,
        **fields,
    )


def make_instrument(agency: Organisation, **fields: Any) -> Instrument:
    """Return an instrument in date, whose checks may be 5 % off unless told otherwise."""
    defaults: dict[str, Any] = {
        "serial": f"I{next(_numbers)}",
        "observation_angle_deg": "0.2",
        "entrance_angle_deg": "-4.0",
        "receiver": "point",
        "certificate_on": date(2026, 1, 10),
        "certificate_due_on": date(2027, 1, 10),
        "check_tolerance_rel": 0.05,
        "now": NOW,
    }
    return register_instrument(organisation=agency, **defaults | fields)


def make_lot_finding(agency: Organisation, **fields: Any) -> LotFinding:
    """Return what the readings say of a sheeting lot: nothing out of the ordinary."""
    name = fields.pop("name", f"L{next(_numbers)}")
    kind = fields.pop("kind", "sheeting")
    defaults: dict[str, Any] = {
        "key": f"{kind}:{name}",
        "members": [{"kind": kind, "name": name}],
        "found_at": NOW,
        "method_version": "forecast-3",
        "sign_count": 58,
        "visit_count": 140,
        "effect_per_year": -0.001,
        "effect_low_per_year": -0.008,
        "effect_high_per_year": 0.006,
        "cohort_change_per_year": -0.05,
        "p_value": 0.4,
        "q_value": 0.9,
        "is_suspect": False,
    }
    return LotFinding.objects.create(
        organisation=agency, kind=kind, name=name, **defaults | fields
    )


def make_visit(
    sign: Sign,
    on: date | datetime,
    *,
    observation_angle_deg: str = "0.2",
    entrance_angle_deg: str = "-4.0",
    values: Mapping[str, Sequence[float | str]],
    **fields: Any,
) -> Inspection:
    """Return a visit at noon with its readings by colour, stored as it is, judged by nobody."""
    at = on if isinstance(on, datetime) else datetime(on.year, on.month, on.day, 12, tzinfo=UTC)
    defaults = {"organisation": sign.owner, "sign": sign, "taken_at": at, "recorded_at": at}
    visit: Inspection = Inspection.objects.create(**defaults | {"how": "hand_held"} | fields)
    for number, (color, of_color) in enumerate(values.items(), start=1):
        reading_set = ReadingSet.objects.create(
            inspection=visit,
            number=number,
            color=color,
            observation_angle_deg=observation_angle_deg,
            entrance_angle_deg=entrance_angle_deg,
        )
        Reading.objects.bulk_create(
            Reading(
                reading_set=reading_set,
                number=place,
                typed=str(value),
                ra_cd_lx_m2=str(value),
            )
            for place, value in enumerate(of_color, start=1)
        )
    return visit
