"""The record of who did what, when."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from inventory.models import LogbookEntry
from inventory.services.adding import add_rows

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from inventory.models import Organisation, PrintOrder, Sign, User

MAXIMUM_TEXT_LENGTH = 400


class Entry(NamedTuple):
    """One entry by its columns."""

    organisation_id: int
    at: datetime
    actor_id: int | None
    verb: str
    text: str
    sign_id: int | None
    order_id: int | None
    detail: dict[str, Any]


def log(
    *,
    organisation: Organisation,
    actor: User | None,
    verb: str,
    text: str,
    at: datetime,
    sign: Sign | None = None,
    order: PrintOrder | None = None,
    detail: dict[str, Any] | None = None,
) -> LogbookEntry:
    """Write one entry within the caller's transaction; a long text is kept whole in detail."""
    written = entry(
        organisation=organisation,
        actor=actor,
        verb=verb,
        text=text,
        at=at,
        sign=sign,
        order=order,
        detail=detail,
    )
    return LogbookEntry.objects.create(**written._asdict())


def log_many(entries: Iterable[Entry]) -> None:
    """Write many entries within the caller's transaction."""
    add_rows(LogbookEntry, Entry._fields, entries)


def entry(
    *,
    organisation: Organisation,
    actor: User | None,
    verb: str,
    text: str,
    at: datetime,
    sign: Sign | None = None,
    order: PrintOrder | None = None,
    detail: dict[str, Any] | None = None,
) -> Entry:
    """Return an entry that is not written yet; a long text is kept whole in detail."""
    detail = dict(detail or {})
    if len(text) > MAXIMUM_TEXT_LENGTH:
        detail["text"] = text
        text = text[: MAXIMUM_TEXT_LENGTH - 1] + "…"
    return Entry(
        organisation_id=organisation.pk,
        at=at,
        actor_id=None if actor is None else actor.pk,
        verb=verb,
        text=text,
        sign_id=None if sign is None else sign.pk,
        order_id=None if order is None else order.pk,
        detail=detail,
    )
