"""A programme is solved: in a process of its own, with its progress, stopped at any time."""

from __future__ import annotations

import subprocess
import sys
from datetime import date, timedelta
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils import timezone

from inventory.engineering.programme.problem import NOT_PLANNED
from inventory.engineering.programme.trips import keeps_limits, solve_with_trips
from inventory.errors import InventoryError, OutOfRangeError, StateConflictError
from inventory.models import PlannedReplacement, Programme, ProgrammeRun
from inventory.services.logbook import log
from inventory.services.programme.making import problem_of
from inventory.services.programme.results import result_of, short_of

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.engineering.programme.problem import WholeArray
    from inventory.engineering.programme.trips import TripPlan
    from inventory.models import User
    from inventory.services.programme.making import ProgrammeFrame

SILENT_FOR = timedelta(minutes=2)  # a run without a sign of life for so long has died
POLISH_SECONDS = 2.0
SEEN_EVERY = timedelta(seconds=1)
ROWS_AT_ONCE = 1_000
_ERROR_LENGTH = 500


def start_solving(
    *, programme: Programme, by: User | None = None, now: datetime | None = None
) -> ProgrammeRun:
    """Begin to solve a programme in a process of its own, which goes on by itself."""
    run = open_run(programme=programme, by=by, now=now)
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "solve_programme"]
    subprocess.Popen(  # noqa: S603 - our own command with a number
        [*command, "--run", str(run.pk)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
        close_fds=True,
    )
    return run


@transaction.atomic
def open_run(
    *, programme: Programme, by: User | None = None, now: datetime | None = None
) -> ProgrammeRun:
    """Put on record that a programme is being solved; one at a time, a dead one is closed."""
    now = now or timezone.now()
    locked = Programme.objects.select_for_update().get(pk=programme.pk)
    if locked.state != Programme.State.DRAFT:
        msg = (
            f"'{locked.name}' is {locked.get_state_display()} and stays as it is; make a new "
            "programme that begins from it."
        )
        raise StateConflictError(msg)
    open_one = locked.runs.filter(finished_at__isnull=True).first()
    if open_one is not None:
        if now - open_one.seen_at < SILENT_FOR:
            msg = (
                f"'{locked.name}' is being solved since {open_one.started_at:%H:%M} UTC; wait, "
                "or stop it."
            )
            raise StateConflictError(msg)
        open_one.finished_at, open_one.error = now, "It was broken off."
        open_one.save(update_fields=["finished_at", "error"])
    try:
        return ProgrammeRun.objects.create(
            programme=locked, started_at=now, seen_at=now, words="beginning", by=by
        )
    except IntegrityError as error:
        msg = f"'{locked.name}' is being solved by somebody else just now; wait for it."
        raise StateConflictError(msg) from error


def ask_to_stop(*, run: ProgrammeRun, now: datetime | None = None) -> None:
    """Ask a run to stop; it keeps the best plan it has by then."""
    ProgrammeRun.objects.filter(pk=run.pk, finished_at__isnull=True).update(
        stop_asked_at=now or timezone.now()
    )


def solve(run: ProgrammeRun, *, polish_seconds: float = POLISH_SECONDS) -> Programme:
    """Solve the programme of an open run, and close the run whatever happens."""
    try:
        programme = _solve(run, polish_seconds)
    except InventoryError as error:
        _close(run, str(error)[:_ERROR_LENGTH])
        raise
    except BaseException:
        _close(run, "It was broken off by a fault; solve it again.")
        raise
    _close(run, "")
    return programme


def _close(run: ProgrammeRun, error: str) -> None:
    now = timezone.now()
    # A run that was taken over as dead is closed already, and stays as it was closed.
    ProgrammeRun.objects.filter(pk=run.pk, finished_at__isnull=True).update(
        finished_at=now, seen_at=now, error=error
    )


def _solve(run: ProgrammeRun, polish_seconds: float) -> Programme:
    programme: Programme = Programme.objects.select_related("work_basis", "organisation").get(
        pk=run.programme_id
    )
    watch = _Watch(run)
    watch.tell("bringing the signs together")
    frame = problem_of(programme)
    short = short_of(frame)
    if short is not None and short.start is None:
        watch.tell("the musts do not fit: planning as many as do")
        frame = short.frame
    start = _start(programme, frame)
    if short is not None and short.start is not None:
        is_kept = start is not None and keeps_limits(frame.problem, frame.trips, start)
        start = start if is_kept else short.start
    found = solve_with_trips(
        frame.problem,
        frame.trips,
        start=start,
        polish_seconds=polish_seconds,
        progress=watch.tell,
        should_stop=watch.should_stop,
    )
    watch.tell("reckoning what it leaves, and what plain rules would")
    result = result_of(programme, frame, found, short, polish_seconds=polish_seconds)
    watch.tell("storing the plan")
    _store(programme, frame, found, result, run)
    return programme


class _Watch:
    """Says how far it is, and hears whether it is asked to stop, at most once a second."""

    def __init__(self, run: ProgrammeRun) -> None:
        self.run = run
        self.asked_at = timezone.now() - SEEN_EVERY
        self.is_stopped = False

    def tell(self, words: str) -> None:
        """Put on record what is being done."""
        ProgrammeRun.objects.filter(pk=self.run.pk).update(words=words, seen_at=timezone.now())

    def should_stop(self) -> bool:
        """Return whether somebody asked to stop."""
        now = timezone.now()
        if not self.is_stopped and now - self.asked_at >= SEEN_EVERY:
            self.asked_at = now
            ProgrammeRun.objects.filter(pk=self.run.pk).update(seen_at=now)
            self.is_stopped = ProgrammeRun.objects.filter(
                pk=self.run.pk, stop_asked_at__isnull=False
            ).exists()
        return self.is_stopped


def _start(programme: Programme, frame: ProgrammeFrame) -> WholeArray | None:
    """Return the plan to begin from: its own of before, else its predecessor's."""
    for source in (programme, programme.began_from):
        if source is None:
            continue
        rows = PlannedReplacement.objects.filter(programme=source).order_by("pk")
        years = dict(rows.values_list("position_id", "year"))
        if years:
            return frame.plan_of(years, programme.first_year)
    return None


@transaction.atomic
def _store(
    programme: Programme,
    frame: ProgrammeFrame,
    found: TripPlan,
    result: dict[str, object],
    run: ProgrammeRun,
) -> None:
    """Write the plan over the one of before; locks stay."""
    now = timezone.now()
    locked = Programme.objects.select_for_update().get(pk=programme.pk)
    is_open = ProgrammeRun.objects.filter(pk=run.pk, finished_at__isnull=True).exists()
    if locked.state != Programme.State.DRAFT or not is_open:
        msg = (
            f"'{locked.name}' was taken over or adopted while its years were chosen; nothing "
            "of this run is kept."
        )
        raise StateConflictError(msg)
    kept = {
        row.position_id: row
        for row in PlannedReplacement.objects.filter(programme=locked, is_locked=True)
    }
    PlannedReplacement.objects.filter(programme=locked).delete()
    left = frame.risk.weight * frame.risk.at(found.plan.year).sum(axis=1)
    rows = []
    for place, position in enumerate(frame.position.tolist()):
        year = int(found.plan.year[place])
        lock = kept.get(position)
        must = int(frame.problem.must_by[place])
        rows.append(
            PlannedReplacement(
                programme=locked,
                position_id=position,
                sign_id=int(frame.sign[place]),
                year=None if year == NOT_PLANNED else locked.first_year + year,
                is_locked=lock is not None,
                lock_reason="" if lock is None else lock.lock_reason,
                must_by_year=None if must < 0 else locked.first_year + must,
                reason=_reason(
                    frame, place, year, is_locked=lock is not None, first_year=locked.first_year
                ),
                cost=round(float(frame.problem.cost[place]), 2),
                crew_hours=round(float(frame.problem.crew_hours[place]), 3),
                due_on=frame.due_on[place],
                safety_class=int(frame.safety_class[place]),
                risk_left=round(float(left[place]), 5),
            )
        )
    PlannedReplacement.objects.bulk_create(rows, batch_size=ROWS_AT_ONCE)
    programme.result, programme.solved_at = result, now
    programme.save(update_fields=["result", "solved_at"])
    log(
        organisation=programme.organisation,
        actor=run.by,
        verb="solve programme",
        text=(
            f"Programme '{programme.name}' solved: {int((found.plan.year >= 0).sum())} of "
            f"{len(rows)} signs planned."
        ),
        at=now,
    )


def _reason(
    frame: ProgrammeFrame, place: int, year: int, *, is_locked: bool, first_year: int
) -> str:
    """Return why a position has its year, in words."""
    if is_locked:
        return "locked by a person"
    if year == NOT_PLANNED:
        if float(frame.problem.value[place].max()) <= 0:
            return "a new face would not be safer within these years"
        return "others take away more risk for the money"
    due_on = frame.due_on[place]
    if frame.problem.must_by[place] >= 0:
        first_day = date(first_year, 1, 1)
        if due_on is not None and due_on < first_day:
            return f"class 1, due since {due_on:%B %Y}"
        return f"class 1, before it is due in {due_on:%B %Y}" if due_on else "class 1"
    if frame.risk.condition[place] > 0:
        return "damaged, and worth it for the risk it takes away"
    if due_on is not None:
        return f"due about {due_on:%B %Y}"
    return "worth it for the risk it takes away"


@transaction.atomic
def lock_replacement(
    *,
    planned: PlannedReplacement,
    year: int | None,
    reason: str,
    by: User | None = None,
    now: datetime | None = None,
) -> PlannedReplacement:
    """Lock a position to a year, or to none; solving keeps it."""
    row = _draft_row(planned)
    programme = row.programme
    reason = reason.strip()
    if not reason:
        msg = "Say why it is locked; whoever reads the programme next asks."
        raise OutOfRangeError(msg)
    last = programme.first_year + programme.years - 1
    if year is not None and not programme.first_year <= year <= last:
        msg = (
            f"The year {year} is not of this programme; it has {programme.first_year} to "
            f"{last}."
        )
        raise OutOfRangeError(msg)
    most = PlannedReplacement._meta.get_field("lock_reason").max_length or 0
    if len(reason) > most:
        msg = f"The reason has {len(reason)} characters; at most {most} are kept. Shorten it."
        raise OutOfRangeError(msg)
    row.year, row.is_locked, row.lock_reason = year, True, reason
    row.reason = "locked by a person"
    row.save(update_fields=["year", "is_locked", "lock_reason", "reason"])
    _log_lock(row, f"locked to {year or 'no year'}: {reason}", by, now)
    return row


@transaction.atomic
def unlock_replacement(
    *, planned: PlannedReplacement, by: User | None = None, now: datetime | None = None
) -> PlannedReplacement:
    """Let solving choose a position's year again."""
    row = _draft_row(planned)
    row.is_locked, row.lock_reason = False, ""
    row.save(update_fields=["is_locked", "lock_reason"])
    _log_lock(row, "unlocked", by, now)
    return row


@transaction.atomic
def adopt(
    *, programme: Programme, by: User | None = None, now: datetime | None = None
) -> Programme:
    """Make a solved programme the one the agency works by; the one before it ends."""
    now = now or timezone.now()
    type(programme.organisation).objects.select_for_update().get(pk=programme.organisation_id)
    locked: Programme = Programme.objects.select_for_update().get(pk=programme.pk)
    _check_not_running(locked)
    if locked.state != Programme.State.DRAFT or locked.solved_at is None:
        msg = f"'{locked.name}' is {locked.get_state_display()}; a solved draft can be adopted."
        raise StateConflictError(msg)
    Programme.objects.filter(
        organisation=locked.organisation_id, state=Programme.State.ADOPTED
    ).update(state=Programme.State.ENDED)
    locked.state, locked.adopted_at = Programme.State.ADOPTED, now
    locked.save(update_fields=["state", "adopted_at"])
    log(
        organisation=locked.organisation,
        actor=by,
        verb="adopt programme",
        text=f"Programme '{locked.name}' is the one the agency works by.",
        at=now,
    )
    return locked


def _draft_row(planned: PlannedReplacement) -> PlannedReplacement:
    row: PlannedReplacement = (
        PlannedReplacement.objects.select_for_update(of=("self",))
        .select_related("programme__organisation")
        .get(pk=planned.pk)
    )
    if row.programme.state != Programme.State.DRAFT:
        msg = (
            f"'{row.programme.name}' is {row.programme.get_state_display()}; only a draft "
            "changes."
        )
        raise StateConflictError(msg)
    Programme.objects.select_for_update().get(pk=row.programme_id)
    _check_not_running(row.programme)
    return row


def _check_not_running(programme: Programme) -> None:
    """Refuse a change while years are being chosen: it would be lost, or half of it."""
    if programme.runs.filter(finished_at__isnull=True).exists():
        msg = f"The years of '{programme.name}' are being chosen; wait, or stop it first."
        raise StateConflictError(msg)


def _log_lock(
    row: PlannedReplacement, words: str, by: User | None, now: datetime | None
) -> None:
    log(
        organisation=row.programme.organisation,
        actor=by,
        verb="lock replacement",
        text=f"In '{row.programme.name}' the sign is {words}.",
        at=now or timezone.now(),
        sign=row.sign,
    )
