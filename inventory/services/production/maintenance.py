"""What a press needs: its tasks and when they are due, its checks and the runs in doubt."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max, Min, Q
from django.utils import timezone

from inventory.engineering.production import maintenance as engine
from inventory.engineering.production.maintenance import PrintCheck
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import MaintenanceTask, PressEvent, PrintRun
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.production.what_was_on import lock_press

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from inventory.engineering.production.maintenance import ChecksAround, TaskDue
    from inventory.models import Press, User

MOST_DAYS = 3650
MOST_HOURS = 100_000.0
_CHECKS = (PressEvent.Kind.CHECK_PASSED, PressEvent.Kind.CHECK_FAILED)


@dataclass(frozen=True)
class TaskStanding:
    """A task of a press, how it stands, and who did it last."""

    task: MaintenanceTask
    due: TaskDue
    last: PressEvent | None


@transaction.atomic
def set_task(
    *,
    press: Press,
    name: str,
    every_days: int | None = None,
    every_hours: float | None = None,
    note: str = "",
    is_in_use: bool = True,
    task: MaintenanceTask | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> MaintenanceTask:
    """Add a task to a press's list, or change one; when it was done stays on record."""
    press = lock_press(press)
    if task is None:
        task = MaintenanceTask(press=press)
    elif task.press_id != press.pk:
        msg = f"'{task}' is a task of {task.press}, not of {press}."
        raise StateConflictError(msg)
    if (every_days is None) == (every_hours is None):
        msg = "Say every how many days or every how many hours of printing, one of the two."
        raise OutOfRangeError(msg)
    if every_days is not None and not 0 < every_days <= MOST_DAYS:
        msg = f"Every {every_days} days is out of range; type 1 to {MOST_DAYS}."
        raise OutOfRangeError(msg)
    if every_hours is not None and not (
        math.isfinite(every_hours) and 0 < every_hours <= MOST_HOURS
    ):
        msg = f"Every {every_hours:g} hours is out of range; type over 0 to {MOST_HOURS:g}."
        raise OutOfRangeError(msg)
    task.name, task.note = name.strip(), note.strip()
    task.every_days, task.every_hours, task.is_in_use = every_days, every_hours, is_in_use
    check_fields(task, exclude=["press"])
    others = MaintenanceTask.objects.filter(press=press, name=task.name)
    if others.exclude(pk=task.pk).exists():
        msg = f"{press} already has a task '{task.name}'; give this one another name."
        raise StateConflictError(msg)
    task.save()
    every = f"{every_days} days" if every_days else f"{every_hours:g} hours of printing"
    log(
        organisation=press.organisation,
        actor=by,
        verb="set maintenance task",
        text=f"{press}: {task.name}, every {every}{'' if is_in_use else ', no longer done'}.",
        at=now or timezone.now(),
    )
    return task


def tasks_of(press: Press, now: datetime) -> list[TaskStanding]:
    """Return the tasks of a press with how they stand, due ones first; three queries."""
    tasks = list(MaintenanceTask.objects.filter(press=press, is_in_use=True).order_by("name"))
    if not tasks:
        return []
    last: dict[int, PressEvent] = {}
    done = PressEvent.objects.filter(
        task__in=tasks,
        kind=PressEvent.Kind.MAINTENANCE_DONE,
        happened_at__lte=now,
        corrections__isnull=True,
    )
    for event in done.select_related("recorded_by").order_by("happened_at", "pk"):
        if event.task_id is not None:
            last[event.task_id] = event
    runs = _runs_since(press, tasks, last)
    found = []
    for task in tasks:
        event = last.get(task.pk)
        due = engine.task_due(
            every_days=task.every_days,
            every_hours=task.every_hours,
            done_at=event.happened_at if event is not None else None,
            runs=runs,
            now=now,
        )
        found.append(TaskStanding(task, due, event))
    return sorted(found, key=lambda each: (not each.due.is_due, each.task.name))


def _runs_since(
    press: Press, tasks: Iterable[MaintenanceTask], last: dict[int, PressEvent]
) -> list[tuple[datetime, datetime]]:
    """Return the runs that count towards tasks by hours."""
    done = [last[task.pk].happened_at for task in tasks if task.every_hours and task.pk in last]
    if not done:
        return []
    runs = PrintRun.objects.filter(press=press, finished_at__gt=min(done))
    return list(runs.order_by("started_at").values_list("started_at", "finished_at"))


def checks_near(press: Press, since: datetime, until: datetime) -> list[PrintCheck]:
    """Return the checks between two moments, and of each kind one before and one after."""
    rows = PressEvent.objects.filter(press=press, kind__in=_CHECKS, corrections__isnull=True)
    ends = (
        rows.order_by()
        .values("check_kind")
        .annotate(
            before=Max("happened_at", filter=Q(happened_at__lte=since)),
            after=Min("happened_at", filter=Q(happened_at__gte=until)),
        )
    )
    moments = {at for each in ends for at in (each["before"], each["after"]) if at is not None}
    near = rows.filter(
        happened_at__gte=min(moments | {since}), happened_at__lte=max(moments | {until})
    )
    return [
        PrintCheck(key, at, kind == PressEvent.Kind.CHECK_PASSED, check_kind)
        for key, at, kind, check_kind in near.order_by("happened_at", "pk").values_list(
            "pk", "happened_at", "kind", "check_kind"
        )
    ]


def checks_around_run(run: PrintRun) -> list[ChecksAround]:
    """Return the last check of each kind before a run, and the first after it."""
    checks = checks_near(run.press, run.started_at, run.finished_at)
    return engine.checks_around(checks, (run.started_at, run.finished_at))


def runs_in_doubt(
    press: Press, *, since: datetime, until: datetime, checks: list[PrintCheck] | None = None
) -> list[PrintRun]:
    """Return the runs between two moments that lie beside a failed check, newest first."""
    checks = checks_near(press, since, until) if checks is None else checks
    if all(each.is_passed for each in checks):
        return []
    runs = PrintRun.objects.filter(press=press, finished_at__gt=since, started_at__lt=until)
    return [
        run
        for run in runs.order_by("-started_at")
        if any(
            each.is_in_doubt
            for each in engine.checks_around(checks, (run.started_at, run.finished_at))
        )
    ]


def last_checks(checks: Iterable[PrintCheck], now: datetime) -> list[PressEvent]:
    """Return the last check of each kind by a moment, of checks in order of time."""
    last = {each.kind: each.key for each in checks if each.happened_at <= now}
    if not last:
        return []
    rows = PressEvent.objects.filter(pk__in=last.values()).select_related("recorded_by")
    return list(rows.order_by("check_kind"))


def dryer_at(press: Press, moment: datetime) -> PressEvent | None:
    """Return how the dryer was last set by a moment, or ``None``: not known."""
    rows = PressEvent.objects.filter(
        press=press,
        kind=PressEvent.Kind.DRYER_SET,
        happened_at__lte=moment,
        corrections__isnull=True,
    )
    found: PressEvent | None = rows.order_by("-happened_at", "-pk").first()
    return found
