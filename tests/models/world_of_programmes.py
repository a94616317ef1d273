"""A row of each record of programmes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import (
    PlannedReplacement,
    Programme,
    ProgrammeRun,
    WorkBasis,
)
from tests.factories import NOW, position_of

if TYPE_CHECKING:
    from inventory.models import Organisation, Sign


def fill_programmes(agency: Organisation, sign: Sign) -> None:
    """Plan one replacement by an agency's work basis."""
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
