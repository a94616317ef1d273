"""A layout is searched for: in a process of its own, with its progress, stopped at any time."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import timedelta
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from inventory.engineering.ordering.layout import roll as engine
from inventory.engineering.ordering.layout.plans import Pin, StockRoll
from inventory.engineering.ordering.layout.rolls import plan_rolls
from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import InventoryError, StateConflictError
from inventory.models import LaidPiece, LayoutPlan, LayoutRun, PlanLoad, PlannedFace
from inventory.services.logbook import log
from inventory.services.ordering.layouts.making import lock_draft
from inventory.services.production.roll_lengths import IN_PER_FT, rolls_left

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.engineering.ordering.layout.plans import RollPlan
    from inventory.models import User

SILENT_FOR = timedelta(minutes=2)  # a search without a sign of life for so long has died
ASKED_EVERY = timedelta(seconds=0.5)
ONE_CORE = {"OPENBLAS_NUM_THREADS": "1"}  # two that wait for each other take longer
BATCH = 500
_ERROR_LENGTH = 500


def start_solving(
    *, plan: LayoutPlan, by: User | None = None, now: datetime | None = None
) -> LayoutRun:
    """Begin to search for a layout in a process of its own, which goes on by itself."""
    run = open_run(plan=plan, by=by, now=now)
    # Not before the other process can see the run.
    transaction.on_commit(lambda: _spawn(run))
    return run


def _spawn(run: LayoutRun) -> None:
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "lay_out"]
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
        _close(run, f"The search could not be started: {error}.")


@transaction.atomic
def open_run(
    *, plan: LayoutPlan, by: User | None = None, now: datetime | None = None
) -> LayoutRun:
    """Put on record that a layout is searched for; one at a time, a dead one is closed."""
    now = now or timezone.now()
    locked = lock_draft(plan)
    open_one = locked.runs.filter(finished_at__isnull=True).first()
    if open_one is not None:
        if now - open_one.seen_at < SILENT_FOR:
            clock = locked.organisation.clock_words(open_one.started_at)
            msg = f"This layout is being searched for since {clock}; wait for it, or stop it."
            raise StateConflictError(msg)
        open_one.finished_at, open_one.error = now, "It was broken off."
        open_one.save(update_fields=["finished_at", "error"])
    run: LayoutRun = LayoutRun.objects.create(
        plan=locked, started_at=now, seen_at=now, words="beginning", by=by
    )
    return run


def ask_to_stop(*, run: LayoutRun, now: datetime | None = None) -> None:
    """Ask a search to stop; it keeps the best layout it has by then."""
    LayoutRun.objects.filter(pk=run.pk, finished_at__isnull=True).update(
        stop_asked_at=now or timezone.now()
    )


def solve(run: LayoutRun) -> LayoutPlan:
    """Search for the layout of an open run, store it, and close the run whatever happens."""
    try:
        plan = _solve(run)
    except InventoryError as error:
        _close(run, str(error)[:_ERROR_LENGTH])
        raise
    except BaseException:
        _close(run, "It was broken off by a fault; lay out again.")
        raise
    _close(run, "")
    return plan


def _close(run: LayoutRun, error: str) -> None:
    now = timezone.now()
    # A run that was taken over as dead is closed already, and stays as it was closed.
    LayoutRun.objects.filter(pk=run.pk, finished_at__isnull=True).update(
        finished_at=now, seen_at=now, error=error
    )


class _Watch:
    """Says how far it is, and hears within a second whether it is asked to stop."""

    def __init__(self, run: LayoutRun) -> None:
        self.run = run
        self.asked_at = timezone.now() - ASKED_EVERY
        self.is_stopped = False

    def tell(self, words: str) -> None:
        LayoutRun.objects.filter(pk=self.run.pk).update(words=words, seen_at=timezone.now())

    def should_stop(self) -> bool:
        now = timezone.now()
        if not self.is_stopped and now - self.asked_at >= ASKED_EVERY:
            self.asked_at = now
            rows = LayoutRun.objects.filter(pk=self.run.pk)
            rows.update(seen_at=now)
            self.is_stopped = rows.filter(
                Q(stop_asked_at__isnull=False) | Q(finished_at__isnull=False)
            ).exists()
        return self.is_stopped


def _solve(run: LayoutRun) -> LayoutPlan:
    plan: LayoutPlan = LayoutPlan.objects.select_related("organisation").get(pk=run.plan_id)
    watch = _Watch(run)
    rolls = list(plan.rolls.order_by("pk"))
    left = rolls_left(rolls)
    found = plan_rolls(
        [
            engine.Face(
                key=face.number,
                shape=Shape(face.line.shape) if face.line.shape else None,
                width_in=face.line.width_in,
                height_in=face.line.height_in,
                due_rank=face.due_rank,
            )
            for face in plan.faces.select_related("line").order_by("number")
        ],
        [
            StockRoll(
                key=roll.pk, width_in=roll.width_in, length_in=left[roll.pk].free_ft * IN_PER_FT
            )
            for roll in rolls
            if left[roll.pk].free_ft > 0
        ],
        press=engine.Press(
            printable_width_in=plan.printable_width_in,
            lead_in_in=plan.lead_in_in,
            tail_in=plan.tail_in,
        ),
        laying=engine.Laying(
            cutter=engine.Cutter(plan.cutter),
            gap_in=plan.gap_in,
            edge_margin_in=plan.edge_margin_in,
            bleed_in=plan.bleed_in,
            is_to_the_edge=plan.is_to_the_edge,
            overlap_in=plan.overlap_in,
        ),
        turns=engine.Turns(angles_deg=tuple(plan.angles_deg), basis=plan.turns_basis),
        seconds=float(plan.seconds),
        in_order=plan.is_in_order,
        pins=_pins(plan),
        excluded=list(
            plan.faces.filter(is_left_out=True)
            .order_by("number")
            .values_list("number", flat=True)
        ),
        progress=watch.tell,
        should_stop=watch.should_stop,
    )
    watch.tell("storing the layout")
    return _store(plan, found, run)


def _pins(plan: LayoutPlan) -> list[Pin]:
    pieces = LaidPiece.objects.filter(
        face__plan=plan, is_pinned=True, face__is_left_out=False
    ).select_related("face", "load")
    return [
        Pin(
            face=piece.face.number,
            part=piece.part,
            roll=piece.load.roll_id,
            across_in=piece.across_in,
            along_in=piece.along_in,
            angle_deg=piece.angle_deg,
        )
        for piece in pieces.order_by("pk")
    ]


@transaction.atomic
def _store(plan: LayoutPlan, found: RollPlan, run: LayoutRun) -> LayoutPlan:
    """Write what was found over what was there before."""
    now = timezone.now()
    locked = lock_draft(plan)
    if not LayoutRun.objects.filter(pk=run.pk, finished_at__isnull=True).exists():
        msg = "This search was taken over by another; nothing of it is kept."
        raise StateConflictError(msg)
    locked.loads.all().delete()  # with the pieces on them
    faces = {face.number: face for face in locked.faces.all()}
    for face in faces.values():
        face.load, face.not_laid_reason = None, ""
    pieces = []
    for number, each in enumerate(found.loads, start=1):
        load = PlanLoad.objects.create(
            plan=locked,
            number=number,
            roll_id=each.roll.key,
            roll_left_in=each.roll.length_in,
            usable_width_in=each.usable_width_in,
            length_in=each.length_in,
            bound_in=each.bound_in,
            taken_in=each.taken_in,
            is_straight=each.is_straight,
        )
        for laid in each.laid:
            face = faces[laid.face]
            face.load = load
            left, low, _right, _high = laid.edges
            pieces.append(
                LaidPiece(
                    face=face,
                    load=load,
                    part=laid.part,
                    parts=laid.parts,
                    corners_in=laid.outline.round(6).tolist(),
                    across_in=left,
                    along_in=low,
                    angle_deg=laid.angle_deg,
                    is_pinned=laid.is_pinned,
                )
            )
    for missing in found.not_laid:
        faces[missing.face].not_laid_reason = missing.reason
    LaidPiece.objects.bulk_create(pieces, batch_size=BATCH)
    PlannedFace.objects.bulk_update(
        faces.values(), ["load", "not_laid_reason"], batch_size=BATCH
    )
    locked.solved_at, locked.other_length_in = now, found.other_length_in
    locked.save(update_fields=["solved_at", "other_length_in"])
    log(
        organisation=locked.organisation,
        actor=run.by,
        verb="lay out",
        text=f"Order {locked.order.number}: {len(faces) - len(found.not_laid)} of {len(faces)} "
        f"faces laid on {len(found.loads)} {'roll' if len(found.loads) == 1 else 'rolls'}, "
        f"{found.taken_in / IN_PER_FT:.1f} ft.",
        at=now,
        order=locked.order,
    )
    return locked
