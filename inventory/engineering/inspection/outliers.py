"""Readings that stand out of the others: flagged for a person to look at, never dropped."""

import math
from collections.abc import Sequence
from functools import cache

import numpy as np

from inventory.engineering.inspection.readings import THOUSANDTHS
from inventory.engineering.inspection.student import student_quantile
from inventory.errors import OutOfRangeError

OUTLIER_SIGNIFICANCE = 0.05
MINIMUM_COUNT_FOR_OUTLIERS = 3  # of two values neither stands out of the others


@cache
def grubbs_critical_value(count: int, significance: float = OUTLIER_SIGNIFICANCE) -> float:
    """
    Return how many standard deviations from the mean a value must be to stand out.

    Parameters
    ----------
    count : int
        Number of values, 3 or more.
    significance : float
        Two-sided: the chance that one of ``count`` values of a normal sample stands out.

    Returns
    -------
    float
        (n − 1)/√n · √(t² / (n − 2 + t²)), t the quantile 1 − significance/(2n) of Student's
        distribution with n − 2 degrees of freedom.

    Raises
    ------
    OutOfRangeError
        If ``count`` is under 3.

    References
    ----------
    .. [1] F. E. Grubbs, Procedures for detecting outlying observations in samples,
       Technometrics 11 (1969) 1-21; ASTM E178.

    Examples
    --------
    >>> round(grubbs_critical_value(4), 3)
    1.481
    """
    if count < MINIMUM_COUNT_FOR_OUTLIERS:
        msg = (
            f"{count} values cannot show an outlier; the test is for "
            f"{MINIMUM_COUNT_FOR_OUTLIERS} or more."
        )
        raise OutOfRangeError(msg)
    t = float(student_quantile(1 - significance / (2 * count), np.array([count - 2.0]))[0])
    return (count - 1) / math.sqrt(count) * math.sqrt(t * t / (count - 2 + t * t))


def find_outliers(thousandths: Sequence[int], scatter_cd_lx_m2: float) -> tuple[int, ...]:
    """
    Return the positions of readings that stand out of the others.

    Deviations are measured in the scatter that counts, not less than the instrument's
    repeatability, so that readings which differ by less than the instrument repeats itself are
    never called outliers.

    Parameters
    ----------
    thousandths : sequence of int
        Readings of one colour. [0.001 cd/lx/m²]
    scatter_cd_lx_m2 : float
        Standard deviation of one reading, 0 or more. [cd/lx/m²]

    Returns
    -------
    tuple of int
        Empty for fewer than three readings.

    Examples
    --------
    >>> find_outliers([50_000, 51_000, 50_500, 49_500, 80_000], 13.4)
    (4,)
    """
    count = len(thousandths)
    if count < MINIMUM_COUNT_FOR_OUTLIERS:
        return ()
    limit = grubbs_critical_value(count) * scatter_cd_lx_m2 * count * THOUSANDTHS
    total = sum(thousandths)
    return tuple(
        place for place, value in enumerate(thousandths) if abs(count * value - total) > limit
    )
