"""The variances of a cohort: what is taken beforehand, and what the readings say."""

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import minimize

from inventory.engineering.forecast.likelihood import (
    CohortSums,
    restricted_likelihood,
)
from inventory.engineering.forecast.observations import UNKNOWN
from inventory.engineering.forecast.variances import Variances
from inventory.engineering.inspection.student import FloatArray, WholeArray

SIGNS_FOR_VARIANCES = 50_000
FLAT = 1e-6  # slope of the log likelihood per sign at which a search ends
NEARLY = 0.003  # slope of the whole; enough where there is a prior
_LARGEST_LOG_VARIANCE = 25.0
_LARGEST_ARTANH = 4.0


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
    residual_factor, session_factor : float
        The same for the residual, which hardly speaks while few signs were read twice, and for
        the session's error, of which the agency states the centre.
    difference_sd_rel_per_year : float
        Standard deviation of a quadrant's or a district's yearly change about the average.

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
    residual_factor: float = 1.5
    session_factor: float = 2.0
    difference_sd_rel_per_year: float = 0.02


WEAK_PRIOR = Prior()


def sample_of_lots(cohort: CohortSums) -> WholeArray:
    """Return which signs the variances are taken from: whole lots, at most 50,000, in order."""
    number = cohort.grams.sign_count
    if number <= SIGNS_FOR_VARIANCES:
        return np.arange(number)
    lot = cohort.lot.copy()
    alone = lot < 0
    lot[alone] = cohort.lot_count + np.arange(int(alone.sum()))
    lots = cohort.lot_count + int(alone.sum())
    order = np.random.default_rng(0).permutation(lots)
    sizes = np.bincount(lot, minlength=lots)[order]
    kept = max(int(np.searchsorted(np.cumsum(sizes), SIGNS_FOR_VARIANCES, "right")), 1)
    is_drawn = np.zeros(lots, dtype=np.bool_)
    is_drawn[order[:kept]] = True
    return np.flatnonzero(is_drawn[lot])


def sums_of_sample(cohort: CohortSums, chosen: WholeArray) -> CohortSums:
    """Return the sums of some signs alone, lots that none of them has left out."""
    if len(chosen) == cohort.grams.sign_count:
        return cohort
    lot = cohort.lot[chosen]
    numbers = np.unique(lot[lot >= 0])
    place = np.where(lot >= 0, np.searchsorted(numbers, lot), UNKNOWN)
    return cohort.of_signs(chosen, place, len(numbers))


@dataclass(slots=True, eq=False)
class Search:
    """What one search learns for the next of nearly the same readings: how the hill bends."""

    bend: FloatArray | None = None


def fit_variances(
    cohort: CohortSums,
    prior: Prior | None,
    unit: float,
    start: Variances | None = None,
    search: Search | None = None,
) -> Variances:
    """
    Return the variances that the restricted likelihood with the prior is highest at.

    Parameters
    ----------
    cohort : CohortSums
        Lots have an effect where it has some.
    prior : Prior, optional
        None: pure restricted likelihood.
    unit : float
        What a share is of: 1 on the log scale, the cohort's median R_A on the plain scale.
    start : Variances, optional
        Where to begin, such as the last fit of nearly the same readings.
    search : Search, optional
        Taken from the last search, and left for the next.
    """
    size = 6 if cohort.lot_count else 4
    centre = (prior or WEAK_PRIOR).spread.to_vector()[:size]
    shift = np.full(size, 2 * np.log(unit))
    shift[3] = 0.0
    centre = centre + shift
    tightness = np.zeros(size)
    if prior is not None:
        tightness[:] = (2 * np.log(prior.spread_factor)) ** -2.0
        tightness[0] = (2 * np.log(prior.residual_factor)) ** -2.0
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

    search = search or Search()
    flat = FLAT if prior is None else max(FLAT, NEARLY * scale)
    bend = search.bend if search.bend is not None and len(search.bend) == size else None
    # BFGS on six numbers: the bounded L-BFGS of scipy 1.17 spends longer waking its threads
    # than the likelihood takes.
    begin = centre
    if start is not None and start.has_lots == (size == 6):
        begin = within(start.to_vector())
    found = minimize(  # type: ignore[call-overload]  # the stubs know no hess_inv0
        cost, begin, jac=True, method="BFGS", options={"gtol": flat, "hess_inv0": bend}
    )
    bent = 0.5 * (found.hess_inv + found.hess_inv.T)
    search.bend = bent if np.linalg.eigvalsh(bent)[0] > 0 else None
    return Variances.from_vector(within(found.x))
