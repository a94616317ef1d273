"""What is told of an R_A: a distribution on one scale, or on either where that is open."""

from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np
from scipy.special import ndtr, ndtri

from inventory.engineering.forecast.scores import crps_log_normal, crps_normal
from inventory.engineering.inspection.student import FloatArray

_LOW, _HIGH = 0.05, 0.95
_HALVINGS = 48  # of the way between the quantiles on either scale
_STEPS = 512  # of an integral over R_A
_FARTHEST_SD = 5.0
_SMALLEST_RA = 1e-12  # stands for 0 and what is under it, whose logarithm there is not


class Telling(Protocol):
    """What is told of readings, an entry each, whatever it is told by."""

    @property
    def low_cd_lx_m2(self) -> FloatArray:
        """Return the lower end of the 90 % range."""

    @property
    def high_cd_lx_m2(self) -> FloatArray:
        """Return the upper end of the 90 % range."""

    @property
    def mean_cd_lx_m2(self) -> FloatArray:
        """Return the mean of R_A itself."""

    def below(self, values_cd_lx_m2: FloatArray) -> FloatArray:
        """Return how probable a reading under each value is."""

    def crps(self, seen_cd_lx_m2: FloatArray) -> FloatArray:
        """Return the score of each, in cd/lx/m²."""

    def quantile(self, share: float) -> FloatArray:
        """Return what a share of readings is under."""

    def of(self, chosen: FloatArray) -> Self:
        """Return what was told of some of the readings."""


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """
    What was told of readings beforehand: normal, of R_A or (``is_log``) of its logarithm.

    Examples
    --------
    >>> told = Told(np.log([200.0]), np.array([0.1]), is_log=True)
    >>> told.low_cd_lx_m2.round(1).tolist(), told.high_cd_lx_m2.round(1).tolist()
    ([169.7], [235.8])
    >>> told.below(np.array([200.0])).tolist()
    [0.5]
    """

    mean: FloatArray
    sd: FloatArray
    is_log: bool

    @property
    def low_cd_lx_m2(self) -> FloatArray:
        """Return the lower end of the 90 % range."""
        return self.quantile(_LOW)

    @property
    def high_cd_lx_m2(self) -> FloatArray:
        """Return the upper end of the 90 % range."""
        return self.quantile(_HIGH)

    @property
    def mean_cd_lx_m2(self) -> FloatArray:
        """Return the mean of R_A itself."""
        return np.exp(self.mean + 0.5 * self.sd**2) if self.is_log else self.mean

    def below(self, values_cd_lx_m2: FloatArray) -> FloatArray:
        """Return how probable a reading under each value is."""
        values = values_cd_lx_m2
        if self.is_log:
            values = np.log(np.maximum(values_cd_lx_m2, _SMALLEST_RA))
        return np.asarray(ndtr((values - self.mean) / self.sd))

    def crps(self, seen_cd_lx_m2: FloatArray) -> FloatArray:
        """Return the score of each, in cd/lx/m²."""
        score = crps_log_normal if self.is_log else crps_normal
        return score(self.mean, self.sd, seen_cd_lx_m2)

    def quantile(self, share: float) -> FloatArray:
        """Return what a share of readings is under."""
        value = self.mean + float(ndtri(share)) * self.sd
        return np.asarray(np.exp(value) if self.is_log else value)

    def of(self, chosen: FloatArray) -> "Told":
        """Return what was told of some of the readings."""
        return Told(self.mean[chosen], self.sd[chosen], self.is_log)


@dataclass(frozen=True, slots=True, eq=False)
class ToldOnBoth:
    """
    What is told where the scale is open: the one of two distributions, or the other.

    ``other_weight`` is how probable the other is; between 0 and 1.

    Examples
    --------
    >>> log = Told(np.log([100.0]), np.array([0.1]), is_log=True)
    >>> either = ToldOnBoth(log, Told(np.array([60.0]), np.array([10.0]), is_log=False), 0.5)
    >>> either.below(np.array([80.0])).round(3).tolist()
    [0.495]
    >>> either.low_cd_lx_m2.round(1).tolist(), either.high_cd_lx_m2.round(1).tolist()
    ([47.2], [113.7])
    """

    first: Told
    other: Told
    other_weight: float

    @property
    def low_cd_lx_m2(self) -> FloatArray:
        """Return the lower end of the 90 % range."""
        return self.quantile(_LOW)

    @property
    def high_cd_lx_m2(self) -> FloatArray:
        """Return the upper end of the 90 % range."""
        return self.quantile(_HIGH)

    @property
    def mean_cd_lx_m2(self) -> FloatArray:
        """Return the mean of R_A itself."""
        return self._mixed(self.first.mean_cd_lx_m2, self.other.mean_cd_lx_m2)

    def below(self, values_cd_lx_m2: FloatArray) -> FloatArray:
        """Return how probable a reading under each value is."""
        return self._mixed(self.first.below(values_cd_lx_m2), self.other.below(values_cd_lx_m2))

    def crps(self, seen_cd_lx_m2: FloatArray) -> FloatArray:
        """
        Return the score of each, in cd/lx/m².

        With F = (1 − w) F₁ + w F₂ it is (1 − w) CRPS₁ + w CRPS₂ − w (1 − w) ∫ (F₁ − F₂)².
        """
        parts = self.first, self.other
        ends = float(ndtr(_FARTHEST_SD))
        low = np.minimum(*(each.quantile(1 - ends) for each in parts))
        high = np.maximum(*(each.quantile(ends) for each in parts))
        at = low + (high - low) * np.linspace(0.0, 1.0, _STEPS)[:, None]
        apart = (self.first.below(at) - self.other.below(at)) ** 2
        shared = np.trapezoid(apart, at, axis=0)
        weight = self.other_weight
        scores = self._mixed(*(each.crps(seen_cd_lx_m2) for each in parts))
        return np.asarray(scores - weight * (1.0 - weight) * shared)

    def quantile(self, share: float) -> FloatArray:
        """Return what a share of readings is under: between the two quantiles, by halving."""
        first, other = self.first.quantile(share), self.other.quantile(share)
        low, high = np.minimum(first, other), np.maximum(first, other)
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            is_under = self.below(middle) < share
            low, high = np.where(is_under, middle, low), np.where(is_under, high, middle)
        return np.asarray(0.5 * (low + high))

    def of(self, chosen: FloatArray) -> "ToldOnBoth":
        """Return what was told of some of the readings."""
        return ToldOnBoth(self.first.of(chosen), self.other.of(chosen), self.other_weight)

    def _mixed(self, first: FloatArray, other: FloatArray) -> FloatArray:
        return np.asarray((1.0 - self.other_weight) * first + self.other_weight * other)
