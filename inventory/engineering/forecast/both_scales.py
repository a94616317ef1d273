"""
Forecasts of a cohort whose readings do not tell the scale: of both, each by its weight.

Where a fit has no other scale, all of this is the forecast of the one.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from inventory.engineering.forecast.fit import CohortFit, OtherScale, fit_cohort, told_of
from inventory.engineering.forecast.fleet_counts import DueCounts, due_counts
from inventory.engineering.forecast.grams import SignGrams
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.predict import (
    EARLY,
    LATE,
    SignForecasts,
    SignState,
    crossing_quantile,
    forecast_signs,
    sign_path,
)
from inventory.engineering.forecast.told import Told, ToldOnBoth
from inventory.engineering.inspection.student import FloatArray, WholeArray


def fit_again(
    stored: CohortFit, observations: Observations, *, session_sd: float | None
) -> CohortFit:
    """Return a stored fit solved again from its readings: its lots, sessions and sums."""
    made = _solved(stored, observations, session_sd)
    if stored.other is None:
        return made
    other = _solved(stored.other.fit, observations, session_sd)
    return replace(made, other=OtherScale(other, stored.other.weight))


def _solved(
    stored: CohortFit, observations: Observations, session_sd: float | None
) -> CohortFit:
    return fit_cohort(
        observations,
        scale=stored.scale,
        shape=stored.shape,
        covariates=stored.covariates,
        variances=stored.variances,
        session_sd=session_sd,
    )


def bare(fit: CohortFit) -> CohortFit:
    """Return a fit without its sums, which take the most room."""
    if fit.other is None:
        return replace(fit, grams=None)
    other = replace(fit.other, fit=replace(fit.other.fit, grams=None))
    return replace(fit, grams=None, other=other)


def sums_on_each(fit: CohortFit, observations: Observations) -> tuple[SignGrams, ...]:
    """Return the sums of readings on the scale of each part of a fit."""
    return tuple(each.sums_of(observations) for each, _weight in fit.parts)


def forecast_of_cohort(
    fit: CohortFit, grams: Sequence[SignGrams], *, due_probability: float, **known: Any
) -> SignForecasts:
    """
    Return the forecasts of a cohort's signs, of both scales where they are open.

    Every probability is that of one scale or the other, each by its weight; R_A now, its range
    and the due dates are the quantiles of these.

    Parameters
    ----------
    fit : CohortFit
        Of their cohort.
    grams : sequence of SignGrams
        Their readings by :func:`sums_on_each`.
    due_probability, known
        As for :func:`~inventory.engineering.forecast.predict.forecast_signs`.

    Examples
    --------
    >>> from inventory.engineering.forecast.fit import Scale
    >>> from inventory.engineering.forecast.shapes import LINEAR
    >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> log, plain = (fit_cohort(two, scale=each, shape=LINEAR) for each in Scale)
    >>> fit = replace(log, other=OtherScale(plain, 0.5))
    >>> found = forecast_of_cohort(fit, sums_on_each(fit, two), due_probability=0.5,
    ...     lot=two.lot, is_age_known=two.is_age_known, age_now_years=np.array([6.0, 9.0]),
    ...     level_cd_lx_m2=np.array([120.0, 120.0]))
    >>> on_each = [each.due_years[0] for each in found.parts]
    >>> bool(min(on_each) < found.due_years[0] < max(on_each))
    True
    """
    parts = tuple(
        forecast_signs(each, sums, due_probability=due_probability, **known)
        for (each, _weight), sums in zip(fit.parts, grams, strict=True)
    )
    first = parts[0]
    if fit.other is None:
        return first
    weights = [weight for _each, weight in fit.parts]
    below, crossed = (
        sum(
            weight * getattr(part, name).astype(np.float64)
            for weight, part in zip(weights, parts, strict=True)
        )
        for name in ("probability_below", "probability_crossed")
    )
    now = told_of(fit, [(part.level, part.of_level) for part in parts])
    ahead = np.append([0.0], first.years_ahead)
    by_time = np.asarray(crossed).T
    due, early, late = (
        crossing_quantile(by_time, ahead, share) for share in (due_probability, EARLY, LATE)
    )
    middle, low, high = (
        np.maximum(each, 0.0)
        for each in (now.quantile(0.5), now.low_cd_lx_m2, now.high_cd_lx_m2)
    )
    return replace(
        first,
        ra_cd_lx_m2=middle,
        ra_low_cd_lx_m2=low,
        ra_high_cd_lx_m2=high,
        probability_below=np.asarray(below, dtype=np.float32),
        probability_crossed=np.asarray(crossed, dtype=np.float32),
        due_years=due,
        due_low_years=early,
        due_high_years=late,
        is_extrapolated=known["age_now_years"] + due > fit.oldest_age_years,
        parts=parts,
    )


def sign_told(
    fit: CohortFit,
    states: Sequence[SignState],
    *,
    age_now_years: float,
    is_age_known: bool,
    ages_years: FloatArray,
) -> Told | ToldOnBoth:
    """
    Return what is told of one sign's true R_A at some ages.

    Parameters
    ----------
    fit : CohortFit
        Of its cohort, as fitted or as stored.
    states : sequence of SignState
        Its state as forecast, on the scale of each part of the fit.
    age_now_years : float
        What "now" was in that forecast. [year]
    is_age_known : bool
        Whether the age counts from the day the sign was put up.
    ages_years : array of float
        0 or more, before now and after. [year]

    Raises
    ------
    OutOfRangeError
        If an age is under 0.

    Examples
    --------
    >>> from inventory.engineering.forecast.fit import Scale
    >>> from inventory.engineering.forecast.shapes import LINEAR
    >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> fit = fit_cohort(two, scale=Scale.LOG, shape=LINEAR)
    >>> told = sign_told(fit, [SignState(5.3, -0.045, 0.003, 0.0004, 0.0001)],
    ...     age_now_years=6.0, is_age_known=True, ages_years=np.array([6.0, 16.0]))
    >>> told.quantile(0.5).round().tolist(), told.low_cd_lx_m2.round().tolist()
    ([200.0, 128.0], [183.0, 101.0])
    """
    return told_of(
        fit,
        [
            sign_path(
                each,
                state,
                age_now_years=age_now_years,
                is_age_known=is_age_known,
                ages_years=ages_years,
            )
            for (each, _weight), state in zip(fit.parts, states, strict=True)
        ],
    )


def counts_of_cohort(
    fit: CohortFit,
    forecasts: SignForecasts,
    grams: Sequence[SignGrams],
    *,
    safety_class: WholeArray,
    **known: Any,
) -> DueCounts:
    """
    Return how many signs cross their level in each year, of both scales where they are open.

    With w the weight of the other scale, E the number expected and V its variance on each, the
    number is E = (1 − w) E₁ + w E₂ and its variance (1 − w) V₁ + w V₂ + w (1 − w) (E₁ − E₂)²:
    that no one knows the scale is shared by all signs.

    Parameters
    ----------
    fit, grams
        As for :func:`forecast_of_cohort`, which made ``forecasts``.
    safety_class, known
        As for :func:`~inventory.engineering.forecast.fleet_counts.due_counts`.
    """
    counts = [
        due_counts(each, part, sums, safety_class=safety_class, **known)
        for (each, _weight), part, sums in zip(
            fit.parts, forecasts.parts or (forecasts,), grams, strict=True
        )
    ]
    first = counts[0]
    if fit.other is None:
        return first
    other, weight = counts[1], fit.other.weight
    apart = weight * (1.0 - weight) * (first.expected - other.expected) ** 2

    def mixed(name: str) -> FloatArray:
        a, b = getattr(first, name), getattr(other, name)
        return np.asarray((1.0 - weight) * a + weight * b)

    def spread(name: str) -> FloatArray:
        a, b = getattr(first, name) ** 2, getattr(other, name) ** 2
        return np.asarray(np.sqrt((1.0 - weight) * a + weight * b + apart))

    return replace(
        first,
        already=mixed("already"),
        expected=mixed("expected"),
        shared_sd=spread("shared_sd"),
        sd=spread("sd"),
    )
