"""What a hand-over is tried on: planned years, faces in stock, and the step itself."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from inventory.models import (
    ColourArea,
    PackageStop,
    PlannedReplacement,
    Position,
    Sign,
    Support,
    WorkPackage,
)
from inventory.services.ordering.from_programme import of_year
from inventory.services.ordering.hand_over import draft_hand_over, make_orders
from inventory.services.standards import code_book
from tests.factories import NOW, make_sign, position_of
from tests.web.programme_records import make_programme_row, plan

if TYPE_CHECKING:
    from inventory.models import Organisation, Programme
    from inventory.services.ordering.hand_over import HandedOver, HandOver

YEAR = 2027
XI: dict[str, Any] = {"sheeting_type": "XI", "optics": "prismatic"}


def make_adopted(agency: Organisation, **fields: Any) -> Programme:
    """Return the agency's adopted programme of 2027 and 2028, with a lead of 60 days."""
    values: dict[str, Any] = {"state": "adopted", "adopted_at": NOW} | fields
    return make_programme_row(agency, **values)


def planned(
    programme: Programme,
    due_on: date | None = None,
    *,
    year: int | None = YEAR,
    sign: Sign | None = None,
    plan_fields: dict[str, Any] | None = None,
    **fields: Any,
) -> PlannedReplacement:
    """Plan a Stop of Type IX, or the sign given, to be replaced in a year."""
    face = sign or make_sign(programme.organisation, **fields)
    return plan(programme, face, year, due_on=due_on, **plan_fields or {})


def in_stock(
    agency: Organisation, made_on: date | None = date(2026, 1, 5), **fields: Any
) -> Sign:
    """Return a face of the agency's own stock: a red Stop of Type XI unless told otherwise."""
    face = make_sign(agency, **XI | fields)
    place = position_of(face)
    Sign.objects.filter(pk=face.pk).update(
        state=Sign.State.IN_STOCK, position=None, installed_on=None, fabricated_on=made_on
    )
    place.delete()
    face.refresh_from_db()
    return face


def stop_at(
    position: Position, work_on: date, task: str = "replace", **fields: Any
) -> PackageStop:
    """Return the stop of a package of its own, handed out."""
    package = WorkPackage.objects.create(
        organisation=position.organisation,
        title=f"Round of {work_on:%d %B}",
        work_on=work_on,
        made_at=NOW,
        state="handed_out",
    )
    return PackageStop.objects.create(
        package=package, number=1, position=position, task=task, **fields
    )


def draft_of(programme: Programme, year: int = YEAR, **fields: Any) -> HandOver:
    """Return the hand-over of a year as it would be made now, on Type XI."""
    source = of_year(programme=programme, year=year, book=code_book(programme.organisation))
    return draft_hand_over(source=source, **XI | {"now": NOW} | fields)


def hand_over(
    programme: Programme, shop: Organisation, year: int = YEAR, **fields: Any
) -> HandedOver:
    """Hand a year over as its draft shows it."""
    agency = programme.organisation
    given: dict[str, Any] = {"now": NOW} | XI | fields
    shown = {k: v for k, v in given.items() if k in ("sheeting_type", "optics", "step")}
    seen = given.pop("seen", None) or draft_of(programme, year, **shown).digest
    return make_orders(
        gather=lambda: of_year(programme=programme, year=year, book=code_book(agency)),
        agency=agency,
        shop=shop,
        seen=seen,
        **given,
    )


def make_many(programme: Programme, count: int, year: int = YEAR) -> None:
    """Plan many Stop and curve signs at once, every fourth with a face of its kind in stock."""
    agency = programme.organisation
    supports = Support.objects.bulk_create(
        Support(organisation=agency, latitude_deg=43.0, longitude_deg=-89.5, cell=number)
        for number in range(count)
    )
    codes = [
        ("R1-1", "red", "white") if n % 2 else ("W1-2", "yellow", "black") for n in range(count)
    ]
    positions = Position.objects.bulk_create(
        Position(
            organisation=agency,
            support=support,
            sign_code=code,
            width_in=30.0,
            height_in=30.0,
            mount="post",
        )
        for support, (code, _ground, _legend) in zip(supports, codes, strict=True)
    )
    signs = Sign.objects.bulk_create(
        Sign(
            owner=agency,
            state="installed" if number < count else "in_stock",
            position=positions[number] if number < count else None,
            sign_code=codes[number % count][0],
            width_in=30.0,
            height_in=30.0,
            fabricated_on=date(2015, 1, 1),
        )
        for number in range(count + count // 4)
    )
    ColourArea.objects.bulk_create(
        ColourArea(
            sign=sign,
            number=number,
            part=part,
            color=color,
            sheeting_type="XI",
            optics="prismatic",
            colouring="sheeting",
        )
        for at, sign in enumerate(signs)
        for number, (part, color) in enumerate(
            (("background", codes[at % count][1]), ("legend", codes[at % count][2])), start=1
        )
    )
    PlannedReplacement.objects.bulk_create(
        PlannedReplacement(
            programme=programme,
            position=position,
            sign=sign,
            year=year,
            reason="below its level by then",
            cost=100.0,
            crew_hours=0.5,
            due_on=date(year, 1 + at % 12, 9),
            safety_class=1 if at % 2 else 2,
            risk_left=0.0,
        )
        for at, (position, sign) in enumerate(zip(positions, signs[:count], strict=True))
    )
