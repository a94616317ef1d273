"""The agency's own signs as a council's report counts them, in one reading."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.programme.risk import CLASSES
from inventory.models import Sign, Standing
from inventory.services.programme.report_lines import RoadLine, SheetingLine, Standings, Unknown

if TYPE_CHECKING:
    from datetime import date

    from inventory.models import Organisation

ROADS_SHOWN = 12
ROWS_AT_ONCE = 2_000
FAILING = frozenset({Verdict.BELOW.value, Verdict.SHEETING_NOT_ALLOWED.value})
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
class Stock:
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
    def of(
        cls, organisation: Organisation, year_at: dict[int, int | None], first_year: int
    ) -> Stock:
        """Count the signs; ``year_at`` is the planned year of positions."""
        found = cls()
        rows = Standing.objects.owned_by(organisation).order_by("sign_id")
        for row in rows.values_list(*_COLUMNS).iterator(chunk_size=ROWS_AT_ONCE):
            found._take(row, year_at, first_year)
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
