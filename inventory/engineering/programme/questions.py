"""What an engineer asks of a budget: the least that keeps the musts."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from inventory.engineering.programme.exactly import never
from inventory.engineering.programme.problem import (
    NOT_PLANNED,
    FloatArray,
    ProgrammeProblem,
    TruthArray,
    WholeArray,
)
from inventory.errors import OutOfRangeError, StateConflictError

LARGEST_SHARE = 1e6
_CLOSE_ENOUGH = 1e-4
_SMALL = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class LeastBudget:
    """
    The least share of each year's money with which a group of musts is kept, and a plan for it.

    ``share`` multiplies every year's budget and is enough; below ``lower_share`` no plan does.
    ``year`` is a plan of the musts alone (−1: the others).
    """

    share: float
    lower_share: float
    yearly_money: FloatArray
    year: WholeArray


def least_budget(
    problem: ProgrammeProblem,
    is_kept: TruthArray,
    *,
    should_stop: Callable[[], bool] = never,
) -> LeastBudget:
    """
    Return the least budget, in the given proportions, that keeps a group of musts.

    Crew hours are not asked about; years in which a position may not be replaced are minded.

    Parameters
    ----------
    problem : ProgrammeProblem
        With its musts; its budget says in which proportions money comes.
    is_kept : array of bool, (n,)
        Whose last years are to be kept, such as those of class 1; others are not replaced.
    should_stop : callable, optional
        Asked now and then.

    Raises
    ------
    OutOfRangeError
        If one of them has no year open to it, or no money comes by its last year.
    StateConflictError
        If it was stopped.

    References
    ----------
    .. [1] J. R. Jackson (1955), earliest due date first; Management Sciences Research Project,
       UCLA (from memory).

    Examples
    --------
    >>> two = ProgrammeProblem(np.zeros((2, 2)), np.array([300.0, 100.0]), np.zeros(2),
    ...     np.array([100.0, 100.0]), np.zeros(2), must_by=np.array([1, 0]))
    >>> found = least_budget(two, np.array([True, True]))
    >>> round(found.share, 2), found.year.tolist()
    (3.0, [1, 0])
    """
    kept = np.flatnonzero(is_kept & (problem.must_by >= 0))
    nothing = np.full(problem.count, NOT_PLANNED, dtype=np.int64)
    if not len(kept):
        return LeastBudget(0.0, 0.0, np.zeros(problem.years), nothing)
    may = problem.is_allowed[kept] & (np.arange(problem.years) <= problem.must_by[kept, None])
    last = np.where(may.any(axis=1), problem.years - 1 - may[:, ::-1].argmax(axis=1), -1)
    _check(problem, kept, last)
    spent = np.cumsum(np.bincount(last, problem.cost[kept], problem.years))
    come = np.cumsum(problem.budget)
    with np.errstate(divide="ignore", invalid="ignore"):
        needed = np.where(spent > 0, spent / come, 0.0)
    lower = float(needed.max())
    low, high = lower, lower
    year = _packed(problem, kept, may, last, high)
    while year is None and high < LARGEST_SHARE:
        _go_on(should_stop)
        low, high = high, max(high * 1.25, _SMALL)
        year = _packed(problem, kept, may, last, high)
    if year is None:
        msg = (
            f"No budget up to {LARGEST_SHARE:g} times the given one keeps these musts: in the "
            "years open to some of them no money comes."
        )
        raise OutOfRangeError(msg)
    while high - low > _CLOSE_ENOUGH * high:
        _go_on(should_stop)
        middle = (low + high) / 2
        found = _packed(problem, kept, may, last, middle)
        if found is None:
            low = middle
        else:
            high, year = middle, found
    nothing[kept] = year
    return LeastBudget(high, lower, problem.budget * high, nothing)


def _go_on(should_stop: Callable[[], bool]) -> None:
    if should_stop():
        msg = "Stopped before the least budget was found; ask again."
        raise StateConflictError(msg)


def _check(problem: ProgrammeProblem, kept: WholeArray, last: WholeArray) -> None:
    if (last < 0).any():
        place = int(kept[np.argmin(last)])
        msg = f"Position {place} has no year open to it by its last one; no money keeps it."
        raise OutOfRangeError(msg)
    come = np.cumsum(problem.budget)
    if (come[last] <= 0).any():
        place = int(kept[np.argmin(come[last])])
        msg = (
            f"No money comes by the last year of position {place}; give a budget to its years, "
            "however small."
        )
        raise OutOfRangeError(msg)


def _packed(
    problem: ProgrammeProblem, kept: WholeArray, may: TruthArray, last: WholeArray, share: float
) -> WholeArray | None:
    """Put each into a year with room, earliest last year first, large before small; or fail."""
    room = problem.budget * share * (1 + _SMALL) + _SMALL
    year = np.full(len(kept), NOT_PLANNED, dtype=np.int64)
    for place in np.lexsort((-problem.cost[kept], last)):
        cost = problem.cost[kept[place]]
        fits = np.flatnonzero(may[place] & (room >= cost))
        if not len(fits):
            return None
        # The fullest year that still has room, so that large gaps stay for large ones.
        to = int(fits[np.argmin(room[fits])])
        year[place] = to
        room[to] -= cost
    return year
