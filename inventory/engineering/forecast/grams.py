"""The sums per sign that a fit needs: linear in the readings to make, then free of them."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Self

import numpy as np

from inventory.engineering.inspection.student import FloatArray, WholeArray

CHUNK_SIGNS = 16_384
CLASS_STEP = 1.1  # variances within ±5 % of each other count as one


@dataclass(frozen=True, slots=True, eq=False)
class SignGrams:
    """
    Per sign and class of known variance: X'X, X'y and y'y of its visits, and their number.

    With the columns of X (the first two 1 and the age) and then y taken as one table Z of p + 1
    columns, ``products`` holds the upper triangle of Z'Z row by row: an array per product, an
    entry per sign and class. Two sets of the same signs add up to the set of both visits.

    ``moved``, where sessions were taken out, has a column per sign: by how much its level
    (first half of the rows, one per column of X) and its slope (second half) rise with each
    coefficient because the sessions' errors fall with it. It is lost when sets are added.
    """

    sign_count: int
    column_count: int  # p + 1, with y
    sign: WholeArray
    known_variance: FloatArray
    visit_count: FloatArray
    products: FloatArray
    moved: FloatArray | None = None

    def __add__(self, other: Self) -> Self:
        return type(self)(
            max(self.sign_count, other.sign_count),
            self.column_count,
            np.concatenate([self.sign, other.sign]),
            np.concatenate([self.known_variance, other.known_variance]),
            np.concatenate([self.visit_count, other.visit_count]),
            np.concatenate([self.products, other.products], axis=1),
        )

    def of_signs(self, chosen: WholeArray) -> Self:
        """Return the sums of some signs, numbered anew in the given order."""
        number = np.full(self.sign_count, -1, dtype=np.int64)
        number[chosen] = np.arange(len(chosen))
        kept = number[self.sign] >= 0
        return type(self)(
            len(chosen),
            self.column_count,
            number[self.sign[kept]],
            self.known_variance[kept],
            self.visit_count[kept],
            self.products[:, kept],
            None if self.moved is None else self.moved[:, chosen],
        )

    def among(self, chosen: WholeArray, sign_count: int) -> Self:
        """Return the sums numbered as some, ascending, of more signs; the others have none."""
        moved = self.moved
        if moved is not None and len(chosen) < sign_count:
            wide = np.zeros((len(moved), sign_count))
            wide[:, chosen] = moved
            moved = wide
        return replace(self, sign_count=sign_count, sign=chosen[self.sign], moved=moved)

    def chunks(self, size: int = CHUNK_SIGNS) -> Iterator[tuple[slice, Self]]:
        """Yield the sums of ``size`` signs at a time; entries must be in the order of signs."""
        for start in range(0, self.sign_count, size):
            stop = min(start + size, self.sign_count)
            first, last = np.searchsorted(self.sign, [start, stop])
            yield (
                slice(start, stop),
                type(self)(
                    stop - start,
                    self.column_count,
                    self.sign[first:last] - start,
                    self.known_variance[first:last],
                    self.visit_count[first:last],
                    self.products[:, first:last],
                    None if self.moved is None else self.moved[:, start:stop],
                ),
            )

    def per_sign(self, weights: FloatArray) -> FloatArray:
        """Return the weighted products summed over the classes of each sign."""
        weighted = self.products * weights
        if len(self.sign) == self.sign_count and (
            self.sign_count == 0 or (self.sign[-1] == self.sign_count - 1 and _rises(self.sign))
        ):
            return weighted
        return np.stack([np.bincount(self.sign, row, self.sign_count) for row in weighted])


def triangle(column_count: int) -> list[tuple[int, int]]:
    """
    Return the places of the upper triangle, in the order in which products are kept.

    Examples
    --------
    >>> triangle(2)
    [(0, 0), (0, 1), (1, 1)]
    """
    return [(i, j) for i in range(column_count) for j in range(i, column_count)]


def variance_class(known_variance: FloatArray) -> FloatArray:
    """
    Return variances rounded to steps of 10 %, so that a sign has few classes.

    Examples
    --------
    >>> variance_class(np.array([0.0, 0.000225, 0.000226])).round(6).tolist()
    [0.0, 0.000228, 0.000228]
    """
    step = np.log(CLASS_STEP)
    with np.errstate(divide="ignore"):
        rounded = np.exp(np.round(np.log(known_variance) / step) * step)
    return np.where(known_variance > 0, rounded, 0.0)


def sum_signs(
    sign: WholeArray,
    columns: FloatArray,
    response: FloatArray,
    known_variance: FloatArray,
    sign_count: int,
) -> SignGrams:
    """
    Return the sums of visits that come in the order of their signs.

    Parameters
    ----------
    sign : array of int, (n,)
        Whose each visit is, ascending.
    columns : array of float, (n, p)
        The columns of the fit, the first two 1 and the age.
    response : array of float, (n,)
        What is fitted.
    known_variance : array of float, (n,)
        Of each response, without the part that is estimated; rounded to classes here.
    sign_count : int
        Number of signs, with and without visits.

    Examples
    --------
    >>> sums = sum_signs(np.array([0, 0]), np.array([[1.0, 1.0], [1.0, 3.0]]),
    ...                  np.array([5.5, 5.4]), np.zeros(2), 1)
    >>> sums.products[:, 0].round(2).tolist()  # Σ1, Σa, Σy, Σa², Σay, Σy²
    [2.0, 4.0, 10.9, 10.0, 21.7, 59.41]
    """
    table = np.concatenate([columns, response[:, None]], axis=1)
    classes, code = np.unique(variance_class(known_variance), return_inverse=True)
    key = sign * len(classes) + code
    order = np.argsort(key, kind="stable") if len(classes) > 1 else slice(None)
    key, table = key[order], table[order]
    starts = np.flatnonzero(np.diff(key, prepend=-1))
    products = np.empty((len(triangle(table.shape[1])), len(starts)))
    for place, (i, j) in enumerate(triangle(table.shape[1])):
        if len(starts):
            products[place] = np.add.reduceat(table[:, i] * table[:, j], starts)
    return SignGrams(
        sign_count=sign_count,
        column_count=table.shape[1],
        sign=key[starts] // max(len(classes), 1),
        known_variance=classes[key[starts] % max(len(classes), 1)],
        visit_count=np.diff(starts, append=len(key)).astype(np.float64),
        products=products,
    )


def _rises(values: WholeArray) -> bool:
    return bool((values[1:] > values[:-1]).all())
