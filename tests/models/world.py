"""A row of every record for one agency, made by the services where there is one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.apps import apps

from inventory.models import (
    AgencyLevel,
    CodeAlias,
    Disposition,
    EarlierCertificate,
    FlagSettlement,
    ImportMissing,
    ImportRefusal,
    ImportRun,
    ImportSettlement,
    InspectionFlag,
    Instrument,
    InstrumentCheck,
    LocalSignType,
    MethodAssignment,
    MethodGroup,
    MethodStep,
    Panel,
    Photo,
    PrintOrder,
    RefusedEntry,
    Road,
    Scoped,
    Sign,
    SourceRecord,
    User,
)
from inventory.services.assessment import mark_due
from inventory.services.inspection import (
    ObservationInput,
    ReadingSetInput,
    record_inspection,
)
from inventory.services.installation import install_sign
from inventory.services.ordering import amend_order, draft_order
from inventory.services.production import (
    receive_overlay,
    record_press_event,
    record_quality_reading,
)
from tests.factories import (
    NOW,
    make_person,
    make_position,
    make_press,
    make_rating,
    make_released_order,
    make_roll,
    make_sign,
    make_support,
    print_order,
)
from tests.models.world_of_builds import fill_builds
from tests.models.world_of_damage import fill_damage
from tests.models.world_of_forecasts import fill_forecasts
from tests.models.world_of_hand_overs import fill_hand_overs
from tests.models.world_of_layouts import fill_labels, fill_layouts
from tests.models.world_of_order_life import fill_order_life
from tests.models.world_of_phones import (
    fill_merges,
    fill_packages,
    fill_phones,
    fill_wrong_data,
)
from tests.models.world_of_presses import fill_press
from tests.models.world_of_programmes import fill_programmes
from tests.models.world_of_shop_prices import fill_shop_prices
from tests.models.world_of_warranty import fill_warranty

if TYPE_CHECKING:
    from inventory.models import Inspection, Organisation, PrintRun

RA = {"reference_ra_cd_lx_m2": Decimal(250), "shown_ra_cd_lx_m2": Decimal(249)}


@dataclass(frozen=True)
class Side:
    """What one agency has: the handles a test asks about."""

    agency: Organisation
    person: User
    old_sign: Sign
    new_sign: Sign
    in_stock: Sign
    seen_old: Inspection
    seen_new: Inspection
    order: PrintOrder
    draft: PrintOrder
    run: PrintRun


def scoped_models() -> list[type[Scoped]]:
    """Return every record that says who may read it."""
    models = apps.get_app_config("inventory").get_models()
    return [model for model in models if issubclass(model, Scoped)]


def inspect(sign: Sign, person: User) -> Inspection:
    return record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(hours=1),
        how="hand_held",
        surface_state="dry",
        inspector=person,
        reading_sets=[ReadingSetInput(color="red", values=["6", "6.5"])],
        observations=[ObservationInput(kind="bent", severity=1)],
        visual_rating=make_rating(is_adequate=True),
        note="by the school",
        now=NOW,
    )


def fill(agency: Organisation, shop: Organisation) -> Side:
    """Make a row of every record for an agency and what its shop makes for it."""
    person = make_person(agency)
    road = Road.objects.create(organisation=agency, name="Mill Road")
    position = make_position(agency, support=make_support(agency, road=road))
    old = make_sign(agency, position=position)
    spare = make_sign(agency)
    Panel.objects.create(organisation=agency)
    seen_old = inspect(old, person)
    order = make_released_order(agency, shop, [old, spare])
    amend_order(order=order, text="to the north yard", by=person, now=NOW)
    run = _print(order, shop)
    new_face, in_stock = run.signs.order_by("print_number")
    new = install_sign(
        sign=new_face,
        position=position,
        installed_on=NOW.date(),
        removal_reason="below_level",
        by=person,
        now=NOW,
    )
    seen_new = inspect(new, person)
    mark_due(organisation=agency, now=NOW)
    _look_after(agency, new, seen_new)
    _import(agency)
    fill_phones(agency, make_sign(agency), person)
    fill_wrong_data(new, person)
    fill_merges(agency, person)
    fill_packages(agency, new, person)
    fill_forecasts(agency, shop, new)
    fill_programmes(agency, new)
    fill_damage(agency, new)
    fill_hand_overs(new, in_stock)
    fill_layouts(run)
    fill_labels(run)
    fill_shop_prices(shop)
    fill_builds(shop)
    fill_order_life(order, run.signs.order_by("pk")[0])
    fill_press(run.press)
    fill_warranty(order, run.signs.order_by("pk")[0])
    draft = draft_order(agency=agency, shop=shop, signs=[make_sign(agency)], by=person, now=NOW)
    return Side(
        agency=agency,
        person=person,
        old_sign=old,
        new_sign=new,
        in_stock=in_stock,
        seen_old=seen_old,
        seen_new=seen_new,
        order=PrintOrder.objects.get(pk=order.pk),
        draft=draft.order,
        run=run,
    )


def _print(order: PrintOrder, shop: Organisation) -> PrintRun:
    press = make_press(shop, make_roll(shop))
    overlay = receive_overlay(
        shop=shop,
        roll_number=f"O{press.pk}",
        lot="O",
        width_in=48.0,
        length_ft=150.0,
        now=NOW,
    )
    record_press_event(
        press=press,
        kind="overlay_loaded",
        overlay=overlay,
        happened_at=NOW - timedelta(hours=2),
        now=NOW,
    )
    run = print_order(order, press)
    face = run.signs.first()
    assert face is not None
    record_quality_reading(sign=face, color="white", typed="480", now=NOW)
    return run


def _look_after(agency: Organisation, sign: Sign, inspection: Inspection) -> None:
    Photo.objects.create(organisation=agency, sign=sign, recorded_at=NOW, sha256="0" * 64)
    Disposition.objects.create(
        organisation=agency, sign=sign, decision="replace", decided_at=NOW
    )
    instrument = Instrument.objects.create(
        organisation=agency,
        serial="1",
        observation_angle_deg=Decimal("0.2"),
        entrance_angle_deg=Decimal("-4.0"),
    )
    check = InstrumentCheck.objects.create(
        instrument=instrument,
        moment="after",
        tolerance_rel=0.05,
        is_within_tolerance=False,
        checked_at=NOW,
        recorded_at=NOW,
        **RA,
    )
    flag = InspectionFlag.objects.create(
        inspection=inspection, reason="check_failed", check_made=check, raised_at=NOW
    )
    FlagSettlement.objects.create(
        flag=flag, outcome="judge", reason="checked against a second panel", settled_at=NOW
    )
    EarlierCertificate.objects.create(instrument=instrument, replaced_at=NOW)
    RefusedEntry.objects.create(
        organisation=agency,
        channel="api",
        kind="inspection",
        payload={"note": "by the school"},
        fingerprint="0" * 64,
        sentence="The inspection says nothing.",
        received_at=NOW,
    )
    AgencyLevel.objects.create(
        organisation=agency,
        background_color="fluorescent-yellow-green",
        legend_color="black",
        color="fluorescent-yellow-green",
        minimum_ra_cd_lx_m2=Decimal(75),
        basis="county study",
        approved_by="the county engineer",
        approved_on=NOW.date(),
        effective_on=NOW.date(),
        recorded_at=NOW,
    )
    place = sign.position
    assert place is not None
    group = MethodGroup.objects.create(
        organisation=agency,
        name="measured signs",
        method="measured",
        started_on=NOW.date(),
        recorded_at=NOW,
        basis="county board",
        interval_months=24,
    )
    MethodAssignment.objects.create(
        group=group, position=place, from_on=NOW.date(), recorded_at=NOW
    )
    MethodStep.objects.create(
        group=group, done_on=NOW.date(), text="first round", recorded_at=NOW
    )
    LocalSignType.objects.create(
        organisation=agency, code="TR-7", name="Trail Head", series="guide"
    )
    CodeAlias.objects.create(organisation=agency, alias="stop", code="R1-1")


def _import(agency: Organisation) -> None:
    fields: dict[str, Any] = {"organisation": agency, "source_name": "list"}
    run = ImportRun.objects.create(
        file_name="list.csv", file_sha256="0" * 64, started_at=NOW, **fields
    )
    record = SourceRecord.objects.create(
        external_id="1",
        raw={},
        row_sha256="0" * 64,
        first_run=run,
        last_run=run,
        changed_at=NOW,
        **fields,
    )
    ImportRefusal.objects.create(run=run, line=2, raw={}, reason="no point")
    ImportMissing.objects.create(run=run, record=record)
    ImportSettlement.objects.create(run=run, record=record, changes={}, reason="older")
