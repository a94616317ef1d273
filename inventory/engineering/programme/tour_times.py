"""When work begins along a day, and whether a stop fits into one."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inventory.engineering.programme.problem import WholeArray
from inventory.engineering.programme.tour_parts import MINUTES_A_DAY, Stop, TourCrew

SECONDS_PER_MINUTE = 60
DAY_S = MINUTES_A_DAY * SECONDS_PER_MINUTE
Opening = tuple[int, int]  # from and until when work may begin, seconds from midnight
ANY_TIME: tuple[Opening, ...] = ((0, 2 * DAY_S),)
_LONGEST_SERVICE_MINUTES = 10 * MINUTES_A_DAY  # in no shift anyhow; keeps seconds small


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """
    Stops and crews in whole seconds; of the places, crews come first, then stops.

    Parameters
    ----------
    stops, crews
        As they are asked for.
    between_s : array of int, (c + n, c + n)
        Times between places. [s]
    service_s : array of int, (n,)
        Times of work. [s]
    openings : tuple of tuple
        Of each stop, the spans in which work may begin and a crew is out, in order. [s]
    """

    stops: Sequence[Stop]
    crews: Sequence[TourCrew]
    between_s: WholeArray
    service_s: WholeArray
    openings: tuple[tuple[Opening, ...], ...]

    @classmethod
    def of(
        cls, stops: Sequence[Stop], crews: Sequence[TourCrew], between_s: WholeArray
    ) -> "Work":
        """Return stops and crews in seconds."""
        service = [min(each.service_minutes, _LONGEST_SERVICE_MINUTES) for each in stops]
        return cls(
            stops,
            crews,
            between_s,
            np.array(
                [math.ceil(each * SECONDS_PER_MINUTE) for each in service], dtype=np.int64
            ),
            tuple(_within_shifts(openings_of(each), crews) for each in stops),
        )

    def place(self, stop: int) -> int:
        """Return the number of a stop among the places."""
        return len(self.crews) + stop

    def starts_s(self, crew: int) -> int:
        """Return when a crew's day starts, from midnight, in s."""
        return int(self.crews[crew].day_starts_minute) * SECONDS_PER_MINUTE

    def shift_s(self, crew: int) -> int:
        """Return how long a crew's shift is, in s."""
        return int(self.crews[crew].shift_minutes) * SECONDS_PER_MINUTE

    def has_skills(self, crew: int, stop: int) -> bool:
        """Return whether a crew has what a stop needs."""
        return self.stops[stop].needs <= self.crews[crew].skills

    def is_free(self, stop: int) -> bool:
        """Return whether work at a stop may begin at any time."""
        return self.openings[stop] is ANY_TIME


def openings_of(stop: Stop) -> tuple[Opening, ...]:
    """
    Return the spans in which work may begin, over two days from midnight, in s.

    Examples
    --------
    >>> openings_of(Stop(1, 43.0, -89.0, 5.0, window=(1200, 1560)))  # 20:00 to 02:00
    ((0, 7200), (72000, 93600), (158400, 172800))
    """
    if stop.window is None or stop.window[1] - stop.window[0] >= MINUTES_A_DAY:
        return ANY_TIME
    begins, ends = (int(each) * SECONDS_PER_MINUTE for each in stop.window)
    shifted = ((begins + day * DAY_S, ends + day * DAY_S) for day in (-1, 0, 1))
    return tuple(
        (max(early, 0), min(late, 2 * DAY_S))
        for early, late in shifted
        if late >= 0 and early <= 2 * DAY_S
    )


def _within_shifts(
    openings: tuple[Opening, ...], crews: Sequence[TourCrew]
) -> tuple[Opening, ...]:
    """Return the openings at which any crew is out; a stop mostly has one of them then."""
    if openings is ANY_TIME:
        return openings
    shifts = {(each.day_starts_minute, each.shift_minutes) for each in crews}
    return tuple(
        (early, late)
        for early, late in openings
        if any(
            early <= (starts + lasts) * SECONDS_PER_MINUTE
            and starts * SECONDS_PER_MINUTE <= late
            for starts, lasts in shifts
        )
    )


@dataclass(frozen=True, slots=True)
class Timetable:
    """When a day leaves, when work begins at each stop, when it is back: s from midnight."""

    leaves_s: int
    begins_s: tuple[int, ...]
    openings: tuple[int, ...]
    back_s: int


def timetable(work: Work, crew: int, order: Sequence[int]) -> Timetable | None:
    """
    Return the times of a day that is back as early as can be and then leaves late.

    Parameters
    ----------
    work : Work
        Stops, crews and times.
    crew : int
        Whose day it is, by number.
    order : sequence of int
        Stops in their order, by number.

    Returns
    -------
    Timetable or None
        ``None`` where a window or the shift is not kept.

    Examples
    --------
    >>> between = np.array([[0, 600], [600, 0]])
    >>> one = Work.of([Stop(1, 43.0, -89.0, 20.0, window=(480, 540))],
    ...               [TourCrew(1, 43.0, -89.0, day_starts_minute=420)], between)
    >>> timetable(one, 0, [0])
    Timetable(leaves_s=28200, begins_s=(28800,), openings=(0,), back_s=30600)
    """
    begun = _earliest(work, crew, order, work.starts_s(crew))
    if begun is None:
        return None
    openings, back_s = begun[1:]
    # The latest it may leave without being back any later.
    latest, place = back_s, crew
    for stop, opening in zip(reversed(order), reversed(openings), strict=True):
        here = work.place(stop)
        latest -= work.between_s.item(here, place) + work.service_s.item(stop)
        latest, place = min(latest, work.openings[stop][opening][1]), here
    leaves_s = latest - work.between_s.item(crew, place)
    begins, openings, back_s = _earliest(work, crew, order, leaves_s) or begun
    return Timetable(leaves_s, tuple(begins), tuple(openings), back_s)


def _earliest(
    work: Work, crew: int, order: Sequence[int], leaves_s: int
) -> tuple[list[int], list[int], int] | None:
    """Return when work begins at each stop, in which of its openings, and when all is done."""
    now, place = leaves_s, crew
    begins, openings = [], []
    for stop in order:
        here = work.place(stop)
        now += work.between_s.item(place, here)
        for number, (early, late) in enumerate(work.openings[stop]):
            if now <= late:
                now = max(now, early)
                openings.append(number)
                break
        else:
            return None
        begins.append(now)
        now, place = now + work.service_s.item(stop), here
    now += work.between_s.item(place, crew)
    is_late = now > work.starts_s(crew) + work.shift_s(crew)
    return None if is_late else (begins, openings, now)


def with_stop(
    work: Work, crew: int, order: Sequence[int], stop: int
) -> tuple[tuple[int, ...], int] | None:
    """
    Return a day with one more stop where it costs the least way, and the time it costs.

    The stops that are in it keep their order.

    Parameters
    ----------
    work : Work
        Stops, crews and times.
    crew : int
        Whose day it is, by number.
    order : sequence of int
        Stops in their order, by number.
    stop : int
        The one to put in.

    Returns
    -------
    tuple or None
        The new order, and the way it adds [s]; ``None`` where it fits nowhere.

    Examples
    --------
    >>> between = np.array([[0, 60, 90], [60, 0, 30], [90, 30, 0]])
    >>> two = Work.of([Stop(1, 0.0, 0.0, 5.0), Stop(2, 0.0, 0.0, 5.0)],
    ...               [TourCrew(1, 0.0, 0.0)], between)
    >>> with_stop(two, 0, [0], 1)
    ((1, 0), 60)
    """
    if not work.has_skills(crew, stop):
        return None
    here = work.place(stop)
    places = np.array([crew, *(work.place(each) for each in order), crew])
    between = work.between_s
    legs = between[places[:-1], places[1:]]
    added = between[places[:-1], here] + between[here, places[1:]] - legs
    took = int(legs.sum()) + sum(work.service_s.item(each) for each in order)
    spare = work.shift_s(crew) - took - work.service_s.item(stop)
    is_free = work.is_free(stop) and all(work.is_free(each) for each in order)
    for position in np.argsort(added, kind="stable"):
        if added[position] > spare:
            return None
        new = (*order[:position], stop, *order[position:])
        # Without windows, what fits by the sum of its times fits.
        if is_free or _earliest(work, crew, new, work.starts_s(crew)) is not None:
            return new, int(added[position])
    return None


def why_hopeless(work: Work) -> list[str]:
    """
    Return for each stop why no crew could ever serve it, or nothing.

    Examples
    --------
    >>> between = np.array([[0, 60], [60, 0]])
    >>> why_hopeless(Work.of([Stop(1, 0.0, 0.0, 5.0, frozenset({"night"}))],
    ...                      [TourCrew(1, 0.0, 0.0)], between))
    ['no crew has: night']
    """
    return [_why_hopeless(work, stop) for stop in range(len(work.stops))]


def _why_hopeless(work: Work, stop: int) -> str:
    needs = work.stops[stop].needs
    able = [crew for crew in range(len(work.crews)) if work.has_skills(crew, stop)]
    if not able:
        held = [needs & each.skills for each in work.crews]
        lacking = sorted(needs.difference(*held))
        if lacking:
            return f"no crew has: {', '.join(lacking)}"
        return f"no crew alone has all of: {', '.join(sorted(needs))}"
    if any(with_stop(work, crew, (), stop) is not None for crew in able):
        return ""
    if not any(_is_open(work, crew, stop) for crew in able):
        return "no crew that could do it is out at the hours it may be worked on"
    return "too far away, or too long a work, for one day of any crew that could do it"


def _is_open(work: Work, crew: int, stop: int) -> bool:
    """Return whether a crew can be there, within its shift, when work may begin."""
    there = work.starts_s(crew) + work.between_s.item(crew, work.place(stop))
    ends = work.starts_s(crew) + work.shift_s(crew)
    if work.is_free(stop):
        return True
    return any(max(there, early) <= min(late, ends) for early, late in work.openings[stop])
