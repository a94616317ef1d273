"""From sums per sign to sums per lot and of all, with the columns of contrasts put in."""

from dataclasses import dataclass
from typing import Self

import numpy as np

from inventory.engineering.forecast.grams import triangle
from inventory.engineering.inspection.student import FloatArray, WholeArray


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """
    Signs of one lot and one group of contrasts together: a cell; then the groups without lot.

    A contrast is a column of the fit that is the age times a figure of the sign's group, so
    that its sums are those of the age times that figure: none of them is kept per sign.

    Parameters
    ----------
    of_sign : array of int
        Cell of each sign; of signs without lot, the number of cells with a lot + its group.
    of_group : array of int
        The same as if no sign had a lot.
    lot, group : array of int
        Of each cell that has a lot, in the order of lots.
    contrasts : array of float, (groups, q)
        Of each group.
    """

    of_sign: WholeArray
    of_group: WholeArray
    lot: WholeArray
    group: WholeArray
    lot_count: int
    contrasts: FloatArray

    @classmethod
    def make(
        cls, lot: WholeArray, lot_count: int, group: WholeArray, contrasts: FloatArray
    ) -> Self:
        """
        Return the cells of signs.

        Examples
        --------
        >>> cells = Cells.make(np.array([0, 1, -1]), 2, np.zeros(3, int), np.zeros((1, 0)))
        >>> cells.of_sign.tolist(), cells.number
        ([0, 1, 2], 3)
        """
        if len(contrasts) == 1:
            of_lot, group_of = np.arange(lot_count), np.zeros(lot_count, dtype=np.int64)
            place = lot
        else:
            has_lot = lot >= 0
            codes, found = np.unique(
                lot[has_lot] * len(contrasts) + group[has_lot], return_inverse=True
            )
            of_lot, group_of = codes // len(contrasts), codes % len(contrasts)
            place = np.full(len(lot), -1, dtype=np.int64)
            place[has_lot] = found
        alone = len(of_lot) + group
        return cls(
            np.where(lot >= 0, place, alone), alone, of_lot, group_of, lot_count, contrasts
        )

    @property
    def number(self) -> int:
        """Return the number of cells, with the groups without lot."""
        return len(self.lot) + len(self.contrasts)

    def expand_lots(self, total: FloatArray) -> FloatArray:
        """Return the triangles of lots, contrasts put in, from those of the cells."""
        if not self.contrasts.shape[1]:
            return total[:, : self.lot_count]
        with_lot = len(self.lot)
        wide = self._wide(total[:, :with_lot], self.contrasts[self.group])
        return np.stack([np.bincount(self.lot, row, self.lot_count) for row in wide])

    def expand_groups(self, total: FloatArray) -> FloatArray:
        """Return the one triangle of the signs without lot, contrasts put in."""
        wide = self._wide(total[:, len(self.lot) :], self.contrasts)
        return np.array([row.sum() for row in wide])

    def fold_lots(self, adjoint: list[FloatArray]) -> list[FloatArray]:
        """Return the adjoints of the cells' triangles from those of the lots'."""
        if not self.contrasts.shape[1]:
            return adjoint
        of_cells = [value[self.lot] for value in adjoint]
        return self._narrow(of_cells, self.contrasts[self.group])

    def fold_groups(self, adjoint: list[FloatArray]) -> list[FloatArray]:
        """Return the adjoints of the groups' triangles from those of the sum of all."""
        groups = len(self.contrasts)
        return self._narrow(
            [np.broadcast_to(value, (groups,)) for value in adjoint], self.contrasts
        )

    def _wide(self, total: FloatArray, z: FloatArray) -> list[FloatArray]:
        base, more = _size(len(total)), z.shape[1]
        at = {place: k for k, place in enumerate(triangle(base))}

        def source(column: int) -> tuple[int, FloatArray | float]:
            if column < base - 1:
                return column, 1.0
            if column == base - 1 + more:
                return base - 1, 1.0
            return 1, z[:, column - base + 1]

        rows = []
        for i, j in triangle(base + more):
            (a, f), (b, g) = source(i), source(j)
            rows.append(total[at[min(a, b), max(a, b)]] * f * g)
        return rows

    def _narrow(self, adjoint: list[FloatArray], z: FloatArray) -> list[FloatArray]:
        more = z.shape[1]
        base = _size(len(adjoint)) - more
        at = {place: k for k, place in enumerate(triangle(base + more))}

        def sources(column: int) -> list[tuple[int, FloatArray | float]]:
            here: list[tuple[int, FloatArray | float]] = [
                (column if column < base - 1 else base - 1 + more, 1.0)
            ]
            if column == 1:
                here += [(base - 1 + k, z[:, k]) for k in range(more)]
            return here

        rows = []
        for i, j in triangle(base):
            value = np.zeros(len(z))
            for a, f in sources(i):
                for b, g in sources(j):
                    value = value + adjoint[at[min(a, b), max(a, b)]] * f * g
            rows.append(value)
        return rows


def _size(entries: int) -> int:
    """Return the columns whose triangle has so many entries."""
    return int((np.sqrt(8 * entries + 1) - 1) / 2 + 0.5)
