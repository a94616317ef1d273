"""
The figures of the report for a council, brought together at once.

What stands now is of the day the report is made; what is planned is of the day the years were
chosen. Both days are told. Every figure of the page and of the PDF is one of these.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from django.utils import timezone

from inventory.engineering.assessment.method_calendar import Applied, add_months
from inventory.engineering.programme.costs import cost_by_group
from inventory.engineering.programme.risk import CLASSES
from inventory.errors import StateConflictError
from inventory.models import PlannedReplacement
from inventory.services.damage_times import Times, damage_times
from inventory.services.method_coverage import NOW, as_known, coverage
from inventory.services.programme.report_lines import (
    ClassCost,
    DamageLine,
    MethodLine,
    RoadLine,
    SheetingLine,
    Standings,
    Unknown,
    WayLine,
    YearLine,
)
from inventory.services.programme.report_map import MapDrawing, draw_map
from inventory.services.programme.report_stock import Stock

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.models import Organisation, Programme, WorkBasis
    from inventory.services.damage_times import DamageTimes
    from inventory.services.method_coverage import CoveredGroup

MONTHS_OF_DAMAGE = 12
ROWS_AT_ONCE = 2_000
RULES = ("worst_first", "oldest_first")


@dataclass(frozen=True, slots=True)
class CouncilReport:
    """Everything the report says, in figures."""

    programme: Programme
    made_at: datetime
    day: date
    solved_on: date
    now: Standings
    by_class: dict[int, Standings]
    sheetings: list[SheetingLine]
    of_others: int
    damaged: dict[str, int]
    expected_below: float | None
    forecast_count: int
    forecast_on: date | None
    years: list[YearLine]
    ways: list[WayLine]
    costs: list[ClassCost]
    planned_count: int
    locked_count: int
    is_stale: bool
    roads: list[RoadLine]
    map: MapDrawing
    methods: list[MethodLine]
    under_none: int
    damage_since: date
    damage: list[DamageLine]
    unknowns: list[Unknown]
    shortfall: dict[str, Any] | None
    least_budget: dict[str, Any] | None
    assumptions: list[str]
    not_reckoned: list[str]

    @property
    def organisation(self) -> Organisation:
        """Return whose report it is."""
        return self.programme.organisation

    @property
    def basis(self) -> WorkBasis:
        """Return what work costs in it."""
        return self.programme.work_basis

    @property
    def replaced(self) -> int:
        """Return how many signs are replaced in all years."""
        return sum(each.replaced for each in self.years)

    @property
    def money(self) -> float:
        """Return what all years cost."""
        return sum(each.money for each in self.years)

    @property
    def budget(self) -> float:
        """Return the money there is in all years."""
        return sum(each.budget for each in self.years)

    @property
    def crew_hours(self) -> float:
        """Return the crew hours of all years."""
        return sum(each.crew_hours for each in self.years)

    @property
    def crew_hours_limit(self) -> float:
        """Return the crew hours there are in all years."""
        return sum(each.crew_hours_limit for each in self.years)


def council_report(*, programme: Programme, now: datetime | None = None) -> CouncilReport:
    """
    Return the figures of the report, in a fixed number of queries.

    Raises
    ------
    StateConflictError
        If the years of the programme were not chosen yet.
    """
    result = programme.result
    if programme.solved_at is None or not result.get("by_year"):
        msg = f"The years of '{programme.name}' are not chosen yet; choose them, then report."
        raise StateConflictError(msg)
    now = now or timezone.now()
    organisation = programme.organisation
    planned = _Planned.of(programme)
    stock = Stock.of(organisation, planned.year_at, programme.first_year)
    years = _years(programme)
    today = organisation.day_of(now)
    covered = coverage(as_known(organisation, today, NOW, today=today))
    since = add_months(today, -MONTHS_OF_DAMAGE)
    is_stale = any(each.replaced != planned.per_year[each.year] for each in years)
    return CouncilReport(
        programme=programme,
        made_at=now,
        day=today,
        solved_on=organisation.day_of(programme.solved_at),
        now=stock.all,
        by_class={number: stock.by_class[number] for number in CLASSES},
        sheetings=stock.sheeting_lines(),
        of_others=stock.of_others,
        damaged=stock.damaged,
        expected_below=round(stock.expected_below, 3) if stock.forecast_count else None,
        forecast_count=stock.forecast_count,
        forecast_on=stock.forecast_on,
        years=years,
        ways=_ways(programme, years),
        costs=[] if is_stale else planned.costs(sum(each.money for each in years)),
        planned_count=planned.count,
        locked_count=planned.locked,
        is_stale=is_stale,
        map=draw_map(organisation, stock.marks),
        roads=stock.road_lines(organisation),
        methods=[_method_line(each) for each in covered.groups],
        under_none=len(covered.under_none),
        damage_since=since,
        damage=_damage(damage_times(organisation, since=since, today=today)),
        unknowns=[*stock.unknowns(), *_left_out(result)],
        shortfall=result.get("shortfall"),
        least_budget=result.get("least_budget_class_1"),
        assumptions=list(result.get("assumptions", ())),
        not_reckoned=list(result.get("not_reckoned", ())),
    )


def _years(programme: Programme) -> list[YearLine]:
    result = programme.result
    rivals = {
        key: [year["below"] for year in result["rivals"][key]["by_year"]]
        for key in RULES
        if key in result.get("rivals", {})
    }
    return [
        YearLine(
            year=each["year"],
            replaced=each["replaced"],
            money=each["money"],
            budget=float(programme.budget[place]),
            crew_hours=each["crew_hours"],
            crew_hours_limit=float(programme.crew_hours[place]),
            below=each["below"],
            below_nothing=each["below_nothing"],
            class_1_below=each["class_1_below"],
            below_by_rule={key: below[place] for key, below in rivals.items()},
        )
        for place, each in enumerate(result["by_year"])
    ]


def _ways(programme: Programme, years: list[YearLine]) -> list[WayLine]:
    """Return the programme beside doing nothing, the plain rules, and a tenth more money."""
    result = programme.result
    nothing = result["risk_nothing"]

    def way(key: str, found: dict[str, Any]) -> WayLine:
        by_year = found.get("by_year")
        return WayLine(
            key=key,
            replaced=found["replaced"] if by_year is None else _sum(by_year, "replaced"),
            money=None if by_year is None else round(_sum(by_year, "money"), 2),
            risk_left=found["risk_left"],
            risk_share=found["risk_left"] / nothing if nothing > 0 else 0.0,
            below_at_end=None if by_year is None else by_year[-1]["below"],
        )

    lines = [
        WayLine(
            "nothing", 0, 0.0, nothing, 1.0 if nothing > 0 else 0.0, years[-1].below_nothing
        ),
        way("programme", result),
    ]
    lines += [
        way(key, result["rivals"][key]) for key in RULES if key in result.get("rivals", {})
    ]
    if result.get("ten_percent_more"):
        lines.append(way("more", result["ten_percent_more"]))
    return lines


def _sum(by_year: list[dict[str, Any]], name: str) -> Any:
    return sum(each[name] for each in by_year)


def _method_line(covered: CoveredGroup) -> MethodLine:
    counts = covered.calendar.counts
    return MethodLine(
        name=covered.group.name,
        method=covered.group.get_method_display(),
        signs=len(covered.lines),
        in_time=counts[Applied.IN_TIME],
        overdue=counts[Applied.OVERDUE],
        age_not_known=counts[Applied.AGE_NOT_KNOWN],
        is_left_out=covered.calendar.share_in_time is None,
    )


def _damage(times: DamageTimes) -> list[DamageLine]:
    """Return what became of damage by class, and in all; nothing where none became known."""
    if not times.told:
        return []
    lines = [_damage_line(number, found) for number, found in times.by_class.items()]
    return [*lines, _damage_line(None, _of_all(times))]


def _of_all(times: DamageTimes) -> Times:
    every = times.by_class.values()
    return Times(
        told=sum(each.told for each in every),
        still_open=sum(each.still_open for each in every),
        nothing_to_do=sum(each.nothing_to_do for each in every),
        in_time=sum(each.in_time for each in every),
        late=sum(each.late for each in every),
        late_open=sum(each.late_open for each in every),
        days=[days for each in every for days in each.days],
    )


def _damage_line(number: int | None, times: Times) -> DamageLine:
    closed = times.told - times.still_open - times.nothing_to_do
    return DamageLine(
        safety_class=number,
        told=times.told,
        in_time=times.in_time,
        late=times.late,
        untimed=closed - times.in_time - times.late,
        nothing_to_do=times.nothing_to_do,
        still_open=times.still_open,
        late_open=times.late_open,
        median_d=times.taken.median_d,
    )


def _left_out(result: dict[str, Any]) -> list[Unknown]:
    """Return which signs the programme says nothing of, by the reason, most first."""
    left_out: dict[str, int] = (result.get("unplanned") or {}).get("left_out", {})
    return [
        Unknown("left_out", count, words)
        for words, count in sorted(left_out.items(), key=lambda each: (-each[1], each[0]))
        if count
    ]


@dataclass(slots=True)
class _Planned:
    """What the programme says of its positions, read once."""

    year_at: dict[int, int | None] = field(default_factory=dict)
    per_year: Counter[int] = field(default_factory=Counter)
    cost: list[float] = field(default_factory=list)
    safety_class: list[int] = field(default_factory=list)
    locked: int = 0

    @classmethod
    def of(cls, programme: Programme) -> _Planned:
        found = cls()
        rows = PlannedReplacement.objects.filter(programme=programme).order_by("position")
        for position, year, number, cost, is_locked in rows.values_list(
            "position_id", "year", "safety_class", "cost", "is_locked"
        ).iterator(chunk_size=ROWS_AT_ONCE):
            found.year_at[position] = year
            found.locked += is_locked
            if year is not None:
                found.per_year[year] += 1
                found.cost.append(cost)
                found.safety_class.append(number)
        return found

    @property
    def count(self) -> int:
        return len(self.year_at)

    def costs(self, total: float) -> list[ClassCost]:
        """Return what each class takes, and what trips that are shared take."""
        found = cost_by_group(
            np.array(self.cost, dtype=np.float64),
            np.array(self.safety_class, dtype=np.int64) - 1,
            groups=len(CLASSES),
            total=total,
        )
        lines = [
            ClassCost(
                number,
                int(found.count[number - 1]),
                round(float(found.money[number - 1]), 2),
                float(found.share[number - 1]),
            )
            for number in CLASSES
        ]
        return [*lines, ClassCost(None, None, round(found.rest, 2), found.rest_share)]
