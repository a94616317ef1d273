"""Entries that were refused: kept as they were sent until a person settles them."""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from typing import TYPE_CHECKING, Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import RefusedEntry
from inventory.services.logbook import log

if TYPE_CHECKING:
    import uuid
    from collections.abc import Mapping
    from datetime import datetime

    from inventory.models import Organisation, User

SENT_AGAIN = "Sent again under the same key, and stored."
LONGEST_REASON = RefusedEntry._meta.get_field("settled_reason").max_length or 0


@transaction.atomic
def keep_refused(
    *,
    organisation: Organisation,
    channel: str,
    kind: str,
    payload: Any,
    sentence: str,
    by: User | None = None,
    client_uuid: uuid.UUID | None = None,
    now: datetime | None = None,
) -> RefusedEntry:
    """Keep what was sent, as it was sent; the same thing refused again is kept once."""
    text = json.dumps(payload, cls=DjangoJSONEncoder, sort_keys=True)
    entry, _created = RefusedEntry.objects.get_or_create(
        organisation=organisation,
        channel=channel,
        kind=kind,
        fingerprint=hashlib.sha256(text.encode()).hexdigest(),
        settled_at=None,
        defaults={
            "client_uuid": client_uuid,
            "payload": _storable(text),
            "sentence": _shown(sentence),
            "received_at": now or timezone.now(),
            "sent_by": by,
        },
    )
    kept: RefusedEntry = entry
    return kept


@transaction.atomic
def settle_refused(
    *, entry: RefusedEntry, reason: str, by: User | None, now: datetime | None = None
) -> RefusedEntry:
    """Record what a person did about a refused entry; what was sent stays on record."""
    now = now or timezone.now()
    reason = reason.strip()
    if not 0 < len(reason) <= LONGEST_REASON:
        msg = (
            "Say in a few words what was done about it (at most "
            f"{LONGEST_REASON} characters; there are {len(reason)})."
        )
        raise OutOfRangeError(msg)
    locked: RefusedEntry = (
        RefusedEntry.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .get(pk=entry.pk)
    )
    if locked.settled_at is not None:
        when = locked.organisation.clock_words(locked.settled_at)
        msg = f"This entry was settled at {when}: {locked.settled_reason}"
        raise StateConflictError(msg)
    locked.settled_at, locked.settled_by, locked.settled_reason = now, by, reason
    locked.save(update_fields=["settled_at", "settled_by", "settled_reason"])
    log(
        organisation=locked.organisation,
        actor=by,
        verb="settle refused entry",
        text=f"Refused {locked.get_kind_display()} settled: {reason}",
        at=now,
        detail={"entry": locked.pk},
    )
    return locked


def settle_answered(
    *,
    organisation: Organisation,
    stored_by: Mapping[uuid.UUID, User | None],
    now: datetime,
) -> None:
    """
    Settle refused entries whose key was stored after all, by whom; the caller's transaction.

    One query where none of the keys was ever refused, as nearly always.
    """
    waiting = RefusedEntry.objects.filter(
        organisation=organisation, client_uuid__in=list(stored_by), settled_at__isnull=True
    )
    entries_of: dict[User | None, list[int]] = defaultdict(list)
    for pk, client_uuid in waiting.order_by("pk").values_list("pk", "client_uuid"):
        entries_of[stored_by[client_uuid]].append(pk)
    for by, entries in entries_of.items():
        waiting.filter(pk__in=entries).update(
            settled_at=now, settled_by=by, settled_reason=SENT_AGAIN
        )


def _storable(text: str) -> Any:
    """Return what was sent as data, or as its text where a database takes no such data."""
    data = json.loads(text)
    spelt_out = json.dumps(data, ensure_ascii=False)
    is_plain = "\\u0000" not in spelt_out and _shown(spelt_out) == spelt_out
    return data if is_plain else {"as_text": text}


def _shown(sentence: str) -> str:
    """Return a sentence without the characters that a database cannot hold."""
    whole = sentence.encode("utf-8", "replace").decode()
    return whole.replace("\0", "\N{SYMBOL FOR NULL}")
