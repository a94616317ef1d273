"""Tours of crews through their stops: each stop once, or named with the reason it is not."""

import time
from collections.abc import Callable, Sequence

from inventory.engineering.programme.tour_order import Day, by_weight
from inventory.engineering.programme.tour_parts import (
    CrewDay,
    Stop,
    TourCrew,
    Tours,
    Visit,
    check_tours,
)
from inventory.engineering.programme.tour_search import TourProblem, TourSearch, shortest_tours
from inventory.engineering.programme.tour_times import (
    SECONDS_PER_MINUTE,
    Work,
    timetable,
    why_hopeless,
)
from inventory.engineering.programme.travel import (
    M_PER_MI,
    check_travel,
    travel_times,
    way_through_m,
)

__all__ = [
    "CrewDay",
    "Stop",
    "TourCrew",
    "TourProblem",
    "Tours",
    "Visit",
    "plan_tours",
    "shortest_tours",
]
METHOD_VERSION = "tours-2"
NO_TIME_LEFT = "no time left on the days given; add a day or a crew"
_SHARE_TO_SERVE = 0.6  # of the time, at most, goes into serving all; the rest into short days


def plan_tours(
    stops: Sequence[Stop],
    crews: Sequence[TourCrew],
    *,
    detour_factor: float,
    speed_mi_per_h: float,
    seconds: float,
    seed: int = 1,
    progress: Callable[[str], None] | None = None,
    should_stop: Callable[[], bool] = lambda: False,
) -> Tours:
    """
    Return tours of crews that serve every stop once, or name it with the reason.

    Where the days do not suffice, a stop is left out only if it fits into none of them,
    wherever in its order, even with every lighter stop taken out of that day.

    Parameters
    ----------
    stops : sequence of Stop
        At most 5,000.
    crews : sequence of TourCrew
        With the days each has; at most 5,000 together.
    detour_factor : float
        Way by road ÷ straight distance, 1 or more.
    speed_mi_per_h : float
        Between stops, over 0. [mi/h]
    seconds : float
        How long it may take, all told but for the last step in hand. [s]
    seed : int
        Of the search.
    progress : callable, optional
        Told in words what is being done.
    should_stop : callable, optional
        Asked now and then; the best tours so far are returned.

    Raises
    ------
    OutOfRangeError
        If there are too many stops or days, no crew, two stops or two crews of one key, or a
        figure outside its bounds.

    Examples
    --------
    >>> crew = TourCrew(1, 43.0, -89.0)
    >>> here, far = Stop(7, 43.01, -89.0, 20.0), Stop(8, 50.0, -89.0, 20.0)
    >>> tours = plan_tours([here, far], [crew], detour_factor=1.3, speed_mi_per_h=30.0,
    ...                    seconds=0.05)
    >>> tours.days[0].visits, tours.unserved[0][0]
    ((Visit(key=7, at_minute=422),), 8)
    """
    ends_s = time.perf_counter() + seconds
    check_tours(stops, crews, seconds, seed)
    check_travel(detour_factor, speed_mi_per_h)
    tell = progress or (lambda _words: None)
    tell("measuring the ways between stops")
    places: list[Stop | TourCrew] = [*crews, *stops]
    between_s = travel_times(
        [each.latitude_deg for each in places],
        [each.longitude_deg for each in places],
        detour_factor=detour_factor,
        speed_mi_per_h=speed_mi_per_h,
    )
    asked = Work.of(stops, crews, between_s)
    reasons = {
        each.key: why for each, why in zip(stops, why_hopeless(asked), strict=True) if why
    }
    work = _able(asked, reasons)
    days = _days(work, ends_s, seed, tell, should_stop) if work.stops else []
    served = {work.stops[stop].key for day in days for stop in day.order}
    reasons |= {each.key: NO_TIME_LEFT for each in work.stops if each.key not in served}
    days.sort(key=lambda day: -max(work.stops[stop].weight for stop in day.order))
    return Tours(
        tuple(_crew_day(work, each, detour_factor) for each in days), tuple(reasons.items())
    )


def _able(asked: Work, reasons: dict[int, str]) -> Work:
    """Return the work without the stops that no crew could ever serve."""
    if not reasons:
        return asked
    numbers = [n for n, each in enumerate(asked.stops) if each.key not in reasons]
    places = [*range(len(asked.crews)), *(asked.place(each) for each in numbers)]
    return Work.of(
        [asked.stops[each] for each in numbers],
        asked.crews,
        asked.between_s[places][:, places],
    )


def _days(
    work: Work,
    ends_s: float,
    seed: int,
    tell: Callable[[str], None],
    should_stop: Callable[[], bool],
) -> list[Day]:
    tell("finding days for all stops")
    search = TourSearch(work, seed, should_stop)
    left_s = ends_s - time.perf_counter()
    days = by_weight(work, search.serve(left_s * _SHARE_TO_SERVE))
    if not should_stop():
        tell("making the days shorter")
        days = by_weight(work, search.shorten(days, ends_s - time.perf_counter()))
    return days


def _crew_day(work: Work, day: Day, detour_factor: float) -> CrewDay:
    times = timetable(work, day.crew, day.order)
    if times is None:  # every day made keeps its windows and its shift
        msg = f"The day of crew {work.crews[day.crew].key} does not keep its times."
        raise AssertionError(msg)
    crew, stops = work.crews[day.crew], [work.stops[each] for each in day.order]
    places: list[Stop | TourCrew] = [crew, *stops, crew]
    way_m = way_through_m(
        [each.latitude_deg for each in places],
        [each.longitude_deg for each in places],
        detour_factor=detour_factor,
    )
    return CrewDay(
        crew.key,
        tuple(
            Visit(each.key, round(begins_s / SECONDS_PER_MINUTE))
            for each, begins_s in zip(stops, times.begins_s, strict=True)
        ),
        -(-(times.back_s - times.leaves_s) // SECONDS_PER_MINUTE),
        way_m / M_PER_MI,
    )
