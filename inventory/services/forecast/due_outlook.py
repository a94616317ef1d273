"""How many signs of an agency fall due in each year, by safety class, and how sure that is."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from math import ceil, floor
from typing import TYPE_CHECKING, Any

import numpy as np
from django.db.models import Case, CharField, Count, Value, When
from django.db.models.functions import Cast, Substr

from inventory.engineering.forecast.count_range import count_ranges
from inventory.models import CohortFit, ForecastRun, SignForecast, Standing
from inventory.services.forecast.losses import Losses

if TYPE_CHECKING:
    from collections.abc import Iterable

    from inventory.models import Organisation

CLASS_NUMBERS = (1, 2, 3, 4)
YEARS_AHEAD = 30
_Basis = SignForecast.Basis
_YEAR_LENGTH = 4
_BY_NOW = "now"


@dataclass(frozen=True)
class Expected:
    """How many signs are expected to come to an end, and within which numbers that lies."""

    mean: float
    low: int
    high: int


@dataclass(frozen=True)
class YearOfDue:
    """
    What is expected of one year, from the as-of day on in the first.

    ``total`` and ``of_class`` count signs that come to their end in the year: fall below their
    level by the readings, or reach an age or a fade that ends them, of which ``by_age`` are the
    latter. ``due_dates`` counts the signs whose due date lies in the year.
    """

    year: int
    total: Expected
    of_class: dict[int, Expected]
    by_age: int
    due_dates: int


@dataclass(frozen=True)
class DueOutlook:
    """What a fleet's forecasts come to, all from stored counts."""

    made_at: Any
    as_of_on: date | None
    years: list[YearOfDue]
    is_counted: bool
    sign_count: int
    due_now: int
    dates_by_now: int
    expected_below_now: float
    not_within: int
    count_of_basis: dict[str, int]
    lost_a_year: Expected | None

    @property
    def nothing(self) -> int:
        """Return how many signs there is nothing to go by for."""
        return self.count_of_basis.get(_Basis.NONE.value, 0)

    def expected_within(self, years: int) -> float:
        """Return how many signs are expected to come to their end in the first years."""
        return sum(each.total.mean for each in self.years[:years])


@dataclass
class _Sums:
    """Mean and variance of a count, summed over cohorts that are independent."""

    mean: float = 0.0
    variance: float = 0.0

    def add(self, mean: float, variance: float) -> None:
        self.mean += mean
        self.variance += variance


def due_outlook(*, organisation: Organisation, today: date) -> DueOutlook:
    """
    Return what the stored forecasts of an agency come to, in four queries for any fleet.

    Counts of the readings' forecasts were made with each fit; dates are counted from an index.
    """
    run = (
        ForecastRun.objects.owned_by(organisation)
        .filter(stage=ForecastRun.Stage.DONE)
        .order_by("-started_at", "-pk")
        .first()
    )
    lives = (
        CohortFit.objects.owned_by(organisation)
        .filter(succeeded_at__isnull=True)
        .order_by("key")
        .values_list("life", flat=True)
    )
    counted = [life["due_counts"] for life in lives if life.get("due_counts")]
    dates = _DueDates(organisation, today)
    first_year = today.year
    of_class, total, below_now = _sum_counts(counted, first_year)
    years = _years(range(first_year, first_year + YEARS_AHEAD + 1), of_class, total, dates)
    standings = Standing.objects.owned_by(organisation)
    return DueOutlook(
        made_at=run.finished_at if run else None,
        as_of_on=min((_day(each) for each in counted), default=None),
        years=years,
        is_counted=bool(counted),
        sign_count=dates.sign_count,
        due_now=standings.filter(is_due=True).count(),
        dates_by_now=dates.by_now,
        expected_below_now=below_now,
        not_within=dates.not_within,
        count_of_basis=dates.of_basis,
        lost_a_year=_lost_a_year(run),
    )


def _lost_a_year(run: ForecastRun | None) -> Expected | None:
    """Return how many faces damage takes in a year, with 95 %, as the newest round has it."""
    if run is None or "losses" not in run.counts:
        return None
    found = Losses.from_json(run.counts["losses"]).total.expected_a_year()
    if found is None:
        return None
    mean, low, high = found
    return Expected(mean, floor(low), ceil(high))


def _sum_counts(
    counted: Iterable[dict[str, Any]], first_year: int
) -> tuple[dict[int, dict[int, _Sums]], dict[int, _Sums], float]:
    """
    Return the sums by year and class, those by year, and how many are below now.

    What the classes of one cohort share is not independent: its standard deviations are added
    before they are squared, which is what they do when they err the same way.
    """
    of_class: dict[int, dict[int, _Sums]] = {}
    total: dict[int, _Sums] = {}
    below_now = 0.0
    for counts in counted:
        alone: defaultdict[int, float] = defaultdict(float)
        shared: defaultdict[int, float] = defaultdict(float)
        for number, numbers in counts["by_class"].items():
            below_now += numbers.get("already", 0.0)
            rows = zip(numbers["expected"], numbers["shared_sd"], numbers["sd"], strict=True)
            for year, (mean, shared_sd, sd) in enumerate(rows, start=counts["first_year"]):
                # Counts made last year still hold until they are made again.
                at = max(year, first_year)
                sums = of_class.setdefault(at, {}).setdefault(int(number), _Sums())
                sums.add(mean, sd**2)
                total.setdefault(at, _Sums()).add(mean, 0.0)
                alone[at] += max(0.0, sd**2 - shared_sd**2)
                shared[at] += shared_sd
        for at in alone:
            total[at].add(0.0, alone[at] + shared[at] ** 2)
    return of_class, total, below_now


def _years(
    years: range,
    of_class: dict[int, dict[int, _Sums]],
    total: dict[int, _Sums],
    dates: _DueDates,
) -> list[YearOfDue]:
    """Return each year: what the readings lead to expect, and what ends by its age or fade."""
    nothing = _Sums()
    sums = [
        [total.get(year, nothing)]
        + [of_class.get(year, {}).get(number, nothing) for number in CLASS_NUMBERS]
        for year in years
    ]
    means = np.array([[each.mean for each in row] for row in sums])
    variances = np.array([[each.variance for each in row] for row in sums])
    ends = count_ranges(means.ravel(), variances.ravel())
    low, high = (each.reshape(means.shape) for each in ends)
    found = []
    for n, year in enumerate(years):
        by_age = dates.by_age.get(year, {})
        certain = [sum(by_age.values()), *(by_age.get(number, 0) for number in CLASS_NUMBERS)]
        expected = [
            Expected(
                float(means[n, k]) + count, int(low[n, k]) + count, int(high[n, k]) + count
            )
            for k, count in enumerate(certain)
        ]
        found.append(
            YearOfDue(
                year=year,
                total=expected[0],
                of_class=dict(zip(CLASS_NUMBERS, expected[1:], strict=True)),
                by_age=certain[0],
                due_dates=dates.of_year.get(year, 0),
            )
        )
    return found


class _DueDates:
    """How many due dates lie in each year, counted in one query that only reads an index."""

    def __init__(self, organisation: Organisation, today: date) -> None:
        self.by_now = 0
        self.of_year: dict[int, int] = {}
        self.by_age: dict[int, dict[int, int]] = {}
        self.of_basis: dict[str, int] = {}
        self.not_within = 0
        self.sign_count = 0
        rows = (
            SignForecast.objects.owned_by(organisation)
            .order_by()
            # The year as text: SQLite would ask Python for the year of every row.
            .annotate(
                due_year=Case(
                    When(due_on__lte=today, then=Value(_BY_NOW)),
                    default=Substr(Cast("due_on", CharField()), 1, _YEAR_LENGTH),
                )
            )
            .values_list("basis", "end", "safety_class", "due_year")
            .annotate(count=Count("pk"))
        )
        for basis, end, number, year, count in rows:
            self.sign_count += count
            self.of_basis[basis] = self.of_basis.get(basis, 0) + count
            if year is None:
                self.not_within += 0 if basis == _Basis.NONE else count
            elif year == _BY_NOW:
                self.by_now += count
            else:
                self._add(basis, end, number, int(year), count)

    def _add(self, basis: str, end: str, number: int, year: int, count: int) -> None:
        self.of_year[year] = self.of_year.get(year, 0) + count
        if basis == _Basis.AGENCY_LIFE or end == SignForecast.End.FADE:
            of_class = self.by_age.setdefault(year, {})
            of_class[number] = of_class.get(number, 0) + count


def _day(counts: dict[str, Any]) -> date:
    return date.fromisoformat(counts["as_of_on"])
