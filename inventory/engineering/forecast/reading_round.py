"""Which signs to read in the hours there are: value per minute, with the way shared."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.engineering.places.distance import MEAN_EARTH_RADIUS_M
from inventory.errors import OutOfRangeError

MOST_CANDIDATES = 2_500  # supports looked at, those with the highest value per minute there
STARTS = 2  # places a round is begun at, to keep the best
WAY_SHARES = (0.2, 0.35, 0.7)  # of stop and detour, in what a support adds a minute
START_CELL_M = 2_000.0
_END = -1  # in place of a stop: before the first or after the last


@dataclass(frozen=True, slots=True)
class CrewTimes:
    """
    What a crew needs, in minutes; every default is an assumption.

    No published figure of crew productivity was found.

    Parameters
    ----------
    sign_minutes : float
        To read all colours of a sign, over 0.
    stop_minutes : float
        To park, set out and pack up at a support, 0 or more.
    speed_km_h : float
        On the way, over 0. [km/h]
    detour_factor : float
        Way by road over way as the crow flies, 1 or more.

    Raises
    ------
    OutOfRangeError
        If a figure is outside these bounds.

    Examples
    --------
    >>> CrewTimes().travel_minutes(2_000.0)
    3.9
    """

    sign_minutes: float = 4.0
    stop_minutes: float = 5.0
    speed_km_h: float = 40.0
    detour_factor: float = 1.3

    def __post_init__(self) -> None:
        for name, value, least, words in (
            ("Minutes a sign", self.sign_minutes, 0.0, "over 0"),
            ("Minutes a stop", self.stop_minutes, -1e-12, "0 or more"),
            ("Speed on the way", self.speed_km_h, 0.0, "over 0 km/h"),
            ("The factor of the way by road", self.detour_factor, 1 - 1e-12, "1 or more"),
        ):
            if not least < value < np.inf:
                msg = f"{name}: {value:g} is given; it is {words}."
                raise OutOfRangeError(msg)

    def travel_minutes(self, metres: float) -> float:
        """Return how long a way takes that is so far as the crow flies."""
        return metres * self.minutes_per_metre

    @property
    def minutes_per_metre(self) -> float:
        """Return minutes a metre as the crow flies."""
        return self.detour_factor * 60.0 / (self.speed_km_h * 1_000.0)


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """
    Signs that may be read: what each reading is worth, and where the sign stands.

    Parameters
    ----------
    value : array of float, (n,)
        0 or more.
    support : array of int, (n,)
        Support of each, 0, 1, 2 …; signs of one share the stop.
    latitude_deg, longitude_deg : array of float, (supports,)
        WGS 84 positions of the supports.

    Raises
    ------
    OutOfRangeError
        If arrays differ in length, a value is negative or a support has no position.
    """

    value: FloatArray
    support: WholeArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray

    def __post_init__(self) -> None:
        supports = len(self.latitude_deg)
        if len(self.value) != len(self.support) or len(self.longitude_deg) != supports:
            msg = "Give a value and a support for each sign, and a position for each support."
            raise OutOfRangeError(msg)
        if len(self.value) and not (self.value >= 0).all():
            msg = f"A reading is worth {self.value.min():g}; it is 0 or more."
            raise OutOfRangeError(msg)
        if len(self.support) and not 0 <= self.support.min() <= self.support.max() < supports:
            msg = (
                f"A sign stands on support {self.support.max()} of {supports}; they run from 0."
            )
            raise OutOfRangeError(msg)

    def plane_m(self) -> FloatArray:
        """Return the supports on a plane, metres east and north of their middle."""
        if not len(self.latitude_deg):
            return np.empty((0, 2))
        north, east = np.radians(self.latitude_deg), np.radians(self.longitude_deg)
        east = (east - east.mean()) * np.cos(north.mean())
        return np.column_stack((east, north - north.mean())) * MEAN_EARTH_RADIUS_M


@dataclass(frozen=True, slots=True, eq=False)
class Round:
    """
    The signs that are read, what they are worth and what they take.

    Parameters
    ----------
    signs : array of int
        Places in the candidates, in the order chosen: the most a minute first.
    minutes : array of float
        What each added when it was chosen, with its stop and its way. [min]
    way : array of int
        Supports in the order of the way.
    travel_minutes : float
        From the first stop to the last; the way from the yard and back is not in it. [min]
    total_minutes : float
        With stops and signs. [min]
    value : float
        Sum of the values.
    """

    signs: WholeArray
    minutes: FloatArray
    way: WholeArray
    travel_minutes: float
    total_minutes: float
    value: float


def choose_round(
    candidates: Candidates,
    *,
    times: CrewTimes,
    budget_minutes: float,
    most_signs: int | None = None,
    most_candidates: int = MOST_CANDIDATES,
) -> Round:
    """
    Return the signs that are worth most in the minutes there are.

    From a first stop on, again and again those signs of one support are taken that add most a
    minute; what is near the way already chosen costs little. Of the stop and the detour a share
    counts there, since signs taken later use them too; all of it counts in the minutes. That is
    done from several first stops and with several shares, and the round worth most is kept. It
    is not proven to be the best one.

    Parameters
    ----------
    candidates : Candidates
        Signs without any value are never chosen.
    times : CrewTimes
        What reading, stopping and driving take.
    budget_minutes : float
        0 or more. [min]
    most_signs : int, optional
        No more signs than these.
    most_candidates : int
        Supports looked at: those with the highest value per minute on the spot.

    Raises
    ------
    OutOfRangeError
        If the minutes or a bound is negative.

    References
    ----------
    .. [1] B. L. Golden, L. Levy and R. Vohra (1987), The orienteering problem, Naval Research
       Logistics 34, 307-318: value per added distance, from several starts (from memory).

    Examples
    --------
    >>> three = Candidates(np.array([1.0, 0.9, 1.0]), np.array([0, 0, 1]),
    ...                    np.array([43.0, 43.1]), np.array([-89.5, -89.5]))
    >>> found = choose_round(three, times=CrewTimes(), budget_minutes=20.0)
    >>> found.signs.tolist(), found.total_minutes
    ([0, 1], 13.0)
    """
    if not 0 <= budget_minutes < np.inf:
        msg = f"The crew has {budget_minutes:g} minutes; give 0 or more."
        raise OutOfRangeError(msg)
    if most_candidates < 1 or (most_signs is not None and most_signs < 1):
        msg = f"At most {most_signs} signs of {most_candidates} supports; both are 1 or more."
        raise OutOfRangeError(msg)
    places = candidates.plane_m()
    table = _Table.of(candidates, times, most_candidates)
    best = _EMPTY
    for start in _starts(table, places):
        for share in WAY_SHARES:
            found = _grow(table, places, times, budget_minutes, most_signs, start, share)
            if found.value > best.value:
                best = found
    return best


def round_in_order(
    candidates: Candidates,
    order: Sequence[int] | WholeArray,
    *,
    times: CrewTimes,
    budget_minutes: float,
) -> Round:
    """
    Return the round that takes signs in a given order, each that still fits; for comparison.

    Examples
    --------
    >>> three = Candidates(np.array([1.0, 0.9, 1.0]), np.array([0, 0, 1]),
    ...                    np.array([43.0, 43.1]), np.array([-89.5, -89.5]))
    >>> round_in_order(three, [2, 0, 1], times=CrewTimes(), budget_minutes=12.0).signs.tolist()
    [2]
    """
    places = candidates.plane_m()
    way = _Way()
    spent, seen = 0.0, set()
    signs, minutes = [], []
    for sign in order:
        support = int(candidates.support[sign])
        cost = times.sign_minutes
        at, metres = 0, 0.0
        if support not in seen:
            at, metres = way.cheapest(places, support)
            cost += times.stop_minutes + times.travel_minutes(metres)
        if spent + cost <= budget_minutes:
            if support not in seen:
                way.stops.insert(at, support)
                seen.add(support)
            spent += cost
            signs.append(int(sign))
            minutes.append(cost)
        if budget_minutes - spent < times.sign_minutes:
            break
    return _round(candidates.value, places, times, signs, minutes, way.stops)


class _Way:
    """A way through stops, grown by putting each where the detour is least."""

    def __init__(self) -> None:
        self.stops: list[int] = []

    def cheapest(self, places: FloatArray, support: int) -> tuple[int, float]:
        """Return where a support is put into the way, and how many metres longer it gets."""
        if not self.stops:
            return 0, 0.0
        here = places[self.stops]
        to = np.hypot(*(here - places[support]).T)
        between = np.hypot(*(here[1:] - here[:-1]).T)
        detours = np.concatenate(([to[0]], to[:-1] + to[1:] - between, [to[-1]]))
        at = int(np.argmin(detours))
        return at, float(detours[at])


@dataclass(slots=True, eq=False)
class _Table:
    """Per support looked at, its signs that are not taken, by falling value."""

    support: WholeArray
    values: FloatArray  # (m, k), 0 beyond the signs of the support
    signs: WholeArray  # (m, k), −1 beyond them
    is_visited: npt.NDArray[np.bool_]
    all_values: FloatArray

    @classmethod
    def of(cls, candidates: Candidates, times: CrewTimes, most: int) -> "_Table":
        worth = np.flatnonzero(candidates.value > 0)
        order = worth[np.lexsort((worth, -candidates.value[worth], candidates.support[worth]))]
        support, first, counts = np.unique(
            candidates.support[order], return_index=True, return_counts=True
        )
        width = int(counts.max()) if len(counts) else 1
        column = np.arange(len(order)) - np.repeat(first, counts)
        row = np.repeat(np.arange(len(support)), counts)
        values = np.zeros((len(support), width))
        signs = np.full((len(support), width), -1, dtype=np.int64)
        values[row, column] = candidates.value[order]
        signs[row, column] = order
        before = np.full(len(support), times.stop_minutes)
        best = _gains(values.cumsum(axis=1), before, times.sign_minutes)[0]
        kept = np.sort(np.argsort(-best, kind="stable")[:most])
        return cls(
            support[kept],
            values[kept],
            signs[kept],
            np.zeros(len(kept), dtype=np.bool_),
            candidates.value,
        )


def _gains(
    sums: FloatArray,
    before: FloatArray,
    sign_minutes: float,
    share: float = 1.0,
    left: float = np.inf,
    most: int | None = None,
) -> tuple[FloatArray, WholeArray]:
    """Return the most a minute each support adds, and with how many of its signs."""
    reading = np.arange(1, sums.shape[1] + 1) * sign_minutes
    gain = sums / (share * before[:, None] + reading)
    if left < np.inf:
        gain[before[:, None] + reading > left] = 0.0
    if most is not None:
        gain[:, most:] = 0.0
    place = gain.argmax(axis=1)
    return gain[np.arange(len(gain)), place], place + 1


def _starts(table: _Table, places: FloatArray) -> list[int]:
    """Return rows to begin at: the best support of each of the cells that hold most."""
    if not len(table.support):
        return []
    worth = table.values.sum(axis=1)
    cells = np.floor(places[table.support] / START_CELL_M).astype(np.int64)
    _names, cell = np.unique(cells, axis=0, return_inverse=True)
    cell = cell.ravel()
    sums = np.bincount(cell, worth)
    starts = []
    for name in np.argsort(-sums, kind="stable")[:STARTS]:
        rows = np.flatnonzero(cell == name)
        starts.append(int(rows[np.argmax(worth[rows])]))
    return starts


def _grow(
    table: _Table,
    places: FloatArray,
    times: CrewTimes,
    budget: float,
    most_signs: int | None,
    start: int,
    share: float,
) -> Round:
    """Return the round grown from one support."""
    at = places[table.support]
    sums, signs = table.values.cumsum(axis=1), table.signs.copy()
    visited = table.is_visited.copy()
    detour = np.full(len(at), np.inf)
    after = np.full(len(at), _END)  # the row the detour is put behind; _END: at the beginning
    following: dict[int, int] = {}  # row → the row after it; _END → the first
    before = np.full(len(at), np.inf)
    before[start] = times.stop_minutes
    spent = 0.0
    chosen: list[int] = []
    minutes: list[float] = []
    while most_signs is None or len(chosen) < most_signs:
        room = None if most_signs is None else most_signs - len(chosen)
        gain, number = _gains(sums, before, times.sign_minutes, share, budget - spent, room)
        row = int(np.argmax(gain))
        if gain[row] <= 0:
            break
        count = int(number[row])
        extra = float(before[row])
        spent += extra + count * times.sign_minutes
        chosen.extend(signs[row, :count].tolist())
        minutes.extend([times.sign_minutes + extra / count] * count)
        taken = sums[row, count - 1]
        sums[row] = np.append(sums[row, count:], np.full(count, sums[row, -1])) - taken
        signs[row] = np.concatenate((signs[row, count:], np.full(count, -1)))
        before[row] = 0.0
        if not visited[row]:
            visited[row] = True
            _put_in(row, at, following, detour, after)
            before = np.where(
                visited, 0.0, times.stop_minutes + detour * times.minutes_per_metre
            )
    way = _walk(following)
    return _round(
        table.all_values, places, times, chosen, minutes, [int(table.support[r]) for r in way]
    )


def _put_in(
    row: int,
    at: FloatArray,
    following: dict[int, int],
    detour: FloatArray,
    after: WholeArray,
) -> None:
    """Put a support into the way, and bring every other's least detour up to date."""
    behind = int(after[row]) if following else _END
    ahead = following.get(behind, _END)
    following[behind], following[row] = row, ahead
    stale = np.flatnonzero(after == behind)
    detour[stale] = np.inf
    # What went between these two may go elsewhere now: all ways in are looked at again.
    for leg, rows in ((behind, slice(None)), (row, slice(None))):
        _compare(leg, following[leg], at, rows, detour, after)
    if len(stale) and len(following) > 2:
        _compare_all(stale, at, following, detour, after)


def _compare(
    leg: int,
    to: int,
    at: FloatArray,
    rows: slice | WholeArray,
    detour: FloatArray,
    after: WholeArray,
) -> None:
    """Take a leg of the way as the place to go in for those it is the least detour of."""
    here = at[rows]
    if leg == _END:
        metres = np.hypot(*(here - at[to]).T)
    elif to == _END:
        metres = np.hypot(*(here - at[leg]).T)
    else:
        direct = np.hypot(*(at[to] - at[leg]))
        metres = np.hypot(*(here - at[leg]).T) + np.hypot(*(here - at[to]).T) - direct
    is_less = metres < detour[rows]
    detour[rows] = np.where(is_less, metres, detour[rows])
    after[rows] = np.where(is_less, leg, after[rows])


def _compare_all(
    rows: WholeArray,
    at: FloatArray,
    following: dict[int, int],
    detour: FloatArray,
    after: WholeArray,
) -> None:
    """Find the least detour of some supports over every leg of the way."""
    way = np.array(_walk(following))
    far = np.hypot(at[rows, None, 0] - at[None, way, 0], at[rows, None, 1] - at[None, way, 1])
    between = np.hypot(*(at[way[1:]] - at[way[:-1]]).T)
    legs = np.concatenate((far[:, :1], far[:, :-1] + far[:, 1:] - between, far[:, -1:]), axis=1)
    least = legs.argmin(axis=1)
    detour[rows] = legs[np.arange(len(rows)), least]
    after[rows] = np.concatenate(([_END], way))[least]


def _walk(following: dict[int, int]) -> list[int]:
    """Return the rows in the order of the way."""
    way = []
    here = following.get(_END, _END)
    while here != _END:
        way.append(here)
        here = following[here]
    return way


def _round(
    values: FloatArray,
    places: FloatArray,
    times: CrewTimes,
    signs: list[int],
    minutes: list[float],
    way: list[int],
) -> Round:
    chosen = np.array(signs, dtype=np.int64)
    stops = places[way] if way else np.empty((0, 2))
    metres = float(np.hypot(*(stops[1:] - stops[:-1]).T).sum()) if len(way) > 1 else 0.0
    travel = times.travel_minutes(metres)
    return Round(
        signs=chosen,
        minutes=np.array(minutes),
        way=np.array(way, dtype=np.int64),
        travel_minutes=travel,
        total_minutes=travel + len(way) * times.stop_minutes + len(signs) * times.sign_minutes,
        value=float(values[chosen].sum()),
    )


_EMPTY = Round(
    np.empty(0, dtype=np.int64), np.empty(0), np.empty(0, dtype=np.int64), 0.0, 0.0, 0.0
)
