"""What is forecast of each colour of some installed signs, from the cohorts they are in."""

from __future__ import annotations

import math
from dataclasses import astuple, dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from inventory.engineering.forecast.both_scales import forecast_of_cohort, sums_on_each
from inventory.engineering.forecast.fade import FadeLife, FadeSource
from inventory.engineering.forecast.observations import UNKNOWN, Observations
from inventory.engineering.forecast.sign_due import (
    Basis,
    ColourDue,
    FadeDue,
    Missing,
    day_after,
    years_to_year_end,
)
from inventory.engineering.inspection.vocabulary import How
from inventory.models import SignForecast
from inventory.services.forecast.gathering import DAYS_PER_YEAR

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from inventory.engineering.forecast.cohorts import CohortKey
    from inventory.engineering.forecast.predict import SignForecasts
    from inventory.services.forecast.expected_lives import LifeBook
    from inventory.services.forecast.fade_looks import FadeLooks
    from inventory.services.forecast.fitting import FittedCohort

NO_LEVEL_CD_LX_M2 = 1e-3  # stands in where there is none; what is told of it is not kept
_EARLY, _LATE = 0.05, 0.95


@dataclass(frozen=True, slots=True)
class ForecastRules:
    """What beside readings forecasts go by."""

    today: date
    due_probability: float
    lives: LifeBook
    fades: Mapping[tuple[str, str], FadeLife]
    looks: FadeLooks


@dataclass(slots=True)
class ColourOfSign:
    """One colour of one sign in one cohort; ``place`` is the sign's there."""

    cohort: FittedCohort
    place: int
    started_on: int
    is_age_known: bool
    level_cd_lx_m2: float
    visit_count: int

    @property
    def key(self) -> CohortKey:
        """Return the cohort's key."""
        return self.cohort.gathered.key

    @property
    def is_forecast(self) -> bool:
        """Return whether the cohort's fit tells of it: its age is known or it was read."""
        return self.cohort.row is not None and self.started_on != UNKNOWN

    @property
    def sign_id(self) -> int:
        """Return whose it is."""
        return int(self.cohort.gathered.sign_id[self.place])

    def fade_life(self, rules: ForecastRules) -> FadeLife | None:
        """Return by which age such faces fade, if that is known and its own age is."""
        if not self.is_age_known:
            return None
        return rules.fades.get((self.key.sheeting_type, self.key.color))

    def facts(self, rules: ForecastRules) -> tuple[object, ...]:
        """Return what its forecast rests on beside what holds for all."""
        row, life = self.cohort.row, self.fade_life(rules)
        is_watched = life is not None and life.source is FadeSource.OWN
        return (
            self.key.text,
            None if row is None else row.pk,
            self.started_on,
            self.is_age_known,
            self.level_cd_lx_m2,
            self.visit_count,
            rules.looks.unfaded_on(self.sign_id) if is_watched else None,
        )


class ToldColour(NamedTuple):
    """A colour as the sign's due date takes it, and as it is stored."""

    due: ColourDue
    stored: dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Slice:
    """The signs of a cohort between two primary keys."""

    cohort: FittedCohort
    first: int
    last: int


@dataclass(slots=True)
class ColoursOfStep:
    """The colours of the signs of one step, and where each cohort's signs of the step are."""

    of_sign: dict[int, list[ColourOfSign]] = field(default_factory=dict)
    slices: list[_Slice] = field(default_factory=list)


def colours_of_step(
    cohorts: Sequence[FittedCohort], first_id: int, last_id: int
) -> ColoursOfStep:
    """
    Return the colours of the installed signs between two primary keys, both of the step.

    A colour read by both methods goes by the hand-held cohort, unless that tells nothing of it.
    """
    found = ColoursOfStep()
    best: dict[tuple[int, str], ColourOfSign] = {}
    for cohort in cohorts:
        gathered = cohort.gathered
        first = int(np.searchsorted(gathered.sign_id, first_id, side="left"))
        last = int(np.searchsorted(gathered.sign_id, last_id, side="right"))
        if first == last:
            continue
        found.slices.append(_Slice(cohort, first, last))
        seen = gathered.observations
        counts = np.diff(np.searchsorted(seen.sign, np.arange(first, last + 1)))
        for place in (first + np.flatnonzero(gathered.is_installed[first:last])).tolist():
            each = ColourOfSign(
                cohort,
                place,
                int(gathered.started_on[place]),
                bool(seen.is_age_known[place]),
                float(gathered.level_cd_lx_m2[place]),
                int(counts[place - first]),
            )
            slot = (int(gathered.sign_id[place]), gathered.key.color)
            known = best.get(slot)
            if known is None or _rank(each) > _rank(known):
                best[slot] = each
    for (sign_id, _color), each in sorted(best.items(), key=lambda one: one[0]):
        found.of_sign.setdefault(sign_id, []).append(each)
    return found


def tell_colours(
    step: ColoursOfStep,
    wanted: set[int],
    rules: ForecastRules,
    *,
    position_of: Mapping[int, int | None],
    unverified: set[tuple[int, str]],
) -> dict[int, list[ToldColour]]:
    """Return what is forecast of the colours of the signs wanted, cohort by cohort at once."""
    places_of: dict[int, list[int]] = {}
    for sign_id in wanted:
        for each in step.of_sign.get(sign_id, ()):
            if each.is_forecast:
                places_of.setdefault(id(each.cohort), []).append(each.place)
    told: dict[tuple[int, int], tuple[SignForecasts, int]] = {}
    for piece in step.slices:
        if id(piece.cohort) not in places_of:
            continue
        places = np.sort(np.array(places_of[id(piece.cohort)]))
        forecasts = _forecast(piece, places, rules)
        for number, place in enumerate(places.tolist()):
            told[id(piece.cohort), place] = (forecasts, number)
    return {
        sign_id: [
            _told(
                each,
                told.get((id(each.cohort), each.place)),
                rules,
                position_of.get(sign_id),
                is_verified=(sign_id, each.key.color) not in unverified,
            )
            for each in step.of_sign.get(sign_id, ())
        ]
        for sign_id in wanted
    }


def _rank(each: ColourOfSign) -> tuple[bool, bool, bool]:
    return each.is_forecast, each.key.how is How.HAND_HELD, each.visit_count > 0


def between(observations: Observations, first: int, last: int) -> Observations:
    """Return the observations of the signs from one place up to another, by cutting only."""
    start, stop = np.searchsorted(observations.sign, [first, last])
    visits, signs = slice(start, stop), slice(first, last)
    return Observations(
        sign=observations.sign[visits] - first,
        age_years=observations.age_years[visits],
        ra_cd_lx_m2=observations.ra_cd_lx_m2[visits],
        reading_count=observations.reading_count[visits],
        repeatability_rel=observations.repeatability_rel[visits],
        session=observations.session[visits],
        lot=observations.lot[signs],
        ink_lot=observations.ink_lot[signs],
        overlay_lot=observations.overlay_lot[signs],
        run=observations.run[signs],
        is_age_known=observations.is_age_known[signs],
        quadrant=observations.quadrant[signs],
        district=observations.district[signs],
    )


def _forecast(piece: _Slice, places: Any, rules: ForecastRules) -> SignForecasts:
    gathered, fit = piece.cohort.gathered, piece.cohort.fit
    part = between(gathered.observations, piece.first, piece.last)
    chosen = np.zeros(part.sign_count, dtype=np.bool_)
    chosen[places - piece.first] = True
    part = part.of_signs(chosen)
    levels = gathered.level_cd_lx_m2[places]
    today = rules.today.toordinal()
    return forecast_of_cohort(
        fit,
        sums_on_each(fit, part),
        lot=part.lot,
        is_age_known=part.is_age_known,
        age_now_years=np.maximum(today - gathered.started_on[places], 0) / DAYS_PER_YEAR,
        level_cd_lx_m2=np.where(np.isnan(levels), NO_LEVEL_CD_LX_M2, levels),
        due_probability=rules.due_probability,
        first_year_end_years=years_to_year_end(rules.today),
        quadrant=part.quadrant,
        district=part.district,
    )


def _told(
    each: ColourOfSign,
    found: tuple[SignForecasts, int] | None,
    rules: ForecastRules,
    position_id: int | None,
    *,
    is_verified: bool,
) -> ToldColour:
    level = None if math.isnan(each.level_cd_lx_m2) else each.level_cd_lx_m2
    fade = _fade(each, rules)
    if found is None:
        due = _by_life(each, level, fade, rules, position_id)
        return ToldColour(due, _stored(each, due, rules, None, is_verified))
    forecasts, number = found
    has_level = level is not None
    below = forecasts.probability_below[number]
    year_ends = 1 + int((forecasts.years_ahead < forecasts.years_ahead[-1]).sum())
    due = ColourDue(
        color=each.key.color,
        basis=Basis.OWN_READINGS if forecasts.has_own_readings[number] else Basis.COHORT,
        level_cd_lx_m2=level,
        ra_cd_lx_m2=float(forecasts.ra_cd_lx_m2[number]),
        ra_low_cd_lx_m2=float(forecasts.ra_low_cd_lx_m2[number]),
        ra_high_cd_lx_m2=float(forecasts.ra_high_cd_lx_m2[number]),
        probabilities_below=tuple(map(_rounded, below[:year_ends].tolist()))
        if has_level
        else (),
        due_years=float(forecasts.due_years[number]) if has_level else None,
        early_years=float(forecasts.due_low_years[number]) if has_level else None,
        late_years=float(forecasts.due_high_years[number]) if has_level else None,
        is_extrapolated=has_level and bool(forecasts.is_extrapolated[number]),
        fade=fade,
    )
    states = [list(astuple(part.state_of(number))) for part in forecasts.parts or (forecasts,)]
    return ToldColour(due, _stored(each, due, rules, states, is_verified))


def _by_life(
    each: ColourOfSign,
    level: float | None,
    fade: FadeDue | None,
    rules: ForecastRules,
    position_id: int | None,
) -> ColourDue:
    """Return a colour by the agency's expected life, or that there is nothing to go by."""
    key = each.key
    life = rules.lives.of(
        SignForecast.End.LEVEL,
        sheeting_type=key.sheeting_type,
        optics=key.optics.value,
        color=key.color,
        position_id=position_id,
    )
    if life is not None and each.is_age_known:
        age = (rules.today.toordinal() - each.started_on) / DAYS_PER_YEAR
        return ColourDue(
            key.color,
            Basis.AGENCY_LIFE,
            level,
            due_years=life.years - age,
            life_words=f"by the {life.words} ({life.basis.strip().rstrip('.')})",
            fade=fade,
        )
    if each.started_on == UNKNOWN:
        missing = Missing.AGE_AND_READING
    elif each.visit_count:
        missing = Missing.COHORT_OF_KNOWN_AGE
    else:
        missing = Missing.COHORT
    return ColourDue(key.color, Basis.NONE, level, fade=fade, missing=missing)


def _fade(each: ColourOfSign, rules: ForecastRules) -> FadeDue | None:
    """
    Return when a colour of known age fades; by how many of such faces have by an age.

    One that had not faded when it was last looked at is compared with those that had not
    faded at that age either.
    """
    life = each.fade_life(rules)
    if life is None:
        return None
    seen_on, unfaded_at = rules.looks.unfaded_on(each.sign_id), 0.0
    if seen_on is not None:
        unfaded_at = max(seen_on.toordinal() - each.started_on, 0) / DAYS_PER_YEAR
    at = life.due_years(rules.due_probability, unfaded_at_years=unfaded_at)
    if at is None:
        return None
    age = (rules.today.toordinal() - each.started_on) / DAYS_PER_YEAR
    if life.source is FadeSource.AGENCY:
        return FadeDue(at - age, basis=Basis.AGENCY_LIFE, words=life.basis)
    early, late = (
        life.due_years(share, unfaded_at_years=unfaded_at) for share in (_EARLY, _LATE)
    )
    return FadeDue(
        at - age,
        early_years=None if early is None else early - age,
        late_years=math.inf if late is None else late - age,
        basis=Basis.COHORT,
        words=life.basis,
    )


def _stored(
    each: ColourOfSign,
    due: ColourDue,
    rules: ForecastRules,
    states: list[list[float]] | None,
    is_verified: bool,
) -> dict[str, Any]:
    """Return a colour as its page reads it; days in ISO 8601."""

    def day(years: float | None) -> str | None:
        found = day_after(rules.today, years)
        return None if found is None else found.isoformat()

    fade = due.fade
    started = each.started_on
    row = each.cohort.row
    return {
        "color": due.color,
        "basis": due.basis.value,
        "fit_id": None if states is None or row is None else row.pk,
        "how": each.key.how.value,
        "sheeting_type": each.key.sheeting_type,
        "optics": each.key.optics.value,
        "level_cd_lx_m2": due.level_cd_lx_m2,
        "is_level_verified": None if due.level_cd_lx_m2 is None else is_verified,
        "ra_cd_lx_m2": _one_decimal(due.ra_cd_lx_m2),
        "ra_low_cd_lx_m2": _one_decimal(due.ra_low_cd_lx_m2),
        "ra_high_cd_lx_m2": _one_decimal(due.ra_high_cd_lx_m2),
        "probability_below": due.probabilities_below[0] if due.probabilities_below else None,
        "probabilities_below": list(due.probabilities_below[1:]),
        "due_on": day(due.due_years),
        "due_early_on": day(due.early_years),
        "due_late_on": day(due.late_years),
        "is_extrapolated": due.is_extrapolated,
        "is_due_now": due.due_years is not None and due.due_years <= 0,
        "as_of_on": rules.today.isoformat(),
        "started_on": None if started == UNKNOWN else date.fromordinal(started).isoformat(),
        "is_age_known": each.is_age_known,
        "age_years": None
        if started == UNKNOWN
        else round(max(rules.today.toordinal() - started, 0) / DAYS_PER_YEAR, 4),
        "state": None if states is None else states[0],
        "other_state": None if states is None or len(states) == 1 else states[1],
        "life": due.life_words,
        "reason": due.missing.words,
        "fade": None
        if fade is None
        else {
            "due_on": day(fade.due_years),
            "due_early_on": day(fade.early_years),
            "due_late_on": day(fade.late_years),
            "basis": fade.basis.value,
            "words": fade.words,
        },
    }


def _rounded(probability: float) -> float:
    return round(probability, 4)


def _one_decimal(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
