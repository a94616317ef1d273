"""How long damage took to be put right, by month and class; and the agency's own times."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from inventory.engineering.inspection.damage import TimesTaken, times_taken
from inventory.errors import StateConflictError
from inventory.models import DamageClosure, DamageReport, DamageStanding
from inventory.services.damage_standing import rebuild_open_damage
from inventory.services.people import set_policy
from inventory.services.rules import choices_of
from inventory.services.standing import policy_or_none

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date, datetime

    from inventory.models import AgencyPolicy, Organisation, User

Way = DamageClosure.Way
CLASSES = (1, 2, 3, 4)
PUT_RIGHT = (Way.NEW_FACE, Way.REPAIRED, Way.FOUND_SOUND)


@dataclass
class Times:
    """
    What became of the damage of some class that became known in some time.

    ``not_known`` was put right, but of one of its two days it is not known which it was.
    """

    told: int = 0
    still_open: int = 0
    nothing_to_do: int = 0
    not_known: int = 0
    in_time: int = 0
    late: int = 0
    late_open: int = 0
    days: list[int] = field(default_factory=list)

    @property
    def taken(self) -> TimesTaken:
        """Return the median and the ninetieth percentile of the days taken."""
        return times_taken(self.days)

    @property
    def with_time_set(self) -> int:
        """Return of how many it is known whether they were put right in time."""
        return self.in_time + self.late


@dataclass(frozen=True)
class MonthTimes:
    """The times of one class in one month."""

    month: date
    safety_class: int
    times: Times


@dataclass(frozen=True)
class DamageTimes:
    """The times of an agency, by class and by month and class, the newest month first."""

    since: date
    by_class: dict[int, Times]
    by_month: list[MonthTimes]

    @property
    def told(self) -> int:
        """Return how much damage became known in all."""
        return sum(each.told for each in self.by_class.values())


def damage_times(organisation: Organisation, *, since: date, today: date) -> DamageTimes:
    """
    Return how long damage took that became known since a day; one query.

    Counted from the day the agency knew to the day it was put right. What was told of twice
    counts once; what was on record before damage was followed here is left out: nobody knows
    when it became known.
    """
    rows = (
        DamageStanding.objects.owned_by(organisation)
        .filter(counted_from_on__gte=since, counted_from_on__lte=today)
        .exclude(way=Way.SAME)
        .exclude(report__channel=DamageReport.Channel.RECORD)
        .order_by("counted_from_on", "report")
    )
    by_class: dict[int, Times] = {number: Times() for number in CLASSES}
    by_month: dict[tuple[date, int], Times] = defaultdict(Times)
    for row in rows:
        month = row.counted_from_on.replace(day=1)
        for times in (by_class[row.safety_class], by_month[month, row.safety_class]):
            _count(times, row, today)
    return DamageTimes(
        since,
        by_class,
        [
            MonthTimes(month, number, times)
            for (month, number), times in sorted(
                by_month.items(), key=lambda each: (-each[0][0].toordinal(), each[0][1])
            )
        ],
    )


@transaction.atomic
def set_damage_days(
    *,
    agency: Organisation,
    days: Mapping[str, Mapping[str, int]],
    effective_on: date,
    basis: str,
    by: User | None = None,
    now: datetime | None = None,
) -> AgencyPolicy:
    """Set the times for putting damage right: the next version of the rules, else as it was."""
    now = now or timezone.now()
    in_force = policy_or_none(agency, now)
    if in_force is None:
        msg = f"{agency} has no rules in force yet; set its edition and rules first."
        raise StateConflictError(msg)
    chosen: dict[str, Any] = choices_of(in_force) | {"damage_days": _kept(days)}
    policy = set_policy(
        agency=agency,
        effective_on=effective_on,
        edition=in_force.edition,
        basis=basis,
        by=by,
        now=now,
        **chosen,
    )
    rebuild_open_damage(agency, now=now)
    return policy


def _count(times: Times, row: DamageStanding, today: date) -> None:
    times.told += 1
    if row.is_open:
        times.still_open += 1
        times.late_open += row.due_on is not None and row.due_on < today
    elif row.way not in PUT_RIGHT:
        times.nothing_to_do += 1
    elif row.done_on is None or row.notified_on is None:
        times.not_known += 1
    else:
        times.days.append(max(0, (row.done_on - row.notified_on).days))
        if row.due_on is not None:
            is_in_time = row.done_on <= row.due_on
            times.in_time += is_in_time
            times.late += not is_in_time


def _kept(days: Mapping[str, Mapping[str, int]]) -> dict[str, dict[str, int]]:
    """Return the times without severities that have none."""
    kept: Iterable[tuple[str, dict[str, int]]] = (
        (severity, dict(by_class)) for severity, by_class in days.items()
    )
    return {severity: by_class for severity, by_class in kept if by_class}
