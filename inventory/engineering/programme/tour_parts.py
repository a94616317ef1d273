"""What tours are made of: stops, crews and their days; and what cannot be one of them."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from inventory.errors import OutOfRangeError

MINUTES_A_DAY = 1440
MOST_STOPS = 5_000
MOST_DAYS = 5_000
MOST_SEED = 2**32 - 1


@dataclass(frozen=True, slots=True)
class Stop:
    """
    A place where something is to be done.

    ``window`` is a time of day in minutes, from and until when work may begin there; it may
    run over midnight (20:00 to 02:00 is ``(1200, 1560)``). Without one, work may begin at any
    time of a shift. ``needs`` are the skills a crew must have. Where not all fits, no stop of
    less ``weight`` keeps the place of a heavier one.
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
    """
    Who goes out: from where, with which skills, from when, how long, on how many days.

    A shift may run over midnight: one from minute 1200 with 480 minutes ends at 04:00.
    """

    key: int
    latitude_deg: float
    longitude_deg: float
    skills: frozenset[str] = frozenset()
    day_starts_minute: int = 420
    shift_minutes: int = 480
    days: int = 1


@dataclass(frozen=True, slots=True)
class Visit:
    """
    A stop on a tour, and when work begins there.

    ``at_minute`` is counted from midnight before the shift: 1500 is 01:00 of the next day.
    """

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


def clock_words(minute: float) -> str:
    """
    Return a minute counted from the midnight before a shift as a time of day.

    Examples
    --------
    >>> clock_words(545), clock_words(1500)
    ('09:05', '01:00 the next day')
    """
    days, rest = divmod(round(minute), MINUTES_A_DAY)
    hour, minutes = divmod(rest, 60)
    later = {0: "", 1: " the next day"}.get(days, f" after {days} days")
    return f"{hour:02d}:{minutes:02d}{later}"


def check_tours(
    stops: Sequence[Stop], crews: Sequence[TourCrew], seconds: float, seed: int
) -> None:
    """
    Refuse stops and crews of which no tours can be made.

    Raises
    ------
    OutOfRangeError
        With the value, its bound, and what to do.

    Examples
    --------
    >>> check_tours([Stop(1, 43.0, -89.0, 20.0)], [TourCrew(1, 43.0, -89.0)], 5.0, 1)
    """
    if len(stops) > MOST_STOPS:
        msg = (
            f"There are {len(stops):,} stops; at most {MOST_STOPS:,} are toured at once. Plan "
            "a month or a district at a time."
        )
        raise OutOfRangeError(msg)
    if not crews:
        msg = "There is no crew to go out; add one first."
        raise OutOfRangeError(msg)
    if not (math.isfinite(seconds) and seconds >= 0):
        msg = f"The search is given {seconds:g} seconds; give a number of 0 or more."
        raise OutOfRangeError(msg)
    if not (_is_whole(seed) and 0 <= seed <= MOST_SEED):
        msg = f"The seed is {seed}; it is a whole number from 0 to {MOST_SEED}."
        raise OutOfRangeError(msg)
    _check_keys("stops", (each.key for each in stops))
    _check_keys("crews", (each.key for each in crews))
    for stop in stops:
        _check_place(f"Stop {stop.key}", stop.latitude_deg, stop.longitude_deg)
        _check_stop(stop)
    for crew in crews:
        _check_place(f"Crew {crew.key}", crew.latitude_deg, crew.longitude_deg)
        _check_crew(crew)
    days = sum(each.days for each in crews)
    if days > MOST_DAYS:
        msg = (
            f"The crews have {days:,} days together; at most {MOST_DAYS:,} are planned at "
            "once. Plan a month or a district at a time."
        )
        raise OutOfRangeError(msg)


def _check_keys(kind: str, keys: Iterable[int]) -> None:
    seen: set[int] = set()
    for key in keys:
        if key in seen:
            msg = f"Two {kind} have the key {key}; give each its own, so that none is lost."
            raise OutOfRangeError(msg)
        seen.add(key)


def _check_place(name: str, latitude_deg: float, longitude_deg: float) -> None:
    for word, value, most in (
        ("latitude", latitude_deg, 90),
        ("longitude", longitude_deg, 180),
    ):
        if not -most <= value <= most:
            msg = f"{name} has the {word} {value:g}°; it is from -{most} to {most}."
            raise OutOfRangeError(msg)


def _check_stop(stop: Stop) -> None:
    if not (stop.weight > 0 and math.isfinite(stop.weight)):
        msg = f"Stop {stop.key} has the weight {stop.weight:g}; give a number over 0."
        raise OutOfRangeError(msg)
    if not (stop.service_minutes >= 0 and math.isfinite(stop.service_minutes)):
        msg = (
            f"Stop {stop.key} takes {stop.service_minutes:g} minutes; give a number of 0 or "
            "more."
        )
        raise OutOfRangeError(msg)
    if stop.window is None:
        return
    begins, ends = stop.window
    if not (_is_whole(begins) and 0 <= begins < MINUTES_A_DAY):
        msg = (
            f"Work at stop {stop.key} may begin from minute {begins} of the day; give a whole "
            f"number from 0 to {MINUTES_A_DAY - 1}."
        )
        raise OutOfRangeError(msg)
    if not (_is_whole(ends) and begins <= ends <= begins + MINUTES_A_DAY):
        msg = (
            f"Work at stop {stop.key} may begin from minute {begins} to {ends}; the end is a "
            f"whole number from {begins} to {begins + MINUTES_A_DAY}. Past midnight the "
            f"minutes go on: 02:00 of the next day is {MINUTES_A_DAY + 120}."
        )
        raise OutOfRangeError(msg)


def _check_crew(crew: TourCrew) -> None:
    if not (_is_whole(crew.day_starts_minute) and 0 <= crew.day_starts_minute < MINUTES_A_DAY):
        msg = (
            f"The day of crew {crew.key} starts at minute {crew.day_starts_minute}; give a "
            f"whole number from 0 to {MINUTES_A_DAY - 1}."
        )
        raise OutOfRangeError(msg)
    if not (_is_whole(crew.shift_minutes) and 1 <= crew.shift_minutes <= MINUTES_A_DAY):
        msg = (
            f"The shift of crew {crew.key} is {crew.shift_minutes} minutes; give a whole "
            f"number from 1 to {MINUTES_A_DAY}."
        )
        raise OutOfRangeError(msg)
    if not (_is_whole(crew.days) and crew.days >= 1):
        msg = f"Crew {crew.key} has {crew.days} days; give 1 or more, or leave the crew out."
        raise OutOfRangeError(msg)


def _is_whole(value: float) -> bool:
    return math.isfinite(value) and value == int(value)
