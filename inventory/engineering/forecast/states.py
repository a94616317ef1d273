"""From a cohort's fit to the level and slope of each sign now, and its path."""

from dataclasses import dataclass
from typing import Self

import numpy as np

from inventory.engineering.forecast.fit import CohortFit, design_columns, place_of_lots
from inventory.engineering.forecast.grams import SignGrams
from inventory.engineering.forecast.likelihood import Elimination, eliminate, prior_of_signs
from inventory.engineering.forecast.observations import UNKNOWN, TruthArray
from inventory.engineering.inspection.student import FloatArray, WholeArray


@dataclass(frozen=True, slots=True, eq=False)
class KnownOfSigns:
    """What is known of some signs beside their readings, an entry each."""

    lot: WholeArray
    is_age_known: TruthArray
    ages_years: FloatArray
    contrasts: FloatArray

    @classmethod
    def of_fit(
        cls,
        fit: CohortFit,
        lot: WholeArray,
        is_age_known: TruthArray,
        ages_years: FloatArray,
        quadrant: WholeArray | None,
        district: WholeArray | None,
    ) -> Self:
        """Return it with the contrasts of the fit's covariates; what is not given is −1."""
        unknown = np.full(len(lot), UNKNOWN)
        contrasts = fit.covariates.contrasts(
            unknown if quadrant is None else quadrant, unknown if district is None else district
        )
        return cls(lot, is_age_known, ages_years, contrasts)

    def of(self, part: slice) -> Self:
        """Return it of a part of them."""
        return type(self)(
            self.lot[part], self.is_age_known[part], self.ages_years[part], self.contrasts[part]
        )


@dataclass(frozen=True, slots=True, eq=False)
class SignStates:
    """
    Level now and slope of each sign: means, variances, covariance.

    ``by_level`` and ``by_slope`` have a row per sign: how far each coefficient of the cohort
    moves its level and its slope.
    """

    level: FloatArray
    slope: FloatArray
    of_level: FloatArray
    of_both: FloatArray
    of_slope: FloatArray
    by_level: FloatArray
    by_slope: FloatArray


def states_now(fit: CohortFit, grams: SignGrams, signs: KnownOfSigns) -> SignStates:
    """Return the joint predictive distribution of level now and slope of each sign."""
    spread, beta = fit.variances, fit.coefficients
    weights = 1.0 / (spread.residual_sd**2 + grams.known_variance)
    place = place_of_lots(signs.lot, fit.lot_numbers)
    has_lot = place >= 0
    prior = prior_of_signs(spread, signs.is_age_known, has_lot)
    done = eliminate(grams.per_sign(weights), prior, grams.column_count)
    x_level = design_columns(fit.shape, signs.ages_years, signs.is_age_known)
    x_slope = fit.shape.slope_basis(signs.ages_years)
    x_slope[~signs.is_age_known, 1:] = _mean_step(fit)
    zero, one = np.zeros(len(place)), np.ones(len(place))
    rows = []
    for x, b0, b1 in ((x_level, one, signs.ages_years), (x_slope, zero, one)):
        own = [b0 * u0 + b1 * u1 for u0, u1 in done.solved]
        h0, h1 = (b0 - own[0]) * has_lot, (b1 - own[1]) * has_lot
        c = x - np.stack(own[:-1], axis=1)
        c = np.concatenate([c, signs.contrasts * c[:, 1:2]], axis=1)
        mean = own[-1]
        if fit.solution.lots is not None:
            *of_columns, of_response = fit.solution.lots.solved
            mean = mean + h0 * of_response[0][place] + h1 * of_response[1][place]
            c = c - np.stack([h0 * v0[place] + h1 * v1[place] for v0, v1 in of_columns], axis=1)
        mean = mean + c @ beta
        size = x.shape[1]
        if grams.moved is not None:  # in how sure the mean is, not in the mean itself
            c[:, :size] += (b0 * grams.moved[:size] + b1 * grams.moved[size:]).T
        if fit.solution.lots_moved is not None:
            of_level, of_slope = (each[place] for each in fit.solution.lots_moved)
            c[:, :size] += h0[:, None] * of_level + h1[:, None] * of_slope
        rows.append((mean, c, (h0, h1), (b0, b1)))

    def covariance(i: int, j: int) -> FloatArray:
        _mean, c, h, b = rows[i]
        _other_mean, d, g, e = rows[j]
        value = ((c @ fit.solution.covariance) * d).sum(axis=1) + _product(done, b, e)
        if fit.solution.lots is not None:
            value = value + _product(fit.solution.lots, h, g, place)
        return np.asarray(value)

    return SignStates(
        rows[0][0],
        rows[1][0],
        covariance(0, 0),
        covariance(0, 1),
        covariance(1, 1),
        rows[0][1],
        rows[1][1],
    )


def _mean_step(fit: CohortFit) -> FloatArray:
    """Return the columns of a year at an unknown age."""
    return design_columns(fit.shape, np.ones(1), np.zeros(1, np.bool_))[0, 1:]


def _product(
    done: Elimination,
    left: tuple[FloatArray, FloatArray],
    right: tuple[FloatArray, FloatArray],
    place: WholeArray | slice = slice(None),
) -> FloatArray:
    i00, i01, i11 = (each[place] for each in done.inverse)
    (a0, a1), (b0, b1) = left, right
    return np.asarray(a0 * b0 * i00 + (a0 * b1 + a1 * b0) * i01 + a1 * b1 * i11)


def mean_path(
    fit: CohortFit, states: SignStates, signs: KnownOfSigns, ahead: FloatArray
) -> FloatArray:
    """Return the mean level at each time ahead: the cohort's curve, the sign's own slope."""
    if not fit.shape.knots_years:
        return np.asarray(states.level + ahead[:, None] * states.slope)
    beta = fit.coefficients[: fit.shape.column_count]

    def curve(years: float) -> FloatArray:
        ages = np.maximum(signs.ages_years + years, 0.0)
        return np.asarray(design_columns(fit.shape, ages, signs.is_age_known) @ beta)

    here = curve(0.0)
    slopes = fit.shape.slope_basis(signs.ages_years)
    slopes[~signs.is_age_known, 1:] = _mean_step(fit)
    own = states.slope - slopes @ beta
    return np.stack([states.level + curve(t) - here + t * own for t in ahead])


def path_variance(states: SignStates, ahead: FloatArray) -> FloatArray:
    """Return the variance of each sign's level at each time ahead."""
    t = ahead[:, None]
    return np.asarray(states.of_level + 2 * t * states.of_both + t * t * states.of_slope)
