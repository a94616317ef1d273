"""What is left of rolls and ink containers, and until when they keep."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.engineering.production.press_log import (
    LoadedSpan,
    events_that_hold,
    spans_in_each,
)
from inventory.engineering.production.stock_life import ink_ml, months_after
from inventory.models import (
    ColourArea,
    InkChannel,
    InkContainer,
    InkKind,
    OverlayRoll,
    Press,
    PressEvent,
    PrintRun,
    SheetingRoll,
    ShopRule,
)
from inventory.services.production.roll_lengths import rolls_left
from inventory.services.production.what_was_on import logged_events
from inventory.units import SQUARE_INCHES_PER_SQUARE_FOOT

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date, datetime

    from inventory.engineering.production.press_log import LoggedEvent
    from inventory.models import Organisation

_NOT_PRINTED = (ColourArea.Colouring.SHEETING, ColourArea.Colouring.FILM)
_MAYBE_MIXED = (ColourArea.Colouring.UNKNOWN, ColourArea.Colouring.PRINTED_MIXED)


@dataclass(frozen=True)
class ContainerLeft:
    """
    How much ink is left in a container, in millilitres; ``None`` is not known, ``why`` says so.

    ``measured_at`` is when somebody last measured it; runs since then are taken off by the
    channel's ink per area, and the rest is an estimate. ``is_at_least``: the share of a face
    the ink covers is not stated, so that faces count as covered whole.
    """

    left_ml: float | None
    is_estimate: bool = False
    is_at_least: bool = False
    measured_at: datetime | None = None
    why: str = ""


@dataclass(frozen=True)
class OverlayLeft:
    """How much of an overlay roll is left; ``is_at_most``: a run's length is not known."""

    left_ft: float
    is_at_most: bool


@dataclass(frozen=True)
class Keeping:
    """When a roll or container was opened and until when it keeps; ``None``: not known."""

    opened_on: date | None
    use_by_on: date | None
    is_on_label: bool

    def is_over(self, today: date) -> bool:
        """Return whether it should have been used by now."""
        return self.use_by_on is not None and self.use_by_on < today


def roll_left_ft(roll: SheetingRoll) -> float:
    """Return what is left of a roll of sheeting, at most, in feet."""
    return rolls_left([roll])[roll.pk].left_ft


def container_left_ml(container: InkContainer) -> float | None:
    """Return what is left in a container, as measured or estimated; ``None``: not known."""
    return containers_left([container])[container.pk].left_ml


def containers_left(containers: Iterable[InkContainer]) -> dict[int, ContainerLeft]:
    """Return what is left in each container, by its key; queries go by the shop's presses."""
    containers = list(containers)
    keys = [each.pk for each in containers]
    measured: dict[int, tuple[datetime, float]] = {}
    rows = PressEvent.objects.filter(
        container__in=keys, remaining_ml__isnull=False, corrections__isnull=True
    ).exclude(kind=PressEvent.Kind.WITHDRAWN)
    for key, at, left in rows.order_by("happened_at", "pk").values_list(
        "container", "happened_at", "remaining_ml"
    ):
        measured[key] = at, left
    presses = Press.objects.filter(events__container__in=keys).distinct().order_by("pk")
    use = _Use(measured=measured)
    for press in presses:
        use.add_press(press, set(keys))
    return {each.pk: use.left_in(each) for each in containers}


class _Use:
    """The ink taken out of containers by runs since they were measured."""

    def __init__(self, *, measured: dict[int, tuple[datetime, float]]) -> None:
        self.measured = measured
        self.used_ml: dict[int, float] = defaultdict(float)
        self.why: dict[int, str] = {}
        self.is_at_least: set[int] = set()
        self.in_use: set[int] = set()

    def add_press(self, press: Press, keys: set[int]) -> None:
        """Take off what the runs of a press used."""
        events = logged_events(press)
        first = min(each.happened_at for each in events if each.container in keys)
        runs = list(
            PrintRun.objects.filter(press=press, finished_at__gt=first).order_by("started_at")
        )
        channels = {each.name: each for each in InkChannel.objects.filter(press=press)}
        areas = _areas_by_color(runs)
        for run, spans in zip(runs, _spans_of(events, runs), strict=True):
            for span in spans:
                self._add_span(run, span, channels, areas[run.pk], keys)

    def _add_span(
        self,
        run: PrintRun,
        span: LoadedSpan,
        channels: dict[str, InkChannel],
        areas: dict[str, float],
        keys: set[int],
    ) -> None:
        for name, ink in span.loaded.inks.items():
            if ink.container not in keys:
                continue
            key = ink.container
            start = self.measured[key][0] if key in self.measured else span.started_at
            seconds = (span.finished_at - max(start, span.started_at)).total_seconds()
            share = max(0.0, seconds / (run.finished_at - run.started_at).total_seconds())
            alike = [
                each
                for each in span.loaded.inks.values()
                if (each.color, each.kind) == (ink.color, ink.kind)
            ]
            color = _MIXED if ink.kind == InkKind.PROCESS else ink.color
            area = areas.get(color, 0.0) * share / len(alike)
            if not area:
                continue
            channel = channels.get(name)
            if channel is None or channel.ml_per_m2 is None:
                self.why[key] = f"ink per area of channel {name} is not measured"
                continue
            self.in_use.add(key)
            if channel.cover_share is None:
                self.is_at_least.add(key)
            self.used_ml[key] += ink_ml(area, channel.ml_per_m2, channel.cover_share or 1.0)

    def left_in(self, container: InkContainer) -> ContainerLeft:
        """Return what is left in a container by what was measured and used since."""
        key = container.pk
        at, start_ml = self.measured.get(key, (None, container.volume_ml))
        if start_ml is None:
            return ContainerLeft(None, why="neither its volume nor what is left is on record")
        if key in self.why:
            return ContainerLeft(None, measured_at=at, why=self.why[key])
        return ContainerLeft(
            left_ml=max(0.0, start_ml - self.used_ml[key]),
            is_estimate=key in self.in_use,
            is_at_least=key in self.is_at_least,
            measured_at=at,
        )


_MIXED = "mixed"


def _areas_by_color(runs: Sequence[PrintRun]) -> dict[int, dict[str, float]]:
    """Return the area of the faces that carry each printed colour, in ft², run by run."""
    areas: dict[int, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    rows = (
        ColourArea.objects.filter(sign__print_run__in=[run.pk for run in runs])
        .exclude(colouring__in=_NOT_PRINTED)
        .order_by("sign", "number")
        .values_list(
            "sign__print_run",
            "sign",
            "sign__width_in",
            "sign__height_in",
            "color",
            "colouring",
        )
    )
    mixed: set[int] = set()
    for run, sign, width_in, height_in, color, colouring in rows:
        if width_in is None or height_in is None:
            continue
        area = width_in * height_in / SQUARE_INCHES_PER_SQUARE_FOOT
        if colouring != ColourArea.Colouring.PRINTED_MIXED:
            areas[run][color] += area
        if colouring in _MAYBE_MIXED and sign not in mixed:
            mixed.add(sign)
            areas[run][_MIXED] += area
    return areas


def _spans_of(
    events: Sequence[LoggedEvent], runs: Sequence[PrintRun]
) -> list[tuple[LoadedSpan, ...]]:
    return spans_in_each(events, [(run.started_at, run.finished_at) for run in runs])


def overlays_left(overlays: Iterable[OverlayRoll]) -> dict[int, OverlayLeft]:
    """Return what is left of each overlay roll: last measured, less the runs since on it."""
    overlays = list(overlays)
    keys = {each.pk for each in overlays}
    used: dict[int, float] = defaultdict(float)
    measured: dict[int, tuple[datetime, float]] = {}
    unknown: set[int] = set()
    presses = list(Press.objects.filter(events__overlay__in=keys).distinct().order_by("pk"))
    for press in presses:
        rows = PressEvent.objects.filter(
            press=press,
            kind=PressEvent.Kind.OVERLAY_TAKEN_OFF,
            overlay__in=keys,
            remaining_ft__isnull=False,
            corrections__isnull=True,
        )
        for key, at, left in rows.order_by("happened_at", "pk").values_list(
            "overlay", "happened_at", "remaining_ft"
        ):
            if key not in measured or measured[key][0] <= at:
                measured[key] = at, left
    for press in presses:
        events = logged_events(press)
        held = events_that_hold(events)
        first = min((e.happened_at for e in held if e.overlay in keys), default=None)
        if first is None:
            continue
        runs = list(
            PrintRun.objects.filter(press=press, finished_at__gt=first).order_by("started_at")
        )
        for run, spans in zip(runs, _spans_of(events, runs), strict=True):
            for span in spans:
                key = span.loaded.overlay
                if key not in keys or (
                    key in measured and span.finished_at <= measured[key][0]
                ):
                    continue
                if run.roll_length_used_ft is None:
                    unknown.add(key)
                    continue
                share = (span.finished_at - span.started_at) / (
                    run.finished_at - run.started_at
                )
                used[key] += run.roll_length_used_ft * share
    return {
        each.pk: OverlayLeft(
            max(0.0, measured.get(each.pk, (None, each.length_ft))[1] - used[each.pk]),
            each.pk in unknown,
        )
        for each in overlays
    }


def keeping_of(
    stock: Iterable[SheetingRoll | OverlayRoll | InkContainer], shop: Organisation
) -> dict[int, Keeping]:
    """Return when each of some rolls or containers, of one kind, was opened and keeps to."""
    stock = list(stock)
    if not stock:
        return {}
    name, kind, months = _KINDS[type(stock[0])]
    rule = ShopRule.objects.filter(organisation=shop).first()
    shelf_months = getattr(rule, months) if rule is not None else None
    opened: dict[int, date] = {}
    rows = PressEvent.objects.filter(
        **{f"{name}__in": [each.pk for each in stock]}, kind=kind, corrections__isnull=True
    )
    for key, at in rows.order_by("-happened_at", "-pk").values_list(name, "happened_at"):
        opened[key] = shop.day_of(at)
    found = {}
    for each in stock:
        use_by_on = each.use_by_on
        if use_by_on is None and shelf_months and each.received_on is not None:
            use_by_on = months_after(each.received_on, shelf_months)
        found[each.pk] = Keeping(
            each.opened_on or opened.get(each.pk), use_by_on, each.use_by_on is not None
        )
    return found


_KINDS: dict[type, tuple[str, str, str]] = {
    SheetingRoll: ("roll", PressEvent.Kind.ROLL_LOADED, "sheeting_months"),
    OverlayRoll: ("overlay", PressEvent.Kind.OVERLAY_LOADED, "overlay_months"),
    InkContainer: ("container", PressEvent.Kind.INK_CHANGED, "ink_months"),
}
