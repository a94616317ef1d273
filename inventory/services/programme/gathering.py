"""The signs of a programme brought together, row by row: what stands, what it costs, when."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING, Any

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.programme.exactly import never
from inventory.engineering.programme.problem import FREE, NOT_PLANNED
from inventory.engineering.programme.years import (
    MODERATE_CHANCE,
    SEVERE_CHANCE,
    chances_in_years,
    last_year,
    stretch_shift,
)
from inventory.models import PlannedReplacement, Sign, SignForecast, Standing
from inventory.services.programme.new_faces import NewFaces, until_stopped
from inventory.services.programme.rules import rounds_of, waits_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from inventory.engineering.programme.problem import FloatArray
    from inventory.models import Programme, WorkBasis

IN2_PER_FT2 = 144.0
UNKNOWN_SIZE_FT2 = 6.25  # a 30 in square: an assumption where the size is not on record
ROWS_AT_ONCE = 2_000
NO_FORECAST = "no forecast: read it first"
NO_LEVEL = "no level on record to fall below"
CLASS_1 = "class 1"
UNSAFE_VERDICTS = (Verdict.BELOW.value, Verdict.SHEETING_NOT_ALLOWED.value)
_TOLD = (SignForecast.Basis.OWN_READINGS, SignForecast.Basis.COHORT)
_CONDITION_CHANCE = {
    Standing.Condition.MODERATE: MODERATE_CHANCE,
    Standing.Condition.SEVERE: SEVERE_CHANCE,
}
_COLUMNS = (
    "sign_id",
    "responsible",
    "verdict",
    "condition",
    "safety_class",
    "cell",
    "road_id",
    "sign__position_id",
    "sign__position__is_retired",
    "sign__position__sign_code",
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
    "sign__forecast__color",
    "sign__forecast__probabilities_below",
)


class GatheredSigns:
    """Columns of the signs of a programme, and who is left out, counted by the reason."""

    def __init__(self, programme: Programme, today: date) -> None:
        self.programme = programme
        self.basis: WorkBasis = programme.work_basis
        self.open_from = max(today.year - programme.first_year, 0)
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
        self.must_why: list[str] = []
        self.locked: list[int] = []
        self.support: list[int] = []
        self.stretch: list[str] = []
        self.left_out: Counter[str] = Counter()
        self.new_face_sources: Counter[str] = Counter()
        self.new_faces = NewFaces(programme.organisation, today, programme.years)
        self.waits = waits_of(programme.organisation)
        self.rounds = rounds_of(programme.organisation, today)
        self.locks = _locks(programme)
        self.shift = stretch_shift(self.basis.stretch_mi)

    def read(self, should_stop: Callable[[], bool] = never) -> None:
        """Read every installed sign of the agency; stopped, there is nothing to plan by."""
        self.new_faces.read(should_stop)
        rows = Standing.objects.owned_by(self.programme.organisation).order_by("sign_id")
        found = rows.values_list(*_COLUMNS).iterator(chunk_size=ROWS_AT_ONCE)
        for row in until_stopped(found, should_stop):
            self._take(dict(zip(_COLUMNS, row, strict=True)))

    def _take(self, row: dict[str, Any]) -> None:
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
        self.position.append(row["sign__position_id"])
        self.sign.append(row["sign_id"])
        self.safety_class.append(row["safety_class"])
        up_on = row["sign__installed_on"]
        as_of_on = row["sign__forecast__as_of_on"]
        self.age_years.append(math.nan if up_on is None else (as_of_on - up_on).days / 365.25)
        self.due_on.append(row["sign__forecast__due_on"])
        self.below.append(probabilities)
        new = self.new_faces.of(
            row["sign_id"],
            code=row["sign__position__sign_code"],
            color=row["sign__forecast__color"],
            fit_id=row["sign__forecast__fit_id"],
            position_id=row["sign__position_id"],
        )
        self.below_if_new.append(new.chances)
        self.new_face_sources[new.source] += 1
        self.condition.append(_CONDITION_CHANCE.get(row["condition"], 0.0))
        self._take_costs(row)
        self._take_years(row)
        self.locked.append(self.locks.get(row["sign__position_id"], FREE))

    def _probabilities(self, row: dict[str, Any]) -> list[float] | None:
        programme, stored = self.programme, row["sign__forecast__probabilities_below"]
        as_of_on = row["sign__forecast__as_of_on"]
        if as_of_on is None:
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

    def _take_years(self, row: dict[str, Any]) -> None:
        """Add in which years a sign may go, by which it must, and why it must."""
        first, years = self.programme.first_year, self.programme.years
        must, why = self._class_1_must(row)
        is_unsafe = (
            row["verdict"] in UNSAFE_VERDICTS
            or row["condition"] == Standing.Condition.SEVERE
            or must == self.open_from
        )
        open_from = self.open_from
        wait = self.waits.get(row["sign_id"])
        if wait is not None:
            open_from = max(open_from, wait.until(is_unsafe=is_unsafe) - first)
        may = [year >= open_from for year in range(years)]
        round_of = self.rounds.get(row["sign_id"])
        if round_of is not None:
            at = max(round_of.from_on.year - first, self.open_from)
            if at < years and (must is None or at < must):
                must, why = at, round_of.words
                if not is_unsafe and row["safety_class"] != 1:
                    # What the round replaces anyhow is not replaced twice.
                    may = [is_open and year >= at for year, is_open in enumerate(may)]
        # What was decided to wait is no must until the day it waits for.
        if must is not None and open_from > must:
            must, why = None, ""
        self.is_allowed.append(may)
        self.must_by.append(-1 if must is None else must)
        self.must_why.append(why)

    def _class_1_must(self, row: dict[str, Any]) -> tuple[int | None, str]:
        due_on = row["sign__forecast__due_on"]
        if not self.programme.keeps_class_1_legal or row["safety_class"] != 1:
            return None, ""
        if due_on is None:
            return None, ""
        must = last_year(
            due_on,
            lead_days=self.basis.lead_days,
            first_year=self.programme.first_year,
            years=self.programme.years,
        )
        return (None, "") if must is None else (max(must, self.open_from), CLASS_1)

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


def _locks(programme: Programme) -> dict[int, int]:
    """Return the locked years, from 0, by position; −1 locked to none."""
    rows = PlannedReplacement.objects.filter(programme=programme, is_locked=True)
    return {
        position: NOT_PLANNED if year is None else year - programme.first_year
        for position, year in rows.order_by("pk").values_list("position_id", "year")
    }
