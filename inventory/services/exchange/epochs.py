"""
Stretches of this database's life.

A phone keeps what was acknowledged for 30 days. When a backup was restored, what came after
it is gone here and still on the phones: a new epoch tells them to offer all of it again.
"""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import transaction

from inventory.errors import OutOfRangeError
from inventory.models import DeviceOperation, ExchangeEpoch, Organisation

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import Device
    from inventory.services.exchange.content import Batch

FIRST = "The first."
LONGEST_REASON = ExchangeEpoch._meta.get_field("reason").max_length or 0


@transaction.atomic
def current_epoch(*, now: datetime) -> uuid.UUID:
    """Return the epoch of now; the first one begins when it is first asked for."""
    found = _newest()
    if found is None:
        _one_at_a_time()
        found = _newest() or _begin(FIRST, now)
    return found.epoch


@transaction.atomic
def begin_epoch(*, reason: str, now: datetime) -> ExchangeEpoch:
    """Begin a new epoch by hand: every phone offers again what it still holds."""
    reason = reason.strip()
    if not 0 < len(reason) <= LONGEST_REASON:
        msg = (
            f"Say in a few words why (at most {LONGEST_REASON} characters; there are "
            f"{len(reason)})."
        )
        raise OutOfRangeError(msg)
    _one_at_a_time()
    return _begin(reason, now)


@transaction.atomic
def epoch_shown(*, device: Device, batch: Batch, now: datetime) -> uuid.UUID:
    """
    Return the epoch, a new one where a phone shows that this database went back in time.

    It shows so when it was told of no restore, yet what it was last told to be stored is not
    here. Many phones may show it at one moment; the first begins the new epoch for all.
    """
    current = current_epoch(now=now)
    shown = batch.last_acknowledged
    if shown is None or batch.epoch != current:
        return current
    is_here = DeviceOperation.objects.owned_by(device.organisation).filter(
        client_uuid=shown.client_uuid, content_sha256=shown.sha256
    )
    if is_here.exists():
        return current
    _one_at_a_time()
    newest = _newest()
    if newest is not None and newest.epoch != current:
        return newest.epoch
    reason = (
        f"Phone {device.device_uuid} was told that operation {shown.client_uuid} is stored; "
        "it is not here: a backup was restored."
    )
    return _begin(reason, now).epoch


def _newest() -> ExchangeEpoch | None:
    return ExchangeEpoch.objects.order_by("-pk").first()


def _begin(reason: str, now: datetime) -> ExchangeEpoch:
    return ExchangeEpoch.objects.create(began_at=now, reason=reason)


def _one_at_a_time() -> None:
    """Wait for whoever else is about to begin an epoch; the first organisation is the latch."""
    list(Organisation.objects.select_for_update(no_key=True).order_by("pk")[:1])
