"""Conversions between the units people type and the ones stored, and days partly known."""

from datetime import date

INCHES_PER_FOOT = 12.0
MILLIMETRES_PER_INCH = 25.4  # exact by definition (NIST SP 811, appendix B.8)
METRES_PER_FOOT = 0.3048  # exact by definition (NIST SP 811, appendix B.8)
METRES_PER_US_SURVEY_FOOT = 1200 / 3937  # NIST SP 811, appendix B.6
SQUARE_INCHES_PER_SQUARE_FOOT = 144.0
KILOMETRES_PER_MILE = 1.609344  # exact by definition (NIST SP 811, appendix B.8)
MINUTES_PER_HOUR = 60.0


def inches_to_millimetres(length_in: float) -> float:
    """
    Return a length given in inches as millimetres.

    Examples
    --------
    >>> inches_to_millimetres(30.0)
    762.0
    """
    return length_in * MILLIMETRES_PER_INCH


def millimetres_to_inches(length_mm: float) -> float:
    """
    Return a length given in millimetres as inches.

    Examples
    --------
    >>> millimetres_to_inches(762.0)
    30.0
    """
    return length_mm / MILLIMETRES_PER_INCH


def feet_to_metres(length_ft: float) -> float:
    """
    Return a length given in international feet as metres.

    Examples
    --------
    >>> feet_to_metres(10.0)
    3.048
    """
    return length_ft * METRES_PER_FOOT


def miles_to_kilometres(length_mi: float) -> float:
    """
    Return a length given in international miles as kilometres; likewise a speed.

    Examples
    --------
    >>> miles_to_kilometres(25.0)
    40.2336
    """
    return length_mi * KILOMETRES_PER_MILE


def square_inches_to_square_feet(area_in2: float) -> float:
    """
    Return an area given in square inches as square feet.

    Examples
    --------
    >>> square_inches_to_square_feet(24.0 * 24.0)
    4.0
    """
    return area_in2 / SQUARE_INCHES_PER_SQUARE_FOOT


# ISO 8601 reduced precision.
_DAY_FORMATS = {"day": "%Y-%m-%d", "month": "%Y-%m", "year": "%Y"}


def partial_date(day: date, precision: str) -> str:
    """
    Return a calendar date as far as it is known.

    Parameters
    ----------
    day : date
        The first day the date may be.
    precision : str
        ``"day"``, ``"month"`` or ``"year"``.

    Examples
    --------
    >>> partial_date(date(2015, 5, 1), "month")
    '2015-05'
    """
    return day.strftime(_DAY_FORMATS[precision])
