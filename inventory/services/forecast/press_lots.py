"""Which sheeting, ink and overlay lot each print run used, told apart per maker."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from inventory.engineering.forecast.cohorts import Overlay
from inventory.engineering.forecast.observations import UNKNOWN
from inventory.engineering.production.press_log import (
    Loaded,
    LoggedEvent,
    PressEventKind,
    loaded_in_each,
)
from inventory.models import OverlayRoll, PressEvent, PrintRun, SheetingRoll

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from inventory.models import Organisation


class MakersLot(NamedTuple):
    """A lot, or a run, as its maker names it; two makers may use one name."""

    maker_id: int
    name: str


@dataclass(slots=True)
class Numbering:
    """Numbers for what was named, 0, 1, 2 … in the order in which it was first named."""

    number_of: dict[MakersLot, int] = field(default_factory=dict)

    def number(self, lot: MakersLot) -> int:
        """Return the number of a lot, a new one for a new lot."""
        return self.number_of.setdefault(lot, len(self.number_of))

    @property
    def names(self) -> tuple[str, ...]:
        """Return the names by number."""
        return tuple(lot.name for lot in self.number_of)

    @property
    def makers(self) -> tuple[int, ...]:
        """Return the primary keys of the makers by number."""
        return tuple(lot.maker_id for lot in self.number_of)


@dataclass(frozen=True, slots=True)
class RunLots:
    """What a run used, as numbers; ``ink`` by colour. −1 where it is not known."""

    run: int
    sheeting: int
    overlay_lot: int
    overlay: Overlay
    ink: Mapping[str, int]


NOT_PRINTED_HERE = RunLots(UNKNOWN, UNKNOWN, UNKNOWN, Overlay.UNKNOWN, {})


@dataclass(frozen=True, slots=True)
class PressLots:
    """The lots of every run that faces of an agency come from, by the run's primary key."""

    of_run: Mapping[int, RunLots]
    sheeting: Numbering
    ink: Numbering
    overlay: Numbering
    runs: Numbering


def press_lots(organisation: Organisation) -> PressLots:
    """
    Return what each run used that faces of an agency come from, in four queries.

    A run through which the lot changed is of no known lot: its faces are of either.
    """
    found: dict[int, RunLots] = {}
    lots = PressLots(found, Numbering(), Numbering(), Numbering(), Numbering())
    runs = list(
        PrintRun.objects.filter(signs__owner=organisation)
        .order_by("press__organisation__name", "press__name", "press_id", "started_at", "pk")
        .distinct()
        .values_list(
            "pk",
            "press_id",
            "press__organisation_id",
            "press__name",
            "run_number",
            "started_at",
            "finished_at",
        )
    )
    if not runs:
        return lots
    makers = {run[2] for run in runs}
    sheeting_lot = _lot_names(SheetingRoll, makers)
    overlay_lot = _lot_names(OverlayRoll, makers)
    logs = _logs({run[1] for run in runs})
    for press, of_press in groupby(runs, key=lambda run: run[1]):
        group = list(of_press)
        states = loaded_in_each(logs.get(press, []), [(run[5], run[6]) for run in group])
        for (key, _press, maker, name, number, *_times), during in zip(
            group, states, strict=True
        ):
            found[key] = RunLots(
                run=lots.runs.number(MakersLot(maker, f"{name}, run {number}")),
                sheeting=_one(
                    lots.sheeting, maker, {sheeting_lot.get(each.roll) for each in during}
                ),
                overlay_lot=_one(
                    lots.overlay, maker, {overlay_lot.get(each.overlay) for each in during}
                ),
                overlay=_overlay(during),
                ink=_inks(lots.ink, maker, during),
            )
    return lots


def _lot_names(
    model: type[SheetingRoll] | type[OverlayRoll], makers: set[int]
) -> dict[int | None, str]:
    rows = model.objects.filter(organisation__in=makers).order_by("pk")
    return dict(rows.values_list("pk", "lot"))


def _logs(presses: set[int]) -> dict[int, list[LoggedEvent]]:
    """Return the log of each press; maintenance and checks load nothing."""
    logs: dict[int, list[LoggedEvent]] = {}
    rows = PressEvent.objects.filter(press__in=presses).order_by("pk")
    for (
        press,
        key,
        kind,
        happened_at,
        roll,
        overlay,
        channel,
        color,
        lot,
        corrects,
    ) in rows.values_list(
        "press_id",
        "pk",
        "kind",
        "happened_at",
        "roll_id",
        "overlay_id",
        "ink_channel",
        "ink_color",
        "ink_lot",
        "corrects_id",
    ):
        logs.setdefault(press, []).append(
            LoggedEvent(
                key=key,
                kind=PressEventKind(kind),
                happened_at=happened_at,
                roll=roll,
                overlay=overlay,
                ink_channel=channel,
                ink_color=color,
                ink_lot=lot,
                corrects=corrects,
            )
        )
    return logs


def _one(numbering: Numbering, maker: int, lots: set[str | None]) -> int:
    """Return the number of the one lot that was on throughout; −1 where it was not one."""
    lot = lots.pop() if len(lots) == 1 else None
    return UNKNOWN if not lot else numbering.number(MakersLot(maker, lot))


def _overlay(during: Iterable[Loaded]) -> Overlay:
    kinds = {
        Overlay.UNKNOWN
        if not each.is_overlay_known
        else Overlay.NONE
        if each.overlay is None
        else Overlay.FILM
        for each in during
    }
    return kinds.pop() if len(kinds) == 1 else Overlay.UNKNOWN


def _inks(numbering: Numbering, maker: int, during: Iterable[Loaded]) -> dict[str, int]:
    """Return the lot of each colour's ink; two containers of one colour leave it open."""
    states = list(during)
    colors = sorted({ink.color for state in states for ink in state.inks.values()} - {""})
    of_color: dict[str, set[str | None]] = {color: set() for color in colors}
    for state in states:
        for color in colors:
            lots = {ink.lot for ink in state.inks.values() if ink.color == color}
            of_color[color].update(lots or {None})
    return {
        color: number
        for color, lots in of_color.items()
        if (number := _one(numbering, maker, lots)) != UNKNOWN
    }
