"""What a solved programme comes to: by year, beside plain rules, and for other budgets."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from inventory.engineering.programme.compare import YearByYear, year_by_year
from inventory.engineering.programme.plain_rules import oldest_first, worst_first
from inventory.engineering.programme.problem import NOT_PLANNED
from inventory.engineering.programme.questions import least_budget
from inventory.engineering.programme.solve import METHOD_VERSION
from inventory.engineering.programme.trips import shares_of, solve_with_trips
from inventory.engineering.programme.years import MODERATE_CHANCE, SEVERE_CHANCE
from inventory.errors import InventoryError
from inventory.services.programme.gathering import CLASS_1, NO_FORECAST
from inventory.services.programme.new_faces import (
    EXPECTED_LIFE,
    MADE_NOW,
    NOT_KNOWN,
    OWN_COHORT,
)
from inventory.services.programme.placing import alone, together

if TYPE_CHECKING:
    from collections.abc import Callable

    from inventory.engineering.programme.problem import (
        FloatArray,
        ProgrammeProblem,
        TruthArray,
        WholeArray,
    )
    from inventory.engineering.programme.trips import TripPlan
    from inventory.models import Programme
    from inventory.services.programme.making import ProgrammeFrame
    from inventory.services.programme.placing import Musts

MORE = 1.1
NEW_FACE_SOURCES = (MADE_NOW, OWN_COHORT, EXPECTED_LIFE, NOT_KNOWN)
MOST_MISSED = 200
RIVALS = "what worst first and oldest first would leave"
TEN_PERCENT = "what a tenth more money would buy"
LEAST = "the least money that keeps every class 1 sign legal"
LACKING = "how much money and how many hours the musts lack"


@dataclass(frozen=True, slots=True)
class Asking:
    """How a solving tells what it does, and hears whether to stop."""

    tell: Callable[[str], None]
    should_stop: Callable[[], bool]


def result_of(
    programme: Programme,
    musts: Musts,
    found: TripPlan,
    *,
    polish_seconds: float,
    asking: Asking,
) -> dict[str, Any]:
    """
    Return everything that the pages and the report say of a solved programme.

    Asked to stop, it leaves out what it has not reckoned yet and says so in ``not_reckoned``.
    """
    frame = musts.frame
    is_stopped = asking.should_stop()
    nothing = np.full(len(frame.position), NOT_PLANNED)
    idle = _figures(frame, nothing)
    own = _figures(frame, found.plan.year)
    shortfall = _shortfall(musts, found)
    reckoned = _Reckoned(asking)
    rivals: dict[str, YearByYear] = reckoned.part(RIVALS, lambda: _rivals(frame, asking)) or {}
    more: YearByYear | None = reckoned.part(
        TEN_PERCENT, lambda: _more(frame, found, polish_seconds, asking)
    )
    least = reckoned.part(LEAST, lambda: _least(musts.whole, asking))
    if shortfall is not None and shortfall["extra_money"] is None:
        reckoned.left.append(LACKING)
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
            for name, figures in rivals.items()
        },
        "ten_percent_more": None
        if more is None
        else {
            "risk_left": more.risk_left,
            "replaced": int(more.replaced.sum()),
            "by_year": _by_year(programme, more, idle),
        },
        "least_budget_class_1": least,
        "shortfall": shortfall,
        "late_locks": len(musts.whole.late_locks),
        "past_locks": len(musts.whole.past_locks),
        "unplanned": {
            "count": int((found.plan.year == NOT_PLANNED).sum()),
            "no_forecast": frame.left_out[NO_FORECAST],
            "left_out": dict(frame.left_out),
        },
        "separable_bundled": {"value": found.separate_value, "gain": found.gain},
        "is_stopped": is_stopped,
        "not_reckoned": reckoned.left,
        "assumptions": _assumptions(programme, frame),
    }


class _Reckoned:
    """Parts of a result, each left out where it is asked to stop before it is done."""

    def __init__(self, asking: Asking) -> None:
        self.asking = asking
        self.left: list[str] = []

    def part(self, name: str, reckon: Callable[[], Any]) -> Any:
        """Return a part, or nothing when it was stopped."""
        if not self.asking.should_stop():
            self.asking.tell(f"reckoning {name}")
            found = reckon()
            if not self.asking.should_stop():
                return found
        self.left.append(name)
        return None


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


def _rivals(frame: ProgrammeFrame, asking: Asking) -> dict[str, YearByYear]:
    """Return the plain rules at the same money and hours, their trips shared as they fall."""

    def by_rule(rule: Callable[[ProgrammeProblem], WholeArray]) -> YearByYear:
        year = rule(alone(frame))
        shares = shares_of(frame.problem, frame.trips, year)
        shared = year
        if not asking.should_stop():
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
    frame: ProgrammeFrame, found: TripPlan, polish_seconds: float, asking: Asking
) -> YearByYear | None:
    """Return what a tenth more money and hours would buy, from the plan at hand."""
    problem = replace(
        frame.problem,
        budget=frame.problem.budget * MORE,
        crew_hours_limit=frame.problem.crew_hours_limit * MORE,
    )
    try:
        richer = solve_with_trips(
            problem,
            frame.trips,
            start=found.plan.year,
            polish_seconds=polish_seconds,
            should_stop=asking.should_stop,
        )
    except InventoryError:
        return None
    return _figures(frame, richer.plan.year)


def _least(frame: ProgrammeFrame, asking: Asking) -> dict[str, Any] | None:
    """
    Return the least budget with which every must of class 1 is kept.

    In the proportions of the money there is; where no money comes in the years that count, as
    much each year that is not past.
    """
    is_kept = (frame.safety_class == 1) & (frame.problem.must_by >= 0)
    years = frame.problem.years
    if not is_kept.any():
        return {"share": 0.0, "yearly": [0.0] * years}
    even = np.where(np.arange(years) >= frame.past_years, 1.0, 0.0)
    even *= max(float(frame.problem.cost.mean()), 1.0)
    for budget, is_even in ((frame.problem.budget, False), (even, True)):
        share = _least_share(frame, is_kept, budget, asking)
        if share is not None:
            yearly = [round(share * float(each), 2) for each in budget]
            return {"share": None if is_even else share, "yearly": yearly}
    return None


def _least_share(
    frame: ProgrammeFrame, is_kept: TruthArray, budget: FloatArray, asking: Asking
) -> float | None:
    """Return how many times a budget is enough; nothing where no money comes in time."""
    shares = []
    for problem in (alone(frame), together(frame)):
        try:
            found = least_budget(
                replace(problem, budget=budget), is_kept, should_stop=asking.should_stop
            )
        except InventoryError:
            continue
        # What that plan really takes, its trips shared as they fall, is enough.
        money, _hours = frame.trips.spent(frame.problem, found.year)
        shares.append(float((money[money > 0] / budget[money > 0]).max(initial=0.0)))
    return min(shares, default=None)


def _shortfall(musts: Musts, found: TripPlan) -> dict[str, Any] | None:
    """Return what is missing, and which signs miss their year in the plan that was found."""
    year, must_by = found.plan.year[musts.missed], musts.whole.problem.must_by[musts.missed]
    late = musts.missed[(year == NOT_PLANNED) | (year > must_by)]
    if not len(late):
        return None
    lacking = musts.lacking
    order = np.lexsort((musts.whole.position[late], -musts.whole.risk.weight[late]))
    return {
        "extra_money": None
        if lacking is None
        else [round(float(each), 2) for each in lacking.extra_money],
        "extra_hours": None
        if lacking is None
        else [round(float(each), 2) for each in lacking.extra_hours],
        "missed": [int(each) for each in musts.whole.position[late[order][:MOST_MISSED]]],
        "count": len(late),
    }


def _gap_words(risk_nothing: float, found: TripPlan) -> str:
    least = max(risk_nothing - found.plan.bound, 0.0)
    return (
        f"No plan can leave less than {least:,.0f}; this one leaves "
        f"{risk_nothing - found.plan.value:,.0f}. Choosing first and bundling the trips after "
        f"would leave {risk_nothing - found.separate_value:,.0f}."
    )


def _assumptions(programme: Programme, frame: ProgrammeFrame) -> list[str]:
    basis = programme.work_basis
    weights = ", ".join(f"{each:g}" for each in basis.class_weights)
    rounds = sum(each not in ("", CLASS_1) for each in frame.must_why)
    said = [
        f"A sign below its level weighs {weights} in classes 1 to 4 (by the work basis).",
        f"A sign of moderate damage fails with {100 * MODERATE_CHANCE:g} %, one of severe "
        f"with {100 * SEVERE_CHANCE:g} % at each year end (an assumption).",
        _new_face_words(frame),
        "A face replaced in a year is up by the end of it; class 1 is replaced in the "
        f"year of its due date less {basis.lead_days} days, or before (FHWA-HRT-08-026, "
        "chapter 4: before the level is crossed).",
    ]
    if rounds:
        said.append(
            f"{rounds:,} {'sign goes' if rounds == 1 else 'signs go'} in a round of blanket "
            "replacement, by the method of record: in the year of the round, and not before "
            "unless they are of class 1, below their level or badly damaged."
        )
    return [
        *said,
        "Where musts do not fit, what is missing is reckoned with each face's own trips; "
        "shared trips may need less.",
        "Knock-downs and damage still to come are not in it.",
        f"Costs and times: {basis.basis}",
    ]


def _new_face_words(frame: ProgrammeFrame) -> str:
    """Return what is taken of new faces, and of how many."""
    counts = frame.new_face_sources
    parts = [f"{name} ({counts[name]:,})" for name in NEW_FACE_SOURCES if counts[name]]
    return f"How fast new faces fall below their level, and for how many: {'; '.join(parts)}."
