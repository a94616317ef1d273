"""Within which whole numbers a count will lie, given its mean and variance."""

from __future__ import annotations

import numpy as np
from scipy import stats

from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

SHARE = 0.9
# Nearer than this the two families below are the same, the Poisson distribution.
_SAME_AS_POISSON = 1e-6


def count_range(mean: float, variance: float, share: float = SHARE) -> tuple[int, int]:
    """
    Return the whole numbers between which one count lies; see :func:`count_ranges`.

    Examples
    --------
    Twenty signs that will each fall below with probability one half:

    >>> count_range(10.0, 5.0)
    (6, 14)

    The same expectation where the speed of decline itself is not well known:

    >>> count_range(10.0, 30.0)
    (3, 20)
    """
    low, high = count_ranges(np.array([mean]), np.array([variance]), share)
    return int(low[0]), int(high[0])


def count_ranges(
    mean: FloatArray, variance: FloatArray, share: float = SHARE
) -> tuple[WholeArray, WholeArray]:
    """
    Return the whole numbers between which counts lie with a stated probability.

    A sum of independent yes-or-no events has less variance than mean and is taken as binomial;
    with an uncertainty that all of them share it has more and is taken as negative binomial;
    each with the given mean and variance. The quantiles are those of that distribution, so
    that the range holds at least ``share`` of it.

    Parameters
    ----------
    mean : array of float
        Expected counts, 0 or more.
    variance : array of float
        Variance of each count, 0 or more.
    share : float
        How much of the distribution lies in the range, half of the rest on either side.

    Returns
    -------
    tuple of array of int
        The least and the greatest of each count.

    Raises
    ------
    OutOfRangeError
        If the mean or the variance is negative or not finite, or the share not between 0 and 1.

    References
    ----------
    .. [1] Matching the first two moments; common practice, no source.

    Examples
    --------
    >>> low, high = count_ranges(np.array([10.0, 10.0, 0.0]), np.array([5.0, 30.0, 0.0]))
    >>> low.tolist(), high.tolist()
    ([6, 3, 0], [14, 20, 0])
    """
    if not 0.0 < share < 1.0:
        msg = f"A share of {share} is not between 0 and 1."
        raise OutOfRangeError(msg)
    for wanted in (mean, variance):
        bad = ~(np.isfinite(wanted) & (wanted >= 0.0))
        if bad.any():
            msg = f"A count has a mean and a variance of 0 or more, not {wanted[bad][0]}."
            raise OutOfRangeError(msg)
    low, high = np.zeros(len(mean), dtype=np.int64), np.zeros(len(mean), dtype=np.int64)
    excess = variance - mean
    is_poisson = (mean > 0) & (np.abs(excess) <= _SAME_AS_POISSON * mean)
    is_wide = (mean > 0) & ~is_poisson & (excess > 0)
    is_narrow = (mean > 0) & ~is_poisson & (excess < 0)
    for tail, ends in (((1.0 - share) / 2.0, low), ((1.0 + share) / 2.0, high)):
        ends[is_poisson] = stats.poisson.ppf(tail, mean[is_poisson])
        m, v, e = mean[is_wide], variance[is_wide], excess[is_wide]
        ends[is_wide] = stats.nbinom.ppf(tail, m**2 / e, m / v)
        m, e = mean[is_narrow], excess[is_narrow]
        trials = np.maximum(np.ceil(m), np.round(m**2 / -e))
        ends[is_narrow] = stats.binom.ppf(tail, trials, m / trials)
    return low, high
