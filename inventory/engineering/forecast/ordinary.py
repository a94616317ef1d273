"""How much ordinary lots differ from each other, whatever a few bad ones do."""

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from inventory.engineering.inspection.student import FloatArray

CLIP = 2.0  # standardised deviations beyond it count as much as one at it
STEPS = np.append(0.0, np.geomspace(1e-5, 0.3, 72))  # of the standard deviation, per year


def _clipped_moments(clip: float) -> tuple[float, float]:
    """
    Return the mean of min(z², clip²) of a normal z, and what makes its scores a likelihood's.

    The second is twice the mean slope of the score by log λ² over its variance.

    Examples
    --------
    >>> mean, scale = _clipped_moments(2.0)
    >>> round(mean, 3), round(scale, 2)
    (0.921, 1.2)
    """
    inside = float(2 * norm.cdf(clip) - 1)
    density = float(norm.pdf(clip))
    second = inside - 2 * clip * density
    fourth = 3 * inside - 2 * density * (clip**3 + 3 * clip)
    mean = second + clip**2 * (1 - inside)
    variance = fourth + clip**4 * (1 - inside) - mean**2
    return mean, 2 * second / variance


MEAN_CLIPPED, SCALE_OF_SCORES = _clipped_moments(CLIP)


@dataclass(frozen=True, slots=True, eq=False)
class OrdinaryVariation:
    """
    The standard deviation λ of ordinary lots, of all and without each in turn.

    ``chance`` has a row per lot: how probable each of ``STEPS`` is as λ, by the other lots.
    """

    sd: float
    sd_without: FloatArray
    chance: FloatArray

    @property
    def sd_at_most(self) -> FloatArray:
        """Return which λ is not passed with 95 %, without each lot in turn."""
        is_over = np.cumsum(self.chance, axis=1) >= 0.95
        return np.asarray(STEPS[np.argmax(is_over, axis=1)])


def ordinary_variation(
    deviation: FloatArray, variance: FloatArray, sd_before: float
) -> OrdinaryVariation:
    """
    Return how much ordinary lots differ, by a bounded-influence estimate of scale.

    λ solves Σ (min(z², 4) − 0.921) ÷ v = 0 with z² = deviation² ÷ (variance + λ²), v being
    variance + λ² at the estimate before: a lot far out counts no more than one at two standard
    deviations, and a lot read well counts more than one read badly. Solved again without each
    lot, so that a lot is compared with the variation of the others. How probable other λ are
    follows from the same scores, integrated over λ² and scaled to the estimate's precision,
    with all λ from 0 to 30 % a year alike beforehand.

    Parameters
    ----------
    deviation : array of float
        Of each lot, about 0.
    variance : array of float
        Of each deviation, but for the lots' own differences.
    sd_before : float
        An earlier estimate of λ, for the weights.

    References
    ----------
    .. [1] P. J. Huber (1964), Annals of Mathematical Statistics 35, 73-101: bounded influence
       (from memory).
    .. [2] R. C. Paule and J. Mandel (1982), Journal of Research of the NBS 87, 377-385: the
       same equation, not bounded (from memory).

    Examples
    --------
    >>> ordinary = np.array([-0.004, -0.002, -0.001, 0.0, 0.001, 0.002, 0.004] * 5)
    >>> plain = ordinary_variation(ordinary, np.full(35, 1e-6), 0.002)
    >>> with_one = ordinary_variation(np.append(ordinary, -0.05), np.full(36, 1e-6), 0.002)
    >>> round(plain.sd, 4), round(with_one.sd, 4), round(float(with_one.sd_without[-1]), 4)
    (0.0024, 0.0025, 0.0024)
    """
    weight = 1.0 / (variance + sd_before**2)
    total = variance[:, None] + STEPS**2
    clipped = np.minimum(deviation[:, None] ** 2 / total, CLIP**2) - MEAN_CLIPPED
    scores = weight[:, None] * clipped
    whole = scores.sum(axis=0)
    sd = float(_crossing(whole[None, :])[0])
    sd_without = _crossing(whole[None, :] - scores)
    slopes = SCALE_OF_SCORES / 2 * clipped / total
    steps = np.diff(STEPS**2)
    parts = np.cumsum((slopes[:, 1:] + slopes[:, :-1]) / 2 * steps, axis=1)
    heights = np.concatenate([np.zeros((len(parts), 1)), parts], axis=1)
    without = heights.sum(axis=0) - heights
    chance = np.exp(without - without.max(axis=1, keepdims=True)) * np.gradient(STEPS)
    return OrdinaryVariation(sd, sd_without, chance / chance.sum(axis=1, keepdims=True))


def _crossing(scores: FloatArray) -> FloatArray:
    """Return where each falling row passes 0: from 0 to the last step."""
    is_over = scores > 0
    after = np.where(is_over.all(axis=1), scores.shape[1] - 1, np.argmin(is_over, axis=1))
    before = np.maximum(after - 1, 0)
    rows = np.arange(len(scores))
    high, low = scores[rows, before], scores[rows, after]
    part = np.where(high > low, high / np.where(high > low, high - low, 1.0), 0.0)
    squares = STEPS**2
    square = squares[before] + np.clip(part, 0.0, 1.0) * (squares[after] - squares[before])
    return np.where(after == 0, 0.0, np.sqrt(square))
