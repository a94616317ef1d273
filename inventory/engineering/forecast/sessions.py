"""
What the visits of one instrument and day share: an error per session, crossed with signs.

A session's error is normal about 0 with one variance for all sessions. It is solved for
together with signs, lots and the cohort's line by conjugate gradients on the sessions alone,
signs and lots eliminated: no matrix of sessions by sessions is made, and time and memory are
linear in the visits. docs/methods/forecast.md derives it and says what is approximate.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from inventory.engineering.forecast.grams import SignGrams, variance_class
from inventory.engineering.forecast.likelihood import (
    CohortSolution,
    CohortSums,
    Elimination,
    eliminate,
    prior_of_signs,
    solve_cohort,
    solve_square,
    solve_with_square,
)
from inventory.engineering.forecast.observations import UNKNOWN
from inventory.engineering.forecast.sums import Visits
from inventory.engineering.forecast.variances import Variances
from inventory.engineering.inspection.instrument_uncertainty import ASSUMED_UNCERTAINTY
from inventory.engineering.inspection.student import FloatArray, WholeArray

SESSION_PRIOR = ASSUMED_UNCERTAINTY.common_rel  # what an agency states, unless told otherwise
TOLERANCE = 1e-6  # of what is left over, to what there was
MOST_STEPS = 300
VARIANCE_STEP = 0.04  # known variances within 2 % of the residual's count as one
_ROUNDS_OF_OWN_VARIANCE = 2


@dataclass(frozen=True, slots=True, eq=False)
class SessionSolution:
    """
    The sessions' errors at given variances, and the readings with them taken out.

    Parameters
    ----------
    effects : array of float, (sessions,)
        Mean of each session's error.
    own_variances : array of float, (sessions,)
        What is left uncertain of each, the cohort's line taken as known.
    left : float
        Sum of the sessions' left-over variances, that of the line with them.
    response, known_variance : array of float, (visits,)
        In place of those as read: signs, lots and line solved from them have the means that
        they have together with the sessions, and their variances to first order.
    grams : SignGrams
        Of these.
    solution : CohortSolution
        Line and lots; the line's covariance is the exact one.
    """

    effects: FloatArray
    own_variances: FloatArray
    left: float
    response: FloatArray
    known_variance: FloatArray
    grams: SignGrams
    solution: CohortSolution


@dataclass(frozen=True, slots=True, eq=False)
class SessionErrors:
    """
    The error found of each session, by its number in the observations, ascending.

    On the log scale 0.05 is 5 % too bright; on the plain scale it is in cd/lx/m².
    """

    numbers: WholeArray
    effects: FloatArray
    own_variances: FloatArray

    def of(self, session: WholeArray, session_sd: float) -> tuple[FloatArray, FloatArray]:
        """
        Return mean and variance of the error of visits' sessions, found or not.

        Examples
        --------
        >>> found = SessionErrors(np.array([2, 5]), np.array([0.1, -0.1]), np.full(2, 0.001))
        >>> found.of(np.array([5, 7]), 0.1)[0].tolist()
        [-0.1, 0.0]
        """
        if not len(self.numbers):
            return np.zeros(len(session)), np.full(len(session), session_sd**2)
        place = np.minimum(np.searchsorted(self.numbers, session), len(self.numbers) - 1)
        is_found = self.numbers[place] == session
        return (
            np.where(is_found, self.effects[place], 0.0),
            np.where(is_found, self.own_variances[place], session_sd**2),
        )


def number_sessions(session: WholeArray) -> tuple[WholeArray, int]:
    """
    Return sessions of two visits or more numbered 0, 1, 2 …, and how many there are.

    The error of a visit that shares it with none is its own, as if its session were unknown.

    Examples
    --------
    >>> number_sessions(np.array([7, -1, 3, 7, 2, 2]))
    (array([ 1, -1, -1,  1,  0,  0]), 2)
    """
    known = session != UNKNOWN
    _numbers, found, sizes = np.unique(session[known], return_inverse=True, return_counts=True)
    is_shared = sizes > 1
    number = np.where(is_shared, np.cumsum(is_shared) - 1, UNKNOWN)
    place = np.full(len(session), UNKNOWN, dtype=np.int64)
    place[known] = number[found]
    return place, int(is_shared.sum())


def solve_sessions(
    visits: Visits,
    session: WholeArray,
    session_count: int,
    cohort: CohortSums,
    variances: Variances,
    *,
    line: tuple[FloatArray, FloatArray] | None = None,
    is_for_variances: bool = False,
) -> SessionSolution:
    """
    Return the sessions' errors with everything else of a cohort, at given variances.

    Parameters
    ----------
    visits : Visits
        Of signs that each have one, as read.
    session : array of int
        0 to ``session_count`` − 1; −1 is a session of its own, of which nothing else is known.
    cohort : CohortSums
        The same signs; its sums are not used.
    variances : Variances
        ``session_sd`` over 0.
    line : tuple, optional
        Coefficients and covariance, where the line is not to be solved for but known.

    References
    ----------
    .. [1] M. R. Hestenes and E. Stiefel (1952), Journal of Research of the National Bureau of
       Standards 49, 409-436 (conjugate gradients; from memory).
    """
    of_session = variances.session_sd**2
    is_known = session >= 0
    known = variance_class(visits.known_variance + np.where(is_known, 0.0, of_session))
    weights = 1.0 / (variances.residual_sd**2 + known)
    cohort = cohort.with_grams(visits.sums(known_variance=known))
    solved, square = solve_with_square(variances, cohort)
    system = _System.make(visits, session, session_count, cohort, variances, weights, solved)
    right = system.right_sides(visits, cohort, solved.lots)
    found = system.solve(right)
    fixed = right.shape[1] - 1
    square = square - right.T @ found
    if line is None:
        beta, _precision, covariance, _left = solve_square(0.5 * (square + square.T), cohort)
    else:
        beta, covariance = line
    of_line = found[:, :fixed]
    effects = found[:, fixed] - of_line @ beta
    own, leverage = _own_variances(visits, session, session_count, cohort, variances, known)
    residual = system.residual(visits, cohort, solved.lots, effects, beta)
    own_of_visit = np.where(is_known, own[session], 0.0)
    taken_out = np.where(is_known, effects[session], 0.0)
    step = VARIANCE_STEP * variances.residual_sd**2
    known_variance = variance_class(np.round((known + own_of_visit) / step) * step)
    response = visits.response - taken_out + (known_variance - known) * weights * residual
    if is_for_variances:
        expected = visits.columns @ beta[: visits.columns.shape[1]]
        z = _contrasts(cohort)
        if z is not None:
            expected += (
                visits.columns[:, 1] * (z @ beta[visits.columns.shape[1] :])[visits.sign]
            )
        response = expected + (response - expected) / np.sqrt(1.0 - leverage**2)
    moved, lots_moved = system.moved(of_line[:, : visits.columns.shape[1]])
    grams = replace(visits.sums(response, known_variance), moved=moved)
    solution = solve_cohort(variances, cohort.with_grams(grams))
    return SessionSolution(
        effects=effects,
        own_variances=own,
        left=float(own.sum() + ((of_line @ covariance) * of_line).sum()),
        response=response,
        known_variance=known_variance,
        grams=grams,
        solution=replace(
            solution, coefficients=beta, covariance=covariance, lots_moved=lots_moved
        ),
    )


def improved_session_sd(
    session_sd: float,
    found: SessionSolution,
    prior_sd: float,
    prior_factor: float | None,
) -> float:
    """
    Return the sessions' spread that the errors found speak for, with a weak prior.

    With T sessions, left-over variances adding up to c and errors s, the restricted likelihood
    is highest where τ² = Σs² ÷ g, g = T − c ÷ τ² the number of errors that were really seen.

    Parameters
    ----------
    session_sd : float
        τ at which they were found.
    prior_sd : float
        What is stated of it; one standard deviation is a factor ``prior_factor``, None: flat.
    """
    seen = max(len(found.effects) - found.left / session_sd**2, 0.0)
    squares = float(found.effects @ found.effects)
    tightness = 0.0 if prior_factor is None else (2 * np.log(prior_factor)) ** -2.0
    centre = 2 * np.log(prior_sd)
    at = 2 * np.log(session_sd)
    for _step in range(50):
        ratio = squares * np.exp(-at)
        slope = 0.5 * (ratio - seen) - tightness * (at - centre)
        move = slope / (0.5 * ratio + tightness + 1e-12)
        at += float(np.clip(move, -2.0, 2.0))
        if abs(move) < 1e-10:
            break
    return float(np.exp(np.clip(at / 2, np.log(prior_sd) - 7.0, np.log(prior_sd) + 7.0)))


@dataclass(frozen=True, slots=True, eq=False)
class _System:
    """
    The equations of the sessions' errors when signs and lots are eliminated.

    With A⁻¹ = LL' of each sign and b its visits' columns 1 and age, ``factor`` is (l00, l10,
    l11) and N = L'B'WZ, a row pair per sign and a column per session. ``to_lots`` adds up
    PLN, P the inverse variance of each sign's effects, over the signs of each lot.
    """

    weighted_sessions: tuple[sparse.csr_array, sparse.csr_array]
    factor: tuple[FloatArray, FloatArray, FloatArray]
    solved: list[tuple[FloatArray, FloatArray]]
    diagonal: FloatArray
    preconditioner: FloatArray
    session: WholeArray
    weights: FloatArray
    lot: WholeArray
    to_lots: tuple[tuple[sparse.csr_array, sparse.csr_array], ...]
    lots: Elimination | None

    @classmethod
    def make(
        cls,
        visits: Visits,
        session: WholeArray,
        session_count: int,
        cohort: CohortSums,
        variances: Variances,
        weights: FloatArray,
        solution: CohortSolution,
    ) -> "_System":
        grams = cohort.grams
        has_lot = (cohort.lot >= 0) & (solution.lots is not None)
        prior = prior_of_signs(variances, cohort.is_age_known, has_lot)
        done = eliminate(
            grams.per_sign(1.0 / (variances.residual_sd**2 + grams.known_variance)),
            prior,
            grams.column_count,
        )
        i00, i01, i11 = done.inverse
        l00 = np.sqrt(i00)
        l10 = i01 / l00
        l11 = np.sqrt(np.maximum(i11 - l10 * l10, 0.0))
        sign, ages = visits.sign, visits.columns[:, 1]
        is_known = session >= 0
        place = np.where(is_known, session, 0)
        weights_known = np.where(is_known, weights, 0.0)
        n0 = weights_known * (l00[sign] + l10[sign] * ages)
        n1 = weights_known * l11[sign] * ages
        starts = np.searchsorted(sign, np.arange(visits.sign_count + 1))
        shape = (visits.sign_count, session_count)
        matrices = tuple(
            sparse.csr_array((values, place, starts), shape=shape) for values in (n0, n1)
        )
        seen = np.bincount(place, weights_known, session_count)
        diagonal = seen + variances.session_sd**-2.0
        explained = np.bincount(place, n0 * n0 + n1 * n1, session_count)
        return cls(
            (matrices[0], matrices[1]),
            (l00, l10, l11),
            done.solved,
            diagonal,
            1.0 / np.maximum(diagonal - explained, variances.session_sd**-2.0),
            place,
            weights_known,
            np.where(has_lot, cohort.lot, -1),
            () if solution.lots is None else _to_lots(cohort, prior, (l00, l10, l11)),
            solution.lots,
        )

    def right_sides(
        self, visits: Visits, cohort: CohortSums, lots: Elimination | None
    ) -> FloatArray:
        """Return Z'V⁻¹ of each column of the fit and of the response: (sessions, columns)."""
        z = _contrasts(cohort)
        base = list(visits.columns.T)
        if z is not None:
            base += [visits.columns[:, 1] * column[visits.sign] for column in z.T]
        base.append(visits.response)
        number = len(self.diagonal)
        seen = np.stack(
            [np.bincount(self.session, self.weights * column, number) for column in base], 1
        )
        u = [np.stack([pair[k] for pair in self.solved], 1) for k in (0, 1)]
        if z is not None:
            u = [
                np.concatenate([each[:, :-1], z * each[:, 1:2], each[:, -1:]], 1) for each in u
            ]
        l00, l10, l11 = (each[:, None] for each in self.factor)
        back = [u[0] / l00, (u[1] - l10 / l00 * u[0]) / np.maximum(l11, 1e-300)]
        if lots is not None:
            v = [np.stack([pair[k] for pair in lots.solved], 1) for k in (0, 1)]
            back = [a + b for a, b in zip(back, self._of_lots(v), strict=True)]
        return seen - self._transposed(back)

    def _of_lots(self, v: list[FloatArray]) -> list[FloatArray]:
        """Return L'P v of each sign's lot, 0 where it has none."""
        (k00, k01), (k10, k11) = self.to_lots
        return [k00.T @ v[0] + k10.T @ v[1], k01.T @ v[0] + k11.T @ v[1]]

    def _lot_effects(self, n: list[FloatArray], lots: Elimination) -> list[FloatArray]:
        """Return B⁻¹R x of the lots from N x of the signs."""
        r0, r1 = (first @ n[0] + second @ n[1] for first, second in self.to_lots)
        i00, i01, i11 = (each[:, None] for each in lots.inverse)
        return [i00 * r0 + i01 * r1, i01 * r0 + i11 * r1]

    def _transposed(self, back: list[FloatArray]) -> FloatArray:
        first, second = self.weighted_sessions
        return np.asarray(first.T @ back[0] + second.T @ back[1])

    def times(self, x: FloatArray) -> FloatArray:
        """Return the matrix of the equations times the columns of x."""
        n = [each @ x for each in self.weighted_sessions]
        back = n
        if self.lots is not None:
            of_lots = self._of_lots(self._lot_effects(n, self.lots))
            back = [a + b for a, b in zip(n, of_lots, strict=True)]
        return np.asarray(self.diagonal[:, None] * x - self._transposed(back))

    def solve(self, right: FloatArray) -> FloatArray:
        """Return what solves the equations, by conjugate gradients for all sides at once."""
        x = self.preconditioner[:, None] * right
        left = right - self.times(x)
        towards = self.preconditioner[:, None] * left
        step = towards.copy()
        before = (left * towards).sum(axis=0)
        enough = TOLERANCE**2 * (right * right * self.preconditioner[:, None]).sum(axis=0)
        for _each in range(MOST_STEPS):
            if (before <= enough).all():
                break
            ahead = self.times(step)
            along = (step * ahead).sum(axis=0)
            length = np.where(along > 0, before / np.where(along > 0, along, 1.0), 0.0)
            x += length * step
            left -= length * ahead
            towards = self.preconditioner[:, None] * left
            after = (left * towards).sum(axis=0)
            turn = np.where(before > 0, after / np.where(before > 0, before, 1.0), 0.0)
            step = towards + turn * step
            before = after
        return x

    def moved(
        self, of_line: FloatArray
    ) -> tuple[FloatArray, tuple[FloatArray, FloatArray] | None]:
        """Return by how much signs and lots rise with the line as the sessions fall with it."""
        n = [each @ of_line for each in self.weighted_sessions]
        l00, l10, l11 = (each[:, None] for each in self.factor)
        of_signs = np.concatenate([(l00 * n[0]).T, (l10 * n[0] + l11 * n[1]).T])
        if self.lots is None:
            return of_signs, None
        level, slope = self._lot_effects(n, self.lots)
        return of_signs, (level, slope)

    def residual(
        self,
        visits: Visits,
        cohort: CohortSums,
        lots: Elimination | None,
        effects: FloatArray,
        beta: FloatArray,
    ) -> FloatArray:
        """Return what no effect accounts for, of each visit."""
        z = _contrasts(cohort)
        size = visits.columns.shape[1]
        of_age = beta[1] + (0.0 if z is None else z @ beta[size:])  # of each sign
        n = [each @ effects[:, None] for each in self.weighted_sessions]
        l00, l10, l11 = self.factor
        u0 = -l00 * n[0][:, 0]
        u1 = -l10 * n[0][:, 0] - l11 * n[1][:, 0]
        for k, (a, b) in enumerate(self.solved[:-1]):
            times = of_age if k == 1 else beta[k]
            u0, u1 = u0 - a * times, u1 - b * times
        u0, u1 = u0 + self.solved[-1][0], u1 + self.solved[-1][1]
        if lots is not None:
            moved = self._lot_effects(n, lots)
            has_lot = self.lot >= 0
            l0, l1 = (
                np.where(has_lot, (v[-1] - np.stack(v[:-1], 1) @ beta - m[:, 0])[self.lot], 0.0)
                for v, m in zip(zip(*lots.solved, strict=True), moved, strict=True)
            )
            (a0, a1), (b0, b1) = self.solved[0], self.solved[1]
            u0, u1 = u0 + l0 - a0 * l0 - b0 * l1, u1 + l1 - a1 * l0 - b1 * l1
        sign = visits.sign
        of_level = u0 + beta[0]
        of_slope = u1 + of_age
        value = visits.response - of_level[sign] - visits.columns[:, 1] * of_slope[sign]
        for k in range(2, size):
            value -= visits.columns[:, k] * beta[k]
        return np.asarray(value - np.where(self.weights > 0, effects[self.session], 0.0))


def _contrasts(cohort: CohortSums) -> FloatArray | None:
    """Return the contrasts of each sign, None where there are none."""
    if cohort.group is None or cohort.contrasts is None or not cohort.contrasts.shape[1]:
        return None
    return np.asarray(cohort.contrasts[cohort.group])


def _to_lots(
    cohort: CohortSums,
    prior: tuple[FloatArray, FloatArray, FloatArray],
    factor: tuple[FloatArray, FloatArray, FloatArray],
) -> tuple[tuple[sparse.csr_array, sparse.csr_array], ...]:
    """Return the matrices (lots, signs) that add up P L n of the signs of each lot."""
    (p00, p01, p11), (l00, l10, l11) = prior, factor
    signs = np.flatnonzero(cohort.lot >= 0)
    order = np.argsort(cohort.lot[signs], kind="stable")
    places = signs[order]
    starts = np.searchsorted(cohort.lot[places], np.arange(cohort.lot_count + 1))
    shape = (cohort.lot_count, len(cohort.lot))

    def matrix(values: FloatArray) -> sparse.csr_array:
        return sparse.csr_array((values[places], places, starts), shape=shape)

    return (
        (matrix(p00 * l00 + p01 * l10), matrix(p01 * l11)),
        (matrix(p01 * l00 + p11 * l10), matrix(p11 * l11)),
    )


def _own_variances(
    visits: Visits,
    session: WholeArray,
    session_count: int,
    cohort: CohortSums,
    variances: Variances,
    known: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """
    Return what is left uncertain of each session's error, line and lots taken as known.

    Each visit says the error with the variance that it is itself predicted with from the
    other visits of its sign, whose own sessions' errors are uncertain in turn.
    """
    spread = variances.with_lots_added() if variances.has_lots else variances
    p00, p01, p11 = prior_of_signs(
        replace(spread, lot_level_sd=0.0, lot_slope_sd=0.0),
        cohort.is_age_known,
        np.zeros(len(cohort.lot), dtype=np.bool_),
    )
    sign, ages = visits.sign, visits.columns[:, 1]
    starts = np.searchsorted(sign, np.arange(visits.sign_count))
    is_known = session >= 0
    place = np.where(is_known, session, 0)
    own = np.full(session_count, variances.session_sd**2)
    alone = variances.residual_sd**2 + known
    for _round in range(_ROUNDS_OF_OWN_VARIANCE):
        weights = 1.0 / (alone + np.where(is_known, own[place], 0.0))
        with_age = weights * ages
        a00 = p00 + np.add.reduceat(weights, starts)
        a01 = p01 + np.add.reduceat(with_age, starts)
        a11 = p11 + np.add.reduceat(with_age * ages, starts)
        determinant = a00 * a11 - a01 * a01
        i00, i01, i11 = a11 / determinant, -a01 / determinant, a00 / determinant
        spread_of = i00[sign] + 2 * ages * i01[sign] + ages * ages * i11[sign]
        others = np.maximum(1.0 - weights * spread_of, 1e-12)
        precision = np.where(is_known, 1.0 / (alone + spread_of / others), 0.0)
        total = np.bincount(place, precision, session_count)
        own = 1.0 / (variances.session_sd**-2.0 + total)
    return own, precision * own[place]
