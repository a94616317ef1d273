"""The record of who did what, when."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.models import LogbookEntry
from inventory.services.adding import add_records

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from inventory.models import Organisation, PrintOrder, Sign, User

MAXIMUM_TEXT_LENGTH = 400


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
    written.save(force_insert=True)
    return written


def log_many(entries: Iterable[LogbookEntry]) -> None:
    """Write many entries, each made by :func:`entry`, within the caller's transaction."""
    add_records(list(entries))


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
) -> LogbookEntry:
    """Return an entry that is not written yet; a long text is kept whole in detail."""
    detail = dict(detail or {})
    if len(text) > MAXIMUM_TEXT_LENGTH:
        detail["text"] = text
        text = text[: MAXIMUM_TEXT_LENGTH - 1] + "…"
    return LogbookEntry(
        organisation=organisation,
        actor=actor,
        verb=verb,
        text=text,
        at=at,
        sign=sign,
        order=order,
        detail=detail,
    )
