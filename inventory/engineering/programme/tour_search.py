"""The search for short tours, by pyvrp on whole matrices."""

import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from pyvrp import (
    Client,
    ClientGroup,
    Depot,
    IteratedLocalSearchCallbacks,
    IteratedLocalSearchParams,
    Location,
    ProblemData,
    Result,
    Route,
    Solution,
    SolveParams,
    VehicleType,
    solve,
)
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.stop import MaxRuntime

from inventory.engineering.programme.problem import WholeArray
from inventory.engineering.programme.tour_order import Day
from inventory.engineering.programme.tour_times import ANY_TIME, Work, timetable

_FORBIDDEN_S = 10**6  # no shift is so long
_LEAST_COST = 2 * 10**5  # of leaving a stop out: over the longest day there is, in seconds
_MOST_COST = 10**7
_ASK_SECONDS = 1.0
_DAY_COST = 60  # of using a day, in seconds: of equal tours, the one with fewer days


@dataclass(frozen=True, slots=True, eq=False)
class TourProblem:
    """
    Stops, vehicles and whole matrices, in whole numbers; place 0 is where tours begin and end.

    Parameters
    ----------
    cost, duration : array of int, (m + 1, m + 1)
        What is to be kept small between places, and the time between them, in any units.
    service : array of int, (m,)
        Time at each stop.
    demand : array of int, (m,)
        What each stop takes of a vehicle's load.
    capacity, longest : int, optional
        Of a vehicle; its tour with service may last so long.
    vehicles : int
        How many there are.
    """

    cost: WholeArray
    duration: WholeArray
    service: WholeArray
    demand: WholeArray
    vehicles: int
    capacity: int | None = None
    longest: int | None = None


def shortest_tours(
    problem: TourProblem, *, seconds: float, seed: int = 1
) -> tuple[list[list[int]], int] | None:
    """
    Return tours that serve every stop, and their cost; ``None`` where none was found.

    Stops are numbered from 1. The search is pyvrp's iterated local search; matrices are handed
    over whole.

    Parameters
    ----------
    problem : TourProblem
        All that is known.
    seconds : float
        How long to search. [s]
    seed : int
        Of the search.

    References
    ----------
    .. [1] E. K. Burke, Y. Bykov (2017), The late acceptance hill-climbing heuristic, European
       Journal of Operational Research 258, 70-78 (as pyvrp 0.14 cites it).

    Examples
    --------
    >>> square = np.array([[0, 1, 2], [1, 0, 1], [2, 1, 0]])
    >>> two = TourProblem(square, square, np.zeros(2, int), np.ones(2, int), 1, capacity=2)
    >>> tours, cost = shortest_tours(two, seconds=0.05)
    >>> sorted(tours[0]), cost
    ([1, 2], 4)
    """
    places = range(len(problem.cost))
    limits = {} if problem.longest is None else {"shift_duration": problem.longest}
    data = ProblemData(
        [Location(0, 0) for _place in places],
        [
            Client(
                place,
                delivery=[int(problem.demand[place - 1])],
                service_duration=int(problem.service[place - 1]),
            )
            for place in places[1:]
        ],
        [Depot(0)],
        [
            VehicleType(
                num_available=problem.vehicles,
                capacity=[
                    int(problem.demand.sum() if problem.capacity is None else problem.capacity)
                ],
                **limits,
            )
        ],
        [np.ascontiguousarray(problem.cost, dtype=np.int64)],
        [np.ascontiguousarray(problem.duration, dtype=np.int64)],
    )
    found = _solve(data, MaxRuntime(seconds), seed, SolveParams(), None)
    if not found.is_feasible():
        return None
    tours = [
        [each.idx + 1 for each in route.schedule() if each.is_client()]
        for route in found.best.routes()
    ]
    return tours, int(found.cost())


class TourSearch:
    """
    Finds days for crews: first with as many of the stops as fit, then short ones.

    Parameters
    ----------
    work : Work
        Stops, crews and times; every stop can be served by some crew.
    seed : int
        Of the search.
    should_stop : callable
        Asked now and then; the best days so far are returned.
    """

    def __init__(
        self, work: Work, seed: int, should_stop: Callable[[], bool] = lambda: False
    ) -> None:
        self.work, self.seed, self.should_stop = work, seed, should_stop
        self.visits = [
            (stop, opening)
            for stop in range(len(work.stops))
            for opening in range(len(work.openings[stop]))
        ]
        self.number_of = {each: number for number, each in enumerate(self.visits)}
        asked = frozenset().union(*(each.needs for each in work.stops))
        skills = [each.skills & asked for each in work.crews]
        self.skill_sets = sorted(set(skills), key=sorted)
        self.profile_of = [self.skill_sets.index(each) for each in skills]
        heaviest = max(each.weight for each in work.stops)
        self.cost_of = [
            _LEAST_COST + round((_MOST_COST - _LEAST_COST) * each.weight / heaviest)
            for each in work.stops
        ]
        self.data = self._data()

    def serve(self, seconds: float) -> list[Day]:
        """Return days that serve every stop once such are found, else the best in time."""
        return self._search(self.data, seconds, None, len(self.work.stops))

    def shorten(self, days: Sequence[Day], seconds: float) -> list[Day]:
        """Return days that take less time and serve at least the same stops."""
        kept = {stop for day in days for stop in day.order}
        data = self.data.replace(
            clients=list(self._clients(kept)), groups=list(self._groups(kept))
        )
        return self._search(data, seconds, self._solution(data, days), None)

    def _search(
        self,
        data: ProblemData,
        seconds: float,
        start: Solution | None,
        enough: int | None,
    ) -> list[Day]:
        until = _Until(seconds, enough, self.should_stop)
        params = SolveParams(ils=IteratedLocalSearchParams(callbacks=until))
        found = _solve(data, until, self.seed, params, start)
        best = found.best if found.is_feasible() else start
        return [] if best is None else list(self._days(best))

    def _days(self, solution: Solution) -> Iterator[Day]:
        for route in solution.routes():
            order = tuple(
                self.visits[each.idx][0] for each in route.schedule() if each.is_client()
            )
            yield Day(int(route.vehicle_type()), order)

    def _solution(self, data: ProblemData, days: Sequence[Day]) -> Solution:
        routes = []
        for day in days:
            times = timetable(self.work, day.crew, day.order)
            openings = () if times is None else times.openings
            visits = [self.number_of[each] for each in zip(day.order, openings, strict=True)]
            routes.append(Route(data, visits, day.crew))
        return Solution(data, routes)

    def _data(self) -> ProblemData:
        work = self.work
        matrices = [self._matrix(each) for each in self.skill_sets]
        vehicles = [
            VehicleType(
                num_available=int(each.days),
                start_depot=crew,
                end_depot=crew,
                tw_early=work.starts_s(crew),
                tw_late=work.starts_s(crew) + work.shift_s(crew),
                shift_duration=work.shift_s(crew),
                fixed_cost=_DAY_COST,
                unit_distance_cost=0,
                unit_duration_cost=1,
                profile=self.profile_of[crew],
            )
            for crew, each in enumerate(work.crews)
        ]
        return ProblemData(
            [Location(0, 0)] * (len(work.crews) + len(work.stops)),
            list(self._clients(set())),
            [Depot(crew) for crew in range(len(work.crews))],
            vehicles,
            matrices,
            matrices,
            list(self._groups(set())),
        )

    def _clients(self, kept: set[int]) -> Iterator[Client]:
        """Yield the visits; one of ``kept`` may not be left out any more."""
        group = -1
        for stop, opening in self.visits:
            openings = self.work.openings[stop]
            is_one_of_some = len(openings) > 1
            group += is_one_of_some and opening == 0
            times = {}
            if openings is not ANY_TIME:
                times = {"tw_early": openings[opening][0], "tw_late": openings[opening][1]}
            yield Client(
                self.work.place(stop),
                service_duration=self.work.service_s.item(stop),
                prize=0 if stop in kept and not is_one_of_some else self.cost_of[stop],
                required=stop in kept and not is_one_of_some,
                group=group if is_one_of_some else None,
                **times,
            )

    def _groups(self, kept: set[int]) -> Iterator[ClientGroup]:
        """Yield visits of which one is enough: to a stop with some spans to work in."""
        for stop, openings in enumerate(self.work.openings):
            if len(openings) > 1:
                numbers = [self.number_of[stop, each] for each in range(len(openings))]
                yield ClientGroup(numbers, required=stop in kept)

    def _matrix(self, skills: frozenset[str]) -> WholeArray:
        """Return the times with the stops out of reach that ask for a skill the crew lacks."""
        lacking = [
            self.work.place(stop)
            for stop, each in enumerate(self.work.stops)
            if each.needs - skills
        ]
        if not lacking:
            return self.work.between_s
        closed = self.work.between_s.copy()
        closed[:, lacking] = _FORBIDDEN_S
        closed[lacking, lacking] = 0
        return closed


class _Until(IteratedLocalSearchCallbacks):  # type: ignore[misc]  # published untyped
    """
    Stops before time is up, when enough stops are served, or when somebody asks to.

    Time counts from here, with all that is made ready before the search. A step cannot be
    broken off: none is begun that would not be over in time if it took as long as the longest.
    """

    def __init__(
        self,
        seconds: float,
        enough: int | None,
        should_stop: Callable[[], bool],
    ) -> None:
        self.enough, self.should_stop = enough, should_stop
        self.is_enough = False
        self.asked_s = self.step_s = time.perf_counter()
        self.ends_s = self.asked_s + seconds
        self.longest_s = 0.0

    def __call__(self, _best_cost: float) -> bool:
        now_s = time.perf_counter()
        self.longest_s, self.step_s = max(self.longest_s, now_s - self.step_s), now_s
        if now_s - self.asked_s > _ASK_SECONDS:
            self.asked_s = now_s
            if self.should_stop():
                return True
        return self.is_enough or now_s + self.longest_s > self.ends_s

    def on_start(self, ils: object) -> None:
        self.step_s = time.perf_counter()
        self._look(ils.initial_solution)  # type: ignore[attr-defined]

    def on_best(self, best: Solution) -> None:
        self._look(best)

    def _look(self, best: Solution) -> None:
        if self.enough is not None:
            self.is_enough = best.is_feasible() and best.num_clients() >= self.enough


def _solve(
    data: ProblemData,
    until: Callable[[int], bool],
    seed: int,
    params: SolveParams,
    start: Solution | None,
) -> Result:
    with warnings.catch_warnings():
        # Said of what cannot be served at all, too; we look at the answer for that.
        warnings.simplefilter("ignore", PenaltyBoundWarning)
        return solve(
            data,
            until,
            seed=int(seed),
            collect_stats=False,
            display=False,
            params=params,
            initial_solution=start,
        )
