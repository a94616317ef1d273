"""How much R_A changes a year in a cohort, with its interval."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from inventory.engineering.forecast.fit import CohortFit, Scale

INTERVAL_PROBABILITY = 0.90
_NORMAL = float(ndtri(0.5 + INTERVAL_PROBABILITY / 2))
_SHORTEST_YEARS = 1.0


@dataclass(frozen=True, slots=True)
class YearlyChange:
    """
    Mean yearly change of a cohort, from when its faces were put up to the oldest age read.

    Parameters
    ----------
    share, low, high : float
        As a share of R_A a year, negative for a decline, with its 90 % interval. [1/year]
    ra_cd_lx_m2, ra_low_cd_lx_m2, ra_high_cd_lx_m2 : float
        The same in R_A a year, at the middle of those years. [cd/lx/m² per year]
    to_years : float
        The oldest age read, at least 1. [year]
    """

    share: float
    low: float
    high: float
    ra_cd_lx_m2: float
    ra_low_cd_lx_m2: float
    ra_high_cd_lx_m2: float
    to_years: float


def yearly_change(fit: CohortFit) -> YearlyChange:
    """
    Return the mean yearly change of a cohort's line, or of its curve between its two ends.

    On the log scale it is exp(b) − 1 for the mean slope b of log R_A; on the plain scale it is
    the slope over the R_A at the middle of those years. The interval is that of the line: how
    sure the cohort's mean is, not how far signs differ.

    Examples
    --------
    >>> from inventory.engineering.forecast.fit import fit_cohort
    >>> from inventory.engineering.forecast.observations import Observations
    >>> from inventory.engineering.forecast.shapes import LINEAR
    >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> change = yearly_change(fit_cohort(two, scale=Scale.LOG, shape=LINEAR))
    >>> round(change.share, 3), change.low < change.share < change.high, change.to_years
    (-0.043, True, 8.0)
    """
    years = max(fit.oldest_age_years, _SHORTEST_YEARS)
    first, middle, last = fit.shape.basis(np.array([0.0, years / 2, years]))
    count = fit.shape.column_count
    beta = fit.coefficients[:count]
    of_slope = (last - first) / years
    slope = float(of_slope @ beta)
    spread = float(np.sqrt(of_slope @ fit.solution.covariance[:count, :count] @ of_slope))
    ends = np.array([slope, slope - _NORMAL * spread, slope + _NORMAL * spread])
    at_middle = float(middle @ beta)
    if fit.scale is Scale.LOG:
        shares = np.expm1(ends)
        changes = shares * np.exp(at_middle)
    else:
        changes = ends
        shares = ends / at_middle
    share, low, high = (float(each) for each in shares)
    change, least, most = (float(each) for each in changes)
    return YearlyChange(share, low, high, change, least, most, years)
