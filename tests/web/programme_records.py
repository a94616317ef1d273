"""A solved programme of a few signs, for the tests of its pages."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from inventory.models import PlannedReplacement, Programme, Standing, WorkBasis
from inventory.services.programme.work_bases import set_work_basis
from tests.factories import NOW, make_standing, position_of

if TYPE_CHECKING:
    from inventory.models import Organisation, Sign


def make_basis(agency: Organisation, **fields: Any) -> WorkBasis:
    """Say what work costs an agency, from long ago on."""
    figures: dict[str, Any] = {
        "face_price": 40.0,
        "face_price_per_ft2": 9.0,
        "crew_price_per_h": 120.0,
        "face_hours": 0.4,
        "support_hours": 0.3,
        "stretch_hours": 0.5,
        "lead_days": 60,
        "basis": "county accounts (invented)",
    }
    return set_work_basis(agency=agency, effective_on=date(2020, 1, 1), **figures | fields)


def year_of(year: int, below: float, **fields: Any) -> dict[str, Any]:
    """Return a year of a result."""
    return {
        "year": year,
        "replaced": 2,
        "money": 900.0,
        "crew_hours": 6.0,
        "below": below,
        "below_nothing": 30.0,
        "risk": 10.0 * below,
        "risk_nothing": 300.0,
        "class_1_below": 0.0,
    } | fields


def make_result(**fields: Any) -> dict[str, Any]:
    """Return the result of a programme of 2027 and 2028."""
    years = [year_of(2027, 14.0), year_of(2028, 12.0)]
    worst = [year_of(2027, 20.0), year_of(2028, 21.0)]
    return {
        "value": 340.0,
        "bound": 350.0,
        "certified_share": 0.97149,
        "risk_nothing": 600.0,
        "risk_left": 260.0,
        "gap_words": "",
        "by_year": years,
        "rivals": {"worst_first": {"risk_left": 410.0, "by_year": worst}},
        "ten_percent_more": {"risk_left": 250.0, "replaced": 5},
        "least_budget_class_1": {"share": 0.4, "yearly": [400.0, 400.0]},
        "shortfall": None,
        "unplanned": {
            "count": 1,
            "no_forecast": 3,
            "left_out": {"no forecast: read it first": 3, "not ours": 12},
        },
        "separable_bundled": {"value": 330.0, "gain": 10.0},
        "assumptions": ["Damage counts as a chance of failing; an assumption."],
    } | fields


def make_programme_row(
    agency: Organisation, name: str = "Ten years", *, is_solved: bool = True, **fields: Any
) -> Programme:
    """Return a programme of 2027 and 2028, solved unless told otherwise."""
    basis = WorkBasis.objects.owned_by(agency).first() or make_basis(agency)
    values: dict[str, Any] = {
        "first_year": 2027,
        "years": 2,
        "budget": [1000.0, 1000.0],
        "crew_hours": [40.0, 40.0],
        "made_at": NOW,
        "work_basis": basis,
    }
    if is_solved:
        values |= {"solved_at": NOW, "result": make_result()}
    return Programme.objects.create(organisation=agency, name=name, **values | fields)


def plan(
    programme: Programme, sign: Sign, year: int | None, **fields: Any
) -> PlannedReplacement:
    """Plan a sign that stands for a year, or for none."""
    if not Standing.objects.filter(sign=sign).exists():
        make_standing(sign)
    values: dict[str, Any] = {
        "reason": "class 1 before its due date",
        "cost": 120.0,
        "crew_hours": 0.7,
        "safety_class": 1,
        "risk_left": 0.0,
    }
    return PlannedReplacement.objects.create(
        programme=programme,
        position=position_of(sign),
        sign=sign,
        year=year,
        **values | fields,
    )
