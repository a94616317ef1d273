"""How many signs of a cohort cross their level in each year, and how sure that number is."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtr

from inventory.engineering.forecast.fit import CohortFit, Scale
from inventory.engineering.forecast.grams import SignGrams
from inventory.engineering.forecast.observations import TruthArray
from inventory.engineering.forecast.predict import SignForecasts
from inventory.engineering.forecast.states import (
    KnownOfSigns,
    SignStates,
    mean_path,
    path_variance,
    states_now,
)
from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

SIGNS_DRAWN = 2_000  # the shared part is taken from
LEAST_OF_CLASS = 100  # of a class, or all it has
DRAWS = 64  # of the cohort's line, each with its mirror image


@dataclass(frozen=True, slots=True, eq=False)
class DueCounts:
    """
    First crossings of a cohort, a row per safety class and a column per year from now.

    Parameters
    ----------
    years_ahead : array of float
        End of each year. [year]
    safety_class : array of int
        Ascending.
    signs : array of int
        Signs counted in each class.
    already : array of float
        How many of them are expected to be below now; in no year's figure.
    expected : array of float
        How many are expected to cross their level in each year, for the first time.
    shared_sd : array of float
        Standard deviation of that, from the uncertainty that all signs share: the cohort's
        line, with the sessions in it.
    sd : array of float
        With each sign's own chance too.
    """

    years_ahead: FloatArray
    safety_class: WholeArray
    signs: WholeArray
    already: FloatArray
    expected: FloatArray
    shared_sd: FloatArray
    sd: FloatArray

    def to_json(self) -> dict[str, dict[str, Any]]:
        """Return the figures of each class by its number, rounded to 1/10,000 of a sign."""
        return {
            str(number): {
                "signs": int(self.signs[row]),
                "already": round(float(self.already[row]), 4),
                "expected": self.expected[row].round(4).tolist(),
                "shared_sd": self.shared_sd[row].round(4).tolist(),
                "sd": self.sd[row].round(4).tolist(),
            }
            for row, number in enumerate(self.safety_class.tolist())
        }


def due_counts(
    fit: CohortFit,
    forecasts: SignForecasts,
    grams: SignGrams,
    *,
    lot: WholeArray,
    is_age_known: TruthArray,
    age_now_years: FloatArray,
    level_cd_lx_m2: FloatArray,
    safety_class: WholeArray,
    is_counted: TruthArray | None = None,
    quadrant: WholeArray | None = None,
    district: WholeArray | None = None,
    draws: int = DRAWS,
) -> DueCounts:
    """
    Return how many signs cross their level in each year, by safety class.

    Parameters
    ----------
    fit, forecasts, grams
        The cohort's fit, the forecasts of the signs and the sums they were made from.
    lot, is_age_known, age_now_years, level_cd_lx_m2, quadrant, district
        As given to :func:`~inventory.engineering.forecast.predict.forecast_signs`.
    safety_class : array of int
        Of each sign.
    is_counted : array of bool, optional
        Which signs count, such as those whose governing colour is this cohort's; left out,
        all do.
    draws : int
        Lines drawn, 1 or more; always the same ones.

    Raises
    ------
    OutOfRangeError
        If ``draws`` is under 1.

    Examples
    --------
    >>> from inventory.engineering.forecast.fit import fit_cohort
    >>> from inventory.engineering.forecast.observations import Observations
    >>> from inventory.engineering.forecast.predict import forecast_signs
    >>> from inventory.engineering.forecast.shapes import LINEAR
    >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> fit = fit_cohort(two, scale=Scale.LOG, shape=LINEAR)
    >>> known = {"lot": two.lot, "is_age_known": two.is_age_known,
    ...          "age_now_years": np.array([6.0, 9.0]), "level_cd_lx_m2": np.array([150.0] * 2)}
    >>> told = forecast_signs(fit, fit.grams, due_probability=0.2, **known)
    >>> counts = due_counts(fit, told, fit.grams, safety_class=np.array([1, 1]), **known)
    >>> bool(counts.expected.sum() + counts.already.sum() <= 2)
    True
    """
    if draws < 1:
        msg = f"{draws} lines were to be drawn; one or more are needed."
        raise OutOfRangeError(msg)
    if is_counted is None:
        is_counted = np.ones(len(lot), dtype=np.bool_)
    counted = np.flatnonzero(is_counted)
    classes, row = np.unique(safety_class[counted], return_inverse=True)
    shape = (len(classes), len(forecasts.years_ahead))
    already, expected, own = np.zeros(len(classes)), np.zeros(shape), np.zeros(shape)
    for place in range(len(classes)):
        crossed = forecasts.probability_crossed[counted[row == place]].astype(np.float64)
        chance = np.diff(crossed, axis=1)
        already[place] = crossed[:, 0].sum()
        expected[place] = chance.sum(axis=0)
        own[place] = (chance * (1.0 - chance)).sum(axis=0)
    sizes = np.bincount(row, minlength=len(classes))
    drawn = _drawn(row, sizes)
    some = counted[drawn]
    signs = KnownOfSigns.of_fit(
        fit,
        lot[some],
        is_age_known[some],
        age_now_years[some],
        None if quadrant is None else quadrant[some],
        None if district is None else district[some],
    )
    level = level_cd_lx_m2[some]
    shared = _shared_sd(
        fit,
        states_now(fit, grams.of_signs(some), signs),
        signs,
        np.log(level) if fit.scale is Scale.LOG else level,
        np.append([0.0], forecasts.years_ahead),
        row[drawn],
        sizes,
        draws,
    )
    return DueCounts(
        years_ahead=forecasts.years_ahead,
        safety_class=classes,
        signs=sizes,
        already=already,
        expected=expected,
        shared_sd=shared,
        sd=np.sqrt(shared**2 + own),
    )


def _drawn(row: WholeArray, sizes: WholeArray) -> WholeArray:
    """Return which signs the shared part is taken from: of each class its share."""
    order = np.random.default_rng(0).permutation(len(row))
    kept = []
    for place, size in enumerate(sizes.tolist()):
        number = max(SIGNS_DRAWN * size // max(len(row), 1), LEAST_OF_CLASS)
        kept.append(order[row[order] == place][:number])
    return np.sort(np.concatenate([np.zeros(0, dtype=np.int64), *kept]))


def _shared_sd(
    fit: CohortFit,
    states: SignStates,
    signs: KnownOfSigns,
    level: FloatArray,
    ahead: FloatArray,
    row: WholeArray,
    sizes: WholeArray,
    draws: int,
) -> FloatArray:
    """Return the standard deviation of each class's counts over drawn lines of the cohort."""
    covariance = fit.solution.covariance
    by_level, by_slope = states.by_level, states.by_slope

    def less(left: FloatArray, right: FloatArray, whole: FloatArray) -> FloatArray:
        return np.asarray(whole - ((left @ covariance) * right).sum(axis=1))

    given = SignStates(
        states.level,
        states.slope,
        less(by_level, by_level, states.of_level),
        less(by_level, by_slope, states.of_both),
        less(by_slope, by_slope, states.of_slope),
        by_level,
        by_slope,
    )
    path = mean_path(fit, states, signs, ahead)
    spread = np.sqrt(np.maximum(path_variance(given, ahead), 1e-300))
    factor = np.linalg.cholesky(covariance)
    normal = np.random.default_rng(1).standard_normal((draws, len(covariance)))
    taken = np.maximum(np.bincount(row, minlength=len(sizes)), 1)
    total, squares = (np.zeros((len(sizes), len(ahead) - 1)) for _each in range(2))
    for moved in np.concatenate([normal, -normal]) @ factor.T:
        here = path + by_level @ moved + ahead[:, None] * (by_slope @ moved)
        crossed = np.maximum.accumulate(ndtr((level - here) / spread), axis=0)
        chance = np.diff(crossed, axis=0)
        of_drawn = np.stack([np.bincount(row, each, len(sizes)) for each in chance], 1)
        counts = of_drawn * (sizes / taken)[:, None]
        total += counts
        squares += counts * counts
    number = 2 * draws
    return np.asarray(np.sqrt(np.maximum(squares / number - (total / number) ** 2, 0.0)))
