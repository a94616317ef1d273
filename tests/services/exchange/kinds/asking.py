"""One operation handed to its kind, as receiving does it, without a batch around it."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from inventory.models import Device
from inventory.services.exchange.content import Content
from inventory.services.exchange.context import Context
from inventory.services.exchange.kinds import KINDS
from inventory.services.exchange.known import Known
from tests.factories import NOW

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import Organisation, User

AN_HOUR_AGO = NOW - timedelta(hours=1)


def apply(
    agency: Organisation,
    kind: str,
    payload: dict[str, Any],
    *,
    person: User | None = None,
    base_version: str = "",
    at: datetime = AN_HOUR_AGO,
    device_at: datetime | None = None,
    device_offset_minutes: int = 0,
    is_decided: bool = False,
) -> dict[str, Any]:
    """Apply an operation of an hour ago; return what its answer tells the phone."""
    content = Content(
        client_uuid=uuid.uuid4(),
        sequence=1,
        kind=kind,
        device_at=device_at or at,
        device_offset_minutes=device_offset_minutes,
        user_id=None if person is None else person.pk,
        app_version="",
        base_version=base_version,
        needs=(),
        replaces=None,
        identified=None,
        photos=(),
        payload=payload,
    )
    device, _created = Device.objects.get_or_create(
        organisation=agency,
        name="test phone",
        defaults={
            "device_uuid": uuid.uuid4(),
            "key_sha256": "0" * 64,
            "registered_at": NOW,
            "last_heard_at": NOW,
        },
    )
    context = Context(
        organisation=agency,
        device=device,
        person=person,
        at=at,
        now=NOW,
        known=Known(agency),
        is_decided=is_decided,
    )
    return KINDS[kind](content, context)
