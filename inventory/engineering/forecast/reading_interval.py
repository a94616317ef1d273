"""Where the true R_A lies by one visit alone, by the stated uncertainty of the instrument."""

import math
from collections.abc import Sequence
from decimal import Decimal

from scipy.special import ndtri

from inventory.errors import OutOfRangeError

INTERVAL_PROBABILITY = 0.90
_NORMAL = float(ndtri(0.5 + INTERVAL_PROBABILITY / 2))


def reading_interval(
    values: Sequence[Decimal], *, repeatability_rel: float, common_rel: float
) -> tuple[float, float]:
    """
    Return the ends of the 90 % interval of the mean of one visit's readings of a colour.

    Parameters
    ----------
    values : sequence of Decimal
        The readings, one or more. [cd/lx/m²]
    repeatability_rel : float
        Standard deviation of repeated readings, as a share; it averages out.
    common_rel : float
        Standard uncertainty that all readings of the visit share, as a share; it does not.

    Raises
    ------
    OutOfRangeError
        If there is no reading.

    Examples
    --------
    With 3 % and 8 %, four readings of 200: ± 1.645 · 200 · √(0.03²/4 + 0.08²) = ± 26.8.

    >>> four = [Decimal(200)] * 4
    >>> low, high = reading_interval(four, repeatability_rel=0.03, common_rel=0.08)
    >>> round(low, 1), round(high, 1)
    (173.2, 226.8)
    """
    if not values:
        msg = "There is no reading to give an interval of; give one or more."
        raise OutOfRangeError(msg)
    mean = float(sum(values)) / len(values)
    share = math.sqrt(repeatability_rel**2 / len(values) + common_rel**2)
    return max(mean * (1 - _NORMAL * share), 0.0), mean * (1 + _NORMAL * share)
