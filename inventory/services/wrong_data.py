"""Data on record that a person at the sign says is wrong: flagged there, settled at a desk."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import SignMerge, WrongDataFlag, WrongDataSettlement
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.standing import lock_signs

if TYPE_CHECKING:
    from datetime import datetime

    from django.db.models import QuerySet

    from inventory.models import Organisation, Sign, User

Field = WrongDataFlag.Field
SAID_BY_A_PERSON = tuple(each for each in Field if each is not Field.ADDED)
LONGEST_SAID = WrongDataFlag._meta.get_field("said").max_length or 0
LONGEST_REASON = WrongDataSettlement._meta.get_field("reason").max_length or 0


@transaction.atomic
def flag_wrong_data(
    *,
    sign: Sign,
    field: str,
    said: str,
    by: User | None = None,
    seen_at: datetime | None = None,
    client_uuid: uuid.UUID | None = None,
    now: datetime | None = None,
) -> WrongDataFlag:
    """
    Keep what a person says is wrong on record about a sign; sent twice, it is kept once.

    The record itself is not changed: an engineer looks, puts it right, and settles the flag.
    """
    now = now or timezone.now()
    said, owner = said.strip(), sign.owner
    if owner is None:
        msg = f"Sign {sign.pk} is shop stock; only an agency's record of a sign is flagged."
        raise StateConflictError(msg)
    if field not in [each.value for each in SAID_BY_A_PERSON]:
        allowed = ", ".join(each.value for each in SAID_BY_A_PERSON)
        msg = f"'{field}' is nothing on record that can be wrong; use one of {allowed}."
        raise OutOfRangeError(msg)
    if not 0 < len(said) <= LONGEST_SAID:
        msg = (
            "Say what is wrong and what it is instead, in a few words (at most "
            f"{LONGEST_SAID} characters; there are {len(said)})."
        )
        raise OutOfRangeError(msg)
    # Whoever flags the same sign waits here, so that a key sent twice at once is kept once.
    lock_signs([sign.pk])
    key = client_uuid or uuid.uuid4()
    known: WrongDataFlag | None = WrongDataFlag.objects.filter(client_uuid=key).first()
    if known is not None:
        if (known.sign_id, known.field, known.said) != (sign.pk, field, said):
            msg = (
                f"Something else was already flagged under the key {key} (sign "
                f"{known.sign_id}: {known.said}); it stays as it is. Send this one under a key "
                "of its own."
            )
            raise StateConflictError(msg)
        return known
    return raise_flag(
        sign=sign,
        field=field,
        said=said,
        by=by,
        seen_at=seen_at or now,
        client_uuid=key,
        now=now,
    )


def raise_flag(
    *,
    sign: Sign,
    field: str,
    said: str,
    by: User | None,
    seen_at: datetime,
    client_uuid: uuid.UUID,
    now: datetime,
) -> WrongDataFlag:
    """Store a flag that was checked, and note it; within the caller's transaction."""
    flag = WrongDataFlag(
        organisation=sign.owner,
        client_uuid=client_uuid,
        sign=sign,
        field=field,
        said=said,
        seen_at=seen_at,
        recorded_at=now,
        raised_by=by,
    )
    check_fields(flag, exclude=["organisation", "sign", "raised_by"])
    flag.save()
    log(
        organisation=flag.organisation,
        actor=by,
        verb="flag wrong data",
        text=f"Said to be wrong, {flag.get_field_display()}: {said}",
        at=now,
        sign=sign,
        detail={"flag": flag.pk},
    )
    return flag


@transaction.atomic
def settle_wrong_data(
    *, flag: WrongDataFlag, reason: str, by: User | None = None, now: datetime | None = None
) -> WrongDataSettlement:
    """Record what a person did about data said to be wrong; the flag itself stays on record."""
    now = now or timezone.now()
    reason = reason.strip()
    if not 0 < len(reason) <= LONGEST_REASON:
        msg = (
            f"Say in a few words what was done about it (at most {LONGEST_REASON} characters; "
            f"there are {len(reason)})."
        )
        raise OutOfRangeError(msg)
    locked: WrongDataFlag = (
        WrongDataFlag.objects.select_for_update(of=("self",))
        .select_related("organisation", "sign")
        .get(pk=flag.pk)
    )
    # Asked only now: a settlement joined to the locked row could be from before the lock.
    known = WrongDataSettlement.objects.filter(flag=locked).first()
    if known is not None:
        when = locked.organisation.clock_words(known.settled_at)
        msg = f"This was settled at {when}: {known.reason}"
        raise StateConflictError(msg)
    settlement: WrongDataSettlement = WrongDataSettlement.objects.create(
        flag=locked, reason=reason, settled_at=now, settled_by=by
    )
    log(
        organisation=locked.organisation,
        actor=by,
        verb="settle wrong data",
        text=f"Settled, {locked.get_field_display()} ({locked.said}): {reason}",
        at=now,
        sign=locked.sign,
        detail={"flag": locked.pk},
    )
    return settlement


def open_wrong_data(organisation: Organisation) -> QuerySet[WrongDataFlag]:
    """Return what crews say is wrong and nobody settled, newest first; added signs apart."""
    return _open(organisation).exclude(field=Field.ADDED)


def open_added(organisation: Organisation) -> QuerySet[WrongDataFlag]:
    """
    Return the flags of signs that crews added and nobody looked at, newest first.

    One that is merged away needs no look while the merge stands.
    """
    merged = SignMerge.objects.filter(duplicate=OuterRef("sign"), undo__isnull=True)
    return _open(organisation).filter(~Exists(merged), field=Field.ADDED)


def _open(organisation: Organisation) -> QuerySet[WrongDataFlag]:
    rows: QuerySet[WrongDataFlag] = WrongDataFlag.objects.owned_by(organisation).filter(
        settlement__isnull=True
    )
    return rows.order_by("-recorded_at", "-pk")
