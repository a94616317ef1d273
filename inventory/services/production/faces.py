"""What the press log says of the faces of a run: their roll, and what makes each colour."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Q

from inventory.engineering.production.builds import FaceBuild
from inventory.engineering.production.colouring import LoggedInks, colouring_as_built
from inventory.errors import StateConflictError
from inventory.models import (
    ColourArea,
    InkChannel,
    InkKind,
    LayoutFace,
    OrderLine,
    RollLayout,
    SheetingRoll,
    Sign,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.engineering.production.press_log import LoadedSpan
    from inventory.models import Press, PrintRun

# A face that was spoilt before anybody put it up says nothing about any road.
_IN_USE = ~Q(sign__state=Sign.State.REMOVED) | Q(sign__installed_on__isnull=False)


def one_roll(press: Press, spans: Sequence[LoadedSpan]) -> SheetingRoll:
    """Return the roll that was on through the whole of a run; refuse anything else."""
    clock = press.organisation.clock_words
    stretch = f"from {clock(spans[0].started_at)} to {clock(spans[-1].finished_at)}"
    stored = SheetingRoll.objects.in_bulk(
        [span.loaded.roll for span in spans if span.loaded.roll is not None]
    )
    # Spans are also split where only an ink changed.
    until: dict[str, str] = {}
    for span in spans:
        until[_roll_words(span, stored)] = clock(span.finished_at)
    if len({span.loaded.roll for span in spans}) > 1:
        told = ", then ".join(f"{roll} until {moment}" for roll, moment in until.items())
        msg = (
            f"The roll on {press} changed {stretch}: {told}. A run is printed on one roll; "
            "record one run for each, or correct the press log."
        )
        raise StateConflictError(msg)
    key = spans[0].loaded.roll
    if key is None:
        what = (
            f"{press} had no roll on"
            if spans[0].loaded.is_roll_known
            else f"The press log does not say which roll was on {press}"
        )
        msg = f"{what} {stretch}; record first when the roll was loaded."
        raise StateConflictError(msg)
    return stored[key]


def sheeting_words(color: str, sheeting_type: str, optics: str) -> str:
    """Return a sheeting as a sentence names it."""
    return f"{color.replace('-', ' ')} Type {sheeting_type} {optics}"


def fits_roll(line: OrderLine, roll: SheetingRoll) -> bool:
    """Return whether a line's faces are printed on this kind of sheeting."""
    return (line.sheeting_type, line.optics, line.base_color) == (
        roll.sheeting_type,
        roll.optics,
        roll.color,
    )


def spot_ink_colors(spans: Sequence[LoadedSpan]) -> frozenset[str]:
    """
    Return the colours that had an ink of their own on the press through the whole run.

    Inks for mixing make other colours than their own, so they are left out.
    """
    return frozenset.intersection(
        *(
            frozenset(
                ink.color for ink in span.loaded.inks.values() if ink.kind != InkKind.PROCESS
            )
            for span in spans
        )
    )


def logged_inks(press: Press, spans: Sequence[LoadedSpan]) -> LoggedInks:
    """Return what the log says of the inks of a run, by the channels the press has in use."""
    kinds = dict(
        InkChannel.objects.filter(press=press, is_in_use=True).values_list("name", "kind")
    )
    inks = [span.loaded.inks for span in spans]
    not_told = {name for name in kinds if not all(name in each for each in inks)}
    return LoggedInks(
        spot_colors=spot_ink_colors(spans),
        is_complete=bool(kinds) and not not_told,
        is_process_only=all(
            bool(each) and all(ink.kind == InkKind.PROCESS for ink in each.values())
            for each in inks
        )
        and all(kinds[name] == InkKind.PROCESS for name in not_told),
    )


def frozen_build(line: OrderLine) -> FaceBuild | None:
    """Return how a line is to be built, if that was frozen into it."""
    return None if line.build is None else FaceBuild.from_stored(line.build)


def colour_areas(
    sign: Sign, line: OrderLine, roll: SheetingRoll, inks: LoggedInks
) -> list[ColourArea]:
    """Return the colours of a printed face, each once, with what makes them."""
    build = frozen_build(line)
    wanted = [
        (ColourArea.Part.BACKGROUND, line.background_color),
        (ColourArea.Part.LEGEND, line.legend_color),
        *((ColourArea.Part.SECONDARY, each) for each in line.secondary_color.split("/")),
    ]
    by_color: dict[str, ColourArea.Part] = {}
    for part, color in wanted:
        if color:
            by_color.setdefault(color, part)
    return [
        ColourArea(
            sign=sign,
            number=number,
            part=part,
            color=color,
            sheeting_type=roll.sheeting_type,
            optics=roll.optics,
            colouring=colouring_as_built(
                color, roll.color, inks, build.colouring_of(part, color) if build else ""
            ),
        )
        for number, (color, part) in enumerate(by_color.items(), start=1)
    ]


def has_faces(run: PrintRun) -> bool:
    """Return whether a run has faces that were not taken out of use before they were put up."""
    return LayoutFace.objects.filter(_IN_USE, layout__print_run=run).exists()


def refuse_other_sheeting(run: PrintRun, roll: SheetingRoll) -> None:
    """Refuse a log by which a run on record was printed on another kind of sheeting."""
    layout = RollLayout.objects.select_related("roll").get(print_run=run)
    was = sheeting_words(layout.roll.color, layout.roll.sheeting_type, layout.roll.optics)
    now = sheeting_words(roll.color, roll.sheeting_type, roll.optics)
    if was != now:
        count = layout.faces.count()
        msg = (
            f"By this event {roll} ({now}) was on during {run}, whose {count} faces are on "
            f"record as {was}. Correct the time or the roll; if the faces really are of that "
            "sheeting, take them out of use first, with the reason."
        )
        raise StateConflictError(msg)


def faces_follow_log(run: PrintRun, roll: SheetingRoll, spans: Sequence[LoadedSpan]) -> None:
    """Bring a run's layout and the colours of its faces in line with the press log."""
    RollLayout.objects.filter(print_run=run).update(roll=roll)
    inks = logged_inks(run.press, spans)
    printed = LayoutFace.objects.filter(layout__print_run=run).order_by()
    line_of = dict(printed.values_list("sign_id", "line_id"))
    lines = OrderLine.objects.filter(pk__in=printed.values("line"))
    builds = {line.pk: frozen_build(line) for line in lines}
    areas = list(ColourArea.objects.filter(sign__print_run=run))
    for area in areas:
        build = builds.get(line_of.get(area.sign_id, 0))
        built_as = build.colouring_of(area.part, area.color) if build else ""
        area.colouring = colouring_as_built(area.color, roll.color, inks, built_as)
    ColourArea.objects.bulk_update(areas, ["colouring"], batch_size=500)


def _roll_words(span: LoadedSpan, stored: dict[int, SheetingRoll]) -> str:
    if span.loaded.roll is not None:
        return str(stored[span.loaded.roll])
    return "none" if span.loaded.is_roll_known else "not known"
