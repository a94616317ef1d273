"""Two rules people use without a plan: worst first and oldest first."""

import numpy as np

from inventory.engineering.programme.problem import (
    NOT_PLANNED,
    FloatArray,
    ProgrammeProblem,
    WholeArray,
)


def in_turn(problem: ProgrammeProblem, order_of: FloatArray) -> WholeArray:
    """
    Return the plan of replacing in a fixed order each year until money or hours are used.

    A position that does not fit any more is passed over for a cheaper one behind it. Locks are
    kept; musts have no precedence, since the rules know of none.

    Parameters
    ----------
    problem : ProgrammeProblem
        What is there to choose from.
    order_of : array of float, (n, years)
        What each position is ranked by in each year, the highest first.

    Examples
    --------
    >>> one, two = np.ones(3), np.ones(2)
    >>> three = ProgrammeProblem(np.ones((3, 2)), one, np.zeros(3), two, two)
    >>> in_turn(three, np.array([[1.0, 1.0], [3.0, 3.0], [2.0, 2.0]])).tolist()
    [-1, 0, 1]
    """
    may = problem.is_allowed.copy()
    is_locked = problem.locked >= NOT_PLANNED
    may[is_locked] = False
    year = np.where(is_locked, problem.locked, NOT_PLANNED)
    money, hours = problem.spent(year)
    for now in range(problem.years):
        waiting = np.flatnonzero((year == NOT_PLANNED) & may[:, now])
        queue = waiting[np.argsort(-order_of[waiting, now], kind="stable")]
        room_money = problem.budget[now] - money[now]
        room_hours = problem.crew_hours_limit[now] - hours[now]
        while len(queue):
            cost, took = problem.cost[queue], problem.crew_hours[queue]
            fits = (np.cumsum(cost) <= room_money) & (np.cumsum(took) <= room_hours)
            number = int(np.argmin(fits)) if not fits.all() else len(queue)
            year[queue[:number]] = now
            room_money -= float(cost[:number].sum())
            room_hours -= float(took[:number].sum())
            behind = queue[number + 1 :]
            queue = behind[
                (problem.cost[behind] <= room_money)
                & (problem.crew_hours[behind] <= room_hours)
            ]
    return np.asarray(year, dtype=np.int64)


def worst_first(problem: ProgrammeProblem, below: FloatArray) -> WholeArray:
    """Return the plan that takes the signs most probably below their level first."""
    return in_turn(problem, below)


def oldest_first(problem: ProgrammeProblem, age_years: FloatArray) -> WholeArray:
    """Return the plan that takes the oldest signs first; unknown ages (nan) come last."""
    ages = np.where(np.isnan(age_years), -np.inf, age_years)
    return in_turn(problem, np.repeat(ages[:, None], problem.years, axis=1))
