"""When the musts do not fit: the least extra money and hours, and which ones miss without."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import LinearConstraint
from scipy.sparse import csr_matrix, eye_array, hstack

from inventory.engineering.programme.exactly import never, solve_exactly
from inventory.engineering.programme.problem import (
    NOT_PLANNED,
    FloatArray,
    ProgrammeProblem,
    WholeArray,
)
from inventory.errors import StateConflictError

SECONDS = 5.0
GAP = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Shortfall:
    """
    What the musts and locks lack.

    ``extra_money`` and ``extra_hours`` are by year, the least in all with which every must and
    lock fits; ``least_money`` is what no plan can do with less of. ``missed`` are the places of
    the positions that miss their year with what there is, the fewest by weight, and ``year``
    where the others go (−1: nowhere).
    """

    extra_money: FloatArray
    extra_hours: FloatArray
    least_money: float
    missed: WholeArray
    year: WholeArray

    @property
    def is_nothing(self) -> bool:
        """Return whether everything fits."""
        return not len(self.missed)


def least_extra(
    problem: ProgrammeProblem,
    *,
    weight: FloatArray,
    seconds: float = SECONDS,
    should_stop: Callable[[], bool] = never,
) -> Shortfall:
    """
    Return the least extra money with which the musts fit, and which miss without it.

    Parameters
    ----------
    problem : ProgrammeProblem
        With musts or locks; others are put in no year.
    weight : array of float, (n,)
        How much it weighs when a position misses, over 0.
    seconds : float
        Time the exact solver is given for each of the two questions. [s]
    should_stop : callable, optional
        Asked while they are answered.

    Raises
    ------
    StateConflictError
        If the time was too short to find any answer, or it was stopped.

    Examples
    --------
    >>> two = ProgrammeProblem(np.zeros((2, 1)), np.array([100.0, 60.0]), np.zeros(2),
    ...     np.array([120.0]), np.zeros(1), must_by=np.array([0, 0]))
    >>> short = least_extra(two, weight=np.array([10.0, 1.0]))
    >>> short.extra_money.round(6).tolist(), short.missed.tolist()
    ([40.0], [1])
    """
    held = np.flatnonzero((problem.must_by >= 0) | (problem.locked >= 0))
    held = held[problem.locked[held] != NOT_PLANNED]
    may, _none = problem.options()
    nothing = np.zeros(problem.years)
    nowhere = np.full(problem.count, NOT_PLANNED, dtype=np.int64)
    # A must that no year is open to misses whatever the money is.
    hopeless = held[~may[held].any(axis=1)]
    held = held[may[held].any(axis=1)]
    if not len(held):
        return Shortfall(nothing, nothing.copy(), 0.0, hopeless, nowhere)
    rows = _Rows(problem, held, may)
    year = nowhere.copy()
    year[held] = rows.placed(weight, seconds, should_stop)
    missed = held[year[held] == NOT_PLANNED]
    if not len(missed):
        return Shortfall(nothing, nothing.copy(), 0.0, hopeless, year)
    money, hours, least = rows.lacking(seconds, should_stop)
    return Shortfall(money, hours, least, np.sort(np.concatenate([missed, hopeless])), year)


class _Rows:
    """The musts' choices as columns of a programme in whole numbers."""

    def __init__(self, problem: ProgrammeProblem, held: WholeArray, may: np.ndarray) -> None:
        self.problem, self.held = problem, held
        self.who, self.when = np.nonzero(may[held])
        column = np.arange(len(self.who))
        number, years = len(held), problem.years
        ones = np.ones(len(self.who))
        self.once = csr_matrix((ones, (self.who, column)), shape=(number, len(self.who)))
        self.unit = float(problem.cost[held].mean())
        shape = (years, len(self.who))
        cost = problem.cost[held][self.who] / self.unit
        self.money = csr_matrix((cost, (self.when, column)), shape=shape)
        took = problem.crew_hours[held][self.who]
        self.hours = csr_matrix((took, (self.when, column)), shape=shape)

    def placed(
        self, weight: FloatArray, seconds: float, should_stop: Callable[[], bool]
    ) -> WholeArray:
        """Return the years when as much weight as possible is put in; −1 for who misses."""
        found = solve_exactly(
            -weight[self.held][self.who],
            [
                LinearConstraint(self.once, -np.inf, 1.0),
                LinearConstraint(self.money, -np.inf, self.problem.budget / self.unit),
                LinearConstraint(self.hours, -np.inf, self.problem.crew_hours_limit),
            ],
            integrality=np.ones(len(self.who), dtype=np.int64),
            upper=1.0,
            seconds=seconds,
            gap=GAP,
            should_stop=should_stop,
        )
        year = np.full(len(self.held), NOT_PLANNED, dtype=np.int64)
        if found is not None:
            is_on = found.x > 0.5
            year[self.who[is_on]] = self.when[is_on]
        return year

    def lacking(
        self, seconds: float, should_stop: Callable[[], bool]
    ) -> tuple[FloatArray, FloatArray, float]:
        """Return extra money and hours by year with which all fit, and the bound on money."""
        years, columns = self.problem.years, len(self.who)
        none = csr_matrix((years, years))
        short = -eye_array(years)
        # Hours cost a little, so that only those are asked for that are lacking.
        objective = np.concatenate([np.zeros(columns), np.ones(years), np.full(years, 1e-3)])
        kind = np.repeat(np.array([1, 0], dtype=np.int64), [columns, 2 * years])
        upper = np.concatenate([np.ones(columns), np.full(2 * years, np.inf)])
        found = solve_exactly(
            objective,
            [
                LinearConstraint(
                    hstack([self.once, csr_matrix((len(self.held), 2 * years))]), 1.0, 1.0
                ),
                LinearConstraint(
                    hstack([self.money, short, none]), -np.inf, self.problem.budget / self.unit
                ),
                LinearConstraint(
                    hstack([self.hours, none, short]), -np.inf, self.problem.crew_hours_limit
                ),
            ],
            integrality=kind,
            upper=upper,
            seconds=seconds,
            gap=GAP,
            should_stop=should_stop,
        )
        if found is None:
            msg = (
                f"What {len(self.held)} musts lack was not found within {seconds:g} s; "
                "give the question more time, or fewer musts."
            )
            raise StateConflictError(msg)
        money = found.x[columns : columns + years] * self.unit
        hours = found.x[columns + years :]
        bound = float(found.mip_dual_bound)
        return money, hours, max(bound * self.unit, 0.0)
