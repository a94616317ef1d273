"""What was loaded on a press, read from its log."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from inventory.engineering.production import press_log as engine
from inventory.engineering.production.press_log import LoggedEvent, PressEventKind
from inventory.models import InkContainer, OverlayRoll, Press, PressEvent, SheetingRoll

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime


@dataclass(frozen=True)
class LoadedState:
    """
    What was on a press at a time, as the log tells it.

    ``roll`` and ``overlay`` are ``None`` when none was on and when it is not known;
    ``is_roll_known`` and ``is_overlay_known`` tell these apart. ``inks`` gives the lot in each
    channel that is known, ``ink_colors`` its colour where it was written down and
    ``containers`` the container where it is one in stock.
    """

    roll: SheetingRoll | None
    is_roll_known: bool
    overlay: OverlayRoll | None
    is_overlay_known: bool
    inks: Mapping[str, str]
    ink_colors: Mapping[str, str]
    containers: Mapping[str, InkContainer] = field(default_factory=dict)


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
    return [as_logged(event) for event in PressEvent.objects.filter(press=press)]


def loaded_at(press: Press, moment: datetime) -> LoadedState:
    """Return what was on a press at a moment."""
    return state_of(engine.loaded_at(logged_events(press), moment))


def state_of(loaded: engine.Loaded) -> LoadedState:
    """Return what was on a press with the records of it."""
    rolls, overlays = SheetingRoll.objects, OverlayRoll.objects
    keys = {ink.container for ink in loaded.inks.values()} - {None}
    containers = InkContainer.objects.in_bulk(keys) if keys else {}
    return LoadedState(
        roll=None if loaded.roll is None else rolls.get(pk=loaded.roll),
        is_roll_known=loaded.is_roll_known,
        overlay=None if loaded.overlay is None else overlays.get(pk=loaded.overlay),
        is_overlay_known=loaded.is_overlay_known,
        inks={channel: ink.lot for channel, ink in sorted(loaded.inks.items())},
        ink_colors={
            channel: ink.color for channel, ink in sorted(loaded.inks.items()) if ink.color
        },
        containers={
            channel: containers[ink.container]
            for channel, ink in sorted(loaded.inks.items())
            if ink.container is not None
        },
    )


def as_logged(event: PressEvent) -> LoggedEvent:
    """Return an event as the method takes it."""
    return LoggedEvent(
        key=event.pk,
        kind=PressEventKind(event.kind),
        happened_at=event.happened_at,
        roll=event.roll_id,
        overlay=event.overlay_id,
        ink_channel=event.ink_channel,
        ink_color=event.ink_color,
        ink_lot=event.ink_lot,
        ink_kind=event.ink_kind,
        container=event.container_id,
        after_face=event.after_face,
        after_ft=event.after_ft,
        corrects=event.corrects_id,
    )
