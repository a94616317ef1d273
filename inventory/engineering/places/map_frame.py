"""A map drawn to scale from positions alone: where each falls, and how long a mile is."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.engineering.places.distance import MEAN_EARTH_RADIUS_M
from inventory.errors import OutOfRangeError

FloatArray = npt.NDArray[np.float64]
METRES_PER_MILE = 1609.344  # exact by definition (NIST SP 811, appendix B.8)

_EDGE_SHARE = 0.002  # of the signs, at each edge, that do not stretch the map
_ROOM = 0.25  # of the width, beyond which what lies outside is left out
_LEAST_SPAN_M = 400.0
_SCALE_STEPS = (1.0, 2.0, 5.0)


@dataclass(frozen=True, slots=True)
class MapFrame:
    """
    The box a map shows and its scale; x runs east and y south, in units of the drawing.

    ``width`` and ``height`` are in units, ``metres_per_unit`` is the same both ways.
    """

    west_deg: float
    north_deg: float
    width: float
    height: float
    metres_per_unit: float
    metres_per_deg_longitude: float
    metres_per_deg_latitude: float

    def place(
        self, latitude_deg: FloatArray, longitude_deg: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return x and y of positions, also of those outside the box."""
        east = (longitude_deg - self.west_deg) * self.metres_per_deg_longitude
        south = (self.north_deg - latitude_deg) * self.metres_per_deg_latitude
        return east / self.metres_per_unit, south / self.metres_per_unit

    @property
    def scale_bar(self) -> tuple[float, float]:
        """
        Return miles and units of a bar: the longest of 1, 2, 5, 10 … within a third.

        Examples
        --------
        >>> frame = frame_around(np.array([43.0, 43.2]), np.array([-89.5, -89.2]))
        >>> frame.scale_bar[0]
        5.0
        """
        most_mi = self.width * self.metres_per_unit / METRES_PER_MILE / 3
        decade = 10.0 ** np.floor(np.log10(most_mi))
        miles = max(step * decade for step in _SCALE_STEPS if step * decade <= most_mi)
        return float(miles), float(miles * METRES_PER_MILE / self.metres_per_unit)


def frame_around(
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
    *,
    most_width: float = 1000.0,
    most_height: float = 800.0,
    margin: float = 12.0,
) -> MapFrame:
    """
    Return a frame around positions, with both directions at the same scale.

    East and west are scaled by the cosine of the middle latitude: over 1° of latitude at
    45° scales differ by less than 2 % from edge to edge. A few positions far from all
    others, as wrong records are, do not shrink the rest: they fall outside the box.

    Parameters
    ----------
    latitude_deg, longitude_deg : array of float, (n,)
        WGS 84, one or more, none across the 180th meridian from the others. [°]
    most_width, most_height, margin : float
        The most the drawing takes each way, and the room at its edges, in its units.

    Raises
    ------
    OutOfRangeError
        If there is no position, one is not a number, or the arrays differ in length.

    References
    ----------
    .. [1] Equidistant cylindrical projection with a standard parallel: J. P. Snyder, Map
       projections, a working manual, USGS Professional Paper 1395 (1987), chapter 12
       (from memory).

    Examples
    --------
    >>> frame = frame_around(np.array([43.0, 43.1]), np.array([-89.5, -89.3]), margin=0.0)
    >>> x, y = frame.place(np.array([43.0, 43.1]), np.array([-89.5, -89.3]))
    >>> x.round(6).tolist(), abs(y).round(1).tolist()
    ([0.0, 1000.0], [684.2, 0.0])
    """
    if len(latitude_deg) != len(longitude_deg) or not len(latitude_deg):
        msg = (
            f"There are {len(latitude_deg)} latitudes and {len(longitude_deg)} longitudes; a "
            "map needs one position or more, with both."
        )
        raise OutOfRangeError(msg)
    if not (np.isfinite(latitude_deg) & np.isfinite(longitude_deg)).all():
        msg = "A position is not a number; leave it out of the map and say so."
        raise OutOfRangeError(msg)
    south, north = _edges(latitude_deg)
    west, east = _edges(longitude_deg)
    per_latitude = np.pi / 180 * MEAN_EARTH_RADIUS_M
    per_longitude = per_latitude * np.cos(np.radians((south + north) / 2))
    wide = max((east - west) * per_longitude, _LEAST_SPAN_M)
    high = max((north - south) * per_latitude, _LEAST_SPAN_M)
    inner_width, inner_height = most_width - 2 * margin, most_height - 2 * margin
    scale = max(wide / inner_width, high / inner_height)
    shown_width, shown_height = wide / scale + 2 * margin, high / scale + 2 * margin
    return MapFrame(
        west_deg=float((west + east) / 2 - shown_width * scale / per_longitude / 2),
        north_deg=float((south + north) / 2 + shown_height * scale / per_latitude / 2),
        width=float(shown_width),
        height=float(shown_height),
        metres_per_unit=float(scale),
        metres_per_deg_longitude=float(per_longitude),
        metres_per_deg_latitude=float(per_latitude),
    )


def _edges(degrees: FloatArray) -> tuple[float, float]:
    """Return the ends of what is shown: those of all positions, unless a few lie far off."""
    low, high = np.quantile(degrees, (_EDGE_SHARE, 1.0 - _EDGE_SHARE))
    room = _ROOM * (high - low)
    within = degrees[(degrees >= low - room) & (degrees <= high + room)]
    return float(within.min()), float(within.max())
