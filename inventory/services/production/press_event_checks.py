"""Refusing what cannot have happened at a press."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from inventory.engineering.production import press_log as engine
from inventory.engineering.production.press_log import PressEventKind
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import InkChannel, Press, PressEvent
from inventory.services.fields import check_fields
from inventory.services.production.what_was_on import logged_events

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import InkContainer, OverlayRoll, SheetingRoll


def check_event(event: PressEvent, now: datetime) -> None:
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
    check_fields(event, exclude=_NOT_TYPED)
    kind = PressEventKind(event.kind)
    for wanted, kinds, words in (
        (event.roll, _ROLL_KINDS, "which roll"),
        (event.overlay, _OVERLAY_KINDS, "which overlay roll"),
        (event.ink_channel and event.ink_lot, _INK_KINDS, "which channel and which ink lot"),
        (event.container, _MEASURED_KINDS, "which container"),
        (event.remaining_ml is not None, _MEASURED_KINDS, "how much ink is left, in ml"),
        (event.dryer_f is not None, _DRYER_KINDS, "at what heat, in °F"),
        (event.corrects, _WITHDRAWALS, "which event"),
    ):
        if kind in kinds and not wanted:
            msg = f"'{event.get_kind_display()}' has to say {words}."
            raise OutOfRangeError(msg)
    for each in (event.roll, event.overlay, event.container):
        if each is not None:
            _check_stock(event, each)
    if event.remaining_ft is not None:
        _check_remaining(event)
    _check_amounts(event)
    _check_of_the_press(event)
    if event.corrects is not None:
        _check_corrected(event, event.corrects)
    if kind is PressEventKind.ROLL_LOADED and event.roll is not None:
        _check_not_on_another_press(event, event.roll)
    if kind is PressEventKind.INK_CHANGED and event.container is not None:
        _check_container_is_free(event, event.container)


_ROLL_KINDS = (PressEventKind.ROLL_LOADED, PressEventKind.ROLL_TAKEN_OFF)
_OVERLAY_KINDS = (PressEventKind.OVERLAY_LOADED, PressEventKind.OVERLAY_TAKEN_OFF)
_INK_KINDS = (PressEventKind.INK_CHANGED,)
_MEASURED_KINDS = (PressEventKind.INK_MEASURED,)
_DRYER_KINDS = (PressEventKind.DRYER_SET,)
_WITHDRAWALS = (PressEventKind.WITHDRAWN,)


def _check_stock(event: PressEvent, roll: SheetingRoll | OverlayRoll | InkContainer) -> None:
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


def _check_amounts(event: PressEvent) -> None:
    """Refuse figures that cannot be."""
    if event.remaining_ml is not None:
        most = event.container.volume_ml if event.container is not None else None
        if not (math.isfinite(event.remaining_ml) and event.remaining_ml >= 0) or (
            most is not None and event.remaining_ml > most
        ):
            held = f"; it held {most:g} ml when new" if most is not None else ""
            msg = (
                f"{event.remaining_ml:g} ml cannot be left in "
                f"{event.container or 'a container'}{held}. Type what is left, 0 or more."
            )
            raise OutOfRangeError(msg)
    if event.dryer_f is not None and not LEAST_DRYER_F <= event.dryer_f <= MOST_DRYER_F:
        msg = (
            f"A dryer set to {event.dryer_f:g} °F is out of range; type {LEAST_DRYER_F:g} to "
            f"{MOST_DRYER_F:g} °F as its display shows, the low end for off."
        )
        raise OutOfRangeError(msg)
    if event.after_ft is not None and not (
        math.isfinite(event.after_ft) and event.after_ft >= 0
    ):
        msg = f"{event.after_ft:g} ft printed before the change cannot be; type 0 or more."
        raise OutOfRangeError(msg)


def _check_of_the_press(event: PressEvent) -> None:
    """Refuse the task or the channel of another press, and ink of another colour."""
    press = event.press
    if event.task is not None and event.task.press_id != press.pk:
        msg = f"'{event.task}' is a task of {event.task.press}, not of {press}."
        raise StateConflictError(msg)
    if event.kind != PressEventKind.INK_CHANGED or event.container is None:
        return
    channel = InkChannel.objects.filter(press=press, name=event.ink_channel).first()
    container = event.container
    if channel is not None and (channel.color, channel.kind) != (
        container.color,
        container.kind,
    ):
        msg = (
            f"Channel {channel.name} of {press} takes {channel.color} as "
            f"{channel.get_kind_display()}; {container} is {container.color}, "
            f"{container.get_kind_display()}. Pick the right container, or change first what "
            "the channel takes."
        )
        raise StateConflictError(msg)


def _check_container_is_free(event: PressEvent, container: InkContainer) -> None:
    """Refuse a container that sits in another channel at that time."""
    shop = event.press.organisation
    for press in Press.objects.filter(organisation=shop).order_by("name"):
        replaced = event.corrects_id
        log = [each for each in logged_events(press) if each.key != replaced]
        for name, ink in engine.loaded_at(log, event.happened_at).inks.items():
            if ink.container == container.pk and (press.pk, name) != (
                event.press_id,
                event.ink_channel,
            ):
                msg = (
                    f"{str(container).capitalize()} was in channel {name} of {press} at "
                    f"{shop.clock_words(event.happened_at)}; record first what went in there "
                    "in its place, or correct the time."
                )
                raise StateConflictError(msg)


LEAST_DRYER_F = 32.0
MOST_DRYER_F = 500.0
_NOT_TYPED = [
    "press",
    "roll",
    "overlay",
    "container",
    "task",
    "recorded_by",
    "corrects",
]
