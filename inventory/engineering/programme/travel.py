"""Ways and times between places: straight distances times a stated detour factor."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from inventory.engineering.places.distance import distance_m

M_PER_MI = 1609.344
S_PER_H = 3600.0


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
        Times, whole. [s]

    Examples
    --------
    >>> way_m, time_s = travel_matrices([0.0, 0.0], [0.0, 0.01], detour_factor=1.3,
    ...                                 speed_mi_per_h=30.0)
    >>> round(float(way_m[0, 1])), int(time_s[0, 1])  # 1 112 m straight; 13.41 m/s
    (1446, 108)
    """
    latitudes, longitudes = np.asarray(latitudes_deg), np.asarray(longitudes_deg)
    way_m = detour_factor * distance_m(
        latitudes[:, None], longitudes[:, None], latitudes[None, :], longitudes[None, :]
    )
    time_s = way_m / (speed_mi_per_h * M_PER_MI / S_PER_H)
    return way_m, np.rint(time_s).astype(np.int64)
