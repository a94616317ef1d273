"""
Tells later readings from what was on record on earlier days, one such day at a time.

Each day's rows are stored before the next is begun, so that a back-test broken off goes on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
from django.db import transaction
from django.utils import timezone

from inventory.engineering.forecast.backtest import (
    LEAST_KNOWN,
    LaterReadings,
    can_be_told,
    score_later,
)
from inventory.engineering.forecast.choose import choose_cohort_model
from inventory.engineering.forecast.covariates import Covariates
from inventory.engineering.forecast.fit import METHOD_VERSION, OtherScale, Scale, fit_cohort
from inventory.engineering.forecast.observations import UNKNOWN, Observations
from inventory.engineering.forecast.shapes import LINEAR, AgeShape
from inventory.errors import OutOfRangeError
from inventory.models import BackTest
from inventory.services.forecast.back_test_report import RECORDED, TAKEN, summary_of
from inventory.services.forecast.fitting import session_sd_of
from inventory.services.forecast.gathering import DAYS_PER_YEAR, GatheredCohort, gather_cohorts
from inventory.services.standing import policy_or_none

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from inventory.engineering.forecast.fit import CohortFit as Fit
    from inventory.engineering.inspection.student import FloatArray
    from inventory.models import Organisation

MOST_CUT_OFFS = 12
LEAST_EARLIER = 30  # readings of the whole fleet
LEAST_LATER = 10
LEAST_MORE = 10  # readings than on the day before
CHOSEN_AGAIN_AT = 1.5  # times the readings that a model was chosen by
CURVED = "curved"
TOO_FEW_KNOWN = f"readings of cohorts with fewer than {LEAST_KNOWN} readings known by the day"
NO_AGE_KNOWN = "readings of cohorts in which no sign of known age was read by the day"
NOT_STARTED = "readings of signs that had neither an age nor a reading on the day"


def run_back_test(
    *,
    organisation: Organisation,
    cut_offs: Sequence[date] | None = None,
    now: datetime | None = None,
    progress: Callable[[str], None] | None = None,
) -> BackTest:
    """
    Tell the later readings of an agency's signs from earlier days, and keep how it went.

    Without ``cut_offs`` from each 1 January with enough readings before and after it. A
    back-test of these days that was broken off goes on where it was.
    """
    now = now or timezone.now()
    tell = progress or (lambda _words: None)
    test = _under_way(organisation, cut_offs)
    if test is not None:
        now = test.started_at
    tell("gathering all readings")
    today = organisation.day_of(now)
    whole = list(gather_cohorts(organisation=organisation, today=today, recorded_before=now))
    if test is None:
        test = _begin(organisation, whole, cut_offs, today, now)
    days = [date.fromisoformat(each) for each in test.cut_offs]
    for number, day in enumerate(days, start=1):
        if day.isoformat() in {row["cut_off"] for row in test.rows}:
            continue
        words = f"{day.day} {day:%B %Y} ({number} of {len(days)})"
        tell(f"{words}: gathering what was known")
        known_by = test.summary["known_by"]
        known = _known_on(organisation, day, whole, known_by)
        row = _row(
            day,
            known,
            whole,
            until=days[number] if number < len(days) else None,
            session_sd=session_sd_of(
                policy_or_none(organisation, _midnight(organisation, day))
            ),
            models={
                cohort["key"]: cohort["model"]
                for before in test.rows
                if before["cut_off"] < day.isoformat()
                for cohort in before["cohorts"]
            },
            tell=_told_of(words, tell),
        )
        test = _keep(test, row)
    if test.finished_at is None:
        test = _finish(test, timezone.now())
    return test


def _told_of(words: str, tell: Callable[[str], None]) -> Callable[[str], None]:
    return lambda what: tell(f"{words}: {what}")


def usual_cut_offs(cohorts: Iterable[GatheredCohort], today: date, known_by: str) -> list[date]:
    """
    Return each 1 January with enough readings before and after it, the last twelve.

    A day that knows hardly more than the one before would tell the same again; it is left out.
    """
    parts = [
        (each.recorded_on if known_by == RECORDED else each.visited_on, each.visited_on)
        for each in cohorts
        if len(each.visited_on)
    ]
    if not parts:
        return []
    known_on, visited_on = (np.concatenate(each) for each in zip(*parts, strict=True))
    first = date.fromordinal(int(visited_on.min())).year
    days: list[date] = []
    known_before = LEAST_EARLIER - LEAST_MORE
    for year in range(first + 1, today.year + 1):
        day = date(year, 1, 1)
        known = int((known_on < day.toordinal()).sum())
        later = int((visited_on >= day.toordinal()).sum())
        if known >= known_before + LEAST_MORE and later >= LEAST_LATER:
            days.append(day)
            known_before = known
    return days[-MOST_CUT_OFFS:]


def _under_way(organisation: Organisation, cut_offs: Sequence[date] | None) -> BackTest | None:
    """Return the back-test that was broken off, if it was of these days and this method."""
    test: BackTest | None = (
        BackTest.objects.owned_by(organisation).filter(finished_at__isnull=True).first()
    )
    if test is None:
        return None
    asked = None if cut_offs is None else [each.isoformat() for each in sorted(set(cut_offs))]
    if test.method_version == METHOD_VERSION and asked in (None, test.cut_offs):
        return test
    test.delete()
    return None


def _begin(
    organisation: Organisation,
    whole: Sequence[GatheredCohort],
    cut_offs: Sequence[date] | None,
    today: date,
    now: datetime,
) -> BackTest:
    known_by = RECORDED
    if cut_offs is None:
        days = usual_cut_offs(whole, today, RECORDED)
        if not days:
            # Years of readings that were put on record in one go, as by an import.
            days = usual_cut_offs(whole, today, TAKEN)
            known_by = TAKEN if days else RECORDED
    else:
        days = sorted(set(cut_offs))
        late = [each for each in days if each >= today]
        if late:
            msg = (
                f"{late[0].isoformat()} is not past, so nothing read after it is known; give "
                f"days before {today.isoformat()}."
            )
            raise OutOfRangeError(msg)
    return BackTest.objects.create(
        organisation=organisation,
        method_version=METHOD_VERSION,
        started_at=now,
        cut_offs=[each.isoformat() for each in days],
        summary=summary_of([], known_by),
    )


def _known_on(
    organisation: Organisation,
    day: date,
    whole: Sequence[GatheredCohort],
    known_by: str,
) -> dict[str, GatheredCohort]:
    """Return the cohorts as they were known on a day, by key."""
    if known_by == TAKEN:
        return {each.key.text: _before(each, day) for each in whole}
    found = gather_cohorts(
        organisation=organisation,
        today=day,
        recorded_before=_midnight(organisation, day),
    )
    return {each.key.text: each for each in found}


def _midnight(organisation: Organisation, day: date) -> datetime:
    """Return the moment that a day begins, where the agency is."""
    return datetime.combine(day, time(), tzinfo=ZoneInfo(organisation.time_zone))


def _before(cohort: GatheredCohort, day: date) -> GatheredCohort:
    """Return a cohort with the visits made before a day."""
    is_known = cohort.visited_on < day.toordinal()
    seen = cohort.observations
    names = (
        "sign",
        "age_years",
        "ra_cd_lx_m2",
        "reading_count",
        "repeatability_rel",
        "session",
    )
    visits = {name: getattr(seen, name)[is_known] for name in names}
    return replace(
        cohort,
        observations=replace(seen, **visits),
        visited_on=cohort.visited_on[is_known],
        recorded_on=cohort.recorded_on[is_known],
    )


def _row(
    day: date,
    known: dict[str, GatheredCohort],
    whole: Iterable[GatheredCohort],
    *,
    until: date | None,
    session_sd: float | None,
    models: dict[str, dict[str, Any]],
    tell: Callable[[str], None],
) -> dict[str, Any]:
    """
    Return how the readings after a day were told from it, by cohort.

    ``until`` is the next day of forecasting, ``models`` those chosen on the days before.
    """
    cohorts: list[dict[str, Any]] = []
    left_out: dict[str, int] = {}

    def leave_out(reason: str, number: int) -> None:
        if number:
            left_out[reason] = left_out.get(reason, 0) + number

    for later in whole:
        joined = _join(day, known.get(later.key.text), later)
        leave_out(NOT_STARTED, joined.not_started)
        number = len(joined.later)
        if not number:
            continue
        if len(joined.known) < LEAST_KNOWN:
            leave_out(TOO_FEW_KNOWN, number)
            continue
        if not joined.known.is_age_known[joined.known.sign].any():
            leave_out(NO_AGE_KNOWN, number)
            continue
        tell(later.key.words)
        fit, model = _fit(
            joined.known, session_sd=session_sd, before=models.get(later.key.text)
        )
        told = score_later(fit, joined.known, joined.later, age_now_years=joined.age_years)
        soon = np.bincount(joined.known.sign, minlength=joined.known.sign_count) > 0
        is_new = soon[joined.later.sign]
        if until is not None:
            is_new &= joined.later.ahead_years < (until - day).days / DAYS_PER_YEAR
        cohorts.append(
            {
                "key": later.key.text,
                "known": len(joined.known),
                "later": number,
                # Readings that no later day tells again: adding them up counts each once.
                "readings": int(is_new.sum()),
                "model": model,
                "told": [
                    [
                        each.rival.value,
                        each.horizon,
                        each.was_read,
                        each.is_next,
                        each.tally.to_json(),
                    ]
                    for each in told
                ],
            }
        )
    return {"cut_off": day.isoformat(), "cohorts": cohorts, "left_out": left_out}


@dataclass(frozen=True, slots=True, eq=False)
class _Joined:
    """What was known of a cohort's signs, and what was read on them later."""

    known: Observations
    later: LaterReadings
    age_years: FloatArray
    not_started: int


def _join(day: date, then: GatheredCohort | None, later: GatheredCohort) -> _Joined:
    """Return the signs of both, with what was known then of those that were known."""
    both = [later] if then is None else [later, then]
    ids = np.unique(np.concatenate([each.sign_id for each in both]))
    of_signs: dict[str, Any] = {}
    for name in (
        "lot",
        "ink_lot",
        "overlay_lot",
        "run",
        "is_age_known",
        "quadrant",
        "district",
    ):
        column = np.zeros(len(ids), dtype=getattr(later.observations, name).dtype)
        for each in both:
            column[np.searchsorted(ids, each.sign_id)] = getattr(each.observations, name)
        of_signs[name] = column
    started_on = np.full(len(ids), UNKNOWN)
    for each in both:
        # A sign of unknown age starts from the first reading known then, not from a later one.
        kept = each.observations.is_age_known | (each is then)
        started_on[np.searchsorted(ids, each.sign_id)[kept]] = each.started_on[kept]
    names = ("age_years", "ra_cd_lx_m2", "reading_count", "repeatability_rel", "session")
    seen = then.observations if then is not None else later.observations
    chosen = slice(None) if then is not None else slice(0)
    place_of = np.searchsorted(ids, (then or later).sign_id)
    known = Observations(
        sign=place_of[seen.sign][chosen],
        **{name: getattr(seen, name)[chosen] for name in names},
        **of_signs,
    )
    first = day.toordinal()
    age = np.where(
        (started_on != UNKNOWN) & (started_on < first),
        (first - started_on) / DAYS_PER_YEAR,
        np.nan,
    )
    all_later = later.observations
    sign = np.searchsorted(ids, later.sign_id)[all_later.sign]
    is_after = later.visited_on >= first
    # Put up after the day: it was not there to be told.
    is_after &= ~(known.is_age_known & (started_on >= first))[sign]
    can_start = can_be_told(known, sign) & np.isfinite(age[sign])
    is_told = is_after & can_start
    return _Joined(
        known=known,
        later=LaterReadings(
            sign=sign[is_told],
            ahead_years=(later.visited_on[is_told] - first) / DAYS_PER_YEAR,
            ra_cd_lx_m2=all_later.ra_cd_lx_m2[is_told],
            reading_count=all_later.reading_count[is_told],
            repeatability_rel=all_later.repeatability_rel[is_told],
            level_cd_lx_m2=later.level_cd_lx_m2[all_later.sign[is_told]],
        ),
        age_years=age,
        not_started=int((is_after & ~can_start).sum()),
    )


def _fit(
    known: Observations, *, session_sd: float | None, before: dict[str, Any] | None
) -> tuple[Fit, dict[str, Any]]:
    """
    Return the fit of what was known, by the model it would have had, and that model.

    The model is chosen again once there are half as many readings more than when it was last
    chosen, on an earlier day; its figures are of this day always.
    """
    if before is None or len(known) >= CHOSEN_AGAIN_AT * before["chosen_of"]:
        fit = choose_cohort_model(known, session_sd=session_sd).fit
        return fit, {
            "scale": fit.scale.value,
            "shape": fit.shape.name,
            "quadrant": fit.covariates.uses_quadrant,
            "district": fit.covariates.uses_district,
            "chosen_of": len(known),
            "other": None
            if fit.other is None
            else {
                "scale": fit.other.fit.scale.value,
                "shape": fit.other.fit.shape.name,
                "weight": fit.other.weight,
            },
        }
    of_read = known.district[np.unique(known.sign)] if before["district"] else np.array([], int)
    covariates = Covariates.of_districts(of_read, uses_quadrant=before["quadrant"])

    def fitted(model: dict[str, Any]) -> Fit:
        return fit_cohort(
            known,
            scale=Scale(model["scale"]),
            shape=_curve(known) if model["shape"] == CURVED else LINEAR,
            covariates=covariates,
            session_sd=session_sd,
        )

    fit, other = fitted(before), before.get("other")
    if other is not None:
        fit = replace(fit, other=OtherScale(fitted(other), other["weight"]))
    return fit, before


def _curve(known: Observations) -> AgeShape:
    try:
        return AgeShape.curved(known.age_years[known.is_age_known[known.sign]])
    except OutOfRangeError:
        return LINEAR


@transaction.atomic
def _keep(test: BackTest, row: dict[str, Any]) -> BackTest:
    """Store one day's rows, unless another run has stored them meanwhile."""
    kept: BackTest = BackTest.objects.select_for_update().get(pk=test.pk)
    if row["cut_off"] not in {each["cut_off"] for each in kept.rows}:
        kept.rows = sorted([*kept.rows, row], key=lambda each: each["cut_off"])
        kept.summary = summary_of(kept.rows, kept.summary["known_by"])
        kept.save(update_fields=["rows", "summary"])
    return kept


@transaction.atomic
def _finish(test: BackTest, now: datetime) -> BackTest:
    kept: BackTest = BackTest.objects.select_for_update().get(pk=test.pk)
    if kept.finished_at is None:
        kept.finished_at = now
        kept.save(update_fields=["finished_at"])
    return kept
