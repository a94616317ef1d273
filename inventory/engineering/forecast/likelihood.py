"""
The restricted likelihood of a cohort and its gradient, from the sums per sign.

Signs are eliminated first, then lots, then the fixed effects; each step is a Schur complement
of 2 × 2 blocks, so the cost is linear in signs. The gradient goes the same way back
(docs/methods/forecast.md derives both).
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt

from inventory.engineering.forecast.grams import SignGrams, triangle
from inventory.engineering.inspection.student import FloatArray, WholeArray

TruthArray = npt.NDArray[np.bool_]
Pair = tuple[FloatArray, FloatArray]


@dataclass(frozen=True, slots=True)
class Variances:
    """
    The spread of a cohort: standard deviations, and the correlation of sign level and slope.

    On the log scale the levels are shares (0.15 is 15 %) and the slopes shares a year; on the
    plain scale they are cd/lx/m² and cd/lx/m² a year. ``lot_level_sd`` is 0, as the slope's
    is, where no lot term was fitted.
    """

    residual_sd: float
    sign_level_sd: float
    sign_slope_sd: float
    sign_correlation: float = 0.0
    lot_level_sd: float = 0.0
    lot_slope_sd: float = 0.0

    @property
    def has_lots(self) -> bool:
        """Return whether lots have an effect of their own."""
        return self.lot_level_sd > 0 and self.lot_slope_sd > 0

    def with_lots_added(self) -> Self:
        """Return the spread of signs of unknown lots: that of sign and lot together."""
        level = np.hypot(self.sign_level_sd, self.lot_level_sd).item()
        slope = np.hypot(self.sign_slope_sd, self.lot_slope_sd).item()
        common = self.sign_correlation * self.sign_level_sd * self.sign_slope_sd
        return type(self)(self.residual_sd, level, slope, common / (level * slope))

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
        Return what an optimiser moves: four numbers, or six with lots.

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


@dataclass(frozen=True, slots=True, eq=False)
class CohortSums:
    """
    What a cohort's likelihood is of.

    ``lot`` is 0 to ``lot_count`` − 1, one for every sign: a sign whose lot is not known has one
    of its own. A sign of unknown age has a free level of its own, so that only its slope
    speaks. ``prior_precision`` and ``prior_mean`` are of the fixed effects; 0 where flat.
    """

    grams: SignGrams
    is_age_known: TruthArray
    lot: WholeArray
    lot_count: int
    prior_precision: FloatArray
    prior_mean: FloatArray


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
    """The fixed effects at given variances, and the lots' elimination (None without lots)."""

    coefficients: FloatArray
    covariance: FloatArray
    log_likelihood: float
    lots: Elimination | None


def sign_prior(variances: Variances, is_age_known: TruthArray) -> tuple[FloatArray, ...]:
    """Return the inverse of the 2 × 2 variance of each sign's level and slope."""
    g00, g11 = variances.sign_level_sd**2, variances.sign_slope_sd**2
    c = variances.sign_correlation * variances.sign_level_sd * variances.sign_slope_sd
    determinant = g00 * g11 - c * c
    return (
        np.where(is_age_known, g11 / determinant, 0.0),
        np.where(is_age_known, -c / determinant, 0.0),
        np.where(is_age_known, g00 / determinant, 1.0 / g11),
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
    return _evaluate(variances, cohort, wants_gradient=True)


def solve_cohort(variances: Variances, cohort: CohortSums) -> CohortSolution:
    """Return the fit at given variances: the same, without the gradient."""
    return _evaluate(variances, cohort, wants_gradient=False)[0]


def _evaluate(
    variances: Variances, cohort: CohortSums, *, wants_gradient: bool
) -> tuple[CohortSolution, FloatArray]:
    columns = cohort.grams.column_count
    places = triangle(columns)
    with_lots = variances.has_lots
    residual_variance = variances.residual_sd**2
    total = np.zeros((len(places), cohort.lot_count if with_lots else 1))
    log_determinant = 0.0
    kept = []
    for part, grams in cohort.grams.chunks():
        weights = 1.0 / (residual_variance + grams.known_variance)
        log_determinant -= float(grams.visit_count @ np.log(weights))
        done = eliminate(
            grams.per_sign(weights), sign_prior(variances, cohort.is_age_known[part]), columns
        )
        log_determinant += done.log_determinant
        for k, value in enumerate(done.left):
            if with_lots:
                total[k] += np.bincount(cohort.lot[part], value, cohort.lot_count)
            else:
                total[k] += value.sum()
        if wants_gradient:
            kept.append((part, grams, weights, done))
    known = int(cohort.is_age_known.sum())
    unknown = len(cohort.is_age_known) - known
    log_g11 = 2 * np.log(variances.sign_slope_sd)
    log_g = log_g11 + 2 * np.log(variances.sign_level_sd)
    log_g += np.log1p(-(variances.sign_correlation**2))
    log_determinant += known * log_g + unknown * log_g11
    lots = None
    if with_lots:
        lots = eliminate(total, _lot_prior(variances), columns)
        log_determinant += lots.log_determinant + 2 * cohort.lot_count * np.log(
            variances.lot_level_sd * variances.lot_slope_sd
        )
        total = np.stack([value.sum(keepdims=True) for value in lots.left])
    square = np.empty((columns, columns))
    for (i, j), value in zip(places, total[:, 0], strict=True):
        square[i, j] = square[j, i] = value
    fixed = columns - 1
    precision = square[:fixed, :fixed] + np.diag(cohort.prior_precision)
    pull = cohort.prior_precision * cohort.prior_mean
    covariance: FloatArray = np.linalg.inv(precision).astype(np.float64)
    right = square[:fixed, fixed] + pull
    coefficients = covariance @ right
    quadratic = square[fixed, fixed] + pull @ cohort.prior_mean - right @ coefficients
    visits = float(cohort.grams.visit_count.sum())
    free = visits - unknown - fixed
    deviance = log_determinant + np.linalg.slogdet(precision)[1] + quadratic
    solution = CohortSolution(
        coefficients=coefficients,
        covariance=covariance,
        log_likelihood=float(-0.5 * (deviance + free * np.log(2 * np.pi))),
        lots=lots,
    )
    if not wants_gradient:
        return solution, np.array([])
    ends = np.append(-coefficients, 1.0)
    adjoint_square = np.outer(ends, ends)
    adjoint_square[:fixed, :fixed] += covariance
    adjoint = [np.array([adjoint_square[place]]) for place in places]
    lot_prior_sums = np.zeros(3)
    if lots is not None:
        adjoint, of_lots = _back(lots, adjoint, columns)
        lot_prior_sums = np.array([each.sum() for each in of_lots])
    residual = 0.0
    prior_sums = np.zeros((2, 3))  # of signs of unknown and of known age
    doubled = np.array([1.0 if i == j else 2.0 for i, j in places])
    for part, grams, weights, done in kept:
        here = adjoint
        if lots is not None:
            here = [value[cohort.lot[part]] for value in adjoint]
        back, of_signs = _back(done, here, columns)
        is_known = cohort.is_age_known[part]
        for k, value in enumerate(of_signs):
            prior_sums[1, k] += value[is_known].sum()
            prior_sums[0, k] += value[~is_known].sum()
        one_each = len(grams.sign) == grams.sign_count
        inner = np.zeros(len(grams.sign))
        for factor, value, product in zip(doubled, back, grams.products, strict=True):
            inner += factor * product * (value if one_each else value[grams.sign])
        residual += float(weights @ (grams.visit_count - weights * inner))
    gradient = _of_vector(variances, residual, prior_sums, (known, unknown))
    if lots is not None:
        m0, m1 = variances.lot_level_sd**2, variances.lot_slope_sd**2
        gradient += [
            cohort.lot_count - lot_prior_sums[0] / m0,
            cohort.lot_count - lot_prior_sums[2] / m1,
        ]
    return solution, -0.5 * np.array(gradient)


def _lot_prior(variances: Variances) -> tuple[FloatArray, ...]:
    return (
        np.array(variances.lot_level_sd**-2.0),
        np.array(0.0),
        np.array(variances.lot_slope_sd**-2.0),
    )


def _of_vector(
    variances: Variances, residual: float, prior_sums: FloatArray, counts: tuple[int, int]
) -> list[float]:
    """Return the deviance's derivatives by the first four numbers of the vector."""
    s0, s1, r = variances.sign_level_sd, variances.sign_slope_sd, variances.sign_correlation
    g = np.array([[s0 * s0, r * s0 * s1], [r * s0 * s1, s1 * s1]])
    inverse = np.linalg.inv(g)
    unknown, known = prior_sums
    sums = np.array([[known[0], known[1]], [known[1], known[2]]])
    d = counts[0] * inverse - inverse @ sums @ inverse
    d11_unknown = counts[1] / g[1, 1] - unknown[2] / g[1, 1] ** 2
    return [
        residual * variances.residual_sd**2,
        float(d[0, 0] * g[0, 0] + d[0, 1] * g[0, 1]),
        float(d[1, 1] * g[1, 1] + d[0, 1] * g[0, 1] + d11_unknown * g[1, 1]),
        float(2 * d[0, 1] * (1 - r * r) * s0 * s1),
    ]
