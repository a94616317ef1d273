"""
Plans when trips are shared: faces of one support, and supports of one stretch, go together.

What a trip costs is borne once a year by all that is done there. The bound lets every position
bear the least it could ever bear, so it holds for any plan; the plan is counted at what it
really costs.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from inventory.engineering.programme.bound import Prices, least_bound, reduced_values
from inventory.engineering.programme.exactly import never
from inventory.engineering.programme.problem import (
    NOT_PLANNED,
    FloatArray,
    ProgrammeProblem,
    WholeArray,
)
from inventory.engineering.programme.solve import (
    POLISH_SECONDS,
    Plan,
    solve_programme,
    without_worthless,
)
from inventory.errors import OutOfRangeError, StateConflictError

_SMALL = 1e-9
_ROUNDS = 2
_ASKED_EVERY = 1_000  # positions, each of some ten microseconds


@dataclass(frozen=True, slots=True, eq=False)
class TripCosts:
    """
    What going somewhere costs, beside what is done there.

    Parameters
    ----------
    support, stretch : array of int, (n,)
        Which support, and which stretch of road, each position is on: 0, 1, 2 …
    support_money, stretch_money : float
        Of setting up at a support, and of driving to a stretch, once a year. [money]
    support_hours, stretch_hours : float
        Likewise. [h]

    Raises
    ------
    OutOfRangeError
        If the arrays differ in length or a figure is negative.
    """

    support: WholeArray
    stretch: WholeArray
    support_money: float
    stretch_money: float
    support_hours: float
    stretch_hours: float

    def __post_init__(self) -> None:
        if len(self.support) != len(self.stretch):
            msg = f"There are {len(self.support)} supports for {len(self.stretch)} stretches."
            raise OutOfRangeError(msg)
        for name in ("support_money", "stretch_money", "support_hours", "stretch_hours"):
            if not getattr(self, name) >= 0:
                msg = f"{name} is {getattr(self, name):g}; it is 0 or more."
                raise OutOfRangeError(msg)

    def spent(
        self, problem: ProgrammeProblem, year: WholeArray
    ) -> tuple[FloatArray, FloatArray]:
        """
        Return money and crew hours of each year under a plan, each trip counted once.

        Examples
        --------
        >>> two = ProgrammeProblem(np.ones((2, 2)), np.array([50.0, 50.0]), np.zeros(2),
        ...                        np.full(2, 200.0), np.zeros(2))
        >>> trips = TripCosts(np.array([0, 0]), np.array([0, 0]), 30.0, 20.0, 0.0, 0.0)
        >>> trips.spent(two, np.array([0, 0]))[0].tolist()  # 50 + 50 + 30 + 20
        [150.0, 0.0]
        """
        money, hours = problem.spent(year)
        for where, cost, took in (
            (self.support, self.support_money, self.support_hours),
            (self.stretch, self.stretch_money, self.stretch_hours),
        ):
            done = year >= 0
            visits = np.unique(where[done] * problem.years + year[done]) % problem.years
            count = np.bincount(visits, minlength=problem.years)
            money = money + cost * count
            hours = hours + took * count
        return money, hours

    def with_shares(
        self, problem: ProgrammeProblem, at_support: FloatArray, at_stretch: FloatArray
    ) -> ProgrammeProblem:
        """Return the problem with each position bearing one part in so many of its trips."""
        money = self.support_money / at_support + self.stretch_money / at_stretch
        hours = self.support_hours / at_support + self.stretch_hours / at_stretch
        return replace(
            problem, cost=problem.cost + money, crew_hours=problem.crew_hours + hours
        )


@dataclass(frozen=True, slots=True, eq=False)
class TripPlan:
    """
    A plan counted with its shared trips, and the value of choosing first, bundling after.

    ``bound`` is of the problem in which every position bears the least it could ever bear.
    """

    plan: Plan
    separate_value: float

    @property
    def gain(self) -> float:
        """Return how much more it takes away than choosing first and bundling after."""
        return self.plan.value - self.separate_value


def solve_with_trips(
    problem: ProgrammeProblem,
    trips: TripCosts,
    *,
    start: WholeArray | None = None,
    polish_seconds: float = POLISH_SECONDS,
    progress: Callable[[str], None] | None = None,
    should_stop: Callable[[], bool] = never,
) -> TripPlan:
    """
    Return the best plan found with shared trips, never worse than separable and then bundled.

    Parameters
    ----------
    problem : ProgrammeProblem
        Costs and hours of the faces alone.
    trips : TripCosts
        What going there costs.
    start : array of int, (n,), optional
        A plan to begin from; it is kept where nothing better is found.
    polish_seconds, progress, should_stop
        As of :func:`~inventory.engineering.programme.solve.solve_programme`.

    Raises
    ------
    StateConflictError
        If no plan that keeps the musts and locks was found, each position bearing its trips
        alone, and ``start`` is none either.

    Examples
    --------
    >>> two = ProgrammeProblem(np.array([[3.0], [2.0]]), np.array([50.0, 50.0]), np.zeros(2),
    ...                        np.array([150.0]), np.zeros(1))
    >>> trips = TripCosts(np.array([0, 0]), np.array([0, 0]), 30.0, 20.0, 0.0, 0.0)
    >>> found = solve_with_trips(two, trips)
    >>> found.plan.year.tolist(), found.separate_value
    ([0, 0], 5.0)
    """
    tell = progress or (lambda _words: None)
    count_support = np.bincount(trips.support)[trips.support].astype(np.float64)
    count_stretch = np.bincount(trips.stretch)[trips.stretch].astype(np.float64)
    tell("finding what no plan can pass")
    relaxed = trips.with_shares(problem, count_support, count_stretch)
    prices = least_bound(relaxed, should_stop=should_stop)
    alone = np.ones(problem.count)
    tell("choosing as if every face bore its trip alone")
    reduced = reduced_values(relaxed, prices)
    begun = None
    if start is not None and keeps_limits(problem, trips, start):
        begun = _filled(problem, trips, reduced, start, should_stop)
    try:
        first = solve_programme(
            trips.with_shares(problem, alone, alone),
            polish_seconds=polish_seconds,
            should_stop=should_stop,
        )
    except StateConflictError:
        # Musts that fit only when they share their trips: the plan to begin from has them.
        if begun is None:
            raise
        best = begun
    else:
        best = _filled(problem, trips, reduced, first.year, should_stop)
    separate_value = problem.value_of(best)
    if begun is not None:
        best = max((best, begun), key=problem.value_of)
    for number in range(_ROUNDS):
        if should_stop():
            break
        tell(f"bundling trips, round {number + 1} of {_ROUNDS}")
        shared = trips.with_shares(problem, *shares_of(problem, trips, best))
        at = least_bound(shared, should_stop=should_stop)
        bundled = _bundled(problem, trips, shared, at)
        made = _within(problem, trips, reduced_values(shared, at), bundled, should_stop)
        if made is None:
            continue
        made = _filled(problem, trips, reduced_values(shared, at), made, should_stop)
        if keeps_limits(problem, trips, made) and problem.value_of(made) > problem.value_of(
            best
        ):
            best = made
    best = without_worthless(problem, best)
    money, hours = trips.spent(problem, best)
    plan = Plan(best, problem.value_of(best), prices.bound, money, hours, prices)
    return TripPlan(plan, separate_value)


def keeps_limits(problem: ProgrammeProblem, trips: TripCosts, year: WholeArray) -> bool:
    """Return whether a plan keeps every limit, must and lock, each trip counted once."""
    money, hours = trips.spent(problem, year)
    may, none = problem.options()
    done = year >= 0
    return bool(
        none[~done].all()
        and may[np.flatnonzero(done), year[done]].all()
        and (money <= problem.budget * (1 + _SMALL) + _SMALL).all()
        and (hours <= problem.crew_hours_limit * (1 + _SMALL) + _SMALL).all()
    )


def shares_of(
    problem: ProgrammeProblem, trips: TripCosts, year: WholeArray
) -> tuple[FloatArray, FloatArray]:
    """
    Return among how many each position's trips at its support and its stretch are shared.

    As the plan has it; whoever is not planned would join the fullest year there.
    """
    shares = []
    for where in (trips.support, trips.stretch):
        table = np.zeros((int(where.max(initial=0)) + 1, problem.years))
        done = year >= 0
        np.add.at(table, (where[done], year[done]), 1.0)
        joined = table.max(axis=1)[where] + 1.0
        mine = table[where, np.maximum(year, 0)]
        shares.append(np.where(done, mine, joined))
    return shares[0], shares[1]


def _bundled(
    problem: ProgrammeProblem, trips: TripCosts, shared: ProgrammeProblem, prices: Prices
) -> WholeArray:
    """
    Return each support's best: every position where it likes, or all worth it in one year.

    At the prices; what a stretch costs is borne in the parts given.
    """
    separate = reduced_values(shared, prices)
    years = problem.years
    choice = separate.argmax(axis=1)
    apart = separate.max(axis=1)
    trip = trips.support_money * prices.of_money + trips.support_hours * prices.of_hours
    share = shared.cost - problem.cost
    # What remains of a position's own reduced value when its support's trip is not its own.
    of_support = np.where(
        trips.support_money + trips.stretch_money > 0,
        share / max(trips.support_money + trips.stretch_money, _SMALL),
        0.0,
    )
    free = separate[:, :-1] + np.minimum(of_support, 1.0)[:, None] * trip
    free = np.where(separate[:, :-1] < -1e14, -np.inf, free)
    supports = int(trips.support.max(initial=0)) + 1
    must = separate[:, -1] < -1e14
    joining = np.where(must[:, None], free, np.maximum(free, 0.0))
    together = np.zeros((supports, years))
    for year in range(years):
        together[:, year] = np.bincount(
            trips.support,
            np.where(np.isfinite(joining[:, year]), joining[:, year], -1e15),
            supports,
        )
    together -= trip
    best_year = together.argmax(axis=1)
    gain = together.max(axis=1) - np.bincount(trips.support, apart, supports)
    is_bundle = gain > _SMALL
    mine = best_year[trips.support]
    everyone = np.arange(problem.count)
    goes = is_bundle[trips.support] & ((free[everyone, mine] > 0) | must)
    stays = is_bundle[trips.support] & ~goes
    plan = np.where(choice == years, NOT_PLANNED, choice)
    plan = np.where(goes, mine, plan)
    return np.asarray(np.where(stays & ~must, NOT_PLANNED, plan), dtype=np.int64)


class Ledger:
    """What is left of each year, and how often every place is visited in it."""

    def __init__(self, problem: ProgrammeProblem, trips: TripCosts, year: WholeArray) -> None:
        self.problem, self.trips = problem, trips
        years = problem.years
        self.at_support = np.zeros(
            (int(trips.support.max(initial=0)) + 1, years), dtype=np.int32
        )
        self.at_stretch = np.zeros(
            (int(trips.stretch.max(initial=0)) + 1, years), dtype=np.int32
        )
        done = np.flatnonzero(year >= 0)
        np.add.at(self.at_support, (trips.support[done], year[done]), 1)
        np.add.at(self.at_stretch, (trips.stretch[done], year[done]), 1)
        money, hours = trips.spent(problem, year)
        self.money = problem.budget * (1 + _SMALL) - money
        self.hours = problem.crew_hours_limit * (1 + _SMALL) - hours

    def to_add(self, who: int) -> tuple[FloatArray, FloatArray]:
        """Return money and hours that a position would take in each year."""
        trips = self.trips
        new_support = self.at_support[trips.support[who]] == 0
        new_stretch = self.at_stretch[trips.stretch[who]] == 0
        money = self.problem.cost[who] + trips.support_money * new_support
        hours = self.problem.crew_hours[who] + trips.support_hours * new_support
        return (
            money + trips.stretch_money * new_stretch,
            hours + trips.stretch_hours * new_stretch,
        )

    def take_out(self, who: int, year: int) -> None:
        """Take a position out of a year."""
        self._move(who, year, -1)

    def put_in(self, who: int, year: int) -> None:
        """Put a position into a year."""
        self._move(who, year, 1)

    def _move(self, who: int, year: int, sign: int) -> None:
        trips, problem = self.trips, self.problem
        money, hours = problem.cost[who], problem.crew_hours[who]
        for table, where, cost, took in (
            (self.at_support, trips.support[who], trips.support_money, trips.support_hours),
            (self.at_stretch, trips.stretch[who], trips.stretch_money, trips.stretch_hours),
        ):
            before = table[where, year]
            table[where, year] += sign
            if (before == 0) != (table[where, year] == 0):
                money += cost
                hours += took
        self.money[year] -= sign * money
        self.hours[year] -= sign * hours


def _within(
    problem: ProgrammeProblem,
    trips: TripCosts,
    reduced: FloatArray,
    year: WholeArray,
    should_stop: Callable[[], bool],
) -> WholeArray | None:
    """Take out of years that hold too much whatever loses least for what it frees."""
    year = year.copy()
    ledger = Ledger(problem, trips, year)
    may, none = problem.options()
    for full in range(problem.years):
        members = np.flatnonzero(year == full)
        others = reduced[members].copy()
        others[:, full] = -np.inf
        loss = reduced[members, full] - others.max(axis=1)
        use = problem.cost[members] / max(float(problem.budget.max()), _SMALL)
        use += problem.crew_hours[members] / max(float(problem.crew_hours_limit.max()), _SMALL)
        for number, place in enumerate(np.argsort(loss / np.maximum(use, _SMALL))):
            if ledger.money[full] >= 0 and ledger.hours[full] >= 0:
                break
            if number % _ASKED_EVERY == 0 and should_stop():
                return None
            who = int(members[place])
            money, hours = ledger.to_add(who)
            has_room = may[who] & (ledger.money >= money) & (ledger.hours >= hours)
            has_room[full] = False
            to = int(np.where(has_room, reduced[who, :-1], -np.inf).argmax())
            if not has_room[to] and not none[who]:
                continue
            ledger.take_out(who, full)
            year[who] = NOT_PLANNED
            if has_room[to] and (not none[who] or reduced[who, to] > 0):
                year[who] = to
                ledger.put_in(who, to)
        if ledger.money[full] < 0 or ledger.hours[full] < 0:
            return None
    return year


def _filled(
    problem: ProgrammeProblem,
    trips: TripCosts,
    reduced: FloatArray,
    year: WholeArray,
    should_stop: Callable[[], bool],
) -> WholeArray:
    """Use what is left, first where a visit is made anyhow; a plan whenever it is stopped."""
    year = year.copy()
    ledger = Ledger(problem, trips, year)
    may, _none = problem.options()
    now = np.where(year >= 0, problem.value[np.arange(problem.count), year], 0.0)
    gain = np.where(may, problem.value, -np.inf) - now[:, None]
    visited = ledger.at_support[trips.support] > 0
    eager = np.where(visited, gain * 1.5, gain).max(axis=1, initial=-np.inf)
    open_ones = np.flatnonzero(gain.max(axis=1, initial=-np.inf) > _SMALL)
    price = np.minimum(reduced[open_ones].max(axis=1), 0.0)
    for number, who in enumerate(open_ones[np.argsort(-(eager[open_ones] + price))]):
        if number % _ASKED_EVERY == 0 and should_stop():
            break
        money, hours = ledger.to_add(who)
        fits = (ledger.money >= money) & (ledger.hours >= hours) & (gain[who] > _SMALL)
        if not fits.any():
            continue
        to = int(np.where(fits, gain[who], -np.inf).argmax())
        if year[who] >= 0:
            ledger.take_out(who, int(year[who]))
        ledger.put_in(who, to)
        year[who] = to
    return year
