"""What the pages show of cohorts: the stored fits, their curves, and which signs fall due."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.forecast.cloud import Cloud
from inventory.engineering.forecast.cohorts import CohortKey
from inventory.engineering.forecast.fit import METHOD_VERSION, CohortCurve, cohort_curve
from inventory.engineering.forecast.fit import CohortFit as Fit
from inventory.engineering.forecast.life import Life
from inventory.engineering.forecast.yearly_change import YearlyChange, yearly_change
from inventory.engineering.standards.studies import DeteriorationStudy, deterioration_studies
from inventory.models import CohortFit, SignForecast

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.db.models import QuerySet

    from inventory.models import Organisation

NEXT_DUE_SIGNS = 10
EARLIER_FITS = 10
CURVE_STEP_YEARS = 0.25
LONGEST_CURVE_YEARS = 30.0
LEAST_CURVE_YEARS = 10.0
YEARS_PAST = 2.0  # of the drawing, past the oldest age read and past half of the signs' life
NOT_IN_LISTS = ("scores", "left_out", "cloud")


@dataclass(frozen=True)
class CohortLine:
    """
    A cohort in the list.

    ``change`` is ``None`` for a fit by another version of the method, ``life`` where no usual
    level is on record.
    """

    fit: CohortFit
    key: CohortKey
    change: YearlyChange | None
    life: Life | None


@dataclass(frozen=True)
class CohortView:
    """
    All that is shown of one fit.

    ``levels`` are those that its installed signs have to keep with their number (0: not
    counted yet), the most usual first: the life table is for that one.
    ``made`` and what follows from it are ``None`` for a fit by another version of the method.
    ``studies`` are published ranges of the same sheeting and colour.
    """

    line: CohortLine
    made: Fit | None
    curve: CohortCurve | None
    cloud: Cloud
    levels: tuple[tuple[float, int], ...]
    studies: tuple[DeteriorationStudy, ...]
    due_count: int
    next_due: list[SignForecast]
    newest: CohortFit | None
    earlier: list[CohortFit]


def newest_fits(organisation: Organisation) -> QuerySet[CohortFit]:
    """Return the newest fit of each cohort, like sheeting together."""
    rows = CohortFit.objects.owned_by(organisation).filter(succeeded_at__isnull=True)
    return rows.defer(*NOT_IN_LISTS).order_by("key")


def cohort_lines(fits: Sequence[CohortFit]) -> list[CohortLine]:
    """Return what a list shows of some fits."""
    return [_line(fit, read_fit(fit)) for fit in fits]


def cohort_view(*, fit: CohortFit, organisation: Organisation) -> CohortView:
    """Return what the page of a fit shows: a few queries, none over readings."""
    made = read_fit(fit)
    line = _line(fit, made)
    of_key = CohortFit.objects.owned_by(organisation).filter(key=fit.key)
    others = of_key.exclude(pk=fit.pk).defer(*NOT_IN_LISTS, "parameters", "life")
    due = SignForecast.objects.owned_by(organisation).filter(fit=fit, due_on__isnull=False)
    return CohortView(
        line=line,
        made=made,
        curve=cohort_curve(made, _ages(fit, line.life)) if made else None,
        cloud=Cloud.from_json(fit.cloud),
        levels=_levels(fit, line.life),
        studies=tuple(
            each for each in deterioration_studies() if _is_of_cohort(each, line.key)
        ),
        due_count=due.count(),
        next_due=list(
            due.defer("colors", "probabilities_below")
            .select_related("sign__position__support__road")
            .order_by("due_on", "sign_id")[:NEXT_DUE_SIGNS]
        ),
        newest=others.filter(succeeded_at__isnull=True).first() if fit.succeeded_at else None,
        earlier=list(
            others.filter(succeeded_at__isnull=False, fitted_at__lt=fit.fitted_at).order_by(
                "-fitted_at", "-pk"
            )[:EARLIER_FITS]
        ),
    )


def read_fit(fit: CohortFit) -> Fit | None:
    """Return a stored fit to reckon with; ``None`` if another version of the method made it."""
    if fit.parameters.get("method") != METHOD_VERSION:
        return None
    return Fit.from_json(fit.parameters)


def _line(fit: CohortFit, made: Fit | None) -> CohortLine:
    return CohortLine(
        fit=fit,
        key=CohortKey.read(fit.key),
        change=yearly_change(made) if made else None,
        life=Life.from_json(fit.life) if fit.life.get("table") else None,
    )


def _levels(fit: CohortFit, life: Life | None) -> tuple[tuple[float, int], ...]:
    counted = fit.life.get("levels")
    if counted:
        return tuple((float(value), int(signs)) for value, signs in counted)
    return () if life is None else ((life.level_cd_lx_m2, 0),)


def _ages(fit: CohortFit, life: Life | None) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return the ages to draw: past the oldest read, and past half of the life if in reach."""
    last = max(fit.oldest_age_years, LEAST_CURVE_YEARS)
    if life is not None and life.median.years is not None:
        last = max(last, life.median.years)
    last = min(last + YEARS_PAST, max(LONGEST_CURVE_YEARS, fit.oldest_age_years))
    return np.arange(0.0, last + CURVE_STEP_YEARS / 2, CURVE_STEP_YEARS)


def _is_of_cohort(study: DeteriorationStudy, key: CohortKey) -> bool:
    """Return whether a study prints a range of slopes of this sheeting type and colour."""
    return (
        study.slope_low_cd_lx_m2_per_year is not None
        and key.sheeting_type in study.sheeting_types.split("; ")
        and key.color in study.colors.split("; ")
    )
