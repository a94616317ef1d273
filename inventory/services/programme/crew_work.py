"""The work that crew days are made of: a year's pool, damage, what crews left, chosen signs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.db.models import Exists, OuterRef, Q

from inventory.engineering.programme.service_times import WorkTimes
from inventory.engineering.standards.supports import support_types
from inventory.engineering.standards.vocabulary import MountClass
from inventory.models import (
    DamageStanding,
    Observation,
    PackageStop,
    PlannedReplacement,
    PlannedStop,
    Position,
    Sign,
    StopResult,
    WorkPackage,
)
from inventory.models.places import Mount
from inventory.services.programme.gathering import IN2_PER_FT2, UNKNOWN_SIZE_FT2
from inventory.services.programme.pool import NEW_FACE_TASKS, OPEN_STATES, pool
from inventory.services.work_packages import with_outcome

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from inventory.models import Organisation, Programme, ScopedQuerySet, WorkBasis
    from inventory.services.programme.crew_days_asked import CrewDaysAsked

Task, Source, Outcome = PackageStop.Task, PlannedStop.Source, StopResult.Outcome
Kind = Observation.Kind
LAST_CLASS = 4
LONGEST_NOTE = PlannedStop._meta.get_field("note").max_length or 0
# What goes first where not all fits; within a kind, the weight of the safety class decides.
SEVERE_FIRST, MUST_NEXT, ORDINARY = 10_000.0, 100.0, 1.0
_NEEDS_A_FACE = (Kind.MISSING, Kind.KNOCKED_DOWN, Kind.WRONG_SIGN)
_WORN = (Kind.DAMAGED, Kind.VANDALISED, Kind.FADED, Kind.DELAMINATED)
_OVERHEAD = frozenset(
    each.key for each in support_types() if each.mount_class == MountClass.OVERHEAD
)


@dataclass(frozen=True, slots=True)
class Work:
    """One task at a place, where it comes from, and what is left out last."""

    position: Position
    task: str
    source: str
    weight: float
    area_ft2: float
    due_on: date | None = None
    note: str = ""
    planned: PlannedReplacement | None = None
    taken_from: PackageStop | None = None
    is_size_known: bool = True

    @property
    def key(self) -> tuple[int, str]:
        """Return what there is once in a plan."""
        return self.position.pk, str(self.task)


def work_for(
    *, programme: Programme, year: int, asked: CrewDaysAsked, last_on: date
) -> list[Work]:
    """Return all work asked for, the weightiest first, each place and task once."""
    agency, weights = programme.organisation, programme.work_basis.class_weights
    found: dict[tuple[int, str], Work] = {}
    lists: list[Iterable[Work]] = []
    if asked.takes_damage:
        lists.append(_of_damage(agency, last_on, weights))
    if asked.takes_planned:
        lists.append(_of_programme(programme, year, asked.month, last_on, weights))
    if asked.takes_left_over:
        lists.append(_left_over(agency, weights))
    if asked.packages:
        lists.append(_of_drafts(agency, asked.packages, weights))
    for work in (each for some in lists for each in some):
        known = found.get(work.key)
        if known is None:
            found[work.key] = work
        else:
            # Of damage and of the programme at once: the weightier says when, both are kept.
            found[work.key] = replace(
                known,
                planned=known.planned or work.planned,
                taken_from=known.taken_from or work.taken_from,
            )
    return sorted(found.values(), key=_order)


def work_times(basis: WorkBasis) -> WorkTimes:
    """Return an agency's own figures as they are reckoned with."""
    return WorkTimes(
        basis.face_hours,
        basis.face_hours_per_ft2,
        basis.support_hours,
        basis.read_minutes,
        basis.look_minutes,
        basis.hours_by_support,
    )


def is_overhead(position: Position) -> bool:
    """Return whether a face hangs over the road, by its mount or what it is mounted on."""
    return position.mount == Mount.OVERHEAD or position.support.support_type in _OVERHEAD


def drafts_of(agency: Organisation) -> ScopedQuerySet:
    """Return the packages being put together by hand, whose stops crew days can take up."""
    rows = WorkPackage.objects.owned_by(agency).filter(
        state=WorkPackage.State.DRAFT, team__isnull=True
    )
    found: ScopedQuerySet = rows.order_by("-work_on", "-pk")
    return found


def _order(work: Work) -> tuple[float, bool, Any, int, str]:
    no_day = work.due_on is None
    return (-work.weight, no_day, work.due_on or "", work.position.pk, str(work.task))


def _of_programme(
    programme: Programme, year: int, month: int | None, last_on: date, weights: Sequence[float]
) -> Iterable[Work]:
    rows = pool(programme=programme, year=year, month=month)
    rows = rows.filter(position__is_retired=False)
    for row in rows.select_related("position__support__road", "position__organisation"):
        is_must = row.must_by_year is not None and row.must_by_year <= year
        is_late = row.due_on is not None and row.due_on <= last_on
        rank = MUST_NEXT if is_must else ORDINARY
        area, is_known = _area(row.sign, row.position)
        is_up = row.sign.state == Sign.State.INSTALLED
        yield Work(
            row.position,
            Task.REPLACE if is_up else Task.INSTALL,
            Source.PROGRAMME,
            rank * _weight(weights, row.safety_class) * (2.0 if is_late else 1.0),
            area,
            due_on=row.due_on,
            planned=row,
            is_size_known=is_known,
        )


def _of_damage(agency: Organisation, last_on: date, weights: Sequence[float]) -> list[Work]:
    """
    Return the open damage that no package has yet.

    Severe damage is put right before all else. What is moderate is no more pressing than what
    the programme must replace, and only where the agency's own time for it ends in these days.
    """
    rows = (
        DamageStanding.objects.owned_by(agency)
        .filter(is_open=True, position__is_retired=False)
        .filter(~Exists(_waiting(OuterRef("position"), (*NEW_FACE_TASKS, Task.REPAIR))))
        .select_related("position__support__road", "position__organisation", "report")
        .order_by("sort_on", "safety_class", "report")
    )
    damage = list(rows)
    standing = _standing_at([each.position_id for each in damage])
    found = []
    for each in damage:
        sign = standing.get(each.position_id)
        area, is_known = _area(sign, each.position)
        task = _task_of(each, sign)
        found.append(
            Work(
                each.position,
                task,
                Source.DAMAGE,
                _rank_of(each, last_on) * _weight(weights, each.safety_class),
                area,
                due_on=each.due_on,
                note=f"damage: {each.get_kind_display()}",
                is_size_known=is_known,
            )
        )
    return found


def _rank_of(damage: DamageStanding, last_on: date) -> float:
    if damage.severity >= Observation.Severity.SEVERE:
        return SEVERE_FIRST
    is_late = damage.due_on is not None and damage.due_on <= last_on
    return MUST_NEXT if is_late else ORDINARY


def _task_of(damage: DamageStanding, sign: Sign | None) -> str:
    """Return what is to be done about damage: a new face, or repair on the spot."""
    is_worn_out = damage.kind in _WORN and damage.severity == Observation.Severity.SEVERE
    if sign is None:
        return Task.INSTALL
    return Task.REPLACE if damage.kind in _NEEDS_A_FACE or is_worn_out else Task.REPAIR


def _left_over(agency: Organisation, weights: Sequence[float]) -> list[Work]:
    """
    Return what crews left or added and nobody took up since.

    Replacements of a programme are not of these: its pool has them back already.
    """
    later = PackageStop.objects.filter(
        position=OuterRef("position"), task=OuterRef("task"), pk__gt=OuterRef("pk")
    )
    replaced_since = Sign.objects.filter(
        position=OuterRef("position"),
        state=Sign.State.INSTALLED,
        installed_on__gte=OuterRef("package__work_on"),
    )
    rows = (
        with_outcome(PackageStop.objects.filter(package__organisation=agency))
        .filter(position__is_retired=False)
        .filter(Q(added_by__isnull=False) | Q(package__programme__isnull=False))
        .filter(
            Q(outcome=Outcome.NOT_DONE)
            | Q(outcome__isnull=True, package__state=WorkPackage.State.CLOSED)
        )
        .filter(Q(added_by__isnull=False) | ~Q(task__in=NEW_FACE_TASKS))
        .filter(~Exists(later))
        .filter(~(Q(task__in=NEW_FACE_TASKS) & Exists(replaced_since)))
        .select_related("position__support__road", "position__organisation", "package")
        .order_by("pk")
    )
    return _of_stops(list(rows), Source.LEFT_OVER, weights)


def _of_drafts(
    agency: Organisation, packages: Sequence[int], weights: Sequence[float]
) -> list[Work]:
    rows = PackageStop.objects.filter(package__in=drafts_of(agency).filter(pk__in=packages))
    stops = rows.select_related(
        "position__support__road", "position__organisation", "package"
    ).order_by("package", "number")
    return _of_stops(list(stops), Source.CHOSEN, weights)


def _of_stops(stops: list[Any], source: str, weights: Sequence[float]) -> list[Work]:
    standing = _standing_at([each.position_id for each in stops])
    found = []
    for stop in stops:
        sign = standing.get(stop.position_id)
        area, is_known = _area(sign, stop.position)
        found.append(
            Work(
                stop.position,
                stop.task,
                source,
                ORDINARY * _weight(weights, _class_of(sign)),
                area,
                note=_note_of(stop),
                taken_from=stop,
                is_size_known=is_known,
            )
        )
    return found


def _note_of(stop: Any) -> str:
    """Return the word for the crew, with why it was not done last time."""
    reason = getattr(stop, "outcome_reason", None)
    parts = [stop.note, f"not done last time: {reason}" if reason else ""]
    words = "; ".join(each for each in parts if each)
    return words if len(words) <= LONGEST_NOTE else f"{words[: LONGEST_NOTE - 1]}…"


def _standing_at(positions: list[int]) -> dict[int, Sign]:
    """Return the face that stands in each place, in one query."""
    rows = Sign.objects.filter(
        position__in=positions, state=Sign.State.INSTALLED
    ).select_related("standing")
    return {each.position_id or 0: each for each in rows.order_by("pk")}


def _class_of(sign: Sign | None) -> int:
    """Return the safety class of a face; the last one where it is not known."""
    standing = getattr(sign, "standing", None)
    return LAST_CLASS if standing is None else int(standing.safety_class)


def _waiting(position: Any, tasks: Sequence[str]) -> ScopedQuerySet:
    """Return the stops of open packages at a place of which nothing was said yet."""
    rows: ScopedQuerySet = PackageStop.objects.filter(
        position=position, task__in=tasks, package__state__in=OPEN_STATES
    ).filter(~Exists(StopResult.objects.filter(stop=OuterRef("pk"))))
    return rows


def _area(sign: Sign | None, position: Position) -> tuple[float, bool]:
    """Return the area of a face, and whether it is on record."""
    for each in (sign, position):
        if each is not None and each.width_in and each.height_in:
            return each.width_in * each.height_in / IN2_PER_FT2, True
    return UNKNOWN_SIZE_FT2, False


def _weight(weights: Sequence[float], safety_class: int) -> float:
    return float(weights[min(max(safety_class, 1), len(weights)) - 1])
