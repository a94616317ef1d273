"""A year's work is split into crew days: in a process of its own, looked at before use."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import date, timedelta
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils import timezone

from inventory.errors import InventoryError, OutOfRangeError, StateConflictError
from inventory.models import Crew, CrewPlan, Programme
from inventory.services.logbook import log
from inventory.services.programme.crew_tours import store, toured
from inventory.services.programme.solving import ONE_CORE

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import User
    from inventory.services.programme.crew_days_asked import CrewDaysAsked

SILENT_FOR = timedelta(minutes=2)  # a planning without a sign of life for so long has died
SEEN_EVERY = timedelta(seconds=1)
_ERROR_LENGTH = 500
_WORDS_LENGTH = CrewPlan._meta.get_field("words").max_length or 0


def start_planning(
    *,
    programme: Programme,
    year: int,
    first_on: date,
    last_on: date,
    asked: CrewDaysAsked,
    by: User | None = None,
    now: datetime | None = None,
) -> CrewPlan:
    """Begin to plan crew days in a process of its own, which goes on by itself."""
    plan = open_plan(
        programme=programme,
        year=year,
        first_on=first_on,
        last_on=last_on,
        asked=asked,
        by=by,
        now=now,
    )
    # Not before the other process can see the plan.
    transaction.on_commit(lambda: _spawn(plan))
    return plan


def _spawn(plan: CrewPlan) -> None:
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "plan_crew_days"]
    try:
        subprocess.Popen(  # noqa: S603 - our own command with a number
            [*command, "--plan", str(plan.pk)],
            env=os.environ | ONE_CORE,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
            close_fds=True,
        )
    except OSError as error:
        _end(plan.pk, f"The planning could not be started: {error}.", timezone.now())


@transaction.atomic
def open_plan(
    *,
    programme: Programme,
    year: int,
    first_on: date,
    last_on: date,
    asked: CrewDaysAsked,
    by: User | None = None,
    now: datetime | None = None,
) -> CrewPlan:
    """Put on record that crew days are being planned; one planning of a programme at a time."""
    now = now or timezone.now()
    locked: Programme = (
        Programme.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .get(pk=programme.pk)
    )
    _check(locked, year, first_on, last_on, asked, locked.organisation.day_of(now))
    running = locked.crew_plans.filter(finished_at__isnull=True).first()
    if running is not None:
        if now - running.seen_at < SILENT_FOR:
            who = running.by or "somebody"
            msg = (
                f"Crew days of '{locked.name}' are being planned by {who} since "
                f"{locked.organisation.clock_words(running.started_at)}; wait for them."
            )
            raise StateConflictError(msg)
        _end(running.pk, "It was broken off.", now)
    # A plan that is not made into packages has served: the newest one is looked at.
    older = locked.crew_plans.filter(year=year, packages_made_at__isnull=True)
    older.filter(finished_at__isnull=False).delete()
    try:
        return CrewPlan.objects.create(
            programme=locked,
            year=year,
            first_on=first_on,
            last_on=last_on,
            asked=asked.as_json(),
            started_at=now,
            seen_at=now,
            words="starting the planning",
            by=by,
        )
    except IntegrityError as error:
        msg = f"Crew days of '{locked.name}' are being planned by somebody else just now."
        raise StateConflictError(msg) from error


def plan_crew_days(plan: CrewPlan) -> CrewPlan:
    """Plan the days that were asked for, and close the planning whatever happens."""
    try:
        _plan(plan)
    except InventoryError as error:
        _end(plan.pk, str(error)[:_ERROR_LENGTH], timezone.now())
        raise
    except BaseException:
        _end(plan.pk, "It was broken off by a fault; plan again.", timezone.now())
        raise
    _end(plan.pk, "", timezone.now())
    plan.refresh_from_db()
    return plan


def give_up(*, plan: CrewPlan, now: datetime | None = None) -> None:
    """Give a planning up; nothing of it is kept."""
    _end(plan.pk, "It was given up.", now or timezone.now())


def newest_plan(*, programme: Programme, year: int) -> CrewPlan | None:
    """Return the newest crew days of a year, planned or being planned."""
    rows = CrewPlan.objects.filter(programme=programme, year=year)
    found: CrewPlan | None = (
        rows.select_related("by", "packages_made_by").order_by("-started_at", "-pk").first()
    )
    return found


def _plan(plan: CrewPlan) -> None:
    rows = CrewPlan.objects.select_related("programme__organisation", "programme__work_basis")
    row: CrewPlan | None = rows.filter(pk=plan.pk, finished_at__isnull=True).first()
    if row is None:
        raise _taken_over()
    watch = _Watch(row)
    found = toured(row, tell=watch.tell, should_stop=watch.is_over)
    watch.tell("storing the crew days")
    with transaction.atomic():
        rows = CrewPlan.objects.select_for_update(of=("self",))
        if not rows.filter(pk=row.pk, finished_at__isnull=True).exists():
            raise _taken_over()
        store(row, found)
        log(
            organisation=row.programme.organisation,
            actor=row.by,
            verb="plan crew days",
            text=(
                f"Crew days of '{row.programme.name}' in {row.year}: {len(found.days)} days "
                f"with {found.served} stops; {len(found.unserved)} left out."
            ),
            at=timezone.now(),
        )


def _taken_over() -> StateConflictError:
    msg = "The planning was given up or taken over meanwhile; nothing of it is kept."
    return StateConflictError(msg)


class _Watch:
    """Says how far it is, and hears whether it was given up, at most once a second."""

    def __init__(self, plan: CrewPlan) -> None:
        self.plan = plan
        self.asked_at = timezone.now() - SEEN_EVERY
        self.was_ended = False

    def tell(self, words: str) -> None:
        """Put on record what is being done."""
        CrewPlan.objects.filter(pk=self.plan.pk, finished_at__isnull=True).update(
            words=words[:_WORDS_LENGTH], seen_at=timezone.now()
        )

    def is_over(self) -> bool:
        """Return whether the planning was given up, and leave a sign of life."""
        now = timezone.now()
        if not self.was_ended and now - self.asked_at >= SEEN_EVERY:
            self.asked_at = now
            rows = CrewPlan.objects.filter(pk=self.plan.pk, finished_at__isnull=True)
            self.was_ended = not rows.update(seen_at=now)
        return self.was_ended


def _end(plan_id: int, error: str, now: datetime) -> None:
    # One that was taken over as dead is ended already, and stays as it was ended.
    CrewPlan.objects.filter(pk=plan_id, finished_at__isnull=True).update(
        finished_at=now, seen_at=now, error=error
    )


def _check(
    programme: Programme,
    year: int,
    first_on: date,
    last_on: date,
    asked: CrewDaysAsked,
    today: date,
) -> None:
    if programme.state != Programme.State.ADOPTED:
        msg = (
            f"'{programme.name}' is {programme.get_state_display()}; crews go out for the "
            "programme the agency works by. Adopt it first."
        )
        raise StateConflictError(msg)
    last = programme.first_year + programme.years - 1
    if not programme.first_year <= year <= last:
        msg = (
            f"'{programme.name}' has no year {year}; it runs from {programme.first_year} to "
            f"{last}."
        )
        raise OutOfRangeError(msg)
    if first_on < today:
        msg = f"The first day is {first_on:%Y-%m-%d}; begin today, {today:%Y-%m-%d}, or later."
        raise OutOfRangeError(msg)
    if last_on < first_on:
        msg = (
            f"The last day, {last_on:%Y-%m-%d}, is before the first, {first_on:%Y-%m-%d}; put "
            "them in order."
        )
        raise OutOfRangeError(msg)
    if last_on > date(year, 12, 31):
        msg = (
            f"The last day is {last_on:%Y-%m-%d}; these are the crew days of {year}, so end "
            f"them by {year}-12-31."
        )
        raise OutOfRangeError(msg)
    own = Crew.objects.owned_by(programme.organisation).filter(is_active=True)
    missing = set(asked.crews) - set(
        own.filter(pk__in=asked.crews).values_list("pk", flat=True)
    )
    if missing:
        msg = "A crew that is ticked no longer goes out; pick among the crews that do."
        raise StateConflictError(msg)
