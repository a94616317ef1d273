"""A programme is made, and its signs brought together as the problem that is solved."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from django.db import transaction
from django.utils import timezone

from inventory.engineering.programme.exactly import never
from inventory.engineering.programme.problem import FREE, NOT_PLANNED, ProgrammeProblem
from inventory.engineering.programme.risk import ClassWeights, YearlyRisk
from inventory.engineering.programme.trips import TripCosts
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Organisation, Programme
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.programme.gathering import GatheredSigns
from inventory.services.programme.work_bases import work_basis_at

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date, datetime

    from inventory.engineering.programme.problem import FloatArray, WholeArray
    from inventory.models import User

MOST_YEARS = 15


@dataclass(frozen=True, slots=True, eq=False)
class ProgrammeFrame:
    """
    The signs of a programme as arrays, an entry each, and what was left out.

    ``left_out`` counts signs by the reason they are in no programme; they are listed by it.
    ``must_why`` says why a sign must go, empty where it need not; ``new_face_sources`` counts
    signs by what is taken of their new faces; ``past_years`` of the programme are over.
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
    must_why: list[str]
    new_face_sources: Counter[str]
    past_years: int = 0

    @property
    def late_locks(self) -> WholeArray:
        """Return the places that a person locked to later than they must go, or to none."""
        locked, must_by = self.problem.locked, self.problem.must_by
        is_late = (locked == NOT_PLANNED) | (locked > must_by)
        return np.flatnonzero((locked != FREE) & (must_by >= 0) & is_late)

    @property
    def past_locks(self) -> WholeArray:
        """Return the places that are locked to a year that is past."""
        locked = self.problem.locked
        return np.flatnonzero((locked >= 0) & (locked < self.past_years))

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


def problem_of(
    programme: Programme, *, today: date, should_stop: Callable[[], bool] = never
) -> ProgrammeFrame:
    """
    Bring the agency's own installed signs together, in a few queries for any number.

    Nothing is planned in the programme's years before that of ``today``.
    """
    last = programme.first_year + programme.years - 1
    if today.year > last:
        msg = (
            f"The last year of '{programme.name}' is {last}, which is past; make a new "
            "programme that begins from it."
        )
        raise StateConflictError(msg)
    gathered = GatheredSigns(programme, today)
    gathered.read(should_stop)
    if not gathered.position:
        raise StateConflictError(_nothing_to_plan(gathered.left_out))
    basis = programme.work_basis
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
        gathered.must_why,
        gathered.new_face_sources,
        max(today.year - programme.first_year, 0),
    )


def _nothing_to_plan(left_out: Counter[str]) -> str:
    if not left_out:
        return (
            "The agency has no installed sign to plan; add signs or take a list in first, then "
            "choose the years anew."
        )
    why = ", ".join(f"{count:,} ({reason})" for reason, count in left_out.most_common())
    return (
        "No installed sign of the agency has a forecast to plan by; run manage.py forecast "
        f"first, or read some signs. Left out: {why}."
    )


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
