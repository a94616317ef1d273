"""How many signs of each cohort are expected to fall below their level in each year."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from django.db import transaction

from inventory.engineering.forecast.both_scales import (
    counts_of_cohort,
    forecast_of_cohort,
    sums_on_each,
)
from inventory.engineering.forecast.observations import UNKNOWN
from inventory.engineering.forecast.sign_due import years_to_year_end
from inventory.models import CohortFit
from inventory.services.forecast.gathering import DAYS_PER_YEAR

if TYPE_CHECKING:
    from inventory.services.forecast.fitting import FittedCohort
    from inventory.services.forecast.gathering import GatheredCohort
    from inventory.services.forecast.sign_colours import ForecastRules
    from inventory.services.forecast.storing import StoredSigns


def count_due(cohort: FittedCohort, found: StoredSigns, rules: ForecastRules) -> None:
    """
    Keep with a cohort's fit how many of its signs are expected to be due in each year.

    A sign counts in the cohort of the colour that governs it, so in one cohort only. The fit's
    own numbers do not change.
    """
    row, gathered = cohort.row, cohort.gathered
    if row is None:
        return
    governed = np.array(
        [found.governing.get(sign_id) == row.pk for sign_id in gathered.sign_id.tolist()],
        dtype=np.bool_,
    )
    chosen = (
        governed
        & gathered.is_installed
        & (gathered.started_on != UNKNOWN)
        & ~np.isnan(gathered.level_cd_lx_m2)
    )
    by_class: dict[str, Any] = {}
    if chosen.any():
        part = gathered.observations.of_signs(chosen)
        fit = cohort.fit
        grams = sums_on_each(fit, part)
        today = rules.today.toordinal()
        known: dict[str, Any] = {
            "lot": part.lot,
            "is_age_known": part.is_age_known,
            "age_now_years": np.maximum(today - gathered.started_on[chosen], 0) / DAYS_PER_YEAR,
            "level_cd_lx_m2": gathered.level_cd_lx_m2[chosen],
            "quadrant": part.quadrant,
            "district": part.district,
        }
        forecasts = forecast_of_cohort(
            fit,
            grams,
            due_probability=rules.due_probability,
            first_year_end_years=years_to_year_end(rules.today),
            **known,
        )
        classes = [found.classes[sign_id] for sign_id in gathered.sign_id[chosen].tolist()]
        by_class = counts_of_cohort(
            fit, forecasts, grams, safety_class=np.array(classes), **known
        ).to_json()
    row.life = row.life | {
        "levels": _levels(gathered),
        "due_counts": {
            "as_of_on": rules.today.isoformat(),
            "first_year": rules.today.year,
            "by_class": by_class,
        },
    }
    with transaction.atomic():
        CohortFit.objects.filter(pk=row.pk).update(life=row.life)


def _levels(gathered: GatheredCohort) -> list[list[float]]:
    """Return each level that installed signs have to keep with their number, the most first."""
    levels = gathered.level_cd_lx_m2[gathered.is_installed]
    values, counts = np.unique(levels[~np.isnan(levels)], return_counts=True)
    order = np.lexsort((values, -counts))
    return [[float(values[place]), int(counts[place])] for place in order]
