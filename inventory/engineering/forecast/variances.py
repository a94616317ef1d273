"""How much visits, signs, lots and sessions of a cohort differ."""

from dataclasses import dataclass, fields
from typing import Self

import numpy as np

from inventory.engineering.inspection.student import FloatArray


@dataclass(frozen=True, slots=True)
class Variances:
    """
    The spread of a cohort: standard deviations, and the correlation of sign level and slope.

    On the log scale the levels are shares (0.15 is 15 %) and the slopes shares a year; on the
    plain scale they are cd/lx/m² and cd/lx/m² a year. ``lot_level_sd`` is 0, as the slope's
    is, where no lot term was fitted; ``session_sd``, of the error that all visits of an
    instrument and day share, is 0 where no session term was.
    """

    residual_sd: float
    sign_level_sd: float
    sign_slope_sd: float
    sign_correlation: float = 0.0
    lot_level_sd: float = 0.0
    lot_slope_sd: float = 0.0
    session_sd: float = 0.0

    @property
    def has_lots(self) -> bool:
        """Return whether lots have an effect of their own."""
        return self.lot_level_sd > 0 and self.lot_slope_sd > 0

    @property
    def sign_matrix(self) -> FloatArray:
        """Return the 2 × 2 variance of a sign's level and slope."""
        s0, s1 = self.sign_level_sd, self.sign_slope_sd
        common = self.sign_correlation * s0 * s1
        return np.array([[s0 * s0, common], [common, s1 * s1]])

    def times(self, factor: float) -> Self:
        """
        Return the spread in another unit.

        Examples
        --------
        >>> Variances(0.08, 0.15, 0.01).times(100.0).sign_level_sd
        15.0
        """
        sds = {
            each.name: getattr(self, each.name) * factor
            for each in fields(self)
            if each.name != "sign_correlation"
        }
        return type(self)(sign_correlation=self.sign_correlation, **sds)

    def with_lots_added(self) -> Self:
        """Return the spread of signs of unknown lots: that of sign and lot together."""
        level = np.hypot(self.sign_level_sd, self.lot_level_sd).item()
        slope = np.hypot(self.sign_slope_sd, self.lot_slope_sd).item()
        common = self.sign_correlation * self.sign_level_sd * self.sign_slope_sd
        return type(self)(
            self.residual_sd,
            level,
            slope,
            common / (level * slope),
            session_sd=self.session_sd,
        )

    @classmethod
    def from_vector(cls, vector: FloatArray) -> Self:
        """Return the spread from logarithms of variances (and artanh of the correlation)."""
        residual, level, slope, correlation, *lots = (float(each) for each in vector)
        return cls(
            np.exp(residual / 2).item(),
            np.exp(level / 2).item(),
            np.exp(slope / 2).item(),
            np.tanh(correlation).item(),
            *(np.exp(each / 2).item() for each in lots),
        )

    def to_vector(self) -> FloatArray:
        """
        Return what an optimiser moves: four numbers, or six with lots; sessions go apart.

        Examples
        --------
        >>> spread = Variances(0.08, 0.15, 0.01, -0.2, 0.05, 0.004)
        >>> Variances.from_vector(spread.to_vector()).lot_slope_sd.__round__(6)
        0.004
        """
        sds = [self.residual_sd, self.sign_level_sd, self.sign_slope_sd]
        vector = [2 * np.log(each) for each in sds] + [np.arctanh(self.sign_correlation)]
        if self.has_lots:
            vector += [2 * np.log(self.lot_level_sd), 2 * np.log(self.lot_slope_sd)]
        return np.array(vector)
