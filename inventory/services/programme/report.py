"""
The figures of the report for a council, brought together at once.

What stands now is of the day the report is made; what is planned is of the day the years were
chosen. Both days are told. Every figure of the page and of the PDF is one of these.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from django.utils import timezone

from inventory.engineering.assessment.method_calendar import Applied
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.programme.costs import cost_by_group
from inventory.engineering.programme.risk import CLASSES
from inventory.errors import StateConflictError
from inventory.models import PlannedReplacement, Sign, Standing
from inventory.services.method_record import groups_today
from inventory.services.programme.report_map import MapDrawing, draw_map

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.models import Organisation, Programme, WorkBasis

ROADS_SHOWN = 12
ROWS_AT_ONCE = 2_000
FAILING = frozenset({Verdict.BELOW.value, Verdict.SHEETING_NOT_ALLOWED.value})
_PLACE_OF_VERDICT = {
    Verdict.MEETS.value: "meets",
    Verdict.BELOW.value: "below",
    Verdict.SHEETING_NOT_ALLOWED.value: "below",
    Verdict.UNDECIDED.value: "undecided",
    Verdict.NO_USABLE_READING.value: "not_read",
    Verdict.NO_LEVEL.value: "no_level",
    Verdict.EXCLUDED.value: "no_level",
}
RULES = ("worst_first", "oldest_first")
_COLUMNS = (
    "sign__position_id",
    "responsible",
    "safety_class",
    "sheeting",
    "verdict",
    "condition",
    "latitude_deg",
    "longitude_deg",
    "road_id",
    "sign__installed_on",
    "sign__width_in",
    "sign__height_in",
    "sign__forecast__probability_below",
    "sign__forecast__is_extrapolated",
    "sign__forecast__as_of_on",
)


@dataclass(slots=True)
class Standings:
    """How many signs stand how; ``below`` counts sheeting that is not allowed too."""

    signs: int = 0
    meets: int = 0
    below: int = 0
    undecided: int = 0
    not_read: int = 0
    no_level: int = 0

    def add(self, verdict: str) -> None:
        """Count one sign."""
        self.signs += 1
        name = _PLACE_OF_VERDICT[verdict]
        setattr(self, name, getattr(self, name) + 1)


@dataclass(frozen=True, slots=True)
class SheetingLine:
    """Signs of one sheeting as it is on record, by safety class; blank: not known."""

    sheeting: str
    by_class: tuple[int, ...]
    below: int

    @property
    def signs(self) -> int:
        """Return how many in all."""
        return sum(self.by_class)


@dataclass(frozen=True, slots=True)
class YearLine:
    """A year under the programme, and the signs below at its end under other ways."""

    year: int
    replaced: int
    money: float
    budget: float
    crew_hours: float
    crew_hours_limit: float
    below: float
    below_nothing: float
    class_1_below: float
    below_by_rule: dict[str, float]


@dataclass(frozen=True, slots=True)
class WayLine:
    """What one way of choosing comes to; empty where it was not kept when it was reckoned."""

    key: str
    replaced: int
    money: float | None
    risk_left: float
    risk_share: float
    below_at_end: float | None


@dataclass(frozen=True, slots=True)
class ClassCost:
    """What replacing the signs of one class takes; without a class: trips that are shared."""

    safety_class: int | None
    replaced: int | None
    money: float
    share: float


@dataclass(frozen=True, slots=True)
class RoadLine:
    """Signs of one road; without a name: roads not named here, or not known."""

    key: str
    name: str
    signs: int
    below: int
    first_year: int
    replaced: int


@dataclass(frozen=True, slots=True)
class MethodLine:
    """One method of keeping signs above their levels, and whether it is applied."""

    name: str
    method: str
    signs: int
    in_time: int
    overdue: int
    age_not_known: int
    is_left_out: bool


@dataclass(frozen=True, slots=True)
class Unknown:
    """How many signs something is not known of."""

    key: str
    count: int
    words: str = ""


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
    stock = _Stock.of(organisation, planned, programme.first_year)
    years = _years(programme)
    records, covered = groups_today(organisation=organisation, now=now)
    is_stale = any(each.replaced != planned.per_year[each.year] for each in years)
    return CouncilReport(
        programme=programme,
        made_at=now,
        day=organisation.day_of(now),
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
        methods=[
            MethodLine(
                name=each.group.name,
                method=each.group.get_method_display(),
                signs=each.sign_count,
                in_time=each.covered.calendar.counts[Applied.IN_TIME],
                overdue=each.covered.calendar.counts[Applied.OVERDUE],
                age_not_known=each.covered.calendar.counts[Applied.AGE_NOT_KNOWN],
                is_left_out=each.covered.calendar.share_in_time is None,
            )
            for each in records
        ],
        under_none=len(covered.under_none),
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


@dataclass(slots=True)
class _Stock:
    """The agency's own signs as they stand, counted in one reading."""

    all: Standings = field(default_factory=Standings)
    by_class: dict[int, Standings] = field(default_factory=lambda: defaultdict(Standings))
    sheetings: Counter[tuple[str, int]] = field(default_factory=Counter)
    sheetings_below: Counter[str] = field(default_factory=Counter)
    damaged: dict[str, int] = field(default_factory=lambda: {"moderate": 0, "severe": 0})
    of_others: int = 0
    expected_below: float = 0.0
    forecast_count: int = 0
    forecast_on: date | None = None
    extrapolated: int = 0
    size_not_known: int = 0
    day_not_known: int = 0
    roads: dict[int | None, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    marks: dict[str, list[tuple[float, float]]] = field(
        default_factory=lambda: {"below": [], "first_year": [], "later": [], "stays": []}
    )

    @classmethod
    def of(cls, organisation: Organisation, planned: _Planned, first_year: int) -> _Stock:
        found = cls()
        rows = Standing.objects.owned_by(organisation).order_by("sign_id")
        for row in rows.values_list(*_COLUMNS).iterator(chunk_size=ROWS_AT_ONCE):
            found._take(row, planned.year_at, first_year)
        return found

    def _take(
        self, row: tuple[Any, ...], year_at: dict[int, int | None], first_year: int
    ) -> None:
        position, responsible, number, sheeting, verdict, condition, *rest = row
        if responsible != Sign.Responsible.AGENCY:
            self.of_others += 1
            return
        latitude, longitude, road, up_on, width, height, chance, is_beyond, as_of_on = rest
        is_below = verdict in FAILING
        self.all.add(verdict)
        self.by_class[number].add(verdict)
        self.sheetings[sheeting, number] += 1
        self.sheetings_below[sheeting] += is_below
        if condition == Standing.Condition.MODERATE:
            self.damaged["moderate"] += 1
        elif condition == Standing.Condition.SEVERE:
            self.damaged["severe"] += 1
        if chance is not None:
            self.expected_below += chance
            self.forecast_count += 1
            self.extrapolated += bool(is_beyond)
            self.forecast_on = max(as_of_on, self.forecast_on or as_of_on)
        self.day_not_known += up_on is None
        self.size_not_known += not (width and height)
        year = year_at.get(position)
        at_road = self.roads[road]
        at_road["signs"] += 1
        at_road["below"] += is_below
        at_road["first_year"] += year == first_year
        at_road["replaced"] += year is not None
        if year is not None:
            mark = "first_year" if year == first_year else "later"
        else:
            mark = "below" if is_below else "stays"
        self.marks[mark].append((latitude, longitude))

    def sheeting_lines(self) -> list[SheetingLine]:
        """Return the sheetings, most signs first, those not known last."""
        names = {sheeting for sheeting, _number in self.sheetings}
        lines = [
            SheetingLine(
                name,
                tuple(self.sheetings[name, number] for number in CLASSES),
                self.sheetings_below[name],
            )
            for name in names
        ]
        return sorted(lines, key=lambda each: (not each.sheeting, -each.signs, each.sheeting))

    def road_lines(self, organisation: Organisation) -> list[RoadLine]:
        """Return the roads where most is replaced, then all others together."""
        names = dict(organisation.roads.order_by("pk").values_list("pk", "name"))
        known = sorted(
            (key for key in self.roads if key is not None),
            key=lambda key: (
                -self.roads[key]["replaced"],
                -self.roads[key]["signs"],
                names[key],
            ),
        )
        groups = [("road", names[key], self.roads[key]) for key in known[:ROADS_SHOWN]]
        others: Counter[str] = Counter()
        for key in known[ROADS_SHOWN:]:
            others.update(self.roads[key])
        if len(known) > ROADS_SHOWN:
            groups.append(("others", str(len(known) - ROADS_SHOWN), others))
        if None in self.roads:
            groups.append(("not_known", "", self.roads[None]))
        return [
            RoadLine(
                key,
                name,
                counts["signs"],
                counts["below"],
                counts["first_year"],
                counts["replaced"],
            )
            for key, name, counts in groups
        ]

    def unknowns(self) -> list[Unknown]:
        """Return of how many signs something is not known that these figures rest on."""
        found = (
            Unknown("not_read", self.all.not_read),
            Unknown("undecided", self.all.undecided),
            Unknown("no_level", self.all.no_level),
            Unknown(
                "sheeting",
                sum(n for (name, _number), n in self.sheetings.items() if not name),
            ),
            Unknown("day", self.day_not_known),
            Unknown("size", self.size_not_known),
            Unknown("beyond", self.extrapolated),
        )
        return [each for each in found if each.count]
