"""Work becomes stops of supports, stops become tours, tours become days of the calendar."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from django.db.models import Exists, OuterRef, Q

from inventory.engineering.programme.service_times import (
    WORK_ON_A_FACE,
    Job,
    service_minutes,
)
from inventory.engineering.programme.tours import METHOD_VERSION, Stop, TourCrew, plan_tours
from inventory.engineering.programme.travel import travel_times
from inventory.errors import OutOfRangeError
from inventory.models import Crew, PlannedDay, PlannedStop, StopResult, WorkPackage
from inventory.services.ordering.stock_matching import stock_for
from inventory.services.programme.crew_days_asked import CrewDaysAsked
from inventory.services.programme.crew_work import Work, is_overhead, work_for, work_times
from inventory.services.programme.pool import NEW_FACE_TASKS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from inventory.engineering.programme.tours import CrewDay
    from inventory.models import CrewPlan, ScopedQuerySet, Sign, WorkBasis

MOST_WORK = 2_000
MOST_DAYS = 2_000
ROWS_AT_ONCE = 1_000
TOO_MUCH = f"over the {MOST_WORK:,} pieces of work planned at once; plan these days first"
SECONDS_PER_MINUTE = 60
LONGEST_REASON = PlannedStop._meta.get_field("reason").max_length or 0
_SHARE_OF_SHIFT = 0.5  # work at one support longer than that is split into several visits
_SKILL_WORDS = dict(Crew.Skill.choices)


@dataclass(frozen=True, slots=True)
class Visited:
    """Work on a day: when it begins and how long it takes."""

    work: Work
    arrive_minute: int
    service_minutes: float


@dataclass(frozen=True, slots=True)
class Day:
    """A day of a crew on the calendar."""

    crew: Crew
    work_on: date
    leave_minute: int
    minutes: int
    drive_mi: float
    visits: tuple[Visited, ...]


@dataclass(frozen=True, slots=True)
class Unserved:
    """Work on no day, with the reason."""

    work: Work
    service_minutes: float
    reason: str


@dataclass(frozen=True, slots=True)
class Found:
    """Every piece of work once: on a day, or not served with the reason."""

    days: tuple[Day, ...]
    unserved: tuple[Unserved, ...]

    @property
    def served(self) -> int:
        """Return how many pieces of work are on a day."""
        return sum(len(each.visits) for each in self.days)


@dataclass(slots=True)
class _Visit:
    """Work done on one visit to a support."""

    works: list[Work]
    minutes: list[float] = field(default_factory=list)

    @property
    def total(self) -> float:
        return sum(self.minutes)

    @property
    def weight(self) -> float:
        return max(each.weight for each in self.works)

    @property
    def due_on(self) -> date:
        return min((each.due_on for each in self.works if each.due_on), default=date.max)


def toured(
    plan: CrewPlan, *, tell: Callable[[str], None], should_stop: Callable[[], bool]
) -> Found:
    """Return the crew days of a plan, not stored."""
    asked = CrewDaysAsked.of_json(plan.asked)
    basis = plan.programme.work_basis
    tell("bringing the work together")
    work = work_for(programme=plan.programme, year=plan.year, asked=asked, last_on=plan.last_on)
    if not work:
        msg = (
            f"Nothing of what is ticked is to be done in {plan.year}: it is done, in packages "
            "already, or not planned."
        )
        raise OutOfRangeError(msg)
    crews = list(
        Crew.objects.owned_by(plan.programme.organisation)
        .filter(pk__in=asked.crews, is_active=True)
        .order_by("name", "pk")
    )
    dates = free_days(crews, plan.first_on, plan.last_on, asked.days_off)
    able = [each for each in crews if dates[each.pk]]
    if not able:
        msg = (
            f"No ticked crew has a free working day from {plan.first_on:%Y-%m-%d} to "
            f"{plan.last_on:%Y-%m-%d}; choose other days or crews."
        )
        raise OutOfRangeError(msg)
    day_count = sum(len(dates[each.pk]) for each in able)
    if day_count > MOST_DAYS:
        msg = (
            f"The ticked crews have {day_count:,} working days in this span; at most "
            f"{MOST_DAYS:,} are planned at once. Choose fewer days or crews."
        )
        raise OutOfRangeError(msg)
    visits = _visits(work[:MOST_WORK], basis, min(each.shift_minutes for each in able))
    tell(f"{len(visits)} stops for {day_count} crew days")
    tours = plan_tours(
        [_stop(key, each, asked) for key, each in enumerate(visits)],
        [_crew(each, len(dates[each.pk])) for each in able],
        detour_factor=basis.detour_factor,
        speed_mi_per_h=basis.speed_mi_per_h,
        seconds=float(asked.seconds),
        progress=lambda words: tell(f"{words}, {len(visits)} stops"),
        should_stop=should_stop,
    )
    days = _on_calendar(tours.days, visits, {each.pk: each for each in able}, dates, basis)
    unserved = [
        Unserved(each, minutes, _in_words(reason))
        for key, reason in tours.unserved
        for each, minutes in zip(visits[key].works, visits[key].minutes, strict=True)
    ]
    unserved += [Unserved(each, 0.0, TOO_MUCH) for each in work[MOST_WORK:]]
    return Found(days, tuple(unserved))


def free_days(
    crews: Sequence[Crew], first_on: date, last_on: date, days_off: Iterable[date]
) -> dict[int, list[date]]:
    """Return each crew's working days in a span on which it has no package yet, in order."""
    taken = defaultdict(set)
    packages = crews_packages(WorkPackage.objects.filter(team__in=crews))
    in_span = packages.filter(work_on__gte=first_on, work_on__lte=last_on).order_by()
    for team_id, day in in_span.values_list("team", "work_on"):
        taken[team_id].add(day)
    off = set(days_off)
    span = [first_on + timedelta(days=n) for n in range((last_on - first_on).days + 1)]
    return {
        crew.pk: [
            day
            for day in span
            if str(day.isoweekday()) in crew.weekdays
            and day not in off
            and day not in taken[crew.pk]
        ]
        for crew in crews
    }


def crews_packages(packages: ScopedQuerySet) -> ScopedQuerySet:
    """Return the packages that take a crew's day; one closed before it was begun does not."""
    begun = StopResult.objects.filter(stop__package=OuterRef("pk"))
    found: ScopedQuerySet = packages.filter(
        ~Q(state=WorkPackage.State.CLOSED) | Exists(begun), team__isnull=False
    )
    return found


def store(plan: CrewPlan, found: Found) -> None:
    """Write the days and stops of a plan; within the caller's transaction."""
    faces = _faces(plan, found)
    days = PlannedDay.objects.bulk_create(
        [
            PlannedDay(
                plan=plan,
                number=number,
                crew=each.crew,
                work_on=each.work_on,
                leave_minute=each.leave_minute,
                minutes=each.minutes,
                drive_mi=round(each.drive_mi, 2),
            )
            for number, each in enumerate(found.days, start=1)
        ],
        batch_size=ROWS_AT_ONCE,
    )
    rows = [
        _row(plan, visit.work, visit.service_minutes)
        | {
            "day": day,
            "number": number,
            "arrive_minute": visit.arrive_minute,
            "face": faces.get(visit.work.key),
        }
        for day, each in zip(days, found.days, strict=True)
        for number, visit in enumerate(each.visits, start=1)
    ]
    rows += [
        _row(plan, each.work, each.service_minutes) | {"reason": each.reason[:LONGEST_REASON]}
        for each in found.unserved
    ]
    PlannedStop.objects.bulk_create(
        [PlannedStop(**each) for each in rows], batch_size=ROWS_AT_ONCE
    )
    plan.result = _result(plan, found)
    plan.save(update_fields=["result"])


def _row(plan: CrewPlan, work: Work, minutes: float) -> dict[str, Any]:
    return {
        "plan": plan,
        "position": work.position,
        "task": work.task,
        "note": work.note,
        "source": work.source,
        "planned": work.planned,
        "taken_from": work.taken_from,
        "service_minutes": round(minutes, 1),
    }


def _result(plan: CrewPlan, found: Found) -> dict[str, Any]:
    basis = plan.programme.work_basis
    works = [each.work for day in found.days for each in day.visits]
    unknown = sum(not each.is_size_known for each in works)
    return {
        "days": len(found.days),
        "stops": len(works),
        "unserved": len(found.unserved),
        "reasons": dict(Counter(each.reason for each in found.unserved).most_common()),
        "minutes": sum(each.minutes for each in found.days),
        "drive_mi": round(sum(each.drive_mi for each in found.days), 1),
        "sources": dict(Counter(str(each.source) for each in works)),
        "unknown_sizes": unknown,
        "detour_factor": basis.detour_factor,
        "speed_mi_per_h": basis.speed_mi_per_h,
        "method": METHOD_VERSION,
    }


def _visits(work: Sequence[Work], basis: WorkBasis, shift_minutes: int) -> list[_Visit]:
    """Bring work at one support, of one time of day and reach, together into visits."""
    times = work_times(basis)
    most = shift_minutes * _SHARE_OF_SHIFT
    groups: dict[tuple[Any, ...], list[Work]] = defaultdict(list)
    for each in work:
        key = (each.position.support_id, _is_by_night(each), _needs(each))
        groups[key].append(each)
    visits = []
    for works in groups.values():
        kind = works[0].position.support.support_type
        visit = _Visit([])
        for each in works:
            longer = [*visit.works, each]
            jobs = [Job(str(one.task), one.area_ft2) for one in longer]
            minutes = service_minutes(jobs, times, support_type=kind)
            if visit.works and sum(minutes) > most:
                visits.append(visit)
                minutes = service_minutes(jobs[-1:], times, support_type=kind)
                longer = [each]
            visit = _Visit(longer, minutes)
        visits.append(visit)
    return visits


def _is_by_night(work: Work) -> bool:
    return str(work.task) == "look"


def _needs(work: Work) -> frozenset[str]:
    needs = set()
    if _is_by_night(work):
        needs.add(Crew.Skill.NIGHT_READING.value)
    # A hand-held reading is taken with the instrument on the face; a look is from the road.
    if is_overhead(work.position) and str(work.task) in WORK_ON_A_FACE | {"read"}:
        needs.add(Crew.Skill.BUCKET_TRUCK.value)
    return frozenset(needs)


def _stop(key: int, visit: _Visit, asked: CrewDaysAsked) -> Stop:
    first = visit.works[0]
    return Stop(
        key,
        first.position.support.latitude_deg,
        first.position.support.longitude_deg,
        visit.total,
        needs=_needs(first),
        window=asked.by_night if _is_by_night(first) else asked.by_day,
        weight=visit.weight,
    )


def _crew(crew: Crew, days: int) -> TourCrew:
    return TourCrew(
        crew.pk,
        crew.depot_latitude_deg,
        crew.depot_longitude_deg,
        skills=frozenset(crew.skills),
        day_starts_minute=crew.day_starts_minute,
        shift_minutes=crew.shift_minutes,
        days=days,
    )


def _on_calendar(
    tours: Sequence[CrewDay],
    visits: Sequence[_Visit],
    crews: dict[int, Crew],
    dates: dict[int, list[date]],
    basis: WorkBasis,
) -> tuple[Day, ...]:
    """Give tours the crew's free days, the most pressing first; then in order of the days."""

    def pressing(tour: CrewDay) -> tuple[float, date, tuple[int, ...]]:
        on_it = [visits[each.key] for each in tour.visits]
        return (
            -max(each.weight for each in on_it),
            min(each.due_on for each in on_it),
            tuple(each.key for each in tour.visits),
        )

    left = {key: iter(each) for key, each in dates.items()}
    days = [
        _day(tour, visits, crews[tour.crew], next(left[tour.crew]), basis)
        for tour in sorted(tours, key=pressing)
    ]
    return tuple(sorted(days, key=lambda each: (each.work_on, each.crew.name)))


def _day(
    tour: CrewDay, visits: Sequence[_Visit], crew: Crew, work_on: date, basis: WorkBasis
) -> Day:
    visited = []
    for each in tour.visits:
        visit, begins = visits[each.key], float(each.at_minute)
        for work, minutes in zip(visit.works, visit.minutes, strict=True):
            visited.append(Visited(work, round(begins), minutes))
            begins += minutes
    first = visited[0].work.position.support
    way_s = travel_times(
        [crew.depot_latitude_deg, first.latitude_deg],
        [crew.depot_longitude_deg, first.longitude_deg],
        detour_factor=basis.detour_factor,
        speed_mi_per_h=basis.speed_mi_per_h,
    )[0, 1]
    leaves = int(visited[0].arrive_minute - way_s / SECONDS_PER_MINUTE)
    return Day(
        crew,
        work_on,
        max(leaves, crew.day_starts_minute),
        tour.minutes,
        tour.drive_mi,
        tuple(visited),
    )


def _faces(plan: CrewPlan, found: Found) -> dict[tuple[int, str], Sign]:
    """Return the face in stock to bring for each new face, none twice, the first days first."""
    wanted = [
        each.work
        for day in found.days
        for each in day.visits
        if each.work.task in NEW_FACE_TASKS
    ]
    positions = {each.position.pk: each.position for each in wanted}
    faces = stock_for(
        organisation=plan.programme.organisation, positions=list(positions.values())
    )
    return {each.key: faces[each.position.pk] for each in wanted if each.position.pk in faces}


def _in_words(reason: str) -> str:
    """Return a reason with skills as people call them."""
    for key, words in _SKILL_WORDS.items():
        reason = reason.replace(str(key), str(words))
    return reason
