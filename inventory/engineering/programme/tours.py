"""Tours of crews through their stops: each stop once, or named with the reason it is not."""

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from pyvrp import Client, Depot, Location, ProblemData, Result, VehicleType, solve
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.stop import MaxRuntime

from inventory.engineering.programme.problem import WholeArray
from inventory.engineering.programme.travel import travel_matrices
from inventory.errors import OutOfRangeError

METHOD_VERSION = "tours-1"
SECONDS_PER_MINUTE = 60
MINUTES_A_DAY = 1440
M_PER_MI = 1609.344
MOST_STOPS = 5_000
_UNSERVED_COST = 10**7  # far over any tour in seconds, so that a stop is left out last
_FORBIDDEN_S = 10**6  # no day is so long


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

    Stops are numbered from 1. The search is hybrid genetic search by pyvrp; matrices are
    handed over whole.

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
    .. [1] T. Vidal (2022), Hybrid genetic search for the CVRP, Computers & Operations Research
       140, 105643 (from memory).

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
    found = _search(data, seconds, seed)
    if not found.is_feasible():
        return None
    tours = [
        [each.idx + 1 for each in route.schedule() if each.is_client()]
        for route in found.best.routes()
    ]
    return tours, int(found.cost())


def _search(data: ProblemData, seconds: float, seed: int) -> Result:
    with warnings.catch_warnings():
        # Said of what cannot be served at all, too; we look at the answer for that.
        warnings.simplefilter("ignore", PenaltyBoundWarning)
        return solve(data, MaxRuntime(seconds), seed=seed, collect_stats=False, display=False)


@dataclass(frozen=True, slots=True)
class Stop:
    """
    A place where something is to be done.

    ``window`` is in minutes of the day, from and until when work may begin there; ``needs`` are
    the skills a crew must have. ``weight`` says what is left out last when not all fits.
    """

    key: int
    latitude_deg: float
    longitude_deg: float
    service_minutes: float
    needs: frozenset[str] = frozenset()
    window: tuple[int, int] | None = None
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class TourCrew:
    """Who goes out: from where, with which skills, from when, how long, on how many days."""

    key: int
    latitude_deg: float
    longitude_deg: float
    skills: frozenset[str] = frozenset()
    day_starts_minute: int = 420
    shift_minutes: int = 480
    days: int = 1


@dataclass(frozen=True, slots=True)
class Visit:
    """A stop on a tour, and the minute of the day at which work begins there."""

    key: int
    at_minute: int


@dataclass(frozen=True, slots=True)
class CrewDay:
    """One day of one crew; ``minutes`` is from leaving to coming back."""

    crew: int
    visits: tuple[Visit, ...]
    minutes: int
    drive_mi: float


@dataclass(frozen=True, slots=True)
class Tours:
    """Days of crews, those with the weightiest stops first, and who is not served, with why."""

    days: tuple[CrewDay, ...]
    unserved: tuple[tuple[int, str], ...] = field(default=())


def plan_tours(
    stops: Sequence[Stop],
    crews: Sequence[TourCrew],
    *,
    detour_factor: float,
    speed_mi_per_h: float,
    seconds: float,
    seed: int = 1,
) -> Tours:
    """
    Return tours of crews that serve every stop once, or name it with the reason.

    Parameters
    ----------
    stops : sequence of Stop
        At most 5,000.
    crews : sequence of TourCrew
        With the days each has.
    detour_factor : float
        Way by road ÷ straight distance, 1 or more.
    speed_mi_per_h : float
        Between stops, over 0. [mi/h]
    seconds : float
        How long to search. [s]
    seed : int
        Of the search.

    Raises
    ------
    OutOfRangeError
        If there are too many stops, no crew, or a figure is outside its bounds.

    Examples
    --------
    >>> crew = TourCrew(1, 43.0, -89.0)
    >>> here, far = Stop(7, 43.01, -89.0, 20.0), Stop(8, 50.0, -89.0, 20.0)
    >>> tours = plan_tours([here, far], [crew], detour_factor=1.3, speed_mi_per_h=30.0,
    ...                    seconds=0.05)
    >>> tours.days[0].visits, tours.unserved[0][0]
    ((Visit(key=7, at_minute=422),), 8)
    """
    _check(stops, crews, detour_factor, speed_mi_per_h)
    reasons = {
        each.key: why
        for each in stops
        if (why := _hopeless(each, crews, detour_factor, speed_mi_per_h))
    }
    able = [each for each in stops if each.key not in reasons]
    if not able:
        return Tours((), tuple(reasons.items()))
    metres, seconds_between = travel_matrices(
        [*(each.latitude_deg for each in crews), *(each.latitude_deg for each in able)],
        [*(each.longitude_deg for each in crews), *(each.longitude_deg for each in able)],
        detour_factor=detour_factor,
        speed_mi_per_h=speed_mi_per_h,
    )
    data = _data(able, crews, seconds_between)
    found = _search(data, seconds, seed)
    days: list[CrewDay] = []
    served: set[int] = set()
    if found.is_feasible():
        for route in found.best.routes():
            crew = int(route.vehicle_type())
            steps = [each for each in route.schedule() if each.is_client()]
            places = [crew, *(len(crews) + each.idx for each in steps), crew]
            drive_m = float(metres[places[:-1], places[1:]].sum())
            days.append(
                CrewDay(
                    crews[crew].key,
                    tuple(
                        Visit(able[each.idx].key, round(each.start_time / SECONDS_PER_MINUTE))
                        for each in steps
                    ),
                    -(-int(route.duration()) // SECONDS_PER_MINUTE),
                    drive_m / M_PER_MI,
                )
            )
            served.update(able[each.idx].key for each in steps)
    for each in able:
        if each.key not in served:
            reasons[each.key] = "no time left on the days given; add a day or a crew"
    weight_of = {each.key: each.weight for each in stops}
    days.sort(key=lambda day: -max(weight_of[visit.key] for visit in day.visits))
    return Tours(tuple(days), tuple(reasons.items()))


def _data(
    stops: Sequence[Stop], crews: Sequence[TourCrew], between_s: npt.NDArray[np.int64]
) -> ProblemData:
    """Return the problem as the solver takes it: a matrix per set of skills."""
    heaviest = max(each.weight for each in stops)
    clients = []
    for number, each in enumerate(stops):
        early, late = each.window or (0, MINUTES_A_DAY)
        share = 0.5 + 0.5 * each.weight / heaviest
        clients.append(
            Client(
                len(crews) + number,
                service_duration=round(each.service_minutes * SECONDS_PER_MINUTE),
                tw_early=early * SECONDS_PER_MINUTE,
                tw_late=late * SECONDS_PER_MINUTE,
                prize=int(_UNSERVED_COST * share),
                required=False,
            )
        )
    skills = sorted({each.skills for each in crews}, key=sorted)
    matrices = [_without(stops, len(crews), between_s, able) for able in skills]
    vehicles = [
        VehicleType(
            num_available=each.days,
            start_depot=number,
            end_depot=number,
            tw_early=each.day_starts_minute * SECONDS_PER_MINUTE,
            tw_late=(each.day_starts_minute + each.shift_minutes) * SECONDS_PER_MINUTE,
            shift_duration=each.shift_minutes * SECONDS_PER_MINUTE,
            unit_distance_cost=0,
            unit_duration_cost=1,
            profile=skills.index(each.skills),
        )
        for number, each in enumerate(crews)
    ]
    return ProblemData(
        [Location(0, 0) for _place in range(len(crews) + len(stops))],
        clients,
        [Depot(number) for number in range(len(crews))],
        vehicles,
        matrices,
        matrices,
    )


def _without(
    stops: Sequence[Stop],
    crew_count: int,
    between_s: npt.NDArray[np.int64],
    skills: frozenset[str],
) -> npt.NDArray[np.int64]:
    """Return the times with the stops out of reach that ask for a skill the crew lacks."""
    lacking = [crew_count + n for n, each in enumerate(stops) if not each.needs <= skills]
    if not lacking:
        return between_s
    closed = between_s.copy()
    closed[:, lacking] = _FORBIDDEN_S
    closed[lacking, lacking] = 0
    return closed


def _hopeless(
    stop: Stop, crews: Sequence[TourCrew], detour_factor: float, speed_mi_per_h: float
) -> str:
    """Return why no crew could ever serve a stop, or nothing."""
    able = [each for each in crews if stop.needs <= each.skills]
    if not able:
        return f"no crew has: {', '.join(sorted(stop.needs))}"
    _metres, there_s = travel_matrices(
        [stop.latitude_deg, *(each.latitude_deg for each in able)],
        [stop.longitude_deg, *(each.longitude_deg for each in able)],
        detour_factor=detour_factor,
        speed_mi_per_h=speed_mi_per_h,
    )
    early, late = stop.window or (0, MINUTES_A_DAY)
    is_open = False
    for crew, way_s in zip(able, there_s[0, 1:], strict=True):
        way = float(way_s) / SECONDS_PER_MINUTE
        begins = max(crew.day_starts_minute + way, early)
        ends = begins + stop.service_minutes + way
        is_open = is_open or begins <= late
        is_in_shift = 2 * way + stop.service_minutes <= crew.shift_minutes
        if (
            begins <= late
            and ends <= crew.day_starts_minute + crew.shift_minutes
            and is_in_shift
        ):
            return ""
    if not is_open:
        return "no crew is out at the hours it may be worked on"
    return "too far away, or too long a work, for one day of any crew"


def _check(
    stops: Sequence[Stop],
    crews: Sequence[TourCrew],
    detour_factor: float,
    speed_mi_per_h: float,
) -> None:
    if len(stops) > MOST_STOPS:
        msg = f"There are {len(stops):,} stops; at most {MOST_STOPS:,} are toured at once."
        raise OutOfRangeError(msg)
    if not crews:
        msg = "There is no crew to go out; add one first."
        raise OutOfRangeError(msg)
    if not detour_factor >= 1:
        msg = f"The detour factor is {detour_factor:g}; it is 1 or more."
        raise OutOfRangeError(msg)
    if not speed_mi_per_h > 0:
        msg = f"The speed is {speed_mi_per_h:g} mi/h; it is over 0."
        raise OutOfRangeError(msg)
    keys = [each.key for each in stops]
    if len(set(keys)) < len(keys):
        twice = next(key for key in keys if keys.count(key) > 1)
        msg = f"Two stops have the key {twice}; give each its own, so that none is lost."
        raise OutOfRangeError(msg)
    for each in stops:
        if not (each.weight > 0 and math.isfinite(each.weight)):
            msg = f"Stop {each.key} has the weight {each.weight:g}; it is over 0."
            raise OutOfRangeError(msg)
        if not each.service_minutes >= 0:
            msg = f"Stop {each.key} takes {each.service_minutes:g} minutes; that is 0 or more."
            raise OutOfRangeError(msg)
        if (
            each.window is not None
            and not 0 <= each.window[0] <= each.window[1] <= MINUTES_A_DAY
        ):
            msg = (
                f"Stop {each.key} may be worked on from minute {each.window[0]} to "
                f"{each.window[1]}; both are of one day, 0 to {MINUTES_A_DAY}, in order."
            )
            raise OutOfRangeError(msg)
