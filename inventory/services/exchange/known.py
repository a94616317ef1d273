"""Operations looked up many at a time, those of the batch in hand among them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.models import DeviceOperation

if TYPE_CHECKING:
    import uuid
    from collections.abc import Collection, Iterable, Iterator, Mapping

    from inventory.models import Organisation

MOST_AT_ONCE = 5_000  # SQLite takes some 32,000 values in one question
State = DeviceOperation.State
OPEN = (State.HELD, State.REFUSED)


class Known:
    """
    The operations of an organisation that were asked for, and what replaced them.

    What a need stands for is the operation of that id, or one that replaces it, or one that
    replaces that one.
    """

    def __init__(self, organisation: Organisation) -> None:
        self.organisation = organisation
        self._by_uuid: dict[uuid.UUID, DeviceOperation] = {}
        self._replacing: dict[uuid.UUID, list[DeviceOperation]] = {}
        self._looked_for: set[uuid.UUID] = set()

    def load(self, wanted: Iterable[uuid.UUID]) -> None:
        """Look operations up, with all that replaced them and all that they replace."""
        step = set(wanted) - self._looked_for
        while step:
            self._looked_for |= step
            rows = DeviceOperation.objects.owned_by(self.organisation)
            found = [
                operation
                for part in _parts(step)
                for field in ("client_uuid", "replaces_uuid")
                for operation in rows.filter(**{f"{field}__in": part})
            ]
            for each in found:
                self.add(each)
            step = {
                key
                for each in found
                for key in (each.client_uuid, each.replaces_uuid)
                if key is not None
            } - self._looked_for

    def add(self, operation: DeviceOperation) -> DeviceOperation:
        """Take an operation in; one that is here already stays the one in hand."""
        here = self._by_uuid.setdefault(operation.client_uuid, operation)
        if here is operation and operation.replaces_uuid is not None:
            self._replacing.setdefault(operation.replaces_uuid, []).append(operation)
        return here

    def find(self, client_uuid: uuid.UUID) -> DeviceOperation | None:
        """Return an operation of the organisation, in whatever state."""
        return self._by_uuid.get(client_uuid)

    def standing_for(self, client_uuid: uuid.UUID) -> Iterator[DeviceOperation]:
        """Give the operation of an id and all that replaced it, each once."""
        seen: set[uuid.UUID] = set()
        step = [client_uuid]
        while step:
            key = step.pop()
            if key in seen:
                continue
            seen.add(key)
            operation = self._by_uuid.get(key)
            if operation is not None:
                yield operation
            step += [each.client_uuid for each in self._replacing.get(key, ())]

    def applied(self, client_uuid: uuid.UUID) -> DeviceOperation | None:
        """Return the operation that was applied under an id or in its place."""
        return next(
            (o for o in self.standing_for(client_uuid) if o.state == State.APPLIED), None
        )

    def result_of(self, client_uuid: uuid.UUID) -> Mapping[str, Any] | None:
        """Return what an operation made, or the one that replaced it; ``None``: nothing yet."""
        operation = self.applied(client_uuid)
        return None if operation is None else operation.result

    def replaced_by(self, operation: DeviceOperation) -> list[uuid.UUID]:
        """Return the ids an operation stands for besides its own, nearest first."""
        found: list[uuid.UUID] = []
        key = operation.replaces_uuid
        while key is not None and key not in found:
            found.append(key)
            replaced = self._by_uuid.get(key)
            key = None if replaced is None else replaced.replaces_uuid
        return found

    def is_among(self, client_uuid: uuid.UUID, pending: Collection[uuid.UUID]) -> bool:
        """Return whether an id stands for one of the operations in hand."""
        return any(each.client_uuid in pending for each in self.standing_for(client_uuid))


def _parts(keys: Collection[uuid.UUID]) -> Iterator[list[uuid.UUID]]:
    listed = list(keys)
    for start in range(0, len(listed), MOST_AT_ONCE):
        yield listed[start : start + MOST_AT_ONCE]
