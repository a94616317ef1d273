"""From a cohort's fit to each sign: R_A now, the chance of being below, and when it is due."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri, owens_t

from inventory.engineering.forecast.fit import Z_90, CohortFit, Scale, to_cd_lx_m2
from inventory.engineering.forecast.grams import SignGrams
from inventory.engineering.forecast.observations import UNKNOWN, TruthArray
from inventory.engineering.forecast.states import (
    KnownOfSigns,
    SignStates,
    mean_path,
    path_variance,
    states_now,
)
from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

LONGEST_YEARS = 30
NOT_WITHIN_30_YEARS = np.inf
EARLY, LATE = 0.05, 0.95
_NEGLIGIBLE = 1e-4  # of a first crossing that is undone again; adds less than this


@dataclass(frozen=True, slots=True)
class SignState:
    """
    A sign's level now and its yearly change on the fit's scale: means, variances, covariance.

    On the log scale 0.01 is 1 %; on the plain scale they are in cd/lx/m² (a year).
    """

    level: float
    slope: float
    of_level: float
    of_both: float
    of_slope: float


STATE = ("level", "slope", "of_level", "of_both", "of_slope")


@dataclass(frozen=True, slots=True, eq=False)
class SignForecasts:
    """
    What is forecast of each sign, one entry per sign.

    ``probability_below`` has a row per sign and a column for now and each of ``years_ahead``;
    ``probability_crossed`` likewise, that the level was crossed by then, now and again or for
    good: it never falls. ``level`` to ``of_slope`` are the state, see :class:`SignState`.
    ``due_years`` is the threshold's quantile of the years until the level is first crossed,
    ``due_low_years`` and ``due_high_years`` the 5 % and 95 % ones; infinite is not within 30
    years, 0 is now. ``parts`` are the forecasts on either scale, where these are of both: the
    state is then that of the first.
    """

    years_ahead: FloatArray
    ra_cd_lx_m2: FloatArray
    ra_low_cd_lx_m2: FloatArray
    ra_high_cd_lx_m2: FloatArray
    probability_below: npt.NDArray[np.float32]
    probability_crossed: npt.NDArray[np.float32]
    due_years: FloatArray
    due_low_years: FloatArray
    due_high_years: FloatArray
    has_own_readings: TruthArray
    is_extrapolated: TruthArray
    level: FloatArray
    slope: FloatArray
    of_level: FloatArray
    of_both: FloatArray
    of_slope: FloatArray
    parts: "tuple[SignForecasts, ...]" = ()

    def state_of(self, sign: int) -> SignState:
        """Return the state of one sign, to store and to draw its curve from."""
        return SignState(*(float(getattr(self, name)[sign]) for name in STATE))


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
    quadrant: WholeArray | None = None,
    district: WholeArray | None = None,
) -> SignForecasts:
    """
    Return the forecasts of signs of a fitted cohort, with and without readings of their own.

    Parameters
    ----------
    fit : CohortFit
        Of their cohort.
    grams : SignGrams
        Their readings, by ``fit.sums_of`` (``fit.grams`` for the signs of the fit themselves).
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
    quadrant, district : array of int, optional
        Of each sign, −1 where not known; left out, none is.

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
    [202.0, 192.0]
    """
    _check(grams, lot, is_age_known, age_now_years, level_cd_lx_m2)
    if not 0.01 <= due_probability <= 0.99:
        msg = f"The due probability is {due_probability:g}; it is from 0.01 to 0.99."
        raise OutOfRangeError(msg)
    if not 0 < first_year_end_years <= 1:
        msg = f"The year ends in {first_year_end_years:g} years; that is over 0, at most 1."
        raise OutOfRangeError(msg)
    signs = KnownOfSigns.of_fit(fit, lot, is_age_known, age_now_years, quadrant, district)
    years = np.append([0.0], first_year_end_years + np.arange(LONGEST_YEARS, dtype=np.float64))
    ahead = np.append(years[years < LONGEST_YEARS], float(LONGEST_YEARS))
    level = np.log(level_cd_lx_m2) if fit.scale is Scale.LOG else level_cd_lx_m2
    number = grams.sign_count
    figures = np.empty((11, number))
    below = np.empty((number, len(ahead)), dtype=np.float32)
    crossed_by = np.empty((number, len(ahead)), dtype=np.float32)
    has_own = np.zeros(number, dtype=np.bool_)
    for part, some in grams.chunks():
        has_own[part.start + some.sign] = True
        here = signs.of(part)
        states = states_now(fit, some, here)
        path = mean_path(fit, states, here, ahead)
        spread = np.sqrt(path_variance(states, ahead))
        z = (level[part] - path) / spread
        below[part] = ndtr(z).T
        crossed = first_crossing(z, states, spread, ahead)
        crossed_by[part] = crossed.T
        margin = Z_90 * spread[0]
        figures[0, part], figures[1, part] = path[0], path[0] - margin
        figures[2, part] = path[0] + margin
        for row, share in ((3, due_probability), (4, EARLY), (5, LATE)):
            figures[row, part] = crossing_quantile(crossed, ahead, share)
        for row, name in enumerate(STATE):
            figures[6 + row, part] = getattr(states, name)
    present = to_cd_lx_m2(fit.scale, figures[:3])
    return SignForecasts(
        years_ahead=ahead[1:],
        ra_cd_lx_m2=present[0],
        ra_low_cd_lx_m2=present[1],
        ra_high_cd_lx_m2=present[2],
        probability_below=below,
        probability_crossed=crossed_by,
        due_years=figures[3],
        due_low_years=figures[4],
        due_high_years=figures[5],
        has_own_readings=has_own,
        is_extrapolated=age_now_years + figures[3] > fit.oldest_age_years,
        **{name: figures[6 + row] for row, name in enumerate(STATE)},
    )


def sign_path(
    fit: CohortFit,
    state: SignState,
    *,
    age_now_years: float,
    is_age_known: bool,
    ages_years: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """
    Return mean and variance of one sign's level by age, on its fit's scale.

    See :func:`~inventory.engineering.forecast.both_scales.sign_told`.

    Raises
    ------
    OutOfRangeError
        If an age is under 0.
    """
    ages = np.asarray(ages_years, dtype=np.float64)
    if len(ages) and not ages.min() >= 0:
        msg = f"An age of {ages.min():g} years was asked for; a curve is of 0 years or more."
        raise OutOfRangeError(msg)
    signs = KnownOfSigns.of_fit(
        fit,
        np.array([UNKNOWN]),
        np.array([is_age_known]),
        np.array([age_now_years], dtype=np.float64),
        None,
        None,
    )
    values = {name: np.array([getattr(state, name)]) for name in STATE}
    states = SignStates(**values, by_level=np.zeros((1, 0)), by_slope=np.zeros((1, 0)))
    ahead = ages - age_now_years
    return mean_path(fit, states, signs, ahead)[:, 0], path_variance(states, ahead)[:, 0]


def first_crossing(
    z: FloatArray, states: SignStates, spread: FloatArray, ahead: FloatArray
) -> FloatArray:
    """Return the probability that the level was first crossed by each time ahead."""
    crossed: FloatArray = ndtr(z)
    now = crossed[0].copy()
    for k in range(1, len(ahead)):
        # A sign may be below now and, by its slope, above later: it has crossed all the same.
        places = np.flatnonzero(np.minimum(now, 1.0 - crossed[k]) > _NEGLIGIBLE)
        if len(places):
            common = states.of_level[places] + ahead[k] * states.of_both[places]
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


def crossing_quantile(crossed: FloatArray, ahead: FloatArray, share: float) -> FloatArray:
    """
    Return when a share is reached: between year ends along a line of normal quantiles.

    ``crossed`` has a row per time ahead, the first of them now.
    """
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
