"""Changes of a released order's lines: fewer faces, none, or more; both parties see them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LineChange, OrderAmendment, OrderLine
from inventory.services.ordering.drafting import lock_agency
from inventory.services.ordering.layouts.making import faces_in_frozen
from inventory.services.ordering.life import UNDER_WAY, log_for_both
from inventory.services.ordering.lines import MAXIMUM_QUANTITY, lock_order
from inventory.services.ordering.on_order import why_not_again
from inventory.services.ordering.progress import order_progress, settle_state

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import User

MOST_REASON = 255


@transaction.atomic
def change_line(
    *,
    line: OrderLine,
    quantity: int,
    reason: str,
    by: User | None = None,
    now: datetime | None = None,
) -> OrderAmendment:
    """
    Change how many faces of a line a released order asks for; 0 cancels the line.

    What is printed and whole, what lies in a frozen layout and what was credited stays asked
    for; a place that something else is ordered or kept for meanwhile is not ordered again. The
    order's state follows: with nothing more to print it is printed, with more it is released
    again.
    """
    now = now or timezone.now()
    lock_agency(line.order.agency)
    order = lock_order(line.order)
    if order.state not in UNDER_WAY:
        msg = (
            f"Order {order.number} is {order.get_state_display()}; its lines are changed "
            "so between its release and its last face."
        )
        raise StateConflictError(msg)
    said = reason.strip()
    if not 0 < len(said) <= MOST_REASON:
        msg = f"Say why, in up to {MOST_REASON} letters; it has {len(said)}."
        raise OutOfRangeError(msg)
    progress = {each.line.pk: each for each in order_progress(order)}
    mine = progress[line.pk]
    before = mine.line.quantity
    most = MAXIMUM_QUANTITY if mine.line.position_id is None else 1
    if not 0 <= quantity <= most or quantity == before:
        msg = (
            f"{quantity} faces instead of {before}: line {line.number} takes another number "
            f"from 0 (cancelled) to {most}."
        )
        raise OutOfRangeError(msg)
    frozen = faces_in_frozen(order)[line.pk]
    kept = mine.counts.printed - mine.counts.lost + frozen
    if quantity < kept:
        msg = (
            f"{kept} faces of line {line.number} are printed or in a frozen layout, so "
            f"{quantity} are too few; the shop may take a freeze back, or fail a face."
        )
        raise StateConflictError(msg)
    credited = line.warranty_credits.aggregate(all=Sum("face_count"))["all"] or 0
    if quantity < credited:
        msg = (
            f"{credited} faces of line {line.number} are credited under warranty, so "
            f"{quantity} are too few."
        )
        raise StateConflictError(msg)
    place = mine.line.position_id
    if place is not None and quantity and place in (why := why_not_again([place])):
        msg = f"Line {line.number} cannot be asked for again. {why[place]}"
        raise StateConflictError(msg)
    others = sum(each.line.quantity for each in progress.values()) - before
    if quantity + others == 0:
        msg = f"Nothing would be left on order {order.number}; cancel the order instead."
        raise StateConflictError(msg)
    what = f"Line {line.number} ({line.sign_code}{line.variant}): "
    what += "cancelled" if quantity == 0 else f"{quantity} faces instead of {before}"
    amendment: OrderAmendment = OrderAmendment.objects.create(
        order=order, text=f"{what}; {said}", amended_at=now, amended_by=by
    )
    LineChange.objects.create(
        amendment=amendment,
        line=mine.line,
        quantity_before=before,
        quantity_after=quantity,
    )
    OrderLine.objects.filter(pk=line.pk).update(quantity=quantity)
    settle_state(order)
    log_for_both(order, by, "amend order", f"amended: {amendment.text}", now)
    return amendment
