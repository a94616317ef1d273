"""An order's life after its draft: released, amended, cancelled."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import InventoryError, OutOfRangeError, StateConflictError
from inventory.models import Disposition, LayoutFace, OrderAmendment, OrderLine, PrintOrder
from inventory.services.logbook import log
from inventory.services.ordering.lines import (
    DERIVED_FIELDS,
    Rulebook,
    check_line,
    lock_order,
    missing_wording,
)
from inventory.services.ordering.progress import LOST

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.models import User

UNDER_WAY = (PrintOrder.State.RELEASED, PrintOrder.State.PRINTED)


@transaction.atomic
def release_order(
    *, order: PrintOrder, by: User | None = None, now: datetime | None = None
) -> PrintOrder:
    """Freeze a draft and hand it to the shop; of two people releasing it, one succeeds."""
    now = now or timezone.now()
    order = lock_order(order)
    if order.state != PrintOrder.State.DRAFT:
        raise StateConflictError(_not_a_draft_message(order))
    lines = list(order.lines.select_related("position"))
    if not lines:
        msg = f"Order {order.number} has no lines; add at least one face before releasing it."
        raise StateConflictError(msg)
    rules = Rulebook.of(order.agency, now)
    for line in lines:
        try:
            check_line(line, rules)
        except InventoryError as error:
            msg = f"Line {line.number} ({line}): {error}"
            raise type(error)(msg) from error
        lacking = missing_wording(line)
        if lacking:
            raise StateConflictError(lacking)
    OrderLine.objects.bulk_update(lines, DERIVED_FIELDS)
    order.state = PrintOrder.State.RELEASED
    order.released_at = now
    order.released_by = by
    order.save(update_fields=["state", "released_at", "released_by"])
    _decide_to_replace(order, lines, by, now)
    faces = sum(line.quantity for line in lines)
    log_for_both(order, by, "release order", f"released with {faces} faces.", now)
    return order


def _decide_to_replace(
    order: PrintOrder, lines: Sequence[OrderLine], by: User | None, now: datetime
) -> None:
    """Record the decision that ordering is: the signs of its lines are to be replaced."""
    signs = [line.replaces_id for line in lines if line.replaces_id is not None]
    decided = Disposition.objects.filter(sign__in=signs).order_by("decided_at", "pk")
    newest = dict(decided.values_list("sign_id", "decision"))
    Disposition.objects.bulk_create(
        Disposition(
            organisation=order.agency,
            sign_id=sign,
            decision=Disposition.Decision.REPLACE,
            reason=f"On order {order.number}.",
            decided_at=now,
            decided_by=by,
        )
        for sign in signs
        if newest.get(sign) != Disposition.Decision.REPLACE
    )


@transaction.atomic
def amend_order(
    *, order: PrintOrder, text: str, by: User | None = None, now: datetime | None = None
) -> OrderAmendment:
    """Add words to a released order that both parties see; lines: ``line_changes``."""
    now = now or timezone.now()
    order = lock_order(order)
    if order.state not in UNDER_WAY:
        advice = (
            "change its lines instead"
            if order.state == PrintOrder.State.DRAFT
            else "draft another order"
        )
        msg = (
            f"Order {order.number} is {order.get_state_display()} and takes no amendment; "
            f"{advice}."
        )
        raise StateConflictError(msg)
    if not text.strip():
        msg = "The amendment is empty; write what is to change."
        raise OutOfRangeError(msg)
    amendment: OrderAmendment = OrderAmendment.objects.create(
        order=order, text=text.strip(), amended_at=now, amended_by=by
    )
    log_for_both(order, by, "amend order", f"amended: {amendment.text}", now)
    return amendment


@transaction.atomic
def cancel_order(
    *, order: PrintOrder, reason: str, by: User | None = None, now: datetime | None = None
) -> PrintOrder:
    """Cancel an order of which nothing was printed that is not lost; it stays on record."""
    now = now or timezone.now()
    order = lock_order(order)
    if order.state in (PrintOrder.State.CANCELLED, PrintOrder.State.CLOSED):
        msg = (
            f"Order {order.number} is {order.get_state_display()}; there is nothing to cancel."
        )
        raise StateConflictError(msg)
    printed = LayoutFace.objects.filter(layout__order=order).exclude(LOST).count()
    if printed:
        msg = (
            f"Order {order.number} has {printed} printed faces and cannot be cancelled; amend "
            "it to say what is no longer wanted."
        )
        raise StateConflictError(msg)
    if not reason.strip():
        msg = f"Say why order {order.number} is cancelled."
        raise OutOfRangeError(msg)
    order.state = PrintOrder.State.CANCELLED
    order.save(update_fields=["state"])
    log_for_both(order, by, "cancel order", f"cancelled: {reason.strip()}", now)
    return order


def log_for_both(
    order: PrintOrder, by: User | None, verb: str, what: str, now: datetime
) -> None:
    """Write a step into the agency's logbook, and the shop's once it knows of the order."""
    parties = [order.agency]
    if order.released_at is not None:
        parties.append(order.shop)
    for party in parties:
        log(
            organisation=party,
            actor=by,
            verb=verb,
            text=f"Order {order.number} {what}",
            at=now,
            order=order,
        )


def _not_a_draft_message(order: PrintOrder) -> str:
    if order.state == PrintOrder.State.CANCELLED or order.released_at is None:
        return f"Order {order.number} is {order.get_state_display()} and cannot be released."
    who = f" by {order.released_by}" if order.released_by else ""
    return (
        f"Order {order.number} was already released on "
        f"{order.agency.clock_words(order.released_at)}{who}; it is not released twice. What "
        "changes now is an amendment."
    )
