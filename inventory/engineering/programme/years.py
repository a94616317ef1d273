"""From forecasts and days to what a programme needs: chances by year, last years, new faces."""

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from inventory.engineering.programme.problem import FloatArray
from inventory.errors import OutOfRangeError

MODERATE_CHANCE, SEVERE_CHANCE = 0.25, 0.9  # of failing for its damage; an assumption
KM_PER_MI = 1.609344
EQUATOR_KM = 40_075.017  # WGS 84 semi-major axis × 2 π
CELL_LEVEL = 24


def chances_in_years(
    probabilities: Sequence[float], *, from_year: int, first_year: int, years: int
) -> list[float]:
    """
    Return the chance of being below at each year end of a programme.

    Parameters
    ----------
    probabilities : sequence of float
        At the end of ``from_year`` and of each year after it, one or more.
    from_year, first_year, years : int
        The forecast's first year, the programme's first year, and how many it has. The year
        ends before the forecast are past; they take its first.

    Raises
    ------
    OutOfRangeError
        If there is no probability.

    Examples
    --------
    >>> chances_in_years([0.1, 0.2, 0.4], from_year=2026, first_year=2027, years=3)
    [0.2, 0.4, 0.4]
    >>> chances_in_years([0.1, 0.2, 0.4], from_year=2028, first_year=2027, years=3)
    [0.1, 0.1, 0.2]
    """
    if not probabilities:
        msg = "A sign without a forecast has no chances by year; leave it out and list it."
        raise OutOfRangeError(msg)
    start = first_year - from_year
    last = len(probabilities) - 1
    return [probabilities[min(max(start + number, 0), last)] for number in range(years)]


def new_face_chances(share_below_by_age: Sequence[float], years: int) -> FloatArray:
    """
    Return the chance that a new face is below at the end of the year it is put up, and later.

    It is put up in the middle of its year, so its age at the year ends is 0.5, 1.5 …

    Parameters
    ----------
    share_below_by_age : sequence of float
        Share of new faces below at the ages 0, 1, 2 … years; empty: never within the years.
    years : int
        How many year ends.

    Examples
    --------
    >>> new_face_chances([0.0, 0.0, 0.2, 0.6], 3).round(3).tolist()
    [0.0, 0.1, 0.4]
    """
    if not len(share_below_by_age):
        return np.zeros(years)
    ages = np.arange(years) + 0.5
    shares = np.maximum.accumulate(np.asarray(share_below_by_age, dtype=np.float64))
    return np.asarray(np.interp(ages, np.arange(len(shares)), shares))


def life_chances(life_years: float, years: int) -> FloatArray:
    """
    Return the chance of a new face by an expected life alone: it holds until then, not after.

    Examples
    --------
    >>> life_chances(2.0, 4).tolist()  # 0.5, 1.5, 2.5 and 3.5 years old at the year ends
    [0.0, 0.0, 1.0, 1.0]
    """
    return np.asarray(np.arange(years) + 0.5 >= life_years, dtype=np.float64)


def last_year(due_on: date, *, lead_days: int, first_year: int, years: int) -> int | None:
    """
    Return the last year of a programme, from 0, in which a face is replaced in time.

    The order goes out a lead time before the day the level is crossed; what is late already
    goes into the first year. ``None``: it is due after the programme.

    References
    ----------
    .. [1] FHWA-HRT-08-026 chapter 4: the replacement is finished before the level is crossed.

    Examples
    --------
    >>> last_year(date(2029, 2, 1), lead_days=60, first_year=2027, years=5)
    1
    >>> last_year(date(2026, 5, 1), lead_days=60, first_year=2027, years=5)
    0
    """
    year = (due_on - timedelta(days=lead_days)).year - first_year
    return None if year >= years else max(year, 0)


def stretch_shift(stretch_mi: float) -> int:
    """
    Return by how many bits a map cell is shifted for squares of a stretch's length.

    Squares are at most the length wide at the equator and narrow with the latitude.

    Raises
    ------
    OutOfRangeError
        If the length is not over 0.

    Examples
    --------
    >>> stretch_shift(2.0)  # level 14: 2.4 km
    20
    """
    if not stretch_mi > 0:
        msg = f"A stretch of road is {stretch_mi:g} mi long; give a length over 0."
        raise OutOfRangeError(msg)
    level = int(np.ceil(np.log2(EQUATOR_KM / (stretch_mi * KM_PER_MI))))
    return 2 * (CELL_LEVEL - min(max(level, 0), CELL_LEVEL))
