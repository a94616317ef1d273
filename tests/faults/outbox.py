"""What one simulated phone keeps: a file that only grows, flushed to the disk line by line."""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

WAITING = "waiting"
APPLIED = ("applied", "already_applied")


@dataclass(slots=True)
class Recorded:
    """One operation as it was saved, with the newest answer to it."""

    client_uuid: str
    sequence: int
    kind: str
    content: str
    answer: dict[str, Any] = field(default_factory=lambda: {"answer": WAITING})
    is_offered: bool = False

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.content.encode()).hexdigest()

    def as_sent(self) -> dict[str, str]:
        return {
            "client_uuid": self.client_uuid,
            "sha256": self.sha256,
            "content": self.content,
        }


class Outbox:
    """The operations of one phone; what a torn last line held was never said to be saved."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.operations: dict[str, Recorded] = {}
        self.epochs: list[str] = []
        self._read()

    @property
    def epoch(self) -> str | None:
        """Return the epoch of the newest answer."""
        return self.epochs[-1] if self.epochs else None

    def save(self, operation: Recorded) -> None:
        """Keep an operation; only when this returns does the screen say saved."""
        self._append(
            {
                "saved": operation.client_uuid,
                "sequence": operation.sequence,
                "kind": operation.kind,
                "content": operation.content,
            }
        )
        self.operations[operation.client_uuid] = operation

    def note_answers(self, answers: list[dict[str, Any]], epoch: str) -> None:
        """Keep what the server said; nothing leaves the file."""
        if epoch != self.epoch:
            self._append({"epoch": epoch})
            self._see_epoch(epoch)
        for each in answers:
            operation = self.operations[each["client_uuid"]]
            operation.answer = each
            operation.is_offered = True
            self._append({"answer": each})

    def die_in_the_middle_of_saving(self, operation: Recorded) -> None:
        """Write half a line, as a phone does that is killed while it saves."""
        line = json.dumps({"saved": operation.client_uuid, "content": operation.content})
        with self.path.open("a", encoding="utf-8") as file:
            file.write(line[: len(line) // 2])

    def offered(self) -> list[Recorded]:
        """Return what is to be sent: never answered, or not offered in this epoch yet."""
        return sorted(
            (each for each in self.operations.values() if not each.is_offered),
            key=lambda each: each.sequence,
        )

    def last_acknowledged(self) -> Recorded | None:
        """Return the newest operation that was said to be applied, in this epoch."""
        applied = [
            each
            for each in self.operations.values()
            if each.is_offered and each.answer["answer"] in APPLIED
        ]
        return max(applied, key=lambda each: each.sequence, default=None)

    def _see_epoch(self, epoch: str) -> None:
        """Offer everything again when the server's database is not the one that answered."""
        for each in self.operations.values():
            each.is_offered = False
        self.epochs.append(epoch)

    def _append(self, line: dict[str, Any]) -> None:
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line) + "\n")
            file.flush()
            os.fsync(file.fileno())

    def _read(self) -> None:
        if not self.path.exists():
            return
        text = self.path.read_text(encoding="utf-8")
        whole, _, torn = text.rpartition("\n")
        if torn:
            os.truncate(self.path, len(text.encode()) - len(torn.encode()))
        for line in whole.splitlines():
            self._take(json.loads(line))

    def _take(self, line: dict[str, Any]) -> None:
        if "saved" in line:
            self.operations[line["saved"]] = Recorded(
                line["saved"], line["sequence"], line["kind"], line["content"]
            )
        elif "answer" in line:
            operation = self.operations[line["answer"]["client_uuid"]]
            operation.answer = line["answer"]
            operation.is_offered = True
        else:
            self._see_epoch(line["epoch"])
