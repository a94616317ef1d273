"""
A bound that no plan can pass, from prices on money and crew hours (Lagrangian relaxation).

With a price on each year's money and hours, every position chooses for itself: the best year at
value less price, or none. Whatever the prices, the sum of those best choices plus the worth of
the limits is at least the value of any plan that keeps the limits. The prices that make it
least are found on a smoothed sum, in which a position spreads over its choices, ever less
smooth; the bound told is always that of the sharp sum (docs/methods/programme.md).
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from inventory.engineering.programme.exactly import never
from inventory.engineering.programme.problem import FloatArray, ProgrammeProblem

POSITIONS_AT_ONCE = 16_384
SMOOTHING = (1.0, 0.3, 0.1, 0.03, 0.01, 0.003)  # shares of a typical position's value
STEPS_EACH = 60
_FORBIDDEN = -1e15


@dataclass(frozen=True, slots=True, eq=False)
class Prices:
    """The bound, and the prices of each year's money and crew hours that it comes from."""

    bound: float
    of_money: FloatArray
    of_hours: FloatArray
    evaluations: int


def least_bound(
    problem: ProgrammeProblem, *, should_stop: Callable[[], bool] = never
) -> Prices:
    """
    Return the least bound found on the value of any plan, with its prices.

    Parameters
    ----------
    problem : ProgrammeProblem
        What is chosen from.
    should_stop : callable, optional
        Asked between evaluations; the best bound so far is returned.

    References
    ----------
    .. [1] M. L. Fisher (1981), The Lagrangian relaxation method for solving integer programming
       problems, Management Science 27, 1-18 (from memory).
    .. [2] Yu. Nesterov (2005), Smooth minimization of non-smooth functions, Mathematical
       Programming 103, 127-152 (from memory).

    Examples
    --------
    >>> two = ProgrammeProblem(np.array([[3.0], [2.0]]), np.array([1.0, 1.0]), np.zeros(2),
    ...                        np.array([1.0]), np.array([1.0]))
    >>> round(least_bound(two).bound, 6)  # the better one alone
    3.0
    """
    search = _Search(problem, should_stop)
    start = np.full(2 * problem.years, 0.5)
    search.smoothed(start, search.unit)  # a bound there is, however soon it is stopped
    for share in SMOOTHING:
        if should_stop():
            break
        found = minimize(
            search.smoothed,
            start,
            args=(share * search.unit,),
            jac=True,
            method="L-BFGS-B",
            bounds=[(0.0, None)] * len(start),
            options={"maxiter": STEPS_EACH, "ftol": 1e-9},
        )
        start = found.x
    return Prices(
        search.bound,
        search.best[: problem.years],
        search.best[problem.years :],
        search.evaluations,
    )


def reduced_values(problem: ProgrammeProblem, prices: Prices) -> FloatArray:
    """
    Return value less price of every choice: a column per year, and the last for none.

    A choice that may not be made is far below all others.
    """
    may, none = problem.options()
    reduced = np.empty((problem.count, problem.years + 1))
    reduced[:, :-1] = problem.value
    reduced[:, :-1] -= problem.cost[:, None] * prices.of_money
    reduced[:, :-1] -= problem.crew_hours[:, None] * prices.of_hours
    reduced[:, :-1][~may] = _FORBIDDEN
    reduced[:, -1] = np.where(none, 0.0, _FORBIDDEN)
    return reduced


class _Search:
    """The smoothed bound as a function of scaled prices; remembers the best sharp one."""

    def __init__(self, problem: ProgrammeProblem, should_stop: Callable[[], bool]) -> None:
        self.problem = problem
        self.should_stop = should_stop
        self.may, self.none = problem.options()
        best_each = np.where(self.may, problem.value, 0.0).max(axis=1, initial=0.0)
        total = max(float(best_each.sum()), 1e-9)
        self.unit = max(float(best_each.max(initial=0.0)), 1e-9) / 10.0
        self.size = total / problem.years
        limits = np.concatenate([problem.budget, problem.crew_hours_limit])
        used = np.repeat([problem.cost.sum(), problem.crew_hours.sum()], problem.years)
        self.scale = self.size / 4.0 / np.maximum(limits, np.maximum(used, 1e-9) * 1e-3)
        self.bound = np.inf
        self.best = np.zeros(len(limits))
        self.evaluations = 0

    def smoothed(self, scaled: FloatArray, width: float) -> tuple[float, FloatArray]:
        """Return the smoothed bound and its gradient; both divided by a size."""
        problem, years = self.problem, self.problem.years
        prices = scaled * self.scale
        worth = float(problem.budget @ prices[:years])
        worth += float(problem.crew_hours_limit @ prices[years:])
        sharp, smooth = worth, worth
        money, hours = problem.budget.copy(), problem.crew_hours_limit.copy()
        for part in self._parts():
            reduced = problem.value[part] - problem.cost[part, None] * prices[:years]
            reduced -= problem.crew_hours[part, None] * prices[years:]
            reduced[~self.may[part]] = _FORBIDDEN
            zero = np.where(self.none[part], 0.0, _FORBIDDEN)
            most = np.maximum(reduced.max(axis=1), zero)
            sharp += float(most.sum())
            shares = np.exp(np.maximum((reduced - most[:, None]) / width, -50.0))
            total = shares.sum(axis=1) + np.exp(np.maximum((zero - most) / width, -50.0))
            smooth += float((most + width * np.log(total)).sum())
            shares /= total[:, None]
            money -= problem.cost[part] @ shares
            hours -= problem.crew_hours[part] @ shares
        self.evaluations += 1
        if sharp < self.bound:
            self.bound, self.best = sharp, prices
        gradient = np.concatenate([money, hours]) * self.scale
        if self.should_stop():
            gradient = np.zeros_like(gradient)  # ends the search where it is
        return smooth / self.size, gradient / self.size

    def _parts(self) -> Iterator[slice]:
        for start in range(0, self.problem.count, POSITIONS_AT_ONCE):
            yield slice(start, min(start + POSITIONS_AT_ONCE, self.problem.count))
