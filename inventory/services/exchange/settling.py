"""What an engineer decides about operations that are held or were refused."""

from __future__ import annotations

import json
import uuid
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import DeviceOperation, OperationNeed
from inventory.services.exchange.applying import Applying, Trial, trial_of
from inventory.services.exchange.content import Sent, read_content, sha256_of
from inventory.services.exchange.holding import WaitsError
from inventory.services.exchange.known import OPEN, Known
from inventory.services.exchange.receive import lock_organisation
from inventory.services.exchange.storing import store
from inventory.services.logbook import log

if TYPE_CHECKING:
    from datetime import datetime

    from django.db.models import QuerySet

    from inventory.models import Organisation, User

State = DeviceOperation.State
APPLY, DISCARD = "apply", "discard"
LONGEST_REASON = DeviceOperation._meta.get_field("settled_reason").max_length or 0


def open_operations(organisation: Organisation) -> QuerySet[DeviceOperation]:
    """Return what waits for a person: held or refused, and neither settled nor sent again."""
    rows: QuerySet[DeviceOperation] = DeviceOperation.objects.owned_by(organisation).filter(
        state__in=OPEN, settled_at=None
    )
    return rows


def to_decide(organisation: Organisation) -> QuerySet[DeviceOperation]:
    """
    Return what waits for a person; what only waits for another operation is left out.

    One that waits for what was discarded would wait for ever: that is for a person, too.
    """
    return open_operations(organisation).filter(~Q(code=WaitsError.code) | _is_stuck())


def waiting_for_another(organisation: Organisation) -> QuerySet[DeviceOperation]:
    """Return what is tried again by itself once the operation it waits for is applied."""
    return open_operations(organisation).filter(~_is_stuck(), code=WaitsError.code)


def _is_stuck() -> Exists:
    """Return the condition that one of the operations needed was discarded."""
    discarded = DeviceOperation.objects.filter(
        client_uuid=OuterRef("needed_uuid"), state=State.DISCARDED
    )
    needs = OperationNeed.objects.filter(Exists(discarded), operation=OuterRef("pk"))
    return Exists(needs)


@transaction.atomic
def settle_operation(
    *,
    operation: DeviceOperation,
    decision: str,
    reason: str,
    by: User | None,
    content: dict[str, Any] | None = None,
    now: datetime | None = None,
) -> DeviceOperation:
    """
    Apply an operation that is open, as it is or put right, or discard it; say why.

    ``content`` is its payload put right: that makes an operation of its own, which replaces
    the one that came from the phone, and both are kept. What still cannot be applied is
    refused here, and all stays as it was. Operations that waited for it are tried at once.
    """
    now = now or timezone.now()
    reason = reason.strip()
    if decision not in (APPLY, DISCARD):
        msg = f"'{decision}' is no decision; it is '{APPLY}' or '{DISCARD}'."
        raise OutOfRangeError(msg)
    if not 0 < len(reason) <= LONGEST_REASON:
        msg = (
            f"Say in a few words why (at most {LONGEST_REASON} characters; there are "
            f"{len(reason)})."
        )
        raise OutOfRangeError(msg)
    lock_organisation(operation.organisation)
    locked = _open(operation)
    if decision == DISCARD:
        settled = _discard(locked, by, reason, now)
    else:
        trial = (
            trial_of(locked, is_decided=True)
            if content is None
            else _put_right(locked, content, now)
        )
        settled = _apply(trial, by, reason, now)
    what = settled.kind.replace("_", " ")
    log(
        organisation=locked.organisation,
        actor=by,
        verb="settle operation",
        text=f"What {locked.device} sent ({what}) {_DONE[State(settled.state)]}: {reason}",
        at=now,
        detail={"operation": str(locked.client_uuid), "settled_as": str(settled.client_uuid)},
    )
    return settled


_DONE = {State.APPLIED: "applied", State.DISCARDED: "discarded"}


def _open(operation: DeviceOperation) -> DeviceOperation:
    """Return the operation as it is now, if nobody settled it meanwhile."""
    found: DeviceOperation = DeviceOperation.objects.select_related(
        "organisation", "device", "batch", "person"
    ).get(pk=operation.pk)
    if found.state not in OPEN or found.settled_at is not None:
        said = found.settled_reason or "it was applied when what it waited for was."
        msg = f"This operation is not open any more: {said}"
        raise StateConflictError(msg)
    return found


def _discard(
    operation: DeviceOperation, by: User | None, reason: str, now: datetime
) -> DeviceOperation:
    operation.state = State.DISCARDED
    operation.settled_at, operation.settled_by, operation.settled_reason = now, by, reason
    operation.save(update_fields=["state", "settled_at", "settled_by", "settled_reason"])
    return operation


def _put_right(operation: DeviceOperation, payload: dict[str, Any], now: datetime) -> Trial:
    """Return an operation with another payload, which replaces the one that was sent."""
    fields = json.loads(operation.content)
    key = uuid.uuid4()
    fields |= {
        "client_uuid": str(key),
        "replaces": str(operation.client_uuid),
        # What it still refers to is needed all the same; the rest was the phone's order.
        "needs": [],
        "payload": payload,
    }
    text = json.dumps(fields, ensure_ascii=False)
    content = read_content(Sent(str(key), sha256_of(text), text))
    changed = DeviceOperation(
        organisation=operation.organisation,
        device=operation.device,
        batch=operation.batch,
        client_uuid=key,
        sequence=operation.sequence,
        kind=operation.kind,
        content=text,
        content_sha256=sha256_of(text),
        device_at=operation.device_at,
        device_offset_minutes=operation.device_offset_minutes,
        corrected_at=operation.corrected_at,
        is_clock_flagged=operation.is_clock_flagged,
        person=operation.person,
        app_version=operation.app_version,
        base_version=operation.base_version,
        identified_by=operation.identified_by,
        fix_latitude_deg=operation.fix_latitude_deg,
        fix_longitude_deg=operation.fix_longitude_deg,
        fix_accuracy_m=operation.fix_accuracy_m,
        candidate_count=operation.candidate_count,
        replaces_uuid=operation.client_uuid,
        received_at=now,
    )
    return Trial(changed, content, is_decided=True)


def _apply(trial: Trial, by: User | None, reason: str, now: datetime) -> DeviceOperation:
    operation = trial.operation
    operation.settled_by = by
    known = Known(operation.organisation)
    known.add(operation)
    applying = Applying(operation.organisation, known, now)
    applying.add([trial])
    applying.run()
    if trial.error is not None:
        raise trial.error
    operation.settled_at, operation.settled_by, operation.settled_reason = now, by, reason
    store(applying, [trial] if operation._state.adding else [])
    return operation
