"""From a cohort's fit to each sign: R_A now, the chance of being below, and when it is due."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri, owens_t

from inventory.engineering.forecast.fit import CohortFit, Scale, design_columns
from inventory.engineering.forecast.grams import SignGrams
from inventory.engineering.forecast.likelihood import Elimination, eliminate, sign_prior
from inventory.engineering.forecast.observations import TruthArray
from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

LONGEST_YEARS = 30
PRESENT_PROBABILITY = 0.90
NOT_WITHIN_30_YEARS = np.inf
_EARLY, _LATE = 0.05, 0.95
_NEGLIGIBLE = 1e-4  # of a first crossing that is undone again; adds less than this
_NORMAL_90 = float(ndtri(0.5 + PRESENT_PROBABILITY / 2))


@dataclass(frozen=True, slots=True, eq=False)
class SignForecasts:
    """
    What is forecast of each sign, one entry per sign.

    ``probability_below`` has a row per sign and a column for now and each of ``years_ahead``.
    ``due_years`` is the threshold's quantile of the years until the level is first crossed,
    ``due_low_years`` and ``due_high_years`` the 5 % and 95 % ones; infinite is not within 30
    years, 0 is now.
    """

    years_ahead: FloatArray
    ra_cd_lx_m2: FloatArray
    ra_low_cd_lx_m2: FloatArray
    ra_high_cd_lx_m2: FloatArray
    probability_below: npt.NDArray[np.float32]
    due_years: FloatArray
    due_low_years: FloatArray
    due_high_years: FloatArray
    has_own_readings: TruthArray
    is_extrapolated: TruthArray


def forecast_signs(
    fit: CohortFit,
    grams: SignGrams,
    *,
    lot: WholeArray,
    is_age_known: TruthArray,
    age_now_years: FloatArray,
    level_cd_lx_m2: FloatArray,
    due_probability: float,
    first_year_end_years: float = 1.0,
) -> SignForecasts:
    """
    Return the forecasts of signs of a fitted cohort, with and without readings of their own.

    Parameters
    ----------
    fit : CohortFit
        Of their cohort.
    grams : SignGrams
        Their readings, by :func:`~inventory.engineering.forecast.fit.sum_observations` on the
        fit's scale and shape (``fit.grams`` for the signs of the fit themselves).
    lot : array of int
        Sheeting lot of each, −1 where not known.
    is_age_known : array of bool
        Whether the day each was put up is known.
    age_now_years : array of float
        Years since then, else since its first reading. [year]
    level_cd_lx_m2 : array of float
        The level each must keep, over 0. [cd/lx/m²]
    due_probability : float
        A sign is due when this probable to have crossed its level; 0.01 to 0.99.
    first_year_end_years : float
        Years from now to the end of this year, over 0, at most 1. [year]

    Raises
    ------
    OutOfRangeError
        If a figure is outside these bounds, arrays differ in length, or a sign has neither an
        age nor a reading: then the agency's expected life is what there is.

    Examples
    --------
    >>> from inventory.engineering.forecast.fit import fit_cohort
    >>> from inventory.engineering.forecast.observations import Observations
    >>> from inventory.engineering.forecast.shapes import LINEAR
    >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> fit = fit_cohort(two, scale=Scale.LOG, shape=LINEAR)
    >>> found = forecast_signs(fit, fit.grams, lot=two.lot, is_age_known=two.is_age_known,
    ...     age_now_years=np.array([6.0, 9.0]), level_cd_lx_m2=np.array([120.0, 120.0]),
    ...     due_probability=0.5)
    >>> found.ra_cd_lx_m2.round().tolist()
    [201.0, 191.0]
    """
    _check(grams, lot, is_age_known, age_now_years, level_cd_lx_m2)
    if not 0.01 <= due_probability <= 0.99:
        msg = f"The due probability is {due_probability:g}; it is from 0.01 to 0.99."
        raise OutOfRangeError(msg)
    if not 0 < first_year_end_years <= 1:
        msg = f"The year ends in {first_year_end_years:g} years; that is over 0, at most 1."
        raise OutOfRangeError(msg)
    years = np.append([0.0], first_year_end_years + np.arange(LONGEST_YEARS, dtype=np.float64))
    ahead = np.append(years[years < LONGEST_YEARS], float(LONGEST_YEARS))
    level = np.log(level_cd_lx_m2) if fit.scale is Scale.LOG else level_cd_lx_m2
    number = grams.sign_count
    figures = np.empty((6, number))
    below = np.empty((number, len(ahead)), dtype=np.float32)
    has_own = np.zeros(number, dtype=np.bool_)
    for part, some in grams.chunks():
        has_own[part.start + some.sign] = True
        ages, is_known = age_now_years[part], is_age_known[part]
        state = _state_now(fit, some, lot[part], is_known, ages)
        path = _path(fit, state, ages, is_known, ahead)
        spread = np.sqrt(_variance(state, ahead))
        z = (level[part] - path) / spread
        below[part] = ndtr(z).T
        crossed = _first_crossing(z, state, spread, ahead)
        margin = _NORMAL_90 * spread[0]
        figures[0, part], figures[1, part] = path[0], path[0] - margin
        figures[2, part] = path[0] + margin
        for row, share in ((3, due_probability), (4, _EARLY), (5, _LATE)):
            figures[row, part] = _quantile(crossed, ahead, share)
    present = np.exp(figures[:3]) if fit.scale is Scale.LOG else np.maximum(figures[:3], 0.0)
    return SignForecasts(
        years_ahead=ahead[1:],
        ra_cd_lx_m2=present[0],
        ra_low_cd_lx_m2=present[1],
        ra_high_cd_lx_m2=present[2],
        probability_below=below,
        due_years=figures[3],
        due_low_years=figures[4],
        due_high_years=figures[5],
        has_own_readings=has_own,
        is_extrapolated=age_now_years + figures[3] > fit.oldest_age_years,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    """Level now and slope of each sign: means, variances, covariance."""

    level: FloatArray
    slope: FloatArray
    of_level: FloatArray
    of_both: FloatArray
    of_slope: FloatArray


def _state_now(
    fit: CohortFit,
    grams: SignGrams,
    lot: WholeArray,
    is_age_known: TruthArray,
    ages_years: FloatArray,
) -> _State:
    """Return the joint predictive distribution of level now and slope."""
    spread, beta = fit.variances, fit.coefficients
    weights = 1.0 / (spread.residual_sd**2 + grams.known_variance)
    place, has_lot = _lot_places(fit, lot)
    done = eliminate(
        grams.per_sign(weights), _prior(fit, is_age_known, has_lot), grams.column_count
    )
    x_level = design_columns(fit.shape, ages_years, is_age_known)
    step = design_columns(fit.shape, np.ones(1), np.zeros(1, np.bool_))[0]
    x_slope = fit.shape.slope_basis(ages_years)
    x_slope[~is_age_known, 1:] = step[1:]
    zero, one = np.zeros(len(lot)), np.ones(len(lot))
    rows = []
    for x, b0, b1 in ((x_level, one, ages_years), (x_slope, zero, one)):
        own = [b0 * u0 + b1 * u1 for u0, u1 in done.solved]
        h0, h1 = b0 - own[0], b1 - own[1]
        if fit.solution.lots is not None:
            h0, h1 = h0 * has_lot, h1 * has_lot
            own = [
                value + h0 * v0[place] + h1 * v1[place]
                for value, (v0, v1) in zip(own, fit.solution.lots.solved, strict=True)
            ]
        c = x - np.stack(own[:-1], axis=1)
        rows.append((own[-1] + c @ beta, c, (h0, h1), (b0, b1)))

    def covariance(i: int, j: int) -> FloatArray:
        _mean, c, h, b = rows[i]
        _other_mean, d, g, e = rows[j]
        value = ((c @ fit.solution.covariance) * d).sum(axis=1) + _product(done, b, e)
        if fit.solution.lots is not None:
            value = value + _product(fit.solution.lots, h, g, place)
        return np.asarray(value)

    return _State(rows[0][0], rows[1][0], covariance(0, 0), covariance(0, 1), covariance(1, 1))


def _product(
    done: Elimination,
    left: tuple[FloatArray, FloatArray],
    right: tuple[FloatArray, FloatArray],
    place: WholeArray | slice = slice(None),
) -> FloatArray:
    i00, i01, i11 = (each[place] for each in done.inverse)
    (a0, a1), (b0, b1) = left, right
    return np.asarray(a0 * b0 * i00 + (a0 * b1 + a1 * b0) * i01 + a1 * b1 * i11)


def _lot_places(fit: CohortFit, lot: WholeArray) -> tuple[WholeArray, TruthArray]:
    """Return where each sign's lot is in the fit, and whether the fit knows it."""
    numbers = fit.lot_numbers
    if not len(numbers):
        return np.zeros(len(lot), dtype=np.int64), np.zeros(len(lot), dtype=np.bool_)
    place = np.minimum(np.searchsorted(numbers, lot), len(numbers) - 1)
    return place, numbers[place] == lot


def _prior(
    fit: CohortFit, is_age_known: TruthArray, has_lot: TruthArray
) -> tuple[FloatArray, ...]:
    """Return each sign's inverse variance: with its lot's where the lot is not in the fit."""
    spread = fit.variances
    with_lot = sign_prior(spread, is_age_known)
    if not spread.has_lots:
        return with_lot
    alone = sign_prior(spread.with_lots_added(), is_age_known)
    return tuple(np.where(has_lot, a, b) for a, b in zip(with_lot, alone, strict=True))


def _path(
    fit: CohortFit,
    state: _State,
    ages_years: FloatArray,
    is_age_known: TruthArray,
    ahead: FloatArray,
) -> FloatArray:
    """Return the mean level at each time ahead: the cohort's curve, the sign's own slope."""
    if not fit.shape.knots_years:
        return np.asarray(state.level + ahead[:, None] * state.slope)

    def curve(years: float) -> FloatArray:
        columns = design_columns(fit.shape, ages_years + years, is_age_known)
        return np.asarray(columns @ fit.coefficients)

    here = curve(0.0)
    slopes = fit.shape.slope_basis(ages_years)
    step = design_columns(fit.shape, np.ones(1), np.zeros(1, np.bool_))[0]
    slopes[~is_age_known, 1:] = step[1:]
    own = state.slope - slopes @ fit.coefficients
    return np.stack([state.level + curve(t) - here + t * own for t in ahead])


def _variance(state: _State, ahead: FloatArray) -> FloatArray:
    t = ahead[:, None]
    return np.asarray(state.of_level + 2 * t * state.of_both + t * t * state.of_slope)


def _first_crossing(
    z: FloatArray, state: _State, spread: FloatArray, ahead: FloatArray
) -> FloatArray:
    """Return the probability that the level was first crossed by each time ahead."""
    crossed: FloatArray = ndtr(z)
    now = crossed[0].copy()
    for k in range(1, len(ahead)):
        # A sign may be below now and, by its slope, above later: it has crossed all the same.
        places = np.flatnonzero(np.minimum(now, 1.0 - crossed[k]) > _NEGLIGIBLE)
        if len(places):
            common = state.of_level[places] + ahead[k] * state.of_both[places]
            correlation = common / (spread[0, places] * spread[k, places])
            both = both_below(z[0, places], z[k, places], correlation)
            crossed[k, places] += np.maximum(now[places] - both, 0.0)
    return np.asarray(np.maximum.accumulate(np.minimum(crossed, 1.0), axis=0))


def both_below(h: FloatArray, k: FloatArray, correlation: FloatArray) -> FloatArray:
    """
    Return P(X ≤ h and Y ≤ k) of two standard normal variables.

    References
    ----------
    .. [1] D. B. Owen (1956), Annals of Mathematical Statistics 27, 1075-1090 (from memory).

    Examples
    --------
    >>> both_below(np.array([0.0]), np.array([0.0]), np.array([0.5])).round(6).tolist()
    [0.333333]
    """
    r = np.clip(correlation, -1 + 1e-12, 1 - 1e-12)
    h = np.where(np.abs(h) < 1e-9, 1e-9, h)
    k = np.where(np.abs(k) < 1e-9, 1e-9, k)
    root = np.sqrt(1 - r * r)
    first = owens_t(h, (k - r * h) / (h * root))
    second = owens_t(k, (h - r * k) / (k * root))
    apart = np.where(h * k > 0, 0.0, 0.5)
    return np.asarray(0.5 * (ndtr(h) + ndtr(k)) - first - second - apart)


def _quantile(crossed: FloatArray, ahead: FloatArray, share: float) -> FloatArray:
    """Return when a share is reached: between year ends along a line of normal quantiles."""
    is_reached = crossed >= share
    last = np.argmax(is_reached, axis=0)
    before = np.maximum(last - 1, 0)
    column = np.arange(crossed.shape[1])
    low, high = (
        ndtri(np.clip(crossed[place, column], 1e-12, 1 - 1e-12)) for place in (before, last)
    )
    step = (ndtri(share) - low) / np.where(high > low, high - low, 1.0)
    when = ahead[before] + step * (ahead[last] - ahead[before])
    when = np.where(last == 0, 0.0, when)
    return np.where(is_reached.any(axis=0), when, NOT_WITHIN_30_YEARS)


def _check(
    grams: SignGrams,
    lot: WholeArray,
    is_age_known: TruthArray,
    age_now_years: FloatArray,
    level_cd_lx_m2: FloatArray,
) -> None:
    lengths = {len(each) for each in (lot, is_age_known, age_now_years, level_cd_lx_m2)}
    if lengths != {grams.sign_count}:
        msg = f"There are {grams.sign_count} signs; give a lot, an age and a level for each."
        raise OutOfRangeError(msg)
    is_read = np.zeros(grams.sign_count, dtype=np.bool_)
    is_read[grams.sign] = True
    for name, values, is_right in (
        ("age", age_now_years, (age_now_years >= 0) & np.isfinite(age_now_years)),
        ("level", level_cd_lx_m2, (level_cd_lx_m2 > 0) & np.isfinite(level_cd_lx_m2)),
    ):
        if not is_right.all():
            place = int(np.argmin(is_right))
            msg = f"The {name} of sign {place} is {values[place]:g}; it is 0 or more."
            raise OutOfRangeError(
                msg.replace("0 or more", "over 0") if name == "level" else msg
            )
    if (~is_age_known & ~is_read).any():
        place = int(np.argmax(~is_age_known & ~is_read))
        msg = (
            f"Sign {place} has neither a known age nor a reading, so nothing starts its "
            "forecast; read it once, or go by the agency's expected life."
        )
        raise OutOfRangeError(msg)
