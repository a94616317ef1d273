"""Exact comparison of readings with a level, on whole thousandths.

The functions take plain integers or NumPy arrays of 64-bit integers alike, so that the same
rule judges one sign or a million.
"""

from typing import Any, overload

import numpy as np
import numpy.typing as npt

WholeArray = npt.NDArray[np.int64]
TruthArray = npt.NDArray[np.bool_]


@overload
def meets_level(total: int, count: int, level: int) -> bool: ...
@overload
def meets_level(total: WholeArray, count: WholeArray, level: WholeArray) -> TruthArray: ...
def meets_level(total: Any, count: Any, level: Any) -> Any:
    """
    Return whether the mean of readings is at or above a level.

    Parameters
    ----------
    total : int or array of int
        Sum of the readings. [0.001 cd/lx/m²]
    count : int or array of int
        Number of readings, one or more.
    level : int or array of int
        Minimum maintained level. [0.001 cd/lx/m²]

    Returns
    -------
    bool or array of bool
        True where total ÷ count ≥ level, compared without division.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) section 2A.22: "at or above the minimum levels".

    Examples
    --------
    >>> meets_level(140_000, 4, 35_000), meets_level(139_999, 4, 35_000)
    (True, False)
    """
    return total >= level * count


@overload
def meets_contrast(
    white_total: int, white_count: int, red_total: int, red_count: int, ratio: int
) -> bool: ...
@overload
def meets_contrast(
    white_total: WholeArray,
    white_count: WholeArray,
    red_total: WholeArray,
    red_count: WholeArray,
    ratio: WholeArray,
) -> TruthArray: ...
def meets_contrast(
    white_total: Any, white_count: Any, red_total: Any, red_count: Any, ratio: Any
) -> Any:
    """
    Return whether the mean white is at least a number of times the mean red.

    Parameters
    ----------
    white_total, red_total : int or array of int
        Sums of the readings. [0.001 cd/lx/m²]
    white_count, red_count : int or array of int
        Numbers of readings, one or more each.
    ratio : int or array of int
        Minimum contrast ratio in thousandths; 3000 is 3:1.

    Returns
    -------
    bool or array of bool
        True where white mean ≥ ratio × red mean, compared without division.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5, white on red: minimum sign contrast ratio 3:1.

    Examples
    --------
    >>> meets_contrast(299_700, 1, 99_900, 1, 3000)
    True
    """
    return white_total * red_count * 1000 >= ratio * red_total * white_count
