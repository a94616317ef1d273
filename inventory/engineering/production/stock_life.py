"""How long stock keeps, and what a press takes of an ink."""

import math
from calendar import monthrange
from datetime import date

from inventory.errors import OutOfRangeError
from inventory.units import METRES_PER_FOOT

M2_PER_FT2 = METRES_PER_FOOT**2
MONTHS_PER_YEAR = 12


def months_after(day: date, months: int) -> date:
    """
    Return the day some months after another; the last of a month stays within its month.

    Parameters
    ----------
    day : date
        Such as the day of receipt.
    months : int
        Over 0.

    Raises
    ------
    OutOfRangeError
        If the months are not over 0, or the year is past 9999.

    Examples
    --------
    >>> months_after(date(2026, 8, 31), 6).isoformat()
    '2027-02-28'
    """
    if months <= 0:
        msg = f"A shelf life of {months} months keeps nothing; type 1 or more, or leave it out."
        raise OutOfRangeError(msg)
    year, month = divmod(day.year * MONTHS_PER_YEAR + day.month - 1 + months, MONTHS_PER_YEAR)
    if year > date.max.year:
        msg = f"A shelf life of {months} months ends after the year {date.max.year}."
        raise OutOfRangeError(msg)
    last = monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day.day, last))


def ink_ml(area_ft2: float, ml_per_m2: float, cover_share: float = 1.0) -> float:
    """
    Return the ink that goes on an area.

    Parameters
    ----------
    area_ft2 : float
        Area of faces, zero or more. [ft²]
    ml_per_m2 : float
        Ink on a square metre it covers whole, as the shop measured it, over 0. [ml/m²]
    cover_share : float
        Share of the area it covers, 0 to 1.

    Returns
    -------
    float
        Area × share × ink per area; 1 ft = 0.3048 m exactly. [ml]

    Raises
    ------
    OutOfRangeError
        If a value is out of its range or not finite.

    References
    ----------
    .. [1] The international foot is 0.3048 m (NIST Special Publication 811, from memory).

    Examples
    --------
    >>> round(ink_ml(100.0, 12.0, 0.5), 2)
    55.74
    """
    if not (math.isfinite(area_ft2) and area_ft2 >= 0):
        msg = f"{area_ft2:g} ft² take no ink; an area is 0 or more."
        raise OutOfRangeError(msg)
    if not (math.isfinite(ml_per_m2) and ml_per_m2 > 0):
        msg = f"{ml_per_m2:g} ml/m² is no amount of ink; it has to be over 0."
        raise OutOfRangeError(msg)
    if not 0 <= cover_share <= 1:
        msg = f"An ink covers a share of 0 to 1 of a face, not {cover_share:g}."
        raise OutOfRangeError(msg)
    return area_ft2 * M2_PER_FT2 * cover_share * ml_per_m2
