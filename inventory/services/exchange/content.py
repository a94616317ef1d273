"""What a phone sends, read from its text; nothing here is judged or stored."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from inventory.errors import OutOfRangeError
from inventory.models import DeviceOperation, PhotoUpload
from inventory.services.exchange import shapes

if TYPE_CHECKING:
    import uuid
    from collections.abc import Mapping
    from datetime import datetime

MOST_OPERATIONS = 1000
MOST_ASKED = 500
MOST_NEEDS = 50
MOST_PHOTOS = 20
MOST_OFFSET_MINUTES = 14 * 60  # UTC+14 is the furthest time zone (IANA, Pacific/Kiritimati)
MOST_PHOTO_BYTES = 50_000_000
MOST_ACCURACY_M = 1_000_000.0
MOST_CANDIDATES = 32_767
PHOTO_ROLES = ("seen", "before", "after")
HASH_LENGTH = 64
MOST_DEPTH = 30  # of lists and objects within each other
LONGEST_CAPTION = PhotoUpload._meta.get_field("caption").max_length or 0


@dataclass(frozen=True, slots=True)
class Identified:
    """How the sign was found, and where the phone believed itself to be."""

    by: str
    latitude_deg: float | None
    longitude_deg: float | None
    accuracy_m: float | None
    candidate_count: int | None


@dataclass(frozen=True, slots=True)
class AnnouncedPhoto:
    """A photo whose bytes come apart."""

    photo_uuid: uuid.UUID
    sha256: str
    size_bytes: int
    role: str
    caption: str


@dataclass(frozen=True, slots=True)
class Content:
    """One operation, as a phone wrote it down; ``payload`` is its kind's own."""

    client_uuid: uuid.UUID
    sequence: int
    kind: str
    device_at: datetime
    device_offset_minutes: int
    user_id: int | None
    app_version: str
    base_version: str
    needs: tuple[uuid.UUID, ...]
    replaces: uuid.UUID | None
    identified: Identified | None
    photos: tuple[AnnouncedPhoto, ...]
    payload: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Sent:
    """One operation of a batch, before its content is read."""

    client_uuid: str
    sha256: str
    content: str


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """The newest operation of a phone that the server has answered."""

    client_uuid: uuid.UUID
    sha256: str


@dataclass(frozen=True, slots=True)
class Batch:
    """One sending of a phone; ``sent_at`` is empty where a file brought it."""

    operations: tuple[Sent, ...]
    sent_at: datetime | None = None
    app_version: str = ""
    epoch: uuid.UUID | None = None
    last_acknowledged: Acknowledged | None = None
    ask: tuple[uuid.UUID, ...] = ()


def read_batch(data: Any) -> Batch:
    """Return what a phone sent as a batch, or say what is wrong with its frame."""
    if not isinstance(data, dict):
        msg = f"The body is {shapes.shown(data)}; it must be an object with named fields."
        raise OutOfRangeError(msg)
    known = shapes.mapping_or_none(data, "last_acknowledged")
    return Batch(
        operations=read_sent(data),
        sent_at=shapes.moment(data, "sent_at"),
        app_version=shapes.text(data, "app_version", most=_longest("app_version"), default=""),
        epoch=shapes.key_or_none(data, "epoch"),
        last_acknowledged=None
        if known is None
        else Acknowledged(shapes.key(known, "client_uuid"), _hash(known, "sha256")),
        ask=tuple(
            shapes.as_key(each, "ask")
            for each in shapes.items(data, "ask", most=MOST_ASKED, default=[])
        ),
    )


def read_sent(data: Mapping[str, Any], most: int = MOST_OPERATIONS) -> tuple[Sent, ...]:
    """Return the operations of a batch or a file, their contents not yet read."""
    return tuple(
        Sent(
            client_uuid=str(each.get("client_uuid", "")),
            sha256=str(each.get("sha256", "")),
            content=_as_text(each.get("content")),
        )
        for each in shapes.mappings(data, "operations", most=most)
    )


def _as_text(content: Any) -> str:
    """Return a content as it was sent; one that is no text is kept as what it is instead."""
    if isinstance(content, str):
        return content
    try:
        return json.dumps(content)
    except RecursionError:
        return ""


def read_content(sent: Sent) -> Content:
    """Return the content of an operation, or say why it is broken."""
    _check_hash(sent)
    fields = _object(sent.content)
    client_uuid = shapes.key(fields, "client_uuid")
    if client_uuid != shapes.as_key(sent.client_uuid, "client_uuid"):
        msg = f"It was sent as {sent.client_uuid}, but its content is of {client_uuid}."
        raise OutOfRangeError(msg)
    return Content(
        client_uuid=client_uuid,
        sequence=shapes.whole(fields, "sequence", least=1),
        kind=shapes.text(fields, "kind", least=1, most=_longest("kind")),
        device_at=shapes.moment(fields, "device_at"),
        device_offset_minutes=shapes.whole(
            fields,
            "device_offset_minutes",
            least=-MOST_OFFSET_MINUTES,
            most=MOST_OFFSET_MINUTES,
            default=0,
        ),
        user_id=shapes.whole_or_none(fields, "user_id", least=1),
        app_version=shapes.text(
            fields, "app_version", most=_longest("app_version"), default=""
        ),
        base_version=shapes.text(
            fields, "base_version", most=_longest("base_version"), default=""
        ),
        needs=tuple(
            shapes.as_key(each, "needs")
            for each in shapes.items(fields, "needs", most=MOST_NEEDS, default=[])
        ),
        replaces=_replaces(fields, client_uuid),
        identified=_identified(shapes.mapping_or_none(fields, "identified")),
        photos=_photos(fields),
        payload=shapes.mapping(fields, "payload"),
    )


def sha256_of(content: str) -> str:
    """Return the hash of a content's very characters, as UTF-8."""
    return hashlib.sha256(content.encode()).hexdigest()


def _check_hash(sent: Sent) -> None:
    try:
        found = sha256_of(sent.content)
    except UnicodeEncodeError as error:
        msg = "Its text holds half a character; it was damaged on the way."
        raise OutOfRangeError(msg) from error
    if found != sent.sha256:
        msg = (
            f"Its text does not have the hash that was sent with it ({sent.sha256[:12]}… "
            f"against {found[:12]}…); it was damaged on the way."
        )
        raise OutOfRangeError(shapes.storable(msg))


def _object(content: str) -> dict[str, Any]:
    try:
        found = json.loads(content, parse_constant=_refuse_constant)
    except RecursionError as error:
        msg = "Its text is nested too deeply to be read."
        raise OutOfRangeError(msg) from error
    except ValueError as error:
        msg = f"Its text is not JSON: {error}."
        raise OutOfRangeError(shapes.storable(msg)) from error
    if not isinstance(found, dict):
        msg = f"Its text is {shapes.shown(found)}; it must be an object with named fields."
        raise OutOfRangeError(msg)
    _check_depth(content, found)
    # Only an escape can bring in a character that no database holds.
    return _cleaned(found) if "\\u" in content else found


def _check_depth(content: str, found: Any) -> None:
    if content.count("[") + content.count("{") <= MOST_DEPTH:
        return
    step, depth = [found], 0
    while step:
        depth += 1
        if depth > MOST_DEPTH:
            msg = f"Its text is nested more than {MOST_DEPTH} deep."
            raise OutOfRangeError(msg)
        step = [
            inner
            for each in step
            for inner in (each.values() if isinstance(each, dict) else each)
            if isinstance(inner, dict | list)
        ]


def _cleaned(value: Any) -> Any:
    if isinstance(value, str):
        return shapes.storable(value)
    if isinstance(value, list):
        return [_cleaned(each) for each in value]
    if isinstance(value, dict):
        return {shapes.storable(name): _cleaned(each) for name, each in value.items()}
    return value


def _refuse_constant(name: str) -> None:
    msg = f"{name} is not a number"
    raise ValueError(msg)


def _replaces(fields: Mapping[str, Any], client_uuid: uuid.UUID) -> uuid.UUID | None:
    replaced = shapes.key_or_none(fields, "replaces")
    if replaced == client_uuid:
        msg = "replaces names the operation itself; it must name the one it puts right."
        raise OutOfRangeError(msg)
    return replaced


def _identified(found: Mapping[str, Any] | None) -> Identified | None:
    if found is None:
        return None
    return Identified(
        by=shapes.choice(found, "by", DeviceOperation.Identified.values),
        latitude_deg=shapes.number_or_none(found, "latitude_deg", least=-90.0, most=90.0),
        longitude_deg=shapes.number_or_none(found, "longitude_deg", least=-180.0, most=180.0),
        accuracy_m=shapes.number_or_none(found, "accuracy_m", least=0.0, most=MOST_ACCURACY_M),
        candidate_count=shapes.whole_or_none(
            found, "candidate_count", least=0, most=MOST_CANDIDATES
        ),
    )


def _photos(fields: Mapping[str, Any]) -> tuple[AnnouncedPhoto, ...]:
    return tuple(
        AnnouncedPhoto(
            photo_uuid=shapes.key(each, "photo_uuid"),
            sha256=_hash(each, "sha256"),
            size_bytes=shapes.whole(each, "size_bytes", least=1, most=MOST_PHOTO_BYTES),
            role=shapes.choice(each, "role", PHOTO_ROLES),
            caption=shapes.text(
                each,
                "caption",
                most=LONGEST_CAPTION,
                default="",
            ),
        )
        for each in shapes.mappings(fields, "photos", most=MOST_PHOTOS, default=[])
    )


def _hash(of: Mapping[str, Any], name: str) -> str:
    value = shapes.text(of, name, most=HASH_LENGTH, least=HASH_LENGTH)
    if any(each not in "0123456789abcdef" for each in value):
        msg = f"{name} is {shapes.shown(value)}; it must be a SHA-256 in small hex figures."
        raise OutOfRangeError(msg)
    return value


def _longest(field: str) -> int:
    return getattr(DeviceOperation._meta.get_field(field), "max_length", None) or 0
