"""Ways and times between places: straight distances times a stated detour factor."""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from inventory.engineering.places.distance import distance_m
from inventory.errors import OutOfRangeError

M_PER_MI = 1609.344
S_PER_H = 3600.0
LONGEST_S = 10**6  # no way is told to be longer: over eleven days
_ROWS = 256  # of a matrix at once, so that steps in between stay small


def check_travel(detour_factor: float, speed_mi_per_h: float) -> None:
    """
    Refuse what makes no way between places.

    Raises
    ------
    OutOfRangeError
        If the factor is under 1, the speed not over 0, or either is not finite.

    Examples
    --------
    >>> check_travel(1.3, 30.0)
    """
    if not (math.isfinite(detour_factor) and detour_factor >= 1):
        msg = (
            f"The detour factor is {detour_factor:g}; give a number of 1 or more, such as 1.3."
        )
        raise OutOfRangeError(msg)
    if not (math.isfinite(speed_mi_per_h) and speed_mi_per_h > 0):
        msg = f"The speed is {speed_mi_per_h:g} mi/h; give a number over 0, such as 30."
        raise OutOfRangeError(msg)


def travel_matrices(
    latitudes_deg: Sequence[float],
    longitudes_deg: Sequence[float],
    *,
    detour_factor: float,
    speed_mi_per_h: float,
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """
    Return way and time between all places.

    Parameters
    ----------
    latitudes_deg, longitudes_deg : sequence of float, (m,)
        WGS 84 positions.
    detour_factor : float
        Way by road ÷ straight distance: the agency's own figure, else an assumption.
    speed_mi_per_h : float
        Between stops. [mi/h]

    Returns
    -------
    array of float, (m, m)
        Ways. [m]
    array of int, (m, m)
        Times, whole, at most 1 000 000. [s]

    Raises
    ------
    OutOfRangeError
        If the factor is under 1, the speed not over 0, or either is not finite.

    Examples
    --------
    >>> way_m, time_s = travel_matrices([0.0, 0.0], [0.0, 0.01], detour_factor=1.3,
    ...                                 speed_mi_per_h=30.0)
    >>> round(float(way_m[0, 1])), int(time_s[0, 1])  # 1 112 m straight; 13.41 m/s
    (1446, 108)
    """
    check_travel(detour_factor, speed_mi_per_h)
    latitudes, longitudes = np.asarray(latitudes_deg), np.asarray(longitudes_deg)
    way_m = _ways(latitudes, longitudes, latitudes, longitudes, detour_factor)
    return way_m, _times(way_m, speed_mi_per_h)


def travel_times(
    latitudes_deg: Sequence[float],
    longitudes_deg: Sequence[float],
    *,
    detour_factor: float,
    speed_mi_per_h: float,
) -> npt.NDArray[np.int64]:
    """
    Return the times alone, a quarter of the memory of both.

    Parameters
    ----------
    latitudes_deg, longitudes_deg, detour_factor, speed_mi_per_h
        As for :func:`travel_matrices`.

    Returns
    -------
    array of int, (m, m)
        Times, whole, at most 1 000 000. [s]

    Raises
    ------
    OutOfRangeError
        If the factor is under 1, the speed not over 0, or either is not finite.

    Examples
    --------
    >>> travel_times([0.0, 0.0], [0.0, 0.01], detour_factor=1.3, speed_mi_per_h=30.0).tolist()
    [[0, 108], [108, 0]]
    """
    check_travel(detour_factor, speed_mi_per_h)
    latitudes, longitudes = np.asarray(latitudes_deg), np.asarray(longitudes_deg)
    times = np.empty((len(latitudes), len(latitudes)), dtype=np.int64)
    for first in range(0, len(latitudes), _ROWS):
        rows = slice(first, first + _ROWS)
        way_m = _ways(latitudes[rows], longitudes[rows], latitudes, longitudes, detour_factor)
        times[rows] = _times(way_m, speed_mi_per_h)
    return times


def way_through_m(
    latitudes_deg: Sequence[float], longitudes_deg: Sequence[float], *, detour_factor: float
) -> float:
    """
    Return the way through places in their order.

    Parameters
    ----------
    latitudes_deg, longitudes_deg : sequence of float, (m,)
        WGS 84 positions.
    detour_factor : float
        Way by road ÷ straight distance.

    Returns
    -------
    float
        The way. [m]

    Examples
    --------
    >>> round(way_through_m([0.0, 0.0, 0.0], [0.0, 0.01, 0.0], detour_factor=1.3))
    2891
    """
    latitudes, longitudes = np.asarray(latitudes_deg), np.asarray(longitudes_deg)
    legs = distance_m(latitudes[:-1], longitudes[:-1], latitudes[1:], longitudes[1:])
    return detour_factor * float(np.sum(legs))


def _ways(
    latitudes: npt.NDArray[np.float64],
    longitudes: npt.NDArray[np.float64],
    other_latitudes: npt.NDArray[np.float64],
    other_longitudes: npt.NDArray[np.float64],
    detour_factor: float,
) -> npt.NDArray[np.float64]:
    straight: npt.NDArray[np.float64] = distance_m(
        latitudes[:, None], longitudes[:, None], other_latitudes[None], other_longitudes[None]
    )
    return detour_factor * straight


def _times(way_m: npt.NDArray[np.float64], speed_mi_per_h: float) -> npt.NDArray[np.int64]:
    with np.errstate(over="ignore"):  # a speed next to nothing: the longest time is told
        time_s = way_m / (speed_mi_per_h * M_PER_MI / S_PER_H)
    return np.rint(np.minimum(time_s, LONGEST_S)).astype(np.int64)
