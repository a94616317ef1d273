"""What happened at a press, written down once, and what was loaded at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.production import press_log as engine
from inventory.engineering.production.press_log import PressEventKind
from inventory.errors import StateConflictError
from inventory.models import InkChannel, OverlayRoll, Press, PressEvent, PrintRun, SheetingRoll
from inventory.services.logbook import log
from inventory.services.production.faces import (
    faces_follow_log,
    has_faces,
    one_roll,
    refuse_other_sheeting,
)
from inventory.services.production.press_event_checks import check_event
from inventory.services.production.what_was_on import (
    LoadedState,
    as_logged,
    loaded_at,
    lock_press,
    logged_events,
)

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.engineering.production.press_log import LoggedEvent
    from inventory.models import InkContainer, MaintenanceTask, User

__all__ = ["LoadedState", "loaded_at", "lock_press", "logged_events", "record_press_event"]


@transaction.atomic
def record_press_event(
    *,
    press: Press,
    kind: str,
    happened_at: datetime,
    roll: SheetingRoll | None = None,
    overlay: OverlayRoll | None = None,
    ink_channel: str = "",
    ink_color: str = "",
    ink_lot: str = "",
    remaining_ft: float | None = None,
    container: InkContainer | None = None,
    remaining_ml: float | None = None,
    after_face: int | None = None,
    after_ft: float | None = None,
    task: MaintenanceTask | None = None,
    check_kind: str = "",
    dryer_f: float | None = None,
    note: str = "",
    corrects: PressEvent | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> PressEvent:
    """
    Write down what happened at a press.

    Of an ink container in stock its colour, kind and lot are taken; else those typed. A change
    in mid-run may say how many faces (``after_face``) or what length (``after_ft``) of the run
    were printed by then.

    An event that corrects another replaces it; one of kind ``withdrawn`` takes it back. Runs
    that are on record already follow the log, unless their faces would then be of another
    sheeting than they were printed as: that is refused.
    """
    now = now or timezone.now()
    press = lock_press(press)
    event = PressEvent(
        press=press,
        kind=kind,
        happened_at=happened_at,
        recorded_at=now,
        recorded_by=by,
        roll=roll,
        overlay=overlay,
        ink_channel=ink_channel.strip(),
        ink_color="-".join(ink_color.lower().split()),
        ink_lot=ink_lot.strip(),
        remaining_ft=remaining_ft,
        container=container,
        remaining_ml=remaining_ml,
        after_face=after_face,
        after_ft=after_ft,
        task=task,
        check_kind=check_kind,
        dryer_f=dryer_f,
        note=note.strip(),
        corrects=corrects,
    )
    _fill_ink(event)
    check_event(event, now)
    before = logged_events(press)
    event.save()
    after = [*before, as_logged(event)]
    _check_log_makes_sense(event, before, after)
    _let_runs_follow(event, before, after, by, now)
    log(
        organisation=press.organisation,
        actor=by,
        verb="record press event",
        text=_event_words(event),
        at=now,
        detail={"press_event": event.pk},
    )
    return event


def _fill_ink(event: PressEvent) -> None:
    """Take over what the container and the channel on record say of an ink."""
    if event.container is not None:
        event.ink_color, event.ink_lot = event.container.color, event.container.lot
        event.ink_kind = event.container.kind
    channel = InkChannel.objects.filter(press=event.press, name=event.ink_channel).first()
    if event.kind == PressEventKind.INK_CHANGED and channel is not None:
        event.ink_color = event.ink_color or channel.color
        event.ink_kind = event.ink_kind or channel.kind


def _check_log_makes_sense(
    event: PressEvent, before: list[LoggedEvent], after: list[LoggedEvent]
) -> None:
    """Refuse an event after which something is taken off that was not on."""
    known = {each.key for each in engine.taken_off_without_being_on(before)}
    for wrong in engine.taken_off_without_being_on(after):
        if wrong.key in known:
            continue
        broken = PressEvent.objects.select_related("roll", "overlay").get(pk=wrong.key)
        taken_off = broken.roll or broken.overlay
        kind = SheetingRoll if broken.roll is not None else OverlayRoll
        was_on = kind.objects.filter(pk=wrong.was_on).first() or "none"
        msg = (
            f"{taken_off} cannot have been taken off {event.press} at "
            f"{event.press.organisation.clock_words(broken.happened_at)}: by the press log "
            f"{was_on} was on. Record first what was loaded, or withdraw what is wrong."
        )
        raise StateConflictError(msg)


def _let_runs_follow(
    event: PressEvent,
    before: list[LoggedEvent],
    after: list[LoggedEvent],
    by: User | None,
    now: datetime,
) -> None:
    """Bring the faces of runs on record in line with the log; refuse another sheeting."""
    since = event.happened_at
    if event.corrects is not None:
        since = min(since, event.corrects.happened_at)
    runs = PrintRun.objects.filter(press=event.press, finished_at__gt=since).select_related(
        "layout__roll", "press__organisation"
    )
    for run in runs:
        spans = engine.loaded_during(after, run.started_at, run.finished_at)
        changed = spans != engine.loaded_during(before, run.started_at, run.finished_at)
        if not changed or not has_faces(run):
            continue
        try:
            roll = one_roll(run.press, spans)
        except StateConflictError as error:
            msg = f"This event cannot stand beside {run}, which is on record. {error}"
            raise StateConflictError(msg) from error
        refuse_other_sheeting(run, roll)
        faces_follow_log(run, roll, spans)
        log(
            organisation=event.press.organisation,
            actor=by,
            verb="correct run",
            text=f"{str(run).capitalize()} follows the press log as it now stands: {roll}.",
            at=now,
        )


def _event_words(event: PressEvent) -> str:
    parts = [
        str(event.roll or event.overlay or event.task or ""),
        " ".join(each for each in (event.ink_channel, event.ink_color, event.ink_lot) if each),
        str(event.container or ""),
        event.get_check_kind_display(),
        "" if event.dryer_f is None else f"{event.dryer_f:g} °F",
        "" if event.remaining_ml is None else f"{event.remaining_ml:g} ml left",
        "" if event.after_face is None else f"after face {event.after_face} of the run",
        "" if event.after_ft is None else f"after {event.after_ft:g} ft of the run",
    ]
    what = ", ".join(each for each in parts if each)
    corrected = f", in place of event {event.corrects_id}" if event.corrects_id else ""
    about = f": {what}" if what else ""
    return (
        f"{event.press}, {event.press.organisation.clock_words(event.happened_at)}, "
        f"{event.get_kind_display()}{about}{corrected}."
    )
