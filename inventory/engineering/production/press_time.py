"""How long the press needs for an area."""

import math

from inventory.errors import OutOfRangeError
from inventory.units import MINUTES_PER_HOUR


def press_minutes(area_ft2: float, rate_ft2_per_h: float) -> float:
    """
    Return the time a press needs to print an area, without set-up.

    Parameters
    ----------
    area_ft2 : float
        Area that passes under the press, zero or more. [ft²]
    rate_ft2_per_h : float
        Rate of the press in the mode it prints in, over zero. [ft²/h]

    Returns
    -------
    float
        Area divided by rate. [min]

    Raises
    ------
    OutOfRangeError
        If the area is negative, the rate is not over zero, or either is not finite.

    References
    ----------
    .. [1] Common practice, no source: press time is area over rate.

    Examples
    --------
    Twelve faces of 24 × 24 in at 162 ft²/h (common practice, no source):

    >>> round(press_minutes(48.0, 162.0), 1)
    17.8
    """
    if not (math.isfinite(area_ft2) and area_ft2 >= 0):
        msg = f"The area {area_ft2:g} ft² cannot be printed; it has to be zero or more."
        raise OutOfRangeError(msg)
    if not (math.isfinite(rate_ft2_per_h) and rate_ft2_per_h > 0):
        msg = (
            f"A press rate of {rate_ft2_per_h:g} ft²/h prints nothing; set the rate of the "
            "press to what it prints in an hour, over zero."
        )
        raise OutOfRangeError(msg)
    return area_ft2 / rate_ft2_per_h * MINUTES_PER_HOUR
