"""Print runs: what an order asked for becomes faces in stock."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from inventory.engineering.ordering.outlines import face_outline
from inventory.engineering.production.labels import make_label
from inventory.engineering.production.press_log import loaded_during
from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    ColourArea,
    LayoutFace,
    PressEvent,
    PrintOrder,
    PrintRun,
    RollLayout,
    Sign,
)
from inventory.services.fields import check_fields
from inventory.services.ordering.life import log_for_both
from inventory.services.ordering.lines import lock_order
from inventory.services.ordering.progress import order_progress, settle_state
from inventory.services.ordering.proofs import why_not_made
from inventory.services.production.faces import (
    colour_areas,
    fits_roll,
    logged_inks,
    one_roll,
    sheeting_words,
)
from inventory.services.production.press_log import lock_press, logged_events
from inventory.services.production.printed_loads import faces_of_load, keep_as_printed
from inventory.services.production.roll_lengths import IN_PER_FT, rolls_left

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence
    from datetime import datetime

    from inventory.engineering.production.press_log import LoadedSpan
    from inventory.models import OrderLine, PlanLoad, PlannedFace, Press, SheetingRoll, User
    from inventory.services.ordering.progress import LineProgress

BATCH = 500


class PrintedLine(NamedTuple):
    """An order line and how many of its faces a run printed."""

    line: OrderLine
    quantity: int


@transaction.atomic
def record_print_run(
    *,
    order: PrintOrder,
    press: Press,
    started_at: datetime,
    finished_at: datetime,
    line_quantities: Mapping[int, int] | None = None,
    run_number: str | None = None,
    operator: User | None = None,
    printed_area_ft2: float | None = None,
    roll_length_used_ft: float | None = None,
    note: str = "",
    load: PlanLoad | None = None,
    not_printed: Collection[int] = (),
    now: datetime | None = None,
) -> PrintRun:
    """
    Record that faces of an order were printed; they are in the shop's stock from now on.

    ``line_quantities`` gives the faces printed of each line, by the line's primary key;
    without it, everything still to be printed on the sheeting that was on the press. Which
    roll that was follows from the press log. Without an area, that of the faces is taken.

    With the ``load`` of a frozen layout its faces are what was printed, in order along the
    roll, but for those whose numbers are in ``not_printed``; they are free to be laid out anew.
    """
    now = now or timezone.now()
    order = lock_order(order)
    press = lock_press(press)
    _check_order(order, press)
    _check_times(press, started_at, finished_at, now)
    spans = loaded_during(logged_events(press), started_at, finished_at)
    roll = one_roll(press, spans)
    planned: list[PlannedFace] = []
    if load is not None:
        planned = faces_of_load(order, roll, load, not_printed)
        lines = [face.line for face in planned]
        if roll_length_used_ft is None:
            roll_length_used_ft = load.taken_in / IN_PER_FT
    else:
        lines = _one_by_one(_printed_lines(order, roll, line_quantities))
    for sentence in why_not_made(lines).values():
        raise StateConflictError(sentence)
    run = PrintRun(
        press=press,
        run_number=_run_number(press, run_number),
        started_at=started_at,
        finished_at=finished_at,
        printed_area_ft2=_face_area_ft2(lines)
        if printed_area_ft2 is None
        else printed_area_ft2,
        roll_length_used_ft=roll_length_used_ft,
        operator=operator,
        note=note.strip(),
    )
    check_fields(run, exclude=["press", "operator"])
    _check_amounts(run, roll)
    run.save()
    layout = RollLayout.objects.create(order=order, roll=roll, print_run=run)
    faces = _make_faces(layout, lines, spans)
    if load is not None:
        keep_as_printed(load, layout, planned, faces)
    settle_state(order)
    log_for_both(
        order,
        operator,
        "record print run",
        f"{len(faces)} faces printed in {run} on {roll}; {order.get_state_display()}.",
        now,
    )
    return run


def _check_order(order: PrintOrder, press: Press) -> None:
    if press.organisation_id != order.shop_id:
        msg = (
            f"{press} belongs to {press.organisation}, and order {order.number} is with "
            f"{order.shop}; record the run on a press of {order.shop}."
        )
        raise StateConflictError(msg)
    if order.state == PrintOrder.State.PRINTED:
        msg = (
            f"Every face of order {order.number} is printed. A face that was spoilt is taken "
            "out of stock first; then it can be printed again."
        )
        raise StateConflictError(msg)
    if order.state != PrintOrder.State.RELEASED:
        msg = (
            f"Order {order.number} is {order.get_state_display()}; faces are printed for "
            "released orders only."
        )
        raise StateConflictError(msg)


def _check_times(
    press: Press, started_at: datetime, finished_at: datetime, now: datetime
) -> None:
    """Refuse a run that is still to come or that overlaps another on the same press."""
    if started_at.tzinfo is None or finished_at.tzinfo is None:
        msg = "The start and the end of a run need a time zone; say which they are in."
        raise OutOfRangeError(msg)
    clock = press.organisation.clock_words
    if finished_at > now:
        msg = (
            f"A run that ends at {clock(finished_at)} is not over yet (it is {clock(now)}); "
            "record it when it is."
        )
        raise OutOfRangeError(msg)
    other = PrintRun.objects.filter(
        press=press, started_at__lt=finished_at, finished_at__gt=started_at
    ).first()
    if other is not None:
        msg = (
            f"{press} was printing {other} from {clock(other.started_at)} to "
            f"{clock(other.finished_at)}; two runs cannot overlap on one press. Correct the "
            "times."
        )
        raise StateConflictError(msg)


def _printed_lines(
    order: PrintOrder, roll: SheetingRoll, quantities: Mapping[int, int] | None
) -> list[PrintedLine]:
    """Return what a run printed, line by line; refuse what its roll or the order rules out."""
    progress = {each.line.pk: each for each in order_progress(order)}
    if quantities is None:
        return _everything_left(order, roll, list(progress.values()))
    unknown = next((key for key in quantities if key not in progress), None)
    if unknown is not None:
        msg = f"Order {order.number} has no line with key {unknown}."
        raise OutOfRangeError(msg)
    printed = []
    for key, each in progress.items():
        quantity = quantities.get(key, 0)
        if quantity == 0:
            continue
        _check_quantity(each, quantity)
        if not fits_roll(each.line, roll):
            raise StateConflictError(_other_sheeting_message([each.line], roll))
        printed.append(PrintedLine(each.line, quantity))
    if not printed:
        msg = "The run printed no face of this order; say how many of which line it printed."
        raise OutOfRangeError(msg)
    return printed


def _everything_left(
    order: PrintOrder, roll: SheetingRoll, progress: Sequence[LineProgress]
) -> list[PrintedLine]:
    """
    Return all that is still to be printed of an order on one kind of sheeting.

    What waits for its proof is not among it.
    """
    left = [each for each in progress if each.counts.outstanding > 0]
    fitting = [each for each in left if fits_roll(each.line, roll)]
    why = why_not_made(each.line for each in fitting)
    printed = [
        PrintedLine(each.line, each.counts.outstanding)
        for each in fitting
        if each.line.pk not in why
    ]
    for sentence in why.values() if not printed else ():
        raise StateConflictError(sentence)
    if not printed:
        raise StateConflictError(_other_sheeting_message([each.line for each in left], roll))
    return printed


def _check_quantity(progress: LineProgress, quantity: int) -> None:
    line, left = progress.line, progress.counts.outstanding
    if not 0 < quantity <= left:
        msg = (
            f"{quantity} faces of line {line.number} ({line}) cannot be printed: {left} of "
            f"{line.quantity} are still to be printed."
        )
        raise OutOfRangeError(msg)


def _other_sheeting_message(lines: Sequence[OrderLine], roll: SheetingRoll) -> str:
    wanted = {
        sheeting_words(line.base_color, line.sheeting_type, line.optics): line.number
        for line in reversed(lines)
    }
    asked = "; ".join(
        f"line {number} is to be printed on {words}"
        for words, number in sorted(wanted.items(), key=lambda each: each[1])
    )
    was_on = sheeting_words(roll.color, roll.sheeting_type, roll.optics)
    return (
        f"{asked[0].upper()}{asked[1:]}, but {roll} was on the press, which is {was_on}. "
        "Correct the press log or the lines of the run."
    )


def _run_number(press: Press, wanted: str | None) -> str:
    """Return the run's own number, or the press's next; the caller holds the press's lock."""
    numbers = set(PrintRun.objects.filter(press=press).values_list("run_number", flat=True))
    if wanted is None or not wanted.strip():
        last = max((int(each) for each in numbers if each.isdecimal()), default=0)
        return f"{last + 1:04d}"
    number = wanted.strip()
    if number in numbers:
        msg = f"{press} already has a run {number}; give this one another number."
        raise StateConflictError(msg)
    return number


def _one_by_one(printed: Sequence[PrintedLine]) -> list[OrderLine]:
    return [each.line for each in printed for _ in range(each.quantity)]


def _face_area_ft2(lines: Sequence[OrderLine]) -> float:
    """Return the sheeting that faces take, without gaps."""
    return sum(
        face_outline(
            Shape(line.shape) if line.shape else None, line.width_in, line.height_in
        ).rectangle_area_ft2
        for line in lines
    )


def _check_amounts(run: PrintRun, roll: SheetingRoll) -> None:
    """Refuse an area of nothing, or more length than the roll had."""
    if run.printed_area_ft2 <= 0:
        msg = f"A run cannot have printed {run.printed_area_ft2:g} ft²; it has to be over 0."
        raise OutOfRangeError(msg)
    if run.roll_length_used_ft is None:
        return
    left_ft = _left_before(run, roll)
    if not 0 < run.roll_length_used_ft <= left_ft:
        msg = (
            f"A run cannot have used {run.roll_length_used_ft:g} ft of {roll}: of its "
            f"{roll.length_ft:g} ft, {left_ft:g} ft were left by the runs on record. Correct "
            "the length, or leave it out if it was not measured."
        )
        raise OutOfRangeError(msg)


def _left_before(run: PrintRun, roll: SheetingRoll) -> float:
    """Return what a run may have used of a roll: a length measured later bounds nothing."""
    is_measured_later = PressEvent.objects.filter(
        roll=roll,
        remaining_ft__isnull=False,
        happened_at__gte=run.finished_at,
        corrections__isnull=True,
    ).exists()
    if not is_measured_later:
        return rolls_left([roll])[roll.pk].left_ft
    used = PrintRun.objects.filter(layout__roll=roll).aggregate(
        total=Sum("roll_length_used_ft")
    )["total"]
    return float(roll.length_ft - (used or 0.0))


def _make_faces(
    layout: RollLayout, lines: Sequence[OrderLine], spans: Sequence[LoadedSpan]
) -> list[LayoutFace]:
    """Put the printed faces into the shop's stock, in the order in which they were printed."""
    run, roll = layout.print_run, layout.roll
    shop = run.press.organisation
    signs = Sign.objects.bulk_create(
        [
            Sign(
                maker=shop,
                owner=None,
                state=Sign.State.IN_STOCK,
                sign_code=line.sign_code,
                variant=line.variant,
                legend_text=line.legend_text,
                width_in=line.width_in,
                height_in=line.height_in,
                fabricated_on=shop.day_of(run.finished_at),
                print_run=run,
                print_number=number,
            )
            for number, line in enumerate(lines, start=1)
        ],
        batch_size=BATCH,
    )
    for sign in signs:
        sign.label_id = make_label(sign.pk)
    Sign.objects.bulk_update(signs, ["label_id"], batch_size=BATCH)
    inks = logged_inks(run.press, spans)
    ColourArea.objects.bulk_create(
        [
            area
            for sign, line in zip(signs, lines, strict=True)
            for area in colour_areas(sign, line, roll, inks)
        ],
        batch_size=BATCH,
    )
    return LayoutFace.objects.bulk_create(
        [
            LayoutFace(layout=layout, line=line, sign=sign)
            for sign, line in zip(signs, lines, strict=True)
        ],
        batch_size=BATCH,
    )
