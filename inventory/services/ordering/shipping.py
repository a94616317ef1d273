"""Faces leave the shop with a packing list, and the agency says what arrived."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import FaceReceipt, Shipment, ShipmentFace, Sign
from inventory.services.installation import remove_sign
from inventory.services.ordering.life import log_for_both
from inventory.services.ordering.lines import lock_order
from inventory.services.ordering.progress import settle_state

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping
    from datetime import datetime

    from django.db.models import QuerySet

    from inventory.models import PrintOrder, User

MOST_FACES = 1_000
BATCH = 500
LOST_AS = {
    FaceReceipt.Outcome.BROKEN: Sign.RemovalReason.DAMAGED,
    FaceReceipt.Outcome.MISSING: Sign.RemovalReason.STOLEN,
}


@dataclass(frozen=True)
class Found:
    """What was found of a face that arrived; anything but whole says more in words."""

    outcome: str
    note: str = ""


def faces_to_ship(order: PrintOrder) -> QuerySet[Sign]:
    """Return the faces of an order that are in the shop's stock and on no packing list."""
    rows = Sign.objects.filter(
        layout_face__line__order=order,
        state=Sign.State.IN_STOCK,
        owner__isnull=True,
        shipment_face__isnull=True,
    )
    return rows.select_related("layout_face__line").order_by(
        "layout_face__line__number", "print_run_id", "print_number", "pk"
    )


@transaction.atomic
def ship_faces(
    *,
    order: PrintOrder,
    signs: Collection[int],
    note: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> Shipment:
    """
    Put faces on a packing list: they leave the shop; the rest of the order may follow.

    Of two people who ship the same face, one does.
    """
    now = now or timezone.now()
    wanted = set(signs)
    _lock_signs(wanted)
    order = lock_order(order)
    if not wanted or len(wanted) > MOST_FACES:
        msg = f"{len(wanted)} faces cannot be shipped at once; pick 1 to {MOST_FACES:,}."
        raise OutOfRangeError(msg)
    ready = {sign.pk: sign for sign in faces_to_ship(order).filter(pk__in=wanted)}
    missing = wanted - ready.keys()
    if missing:
        sign = Sign.objects.filter(pk=min(missing)).first()
        named = f"Face {sign.label_id}" if sign is not None else f"Face {min(missing)}"
        msg = (
            f"{named} is not in the shop's stock for order {order.number}, or is on a packing "
            "list already; look at the list again."
        )
        raise StateConflictError(msg)
    last = order.shipments.aggregate(last=Max("number"))["last"] or 0
    shipment: Shipment = Shipment.objects.create(
        order=order, number=last + 1, shipped_at=now, shipped_by=by, note=note.strip()[:255]
    )
    ShipmentFace.objects.bulk_create(
        [ShipmentFace(shipment=shipment, sign=sign) for sign in ready.values()],
        batch_size=BATCH,
    )
    log_for_both(
        order,
        by,
        "ship faces",
        f"{len(ready)} faces shipped, packing list {order.number}/{shipment.number}.",
        now,
    )
    return shipment


@transaction.atomic
def receive_faces(
    *,
    shipment: Shipment,
    found: Mapping[int, Found],
    by: User | None = None,
    now: datetime | None = None,
) -> int:
    """
    Record what arrived of a shipment, by the faces' keys; return how many were whole.

    A whole face is the agency's from now on. A broken or missing one is lost: it stays on
    record, and its line is to be printed again. A face that went up meanwhile has arrived.
    """
    now = now or timezone.now()
    _lock_signs(found)
    order = lock_order(shipment.order)
    if not found:
        msg = "No face is picked; say of at least one what was found."
        raise OutOfRangeError(msg)
    rows = ShipmentFace.objects.filter(shipment=shipment, sign__in=found.keys())
    faces = {
        each.sign_id: each
        for each in rows.select_related("sign__maker", "sign__owner", "receipt").order_by("pk")
    }
    unknown = set(found) - faces.keys()
    if unknown:
        msg = f"A face ({min(unknown)}) is not on this packing list; look at it again."
        raise OutOfRangeError(msg)
    whole = []
    for key, face in faces.items():
        told = found[key]
        _check_found(face, told)
        FaceReceipt.objects.create(
            face=face,
            outcome=told.outcome,
            note=told.note.strip(),
            received_at=now,
            received_by=by,
        )
        if told.outcome == FaceReceipt.Outcome.WHOLE:
            whole.append(face.sign)
        else:
            remove_sign(
                sign=face.sign,
                removed_on=order.shop.day_of(now),
                reason=LOST_AS[FaceReceipt.Outcome(told.outcome)],
                note=f"On the way to {order.agency}: {told.note.strip()}"[:200],
                by=by,
                now=now,
            )
    ours = [sign.pk for sign in whole if sign.owner_id is None]
    Sign.objects.filter(pk__in=ours).update(owner=order.agency)
    settle_state(order)
    lost = len(faces) - len(whole)
    log_for_both(
        order,
        by,
        "receive faces",
        f"packing list {order.number}/{shipment.number}: {len(whole)} faces received whole"
        + (f", {lost} broken or missing, to be printed again." if lost else "."),
        now,
    )
    return len(whole)


def _lock_signs(keys: Iterable[int]) -> None:
    """Lock faces before their order, as putting one up does, and always in one order."""
    rows = Sign.objects.select_for_update().filter(pk__in=set(keys)).order_by("pk")
    list(rows.values_list("pk", flat=True))


def _check_found(face: ShipmentFace, told: Found) -> None:
    sign = face.sign
    if told.outcome not in FaceReceipt.Outcome.values:
        msg = f"'{told.outcome}' is not what a face can be found as."
        raise OutOfRangeError(msg)
    if getattr(face, "receipt", None) is not None:
        msg = (
            f"Face {sign.label_id} was received already ({face.receipt.get_outcome_display()})."
        )
        raise StateConflictError(msg)
    if told.outcome == FaceReceipt.Outcome.WHOLE:
        if sign.state == Sign.State.REMOVED:
            msg = f"Face {sign.label_id} is out of stock already; say what was broken about it."
            raise StateConflictError(msg)
        return
    if not told.note.strip():
        msg = f"Say what is wrong with face {sign.label_id}: the shop prints it again."
        raise OutOfRangeError(msg)
    if sign.state != Sign.State.IN_STOCK:
        msg = f"Face {sign.label_id} is {sign.get_state_display()}; it did arrive."
        raise StateConflictError(msg)
