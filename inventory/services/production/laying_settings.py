"""What layouts go by and the shop states itself: turns of a sheeting, losses of a press."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import OutOfRangeError
from inventory.models import SheetingTurns
from inventory.services.logbook import log
from inventory.services.production.press_log import lock_press

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import Organisation, Press, User

MOST_LOST_IN = 240.0


@transaction.atomic
def set_turns(
    *,
    shop: Organisation,
    sheeting_type: str,
    optics: str,
    may_turn_45: bool,
    may_turn_90: bool,
    may_turn_180: bool,
    basis: str,
    by: User | None = None,
    now: datetime | None = None,
) -> SheetingTurns:
    """State in which turns a sheeting may be laid; layouts made before keep theirs."""
    now = now or timezone.now()
    if not basis.strip():
        msg = "Write on what grounds the sheeting may be turned, or why it may not."
        raise OutOfRangeError(msg)
    turns, _ = SheetingTurns.objects.update_or_create(
        organisation=shop,
        sheeting_type=sheeting_type,
        optics=optics,
        defaults={
            "may_turn_45": may_turn_45,
            "may_turn_90": may_turn_90,
            "may_turn_180": may_turn_180,
            "basis": basis.strip(),
            "set_at": now,
            "set_by": by,
        },
    )
    words = ", ".join(f"{angle}°" for angle in turns.angles_deg if angle) or "none"
    log(
        organisation=shop,
        actor=by,
        verb="set turns",
        text=f"Type {sheeting_type}, {optics}: turns allowed {words}; {turns.basis}",
        at=now,
    )
    return turns


@transaction.atomic
def set_press_measures(
    *,
    press: Press,
    printable_width_in: float,
    lead_in_in: float,
    tail_in: float,
    by: User | None = None,
    now: datetime | None = None,
) -> Press:
    """State what a press prints of its width, and loses at the ends of a roll."""
    press = lock_press(press)
    if not (math.isfinite(printable_width_in) and 0 < printable_width_in <= press.width_in):
        msg = (
            f"{press} cannot print {printable_width_in:g} in of its {press.width_in:g} in; "
            "type a width over 0 and no more than that."
        )
        raise OutOfRangeError(msg)
    for value, words in ((lead_in_in, "before the first face"), (tail_in, "behind the last")):
        if not (math.isfinite(value) and 0 <= value <= MOST_LOST_IN):
            msg = f"{value:g} in lost {words} is out of range; it is 0 to {MOST_LOST_IN:g} in."
            raise OutOfRangeError(msg)
    press.printable_width_in = printable_width_in
    press.lead_in_in, press.tail_in = lead_in_in, tail_in
    press.save(update_fields=["printable_width_in", "lead_in_in", "tail_in"])
    log(
        organisation=press.organisation,
        actor=by,
        verb="set press measures",
        text=f"{press} prints {printable_width_in:g} in of its width and loses "
        f"{lead_in_in:g} in before the first face and {tail_in:g} in behind the last.",
        at=now or timezone.now(),
    )
    return press
