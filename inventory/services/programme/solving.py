"""A programme is solved: in a process of its own, with its progress, stopped at any time."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import timedelta
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone

from inventory.engineering.programme.problem import NOT_PLANNED
from inventory.engineering.programme.trips import solve_with_trips
from inventory.errors import InventoryError, StateConflictError
from inventory.models import PlannedReplacement, Programme, ProgrammeRun
from inventory.services.logbook import log
from inventory.services.programme.making import problem_of
from inventory.services.programme.placing import check_locks, place
from inventory.services.programme.reasons import LOCKED, Reasons
from inventory.services.programme.results import Asking, result_of

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.engineering.programme.problem import WholeArray
    from inventory.engineering.programme.trips import TripPlan
    from inventory.models import User
    from inventory.services.programme.making import ProgrammeFrame

SILENT_FOR = timedelta(minutes=2)  # a run without a sign of life for so long has died
POLISH_SECONDS = 2.0
ASKED_EVERY = timedelta(seconds=0.5)
ROWS_AT_ONCE = 1_000
ONE_CORE = {"OPENBLAS_NUM_THREADS": "1"}  # two that wait for each other take longer
NOT_COUNTED = "not in the figures, since no sign is up there that has a forecast"
_ERROR_LENGTH = 500


def start_solving(
    *, programme: Programme, by: User | None = None, now: datetime | None = None
) -> ProgrammeRun:
    """Begin to solve a programme in a process of its own, which goes on by itself."""
    run = open_run(programme=programme, by=by, now=now)
    # Not before the other process can see the run.
    transaction.on_commit(lambda: _spawn(run))
    return run


def _spawn(run: ProgrammeRun) -> None:
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "solve_programme"]
    try:
        subprocess.Popen(  # noqa: S603 - our own command with a number
            [*command, "--run", str(run.pk)],
            env=os.environ | ONE_CORE,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,  # what goes wrong is written where the site writes it
            start_new_session=True,
            close_fds=True,
        )
    except OSError as error:
        _close(run, f"The solving could not be started: {error}.")


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


def solve(
    run: ProgrammeRun, *, polish_seconds: float = POLISH_SECONDS, now: datetime | None = None
) -> Programme:
    """
    Solve the programme of an open run, and close the run whatever happens.

    ``now`` says which of its years are past; signs of life go by the clock.
    """
    try:
        programme = _solve(run, polish_seconds, now or timezone.now())
    except InventoryError as error:
        _close(run, str(error)[:_ERROR_LENGTH])
        raise
    except BaseException:
        _close(run, "It was broken off by a fault; choose the years again.")
        raise
    _close(run, "")
    return programme


def _close(run: ProgrammeRun, error: str) -> None:
    now = timezone.now()
    # A run that was taken over as dead is closed already, and stays as it was closed.
    ProgrammeRun.objects.filter(pk=run.pk, finished_at__isnull=True).update(
        finished_at=now, seen_at=now, error=error
    )


def _solve(run: ProgrammeRun, polish_seconds: float, now: datetime) -> Programme:
    programme: Programme = Programme.objects.select_related("work_basis", "organisation").get(
        pk=run.programme_id
    )
    watch = Watch(run)
    watch.tell("bringing the signs together")
    today = programme.organisation.day_of(now)
    frame = problem_of(programme, today=today, should_stop=watch.should_stop)
    check_locks(programme, frame)
    watch.tell("placing what has to be done")
    musts = place(frame, _start(programme, frame), watch.should_stop)
    if len(musts.missed):
        watch.tell("the musts do not fit: planning as many as do")
    found = solve_with_trips(
        musts.frame.problem,
        frame.trips,
        start=musts.start,
        polish_seconds=polish_seconds,
        progress=watch.tell,
        should_stop=watch.should_stop,
    )
    asking = Asking(watch.tell, watch.should_stop)
    result = result_of(programme, musts, found, polish_seconds=polish_seconds, asking=asking)
    watch.tell("storing the plan")
    _store(programme, musts.whole, found, result, run)
    return programme


class Watch:
    """Says how far it is, and hears within a second whether it is asked to stop."""

    def __init__(self, run: ProgrammeRun) -> None:
        self.run = run
        self.asked_at = timezone.now() - ASKED_EVERY
        self.is_stopped = False

    def tell(self, words: str) -> None:
        """Put on record what is being done."""
        ProgrammeRun.objects.filter(pk=self.run.pk).update(words=words, seen_at=timezone.now())

    def should_stop(self) -> bool:
        """Return whether somebody asked to stop, or took the run over as dead."""
        now = timezone.now()
        if not self.is_stopped and now - self.asked_at >= ASKED_EVERY:
            self.asked_at = now
            rows = ProgrammeRun.objects.filter(pk=self.run.pk)
            rows.update(seen_at=now)
            self.is_stopped = rows.filter(
                Q(stop_asked_at__isnull=False) | Q(finished_at__isnull=False)
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
    reasons = Reasons(frame, locked)
    rows = []
    for at, position in enumerate(frame.position.tolist()):
        year = int(found.plan.year[at])
        lock = kept.get(position)
        must = int(frame.problem.must_by[at])
        rows.append(
            PlannedReplacement(
                programme=locked,
                position_id=position,
                sign_id=int(frame.sign[at]),
                year=None if year == NOT_PLANNED else locked.first_year + year,
                is_locked=lock is not None,
                lock_reason="" if lock is None else lock.lock_reason,
                must_by_year=None if must < 0 else locked.first_year + must,
                reason=reasons.of(at, year, is_locked=lock is not None),
                cost=round(float(frame.problem.cost[at]), 2),
                crew_hours=round(float(frame.problem.crew_hours[at]), 3),
                due_on=frame.due_on[at],
                safety_class=int(frame.safety_class[at]),
                risk_left=round(float(left[at]), 5),
            )
        )
    there = set(frame.position.tolist())
    for position, lock in kept.items():
        if position not in there:
            lock.pk, lock.reason = None, f"{LOCKED}; {NOT_COUNTED}"
            rows.append(lock)
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
