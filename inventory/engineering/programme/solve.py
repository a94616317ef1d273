"""The plan: prices choose, what does not fit is moved, what is left open is solved exactly."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import LinearConstraint
from scipy.sparse import csr_matrix

from inventory.engineering.programme.bound import Prices, least_bound, reduced_values
from inventory.engineering.programme.exactly import never, solve_exactly
from inventory.engineering.programme.problem import (
    NOT_PLANNED,
    FloatArray,
    ProgrammeProblem,
    TruthArray,
    WholeArray,
)
from inventory.errors import StateConflictError

METHOD_VERSION = "programme-1"
OPEN_POSITIONS = 600  # solved exactly together, the rest held
EXACT_POSITIONS = 60  # so few are solved exactly as a whole
POLISH_ROUNDS = 2
POLISH_SECONDS = 2.0  # of the exact solver, each round
EXACT_GAP = 1e-6
FILL_POSITIONS = 20_000
_SMALL = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """
    A year for each position (−1: none), and what certifies it.

    ``value`` is the risk taken away, ``bound`` what no plan can pass, so the plan is within
    ``bound − value`` of the best there is.
    """

    year: WholeArray
    value: float
    bound: float
    money: FloatArray
    crew_hours: FloatArray
    prices: Prices

    @property
    def certified_share(self) -> float:
        """Return value ÷ bound; 1 where there is nothing to gain."""
        return self.value / self.bound if self.bound > _SMALL else 1.0


def solve_programme(
    problem: ProgrammeProblem,
    *,
    start: WholeArray | None = None,
    polish_seconds: float = POLISH_SECONDS,
    progress: Callable[[str], None] | None = None,
    should_stop: Callable[[], bool] = never,
) -> Plan:
    """
    Return the best plan found, never worse than ``start`` where that fits.

    Parameters
    ----------
    problem : ProgrammeProblem
        Positions, years, limits, musts and locks.
    start : array of int, (n,), optional
        A plan to begin from, such as that of a smaller budget.
    polish_seconds : float
        Time the exact solver is given in each of its rounds. [s]
    progress : callable, optional
        Told in words what is being done.
    should_stop : callable, optional
        Asked now and then; the best plan so far is returned.

    Raises
    ------
    StateConflictError
        If no plan that keeps the musts and locks within the limits was found; see
        :func:`~inventory.engineering.programme.shortfall.least_extra`.

    Examples
    --------
    >>> three = ProgrammeProblem(np.array([[5.0, 3.0], [4.0, 3.5], [1.0, 0.5]]),
    ...     np.array([100.0, 100.0, 100.0]), np.zeros(3), np.array([100.0, 100.0]), np.zeros(2))
    >>> plan = solve_programme(three)
    >>> plan.year.tolist(), plan.value
    ([0, 1, -1], 8.5)
    """
    tell = progress or (lambda _words: None)
    tell("finding what money and hours are worth in each year")
    prices = least_bound(problem, should_stop=should_stop)
    reduced = reduced_values(problem, prices)
    tell("making a plan that keeps the limits")
    best: WholeArray | None = None
    if start is not None and problem.fits(start):
        best = start.copy()
    made = _within_limits(problem, reduced, reduced.argmax(axis=1))
    if made is None:
        made = _musts_first(problem, reduced)
    for candidate in (made, best):
        if candidate is None:
            continue
        filled = _fill(problem, reduced, candidate)
        if best is None or problem.value_of(filled) > problem.value_of(best):
            best = filled
    size = OPEN_POSITIONS
    for number in range(POLISH_ROUNDS):
        if best is not None and (should_stop() or _is_proven(problem, best, prices)):
            break
        tell(f"settling the open choices, round {number + 1} of {POLISH_ROUNDS}")
        found = _polish(problem, reduced, best, size, polish_seconds, should_stop)
        if found is not None:
            best = _better(problem, _fill(problem, reduced, found), best)
        size *= 2
    if best is None:
        msg = (
            "No plan was found that keeps every must and every locked choice within the money "
            "and hours of its year; raise a limit, or take a must or a lock away."
        )
        raise StateConflictError(msg)
    best = without_worthless(problem, best)
    money, hours = problem.spent(best)
    return Plan(best, problem.value_of(best), prices.bound, money, hours, prices)


def without_worthless(problem: ProgrammeProblem, year: WholeArray) -> WholeArray:
    """
    Return a plan without what takes no risk away and need not be done: it only costs.

    Examples
    --------
    >>> two = ProgrammeProblem(np.zeros((2, 1)), np.ones(2), np.zeros(2), np.array([2.0]),
    ...                        np.zeros(1), must_by=np.array([0, -1]))
    >>> without_worthless(two, np.array([0, 0])).tolist()
    [0, -1]
    """
    _may, none = problem.options()
    now = np.where(year >= 0, problem.value[np.arange(problem.count), year], 0.0)
    return np.where(none & (now <= _SMALL), NOT_PLANNED, year)


def _is_proven(problem: ProgrammeProblem, year: WholeArray, prices: Prices) -> bool:
    return prices.bound - problem.value_of(year) <= EXACT_GAP * max(abs(prices.bound), 1.0)


def _better(
    problem: ProgrammeProblem, new: WholeArray | None, old: WholeArray | None
) -> WholeArray | None:
    if new is None or not problem.fits(new):
        return old
    if old is None or problem.value_of(new) > problem.value_of(old):
        return new
    return old


def _within_limits(
    problem: ProgrammeProblem, reduced: FloatArray, choice: WholeArray
) -> WholeArray | None:
    """Move choices out of years that hold too much, those that lose least first."""
    year = np.where(choice == problem.years, NOT_PLANNED, choice).astype(np.int64)
    money, hours = problem.spent(year)
    room_money = problem.budget * (1 + _SMALL) - money
    room_hours = problem.crew_hours_limit * (1 + _SMALL) - hours
    may, none = problem.options()
    for full in np.argsort(np.minimum(room_money, room_hours)):
        if room_money[full] >= 0 and room_hours[full] >= 0:
            continue
        members = np.flatnonzero(year == full)
        others = reduced[members].copy()
        others[:, full] = -np.inf
        loss = reduced[members, full] - others.max(axis=1)
        use = problem.cost[members] / max(float(problem.budget.max()), _SMALL)
        use = use + problem.crew_hours[members] / max(
            float(problem.crew_hours_limit.max()), _SMALL
        )
        for place in np.argsort(loss / np.maximum(use, _SMALL)):
            if room_money[full] >= 0 and room_hours[full] >= 0:
                break
            who = int(members[place])
            to = _where_it_fits(
                problem,
                reduced[who],
                may[who],
                bool(none[who]),
                who,
                room_money,
                room_hours,
                int(full),
            )
            if to is None:
                continue
            year[who] = to
            room_money[full] += problem.cost[who]
            room_hours[full] += problem.crew_hours[who]
            if to >= 0:
                room_money[to] -= problem.cost[who]
                room_hours[to] -= problem.crew_hours[who]
        if room_money[full] < 0 or room_hours[full] < 0:
            return None
    return year


def _musts_first(problem: ProgrammeProblem, reduced: FloatArray) -> WholeArray | None:
    """
    Place what has to be placed, earliest last year first, each where it is worth most.

    Then what else is worth its price, the most for its money and hours first.
    """
    may, none = problem.options()
    year = np.full(problem.count, NOT_PLANNED, dtype=np.int64)
    room_money = problem.budget * (1 + _SMALL)
    room_hours = problem.crew_hours_limit * (1 + _SMALL)
    held = np.flatnonzero(~none)
    last = problem.years - may[held][:, ::-1].argmax(axis=1)
    for place in np.lexsort((-problem.cost[held], last)):
        who = int(held[place])
        to = _where_it_fits(
            problem, reduced[who], may[who], False, who, room_money, room_hours, None
        )
        if to is None:
            return None
        year[who] = to
        room_money[to] -= problem.cost[who]
        room_hours[to] -= problem.crew_hours[who]
    gain = reduced[:, :-1].max(axis=1)
    use = problem.cost / max(float(problem.budget.max()), _SMALL)
    use = use + problem.crew_hours / max(float(problem.crew_hours_limit.max()), _SMALL)
    others = np.flatnonzero(none & (gain > 0))
    for who in others[np.argsort(-gain[others] / np.maximum(use[others], _SMALL))].tolist():
        to = _where_it_fits(
            problem, reduced[who], may[who], True, who, room_money, room_hours, None
        )
        if to is not None and to >= 0:
            year[who] = to
            room_money[to] -= problem.cost[who]
            room_hours[to] -= problem.crew_hours[who]
    return year


def _where_it_fits(
    problem: ProgrammeProblem,
    reduced: FloatArray,
    may: TruthArray,
    none: bool,
    who: int,
    room_money: FloatArray,
    room_hours: FloatArray,
    full: int | None,
) -> int | None:
    """Return the best other choice of a position that there is room for."""
    has_room = may & (room_money >= problem.cost[who]) & (room_hours >= problem.crew_hours[who])
    if full is not None:
        has_room[full] = False
    best = int(np.where(has_room, reduced[:-1], -np.inf).argmax())
    if has_room[best] and (not none or reduced[best] > reduced[-1]):
        return best
    return NOT_PLANNED if none else None


def _fill(problem: ProgrammeProblem, reduced: FloatArray, year: WholeArray) -> WholeArray:
    """Use what is left: positions that gain by an earlier year, or by any, while they fit."""
    year = year.copy()
    money, hours = problem.spent(year)
    room_money, room_hours = problem.budget - money, problem.crew_hours_limit - hours
    may, _none = problem.options()
    now = np.where(year >= 0, problem.value[np.arange(problem.count), year], 0.0)
    gain = np.where(may, problem.value, -np.inf) - now[:, None]
    most = gain.max(axis=1, initial=-np.inf)
    worth = reduced.max(axis=1)
    open_ones = np.flatnonzero(most > _SMALL)
    order = open_ones[np.argsort(-(most[open_ones] + np.minimum(worth[open_ones], 0.0)))]
    for who in order[:FILL_POSITIONS]:
        cost, took = problem.cost[who], problem.crew_hours[who]
        fits = (room_money >= cost) & (room_hours >= took) & (gain[who] > _SMALL)
        if not fits.any():
            continue
        to = int(np.where(fits, gain[who], -np.inf).argmax())
        if year[who] >= 0:
            room_money[year[who]] += cost
            room_hours[year[who]] += took
        room_money[to] -= cost
        room_hours[to] -= took
        year[who] = to
    return year


def _polish(
    problem: ProgrammeProblem,
    reduced: FloatArray,
    year: WholeArray | None,
    size: int,
    seconds: float,
    should_stop: Callable[[], bool],
) -> WholeArray | None:
    """Solve the positions whose choice is nearest to a tie exactly, with the rest held."""
    held = reduced.argmax(axis=1)
    if year is not None:
        held = np.where(year == NOT_PLANNED, problem.years, year)
    everyone = np.arange(problem.count)
    others = reduced.copy()
    others[everyone, held] = -np.inf
    gap = np.abs(reduced[everyone, held] - others.max(axis=1))
    few = problem.count <= EXACT_POSITIONS
    chosen = everyone if few or problem.count <= size else np.argsort(gap, kind="stable")[:size]
    plan = np.where(held == problem.years, NOT_PLANNED, held).astype(np.int64)
    rest = plan.copy()
    rest[chosen] = NOT_PLANNED
    money, hours = problem.spent(rest)
    solved = _exactly(
        problem,
        chosen,
        problem.budget - money,
        problem.crew_hours_limit - hours,
        seconds,
        should_stop,
    )
    if solved is None:
        return None
    plan[chosen] = solved
    return plan


def _exactly(
    problem: ProgrammeProblem,
    chosen: WholeArray,
    money: FloatArray,
    hours: FloatArray,
    seconds: float,
    should_stop: Callable[[], bool],
) -> WholeArray | None:
    """Return the best years of some positions within what is left, by branch and bound."""
    may, none = problem.options()
    years, number = problem.years, len(chosen)
    who, when = np.nonzero(may[chosen])
    if not len(who):
        return np.full(number, NOT_PLANNED) if none[chosen].all() else None
    column = np.arange(len(who))
    shape = (number, len(who))
    once = csr_matrix((np.ones(len(who)), (who, column)), shape=shape)
    shape = (years, len(who))
    # In shares of the largest, so that money and hours are of one size to the solver.
    unit_money = max(float(np.abs(money).max()), float(problem.cost.max()))
    unit_hours = max(float(np.abs(hours).max()), float(problem.crew_hours.max()), _SMALL)
    of_money = csr_matrix((problem.cost[chosen][who] / unit_money, (when, column)), shape=shape)
    of_hours = csr_matrix(
        (problem.crew_hours[chosen][who] / unit_hours, (when, column)), shape=shape
    )
    found = solve_exactly(
        -problem.value[chosen][who, when],
        [
            LinearConstraint(once, np.where(none[chosen], 0.0, 1.0), 1.0),
            LinearConstraint(of_money, -np.inf, money / unit_money),
            LinearConstraint(of_hours, -np.inf, hours / unit_hours),
        ],
        integrality=np.ones(len(who), dtype=np.int64),
        upper=1.0,
        seconds=seconds,
        gap=EXACT_GAP,
        should_stop=should_stop,
    )
    if found is None:
        return None
    year = np.full(number, NOT_PLANNED, dtype=np.int64)
    is_on = found.x > 0.5
    year[who[is_on]] = when[is_on]
    return year
