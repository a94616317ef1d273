"""What happened at a press, written down once, and what was loaded at a time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.production import press_log as engine
from inventory.engineering.production.press_log import LoggedEvent, PressEventKind
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import OverlayRoll, Press, PressEvent, PrintRun, SheetingRoll
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.production.faces import (
    faces_follow_log,
    has_faces,
    one_roll,
    refuse_other_sheeting,
)

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from inventory.models import User


@dataclass(frozen=True)
class LoadedState:
    """
    What was on a press at a time, as the log tells it.

    ``roll`` and ``overlay`` are ``None`` when none was on and when it is not known;
    ``is_roll_known`` and ``is_overlay_known`` tell these apart. ``inks`` gives the lot in each
    channel that is known, ``ink_colors`` its colour where it was written down.
    """

    roll: SheetingRoll | None
    is_roll_known: bool
    overlay: OverlayRoll | None
    is_overlay_known: bool
    inks: Mapping[str, str]
    ink_colors: Mapping[str, str]


def lock_press(press: Press) -> Press:
    """Return the press as it is stored now, locked for the caller's transaction."""
    locked: Press = (
        Press.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .get(pk=press.pk)
    )
    return locked


def logged_events(press: Press) -> list[LoggedEvent]:
    """Return a press's whole log as the method takes it."""
    return [_as_logged(event) for event in PressEvent.objects.filter(press=press)]


def loaded_at(press: Press, moment: datetime) -> LoadedState:
    """Return what was on a press at a moment."""
    loaded = engine.loaded_at(logged_events(press), moment)
    rolls, overlays = SheetingRoll.objects, OverlayRoll.objects
    return LoadedState(
        roll=None if loaded.roll is None else rolls.get(pk=loaded.roll),
        is_roll_known=loaded.is_roll_known,
        overlay=None if loaded.overlay is None else overlays.get(pk=loaded.overlay),
        is_overlay_known=loaded.is_overlay_known,
        inks={channel: ink.lot for channel, ink in sorted(loaded.inks.items())},
        ink_colors={
            channel: ink.color for channel, ink in sorted(loaded.inks.items()) if ink.color
        },
    )


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
    note: str = "",
    corrects: PressEvent | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> PressEvent:
    """
    Write down what happened at a press.

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
        note=note.strip(),
        corrects=corrects,
    )
    _check_event(event, now)
    before = logged_events(press)
    event.save()
    after = [*before, _as_logged(event)]
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


def _as_logged(event: PressEvent) -> LoggedEvent:
    return LoggedEvent(
        key=event.pk,
        kind=PressEventKind(event.kind),
        happened_at=event.happened_at,
        roll=event.roll_id,
        overlay=event.overlay_id,
        ink_channel=event.ink_channel,
        ink_color=event.ink_color,
        ink_lot=event.ink_lot,
        corrects=event.corrects_id,
    )


def _check_event(event: PressEvent, now: datetime) -> None:
    """Refuse an event that lacks what its kind needs, or names what is not the shop's."""
    press = event.press
    if event.happened_at.tzinfo is None:
        msg = (
            f"The time {event.happened_at:%Y-%m-%d %H:%M} has no time zone; say which it is in."
        )
        raise OutOfRangeError(msg)
    if event.happened_at > now:
        msg = (
            f"{press.organisation.clock_words(event.happened_at)} is still to come; the press "
            "log holds what has happened."
        )
        raise OutOfRangeError(msg)
    check_fields(event, exclude=["press", "roll", "overlay", "recorded_by", "corrects"])
    kind = PressEventKind(event.kind)
    for wanted, kinds, words in (
        (event.roll, _ROLL_KINDS, "which roll"),
        (event.overlay, _OVERLAY_KINDS, "which overlay roll"),
        (event.ink_channel and event.ink_lot, _INK_KINDS, "which channel and which ink lot"),
        (event.corrects, _WITHDRAWALS, "which event"),
    ):
        if kind in kinds and not wanted:
            msg = f"'{event.get_kind_display()}' has to say {words}."
            raise OutOfRangeError(msg)
    for each in (event.roll, event.overlay):
        if each is not None:
            _check_stock(event, each)
    if event.remaining_ft is not None:
        _check_remaining(event)
    if event.corrects is not None:
        _check_corrected(event, event.corrects)
    if kind is PressEventKind.ROLL_LOADED and event.roll is not None:
        _check_not_on_another_press(event, event.roll)


_ROLL_KINDS = (PressEventKind.ROLL_LOADED, PressEventKind.ROLL_TAKEN_OFF)
_OVERLAY_KINDS = (PressEventKind.OVERLAY_LOADED, PressEventKind.OVERLAY_TAKEN_OFF)
_INK_KINDS = (PressEventKind.INK_CHANGED,)
_WITHDRAWALS = (PressEventKind.WITHDRAWN,)


def _check_stock(event: PressEvent, roll: SheetingRoll | OverlayRoll) -> None:
    shop = event.press.organisation
    if roll.organisation_id != shop.pk:
        msg = f"{roll} belongs to {roll.organisation}, not to {shop}."
        raise StateConflictError(msg)
    if roll.received_on is not None and shop.day_of(event.happened_at) < roll.received_on:
        msg = (
            f"{roll} was received on {roll.received_on:%Y-%m-%d}, after "
            f"{shop.clock_words(event.happened_at)}; correct the time of the event."
        )
        raise OutOfRangeError(msg)


def _check_remaining(event: PressEvent) -> None:
    received = event.roll or event.overlay
    longest_ft = received.length_ft if received is not None else math.inf
    if event.remaining_ft is not None and not 0 <= event.remaining_ft <= longest_ft:
        msg = (
            f"{event.remaining_ft:g} ft cannot be left; {received or 'a roll'} was received "
            f"with {longest_ft:g} ft."
        )
        raise OutOfRangeError(msg)


def _check_corrected(event: PressEvent, corrected: PressEvent) -> None:
    if corrected.press_id != event.press_id:
        msg = (
            f"Event {corrected.pk} happened at {corrected.press}, not at {event.press}; "
            "withdraw it there and record this one as new."
        )
        raise StateConflictError(msg)
    later = PressEvent.objects.filter(corrects=corrected).first()
    if later is not None:
        msg = (
            f"Event {corrected.pk} was already corrected by event {later.pk}; correct that one "
            "instead."
        )
        raise StateConflictError(msg)


def _check_not_on_another_press(event: PressEvent, roll: SheetingRoll) -> None:
    clock = event.press.organisation.clock_words
    others = Press.objects.filter(organisation=event.press.organisation_id).exclude(
        pk=event.press_id
    )
    for other in others:
        if engine.loaded_at(logged_events(other), event.happened_at).roll == roll.pk:
            msg = (
                f"{roll} was on {other} at {clock(event.happened_at)}; record there that it "
                "was taken off, or correct the time."
            )
            raise StateConflictError(msg)


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
    what = (
        event.roll
        or event.overlay
        or " ".join(
            each for each in (event.ink_channel, event.ink_color, event.ink_lot) if each
        )
    )
    corrected = f", in place of event {event.corrects_id}" if event.corrects_id else ""
    about = f": {what}" if what else ""
    return (
        f"{event.press}, {event.press.organisation.clock_words(event.happened_at)}, "
        f"{event.get_kind_display()}{about}{corrected}."
    )
