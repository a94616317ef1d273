"""How R_A may fall with age: along a line, or along a smooth curve."""

from dataclasses import dataclass
from typing import Self

import numpy as np

from inventory.engineering.inspection.student import FloatArray
from inventory.errors import OutOfRangeError

CURVE_KNOT_QUANTILES = (0.05, 0.35, 0.65, 0.95)
MINIMUM_KNOT_DISTANCE_YEARS = 0.25


@dataclass(frozen=True, slots=True)
class AgeShape:
    """
    The columns that an age stands for: 1, the age, and for a curve two more.

    Parameters
    ----------
    knots_years : tuple of float
        Empty for a line; else four ages, ascending, between which the curve bends. Beyond the
        first and the last it is straight.

    Raises
    ------
    OutOfRangeError
        If there are knots, but not four that ascend by a quarter of a year or more.

    References
    ----------
    .. [1] F. E. Harrell, *Regression Modeling Strategies*, section 2.4.5: restricted cubic
       splines with four knots at the quantiles 0.05, 0.35, 0.65 and 0.95 (from memory).

    Examples
    --------
    >>> LINEAR.basis(np.array([0.0, 2.0])).tolist()
    [[1.0, 0.0], [1.0, 2.0]]
    >>> AgeShape((1.0, 4.0, 7.0, 10.0)).basis(np.array([4.0])).round(4).tolist()
    [[1.0, 4.0, 0.3333, 0.0]]
    """

    knots_years: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        knots = self.knots_years
        steps = np.diff(np.array(knots)) if knots else np.array([])
        if knots and (len(knots) != 4 or not (steps >= MINIMUM_KNOT_DISTANCE_YEARS).all()):
            msg = (
                f"The knots {knots} do not make a curve; it takes four ages that ascend by "
                f"{MINIMUM_KNOT_DISTANCE_YEARS} years or more."
            )
            raise OutOfRangeError(msg)

    @classmethod
    def curved(cls, ages_years: FloatArray) -> Self:
        """
        Return the curve whose knots are at the quantiles of the ages read.

        Raises
        ------
        OutOfRangeError
            If the ages do not spread over enough years for four knots.

        Examples
        --------
        >>> AgeShape.curved(np.linspace(0.0, 10.0, 101)).knots_years
        (0.5, 3.5, 6.5, 9.5)
        """
        if not len(ages_years):
            msg = "No reading of known age: there is no curve; it takes four ages."
            raise OutOfRangeError(msg)
        knots = np.quantile(ages_years, CURVE_KNOT_QUANTILES)
        return cls(tuple(float(round(age, 6)) for age in knots))

    @property
    def name(self) -> str:
        """Return ``linear`` or ``curved``."""
        return "curved" if self.knots_years else "linear"

    @property
    def column_count(self) -> int:
        """Return how many columns an age stands for."""
        return 2 + max(len(self.knots_years) - 2, 0)

    def basis(self, ages_years: FloatArray) -> FloatArray:
        """
        Return one row per age, in years: 1, the age, and the bends of a curve.

        A bend is 0 up to its knot and a straight line after the last knot; it is divided by
        (last − first knot)² so that it has the unit of an age.
        """
        return self._columns(ages_years, 3)

    def slope_basis(self, ages_years: FloatArray) -> FloatArray:
        """
        Return the derivative of each column of :meth:`basis` by the age.

        Examples
        --------
        >>> LINEAR.slope_basis(np.array([5.0])).tolist()
        [[0.0, 1.0]]
        """
        return self._columns(ages_years, 2)

    def _columns(self, ages_years: FloatArray, power: int) -> FloatArray:
        """Return the columns (power 3) or their derivatives (power 2)."""
        columns = np.zeros((len(ages_years), self.column_count))
        if power == 3:
            columns[:, 0] = 1.0
            columns[:, 1] = ages_years
        else:
            columns[:, 1] = 1.0
        if not self.knots_years:
            return columns
        *inner, before, last = self.knots_years
        factor = (1.0 if power == 3 else 3.0) / (last - self.knots_years[0]) ** 2

        def beyond(knot: float) -> FloatArray:
            return np.asarray(np.maximum(ages_years - knot, 0.0) ** power)

        for place, knot in enumerate(inner):
            columns[:, 2 + place] = factor * (
                beyond(knot)
                - beyond(before) * (last - knot) / (last - before)
                + beyond(last) * (before - knot) / (last - before)
            )
        return columns


LINEAR = AgeShape()
