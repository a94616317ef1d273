"""What the readings of each lot say of its yearly change, its own level left free."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from inventory.engineering.forecast.fit import CohortFit
from inventory.engineering.forecast.grams import SignGrams, triangle
from inventory.engineering.forecast.likelihood import eliminate, sign_prior
from inventory.engineering.forecast.observations import UNKNOWN, Observations, TruthArray
from inventory.engineering.inspection.student import FloatArray, WholeArray

_NOTHING = 1e-9  # share of a sum below which what is left of it is rounding
_ANY_SLOPE = 1e12  # variance of a yearly change that may be anything
_LINE_SD = 100.0  # of slope and bends, in units of R_A a year: keeps them finite, no more


class Factor(StrEnum):
    """What the faces of a lot have in common, in the order in which members are named."""

    SHEETING = "sheeting"
    INK = "ink"
    OVERLAY = "overlay"
    RUN = "run"

    @property
    def words(self) -> str:
        """Return it as a sentence names it."""
        return {
            Factor.SHEETING: "sheeting lot",
            Factor.INK: "ink lot",
            Factor.OVERLAY: "overlay lot",
            Factor.RUN: "print run",
        }[self]


@dataclass(frozen=True, slots=True, eq=False)
class LotCohort:
    """
    One cohort as the comparison of lots takes it.

    Parameters
    ----------
    fit : CohortFit
        Its scale, shape and spread.
    grams : SignGrams
        Sums of its readings on that scale and shape.
    is_age_known : array of bool
        Of each sign.
    sign_id : array of int
        Which sign each is, over all cohorts (one sign may be read in several colours).
    levels : mapping of Factor to array of int
        Which lot of each factor each sign is of, numbered over all cohorts; −1 not known.
    is_installed : array of bool
        Whether each sign stands now; those removed only inform.
    """

    fit: CohortFit
    grams: SignGrams
    is_age_known: TruthArray
    sign_id: WholeArray
    levels: Mapping[Factor, WholeArray]
    is_installed: TruthArray

    @classmethod
    def of(
        cls,
        fit: CohortFit,
        observations: Observations,
        *,
        sign_id: WholeArray,
        is_installed: TruthArray,
    ) -> "LotCohort":
        """
        Return a cohort from its fit and readings; lots as the observations number them.

        What the fit says of facing and district is taken out of the readings first, so that a
        hard sun is not taken for a bad lot.
        """
        grams = fit.sums_of(observations)
        contrasts = fit.covariates.contrasts(observations.quadrant, observations.district)
        of_slope = contrasts @ fit.coefficients[fit.shape.column_count :]
        return cls(
            fit=fit,
            grams=turned(grams, -of_slope) if fit.covariates.column_count else grams,
            is_age_known=observations.is_age_known,
            sign_id=sign_id,
            levels={
                Factor.SHEETING: observations.lot,
                Factor.INK: observations.ink_lot,
                Factor.OVERLAY: observations.overlay_lot,
                Factor.RUN: observations.run,
            },
            is_installed=is_installed,
        )

    @property
    def unit(self) -> float:
        """Return what a share of 1 is on the fit's scale."""
        return self.fit.unit

    def visits_per_sign(self) -> FloatArray:
        """Return how often each sign was read."""
        grams = self.grams
        return np.asarray(
            np.bincount(grams.sign, grams.visit_count, grams.sign_count), dtype=np.float64
        )


@dataclass(frozen=True, slots=True, eq=False)
class LotSums:
    """
    Sums of lots with signs and each lot's own level taken out, one entry per lot.

    ``sums`` holds symmetric matrices over the columns slope, bends …, response; the first entry
    is the information on the lot's yearly change. All are as shares of R_A.
    """

    number: WholeArray  # of the lots, ascending
    sums: FloatArray  # (lots, q, q)
    others: FloatArray  # (q, q): of signs without a known lot, their slopes taken out too
    level_deviation: FloatArray  # when new, less the cohort's; nan where the ages do not say
    level_variance: FloatArray  # infinite there

    @property
    def information(self) -> FloatArray:
        """Return 1 ÷ the variance of each lot's yearly change, given the cohort's line."""
        return self.sums[:, 0, 0]


@dataclass(frozen=True, slots=True, eq=False)
class LotSlopes:
    """
    Each lot's yearly change less that of the other lots of its cohort, as a share of R_A.

    ``own_variance`` is that of the readings and signs of the lot, ``line_variance`` that of the
    line found from the others, ``cohort_slope`` what the others' line says for its ages.
    """

    deviation: FloatArray
    own_variance: FloatArray
    line_variance: FloatArray
    cohort_slope: FloatArray

    @property
    def variance(self) -> FloatArray:
        """Return the variance of the deviations, but for ordinary lots' differences."""
        return self.own_variance + self.line_variance


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """Slope and bends of a cohort found without each lot in turn, with their covariance."""

    coefficients: FloatArray  # (lots, q − 1)
    covariance: FloatArray  # (lots, q − 1, q − 1)


def turned(grams: SignGrams, slope_per_year: FloatArray) -> SignGrams:
    """
    Return sums as if each sign's readings had another yearly change added to them.

    Examples
    --------
    >>> from inventory.engineering.forecast.grams import sum_signs
    >>> ones = np.array([[1.0, 1.0], [1.0, 3.0]])
    >>> flat = sum_signs(np.array([0, 0]), ones, np.array([5.0, 5.0]), np.zeros(2), 1)
    >>> fell = sum_signs(np.array([0, 0]), ones, np.array([4.9, 4.7]), np.zeros(2), 1)
    >>> bool(np.allclose(turned(flat, np.array([-0.1])).products, fell.products))
    True
    """
    columns = grams.column_count
    at = {place: k for k, place in enumerate(triangle(columns))}
    change = slope_per_year[grams.sign]
    products = grams.products.copy()
    last = columns - 1
    products[at[last, last]] += (
        2 * change * grams.products[at[1, last]] + change**2 * grams.products[at[1, 1]]
    )
    for k in range(last):
        products[at[k, last]] += change * grams.products[at[min(k, 1), max(k, 1)]]
    return replace(grams, products=products)


def sums_of_signs(cohort: LotCohort, chosen: WholeArray) -> tuple[FloatArray, FloatArray]:
    """Return the sums of chosen signs: their own effects taken out, and as they were."""
    return _left(cohort, cohort.grams.of_signs(chosen), cohort.is_age_known[chosen])


def _left(
    cohort: LotCohort, grams: SignGrams, is_age_known: TruthArray
) -> tuple[FloatArray, FloatArray]:
    """Return the sums with the signs taken out, and as they were, in units of a share."""
    spread = cohort.fit.variances
    weights = 1.0 / (spread.residual_sd**2 + grams.known_variance)
    sums = grams.per_sign(weights)
    is_read = np.bincount(grams.sign, minlength=grams.sign_count) > 0
    # A sign that was not read says nothing; taken as of known age, it can be taken out.
    prior = sign_prior(spread, is_age_known | ~is_read)
    done = eliminate(sums, prior, grams.column_count)
    shares = np.array(
        [
            _share(place, grams.column_count, cohort.unit)
            for place in triangle(grams.column_count)
        ]
    )[:, None]
    return np.stack(done.left) * shares, sums * shares


def _share(place: tuple[int, int], columns: int, unit: float) -> float:
    """Return the factor from a sum on the fit's scale to one of shares."""
    power = 2 - sum(each == columns - 1 for each in place)
    return float(unit**power)


def without_level(left: FloatArray, columns: int, whole: FloatArray) -> FloatArray:
    """
    Return matrices over slope, bends and response with a free level taken out.

    Parameters
    ----------
    left : array of float, (m, n)
        Triangles with the signs taken out.
    columns : int
        Size of the matrices.
    whole : array of float, (m, n)
        The same sums before anything was taken out: what rounding is measured by.
    """
    at = {place: k for k, place in enumerate(triangle(columns))}
    has_level = left[0] > _NOTHING * whole[0]
    level = np.where(has_level, left[0], 1.0)
    sums = np.empty((left.shape[1], columns - 1, columns - 1))
    for i in range(1, columns):
        for j in range(i, columns):
            common = np.where(has_level, left[i] * left[j] / level, 0.0)
            sums[:, i - 1, j - 1] = sums[:, j - 1, i - 1] = left[at[i, j]] - common
    is_none = sums[:, 0, 0] <= _NOTHING * whole[at[1, 1]]
    sums[is_none, 0, :] = 0.0
    sums[is_none, :, 0] = 0.0
    return sums


def without_slope(sums: FloatArray, slope_variance: float) -> FloatArray:
    """
    Return matrices with the lots' own yearly change taken out, at its variance.

    Examples
    --------
    >>> without_slope(np.array([[[4.0, 2.0], [2.0, 5.0]]]), 0.25)[0].tolist()
    [[2.0, 1.0], [1.0, 4.5]]
    """
    first = sums[:, 0, :]
    share = slope_variance / (1.0 + slope_variance * sums[:, 0, 0])
    return np.asarray(sums - share[:, None, None] * first[:, :, None] * first[:, None, :])


def sum_lots(cohort: LotCohort, factor: Factor) -> LotSums:
    """
    Return the sums of the lots of one factor.

    A lot's own level is left free, so that a lot that is dim from its first day is not taken
    for one that falls fast: only readings of its signs at different ages speak. A sign whose
    lot is not known counts as a lot of its own for the cohort's line.
    """
    grams, lots = cohort.grams, cohort.levels[factor]
    columns = grams.column_count
    is_read = cohort.visits_per_sign() > 0
    number, place = np.unique(lots[is_read & (lots != UNKNOWN)], return_inverse=True)
    of_sign = np.full(len(lots), -1)
    of_sign[is_read & (lots != UNKNOWN)] = place
    size = len(triangle(columns))
    left, whole = np.zeros((size, len(number))), np.zeros((size, len(number)))
    others = np.zeros((columns - 1, columns - 1))
    slope_variance = max(cohort.fit.variances.lot_slope_sd / cohort.unit, 0.003) ** 2
    for part, some in grams.chunks():
        here = of_sign[part]
        of_signs, as_read = _left(cohort, some, cohort.is_age_known[part])
        has_lot = here >= 0
        for k in range(size):
            left[k] += np.bincount(here[has_lot], of_signs[k, has_lot], len(number))
            whole[k] += np.bincount(here[has_lot], as_read[k, has_lot], len(number))
        lone = ~has_lot & is_read[part]
        if lone.any():
            alone = without_level(of_signs[:, lone], columns, as_read[:, lone])
            others += without_slope(alone, slope_variance).sum(axis=0)
    level, variance = _levels(cohort, left, columns, whole)
    return LotSums(number, without_level(left, columns, whole), others, level, variance)


def _levels(
    cohort: LotCohort, left: FloatArray, columns: int, whole: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return how the lots' levels when new differ from the fitted line's, their slopes free."""
    at = {place: k for k, place in enumerate(triangle(columns))}
    line = cohort.fit.coefficients[: columns - 1] / cohort.unit
    right = [
        left[at[row, columns - 1]]
        - sum(left[at[min(row, k), max(row, k)]] * line[k] for k in range(columns - 1))
        for row in (0, 1)
    ]
    a00, a01, a11 = left[0], left[1], left[at[1, 1]]
    determinant = a00 * a11 - a01 * a01
    says = (a00 > _NOTHING * whole[0]) & (determinant > _NOTHING * a00 * a11)
    safe = np.where(says, determinant, 1.0)
    return (
        np.where(says, (a11 * right[0] - a01 * right[1]) / safe, np.nan),
        np.where(says, a11 / safe, np.inf),
    )


def lines_without(sums: LotSums, slope_sd: float, weight: FloatArray) -> Line:
    """
    Return slope and bends of the cohort without the yearly change of each lot in turn.

    How a lot bends within its own ages still counts, since it does not touch its change.

    Parameters
    ----------
    sums : LotSums
        Of the lots of one cohort.
    slope_sd : float
        Standard deviation of ordinary lots' yearly change, as a share of R_A a year.
    weight : array of float
        What each lot counts for, 0 to 1.
    """
    left = without_slope(sums.sums, slope_sd**2) * weight[:, None, None]
    bends_alone = without_slope(sums.sums, _ANY_SLOPE) * weight[:, None, None]
    rest = sums.others + left.sum(axis=0) - left + bends_alone
    size = rest.shape[1] - 1
    precision = rest[:, :size, :size] + np.eye(size) * _LINE_SD**-2.0
    covariance = np.linalg.inv(precision)
    coefficients = np.einsum("nij,nj->ni", covariance, rest[:, :size, size])
    return Line(coefficients, covariance)


def slopes_of_lots(sums: FloatArray, line: Line) -> LotSlopes:
    """
    Return how the yearly change of lots differs from a line, by generalised least squares.

    Examples
    --------
    >>> line = Line(np.array([[-0.05]]), np.array([[[0.0]]]))
    >>> found = slopes_of_lots(np.array([[[4.0e4, -2800.0], [-2800.0, 200.0]]]), line)
    >>> found.deviation.round(4).tolist(), np.sqrt(found.own_variance).tolist()
    ([-0.02], [0.005])
    """
    information = sums[:, 0, 0]
    has_any = information > 0
    safe = np.where(has_any, information, 1.0)
    per_column = sums[:, 0, :-1] / safe[:, None]
    cohort_slope = (per_column * line.coefficients).sum(axis=1)
    spread = np.einsum("ni,nij,nj->n", per_column, line.covariance, per_column)
    return LotSlopes(
        deviation=np.where(has_any, sums[:, 0, -1] / safe - cohort_slope, 0.0),
        own_variance=np.where(has_any, 1.0 / safe, np.inf),
        line_variance=spread,
        cohort_slope=cohort_slope,
    )
