"""Phones of tests: each counts, words and hashes its operations as the field app does."""

from __future__ import annotations

import hashlib
import json
import uuid
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from inventory.models import Role
from inventory.services.exchange.content import Acknowledged, Batch, Sent
from inventory.services.exchange.devices import register_device
from inventory.services.exchange.receive import receive_batch
from tests.factories import NOW, make_person

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.models import Organisation, Sign, User
    from inventory.services.exchange.answers import Answer
    from inventory.services.exchange.receive import Received

BEGAN = NOW - timedelta(hours=3)


def envelope(content: dict[str, Any]) -> Sent:
    """Return an operation as it goes over the wire, with the hash of its characters."""
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"))
    return Sent(content["client_uuid"], hashlib.sha256(text.encode()).hexdigest(), text)


class Phone:
    """One phone: records operations in its own order, keeps them, and sends them."""

    def __init__(self, agency: Organisation, user: User | None = None) -> None:
        self.user = user or make_person(agency, Role.CREW)
        registered = register_device(
            organisation=agency, user=self.user, device_uuid=uuid.uuid4(), now=NOW
        )
        self.device, self.key = registered.device, registered.key
        self.sequence = 0
        self.epoch: uuid.UUID | None = None
        self.last_acknowledged: Acknowledged | None = None
        self.kept: list[Sent] = []

    def record(self, kind: str, payload: dict[str, Any], **fields: Any) -> Sent:
        """Write an operation down, a minute after the one before."""
        self.sequence += 1
        content = {
            "client_uuid": str(uuid.uuid4()),
            "sequence": self.sequence,
            "kind": kind,
            "device_at": (BEGAN + timedelta(minutes=self.sequence)).isoformat(),
            "device_offset_minutes": -300,
            "user_id": self.user.pk,
            "app_version": "1",
            "base_version": "",
            "needs": [],
            "replaces": None,
            "identified": None,
            "photos": [],
            "payload": payload,
        }
        sent = envelope(content | fields)
        self.kept.append(sent)
        return sent

    def note(self, sign: Sign, words: str = "Seen.", **fields: Any) -> Sent:
        """Write a note down on a sign."""
        return self.record("inspection", note_of({"id": sign.pk}, words), **fields)

    def send(
        self,
        operations: Sequence[Sent] | None = None,
        *,
        now: datetime = NOW,
        sent_at: datetime | None = None,
        ask: Sequence[uuid.UUID] = (),
    ) -> Received:
        """Send operations, by default all that are kept, and learn from the answers."""
        chosen = self.kept if operations is None else operations
        batch = Batch(
            operations=tuple(chosen),
            sent_at=sent_at or now,
            app_version="1",
            epoch=self.epoch,
            last_acknowledged=self.last_acknowledged,
            ask=tuple(ask),
        )
        received = receive_batch(device=self.device, batch=batch, now=now)
        if received.epoch != self.epoch:
            self.epoch, self.last_acknowledged = received.epoch, None
        for sent, answer in zip(chosen, received.answers, strict=True):
            if answer.answer in ("applied", "already_applied"):
                self.last_acknowledged = Acknowledged(uuid.UUID(sent.client_uuid), sent.sha256)
        return received


def note_of(sign: dict[str, Any], words: str) -> dict[str, Any]:
    """Return the payload of a note on a sign."""
    return {"sign": sign, "how": "visual_day", "note": words}


def readings_of(sign: dict[str, Any], white: str, red: str, **fields: Any) -> dict[str, Any]:
    """Return the payload of one reading of white and one of red."""
    geometry = {"observation_angle_deg": "0.2", "entrance_angle_deg": "-4.0"}
    return {
        "sign": sign,
        "how": "hand_held",
        "surface_state": "dry",
        "instrument_id": None,
        "note": "",
        "reading_sets": [
            {"color": "white", "values": [white], **geometry},
            {"color": "red", "values": [red], **geometry},
        ],
    } | fields


def key_of(sent: Sent) -> uuid.UUID:
    """Return the id of an operation."""
    return uuid.UUID(sent.client_uuid)


def said(received: Received) -> list[tuple[str, str]]:
    """Return each answer with its code."""
    return [(answer.answer, answer.code) for answer in received.answers]


def only(received: Received) -> Answer:
    """Return the one answer there is."""
    (answer,) = received.answers
    return answer
