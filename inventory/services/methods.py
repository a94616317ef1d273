"""Which method keeps which signs at their level: groups, what is under them, what was done."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from inventory.engineering.standards.exclusions import exclusion_clauses
from inventory.engineering.standards.vocabulary import Edition
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import MethodAssignment, MethodGroup, MethodStep, Position
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.people import policy_at

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import date, datetime

    from django.db.models import QuerySet

    from inventory.models import Organisation, User

IDS_AT_ONCE = 500
REPLACEMENT_ROUND = "replacement_round"
STEP_KINDS = {
    "measuring_round": "measuring round",
    "night_run": "run by night",
    REPLACEMENT_ROUND: "round of replacement",
    "other": "something else",
}
INTERVAL_METHODS = (
    MethodGroup.Method.MEASURED,
    MethodGroup.Method.VISUAL_NIGHT,
    MethodGroup.Method.BLANKET,
    MethodGroup.Method.CONTROL_SIGNS,
)


@dataclass(frozen=True, slots=True)
class Assigned:
    """What putting places under a method came to."""

    new: int
    moved: int
    unchanged: int


@transaction.atomic
def create_group(
    *,
    organisation: Organisation,
    name: str,
    method: str,
    started_on: date,
    basis: str,
    interval_months: int | None = None,
    expected_life_years: int | None = None,
    exclusion_key: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> MethodGroup:
    """Begin a method for a group of signs, on the decision or study it rests on."""
    now = now or timezone.now()
    name, basis = " ".join(name.split()), basis.strip()
    if MethodGroup.objects.owned_by(organisation).filter(name__iexact=name).exists():
        msg = f"There is a group '{name}' already; give this one another name."
        raise StateConflictError(msg)
    group = MethodGroup(
        organisation=organisation,
        name=name,
        method=method,
        started_on=started_on,
        recorded_at=now,
        basis=basis,
        interval_months=interval_months,
        expected_life_years=expected_life_years,
        exclusion_key=exclusion_key,
    )
    if not basis:
        msg = "A method rests on a decision or a study; say which."
        raise OutOfRangeError(msg)
    check_fields(group, exclude=["organisation"])
    _check_terms(group)
    if method == MethodGroup.Method.EXCLUDED:
        _check_clause(group)
    group.save()
    log(
        organisation=organisation,
        actor=by,
        verb="begin method",
        text=f"Method begun for '{group}': {group.get_method_display()}, from "
        f"{started_on:%Y-%m-%d}. {basis}",
        at=now,
    )
    return group


@transaction.atomic
def end_group(
    *,
    group: MethodGroup,
    ended_on: date,
    by: User | None = None,
    now: datetime | None = None,
) -> MethodGroup:
    """End a group; from that day its signs are under no method until they are put under one."""
    now = now or timezone.now()
    group = lock_group(group)
    _check_open(group)
    if ended_on < group.started_on:
        msg = (
            f"'{group}' began on {group.started_on:%Y-%m-%d} and cannot have ended before, on "
            f"{ended_on:%Y-%m-%d}; correct the day."
        )
        raise OutOfRangeError(msg)
    under = MethodAssignment.objects.filter(group=group, until_on__isnull=True)
    later = under.filter(from_on__gt=ended_on).count()
    if later:
        msg = (
            f"{later} places came under '{group}' after {ended_on:%Y-%m-%d}; end it on a later "
            "day."
        )
        raise StateConflictError(msg)
    count = under.update(until_on=ended_on, ended_recorded_at=now)
    group.ended_on, group.ended_recorded_at = ended_on, now
    group.save(update_fields=["ended_on", "ended_recorded_at"])
    log(
        organisation=group.organisation,
        actor=by,
        verb="end method",
        text=f"'{group}' ended on {ended_on:%Y-%m-%d}; {count} places are under no method now.",
        at=now,
    )
    return group


@transaction.atomic
def assign(
    *,
    group: MethodGroup,
    positions: Iterable[Position] | QuerySet[Position],
    from_on: date,
    by: User | None = None,
    now: datetime | None = None,
) -> Assigned:
    """
    Put places under a group's method from a day on; those under another are moved.

    The earlier assignment ends on that day and stays on record. A place already under the
    group is left as it is, so that the step may be sent twice.
    """
    now = now or timezone.now()
    group = lock_group(group)
    _check_open(group)
    _check_from(group, from_on)
    ids = _own_ids(group, positions)
    here, elsewhere = _open_assignments(group, ids)
    wanted = [pk for pk in ids if pk not in here]
    moved = [each for each in elsewhere if each.position_id in set(wanted)]
    _check_order(moved, from_on)
    _end(moved, from_on, now)
    _open(group, wanted, from_on, by, now)
    result = Assigned(len(wanted) - len(moved), len(moved), len(ids) - len(wanted))
    if wanted:
        log(
            organisation=group.organisation,
            actor=by,
            verb="assign method",
            text=f"{len(wanted)} places put under '{group}' from {from_on:%Y-%m-%d}; "
            f"{result.moved} of them were under another method until then.",
            at=now,
        )
    return result


@transaction.atomic
def set_control_signs(
    *,
    group: MethodGroup,
    positions: Iterable[Position] | QuerySet[Position],
    from_on: date,
    by: User | None = None,
    now: datetime | None = None,
) -> int:
    """
    Make these places the control signs of their group, and no others; return how many they are.

    What was a control sign until then, and when, stays on record.
    """
    now = now or timezone.now()
    group = lock_group(group)
    _check_open(group)
    _check_from(group, from_on)
    if group.method != MethodGroup.Method.CONTROL_SIGNS:
        msg = f"'{group}' goes by {group.get_method_display()}; it has no control signs."
        raise StateConflictError(msg)
    chosen = set(_own_ids(group, positions))
    under = {
        each.position_id: each
        for each in MethodAssignment.objects.filter(group=group, until_on__isnull=True)
    }
    strangers = sorted(chosen - under.keys())
    if strangers:
        msg = (
            f"Place {strangers[0]} is not under '{group}'; put it under the group first, then "
            "make it a control sign."
        )
        raise StateConflictError(msg)
    changed = [each for pk, each in under.items() if each.is_control_sign is not (pk in chosen)]
    _check_order(changed, from_on)
    _end(changed, from_on, now)
    on = [each.position_id for each in changed if each.position_id in chosen]
    off = [each.position_id for each in changed if each.position_id not in chosen]
    _open(group, on, from_on, by, now, is_control_sign=True)
    _open(group, off, from_on, by, now)
    if changed:
        log(
            organisation=group.organisation,
            actor=by,
            verb="choose control signs",
            text=f"'{group}' has {len(chosen)} control signs from {from_on:%Y-%m-%d}: "
            f"{len(on)} added, {len(off)} left out.",
            at=now,
        )
    return len(chosen)


@transaction.atomic
def record_step(
    *,
    group: MethodGroup,
    done_on: date,
    text: str,
    kind: str = "other",
    evidence: Mapping[str, Any] | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> MethodStep:
    """Record something done to apply a method: a run by night, a round of measuring."""
    now = now or timezone.now()
    group = lock_group(group)
    text = text.strip()
    if kind not in STEP_KINDS:
        msg = f"'{kind}' is no kind of step; use one of {', '.join(STEP_KINDS)}."
        raise OutOfRangeError(msg)
    if not text:
        msg = "The step does not say what was done; write it in a few words."
        raise OutOfRangeError(msg)
    today = group.organisation.day_of(now)
    if done_on > today:
        msg = (
            f"The step is of {done_on:%Y-%m-%d}, which is still to come (today is "
            f"{today:%Y-%m-%d}); record it once it is done."
        )
        raise OutOfRangeError(msg)
    step = MethodStep(
        group=group,
        done_on=done_on,
        text=text,
        evidence={**(evidence or {}), "kind": kind},
        recorded_at=now,
        recorded_by=by,
    )
    check_fields(step, exclude=["group", "recorded_by"])
    step.save()
    log(
        organisation=group.organisation,
        actor=by,
        verb="record method step",
        text=f"'{group}', {STEP_KINDS[kind]} of {done_on:%Y-%m-%d}: {text}",
        at=now,
    )
    return step


def lock_group(group: MethodGroup) -> MethodGroup:
    """Lock a group: whoever holds it changes what is under it."""
    locked: MethodGroup = (
        MethodGroup.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .get(pk=group.pk)
    )
    return locked


def _check_terms(group: MethodGroup) -> None:
    """Refuse a group that does not say what its calendar needs, or says too much."""
    method = MethodGroup.Method(group.method)
    if method in INTERVAL_METHODS and not group.interval_months:
        msg = f"{_start(method)} needs an interval in months; say how often it is done."
        raise OutOfRangeError(msg)
    if method not in INTERVAL_METHODS and group.interval_months:
        msg = f"{_start(method)} has no interval; leave the {group.interval_months} months out."
        raise OutOfRangeError(msg)
    is_life = method == MethodGroup.Method.EXPECTED_LIFE
    if is_life and not group.expected_life_years:
        msg = f"{_start(method)} needs a life in years, from the study the group rests on."
        raise OutOfRangeError(msg)
    if not is_life and group.expected_life_years:
        msg = (
            f"{_start(method)} counts no life; leave the {group.expected_life_years} years out."
        )
        raise OutOfRangeError(msg)
    if method != MethodGroup.Method.EXCLUDED and group.exclusion_key:
        msg = f"{_start(method)} is under no clause; leave '{group.exclusion_key}' out."
        raise OutOfRangeError(msg)


def _check_clause(group: MethodGroup) -> None:
    """Refuse to leave signs out under a clause that the edition or the agency does not have."""
    policy = policy_at(group.organisation, group.started_on)
    edition = Edition(policy.edition)
    allowed = {clause.key.value for clause in exclusion_clauses(edition) if clause.may_exclude}
    if group.exclusion_key not in allowed:
        msg = (
            f"The {edition.manual.value} edition has no clause '{group.exclusion_key}' to "
            f"leave signs out by; its clauses are {', '.join(sorted(allowed))}."
        )
        raise OutOfRangeError(msg)
    if group.exclusion_key not in policy.excluded_groups:
        msg = (
            f"Rules version {policy.version} of {group.organisation} do not leave out "
            f"'{group.exclusion_key}'; set rules that do, or keep these signs in a method."
        )
        raise StateConflictError(msg)


def _check_open(group: MethodGroup) -> None:
    if group.ended_on is not None:
        msg = f"'{group}' ended on {group.ended_on:%Y-%m-%d}; begin a new group instead."
        raise StateConflictError(msg)


def _check_from(group: MethodGroup, from_on: date) -> None:
    if from_on < group.started_on:
        msg = (
            f"'{group}' began on {group.started_on:%Y-%m-%d}; nothing can be under it from "
            f"{from_on:%Y-%m-%d} on. Choose that day or a later one."
        )
        raise OutOfRangeError(msg)


def _check_order(ending: Sequence[MethodAssignment], from_on: date) -> None:
    """Refuse to end an assignment before it began."""
    late = [each for each in ending if each.from_on > from_on]
    if late:
        msg = (
            f"{len(late)} places came under their method after {from_on:%Y-%m-%d} (place "
            f"{late[0].position_id} on {late[0].from_on:%Y-%m-%d}); choose a later day."
        )
        raise StateConflictError(msg)


def _own_ids(
    group: MethodGroup, positions: Iterable[Position] | QuerySet[Position]
) -> list[int]:
    """Return the places, each once; another agency's are refused."""
    found: dict[int, None] = {}
    for each in positions:
        if each.organisation_id != group.organisation_id:
            msg = (
                f"Place {each.pk} does not belong to {group.organisation}; a method is for "
                "an agency's own places."
            )
            raise StateConflictError(msg)
        found[each.pk] = None
    return sorted(found)


def _open_assignments(
    group: MethodGroup, ids: Sequence[int]
) -> tuple[set[int], list[MethodAssignment]]:
    """Return which places are under the group now, and what holds the others."""
    here: set[int] = set()
    elsewhere: list[MethodAssignment] = []
    for some in _in_parts(ids):
        # The place is where two people meet: whoever locks it first moves it.
        list(
            Position.objects.select_for_update()
            .filter(pk__in=some)
            .order_by("pk")
            .values_list("pk", flat=True)
        )
        for each in MethodAssignment.objects.select_for_update().filter(
            position__in=some, until_on__isnull=True
        ):
            if each.group_id == group.pk:
                here.add(each.position_id)
            else:
                elsewhere.append(each)
    return here, elsewhere


def _end(assignments: Sequence[MethodAssignment], until_on: date, now: datetime) -> None:
    for some in _in_parts([each.pk for each in assignments]):
        MethodAssignment.objects.filter(pk__in=some).update(
            until_on=until_on, ended_recorded_at=now
        )


def _open(
    group: MethodGroup,
    ids: Sequence[int],
    from_on: date,
    by: User | None,
    now: datetime,
    *,
    is_control_sign: bool = False,
) -> None:
    MethodAssignment.objects.bulk_create(
        (
            MethodAssignment(
                group=group,
                position_id=pk,
                is_control_sign=is_control_sign,
                from_on=from_on,
                recorded_at=now,
                recorded_by=by,
            )
            for pk in ids
        ),
        batch_size=IDS_AT_ONCE,
    )


def _in_parts(ids: Sequence[int]) -> Iterator[Sequence[int]]:
    for start in range(0, len(ids), IDS_AT_ONCE):
        yield ids[start : start + IDS_AT_ONCE]


def _start(method: MethodGroup.Method) -> str:
    label = str(method.label)
    return label[0].upper() + label[1:]
