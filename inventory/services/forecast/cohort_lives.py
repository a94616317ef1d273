"""Expected lives of an agency's cohorts as stored, and how long a group may stand whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Count

from inventory.engineering.forecast.cohorts import CohortKey
from inventory.engineering.forecast.life import (
    BlanketInterval,
    GroupedCohort,
    Life,
    blanket_interval,
)
from inventory.errors import StateConflictError
from inventory.models import CohortFit, ForecastRun, Sign, SignForecast
from inventory.services.forecast.fades import fade_lives, fades_from_json
from inventory.services.forecast.losses import MOST_SIGNS_AT_ONCE

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.engineering.forecast.fade import FadeLife
    from inventory.models import Organisation, ScopedQuerySet


def newest_fits(
    organisation: Organisation, *, sheeting_type: str = "", optics: str = "", color: str = ""
) -> ScopedQuerySet:
    """Return the newest fit of each cohort, without its readings to draw; narrowed if asked."""
    rows = CohortFit.objects.owned_by(organisation).filter(succeeded_at__isnull=True)
    asked = {"sheeting_type": sheeting_type, "optics": optics, "color": color}
    return (
        rows.filter(**{name: value for name, value in asked.items() if value})
        .only(
            "organisation",
            "key",
            "sheeting_type",
            "optics",
            "color",
            "sign_count",
            "visit_count",
            "oldest_age_years",
            "life",
        )
        .order_by("key", "pk")
    )


def stored_life(fit: CohortFit) -> Life | None:
    """Return the life stored with a fit; nothing where its signs have no level."""
    return Life.from_json(fit.life) if "median_years" in fit.life else None


@dataclass(frozen=True, slots=True)
class GroupAnswer:
    """How long a group may stand, of which cohorts, and what could not be counted."""

    interval: BlanketInterval
    cohorts: tuple[GroupedCohort, ...]
    without_life_count: int
    sign_count: int

    @property
    def limiting(self) -> GroupedCohort:
        """Return the cohort with most signs below at the end."""
        return self.cohorts[self.interval.limiting]


def group_interval(
    *,
    organisation: Organisation,
    share_kept: float,
    sheeting_type: str = "",
    optics: str = "",
    color: str = "",
) -> GroupAnswer:
    """
    Return how long a group of cohorts may stand before all of it is replaced.

    A sign counts in the cohort of its governing colour, by its forecast; signs without one are
    not counted.
    """
    fits = list(
        newest_fits(organisation, sheeting_type=sheeting_type, optics=optics, color=color)
    )
    counted = (
        SignForecast.objects.owned_by(organisation)
        .filter(fit__in=[fit.pk for fit in fits])
        .order_by()
        .values("fit")
        .annotate(signs=Count("pk"))
        .values_list("fit", "signs")
    )
    signs_of = dict(counted)
    cohorts, without = [], 0
    for fit in fits:
        life, signs = stored_life(fit), signs_of.get(fit.pk, 0)
        if life is None or not signs:
            without += signs
            continue
        cohorts.append(GroupedCohort(CohortKey.read(fit.key).words, signs, life))
    if not cohorts:
        msg = (
            "No sign of these cohorts has a forecast that rests on readings, so there is no "
            "interval to tell; choose other cohorts, or forecast first (manage.py forecast)."
        )
        raise StateConflictError(msg)
    return GroupAnswer(
        blanket_interval(cohorts, share_kept),
        tuple(cohorts),
        without,
        sum(each.sign_count for each in cohorts),
    )


def stored_or_reckoned_fades(
    *, organisation: Organisation, now: datetime
) -> dict[tuple[str, str], FadeLife] | None:
    """
    Return when colours fade as the newest forecast stored it, else reckoned now.

    ``None`` where there are too many faces to reckon while a page loads and none is stored.
    """
    run = (
        ForecastRun.objects.owned_by(organisation)
        .filter(finished_at__isnull=False)
        .order_by("-started_at", "-pk")
        .first()
    )
    if run is not None and "fades" in run.counts:
        return fades_from_json(run.counts["fades"])
    faces = Sign.objects.owned_by(organisation).order_by().values("pk")
    if faces[: MOST_SIGNS_AT_ONCE + 1].count() > MOST_SIGNS_AT_ONCE:
        return None
    return fade_lives(organisation=organisation, now=now)
