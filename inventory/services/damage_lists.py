"""Damage as pages and phones list it: by its clock, with who has it in hand."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from inventory.models import DamageStanding, Observation, PackageStop, WorkPackage
from inventory.services.damage import open_damage
from inventory.services.work_packages import with_outcome

if TYPE_CHECKING:
    from collections.abc import Iterable

    from inventory.models import Organisation, ScopedQuerySet

FIRST_FEW = 5
MOST_CARRIED = 50
MOST_DAYS, MOST_MONTHS = 90, 24
DAYS_PER_MONTH, DAYS_PER_YEAR = 30.44, 365.25
OPEN_PACKAGES = (WorkPackage.State.DRAFT, WorkPackage.State.HANDED_OUT)


class Shown(StrEnum):
    """Which damage is listed."""

    OPEN = "open"
    LATE = "late"
    OVER = "over"


class Order(StrEnum):
    """In which order open damage is listed."""

    PRESSING = "pressing"
    CLOCK = "clock"


class Pace(StrEnum):
    """How damage stands against its time; each has a shape and a word of its own."""

    LATE = "late"
    LAST_DAY = "last-day"
    RUNNING = "running"
    NO_TIME_SET = "no-time-set"
    OVER = "over"


@dataclass(frozen=True)
class Clock:
    """How damage stands against its time on a day, in words."""

    pace: Pace
    words: str


def clock_of(row: DamageStanding, today: date) -> Clock:
    """Return how damage stands on a day: overdue, on its last day, running, or over."""
    if not row.is_open:
        return Clock(Pace.OVER, _over_words(row))
    known_for = (today - row.counted_from_on).days
    since = "known today" if known_for <= 0 else f"known for {_days(known_for)}"
    if row.due_on is None:
        return Clock(Pace.NO_TIME_SET, f"{since}; no time set")
    left = (row.due_on - today).days
    if left < 0:
        return Clock(Pace.LATE, f"overdue by {_days(-left)}")
    if left == 0:
        return Clock(Pace.LAST_DAY, "today is the last day")
    return Clock(Pace.RUNNING, f"{_days(left)} left")


def damage_list(
    organisation: Organisation,
    *,
    shown: Shown = Shown.OPEN,
    order: Order = Order.PRESSING,
    safety_class: int | None = None,
    today: date,
) -> ScopedQuerySet:
    """Return the damage that is asked for, the first to be put right first, the newest over."""
    rows: ScopedQuerySet
    if shown is Shown.OVER:
        rows = (
            DamageStanding.objects.owned_by(organisation)
            .filter(is_open=False)
            .select_related("report", "sign", "position__support__road")
            .order_by("-sort_on", "-safety_class", "-report")
        )
    else:
        rows = open_damage(organisation)
        if order is Order.CLOCK:
            rows = rows.order_by("sort_on", "safety_class", "report")
    if shown is Shown.LATE:
        rows = rows.filter(due_on__lt=today)
    if safety_class is not None:
        rows = rows.filter(safety_class=safety_class)
    return rows


def packages_of(rows: Iterable[DamageStanding]) -> dict[int, list[PackageStop]]:
    """Return the stops of open packages at the places of damage, those not done, by place."""
    places = {each.position_id for each in rows}
    found: dict[int, list[PackageStop]] = defaultdict(list)
    stops = with_outcome(
        PackageStop.objects.filter(position__in=places, package__state__in=OPEN_PACKAGES)
    )
    for stop in stops.select_related("package").order_by("package__work_on", "pk"):
        if stop.outcome is None:
            found[stop.position_id].append(stop)
    return found


def carry_damage(organisation: Organisation) -> dict[str, Any]:
    """
    Return the open damage for phones, the first to be put right first; two queries at most.

    A phone reckons by its own day what is overdue: it may be without signal for days.
    """
    rows = open_damage(organisation)
    first = list(rows[:MOST_CARRIED])
    return {
        "count": len(first) if len(first) < MOST_CARRIED else rows.count(),
        "rows": [
            {
                "id": each.pk,
                "sign_id": each.sign_id,
                "position_id": each.position_id,
                "code": each.position.sign_code,
                "road": str(each.position.support.road or ""),
                "kind": each.get_kind_display(),
                "is_severe": each.severity == Observation.Severity.SEVERE,
                "safety_class": each.safety_class,
                "known_on": each.counted_from_on.isoformat(),
                "due_on": each.due_on and each.due_on.isoformat(),
                "latitude_deg": each.position.support.latitude_deg,
                "longitude_deg": each.position.support.longitude_deg,
            }
            for each in first
        ],
    }


def _over_words(row: DamageStanding) -> str:
    way = row.get_way_display()
    if row.way in ("nothing", "same"):
        return way
    if row.done_on is None:
        return f"{way}, on a day not known"
    taken = max(0, (row.done_on - row.counted_from_on).days)
    within = ""
    if row.due_on is not None:
        within = ", in time" if row.done_on <= row.due_on else ", late"
    how_long = "the day it was known" if taken == 0 else f"after {_days(taken)}"
    return f"{way} {how_long}{within}"


def _days(number: int) -> str:
    """Return a time in days, from three months on in months, from two years on in years."""
    if number > MOST_MONTHS * DAYS_PER_MONTH:
        return f"{round(number / DAYS_PER_YEAR)} years"
    if number > MOST_DAYS:
        return f"{round(number / DAYS_PER_MONTH)} months"
    return "1 day" if number == 1 else f"{number} days"
