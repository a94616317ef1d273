"""What a solved programme comes to: by year, beside plain rules, and for other budgets."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from inventory.engineering.programme.compare import YearByYear, year_by_year
from inventory.engineering.programme.plain_rules import oldest_first, worst_first
from inventory.engineering.programme.problem import FREE, NOT_PLANNED
from inventory.engineering.programme.questions import least_budget
from inventory.engineering.programme.shortfall import Shortfall, least_extra
from inventory.engineering.programme.solve import METHOD_VERSION
from inventory.engineering.programme.trips import (
    keeps_limits,
    shares_of,
    solve_with_trips,
)
from inventory.engineering.programme.years import MODERATE_CHANCE, SEVERE_CHANCE
from inventory.errors import InventoryError
from inventory.services.programme.making import NO_FORECAST

if TYPE_CHECKING:
    from collections.abc import Callable

    from inventory.engineering.programme.problem import ProgrammeProblem, WholeArray
    from inventory.engineering.programme.trips import TripPlan
    from inventory.models import Programme
    from inventory.services.programme.making import ProgrammeFrame

MORE = 1.1
MOST_MISSED = 200


@dataclass(frozen=True, slots=True, eq=False)
class Short:
    """
    What the musts lack, all signs, and the signs without the musts and locks that miss.

    With ``start`` nothing is lacking: a plan in which the musts fit by sharing their trips.
    """

    found: Shortfall
    whole: ProgrammeFrame
    frame: ProgrammeFrame
    start: WholeArray | None = None


def short_of(frame: ProgrammeFrame) -> Short | None:
    """Return what musts and locks lack; none if they fit, each bearing its trips alone."""
    found = least_extra(_alone(frame), weight=frame.risk.weight)
    if found.is_nothing:
        return None
    together = least_extra(_together(frame), weight=frame.risk.weight)
    if together.is_nothing and keeps_limits(frame.problem, frame.trips, together.year):
        return Short(together, frame, frame, together.year)
    problem = frame.problem
    must_by, locked = problem.must_by.copy(), problem.locked.copy()
    must_by[found.missed] = -1
    locked[found.missed] = np.where(locked[found.missed] >= 0, FREE, locked[found.missed])
    return Short(
        found, frame, replace(frame, problem=replace(problem, must_by=must_by, locked=locked))
    )


def result_of(
    programme: Programme,
    frame: ProgrammeFrame,
    found: TripPlan,
    short: Short | None,
    *,
    polish_seconds: float,
) -> dict[str, Any]:
    """Return everything that the pages and the report say of a solved programme."""
    nothing = np.full(len(frame.position), NOT_PLANNED)
    idle = _figures(frame, nothing)
    own = _figures(frame, found.plan.year)
    return {
        "method_version": METHOD_VERSION,
        "value": found.plan.value,
        "bound": found.plan.bound,
        "certified_share": found.plan.certified_share,
        "risk_nothing": idle.risk_left,
        "risk_left": own.risk_left,
        "gap_words": _gap_words(idle.risk_left, found),
        "by_year": _by_year(programme, own, idle),
        "rivals": {
            name: {
                "risk_left": figures.risk_left,
                "by_year": _by_year(programme, figures, idle),
            }
            for name, figures in _rivals(frame).items()
        },
        "ten_percent_more": _more(frame, found, polish_seconds),
        "least_budget_class_1": _least(frame if short is None else short.whole),
        "shortfall": None
        if short is None or short.start is not None
        else _shortfall(frame, short),
        "unplanned": {
            "count": int((found.plan.year == NOT_PLANNED).sum()),
            "no_forecast": frame.left_out[NO_FORECAST],
            "left_out": dict(frame.left_out),
        },
        "separable_bundled": {"value": found.separate_value, "gain": found.gain},
        "assumptions": _assumptions(programme),
    }


def _alone(frame: ProgrammeFrame) -> ProgrammeProblem:
    ones = np.ones(len(frame.position))
    return frame.trips.with_shares(frame.problem, ones, ones)


def _together(frame: ProgrammeFrame) -> ProgrammeProblem:
    """Return the problem in which musts share their trips with all other musts there."""
    is_must = (frame.problem.must_by >= 0).astype(float)
    shares = [
        np.maximum(np.bincount(where, is_must)[where], 1.0)
        for where in (frame.trips.support, frame.trips.stretch)
    ]
    return frame.trips.with_shares(frame.problem, *shares)


def _figures(frame: ProgrammeFrame, year: WholeArray) -> YearByYear:
    money, hours = frame.trips.spent(frame.problem, year)
    return year_by_year(
        frame.risk, year, safety_class=frame.safety_class, money=money, crew_hours=hours
    )


def _by_year(programme: Programme, own: YearByYear, idle: YearByYear) -> list[dict[str, Any]]:
    return [
        {
            "year": programme.first_year + number,
            "replaced": int(own.replaced[number]),
            "money": round(float(own.money[number]), 2),
            "crew_hours": round(float(own.crew_hours[number]), 2),
            "below": round(float(own.below[number]), 3),
            "below_nothing": round(float(idle.below[number]), 3),
            "risk": round(float(own.risk[number]), 3),
            "risk_nothing": round(float(idle.risk[number]), 3),
            "class_1_below": round(float(own.class_1_below[number]), 3),
        }
        for number in range(programme.years)
    ]


def _rivals(frame: ProgrammeFrame) -> dict[str, YearByYear]:
    """Return the plain rules at the same money and hours, their trips shared as they fall."""

    def by_rule(rule: Callable[[ProgrammeProblem], WholeArray]) -> YearByYear:
        year = rule(_alone(frame))
        shares = shares_of(frame.problem, frame.trips, year)
        shared = rule(frame.trips.with_shares(frame.problem, *shares))
        money, hours = frame.trips.spent(frame.problem, shared)
        keeps = (money <= frame.problem.budget).all()
        keeps = keeps and (hours <= frame.problem.crew_hours_limit).all()
        return _figures(frame, shared if keeps else year)

    return {
        "worst_first": by_rule(lambda problem: worst_first(problem, frame.risk.standing)),
        "oldest_first": by_rule(lambda problem: oldest_first(problem, frame.age_years)),
    }


def _more(
    frame: ProgrammeFrame, found: TripPlan, polish_seconds: float
) -> dict[str, Any] | None:
    """Return what a tenth more money and hours would buy, from the plan at hand."""
    problem = replace(
        frame.problem,
        budget=frame.problem.budget * MORE,
        crew_hours_limit=frame.problem.crew_hours_limit * MORE,
    )
    try:
        richer = solve_with_trips(
            problem, frame.trips, start=found.plan.year, polish_seconds=polish_seconds
        )
    except InventoryError:
        return None
    return {
        "risk_left": frame.risk.left(richer.plan.year),
        "replaced": int((richer.plan.year >= 0).sum()),
    }


def _least(frame: ProgrammeFrame) -> dict[str, Any] | None:
    """Return the least budget with which every must of class 1 is kept."""
    is_kept = (frame.safety_class == 1) & (frame.problem.must_by >= 0)
    if not is_kept.any():
        return {"share": 0.0, "yearly": [0.0] * frame.problem.years}
    budget = frame.problem.budget
    shares = []
    for problem in (_alone(frame), _together(frame)):
        try:
            found = least_budget(problem, is_kept)
        except InventoryError:
            continue
        # What that plan really takes, its trips shared as they fall, is enough.
        money, _hours = frame.trips.spent(frame.problem, found.year)
        shares.append(float((money / np.maximum(budget, 1e-9)).max()))
    if not shares:
        return None
    share = min(shares)
    return {"share": share, "yearly": [round(share * float(each), 2) for each in budget]}


def _shortfall(frame: ProgrammeFrame, short: Short) -> dict[str, Any]:
    found = short.found
    return {
        "extra_money": [round(float(each), 2) for each in found.extra_money],
        "extra_hours": [round(float(each), 2) for each in found.extra_hours],
        "missed": [int(each) for each in frame.position[found.missed[:MOST_MISSED]]],
        "count": len(found.missed),
    }


def _gap_words(risk_nothing: float, found: TripPlan) -> str:
    least = max(risk_nothing - found.plan.bound, 0.0)
    return (
        f"No plan can leave less than {least:,.0f}; this one leaves "
        f"{risk_nothing - found.plan.value:,.0f}. Choosing first and bundling the trips after "
        f"would leave {risk_nothing - found.separate_value:,.0f}."
    )


def _assumptions(programme: Programme) -> list[str]:
    basis = programme.work_basis
    weights = ", ".join(f"{each:g}" for each in basis.class_weights)
    return [
        f"A sign below its level weighs {weights} in classes 1 to 4 (by the work basis).",
        f"A sign of moderate damage fails with {100 * MODERATE_CHANCE:g} %, one of severe "
        f"with {100 * SEVERE_CHANCE:g} % at each year end (an assumption).",
        "A new face falls like new faces of the cohort that governs the sign now; where that "
        "is not known it holds all years.",
        "A face replaced in a year is up by the end of it; class 1 is replaced in the "
        f"year of its due date less {basis.lead_days} days, or before (FHWA-HRT-08-026, "
        "chapter 4: before the level is crossed).",
        "Where musts do not fit, what is missing is reckoned with each face's own trips; "
        "shared trips may need less.",
        "Knock-downs and damage still to come are not in it.",
        f"Costs and times: {basis.basis}",
    ]
