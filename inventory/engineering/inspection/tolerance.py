"""What a sample of readings says of all the signs it stands for: normal tolerance limits."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from inventory.errors import OutOfRangeError

MINIMUM_SAMPLE = 2


def one_sided_tolerance_factor(count: int, content: float, confidence: float) -> float:
    """
    Return the factor k for which mean − k·s bounds a share of a normal population from below.

    Parameters
    ----------
    count : int
        Size of the sample, 2 or more.
    content : float
        Share of the population that lies above the limit, over 0 and under 1.
    confidence : float
        Probability with which the statement holds, over 0 and under 1.

    Returns
    -------
    float
        The exact factor, from the non-central t distribution.

    Raises
    ------
    OutOfRangeError
        If the sample has fewer than two values, or a probability is not between 0 and 1.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.3: t with n − 1
       degrees of freedom and non-centrality z·√n, divided by √n.

    Examples
    --------
    >>> round(one_sided_tolerance_factor(43, 0.90, 0.99), 5)
    1.87395
    """
    if count < MINIMUM_SAMPLE:
        msg = (
            f"A tolerance limit needs {MINIMUM_SAMPLE} values or more; there "
            f"{'is' if count == 1 else 'are'} {count}. Measure more control signs."
        )
        raise OutOfRangeError(msg)
    for name, share in (("content", content), ("confidence", confidence)):
        if not 0 < share < 1:
            msg = f"The {name} is {share:g}; it is a share over 0 and under 1, such as 0.9."
            raise OutOfRangeError(msg)
    root = math.sqrt(count)
    off_centre = stats.norm.ppf(content) * root
    return float(stats.nct.ppf(confidence, count - 1, off_centre) / root)


@dataclass(frozen=True, slots=True)
class ToleranceLimit:
    """A share of a population and the value it is said to lie above, with what it rests on."""

    limit: float
    mean: float
    standard_deviation: float
    count: int
    content: float
    confidence: float


def lower_tolerance_limit(
    values: Sequence[float], *, content: float = 0.90, confidence: float = 0.95
) -> ToleranceLimit:
    """
    Return the value above which a share of a normal population lies, with a confidence.

    Parameters
    ----------
    values : sequence of float
        Two or more values of a sample taken at random, such as the means of control signs.
        [cd/lx/m²]
    content : float
        Share of the population above the limit.
    confidence : float
        Probability with which the statement holds.

    Returns
    -------
    ToleranceLimit
        May be negative for a small or scattered sample: then it says nothing.

    Raises
    ------
    OutOfRangeError
        If there are fewer than two values, or a probability is not between 0 and 1.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.3.

    Examples
    --------
    >>> round(lower_tolerance_limit([310.0, 352.0, 338.0, 401.0, 365.0]).limit, 1)
    238.6
    """
    sample = np.asarray(values, dtype=float)
    factor = one_sided_tolerance_factor(len(sample), content, confidence)
    mean, deviation = float(sample.mean()), float(sample.std(ddof=1))
    return ToleranceLimit(
        mean - factor * deviation, mean, deviation, len(sample), content, confidence
    )
