"""The part of the map around a point, and the way from it in words."""

import math

from inventory.engineering.places.distance import MEAN_EARTH_RADIUS_M
from inventory.errors import OutOfRangeError

MAXIMUM_RADIUS_M = 100_000.0

_WINDS = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)


def box_around(
    latitude_deg: float, longitude_deg: float, radius_m: float
) -> tuple[float, float, float, float]:
    """
    Return the box that holds every point within a distance of a point.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        WGS 84 position.
    radius_m : float
        Over 0, at most 100 000. [m]

    Returns
    -------
    tuple of float
        South, west, north, east in degrees, cut off at the poles and at the date line.

    Raises
    ------
    OutOfRangeError
        If the position is not on the globe or the radius is out of range.

    Examples
    --------
    >>> [round(edge, 3) for edge in box_around(60.0, 10.0, 1000.0)]
    [59.991, 9.982, 60.009, 10.018]
    """
    if not (-90.0 <= latitude_deg <= 90.0 and -180.0 <= longitude_deg <= 180.0):
        msg = (
            f"Position {latitude_deg}, {longitude_deg} is not on the globe; latitude is "
            "-90 to 90 and longitude -180 to 180 degrees (WGS 84)."
        )
        raise OutOfRangeError(msg)
    if not 0.0 < radius_m <= MAXIMUM_RADIUS_M:
        msg = (
            f"A radius of {radius_m:g} m cannot be searched; use up to {MAXIMUM_RADIUS_M:g} m."
        )
        raise OutOfRangeError(msg)
    angle = radius_m / MEAN_EARTH_RADIUS_M
    south = latitude_deg - math.degrees(angle)
    north = latitude_deg + math.degrees(angle)
    if south <= -90.0 or north >= 90.0:
        return max(-90.0, south), -180.0, min(90.0, north), 180.0
    # The meridian that touches the circle: sin(half width) = sin(angle) / cos(latitude).
    half_width = math.degrees(
        math.asin(min(1.0, math.sin(angle) / math.cos(math.radians(latitude_deg))))
    )
    west, east = longitude_deg - half_width, longitude_deg + half_width
    return south, max(-180.0, west), north, min(180.0, east)


def compass_words(bearing: float) -> str:
    """
    Return the nearest of the eight winds to a true bearing, in words.

    Parameters
    ----------
    bearing : float
        Clockwise from north; any number of turns. [°]

    Examples
    --------
    >>> compass_words(0.0), compass_words(224.0), compass_words(-22.5)
    ('north', 'south-west', 'north')
    """
    return _WINDS[round(bearing / 45.0) % len(_WINDS)]
