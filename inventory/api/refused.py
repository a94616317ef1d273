"""What a device sent and was refused: answered in a sentence, and kept."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, cast

from rest_framework.exceptions import ValidationError

from inventory.api.permissions import organisation_of
from inventory.errors import InventoryError
from inventory.models import RefusedEntry
from inventory.services.refusals import keep_refused

if TYPE_CHECKING:
    from rest_framework.request import Request

    from inventory.models import User


@contextmanager
def kept_when_refused(request: Request, kind: RefusedEntry.Kind) -> Iterator[None]:
    """Keep what was sent when it is refused; the refusal is answered as ever."""
    try:
        yield
    except (InventoryError, ValidationError) as error:
        sent: Any = request.data
        keep_refused(
            organisation=organisation_of(request),
            channel=RefusedEntry.Channel.API,
            kind=kind,
            payload=sent,
            sentence=_sentence(error),
            by=cast("User", request.user),
            client_uuid=_key(sent.get("client_uuid")) if isinstance(sent, Mapping) else None,
        )
        raise


def _sentence(error: InventoryError | ValidationError) -> str:
    if isinstance(error, InventoryError):
        return str(error)
    return " ".join(_said(error.detail, ""))


def _said(detail: Any, where: str) -> list[str]:
    """Return what is wrong, each with the name of its field."""
    if isinstance(detail, Mapping):
        return [
            line
            for name, inner in detail.items()
            for line in _said(inner, str(name) if not where else f"{where}.{name}")
        ]
    if isinstance(detail, list):
        return [line for inner in detail for line in _said(inner, where)]
    return [f"{where}: {detail}" if where else str(detail)]


def _key(text: object) -> uuid.UUID | None:
    try:
        return uuid.UUID(str(text))
    except ValueError:
        return None
