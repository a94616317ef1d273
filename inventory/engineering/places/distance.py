"""Distances and bearings between nearby points on the globe, vectorised."""

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

MEAN_EARTH_RADIUS_M = 6_371_008.8  # IUGG mean radius R1 of GRS 80 (Moritz 2000)

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


def distance_m(
    latitude_1_deg: npt.ArrayLike,
    longitude_1_deg: npt.ArrayLike,
    latitude_2_deg: npt.ArrayLike,
    longitude_2_deg: npt.ArrayLike,
) -> Any:
    """
    Return great-circle distances between points.

    Parameters
    ----------
    latitude_1_deg, longitude_1_deg, latitude_2_deg, longitude_2_deg : array_like
        WGS 84 positions in degrees; shapes broadcast.

    Returns
    -------
    numpy.ndarray or numpy.float64
        Distances on the mean sphere; within 0.6 % of the ellipsoid. [m]

    References
    ----------
    .. [1] R. W. Sinnott, Virtues of the Haversine, Sky and Telescope 68 (1984) 159
       (from memory).

    Examples
    --------
    >>> round(float(distance_m(0.0, 0.0, 0.0, 1.0)))
    111195
    """
    phi_1, phi_2 = np.radians(latitude_1_deg), np.radians(latitude_2_deg)
    half_dphi = (phi_2 - phi_1) / 2.0
    half_dlambda = np.radians(np.subtract(longitude_2_deg, longitude_1_deg)) / 2.0
    h = np.sin(half_dphi) ** 2 + np.cos(phi_1) * np.cos(phi_2) * np.sin(half_dlambda) ** 2
    return 2.0 * MEAN_EARTH_RADIUS_M * np.arcsin(np.sqrt(np.minimum(h, 1.0)))


def bearing_deg(
    latitude_1_deg: npt.ArrayLike,
    longitude_1_deg: npt.ArrayLike,
    latitude_2_deg: npt.ArrayLike,
    longitude_2_deg: npt.ArrayLike,
) -> Any:
    """
    Return initial true bearings from the first points to the second.

    Returns
    -------
    numpy.ndarray or numpy.float64
        0 up to 360, clockwise from north. [°]

    Examples
    --------
    >>> float(bearing_deg(0.0, 0.0, 0.0, 1.0))
    90.0
    """
    phi_1, phi_2 = np.radians(latitude_1_deg), np.radians(latitude_2_deg)
    dlambda = np.radians(np.subtract(longitude_2_deg, longitude_1_deg))
    east = np.sin(dlambda) * np.cos(phi_2)
    north = np.cos(phi_1) * np.sin(phi_2) - np.sin(phi_1) * np.cos(phi_2) * np.cos(dlambda)
    return np.degrees(np.arctan2(east, north)) % 360.0


def nearest(
    latitude_deg: float,
    longitude_deg: float,
    latitudes_deg: npt.ArrayLike,
    longitudes_deg: npt.ArrayLike,
    count: int,
) -> tuple[npt.NDArray[np.intp], FloatArray]:
    """
    Return the indexes of the nearest points and their distances, nearest first.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Where one stands.
    latitudes_deg, longitudes_deg : array_like, shape (n,)
        Where the signs are.
    count : int
        How many at the most.

    Returns
    -------
    indexes : numpy.ndarray of int, shape (min(n, count),)
    distances_m : numpy.ndarray of float, same shape

    Examples
    --------
    >>> index, metres = nearest(0.0, 0.0, [0.0, 0.0, 1.0], [0.02, 0.01, 0.0], 2)
    >>> index.tolist(), metres.round(0).tolist()
    ([1, 0], [1112.0, 2224.0])
    """
    metres: FloatArray = np.atleast_1d(
        distance_m(latitude_deg, longitude_deg, latitudes_deg, longitudes_deg)
    )
    order = np.argsort(metres, kind="stable")[:count]
    return order, metres[order]


def within_distance(
    latitudes_deg: npt.ArrayLike,
    longitudes_deg: npt.ArrayLike,
    of_latitudes_deg: npt.ArrayLike,
    of_longitudes_deg: npt.ArrayLike,
    radius_m: float,
) -> BoolArray:
    """
    Return which points lie within a distance of any of some others.

    Parameters
    ----------
    latitudes_deg, longitudes_deg : array_like, shape (n,)
        The points asked about, WGS 84.
    of_latitudes_deg, of_longitudes_deg : array_like, shape (m,)
        At least one point to be near to.
    radius_m : float
        Great-circle distance on the mean sphere; a point just so far away is within. [m]

    Returns
    -------
    numpy.ndarray of bool, shape (n,)

    Examples
    --------
    >>> within_distance([0.0, 0.0], [0.001, 0.003], [0.0], [0.0], 112.0).tolist()
    [True, False]
    """
    chord = 2.0 * np.sin(radius_m / (2.0 * MEAN_EARTH_RADIUS_M))
    tree = cKDTree(_on_unit_sphere(of_latitudes_deg, of_longitudes_deg))
    distances, _places = tree.query(_on_unit_sphere(latitudes_deg, longitudes_deg))
    near: BoolArray = distances <= chord
    return near


def _on_unit_sphere(latitudes_deg: npt.ArrayLike, longitudes_deg: npt.ArrayLike) -> FloatArray:
    phi, lam = np.radians(latitudes_deg), np.radians(longitudes_deg)
    return np.column_stack((np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)))
