"""The way out of last resort: what waited on a phone, brought in a file."""

from __future__ import annotations

import base64
import uuid
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.utils import timezone

from inventory.errors import InventoryError, OutOfRangeError
from inventory.models import Device, PhotoUpload
from inventory.services.exchange import shapes
from inventory.services.exchange.content import MOST_PHOTO_BYTES, Batch, Sent, read_sent
from inventory.services.exchange.devices import take_on_from_file
from inventory.services.exchange.receive import receive_batch
from inventory.services.photo_uploads import receive_photo

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from datetime import datetime

    from inventory.models import Organisation
    from inventory.services.exchange.answers import Answer

    Progress = Callable[[int, int], None]

FORMAT = "signfleet outbox"
VERSION = 1
MOST_ENTRIES = 1_000_000
OPERATIONS_PER_STEP = 500
# Of files of a phone that nobody had signed in on: one device for each organisation.
NO_PHONE = uuid.UUID("5f7ab8a0-6c52-4f6a-9b0e-3a7c2d1b9e64")


@dataclass(frozen=True, slots=True)
class Outbox:
    """A file of what waited on a phone."""

    device_uuid: uuid.UUID | None
    operations: tuple[Sent, ...]
    photos: tuple[tuple[uuid.UUID, str], ...]


@dataclass(slots=True)
class OutboxReport:
    """What became of a file: how many of each answer, and what was not applied."""

    device: Device
    counts: Counter[str] = field(default_factory=Counter)
    not_applied: list[Answer] = field(default_factory=list)
    photo_counts: Counter[str] = field(default_factory=Counter)
    photo_problems: list[str] = field(default_factory=list)


def read_outbox(data: Any) -> Outbox:
    """Return the content of an outbox file, or say what is wrong with it."""
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        msg = f"This is no file of a phone's outbox: its format is not '{FORMAT}'."
        raise OutOfRangeError(msg)
    version = shapes.whole(data, "version", least=1)
    if version != VERSION:
        msg = (
            f"The file is of version {version} of its format, and this server reads version "
            f"{VERSION}; bring the server up to date."
        )
        raise OutOfRangeError(msg)
    return Outbox(
        device_uuid=shapes.key_or_none(data, "device_uuid"),
        operations=read_sent(data, most=MOST_ENTRIES),
        photos=tuple(
            (shapes.key(each, "photo_uuid"), _text(each, "base64"))
            for each in shapes.mappings(data, "photos", most=MOST_ENTRIES, default=[])
        ),
    )


def import_outbox(
    *,
    outbox: Outbox,
    organisation: Organisation | None = None,
    now: datetime | None = None,
    progress: Progress | None = None,
) -> OutboxReport:
    """
    Apply what a file holds as if its phone had sent it, and answer the same; safe twice.

    Each step is a transaction of its own, so that a run that was cut is gone on with by
    running it again. The phone of a file that is not known here is taken on for
    ``organisation``: what it holds is kept, and held for an engineer.
    """
    now = now or timezone.now()
    device = _device_of(outbox, organisation, now)
    report = OutboxReport(device)
    total = len(outbox.operations) + len(outbox.photos)
    done = 0
    for step in _steps(outbox.operations):
        received = receive_batch(device=device, batch=Batch(operations=step), now=now)
        for answer in received.answers:
            report.counts[answer.answer] += 1
            if answer.sentence:
                report.not_applied.append(answer)
        done += len(step)
        if progress is not None:
            progress(done, total)
    for photo_uuid, text in outbox.photos:
        _take_photo(report, photo_uuid, text, now)
        done += 1
        if progress is not None:
            progress(done, total)
    return report


def _device_of(outbox: Outbox, organisation: Organisation | None, now: datetime) -> Device:
    known: Device | None = None
    if outbox.device_uuid is not None:
        known = (
            Device.objects.select_related("organisation")
            .filter(device_uuid=outbox.device_uuid)
            .first()
        )
    if known is not None:
        if organisation is not None and known.organisation_id != organisation.pk:
            msg = f"The file is of a phone of {known.organisation}, not of {organisation}."
            raise OutOfRangeError(msg)
        return known
    if organisation is None:
        msg = (
            f"The phone of this file ({outbox.device_uuid or 'nobody had signed in on it'}) is "
            "not known here. Name the organisation it records for (--organisation); what the "
            "file holds is then kept, and held for an engineer."
        )
        raise OutOfRangeError(msg)
    device_uuid = outbox.device_uuid or uuid.uuid5(NO_PHONE, str(organisation.pk))
    return take_on_from_file(organisation=organisation, device_uuid=device_uuid, now=now)


def _steps(operations: tuple[Sent, ...]) -> Iterator[tuple[Sent, ...]]:
    for start in range(0, len(operations), OPERATIONS_PER_STEP):
        yield operations[start : start + OPERATIONS_PER_STEP]


def _take_photo(report: OutboxReport, photo_uuid: uuid.UUID, text: str, now: datetime) -> None:
    try:
        upload = receive_photo(
            device=report.device,
            photo_uuid=photo_uuid,
            content=_decoded(text, photo_uuid),
            now=now,
        )
    except InventoryError as error:
        report.photo_counts[PhotoUpload.State.REFUSED] += 1
        report.photo_problems.append(str(error))
    else:
        report.photo_counts[upload.state] += 1
        if upload.sentence:
            report.photo_problems.append(f"Photo {photo_uuid}: {upload.sentence}")


def _decoded(text: str, photo_uuid: uuid.UUID) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except ValueError as error:
        msg = f"Photo {photo_uuid} is damaged in the file: {error}."
        raise OutOfRangeError(msg) from error


def _text(of: Mapping[str, Any], name: str) -> str:
    value = of.get(name)
    if not isinstance(value, str) or len(value) > 2 * MOST_PHOTO_BYTES:
        msg = f"{name} of a photo must be a text of at most {2 * MOST_PHOTO_BYTES} characters."
        raise OutOfRangeError(msg)
    return value
