"""The plan as rows: roads, supports, positions, faces and what was found on them."""

from __future__ import annotations

import uuid
from collections import defaultdict
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.engineering.places import cell_of
from inventory.engineering.production.colouring import Colouring, colouring_of
from inventory.engineering.production.labels import make_label
from inventory.models import (
    ColourArea,
    Inspection,
    Instrument,
    InstrumentCheck,
    Observation,
    Panel,
    Position,
    Reading,
    ReadingSet,
    Road,
    Sign,
    Support,
    VisualRating,
)
from inventory.models.signs import DatePrecision
from inventory.services.damage_visits import note_visits
from inventory.services.demo.faces import ColourPlan, base_color, colours_of
from inventory.services.demo.geography import METRES_PER_MILE, county, to_latitude_longitude
from inventory.services.demo.press_history import moment
from inventory.services.demo.words import words

if TYPE_CHECKING:
    from datetime import date

    from inventory.models import Organisation, User
    from inventory.services.demo.faces import FacePlan
    from inventory.services.demo.plan import ScenarioPlan
    from inventory.services.demo.press_history import PressHistory
    from inventory.services.demo.readings import InspectionPlan
    from inventory.services.demo.roadside import PositionPlan, Roadside, SupportPlan

NAMESPACE = uuid.UUID("5b0c6f3e-7a51-4f0e-9d0b-6f2f1c6f7d11")
LONGEST_THIN_IN = 36.0  # up to this 0.080 in, above it 0.125 in: Iowa DOT 4186.02 (2009)
THIN_IN, THICK_IN = 0.080, 0.125
RECORDED_AFTER = timedelta(hours=3)
REFERENCE_RA = 250.0
CHECK_SD = 0.006
CHECKED_AT = {
    InstrumentCheck.Moment.BEFORE: (9, 40),
    InstrumentCheck.Moment.AFTER: (17, 30),
}
NIGHT_EVIDENCE = {
    "inspector_age_years": 61,
    "vehicle_kind": "pick-up",
    "vehicle_model_year": 2013,
    "low_beams_aimed": True,
}


def uuid_of(key: str) -> uuid.UUID:
    """Return the same id for the same key, so that nothing is stored twice."""
    return uuid.uuid5(NAMESPACE, key)


def store_roads(agency: Organisation) -> dict[str, Road]:
    """Store every road with its line for the map."""
    rows = []
    for plan in county().roads:
        line = [[lon, lat] for lat, lon in to_latitude_longitude(plan.points)]
        rows.append(
            Road(
                organisation=agency,
                name=plan.name,
                road_class=plan.road_class,
                posted_speed_mph=plan.posted_speed_mph,
                line=line,
            )
        )
    return {road.name: road for road in Road.objects.bulk_create(rows)}


def store_supports(
    agency: Organisation, plan: ScenarioPlan, roads: dict[str, Road]
) -> dict[str, Support]:
    """Store every support at its point."""
    points = to_latitude_longitude([(each.east_m, each.north_m) for each in plan.supports])
    rows = Support.objects.bulk_create(
        _support(agency, each, latitude, longitude, roads, plan.site)
        for each, (latitude, longitude) in zip(plan.supports, points, strict=True)
    )
    return {each.key: row for each, row in zip(plan.supports, rows, strict=True)}


def _support(
    agency: Organisation,
    plan: SupportPlan,
    latitude: float,
    longitude: float,
    roads: dict[str, Road],
    site: Roadside,
) -> Support:
    rng = site.rng(f"survey:{plan.key}")
    is_rough = rng.random() < words("signs")["gaps"]["no_accuracy"]
    return Support(
        organisation=agency,
        external_key=f"OC-{plan.number:05d}",
        latitude_deg=latitude,
        longitude_deg=longitude,
        accuracy_m=None if is_rough else round(rng.uniform(0.6, 3.5), 1),
        cell=cell_of(latitude, longitude),
        road=roads[plan.road.name],
        milepoint_mi=round(plan.along_m / METRES_PER_MILE, 3),
        side=plan.side,
        support_type=plan.support_type,
        post_count=plan.post_count,
    )


def store_positions(
    agency: Organisation, plan: ScenarioPlan, supports: dict[str, Support]
) -> dict[str, Position]:
    """Store every position, those that hang on another after the one they hang on."""
    stored: dict[str, Position] = {}
    for is_plaque in (False, True):
        wanted = [
            (support, order, position)
            for support in plan.supports
            for order, position in enumerate(support.positions, start=1)
            if (position.parent is not None) is is_plaque
        ]
        rows = Position.objects.bulk_create(
            _position(agency, supports[support.key], support, order, position, stored)
            for support, order, position in wanted
        )
        for (_support_plan, _order, position), row in zip(wanted, rows, strict=True):
            stored[position.key] = row
    return stored


def _position(
    agency: Organisation,
    support: Support,
    plan: SupportPlan,
    order: int,
    position: PositionPlan,
    stored: dict[str, Position],
) -> Position:
    width, height = position.recorded_size
    parent = None
    if position.parent is not None:
        parent = stored[plan.positions[position.parent].key]
    return Position(
        organisation=agency,
        support=support,
        sign_code=position.recorded_code,
        source_code="" if position.recorded_code else position.source_code,
        variant=position.variant if position.recorded_code else "",
        legend_text=position.legend,
        is_custom_legend=position.is_custom,
        width_in=width,
        height_in=height,
        facing_deg=position.facing_deg,
        mount=position.mount,
        mounting_height_in=position.mounting_height_in,
        order_on_support=order,
        parent=parent,
    )


def store_faces(
    agency: Organisation,
    shop: Organisation,
    plan: ScenarioPlan,
    positions: dict[str, Position],
    history: PressHistory,
) -> dict[str, Sign]:
    """Store every face with its panel and its colours; the shop's faces carry a label."""
    panels = _store_panels(agency, plan)
    rows = Sign.objects.bulk_create(
        _sign(agency, shop, face, positions, panels, history) for face in plan.faces
    )
    labelled = [row for row in rows if row.print_run_id is not None]
    for row in labelled:
        row.label_id = make_label(row.pk)
    Sign.objects.bulk_update(labelled, ["label_id"], batch_size=400)
    ColourArea.objects.bulk_create(
        area for face, row in zip(plan.faces, rows, strict=True) for area in _areas(face, row)
    )
    return {face.key: row for face, row in zip(plan.faces, rows, strict=True)}


def _panel_key(face: FacePlan) -> str:
    return f"{face.position.panel}{face.key[-2:]}"


def _store_panels(agency: Organisation, plan: ScenarioPlan) -> dict[str, Panel]:
    rows: dict[str, Panel] = {}
    for face in plan.faces:
        width, height = face.position.recorded_size
        is_known = face.run is not None
        longest = max(width or 0.0, height or 0.0)
        rows.setdefault(
            _panel_key(face),
            Panel(
                organisation=agency,
                width_in=width,
                height_in=height,
                thickness_in=(THIN_IN if longest <= LONGEST_THIN_IN else THICK_IN)
                if is_known
                else None,
                material="aluminium 5052-H38" if is_known else "",
            ),
        )
    return dict(zip(rows, Panel.objects.bulk_create(rows.values()), strict=True))


def _sign(
    agency: Organisation,
    shop: Organisation,
    face: FacePlan,
    positions: dict[str, Position],
    panels: dict[str, Panel],
    history: PressHistory,
) -> Sign:
    position = face.position
    width, height = position.recorded_size
    run = face.run
    return Sign(
        maker=shop if run else None,
        owner=agency,
        responsible=face.support.responsible,
        panel=panels[_panel_key(face)],
        position=positions[position.key],
        state=face.state,
        sign_code=position.recorded_code,
        variant=position.variant if position.recorded_code else "",
        legend_text=position.legend,
        width_in=width,
        height_in=height,
        fabricated_on=face.fabricated_on,
        fabricated_precision=DatePrecision.DAY,
        installed_on=face.installed_on,
        installed_precision=face.precision,
        removed_on=face.removed_on,
        removal_reason=face.removal_reason,
        print_run=history.stored_runs[run.number] if run else None,
        print_number=face.print_number,
        is_reconstructed=run is None,
    )


def _areas(face: FacePlan, row: Sign) -> list[ColourArea]:
    colours = colours_of(face.position.code, face.position.background)
    if not row.sign_code:
        colours = colours[:1]  # of a sign nobody could name, only the background is noted
    return [
        ColourArea(
            sign=row,
            number=number,
            part=colour.part,
            color=colour.color,
            sheeting_type="" if colour.is_opaque else face.recorded_type,
            optics="unknown" if colour.is_opaque else face.recorded_optics,
            colouring=_colouring(face, colour, colours),
        )
        for number, colour in enumerate(colours, start=1)
    ]


def _colouring(face: FacePlan, colour: ColourPlan, colours: tuple[ColourPlan, ...]) -> str:
    if colour.is_opaque:
        return Colouring.OPAQUE
    if face.run is None:
        return Colouring.UNKNOWN
    inks = set(words("press")["inks"]["channels"].values())
    return colouring_of(colour.color, base_color(colours), inks)


def store_instruments(
    agency: Organisation, plan: ScenarioPlan, crew: list[User]
) -> list[Instrument]:
    """Store the two instruments, with a check before and after each day's work."""
    data = words("scenario")["instruments"]
    instruments: list[Instrument] = Instrument.objects.bulk_create(
        Instrument(
            organisation=agency,
            serial=each["serial"],
            observation_angle_deg=Decimal("0.2"),
            entrance_angle_deg=Decimal("-4"),
            receiver=each["receiver"],
            certificate_on=each["certificate_on"],
            certificate_due_on=each["certificate_due_on"],
            check_tolerance_rel=each["check_tolerance_rel"],
        )
        for each in data
    )
    InstrumentCheck.objects.bulk_create(
        _check(plan.site, instruments[number], day, number, each, crew[number])
        for day, number in plan.work_days
        for each in InstrumentCheck.Moment
    )
    return instruments


def _check(
    site: Roadside,
    instrument: Instrument,
    day: date,
    number: int,
    when: InstrumentCheck.Moment,
    by: User,
) -> InstrumentCheck:
    """Return the check of an instrument before or after a day's work."""
    data = words("scenario")["instruments"][number]
    key = f"check:{day}:{number}:{when}"
    shown = round(REFERENCE_RA * data["bias"] * site.rng(key).gauss(1.0, CHECK_SD))
    at = moment(day, *CHECKED_AT[when])
    return InstrumentCheck(
        instrument=instrument,
        client_uuid=uuid_of(key),
        moment=when,
        tolerance_rel=data["check_tolerance_rel"],
        is_within_tolerance=abs(shown / REFERENCE_RA - 1.0) <= data["check_tolerance_rel"],
        checked_at=at,
        recorded_at=at,
        reference_ra_cd_lx_m2=Decimal(round(REFERENCE_RA)),
        shown_ra_cd_lx_m2=Decimal(shown),
        checked_by=by,
    )


def store_inspections(
    agency: Organisation,
    inspections: list[InspectionPlan],
    signs: dict[str, Sign],
    instruments: list[Instrument],
    crew: list[User],
) -> dict[str, Inspection]:
    """Store visits with everything found on them."""
    rows = Inspection.objects.bulk_create(
        Inspection(
            organisation=agency,
            client_uuid=uuid_of(each.key),
            sign=signs[each.face.key],
            taken_at=each.taken_at,
            recorded_at=each.taken_at + RECORDED_AFTER,
            inspector=crew[each.crew],
            how=each.how,
            surface_state=each.surface_state,
            instrument=None if each.instrument is None else instruments[each.instrument],
        )
        for each in inspections
    )
    pairs = list(zip(inspections, rows, strict=True))
    sets = ReadingSet.objects.bulk_create(
        ReadingSet(
            inspection=row,
            number=number,
            color=color,
            observation_angle_deg=Decimal("0.2"),
            entrance_angle_deg=Decimal("-4"),
        )
        for each, row in pairs
        for number, color in enumerate(each.readings, start=1)
    )
    typed = [values for each, _row in pairs for values in each.readings.values()]
    Reading.objects.bulk_create(
        Reading(reading_set=row, number=number, typed=value, ra_cd_lx_m2=Decimal(value))
        for row, values in zip(sets, typed, strict=True)
        for number, value in enumerate(values, start=1)
    )
    observations = Observation.objects.bulk_create(
        Observation(inspection=row, kind=seen.kind, severity=seen.severity)
        for each, row in pairs
        for seen in each.observations
    )
    looks: dict[Inspection, list[Observation]] = defaultdict(list)
    for observation in observations:
        looks[observation.inspection].append(observation)
    note_visits(looks, now=max(row.recorded_at for row in rows))
    VisualRating.objects.bulk_create(
        VisualRating(
            inspection=row,
            procedure=VisualRating.Procedure.CONSISTENT_PARAMETERS,
            is_adequate=each.is_adequate,
            evidence=NIGHT_EVIDENCE,
        )
        for each, row in pairs
        if each.is_adequate is not None
    )
    return {each.key: row for each, row in pairs}
