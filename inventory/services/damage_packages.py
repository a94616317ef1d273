"""Damage put into a work package at once, with a face from stock where one fits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.inspection.damage import GONE, OUTLIVES_THE_FACE
from inventory.errors import StateConflictError
from inventory.models import DamageStanding, PackageStop, Sign
from inventory.services.ordering.stock_matching import stock_for
from inventory.services.work_packages import WantedStop, add_stops, hand_out, make_package

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.models import DamageReport, User, WorkPackage

Task = PackageStop.Task
REPAIRED_IN_PLACE = OUTLIVES_THE_FACE | {"turned"}
LONGEST_TITLE = 120


@transaction.atomic
def put_into_package(
    *,
    report: DamageReport,
    package: WorkPackage | None = None,
    work_on: date | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> WorkPackage:
    """
    Add damage to a draft package, or make one of it for a day and hand it out at once.

    A face of the agency's stock that fits is named for the crew to bring.
    """
    now = now or timezone.now()
    row = (
        DamageStanding.objects.filter(report=report)
        .select_related("organisation", "position__support__road", "sign")
        .first()
    )
    if row is None or not row.is_open:
        msg = f"Damage {report.pk} is not open any more; no crew has to go there for it."
        raise StateConflictError(msg)
    stop = _stop(row, now)
    if package is not None:
        return add_stops(package=package, stops=[stop], by=by, now=now)
    made = make_package(
        organisation=row.organisation,
        title=_title(row),
        work_on=work_on or row.organisation.day_of(now),
        stops=[stop],
        bring=f"Face {stop.face.label_id or stop.face.pk}, {stop.face}" if stop.face else "",
        by=by,
        now=now,
    )
    return hand_out(package=made, by=by, now=now)


def _stop(row: DamageStanding, now: datetime) -> WantedStop:
    task = _task(row)
    face = None
    if task != Task.REPAIR:
        found = stock_for(
            organisation=row.organisation, positions=[row.position], any_sheeting=True, now=now
        )
        face = found.get(row.position_id)
    note = f"{row.get_kind_display().capitalize()} (damage {row.pk})"
    return WantedStop(row.position, task, note, face=face)


def _task(row: DamageStanding) -> str:
    """Return what is to be done: the post, or a face where one stands or none does."""
    stands = row.sign is not None and row.sign.state == Sign.State.INSTALLED
    if row.kind in REPAIRED_IN_PLACE:
        return Task.REPAIR
    if row.kind in GONE and not stands:
        return Task.INSTALL
    return Task.REPLACE if stands else Task.INSTALL


def _title(row: DamageStanding) -> str:
    road = row.position.support.road
    where = f", {road}" if road else ""
    return f"Damage: {row.position.sign_code or 'sign'}{where}"[:LONGEST_TITLE]
