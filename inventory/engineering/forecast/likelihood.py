"""
The restricted likelihood of a cohort and its gradient, from the sums per sign.

Signs are eliminated first, then lots, then the fixed effects; each step is a Schur complement
of 2 × 2 blocks, so the cost is linear in signs. The gradient goes the same way back
(docs/methods/forecast.md derives both).
"""

from dataclasses import dataclass, field, replace
from typing import Self

import numpy as np
import numpy.typing as npt

from inventory.engineering.forecast.cells import Cells
from inventory.engineering.forecast.grams import SignGrams, triangle
from inventory.engineering.forecast.variances import Variances
from inventory.engineering.inspection.student import FloatArray, WholeArray

TruthArray = npt.NDArray[np.bool_]
Pair = tuple[FloatArray, FloatArray]
Triple = tuple[FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class CohortSums:
    """
    What a cohort's likelihood is of.

    Parameters
    ----------
    grams : SignGrams
        Of the shape's columns and the response.
    is_age_known : array of bool
        A sign of unknown age has a free level of its own, so that only its slope speaks.
    lot : array of int
        0 to ``lot_count`` − 1, or −1: not known, whose effect is then the sign's alone.
    prior_precision, prior_mean : array of float
        Of the fixed effects, those of the contrasts last; 0 where flat.
    group : array of int, optional
        Whose contrasts each sign has; left out, there are none.
    contrasts : array of float, (groups, q), optional
        They are columns of the fit, times the age.
    """

    grams: SignGrams
    is_age_known: TruthArray
    lot: WholeArray
    lot_count: int
    prior_precision: FloatArray
    prior_mean: FloatArray
    group: WholeArray | None = None
    contrasts: FloatArray | None = None
    cells: Cells = field(init=False)

    def __post_init__(self) -> None:
        group, contrasts = self.group, self.contrasts
        if group is None or contrasts is None:
            group, contrasts = np.zeros(len(self.lot), dtype=np.int64), np.zeros((1, 0))
        made = Cells.make(self.lot, self.lot_count, group, contrasts)
        object.__setattr__(self, "cells", made)

    def of_signs(self, chosen: WholeArray, lot: WholeArray, lot_count: int) -> Self:
        """Return the sums of some signs, with their lots numbered anew."""
        return type(self)(
            self.grams.of_signs(chosen),
            self.is_age_known[chosen],
            lot,
            lot_count,
            self.prior_precision,
            self.prior_mean,
            None if self.group is None else self.group[chosen],
            self.contrasts,
        )

    def with_grams(self, grams: SignGrams) -> Self:
        """Return the same signs with other sums."""
        return replace(self, grams=grams)


@dataclass(frozen=True, slots=True, eq=False)
class Elimination:
    """Blocks of two effects taken out of symmetric sums: what was solved, what is left."""

    inverse: tuple[FloatArray, FloatArray, FloatArray]  # (0,0), (0,1), (1,1)
    solved: list[Pair]  # per column k: inverse · sums[:2, k]
    left: list[FloatArray]  # in the order of the triangle
    log_determinant: float


def eliminate(sums: FloatArray, prior: tuple[FloatArray, ...], columns: int) -> Elimination:
    """
    Take the effects of the first two columns out of every set of sums.

    Parameters
    ----------
    sums : array of float, (m, n)
        Upper triangles of n symmetric matrices.
    prior : tuple of array
        Inverse of the effects' 2 × 2 variance: (0,0), (0,1), (1,1).
    columns : int
        Size of the matrices.

    Examples
    --------
    >>> done = eliminate(np.array([[2.0], [0.0], [4.0], [3.0], [6.0], [20.0]]),
    ...                  (np.array([0.0]), np.array([0.0]), np.array([0.0])), 3)
    >>> done.left[-1].tolist()  # 20 − 4²/2 − 6²/3
    [0.0]
    """
    at = {place: k for k, place in enumerate(triangle(columns))}
    a00, a01, a11 = prior[0] + sums[0], prior[1] + sums[1], prior[2] + sums[at[1, 1]]
    determinant = a00 * a11 - a01 * a01
    i00, i01, i11 = a11 / determinant, -a01 / determinant, a00 / determinant
    first = [sums[at[0, k]] for k in range(columns)]
    second = [sums[at[min(1, k), max(1, k)]] for k in range(columns)]
    solved = [
        (i00 * b0 + i01 * b1, i01 * b0 + i11 * b1) for b0, b1 in zip(first, second, strict=True)
    ]
    left = [
        sums[k] - first[i] * solved[j][0] - second[i] * solved[j][1] for (i, j), k in at.items()
    ]
    return Elimination((i00, i01, i11), solved, left, float(np.log(determinant).sum()))


def _back(
    done: Elimination, adjoint: list[FloatArray], columns: int
) -> tuple[list[FloatArray], tuple[FloatArray, FloatArray, FloatArray]]:
    """Return the adjoints of the sums and of the prior's inverse from those of what is left."""
    at = {place: k for k, place in enumerate(triangle(columns))}

    def of(i: int, j: int) -> FloatArray:
        return adjoint[at[min(i, j), max(i, j)]]

    w = [
        tuple(
            sum(of(i, j) * done.solved[j][k] for j in range(1, columns))
            + of(i, 0) * done.solved[0][k]
            for k in (0, 1)
        )
        for i in range(columns)
    ]
    z = {
        (k, m): sum(done.solved[i][k] * w[i][m] for i in range(1, columns))
        + done.solved[0][k] * w[0][m]
        for k, m in ((0, 0), (0, 1), (1, 1))
    }
    of_prior = (
        done.inverse[0] + z[0, 0],
        done.inverse[1] + z[0, 1],
        done.inverse[2] + z[1, 1],
    )
    back = []
    for i, j in at:
        value = of(i, j)
        if i < 2:
            value = value - w[j][i]
        if j < 2:
            value = value - w[i][j] + of_prior[_at_prior(i, j)]
        back.append(np.broadcast_to(value, done.inverse[0].shape))
    return back, of_prior


def _at_prior(i: int, j: int) -> int:
    """Return where the entry (i, j), i ≤ j, of a 2 × 2 block is kept."""
    return i + j


@dataclass(frozen=True, slots=True, eq=False)
class CohortSolution:
    """
    The fixed effects at given variances, and the lots' elimination (None without lots).

    ``lots_moved``, where sessions were taken out, says by how much each lot's level and slope
    rise with each of the shape's coefficients because the sessions' errors fall with it.
    """

    coefficients: FloatArray
    covariance: FloatArray
    log_likelihood: float
    lots: Elimination | None
    lots_moved: Pair | None = None


def sign_prior(variances: Variances, is_age_known: TruthArray) -> Triple:
    """Return the inverse of the 2 × 2 variance of each sign's level and slope."""
    g = variances.sign_matrix
    determinant = g[0, 0] * g[1, 1] - g[0, 1] ** 2
    return (
        np.where(is_age_known, g[1, 1] / determinant, 0.0),
        np.where(is_age_known, -g[0, 1] / determinant, 0.0),
        np.where(is_age_known, g[0, 0] / determinant, 1.0 / g[1, 1]),
    )


def prior_of_signs(
    variances: Variances, is_age_known: TruthArray, has_lot: TruthArray
) -> Triple:
    """Return each sign's inverse variance: with its lot's where it has no lot in the fit."""
    with_lot = sign_prior(variances, is_age_known)
    if not variances.has_lots or has_lot.all():
        return with_lot
    alone = sign_prior(variances.with_lots_added(), is_age_known)
    first, second, third = (
        np.where(has_lot, a, b) for a, b in zip(with_lot, alone, strict=True)
    )
    return first, second, third


def lot_prior(variances: Variances) -> Triple:
    """Return the inverse of the 2 × 2 variance of a lot's level and slope."""
    return (
        np.array(variances.lot_level_sd**-2.0),
        np.array(0.0),
        np.array(variances.lot_slope_sd**-2.0),
    )


def restricted_likelihood(
    variances: Variances, cohort: CohortSums
) -> tuple[CohortSolution, FloatArray]:
    """
    Return the fit at given variances and the gradient of its restricted log-likelihood.

    Parameters
    ----------
    variances : Variances
        Where; the gradient is by :meth:`Variances.to_vector`.
    cohort : CohortSums
        Every sign has a visit.

    References
    ----------
    .. [1] H. D. Patterson and R. Thompson (1971), Biometrika 58, 545-554 (REML).
    .. [2] N. M. Laird and J. H. Ware (1982), Biometrics 38, 963-974 (random level and slope).
    """
    solution, _square, gradient = _evaluate(variances, cohort, wants_gradient=True)
    return solution, gradient


def solve_cohort(variances: Variances, cohort: CohortSums) -> CohortSolution:
    """Return the fit at given variances: the same, without the gradient."""
    return _evaluate(variances, cohort, wants_gradient=False)[0]


def solve_with_square(
    variances: Variances, cohort: CohortSums
) -> tuple[CohortSolution, FloatArray]:
    """Return the fit at given variances, and the sums left when signs and lots are out."""
    solution, square, _gradient = _evaluate(variances, cohort, wants_gradient=False)
    return solution, square


def solve_square(
    square: FloatArray, cohort: CohortSums
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Return fixed effects, their precision and covariance, and what is left of y'y."""
    fixed = len(square) - 1
    precision = square[:fixed, :fixed] + np.diag(cohort.prior_precision)
    pull = cohort.prior_precision * cohort.prior_mean
    covariance: FloatArray = np.linalg.inv(precision).astype(np.float64)
    right = square[:fixed, fixed] + pull
    coefficients = covariance @ right
    quadratic = square[fixed, fixed] + pull @ cohort.prior_mean - right @ coefficients
    return coefficients, precision, covariance, float(quadratic)


def _evaluate(
    variances: Variances, cohort: CohortSums, *, wants_gradient: bool
) -> tuple[CohortSolution, FloatArray, FloatArray]:
    columns = cohort.grams.column_count
    cells = cohort.cells
    wide = columns + cells.contrasts.shape[1]
    places = triangle(columns)
    with_lots = variances.has_lots and cohort.lot_count > 0
    has_lot = (cohort.lot >= 0) & with_lots
    of_sign = cells.of_sign if with_lots else cells.of_group
    residual_variance = variances.residual_sd**2
    total = np.zeros((len(places), cells.number))
    log_determinant = 0.0
    kept = []
    for part, grams in cohort.grams.chunks():
        weights = 1.0 / (residual_variance + grams.known_variance)
        log_determinant -= float(grams.visit_count @ np.log(weights))
        prior = prior_of_signs(variances, cohort.is_age_known[part], has_lot[part])
        done = eliminate(grams.per_sign(weights), prior, columns)
        log_determinant += done.log_determinant
        for k, value in enumerate(done.left):
            total[k] += np.bincount(of_sign[part], value, cells.number)
        if wants_gradient:
            kept.append((part, grams, weights, done))
    own = variances.with_lots_added() if variances.has_lots else variances
    is_known = cohort.is_age_known
    alike = [  # signs with a lot, and without
        (variances.sign_matrix, has_lot & is_known, has_lot & ~is_known),
        (own.sign_matrix, ~has_lot & is_known, ~has_lot & ~is_known),
    ]
    for g, known, unknown in alike:
        log_determinant += float(known.sum() * np.log(np.linalg.det(g)))
        log_determinant += float(unknown.sum() * np.log(g[1, 1]))
    rest = cells.expand_groups(total)
    lots = None
    if with_lots:
        lots = eliminate(cells.expand_lots(total), lot_prior(variances), wide)
        log_determinant += lots.log_determinant + 2 * cohort.lot_count * np.log(
            variances.lot_level_sd * variances.lot_slope_sd
        )
        rest = rest + np.array([value.sum() for value in lots.left])
    square = np.empty((wide, wide))
    for (i, j), value in zip(triangle(wide), rest, strict=True):
        square[i, j] = square[j, i] = value
    coefficients, precision, covariance, quadratic = solve_square(square, cohort)
    free = float(cohort.grams.visit_count.sum()) - int((~is_known).sum()) - (wide - 1)
    deviance = log_determinant + np.linalg.slogdet(precision)[1] + quadratic
    solution = CohortSolution(
        coefficients=coefficients,
        covariance=covariance,
        log_likelihood=float(-0.5 * (deviance + free * np.log(2 * np.pi))),
        lots=lots,
    )
    if not wants_gradient:
        return solution, square, np.array([])
    ends = np.append(-coefficients, 1.0)
    adjoint_square = np.outer(ends, ends)
    adjoint_square[:-1, :-1] += covariance
    adjoint = [np.array([adjoint_square[place]]) for place in triangle(wide)]
    of_groups = cells.fold_groups(adjoint)
    lot_sums = np.zeros(3)
    if lots is None:
        here = of_groups
    else:
        adjoint, of_lots = _back(lots, adjoint, wide)
        lot_sums = np.array([each.sum() for each in of_lots])
        here = [
            np.concatenate(both)
            for both in zip(cells.fold_lots(adjoint), of_groups, strict=True)
        ]
    residual = 0.0
    prior_sums = np.zeros((4, 3))
    kind = 2 * ~has_lot + ~is_known  # lot and age known, lot alone, age alone, neither
    doubled = np.array([1.0 if i == j else 2.0 for i, j in places])
    first = 0 if lots is not None else cells.number - len(of_groups[0])
    for part, grams, weights, done in kept:
        back, of_signs = _back(done, [value[of_sign[part] - first] for value in here], columns)
        for k, value in enumerate(of_signs):
            prior_sums[:, k] += np.bincount(kind[part], value, 4)
        one_each = len(grams.sign) == grams.sign_count
        inner = np.zeros(len(grams.sign))
        for factor, value, product in zip(doubled, back, grams.products, strict=True):
            inner += factor * product * (value if one_each else value[grams.sign])
        residual += float(weights @ (grams.visit_count - weights * inner))
    of_signs_with, of_signs_alone = (
        _of_matrix(g, prior_sums[2 * at : 2 * at + 2], int(known.sum()), int(unknown.sum()))
        for at, (g, known, unknown) in enumerate(alike)
    )
    gradient = _of_vector(variances, residual, of_signs_with + of_signs_alone)
    if variances.has_lots:
        m0, m1 = variances.lot_level_sd**2, variances.lot_slope_sd**2
        number = cohort.lot_count if with_lots else 0
        gradient += [
            number - lot_sums[0] / m0 + float(of_signs_alone[0, 0]) * m0,
            number - lot_sums[2] / m1 + float(of_signs_alone[1, 1]) * m1,
        ]
    return solution, square, -0.5 * np.array(gradient)


def _of_matrix(g: FloatArray, sums: FloatArray, known: int, unknown: int) -> FloatArray:
    """Return the deviance's derivatives by the 2 × 2 variance of some signs."""
    of_known, of_unknown = sums
    inverse = np.linalg.inv(g)
    square = np.array([[of_known[0], of_known[1]], [of_known[1], of_known[2]]])
    d = known * inverse - inverse @ square @ inverse
    d[1, 1] += unknown / g[1, 1] - of_unknown[2] / g[1, 1] ** 2
    return np.asarray(d)


def _of_vector(variances: Variances, residual: float, d: FloatArray) -> list[float]:
    """Return the deviance's derivatives by the first four numbers of the vector."""
    s0, s1, r = variances.sign_level_sd, variances.sign_slope_sd, variances.sign_correlation
    g = variances.sign_matrix
    return [
        residual * variances.residual_sd**2,
        float(d[0, 0] * g[0, 0] + d[0, 1] * g[0, 1]),
        float(d[1, 1] * g[1, 1] + d[0, 1] * g[0, 1]),
        float(2 * d[0, 1] * (1 - r * r) * s0 * s1),
    ]
