"""The cohorts of an agency brought up to date: only those whose readings changed are fitted."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
from django.db import transaction

from inventory.engineering.forecast.both_scales import bare, fit_again
from inventory.engineering.forecast.choose import choose_cohort_model
from inventory.engineering.forecast.cloud import cloud_of
from inventory.engineering.forecast.fit import METHOD_VERSION
from inventory.engineering.forecast.fit import CohortFit as Fit
from inventory.engineering.forecast.life import life_of
from inventory.engineering.forecast.observations import UNKNOWN
from inventory.engineering.inspection.instrument_uncertainty import ASSUMED_UNCERTAINTY
from inventory.models import AgencyPolicy, CohortFit
from inventory.services.forecast.fingerprints import cohort_fingerprint

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from inventory.engineering.forecast.choose import ChosenFit
    from inventory.engineering.forecast.observations import Observations
    from inventory.models import Organisation
    from inventory.services.forecast.gathering import GatheredCohort


@dataclass(slots=True)
class FittedCohort:
    """A gathered cohort with its stored fit; none where it cannot be fitted yet."""

    gathered: GatheredCohort
    row: CohortFit | None
    session_sd: float | None = None
    is_new: bool = False
    made: Fit | None = None

    @property
    def fit(self) -> Fit:
        """Return the fit with its lots; a stored one is solved again from the readings."""
        if self.made is None:
            if self.row is None:
                msg = f"{self.gathered.key.text} has no fit."
                raise LookupError(msg)
            stored = Fit.from_json(self.row.parameters)
            self.made = bare(
                fit_again(stored, read_signs(self.gathered), session_sd=self.session_sd)
            )
        return self.made


def bring_up_to_date(
    gathered: GatheredCohort,
    stored: CohortFit | None,
    *,
    organisation: Organisation,
    session_sd: float | None,
    now: datetime,
    is_forced: bool = False,
    progress: Callable[[str], None] | None = None,
) -> FittedCohort:
    """
    Return a cohort with its fit, made anew and stored if anything that it rests on changed.

    A cohort is fitted from one read sign of known age on; until then it has no fit.
    """
    seen = gathered.observations
    is_known = seen.is_age_known[seen.sign].any() if len(seen) else False
    if not is_known:
        if stored is not None:
            with transaction.atomic():
                succeed(stored, now)
        return FittedCohort(gathered, None)
    level = usual_level(gathered)
    fingerprint = cohort_fingerprint(gathered, level, session_sd)
    if stored is not None and stored.fingerprint == fingerprint and not is_forced:
        return FittedCohort(gathered, stored, session_sd)
    chosen = choose_cohort_model(read_signs(gathered), session_sd=session_sd, progress=progress)
    row = _row(gathered, chosen, fingerprint, level, organisation, now)
    with transaction.atomic():
        if stored is not None:
            succeed(stored, now)
        row.save()
    return FittedCohort(gathered, row, session_sd, is_new=True, made=bare(chosen.fit))


def session_sd_of(policy: AgencyPolicy | None) -> float | None:
    """
    Return what readings of one instrument and day share, as a share of R_A, by the rules.

    Without rules it is the shipped assumption; where the rules say 0, sessions share nothing.
    """
    if policy is None:
        return ASSUMED_UNCERTAINTY.common_rel or None
    return policy.instrument_common_rel or None


def newest_fits(organisation: Organisation) -> dict[str, CohortFit]:
    """Return the fit of each cohort that holds now, by the cohort's key."""
    rows = CohortFit.objects.owned_by(organisation).filter(succeeded_at__isnull=True)
    return {row.key: row for row in rows.defer("cloud").order_by("key")}


def succeed(row: CohortFit, now: datetime) -> None:
    """Let a fit be one of before; it keeps its numbers and lets go of its drawing."""
    CohortFit.objects.filter(pk=row.pk).update(succeeded_at=now, cloud={})


def read_signs(gathered: GatheredCohort) -> Observations:
    """Return the observations of the signs that were read."""
    seen = gathered.observations
    is_read = np.zeros(seen.sign_count, dtype=np.bool_)
    is_read[seen.sign] = True
    return seen if is_read.all() else seen.of_signs(is_read)


def usual_level(gathered: GatheredCohort) -> float | None:
    """Return the level that most of a cohort's installed signs have to keep."""
    levels = gathered.level_cd_lx_m2[gathered.is_installed]
    levels = levels[~np.isnan(levels)]
    if not len(levels):
        return None
    values, counts = np.unique(levels, return_counts=True)
    return float(values[np.argmax(counts)])


def _row(
    gathered: GatheredCohort,
    chosen: ChosenFit,
    fingerprint: str,
    level: float | None,
    organisation: Organisation,
    now: datetime,
) -> CohortFit:
    fit, key = chosen.fit, gathered.key
    seen = read_signs(gathered)
    parameters: dict[str, Any] = fit.to_json() | {
        "district_names": list(gathered.district_names),
        "lots_known": {
            "signs": int((seen.lot != UNKNOWN).sum()),
            "lots": len(set(seen.lot[seen.lot != UNKNOWN].tolist())),
        },
    }
    return CohortFit(
        organisation=organisation,
        key=key.text,
        sheeting_type=key.sheeting_type,
        optics=key.optics.value,
        color=key.color,
        colouring=key.colouring.value,
        overlay=key.overlay.value,
        how=key.how.value,
        method_version=METHOD_VERSION,
        fingerprint=fingerprint,
        fitted_at=now,
        newest_reading_on=date.fromordinal(int(gathered.visited_on.max())),
        sign_count=seen.sign_count,
        unknown_age_count=int((~seen.is_age_known).sum()),
        visit_count=len(seen),
        oldest_age_years=fit.oldest_age_years,
        scale=fit.scale.value,
        shape=fit.shape.name,
        parameters=parameters,
        scores={
            "reason": chosen.reason,
            "models": [asdict(each) for each in chosen.scores],
        },
        left_out=gathered.left_out,
        life={} if level is None else life_of(fit, level),
        cloud=cloud_of(gathered.observations).to_json(),
    )
