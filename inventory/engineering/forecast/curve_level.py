"""How probable R_A is below a level, along a curve with its 90 % interval."""

import numpy as np
from scipy.special import ndtr, ndtri

from inventory.engineering.forecast.fit import Scale
from inventory.engineering.inspection.student import FloatArray
from inventory.errors import OutOfRangeError

_NORMAL_90 = float(ndtri(0.95))


def probability_below(
    scale: Scale, level_cd_lx_m2: float, median_cd_lx_m2: FloatArray, high_cd_lx_m2: FloatArray
) -> FloatArray:
    """
    Return the probability that R_A is below a level at each place of a curve.

    Parameters
    ----------
    scale : Scale
        On which R_A is normal: that of the fit.
    level_cd_lx_m2 : float
        Over 0. [cd/lx/m²]
    median_cd_lx_m2, high_cd_lx_m2 : array of float
        Of the curve: its middle, and the upper end of its 90 % interval. [cd/lx/m²]

    Raises
    ------
    OutOfRangeError
        If the level is not over 0.

    Examples
    --------
    At the median one half; at the lower end of the interval (100² ÷ 120) one in twenty.

    >>> median, high = np.array([100.0, 100.0]), np.array([120.0, 120.0])
    >>> probability_below(Scale.LOG, 100.0, median, high).round(3).tolist()
    [0.5, 0.5]
    >>> probability_below(Scale.LOG, 100.0 * 100.0 / 120.0, median, high).round(3).tolist()
    [0.05, 0.05]
    """
    if not level_cd_lx_m2 > 0:
        msg = f"The level to keep is {level_cd_lx_m2:g} cd/lx/m²; it is over 0."
        raise OutOfRangeError(msg)
    level, median, high = np.float64(level_cd_lx_m2), median_cd_lx_m2, high_cd_lx_m2
    if scale is Scale.LOG:
        level, median, high = np.log(level), np.log(median), np.log(high)
    spread = np.maximum(high - median, 1e-12) / _NORMAL_90
    return np.asarray(ndtr((level - median) / spread))
