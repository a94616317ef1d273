"""Who is left out when not all fits: no lighter stop keeps the place of a heavier one."""

import heapq
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from inventory.engineering.programme.tour_times import Work, with_stop


@dataclass(frozen=True, slots=True)
class Day:
    """A crew by number, and its stops of one day by number in their order."""

    crew: int
    order: tuple[int, ...]


def by_weight(work: Work, days: Sequence[Day]) -> list[Day]:
    """
    Return days in which no stop is left out that lighter ones keep out.

    Of every stop that is still left out it then holds that it fits into no day, wherever in
    its order, even with every stop lighter than it taken out of that day; and into no unused
    day. Stops are tried from the heaviest down. One that fits goes where it costs the least
    way; else it takes the place of lighter ones where the least weight is lost, and those are
    tried again when their turn comes.

    Parameters
    ----------
    work : Work
        Stops, crews and times.
    days : sequence of Day
        Not more of a crew than it has.

    Examples
    --------
    >>> import numpy as np
    >>> from inventory.engineering.programme.tour_parts import Stop, TourCrew
    >>> light = [Stop(n, 0.0, 0.0, 240.0) for n in (1, 2)]
    >>> work = Work.of([*light, Stop(3, 0.0, 0.0, 480.0, weight=8.0)], [TourCrew(1, 0.0, 0.0)],
    ...                np.zeros((4, 4), int))
    >>> by_weight(work, [Day(0, (0, 1))])
    [Day(crew=0, order=(2,))]
    """
    plan = _Plan(work, days)
    waiting = [(-plan.weight[each], each) for each in plan.left_out()]
    heapq.heapify(waiting)
    while waiting:
        _weight, stop = heapq.heappop(waiting)
        if not plan.put_in(stop):
            for displaced in plan.displace_for(stop):
                heapq.heappush(waiting, (-plan.weight[displaced], displaced))
    return [each for each in plan.days if each.order]


class _Plan:
    """Days that change, and the time each has to spare."""

    def __init__(self, work: Work, days: Iterable[Day]) -> None:
        self.work = work
        self.weight = [each.weight for each in work.stops]
        self.days = list(days)
        self.spare_s = [self._spare(each) for each in self.days]

    def left_out(self) -> set[int]:
        """Return the stops that no day has."""
        served = {stop for day in self.days for stop in day.order}
        return set(range(len(self.work.stops))) - served

    def put_in(self, stop: int) -> bool:
        """Put a stop where it costs the least way, into an unused day last; say if it fits."""
        service_s = self.work.service_s.item(stop)
        found: list[tuple[int, int, tuple[int, ...]]] = []
        for number, day in enumerate(self.days):
            if self.spare_s[number] >= service_s:
                fitted = with_stop(self.work, day.crew, day.order, stop)
                if fitted is not None:
                    found.append((fitted[1], number, fitted[0]))
        if found:
            _added, number, order = min(found)
            self._set(number, order)
            return True
        for crew in self._crews_with_days():
            fitted = with_stop(self.work, crew, (), stop)
            if fitted is not None:
                self.days.append(Day(crew, fitted[0]))
                self.spare_s.append(self._spare(self.days[-1]))
                return True
        return False

    def displace_for(self, stop: int) -> list[int]:
        """Put a stop in place of lighter ones, where it fits so, and return those."""
        best: tuple[list[float], int, tuple[int, ...], list[int]] | None = None
        for number in range(len(self.days)):
            changed = self._instead(number, stop)
            if changed is None:
                continue
            order, lost = changed
            heaviness = sorted((self.weight[each] for each in lost), reverse=True)
            if best is None or heaviness < best[0]:
                best = (heaviness, number, order, lost)
        if best is None:
            return []
        self._set(best[1], best[2])
        return best[3]

    def _instead(self, number: int, stop: int) -> tuple[tuple[int, ...], list[int]] | None:
        """Return a day with a stop in place of lighter ones, and those that then do not fit."""
        day = self.days[number]
        lighter = [each for each in day.order if self.weight[each] < self.weight[stop]]
        freed_s = sum(self.work.service_s.item(each) for each in lighter)
        # Ways are shorter with fewer stops by no more than all ways of the day.
        if not lighter or self._ways(day) + self.spare_s[number] + freed_s < (
            self.work.service_s.item(stop)
        ):
            return None
        kept = [each for each in day.order if self.weight[each] >= self.weight[stop]]
        fitted = with_stop(self.work, day.crew, kept, stop)
        if fitted is None:
            return None
        order, lost = fitted[0], []
        for each in sorted(lighter, key=lambda each: (-self.weight[each], each)):
            again = with_stop(self.work, day.crew, order, each)
            if again is None:
                lost.append(each)
            else:
                order = again[0]
        return order, lost

    def _crews_with_days(self) -> Iterator[int]:
        used = Counter(each.crew for each in self.days)
        for crew, each in enumerate(self.work.crews):
            if used[crew] < each.days:
                yield crew

    def _set(self, number: int, order: tuple[int, ...]) -> None:
        self.days[number] = Day(self.days[number].crew, order)
        self.spare_s[number] = self._spare(self.days[number])

    def _spare(self, day: Day) -> int:
        service_s = sum(self.work.service_s.item(each) for each in day.order)
        return self.work.shift_s(day.crew) - service_s - self._ways(day)

    def _ways(self, day: Day) -> int:
        places = [day.crew, *(self.work.place(each) for each in day.order), day.crew]
        return int(self.work.between_s[places[:-1], places[1:]].sum())
