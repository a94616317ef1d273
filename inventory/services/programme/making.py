"""A programme is made, and its signs brought together as the problem that is solved."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from django.db import transaction
from django.utils import timezone

from inventory.engineering.programme.problem import FREE, NOT_PLANNED, ProgrammeProblem
from inventory.engineering.programme.risk import ClassWeights, YearlyRisk
from inventory.engineering.programme.trips import TripCosts
from inventory.engineering.programme.years import (
    MODERATE_CHANCE,
    SEVERE_CHANCE,
    chances_in_years,
    last_year,
    new_face_chances,
    stretch_shift,
)
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    CohortFit,
    Disposition,
    Organisation,
    PlannedReplacement,
    Programme,
    Sign,
    SignForecast,
    Standing,
)
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.programme.work_bases import work_basis_at

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from inventory.engineering.programme.problem import FloatArray, WholeArray
    from inventory.models import User, WorkBasis

IN2_PER_FT2 = 144.0
UNKNOWN_SIZE_FT2 = 6.25  # a 30 in square: an assumption where the size is not on record
ROWS_AT_ONCE = 2_000
MOST_YEARS = 15
NO_FORECAST = "no forecast: read it first"
NO_LEVEL = "no level on record to fall below"
_TOLD = (SignForecast.Basis.OWN_READINGS, SignForecast.Basis.COHORT)
_CONDITION_CHANCE = {
    Standing.Condition.MODERATE: MODERATE_CHANCE,
    Standing.Condition.SEVERE: SEVERE_CHANCE,
}


@dataclass(frozen=True, slots=True, eq=False)
class ProgrammeFrame:
    """
    The signs of a programme as arrays, an entry each, and what was left out.

    ``left_out`` counts signs by the reason they are in no programme; they are listed by it.
    """

    position: WholeArray
    sign: WholeArray
    safety_class: WholeArray
    age_years: FloatArray
    due_on: list[date | None]
    risk: YearlyRisk
    problem: ProgrammeProblem
    trips: TripCosts
    left_out: Counter[str]

    def plan_of(self, years: dict[int, int | None], first_year: int) -> WholeArray:
        """Return a plan by position in calendar years as one of places, from 0."""
        found = [years.get(int(each)) for each in self.position]
        last = self.problem.years
        return np.array(
            [
                NOT_PLANNED
                if year is None or not 0 <= year - first_year < last
                else year - first_year
                for year in found
            ],
            dtype=np.int64,
        )


@transaction.atomic
def make_programme(
    *,
    organisation: Organisation,
    name: str,
    first_year: int,
    years: int,
    budget: Sequence[float],
    crew_hours: Sequence[float],
    by: User | None = None,
    began_from: Programme | None = None,
    keeps_class_1_legal: bool = True,
    now: datetime | None = None,
) -> Programme:
    """Make a programme that is yet to be solved; it keeps the work basis of its first day."""
    now = now or timezone.now()
    Organisation.objects.select_for_update().get(pk=organisation.pk)
    today = organisation.day_of(now)
    made = Programme(
        organisation=organisation,
        name=name.strip(),
        first_year=first_year,
        years=years,
        budget=list(budget),
        crew_hours=list(crew_hours),
        work_basis=work_basis_at(organisation, today),
        keeps_class_1_legal=keeps_class_1_legal,
        began_from=began_from,
        made_at=now,
        made_by=by,
    )
    _check(made, today)
    made.save()
    log(
        organisation=organisation,
        actor=by,
        verb="make programme",
        text=f"Programme '{made.name}' made for {first_year} to {first_year + years - 1}.",
        at=now,
    )
    return made


def problem_of(programme: Programme) -> ProgrammeFrame:
    """Bring the agency's own installed signs together, in a few queries for any number."""
    basis = programme.work_basis
    gathered = _Gathered(programme)
    gathered.read()
    if not gathered.position:
        msg = (
            "No installed sign of the agency has a forecast to plan by; run manage.py forecast "
            "first, or read some signs."
        )
        raise StateConflictError(msg)
    weights = ClassWeights(tuple(basis.class_weights))
    safety_class = np.array(gathered.safety_class, dtype=np.int64)
    risk = YearlyRisk(
        np.clip(np.array(gathered.below), 0.0, 1.0),
        np.clip(np.array(gathered.below_if_new), 0.0, 1.0),
        weights.of(safety_class),
        np.array(gathered.condition),
    )
    crew_hours = np.array(gathered.hours)
    price = np.array(gathered.face_price) + crew_hours * basis.crew_price_per_h
    problem = ProgrammeProblem(
        risk.value(),
        np.maximum(price, 0.01),
        crew_hours,
        np.array(programme.budget, dtype=np.float64),
        np.array(programme.crew_hours, dtype=np.float64),
        is_allowed=np.array(gathered.is_allowed),
        must_by=np.array(gathered.must_by, dtype=np.int64),
        locked=np.array(gathered.locked, dtype=np.int64),
    )
    trips = TripCosts(
        np.unique(gathered.support, return_inverse=True)[1].astype(np.int64),
        np.unique(np.array(gathered.stretch), return_inverse=True)[1].astype(np.int64),
        basis.support_hours * basis.crew_price_per_h,
        basis.stretch_hours * basis.crew_price_per_h,
        basis.support_hours,
        basis.stretch_hours,
    )
    return ProgrammeFrame(
        np.array(gathered.position, dtype=np.int64),
        np.array(gathered.sign, dtype=np.int64),
        safety_class,
        np.array(gathered.age_years),
        gathered.due_on,
        risk,
        problem,
        trips,
        gathered.left_out,
    )


class _Gathered:
    """Columns of the signs of a programme, filled row by row."""

    def __init__(self, programme: Programme) -> None:
        self.programme = programme
        self.basis: WorkBasis = programme.work_basis
        self.position: list[int] = []
        self.sign: list[int] = []
        self.safety_class: list[int] = []
        self.age_years: list[float] = []
        self.due_on: list[date | None] = []
        self.below: list[list[float]] = []
        self.below_if_new: list[FloatArray] = []
        self.condition: list[float] = []
        self.face_price: list[float] = []
        self.hours: list[float] = []
        self.is_allowed: list[list[bool]] = []
        self.must_by: list[int] = []
        self.locked: list[int] = []
        self.support: list[int] = []
        self.stretch: list[str] = []
        self.left_out: Counter[str] = Counter()
        self.new_faces = _new_faces(programme)
        self.nothing_known = np.zeros(programme.years)
        self.deferred = _deferred(programme.organisation)
        self.locks = _locks(programme)
        self.shift = stretch_shift(self.basis.stretch_mi)

    def read(self) -> None:
        """Read every installed sign of the agency."""
        rows = Standing.objects.owned_by(self.programme.organisation).order_by("sign_id")
        columns = (
            "sign_id",
            "responsible",
            "condition",
            "safety_class",
            "cell",
            "road_id",
            "sign__position_id",
            "sign__position__is_retired",
            "sign__position__support_id",
            "sign__position__support__support_type",
            "sign__position__support__milepoint_mi",
            "sign__width_in",
            "sign__height_in",
            "sign__installed_on",
            "sign__forecast__basis",
            "sign__forecast__as_of_on",
            "sign__forecast__due_on",
            "sign__forecast__fit_id",
            "sign__forecast__probabilities_below",
        )
        for row in rows.values_list(*columns).iterator(chunk_size=ROWS_AT_ONCE):
            self._take(dict(zip(columns, row, strict=True)))

    def _take(self, row: dict[str, Any]) -> None:
        programme = self.programme
        if row["responsible"] != Sign.Responsible.AGENCY:
            self.left_out["not ours"] += 1
            return
        if row["sign__position__is_retired"]:
            self.left_out["a place that is given up"] += 1
            return
        probabilities = self._probabilities(row)
        if probabilities is None:
            is_told = row["sign__forecast__basis"] in _TOLD
            self.left_out[NO_LEVEL if is_told else NO_FORECAST] += 1
            return
        first, years = programme.first_year, programme.years
        due_on = row["sign__forecast__due_on"]
        self.position.append(row["sign__position_id"])
        self.sign.append(row["sign_id"])
        self.safety_class.append(row["safety_class"])
        up_on = row["sign__installed_on"]
        as_of_on = row["sign__forecast__as_of_on"]
        self.age_years.append(math.nan if up_on is None else (as_of_on - up_on).days / 365.25)
        self.due_on.append(due_on)
        self.below.append(probabilities)
        self.below_if_new.append(
            self.new_faces.get(row["sign__forecast__fit_id"], self.nothing_known)
        )
        self.condition.append(_CONDITION_CHANCE.get(row["condition"], 0.0))
        self._take_costs(row)
        waits_until = self.deferred.get(row["sign_id"])
        from_year = first if waits_until is None else max(waits_until, first)
        self.is_allowed.append([first + n >= from_year for n in range(years)])
        must = None
        if programme.keeps_class_1_legal and row["safety_class"] == 1 and due_on is not None:
            must = last_year(
                due_on, lead_days=self.basis.lead_days, first_year=first, years=years
            )
        # What was decided to wait is no must until the day it waits for.
        is_must = must is not None and from_year <= first + must
        self.must_by.append(must if is_must and must is not None else -1)
        self.locked.append(self.locks.get(row["sign__position_id"], FREE))

    def _probabilities(self, row: dict[str, Any]) -> list[float] | None:
        programme, stored = self.programme, row["sign__forecast__probabilities_below"]
        as_of_on = row["sign__forecast__as_of_on"]
        if as_of_on is None or programme.first_year < as_of_on.year:
            return None
        if stored:
            return chances_in_years(
                stored,
                from_year=as_of_on.year,
                first_year=programme.first_year,
                years=programme.years,
            )
        due_on = row["sign__forecast__due_on"]
        if row["sign__forecast__basis"] != SignForecast.Basis.AGENCY_LIFE or due_on is None:
            return None
        # By an expected life alone a sign is taken to hold until its year, and not after.
        last = programme.first_year + programme.years
        return [float(year >= due_on.year) for year in range(programme.first_year, last)]

    def _take_costs(self, row: dict[str, Any]) -> None:
        basis = self.basis
        width, height = row["sign__width_in"], row["sign__height_in"]
        area = UNKNOWN_SIZE_FT2 if not (width and height) else width * height / IN2_PER_FT2
        kind = row["sign__position__support__support_type"]
        self.face_price.append(basis.face_price + basis.face_price_per_ft2 * area)
        self.hours.append(
            basis.face_hours
            + basis.face_hours_per_ft2 * area
            + float(basis.hours_by_support.get(kind, 0.0))
        )
        self.support.append(row["sign__position__support_id"])
        road, mile = row["road_id"], row["sign__position__support__milepoint_mi"]
        if road is not None and mile is not None:
            self.stretch.append(f"{road}/{math.floor(mile / basis.stretch_mi)}")
        else:
            self.stretch.append(f"{row['cell'] >> self.shift}")


def _new_faces(programme: Programme) -> dict[int | None, FloatArray]:
    """Return how new faces of each cohort fall below their level, by fit."""
    fits = CohortFit.objects.owned_by(programme.organisation)
    return {
        key: new_face_chances(
            [row["share_below"] for row in (life or {}).get("table", [])], programme.years
        )
        for key, life in fits.values_list("pk", "life")
    }


def _deferred(agency: Organisation) -> dict[int, int]:
    """Return until which year it was decided that a sign waits, by its newest decision."""
    newest: dict[int, tuple[str, date | None]] = {}
    rows = Disposition.objects.owned_by(agency).order_by("decided_at", "pk")
    for sign_id, decision, until in rows.values_list(
        "sign_id", "decision", "defer_until_on"
    ).iterator(chunk_size=ROWS_AT_ONCE):
        newest[sign_id] = (decision, until)
    return {
        sign_id: until.year
        for sign_id, (decision, until) in newest.items()
        if decision == Disposition.Decision.DEFER and until is not None
    }


def _locks(programme: Programme) -> dict[int, int]:
    """Return the locked years, from 0, by position; −1 locked to none."""
    rows = PlannedReplacement.objects.filter(programme=programme, is_locked=True)
    return {
        position: NOT_PLANNED if year is None else year - programme.first_year
        for position, year in rows.order_by("pk").values_list("position_id", "year")
    }


def _check(made: Programme, today: date) -> None:
    """Refuse what cannot be, in a sentence."""
    check_fields(
        made,
        exclude=[
            "organisation",
            "work_basis",
            "made_by",
            "began_from",
            "result",
            "budget",
            "crew_hours",
        ],
    )
    if not 1 <= made.years <= MOST_YEARS:
        msg = f"The programme has {made.years} years; it has 1 to {MOST_YEARS}."
        raise OutOfRangeError(msg)
    if not today.year <= made.first_year <= today.year + MOST_YEARS:
        msg = (
            f"The programme begins in {made.first_year}; begin it from {today.year} to "
            f"{today.year + MOST_YEARS}."
        )
        raise OutOfRangeError(msg)
    for name, figures in (("budget", made.budget), ("crew hours", made.crew_hours)):
        if len(figures) != made.years:
            msg = (
                f"There are {len(figures)} figures of {name} for {made.years} years; give one "
                "a year."
            )
            raise OutOfRangeError(msg)
        for number, figure in enumerate(figures):
            if not (math.isfinite(figure) and figure >= 0):
                msg = (
                    f"The {name} of {made.first_year + number} is {figure:g}; it is 0 or more."
                )
                raise OutOfRangeError(msg)
    if Programme.objects.owned_by(made.organisation).filter(name=made.name).exists():
        msg = f"There is a programme '{made.name}' already; give this one another name."
        raise StateConflictError(msg)
    begun = made.began_from
    if begun is not None and begun.organisation_id != made.organisation_id:
        msg = f"'{begun.name}' belongs to another agency; begin from a programme of your own."
        raise StateConflictError(msg)
