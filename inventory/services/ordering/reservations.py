"""Faces in stock kept for a position, until they go up or are set free."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import StateConflictError
from inventory.models import Sign, StockReservation
from inventory.services.logbook import log

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from inventory.models import Organisation, Position, User

LONGEST_REASON = StockReservation._meta.get_field("reason").max_length or 0


def reservations_of(positions: Iterable[int]) -> dict[int, StockReservation]:
    """Return the face kept for each of some positions, by the position's key, in one query."""
    rows = StockReservation.objects.filter(position__in=list(positions), ended_at=None)
    return {each.position_id: each for each in rows.select_related("sign")}


def reserve_faces(
    faces: Mapping[int, int],
    *,
    agency: Organisation,
    reason: str,
    by: User | None,
    now: datetime,
) -> None:
    """
    Keep faces for positions (position to sign, by key); the caller has locked the positions.

    A face that went up or was kept for another position meanwhile refuses the whole step.
    """
    locked = list(
        Sign.objects.select_for_update(of=("self",))
        .filter(pk__in=list(faces.values()))
        .order_by("pk")
    )
    gone = [each for each in locked if each.state != Sign.State.IN_STOCK]
    taken = StockReservation.objects.filter(sign__in=locked, ended_at=None).exclude(
        position__in=list(faces)
    )
    if gone or taken.exists() or len(locked) != len(set(faces.values())):
        msg = (
            "A face in stock that was to be used has been put up or kept for another place "
            "meanwhile. Look at the draft again."
        )
        raise StateConflictError(msg)
    known = set(
        StockReservation.objects.filter(sign__in=locked, ended_at=None).values_list(
            "sign", flat=True
        )
    )
    StockReservation.objects.bulk_create(
        StockReservation(
            position_id=position,
            sign_id=sign,
            reason=reason[:LONGEST_REASON],
            reserved_at=now,
            reserved_by=by,
        )
        for position, sign in faces.items()
        if sign not in known
    )


@transaction.atomic
def free_face(
    *,
    reservation: StockReservation,
    reason: str,
    by: User | None = None,
    now: datetime | None = None,
) -> None:
    """Set a face free that was kept for a position; twice is once."""
    now = now or timezone.now()
    row: StockReservation = (
        StockReservation.objects.select_for_update(of=("self",))
        .select_related("position__organisation", "sign")
        .get(pk=reservation.pk)
    )
    if row.ended_at is not None:
        return
    if not reason.strip():
        msg = "Say why the face is set free."
        raise StateConflictError(msg)
    row.ended_at, row.end_reason = now, reason.strip()[:LONGEST_REASON]
    row.save(update_fields=["ended_at", "end_reason"])
    log(
        organisation=row.position.organisation,
        actor=by,
        verb="set face free",
        text=f"{row.sign} is no longer kept for {row.position}: {row.end_reason}.",
        at=now,
        sign=row.sign,
    )


def free_place(*, position: Position, words: str, now: datetime) -> None:
    """Set free what is kept for a position that is given up."""
    StockReservation.objects.filter(position=position, ended_at=None).update(
        ended_at=now, end_reason=words[:LONGEST_REASON]
    )


def end_reservations(
    *, sign: Sign, words: str, now: datetime, position_id: int | None = None
) -> None:
    """End what a face is kept for, and what is kept for the position it went up in."""
    rows = StockReservation.objects.filter(ended_at=None)
    rows.filter(sign=sign).update(ended_at=now, end_reason=words[:LONGEST_REASON])
    if position_id is not None:
        rows.filter(position=position_id).update(
            ended_at=now, end_reason=f"{sign} went up there instead"[:LONGEST_REASON]
        )
