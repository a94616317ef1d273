"""Within which whole numbers a count will lie, given its mean and variance."""

from __future__ import annotations

import math

from scipy import stats

from inventory.errors import OutOfRangeError

SHARE = 0.9
# Nearer than this the two families below are the same, the Poisson distribution.
_SAME_AS_POISSON = 1e-6


def count_range(mean: float, variance: float, share: float = SHARE) -> tuple[int, int]:
    """
    Return the whole numbers between which a count lies with a stated probability.

    A sum of independent yes-or-no events has less variance than mean and is taken as binomial;
    with an uncertainty that all of them share it has more and is taken as negative binomial;
    each with the given mean and variance. The quantiles are those of that distribution, so
    that the range holds at least ``share`` of it.

    Parameters
    ----------
    mean : float
        Expected count, 0 or more.
    variance : float
        Variance of the count, 0 or more.
    share : float
        How much of the distribution lies in the range, half of the rest on either side.

    Returns
    -------
    tuple of int
        The least and the greatest count.

    Raises
    ------
    OutOfRangeError
        If the mean or the variance is negative or not finite, or the share not between 0 and 1.

    References
    ----------
    .. [1] Matching the first two moments; common practice, no source.

    Examples
    --------
    Twenty signs that will each fall below with probability one half:

    >>> count_range(10.0, 5.0)
    (6, 14)

    The same expectation where the speed of decline itself is not well known:

    >>> count_range(10.0, 30.0)
    (3, 20)
    """
    if not 0.0 < share < 1.0:
        msg = f"A share of {share} is not between 0 and 1."
        raise OutOfRangeError(msg)
    if not (0.0 <= mean < math.inf and 0.0 <= variance < math.inf):
        msg = f"A count has a mean and a variance of 0 or more, not {mean} and {variance}."
        raise OutOfRangeError(msg)
    if mean == 0.0:
        return 0, 0
    tails = ((1.0 - share) / 2.0, (1.0 + share) / 2.0)
    low, high = _matching(mean, variance).ppf(tails)
    return int(low), int(high)


def _matching(mean: float, variance: float) -> stats.rv_discrete:
    """Return the distribution of counts with a mean and, as nearly as it can, a variance."""
    excess = variance - mean
    if abs(excess) <= _SAME_AS_POISSON * mean:
        return stats.poisson(mean)
    if excess > 0.0:
        return stats.nbinom(mean**2 / excess, mean / variance)
    trials = max(math.ceil(mean), round(mean**2 / -excess))
    return stats.binom(trials, mean / trials)
