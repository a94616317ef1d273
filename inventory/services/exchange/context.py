"""What a kind of operation needs to know of the operation it applies."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from inventory.errors import OutOfRangeError
from inventory.models import Inspection, Position, Sign, Support
from inventory.services.exchange import shapes
from inventory.services.relinks import (
    positions_kept_for,
    signs_kept_for,
    supports_kept_for,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from inventory.models import Device, DeviceOperation, Organisation, User
    from inventory.models.scope import Scoped

Record = TypeVar("Record", bound="Scoped")

RESULT_KEY: Mapping[type[Scoped], str] = {
    Sign: "sign_id",
    Position: "position_id",
    Support: "support_id",
    Inspection: "inspection_id",
}

KEPT_FOR: Mapping[type[Scoped], Callable[[list[int]], dict[int, int]]] = {
    Sign: signs_kept_for,
    Position: positions_kept_for,
    Support: supports_kept_for,
}


class KnownOperations(Protocol):
    """What is known of operations, those of the batch in hand among them."""

    def find(self, client_uuid: uuid.UUID) -> DeviceOperation | None:
        """Return an operation of the organisation, in whatever state."""

    def result_of(self, client_uuid: uuid.UUID) -> Mapping[str, Any] | None:
        """Return what an operation made, or the one that replaced it; ``None``: nothing yet."""


@dataclass(frozen=True, slots=True)
class Context:
    """
    Who sends an operation, from which phone, and when it happened by the server's clock.

    ``is_decided``: it was held, and an engineer decided that it is applied; what asked for
    that decision is not asked again.
    """

    organisation: Organisation
    device: Device
    person: User | None
    at: datetime
    now: datetime
    known: KnownOperations
    is_decided: bool = False

    def key_of(self, ref: Any, model: type[Scoped], name: str) -> int:
        """Return the number of a record named as {"id": …} or {"operation": …}."""
        if not isinstance(ref, dict) or ("id" in ref) == ("operation" in ref):
            msg = (
                f"{name} is {shapes.shown(ref)}; it must name a record by its id, or by the "
                "operation that made it."
            )
            raise OutOfRangeError(msg)
        if "id" in ref:
            return shapes.whole(ref, "id", least=1)
        made_by = shapes.key(ref, "operation")
        result = self.known.result_of(made_by)
        found = None if result is None else result.get(RESULT_KEY[model])
        if not isinstance(found, int):
            msg = f"{name} names operation {made_by}, which made no such record."
            raise OutOfRangeError(msg)
        return found

    def resolve(self, ref: Any, model: type[Record], name: str = "") -> Record:
        """
        Return the organisation's record that a reference names.

        One that was merged away since stands for the one that is kept.
        """
        words = name or str(model._meta.verbose_name)
        key = self.key_of(ref, model, words)
        kept_for = KEPT_FOR.get(model)
        if kept_for is not None:
            key = kept_for([key]).get(key, key)
        found: Record | None = model.objects.owned_by(self.organisation).filter(pk=key).first()
        if found is None:
            msg = f"There is no {model._meta.verbose_name} {key} among those you may use."
            raise OutOfRangeError(msg)
        return found
