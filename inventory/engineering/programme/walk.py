"""A plain order for some stops: from each one to the nearest that is left."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from inventory.engineering.places.distance import distance_m


def nearest_neighbour_order(
    latitudes_deg: npt.ArrayLike, longitudes_deg: npt.ArrayLike, start: int = 0
) -> list[int]:
    """
    Return places in the order of a walk that always goes on to the nearest one left.

    A start for a person to adjust, not a shortest tour: it goes as the crow flies, and may
    leave a far place for the end.

    Parameters
    ----------
    latitudes_deg, longitudes_deg : array_like, shape (n,)
        WGS 84 positions.
    start : int
        Where the walk begins.

    Returns
    -------
    list of int
        Every place once; of equally near ones the one given first.

    Raises
    ------
    IndexError
        If there are places and ``start`` is none of them.

    References
    ----------
    .. [1] D. J. Rosenkrantz, R. E. Stearns and P. M. Lewis, An analysis of several heuristics
       for the traveling salesman problem, SIAM Journal on Computing 6 (1977) 563-581: the
       nearest neighbour method (from memory).

    Examples
    --------
    >>> nearest_neighbour_order([0.0, 0.0, 0.0], [0.0, 0.03, 0.01])
    [0, 2, 1]
    """
    latitudes = np.asarray(latitudes_deg, dtype=float)
    longitudes = np.asarray(longitudes_deg, dtype=float)
    if not latitudes.size:
        return []
    left = np.ones(latitudes.size, dtype=bool)
    walk = [range(latitudes.size)[start]]
    left[walk[0]] = False
    while left.any():
        here = walk[-1]
        metres = distance_m(latitudes[here], longitudes[here], latitudes, longitudes)
        walk.append(int(np.argmin(np.where(left, metres, np.inf))))
        left[walk[-1]] = False
    return walk


def walk_length_m(
    latitudes_deg: npt.ArrayLike, longitudes_deg: npt.ArrayLike, order: Sequence[int]
) -> float:
    """
    Return how far a walk is from its first place to its last, as the crow flies.

    Parameters
    ----------
    latitudes_deg, longitudes_deg : array_like, shape (n,)
        WGS 84 positions.
    order : sequence of int
        The places in the order of the walk.

    Returns
    -------
    float
        Nought for fewer than two places; the way by road is longer. [m]

    Examples
    --------
    >>> round(walk_length_m([0.0, 0.0, 0.0], [0.0, 0.03, 0.01], [0, 2, 1]))
    3336
    """
    latitudes = np.asarray(latitudes_deg, dtype=float)[list(order)]
    longitudes = np.asarray(longitudes_deg, dtype=float)[list(order)]
    steps = distance_m(latitudes[:-1], longitudes[:-1], latitudes[1:], longitudes[1:])
    return float(np.sum(steps))
