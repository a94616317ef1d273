"""What has to be done is placed first, each trip counted once; then what a plan had beside."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from inventory.engineering.programme.exactly import never
from inventory.engineering.programme.problem import (
    FREE,
    NOT_PLANNED,
    FloatArray,
    ProgrammeProblem,
    WholeArray,
)
from inventory.engineering.programme.trips import Ledger, TripCosts, keeps_limits
from inventory.errors import OutOfRangeError

_ASKED_EVERY = 1_000


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """
    A plan that keeps the limits, and the places of the musts that it does not keep.

    ``missed`` is what was found by placing one after the other, so fewer may be possible.
    """

    year: WholeArray
    missed: WholeArray


def locked_beyond(problem: ProgrammeProblem, trips: TripCosts) -> tuple[FloatArray, FloatArray]:
    """
    Return the money and hours of each year that the locked choices take beyond its limits.

    Examples
    --------
    >>> one = ProgrammeProblem(np.ones((1, 2)), np.array([50.0]), np.array([1.0]),
    ...     np.array([40.0, 90.0]), np.array([8.0, 8.0]), locked=np.array([0]))
    >>> trips = TripCosts(np.array([0]), np.array([0]), 30.0, 0.0, 0.0, 0.0)
    >>> locked_beyond(one, trips)[0].tolist()  # 50 + 30 − 40
    [40.0, 0.0]
    """
    money, hours = trips.spent(problem, np.where(problem.locked >= 0, problem.locked, -1))
    beyond = []
    for taken, there in ((money, problem.budget), (hours, problem.crew_hours_limit)):
        # Sums of money and hours carry the rounding of floating point.
        is_beyond = taken > there * (1 + 1e-9) + 1e-9
        beyond.append(np.where(is_beyond, taken - there, 0.0))
    return beyond[0], beyond[1]


def place_musts(
    problem: ProgrammeProblem,
    trips: TripCosts,
    *,
    weight: FloatArray,
    start: WholeArray | None = None,
    should_stop: Callable[[], bool] = never,
) -> Placed:
    """
    Return a plan of the locks, the musts, and as much of an earlier plan as fits beside them.

    An earlier plan that keeps everything is returned as it is. Else musts go one after the
    other: earliest last year first, then the heavier, then the cheaper; each to its year of
    the earlier plan if that fits, else to the one where it adds least, of equal ones the
    earliest.

    Parameters
    ----------
    problem : ProgrammeProblem
        Costs and hours of the faces alone; its locks have to fit.
    trips : TripCosts
        What going there costs.
    weight : array of float, (n,)
        How much it weighs when a must misses.
    start : array of int, (n,), optional
        An earlier plan; what of it is not allowed any more, or does not fit, is left out.
    should_stop : callable, optional
        Asked now and then; what is not placed by then has missed.

    Raises
    ------
    OutOfRangeError
        If the locked choices take more than there is; see :func:`locked_beyond`.

    Examples
    --------
    >>> two = ProgrammeProblem(np.zeros((2, 1)), np.array([50.0, 50.0]), np.zeros(2),
    ...     np.array([150.0]), np.zeros(1), must_by=np.array([0, 0]))
    >>> trips = TripCosts(np.array([0, 0]), np.array([0, 0]), 30.0, 20.0, 0.0, 0.0)
    >>> placed = place_musts(two, trips, weight=np.ones(2))  # 50 + 50 + 30 + 20
    >>> placed.year.tolist(), placed.missed.tolist()
    ([0, 0], [])
    """
    if start is not None and keeps_limits(problem, trips, start):
        return Placed(start.copy(), np.empty(0, dtype=np.int64))
    year = np.where(problem.locked >= 0, problem.locked, NOT_PLANNED).astype(np.int64)
    ledger = Ledger(problem, trips, year)
    if (ledger.money < -1e-6).any() or (ledger.hours < -1e-6).any():
        msg = "The locked choices take more than there is in their years; unlock some of them."
        raise OutOfRangeError(msg)
    before = np.full(problem.count, NOT_PLANNED) if start is None else start
    may, none = problem.options()
    is_open = problem.locked == FREE
    held = np.flatnonzero(is_open & ~none)
    order = np.lexsort((problem.cost[held], -weight[held], problem.must_by[held]))
    is_missed = np.zeros(problem.count, dtype=np.bool_)
    for number, who in enumerate(held[order].tolist()):
        if number % _ASKED_EVERY == _ASKED_EVERY - 1 and should_stop():
            is_missed[held[order][number:]] = True
            break
        money, hours = ledger.to_add(who)
        fits = may[who] & (ledger.money >= money) & (ledger.hours >= hours)
        if not fits.any():
            is_missed[who] = True
            continue
        to = int(before[who])
        if to < 0 or not fits[to]:
            to = int(np.where(fits, money + hours * 1e-6, np.inf).argmin())
        year[who] = to
        ledger.put_in(who, to)
    _go_on_with(problem, ledger, year, before, may, should_stop)
    return Placed(year, np.flatnonzero(is_missed & (year == NOT_PLANNED)))


def _go_on_with(
    problem: ProgrammeProblem,
    ledger: Ledger,
    year: WholeArray,
    before: WholeArray,
    may: np.ndarray,
    should_stop: Callable[[], bool],
) -> None:
    """Add what an earlier plan had beside, worth most first, where it fits."""
    had = np.flatnonzero((before >= 0) & (year == NOT_PLANNED) & (problem.locked == FREE))
    had = had[may[had, before[had]]]
    for number, who in enumerate(had[np.argsort(-problem.value[had, before[had]])].tolist()):
        if number % _ASKED_EVERY == _ASKED_EVERY - 1 and should_stop():
            return
        to = int(before[who])
        money, hours = ledger.to_add(who)
        if ledger.money[to] >= money[to] and ledger.hours[to] >= hours[to]:
            year[who] = to
            ledger.put_in(who, to)
