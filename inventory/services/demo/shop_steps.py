"""The shop's step of the main job: roll on, run, roll off."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from inventory.errors import StateConflictError
from inventory.models import Press, PressEvent, PrintRun, SheetingRoll
from inventory.services.demo.job import counted, running_order
from inventory.services.demo.pictures import draw_proof
from inventory.services.demo.press_history import LOST_SHARE, moment
from inventory.services.ordering import order_counts, order_groups, order_progress
from inventory.services.ordering.proofs import decide_proof, send_proof, why_not_made
from inventory.services.production import loaded_at, record_press_event, record_print_run
from inventory.units import INCHES_PER_FOOT

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import PrintOrder
    from inventory.services.demo.job import Job
    from inventory.services.ordering import OrderGroup

PRESS_H = 10
SET_UP = timedelta(minutes=30)
ROLL_ON, ROLL_OFF = PressEvent.Kind.ROLL_LOADED, PressEvent.Kind.ROLL_TAKEN_OFF


def print_faces(job: Job) -> None:
    """Print what is left to print of the order, sheeting by sheeting."""
    job.head("print the faces at the shop")
    order = running_order(job)
    is_new = False
    _approve_legends(job, order)
    _clear_press(job, order)
    for group in order_groups(order):
        left = _still_to_print(order, group)
        if left:
            _print_group(job, order, group)
            is_new = True
    order.refresh_from_db()
    counts = order_counts([order])[order.pk]
    state = "" if is_new else "Already done: "
    job.tell(
        f"{state}{counts.printed} of {counts.ordered} faces printed; order {order.number} is "
        f"{order.get_state_display()}."
    )
    job.mark("print", is_new=is_new)


def _approve_legends(job: Job, order: PrintOrder) -> None:
    """Send a drawn proof of each legend of its own, and let the engineer approve it."""
    waiting = why_not_made(order.lines.order_by("number"))
    if not waiting:
        return
    sent_at = moment(job.data["press_day"], PRESS_H) - timedelta(hours=2)
    for line in order.lines.filter(pk__in=waiting).order_by("number"):
        legend = line.legend_text.strip() or f"as drawn for line {line.number}"
        proof = send_proof(
            line=line,
            content=draw_proof(legend),
            file_name=f"line-{line.number}.png",
            legend_text=legend,
            by=job.operator,
            now=sent_at,
        )
        decide_proof(
            proof=proof, is_approved=True, by=job.engineer, now=sent_at + timedelta(hours=1)
        )
    job.tell(f"{counted(len(waiting), 'proof')} of legends sent and approved.")


def _still_to_print(order: PrintOrder, group: OrderGroup) -> int:
    keys = {line.pk for line in group.lines}
    return sum(
        each.counts.outstanding for each in order_progress(order) if each.line.pk in keys
    )


def _print_group(job: Job, order: PrintOrder, group: OrderGroup) -> None:
    """Load a roll of the group's sheeting where it is not on, and record the run."""
    roll = _roll_for(job, group)
    press = Press.objects.filter(organisation=job.shop).order_by("pk")[0]
    starts_at = _press_is_free_at(job, press)
    if loaded_at(press, starts_at).roll != roll:
        record_press_event(
            press=press,
            kind=ROLL_ON,
            happened_at=starts_at,
            roll=roll,
            by=job.operator,
            now=starts_at,
        )
        job.tell(f"Loaded on {press}: {roll}.")
    started_at = starts_at + SET_UP
    finished_at = started_at + timedelta(minutes=round(group.press_minutes, 1))
    run = record_print_run(
        order=order,
        press=press,
        started_at=started_at,
        finished_at=finished_at,
        roll_length_used_ft=_length_ft(group, roll),
        operator=job.operator,
        now=finished_at + timedelta(minutes=5),
    )
    loaded = loaded_at(press, started_at)
    inks = ", ".join(f"{channel} {lot}" for channel, lot in loaded.inks.items())
    job.tell(
        f"Run {run.run_number}: {run.printed_area_ft2:.1f} ft² on {roll}; by the press log "
        f"with {loaded.overlay or 'no overlay on record'} and inks {inks or 'not known'}."
    )
    _clear_press(job, order)


def _clear_press(job: Job, order: PrintOrder) -> None:
    """Take the roll of the order's last run off, where that was not written down yet."""
    run = PrintRun.objects.filter(layout__order=order).order_by("-finished_at").first()
    if run is None:
        return
    last = PressEvent.objects.filter(
        press=run.press, kind__in=(ROLL_ON, ROLL_OFF), corrections=None
    ).latest("happened_at", "pk")
    roll = run.layout.roll
    if last.kind == ROLL_ON and last.roll == roll and last.happened_at <= run.started_at:
        off_at = run.finished_at + timedelta(minutes=10)
        record_press_event(
            press=run.press,
            kind=ROLL_OFF,
            happened_at=off_at,
            roll=roll,
            remaining_ft=round(_left_ft(roll), 1),
            by=job.operator,
            now=off_at + timedelta(minutes=2),
        )


def _press_is_free_at(job: Job, press: Press) -> datetime:
    """Return the start of the job's day at the press, or an hour after what was last there."""
    starts_at = moment(job.data["press_day"], PRESS_H)
    last_run = PrintRun.objects.filter(press=press).order_by("-finished_at").first()
    last_event = press.events.order_by("-happened_at").first()
    for last in (last_run and last_run.finished_at, last_event and last_event.happened_at):
        if last is not None and last >= starts_at:
            starts_at = last + timedelta(hours=1)
    return starts_at


def _roll_for(job: Job, group: OrderGroup) -> SheetingRoll:
    """Return the newest roll of the group's sheeting that is long enough."""
    rolls = SheetingRoll.objects.filter(
        organisation=job.shop,
        sheeting_type=group.sheeting_type,
        optics=group.optics,
        color=group.base_color,
    ).order_by("-received_on", "-pk")
    for roll in rolls:
        if _left_ft(roll) > _length_ft(group, roll):
            found: SheetingRoll = roll
            return found
    msg = (
        f"{job.shop} has no roll of {group.base_color} Type {group.sheeting_type} with "
        f"{group.area_ft2:.0f} ft² left; receive one first."
    )
    raise StateConflictError(msg)


def _length_ft(group: OrderGroup, roll: SheetingRoll) -> float:
    width_ft = roll.width_in / INCHES_PER_FOOT
    return round(group.area_ft2 / width_ft / (1.0 - LOST_SHARE), 1)


def _left_ft(roll: SheetingRoll) -> float:
    used = PrintRun.objects.filter(layout__roll=roll).values_list(
        "roll_length_used_ft", flat=True
    )
    return float(max(0.0, roll.length_ft - sum(each or 0.0 for each in used)))
