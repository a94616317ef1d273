"""Whether faces keep their gap and stay on the roll; for convex outlines."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from collections.abc import Sequence

FloatArray = npt.NDArray[np.float64]


def separation(one: FloatArray, other: FloatArray) -> float:
    """
    Return the widest empty lane between two convex outlines, beside an edge of either.

    Parameters
    ----------
    one, other : float array, corners × 2
        Counter-clockwise corners. [in]

    Returns
    -------
    float
        Width of the lane in inches; under zero: how deep they overlap. It is the distance,
        but where corner faces corner, where the distance is more.

    References
    ----------
    .. [1] The separating axis of convex polygons, one of their edges' normals; from memory.

    Examples
    --------
    >>> square = np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])
    >>> separation(square, square + [3.0, 0.0])
    2.0
    """
    return max(_lane(one, other), _lane(other, one))


def _lane(one: FloatArray, other: FloatArray) -> float:
    edges = np.roll(one, -1, axis=0) - one
    normals = np.column_stack((edges[:, 1], -edges[:, 0]))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    reach = np.einsum("ij,ij->i", normals, one)
    return float(((normals @ other.T).min(axis=1) - reach).max())


def least_separation(outlines: Sequence[FloatArray]) -> float:
    """
    Return the least lane between any two outlines; infinite for fewer than two.

    Those whose bounding boxes are further apart than the least found so far are passed over.
    """
    boxes = np.array([(*some.min(axis=0), *some.max(axis=0)) for some in outlines])
    least = math.inf
    order = np.argsort(boxes[:, 0]) if len(boxes) else np.array([], dtype=int)
    for at, one in enumerate(order):
        for other in order[at + 1 :]:
            if boxes[other, 0] - boxes[one, 2] >= least:
                break
            apart = max(
                boxes[other, 1] - boxes[one, 3],
                boxes[one, 1] - boxes[other, 3],
            )
            if apart < least:
                least = min(least, separation(outlines[one], outlines[other]))
    return least


def grown(outline: FloatArray, by: float) -> FloatArray:
    """
    Return a convex outline with every edge moved outward, corners mitred.

    Two outlines grown by half a gap that do not overlap keep the gap.

    Examples
    --------
    >>> grown(np.array([(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0)]), 0.5).tolist()
    [[-0.5, -0.5], [2.5, -0.5], [2.5, 1.5], [-0.5, 1.5]]
    """
    edges = np.roll(outline, -1, axis=0) - outline
    normals = np.column_stack((edges[:, 1], -edges[:, 0]))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    before = np.roll(normals, 1, axis=0)
    corner = (before + normals) / (1 + np.einsum("ij,ij->i", before, normals))[:, None]
    return np.asarray(outline + by * corner, dtype=np.float64)


def turned(outline: FloatArray, angle_deg: float) -> FloatArray:
    """Return an outline turned about the origin, counter-clockwise."""
    angle = math.radians(angle_deg)
    sine, cosine = math.sin(angle), math.cos(angle)
    return np.asarray(outline @ np.array([[cosine, sine], [-sine, cosine]]), dtype=np.float64)
