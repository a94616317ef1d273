"""The fit of a cohort: variances by restricted likelihood, then its line and its lots."""

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from scipy.optimize import minimize

from inventory.engineering.forecast.grams import SignGrams, sum_signs
from inventory.engineering.forecast.likelihood import (
    CohortSolution,
    CohortSums,
    Variances,
    restricted_likelihood,
    solve_cohort,
)
from inventory.engineering.forecast.observations import UNKNOWN, Observations, TruthArray
from inventory.engineering.forecast.shapes import AgeShape
from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

METHOD_VERSION = "forecast-1"
SIGNS_FOR_VARIANCES = 50_000
MINIMUM_LOTS = 5  # with two signs each, for lots to have a spread of their own
CHUNK_SIGNS = 65_536
_LARGEST_LOG_VARIANCE = 25.0
_LARGEST_ARTANH = 4.0


class Scale(StrEnum):
    """On what the readings are fitted: their logarithm, or as they are."""

    LOG = "log"
    PLAIN = "plain"


@dataclass(frozen=True, slots=True)
class Prior:
    """
    What is taken before a reading is seen; weak, so that some tens of signs outweigh it.

    Parameters
    ----------
    slope_rel_per_year, slope_sd_rel_per_year : float
        Mean and standard deviation of a cohort's yearly change, as a share of its R_A. The
        published 2 to 8 (white) and 1 to 12 (yellow) cd/lx/m² a year are roughly 1 to 7 % of
        a new Type III sign.
    spread : Variances
        Centre of each standard deviation, as shares (and shares a year).
    spread_factor : float
        One standard deviation up or down multiplies or divides these by so much; over 1.

    References
    ----------
    .. [1] In-service sign retroreflectivity and deterioration rates in Texas (2011), abstract:
       the ranges of slopes. The other figures are an assumption (common practice, no source).
    """

    slope_rel_per_year: float = -0.03
    slope_sd_rel_per_year: float = 0.05
    spread: Variances = field(
        default_factory=lambda: Variances(0.08, 0.15, 0.01, 0.0, 0.03, 0.003)
    )
    spread_factor: float = 3.0


WEAK_PRIOR = Prior()


@dataclass(frozen=True, slots=True, eq=False)
class CohortFit:
    """
    What a cohort's readings say together.

    ``coefficients`` and all of ``variances`` are of the logarithm of R_A, or in cd/lx/m² on the
    plain scale. ``lot_numbers`` are the known lots in ascending order; empty where too few lots
    were read to give them a term. ``oldest_age_years`` is the highest age read.
    """

    scale: Scale
    shape: AgeShape
    variances: Variances
    solution: CohortSolution
    lot_numbers: WholeArray
    sign_count: int
    visit_count: int
    oldest_age_years: float
    grams: SignGrams

    @property
    def coefficients(self) -> FloatArray:
        """Return the cohort's level, yearly change, and bends."""
        return self.solution.coefficients


def design_columns(
    shape: AgeShape, ages_years: FloatArray, is_age_known: TruthArray
) -> FloatArray:
    """
    Return the columns of visits; at an unknown age the mean slope of the curve stands for it.

    Examples
    --------
    >>> curve = AgeShape((1.0, 4.0, 7.0, 10.0))
    >>> design_columns(curve, np.array([10.0, 5.0]), np.array([True, False])).round(4).tolist()
    [[1.0, 10.0, 8.0, 2.0], [1.0, 5.0, 4.0, 1.0]]
    """
    columns = shape.basis(ages_years)
    if shape.knots_years and not is_age_known.all():
        last = shape.knots_years[-1]
        slopes = shape.basis(np.array([last]))[0] / last
        columns[~is_age_known, 1:] = ages_years[~is_age_known, None] * slopes[1:]
    return columns


def sum_observations(observations: Observations, scale: Scale, shape: AgeShape) -> SignGrams:
    """
    Return the sums per sign of a cohort's readings, made a part of the signs at a time.

    On the plain scale the known variance is the repeatability's share of the cohort's median,
    so that a dim reading does not weigh more for being dim.
    """
    middle = 1.0 if scale is Scale.LOG else float(np.median(observations.ra_cd_lx_m2))
    parts = []
    for start in range(0, observations.sign_count, CHUNK_SIGNS):
        stop = min(start + CHUNK_SIGNS, observations.sign_count)
        first, last = np.searchsorted(observations.sign, [start, stop])
        sign = observations.sign[first:last]
        ra = observations.ra_cd_lx_m2[first:last]
        share = observations.repeatability_rel[first:last] * middle
        part = sum_signs(
            sign - start,
            design_columns(
                shape, observations.age_years[first:last], observations.is_age_known[sign]
            ),
            np.log(ra) if scale is Scale.LOG else ra,
            share * share / observations.reading_count[first:last],
            stop - start,
        )
        parts.append((start, part))
    return SignGrams(
        sign_count=observations.sign_count,
        column_count=shape.column_count + 1,
        sign=np.concatenate([start + part.sign for start, part in parts]),
        known_variance=np.concatenate([part.known_variance for _start, part in parts]),
        visit_count=np.concatenate([part.visit_count for _start, part in parts]),
        products=np.concatenate([part.products for _start, part in parts], axis=1),
    )


def fit_cohort(
    observations: Observations,
    *,
    scale: Scale,
    shape: AgeShape,
    prior: Prior | None = WEAK_PRIOR,
    progress: Callable[[str], None] | None = None,
) -> CohortFit:
    """
    Return the fit of a cohort by restricted maximum likelihood.

    The variances are those that the restricted likelihood with the prior is highest at, over
    at most 50,000 signs drawn by whole lots; level, slope and lots are then of all signs.

    Parameters
    ----------
    observations : Observations
        Of one cohort; signs without a visit are not counted.
    scale : Scale
        On what the readings are fitted.
    shape : AgeShape
        A line, or a curve.
    prior : Prior, optional
        None: pure restricted likelihood, for comparison with other programs.
    progress : callable, optional
        Told in words what is being done.

    Raises
    ------
    OutOfRangeError
        If no sign of known age was read, or without a prior if there are fewer than three
        signs.

    References
    ----------
    .. [1] H. D. Patterson and R. Thompson (1971), Biometrika 58, 545-554.

    Examples
    --------
    >>> from inventory.engineering.forecast.shapes import LINEAR
    >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> fit = fit_cohort(two, scale=Scale.LOG, shape=LINEAR)
    >>> fit.coefficients.round(3).tolist()  # 277 cd/lx/m² when new, 4.5 % less each year
    [5.619, -0.045]
    """
    is_read = np.zeros(observations.sign_count, dtype=np.bool_)
    is_read[observations.sign] = True
    tell = progress or (lambda _words: None)
    tell(f"summing {len(observations):,} visits")
    grams = sum_observations(observations, scale, shape)
    chosen = np.flatnonzero(is_read)
    is_age_known = observations.is_age_known[chosen]
    if not is_age_known.any() or (prior is None and len(chosen) < 3):
        msg = (
            f"{int(is_age_known.sum())} signs of known age were read; a cohort is fitted from "
            "one or more, and from three or more without a prior."
        )
        raise OutOfRangeError(msg)
    lot = observations.lot[chosen]
    numbers, of_lot = np.unique(lot[lot != UNKNOWN], return_counts=True)
    if (of_lot >= 2).sum() < MINIMUM_LOTS:
        numbers = numbers[:0]
    precision, mean = _prior_of_line(prior, scale, shape, observations)
    cohort = _cohort(grams.of_signs(chosen), is_age_known, lot, numbers, precision, mean)
    tell(f"fitting the spread of {len(chosen):,} signs")
    unit = 1.0 if scale is Scale.LOG else float(np.median(observations.ra_cd_lx_m2))
    variances = _fit_variances(_sample(cohort), prior, unit, with_lots=bool(len(numbers)))
    tell("fitting level, decline and lots")
    ages = observations.age_years[observations.is_age_known[observations.sign]]
    return CohortFit(
        scale=scale,
        shape=shape,
        variances=variances,
        solution=solve_cohort(variances, cohort),
        lot_numbers=numbers,
        sign_count=len(chosen),
        visit_count=len(observations),
        oldest_age_years=float(ages.max()),
        grams=grams,
    )


def _prior_of_line(
    prior: Prior | None, scale: Scale, shape: AgeShape, observations: Observations
) -> tuple[FloatArray, FloatArray]:
    """Return precision and mean of the coefficients; flat but for the yearly change."""
    precision, mean = np.zeros(shape.column_count), np.zeros(shape.column_count)
    if prior is not None:
        unit = 1.0 if scale is Scale.LOG else float(np.median(observations.ra_cd_lx_m2))
        precision[1] = (prior.slope_sd_rel_per_year * unit) ** -2.0
        mean[1] = prior.slope_rel_per_year * unit
        # One visit, or one age, leaves level or bends open: held by a factor e^±100.
        precision[0] = (100.0 * unit) ** -2.0
        precision[2:] = (100.0 * unit) ** -2.0
    return precision, mean


def _cohort(
    grams: SignGrams,
    is_age_known: TruthArray,
    lot: WholeArray,
    numbers: WholeArray,
    precision: FloatArray,
    mean: FloatArray,
) -> CohortSums:
    """Return the likelihood's sums, a sign of unknown lot being a lot of its own."""
    is_known = (lot != UNKNOWN) & bool(len(numbers))
    own = len(numbers) + np.arange(int((~is_known).sum()))
    place = np.empty(len(lot), dtype=np.int64)
    place[is_known] = np.searchsorted(numbers, lot[is_known])
    place[~is_known] = own
    return CohortSums(grams, is_age_known, place, len(numbers) + len(own), precision, mean)


def _sample(cohort: CohortSums) -> CohortSums:
    """Return whole lots of at most 50,000 signs together, always the same."""
    if cohort.grams.sign_count <= SIGNS_FOR_VARIANCES:
        return cohort
    order = np.random.default_rng(0).permutation(cohort.lot_count)
    sizes = np.bincount(cohort.lot, minlength=cohort.lot_count)[order]
    number = max(int(np.searchsorted(np.cumsum(sizes), SIGNS_FOR_VARIANCES, "right")), 1)
    new = np.full(cohort.lot_count, -1, dtype=np.int64)
    new[order[:number]] = np.arange(number)
    chosen = np.flatnonzero(new[cohort.lot] >= 0)
    return CohortSums(
        cohort.grams.of_signs(chosen),
        cohort.is_age_known[chosen],
        new[cohort.lot[chosen]],
        number,
        cohort.prior_precision,
        cohort.prior_mean,
    )


def _fit_variances(
    cohort: CohortSums, prior: Prior | None, unit: float, *, with_lots: bool
) -> Variances:
    size = 6 if with_lots else 4
    centre = (prior or WEAK_PRIOR).spread.to_vector()[:size]
    shift = np.full(size, 2 * np.log(unit))
    shift[3] = 0.0
    centre = centre + shift
    tightness = np.zeros(size)
    if prior is not None:
        tightness[:] = (2 * np.log(prior.spread_factor)) ** -2.0
        tightness[3] = 1.0
    scale = 1.0 / cohort.grams.sign_count
    widest = np.full(size, _LARGEST_LOG_VARIANCE)
    widest[3] = _LARGEST_ARTANH
    middle = np.where(np.arange(size) == 3, 0.0, centre)

    def within(vector: FloatArray) -> FloatArray:
        return np.asarray(np.clip(vector, middle - widest, middle + widest))

    def cost(vector: FloatArray) -> tuple[float, FloatArray]:
        held = within(vector)
        solution, gradient = restricted_likelihood(Variances.from_vector(held), cohort)
        away = held - centre
        value = solution.log_likelihood - 0.5 * float(tightness @ (away * away))
        slope = np.where(held == vector, (tightness * away - gradient) * scale, 0.0)
        return -value * scale, slope

    # BFGS on six numbers: the bounded L-BFGS of scipy 1.17 spends longer waking its threads
    # than the likelihood takes.
    found = minimize(cost, centre, jac=True, method="BFGS", options={"gtol": 1e-6})
    return Variances.from_vector(within(found.x))
