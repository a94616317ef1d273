"""One line of each table of a council's report."""

from __future__ import annotations

from dataclasses import dataclass

from inventory.engineering.assessment.vocabulary import Verdict

_PLACE_OF_VERDICT = {
    Verdict.MEETS.value: "meets",
    Verdict.BELOW.value: "below",
    Verdict.SHEETING_NOT_ALLOWED.value: "below",
    Verdict.UNDECIDED.value: "undecided",
    Verdict.NO_USABLE_READING.value: "not_read",
    Verdict.NO_LEVEL.value: "no_level",
    Verdict.EXCLUDED.value: "no_level",
}


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
class DamageLine:
    """
    What became of the damage of one class that became known in a year; no class: of all.

    ``untimed`` was put right, but no time was set for it or a day is not known.
    """

    safety_class: int | None
    told: int
    in_time: int
    late: int
    untimed: int
    nothing_to_do: int
    still_open: int
    late_open: int
    median_d: float | None


@dataclass(frozen=True, slots=True)
class Unknown:
    """How many signs something is not known of."""

    key: str
    count: int
    words: str = ""
