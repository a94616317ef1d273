"""A row of each record of programmes, crews and reported damage."""

from __future__ import annotations

from datetime import time
from typing import TYPE_CHECKING

from inventory.models import (
    Crew,
    DamageClosure,
    DamageReport,
    PlannedReplacement,
    Programme,
    ProgrammeRun,
    WorkBasis,
)
from tests.factories import NOW, position_of

if TYPE_CHECKING:
    from inventory.models import Organisation, Sign


def fill_programmes(agency: Organisation, sign: Sign) -> None:
    """Plan one replacement by an agency's work basis, and put reported damage right."""
    basis = WorkBasis.objects.create(
        organisation=agency,
        version=1,
        effective_on=NOW.date(),
        recorded_at=NOW,
        face_price=40.0,
        face_price_per_ft2=9.0,
        crew_price_per_h=120.0,
        face_hours=0.4,
        support_hours=0.3,
        stretch_hours=0.5,
        lead_days=60,
        class_weights=[10.0, 4.0, 2.0, 1.0],
        basis="county accounts",
    )
    programme = Programme.objects.create(
        organisation=agency,
        name="Replacements",
        first_year=NOW.year,
        years=1,
        budget=[1000.0],
        crew_hours=[40.0],
        work_basis=basis,
        made_at=NOW,
    )
    ProgrammeRun.objects.create(programme=programme, started_at=NOW, seen_at=NOW)
    PlannedReplacement.objects.create(
        programme=programme,
        position=position_of(sign),
        sign=sign,
        year=NOW.year,
        reason="class 1 before its due date",
        cost=120.0,
        crew_hours=0.7,
        safety_class=1,
        risk_left=0.0,
    )
    Crew.objects.create(
        organisation=agency,
        name="North crew",
        depot_latitude_deg=43.0,
        depot_longitude_deg=-89.5,
        day_starts_at=time(7),
        shift_minutes=480,
    )
    report = DamageReport.objects.create(
        organisation=agency,
        position=position_of(sign),
        sign=sign,
        channel="call",
        kind="knocked_down",
        severity=3,
        reported_at=NOW,
        notified_at=NOW,
        entered_at=NOW,
    )
    DamageClosure.objects.create(report=report, way="repaired", done_at=NOW, recorded_at=NOW)
