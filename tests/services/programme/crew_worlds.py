"""An agency with crews and an adopted programme, for the tests of crew days."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from inventory.engineering.programme import tours
from inventory.models import CrewPlan, PlannedDay, PlannedStop, Programme
from inventory.services.crews import add_crew
from inventory.services.programme import crew_tours
from inventory.services.programme.crew_days import open_plan, plan_crew_days
from inventory.services.programme.crew_days_asked import CrewDaysAsked
from tests.factories import NOW, make_position, make_sign, make_support
from tests.web.programme_records import make_programme_row, plan

if TYPE_CHECKING:
    from inventory.models import Crew, Organisation, PlannedReplacement, User

YEAR = 2027
MONDAY = date(2027, 5, 3)
AT = datetime.combine(date(2027, 5, 1), NOW.timetz())
SEARCH_SECONDS = 0.02


@pytest.fixture(autouse=True)
def _short_search(monkeypatch):
    """Search for a moment only: few stops are toured here."""

    def quickly(*args: Any, **fields: Any) -> Any:
        return tours.plan_tours(*args, **fields | {"seconds": SEARCH_SECONDS})

    monkeypatch.setattr(crew_tours, "plan_tours", quickly)


def a_crew(agency: Organisation, name: str = "North crew", **fields: Any) -> Crew:
    given: dict[str, Any] = {
        "depot_name": "North yard",
        "depot_latitude_deg": 43.0,
        "depot_longitude_deg": -89.5,
        "skills": ["bucket_truck"],
    }
    return add_crew(organisation=agency, name=name, now=NOW, **given | fields)


def a_programme(agency: Organisation, **fields: Any) -> Programme:
    return make_programme_row(agency, **{"state": "adopted"} | fields)


def to_replace(programme: Programme, longitude_deg: float = -89.5, **fields: Any) -> Any:
    """Plan the replacement of a face at a longitude, in 2027 unless told otherwise."""
    place = {name: fields.pop(name) for name in ("mount", "sign_code") if name in fields}
    support = fields.pop("support", None) or make_support(
        programme.organisation,
        longitude_deg=longitude_deg,
        support_type=fields.pop("support_type", "u_channel"),
    )
    position = make_position(programme.organisation, support=support, **place)
    sign = make_sign(programme.organisation, position=position)
    planned: PlannedReplacement = plan(programme, sign, fields.pop("year", YEAR), **fields)
    return planned


def asked_for(*crews: Crew, **fields: Any) -> CrewDaysAsked:
    return CrewDaysAsked(tuple(each.pk for each in crews), **fields)


def opened(programme: Programme, *crews: Crew, days: int = 5, **fields: Any) -> CrewPlan:
    by: User | None = fields.pop("by", None)
    year = fields.pop("year", YEAR)
    return open_plan(
        programme=programme,
        year=year,
        first_on=fields.pop("first_on", MONDAY),
        last_on=fields.pop("last_on", MONDAY + timedelta(days=days - 1)),
        asked=asked_for(*crews, **fields),
        by=by,
        now=AT,
    )


def planned(programme: Programme, *crews: Crew, **fields: Any) -> CrewPlan:
    return plan_crew_days(opened(programme, *crews, **fields))


def a_crew_day(planned: PlannedReplacement) -> PlannedDay:
    """Return a crew day with the one replacement, as a search would have stored it."""
    programme = planned.programme
    crew = a_crew(programme.organisation)
    plan = CrewPlan.objects.create(
        programme=programme,
        year=YEAR,
        first_on=MONDAY,
        last_on=MONDAY,
        asked=asked_for(crew).as_json(),
        started_at=NOW,
        seen_at=NOW,
        finished_at=NOW,
        result={"days": 1, "stops": 1, "unserved": 0, "minutes": 60, "drive_mi": 1.0},
    )
    day = PlannedDay.objects.create(
        plan=plan,
        number=1,
        crew=crew,
        work_on=MONDAY,
        leave_minute=420,
        minutes=60,
        drive_mi=1.0,
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
        service_minutes=42.0,
    )
    return day
