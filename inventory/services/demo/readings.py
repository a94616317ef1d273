"""What was seen and read: rounds with instruments, damage, looks by night."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING

from inventory.engineering.standards.new_sheeting import new_sheeting_minimum
from inventory.engineering.standards.vocabulary import Color
from inventory.models.inspection import Inspection, Observation
from inventory.models.signs import Sign
from inventory.services.demo.faces import DAYS_PER_YEAR, colours_of
from inventory.services.demo.words import pick, words

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from random import Random

    from inventory.services.demo.faces import ColourPlan, FacePlan
    from inventory.services.demo.roadside import Roadside

DAY_STARTS_H = 10  # UTC; eight in the morning by the county's clock
NIGHT_STARTS_H = 22
MINUTES_A_SUPPORT = 8
FRIDAY = 4
JUDGED_OBSERVATION_DEG = 0.2
JUDGED_ENTRANCE_DEG = -4.0
WET = frozenset({"damp", "dew"})


@dataclass(frozen=True, slots=True)
class ObservationPlan:
    """Something seen by eye."""

    kind: str
    severity: int


@dataclass(slots=True)
class InspectionPlan:
    """One visit to one face."""

    key: str
    face: FacePlan
    taken_at: datetime
    how: str
    surface_state: str = ""
    crew: int = 0
    instrument: int | None = None
    readings: dict[str, list[str]] = field(default_factory=dict)
    observations: list[ObservationPlan] = field(default_factory=list)
    is_adequate: bool | None = None


@cache
def new_value(sheeting_type: str, color: str) -> float:
    """Return what a new face of a type and colour reads on average. [cd/lx/m²]."""
    minimum = new_sheeting_minimum(
        sheeting_type, Color(color), JUDGED_OBSERVATION_DEG, JUDGED_ENTRANCE_DEG
    )
    return float(minimum.minimum_ra_cd_lx_m2) * float(words("wear")["new"]["times_minimum"])


@cache
def yearly_loss(sheeting_type: str, color: str) -> tuple[float, float]:
    """Return the least and greatest loss a year that the scenario draws from. [cd/lx/m²]."""
    decline = words("wear")["decline"]
    for row in decline["absolute"]:
        if row["sheeting_type"] == sheeting_type and row["color"] == color:
            return float(row["low"]), float(row["high"])
    new = new_value(sheeting_type, color)
    for row in decline["share"]:
        if sheeting_type in row["sheeting_types"]:
            low, high = row["colors"][color]
            return low * new, high * new
    raise LookupError(sheeting_type, color)


def true_value(rng: Random, face: FacePlan, color: str, day: date) -> float:
    """Return what a colour of a face gives back on a day, whatever is on record. [cd/lx/m²]."""
    wear = words("wear")
    new = new_value(face.true_type, color) * max(0.6, rng.gauss(1.0, wear["new"]["sign_sd"]))
    loss = rng.uniform(*yearly_loss(face.true_type, color)) * face.fades_times
    years = (day - face.true_since).days / DAYS_PER_YEAR
    return float(max(wear["reading"]["floor"] * new, new - loss * years))


def as_shown(value: float) -> str:
    """Return a value as an instrument shows it: three figures, one decimal at most."""
    return f"{value:.0f}" if value >= 100.0 else f"{value:.1f}"


class InspectionPlanner:
    """Plans the visits of all years, from the seed."""

    def __init__(self, site: Roadside, last_day: date) -> None:
        self.site = site
        self.last_day = last_day
        self.wear = words("wear")
        self.biases = [each["bias"] for each in words("scenario")["instruments"]]
        self.inspections: list[InspectionPlan] = []

    @property
    def work_days(self) -> list[tuple[date, int]]:
        """Return each day on which an instrument was used, and which."""
        used = {(each.taken_at.date(), each.instrument) for each in self.inspections}
        return sorted((day, number) for day, number in used if number is not None)

    def plan(self, faces: Iterable[FacePlan]) -> None:
        """Plan the rounds by day and the looks by night."""
        ours = [f for f in faces if f.support.responsible == Sign.Responsible.AGENCY]
        for number, each in enumerate(self.wear["rounds"]):
            self._plan_round(ours, each, number)
        self._plan_night(ours)

    def _plan_round(
        self, faces: list[FacePlan], data: dict[str, date | float], number: int
    ) -> None:
        starts_on, share = data["starts_on"], data["share"]
        assert isinstance(starts_on, date)  # noqa: S101 - says what the file holds
        chosen = [
            face
            for face in faces
            if self.site.rng(f"round{number}:{face.position.key}").random() < float(str(share))
        ]
        for face, taken_at, crew in self._along_the_roads(chosen, starts_on, DAY_STARTS_H):
            if face.is_up_on(taken_at.date()) and taken_at.date() <= self.last_day:
                self.inspections.append(self._read(face, taken_at, crew, number))

    def _along_the_roads(
        self, faces: list[FacePlan], starts_on: date, hour: int
    ) -> Iterator[tuple[FacePlan, datetime, int]]:
        """Give each face its time: two crews, road by road, so many supports a day."""
        by_support: dict[str, list[FacePlan]] = {}
        for face in sorted(
            faces, key=lambda f: (f.support.road.name, f.support.along_m, f.support.key, f.key)
        ):
            by_support.setdefault(face.support.key, []).append(face)
        per_day = self.wear["crew"]["supports_a_day"]
        for index, group in enumerate(by_support.values()):
            crew = index // per_day % 2
            day = _working_day(starts_on, index // (2 * per_day))
            start = datetime(day.year, day.month, day.day, hour, tzinfo=UTC)
            minutes = (index % per_day) * MINUTES_A_SUPPORT
            for place, face in enumerate(group):
                yield face, start + timedelta(minutes=minutes + place), crew

    def _read(
        self, face: FacePlan, taken_at: datetime, crew: int, number: int
    ) -> InspectionPlan:
        key = f"{face.key}:round{number}"
        rng = self.site.rng(f"visit:{key}")
        reading = self.wear["reading"]
        surface = pick(rng, self.wear["surface"])
        plan = InspectionPlan(
            key=key,
            face=face,
            taken_at=taken_at,
            how=Inspection.How.HAND_HELD,
            surface_state="" if surface == "unknown" else surface,
            crew=crew,
            instrument=crew,
            observations=self._look(face, taken_at.date(), rng),
        )
        times = self.biases[crew] * rng.gauss(1.0, reading["visit_sd"])
        times *= reading["dirty_times"] if surface == "dirty" else 1.0
        times *= reading["dew_times"] if surface in WET else 1.0
        for colour in measured_colours(face):
            truth = true_value(self._truth(face, colour), face, colour.color, taken_at.date())
            plan.readings[colour.color] = [
                as_shown(max(0.1, truth * times * rng.gauss(1.0, reading["value_sd"])))
                for _ in range(reading["per_color"])
            ]
        return plan

    def _truth(self, face: FacePlan, colour: ColourPlan) -> Random:
        """Return the same chance for the same colour of a face at every visit."""
        return self.site.rng(f"truth:{face.key}:{colour.color}")

    def _look(self, face: FacePlan, day: date, rng: Random) -> list[ObservationPlan]:
        """Return what was seen; damage once seen is seen again."""
        damage = self.wear["damage"]
        chance = self.site.rng(f"damage:{face.key}")
        years = (day - face.true_since).days / DAYS_PER_YEAR
        happens_after = chance.expovariate(damage["share"] / 5.0)
        if years > happens_after:
            kind = pick(chance, damage["kind"])
            severity = int(pick(chance, damage["severity"]))
            return [ObservationPlan(kind, severity)]
        if rng.random() < damage["sound_share"]:
            return [ObservationPlan(Observation.Kind.GENERAL, 0)]
        return []

    def _plan_night(self, faces: list[FacePlan]) -> None:
        night = self.wear["night"]
        chosen = [
            face
            for face in faces
            if face.removed_on is None
            and self.site.rng(f"night:{face.position.key}").random() < night["share"]
        ]
        visits = self._along_the_roads(chosen, night["starts_on"], NIGHT_STARTS_H)
        for face, taken_at, crew in visits:
            if not face.is_up_on(taken_at.date()) or taken_at.date() >= self.last_day:
                continue
            key = f"{face.key}:night"
            rng = self.site.rng(f"visit:{key}")
            self.inspections.append(
                InspectionPlan(
                    key=key,
                    face=face,
                    taken_at=taken_at,
                    how=Inspection.How.VISUAL_NIGHT,
                    surface_state=Inspection.SurfaceState.DRY,
                    crew=crew,
                    is_adequate=rng.random() < night["adequate"],
                )
            )


def measured_colours(face: FacePlan) -> list[ColourPlan]:
    """Return the colours an instrument can read: all that give light back."""
    colours = colours_of(face.position.code, face.position.background)
    seen: dict[str, ColourPlan] = {}
    for colour in colours:
        if not colour.is_opaque:
            seen.setdefault(colour.color, colour)
    return list(seen.values())


def _working_day(first: date, number: int) -> date:
    """Return a working day, counted from the first; no Saturday or Sunday."""
    weeks, days = divmod(number + first.weekday(), FRIDAY + 1)
    return first - timedelta(days=first.weekday()) + timedelta(weeks=weeks, days=days)
