"""A row of each record of programmes."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from inventory.models import (
    Crew,
    CrewPlan,
    PlannedDay,
    PlannedReplacement,
    PlannedStop,
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
    planned = PlannedReplacement.objects.create(
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
    _fill_crew_days(planned)


def _fill_crew_days(planned: PlannedReplacement) -> None:
    programme = planned.programme
    crew = Crew.objects.create(
        organisation=programme.organisation,
        name="North crew",
        depot_name="North yard",
        depot_latitude_deg=43.0,
        depot_longitude_deg=-89.0,
        skills=["bucket_truck"],
    )
    plan = CrewPlan.objects.create(
        programme=programme,
        year=NOW.year,
        first_on=NOW.date(),
        last_on=NOW.date() + timedelta(days=30),
        asked={},
        started_at=NOW,
        seen_at=NOW,
    )
    day = PlannedDay.objects.create(
        plan=plan,
        number=1,
        crew=crew,
        work_on=NOW.date(),
        leave_minute=420,
        minutes=60,
        drive_mi=3.5,
    )
    PlannedStop.objects.create(
        plan=plan,
        day=day,
        number=1,
        position=planned.position,
        task="replace",
        source="programme",
        planned=planned,
        arrive_minute=430,
        service_minutes=40.0,
    )
