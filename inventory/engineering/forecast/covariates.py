"""Facing quadrant and district as differences in yearly change."""

from dataclasses import dataclass, field
from typing import Self

import numpy as np
import numpy.typing as npt

from inventory.engineering.forecast.observations import UNKNOWN
from inventory.engineering.inspection.student import FloatArray, WholeArray

QUADRANT_COUNT = 4
SIGNS_OF_A_DISTRICT = 30  # read, for a district to have a change of its own
MOST_DISTRICTS = 24


def _no_districts() -> WholeArray:
    return np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class Covariates:
    """
    Which differences in yearly change a fit has, beside those of signs and lots.

    Each is a set of orthonormal contrasts times the age: the differences of its levels add up
    to nothing, and a sign whose level is not known has the average of them.

    Parameters
    ----------
    uses_quadrant : bool
        Whether the four facing quadrants differ.
    districts : array of int
        Districts that have a change of their own, ascending; all others have the average.

    Examples
    --------
    >>> facing = Covariates(uses_quadrant=True)
    >>> z = facing.contrasts(np.array([0, 1, 2, 3, -1]), np.full(5, -1))
    >>> (z.sum(axis=0).round(9) + 0.0).tolist(), ((z.T @ z).round(9) + 0.0).tolist()
    ([0.0, 0.0, 0.0], [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    >>> z[4].tolist()
    [0.0, 0.0, 0.0]
    """

    uses_quadrant: bool = False
    districts: WholeArray = field(default_factory=_no_districts)

    @classmethod
    def of_districts(cls, district: WholeArray, *, uses_quadrant: bool = False) -> Self:
        """
        Return the covariates of the districts with enough signs, the largest if there are many.

        Parameters
        ----------
        district : array of int
            Of each sign that was read, −1 where not known.

        Examples
        --------
        >>> Covariates.of_districts(np.repeat([2, 5, 7, -1], [40, 30, 29, 99])).districts
        array([2, 5])
        """
        numbers, counts = np.unique(district[district != UNKNOWN], return_counts=True)
        enough = counts >= SIGNS_OF_A_DISTRICT
        numbers, counts = numbers[enough], counts[enough]
        largest = np.argsort(-counts, kind="stable")[:MOST_DISTRICTS]
        kept = np.sort(numbers[largest])
        return cls(uses_quadrant, kept if len(kept) > 1 else kept[:0])

    @property
    def uses_district(self) -> bool:
        """Return whether districts differ."""
        return len(self.districts) > 1

    @property
    def column_count(self) -> int:
        """Return the number of contrasts."""
        return (QUADRANT_COUNT - 1 if self.uses_quadrant else 0) + max(
            len(self.districts) - 1, 0
        )

    def contrasts(self, quadrant: WholeArray, district: WholeArray) -> FloatArray:
        """Return the contrasts of signs, a row each; in the columns times the age."""
        parts = [np.zeros((len(quadrant), 0))]
        if self.uses_quadrant:
            parts.append(_rows(quadrant, np.arange(QUADRANT_COUNT)))
        if self.uses_district:
            parts.append(_rows(district, self.districts))
        return np.concatenate(parts, axis=1)

    def groups(
        self, quadrant: WholeArray, district: WholeArray
    ) -> tuple[WholeArray, FloatArray]:
        """
        Return the group of each sign, and a row of contrasts per group: few of them.

        Examples
        --------
        >>> group, z = Covariates(uses_quadrant=True).groups(
        ...     np.array([3, 3, -1]), np.array([-1, 0, 0]))
        >>> group.tolist(), z.shape
        ([1, 1, 0], (2, 3))
        """
        of_quadrant = quadrant if self.uses_quadrant else np.full(len(quadrant), UNKNOWN)
        of_district = np.full(len(district), UNKNOWN)
        if self.uses_district:
            is_kept = np.isin(district, self.districts)
            of_district = np.where(is_kept, district, UNKNOWN)
        size = QUADRANT_COUNT + 1
        codes, group = np.unique(
            (of_district + 1) * size + of_quadrant + 1, return_inverse=True
        )
        return group.astype(np.int64), self.contrasts(codes % size - 1, codes // size - 1)

    def to_json(self) -> dict[str, object]:
        """Return it as numbers and lists."""
        return {"uses_quadrant": self.uses_quadrant, "districts": self.districts.tolist()}

    @classmethod
    def from_json(cls, stored: dict[str, object]) -> Self:
        """Return what was stored."""
        return cls(
            bool(stored["uses_quadrant"]),
            np.array(stored["districts"], dtype=np.int64),
        )


NONE = Covariates()


def _rows(level: WholeArray, levels: WholeArray) -> FloatArray:
    """Return the rows of orthonormal contrasts; 0 for a level that is not among them."""
    helmert = _orthonormal(len(levels))
    place = np.minimum(np.searchsorted(levels, level), len(levels) - 1)
    rows: npt.NDArray[np.float64] = helmert[place]
    return np.where((levels[place] == level)[:, None], rows, 0.0)


def _orthonormal(size: int) -> FloatArray:
    """Return Helmert's contrasts, each of length one: (size, size − 1)."""
    columns = np.zeros((size, size - 1))
    for k in range(1, size):
        columns[:k, k - 1] = 1.0
        columns[k, k - 1] = -k
        columns[:, k - 1] /= np.sqrt(k * (k + 1))
    return columns
