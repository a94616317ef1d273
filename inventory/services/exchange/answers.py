"""What a phone is told of each operation it sent or asked after."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from inventory.models import DeviceOperation, RefusedEntry

if TYPE_CHECKING:
    import uuid
    from collections.abc import Sequence

    from inventory.models import Device

State = DeviceOperation.State

ALREADY_APPLIED = "already_applied"
BROKEN = "broken"
OTHER_CONTENT = "other_content"
REPLACED = "replaced"
PUT_RIGHT = "put_right"
UNKNOWN_KIND = "unknown_kind"
ANSWERS = (ALREADY_APPLIED, *State.values)


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer; ``result`` names the records that the operation made."""

    client_uuid: str
    answer: str
    code: str = ""
    sentence: str = ""
    result: dict[str, Any] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Return the answer as a phone reads it."""
        return asdict(self)


def answer_of(
    operation: DeviceOperation,
    *,
    is_again: bool = False,
    put_right: DeviceOperation | None = None,
) -> Answer:
    """
    Return what is known of an operation; ``is_again``: it was here before it was sent.

    ``put_right`` is what an engineer made of it at the desk: its phone need do no more about
    it, and learns what was made.
    """
    applied = ALREADY_APPLIED if is_again else State.APPLIED.value
    client_uuid = str(operation.client_uuid)
    if put_right is not None:
        words = f"An engineer put it right: {put_right.settled_reason}"
        return Answer(client_uuid, applied, PUT_RIGHT, words, put_right.result)
    is_discarded = operation.state == State.DISCARDED
    return Answer(
        client_uuid=client_uuid,
        answer=applied if operation.state == State.APPLIED else str(operation.state),
        code=operation.code,
        sentence=operation.settled_reason if is_discarded else operation.sentence,
        result=operation.result,
    )


def was_put_right(by: DeviceOperation, operation: DeviceOperation) -> bool:
    """Return whether an operation is what an engineer made of another one, and applied."""
    return (
        by.replaces_uuid == operation.client_uuid
        and by.state == State.APPLIED
        and by.settled_at is not None
    )


def news_of(device: Device, asked: Sequence[uuid.UUID]) -> list[Answer]:
    """
    Return what became of operations a phone asks after; what is not known here is left out.

    What the phone sent under an id that another phone's operation has, or that arrived
    damaged, was kept apart as a refused entry: that is what it asks after.
    """
    if not asked:
        return []
    operations = DeviceOperation.objects.owned_by(device.organisation).filter(
        client_uuid__in=asked
    )
    own = {each.client_uuid: each for each in operations if each.device_id == device.pk}
    entries = {
        entry.client_uuid: entry
        for entry in RefusedEntry.objects.owned_by(device.organisation)
        .filter(
            client_uuid__in=[each for each in asked if each not in own],
            kind=RefusedEntry.Kind.OPERATION,
        )
        .order_by("pk")
    }
    others = {each.client_uuid: each for each in operations if each.client_uuid not in entries}
    replacing = {
        each.replaces_uuid: each
        for each in DeviceOperation.objects.owned_by(device.organisation).filter(
            replaces_uuid__in=asked
        )
    }
    found: list[Answer] = []
    for key in asked:
        operation = own.get(key) or others.get(key)
        if operation is not None:
            by = replacing.get(key)
            is_put_right = by is not None and was_put_right(by, operation)
            found.append(answer_of(operation, put_right=by if is_put_right else None))
        elif key in entries:
            found.append(_answer_of_entry(entries[key]))
    return found


def _answer_of_entry(entry: RefusedEntry) -> Answer:
    if entry.settled_at is not None:
        return Answer(str(entry.client_uuid), State.DISCARDED, "", entry.settled_reason)
    return Answer(str(entry.client_uuid), State.REFUSED, "", entry.sentence)
