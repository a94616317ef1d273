"""
Photos of operations: their bytes come apart, in pieces, and go on where they were cut.

Pieces are kept in the private media as they came and are never shown; a photo is drawn anew
from its whole bytes once they have the announced hash and its operation is applied. What is
refused stays in the media, with a sentence.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils import timezone

from inventory.errors import InventoryError, OutOfRangeError, StateConflictError
from inventory.models import DeviceOperation, Inspection, PackageStop, PhotoUpload, Sign
from inventory.services.logbook import log
from inventory.services.photos import MAXIMUM_SIZE_BYTES, draw_anew, store_photo

if TYPE_CHECKING:
    import uuid
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.models import Device, Organisation, Photo, ScopedQuerySet, User

MAXIMUM_PIECE_BYTES = 5_000_000
LONGEST_REASON = 255
FOLDER = "photo-uploads"
BEFORE, INSTALL = "before", "install"
_MILLION = 1_000_000
WAITS = "All of it is here; it is stored once its operation is applied."
BEGIN_AGAIN = "What arrived is not what the phone announced; send it once more from the start."


@dataclass(frozen=True)
class Piece:
    """Some bytes of a photo, where they begin and how long the whole is said to be."""

    first: int
    total: int
    content: bytes


def find_upload(*, device: Device, photo_uuid: uuid.UUID) -> PhotoUpload | None:
    """Return a photo that an operation of this phone announced."""
    found: PhotoUpload | None = PhotoUpload.objects.filter(
        client_uuid=photo_uuid, operation__device=device
    ).first()
    return found


def receive_piece(
    *, upload: PhotoUpload, piece: Piece, now: datetime | None = None
) -> PhotoUpload:
    """
    Take the next bytes of a photo; with the last of them it is checked and stored.

    A piece that was cut short counts as far as it came. One that begins elsewhere than what is
    there ends changes nothing; so does anything after the photo was stored or refused.
    """
    now = now or timezone.now()
    with transaction.atomic():
        locked = _lock(upload)
        if locked.state != PhotoUpload.State.ANNOUNCED or _is_too_large(locked):
            return locked
        _check_piece(locked, piece)
        if piece.content:
            _keep(locked, piece)
    return settle_upload(upload=locked, now=now)


def receive_photo(
    *, device: Device, photo_uuid: uuid.UUID, content: bytes, now: datetime | None = None
) -> PhotoUpload:
    """Take the whole bytes of a photo at once, as a file of the phone's outbox holds them."""
    found = find_upload(device=device, photo_uuid=photo_uuid)
    if found is None:
        msg = (
            f"No operation of {device} announced a photo {photo_uuid}; send its operation "
            "first, then the photo."
        )
        raise OutOfRangeError(msg)
    with transaction.atomic():
        locked = _lock(found)
        if locked.state != PhotoUpload.State.ANNOUNCED or _is_too_large(locked):
            return locked
        locked.received_bytes = 0
        whole = Piece(0, locked.size_bytes, content)
        _check_piece(locked, whole, most=MAXIMUM_SIZE_BYTES)
        _keep(locked, whole)
    return settle_upload(upload=locked, now=now)


def attach_waiting(operation_ids: Sequence[int], now: datetime) -> None:
    """Store the photos that waited for operations, once the caller's transaction is done."""
    waiting = PhotoUpload.objects.filter(
        operation__in=operation_ids, state=PhotoUpload.State.ANNOUNCED
    )
    for upload in waiting.order_by("pk"):
        # Drawing a photo anew is slow, and a damaged one must not undo the operations.
        transaction.on_commit(partial(settle_upload, upload=upload, now=now), robust=True)


def settle_upload(*, upload: PhotoUpload, now: datetime | None = None) -> PhotoUpload:
    """
    Store a photo if all of it is here and its operation is applied; else leave it as it is.

    Safe to call at any time and from two sides at once: what waits for it asks again.
    """
    seen: PhotoUpload = PhotoUpload.objects.select_related("operation").get(pk=upload.pk)
    if not _is_whole(seen):
        return seen
    # Reading and drawing take long: before the transaction, which others may wait for.
    whole = _look_at(seen)
    with transaction.atomic():
        locked = _lock(seen)
        if not _is_whole(locked):
            return locked
        if not whole.is_as_announced:
            return _begin_again(locked, whole.content)
        # Asked after the lock: of a last piece and an answer at once, the later one sees both.
        operation = DeviceOperation.objects.select_related("person").get(pk=seen.operation_id)
        if operation.state != DeviceOperation.State.APPLIED:
            return _say(locked, WAITS)
        if whole.problem:
            return _refuse(locked, whole.problem)
        try:
            with transaction.atomic():
                photo = _store(locked, operation, whole, now or timezone.now())
        except InventoryError as error:
            return _refuse(locked, str(error))
        locked.photo, locked.state, locked.sentence = photo, PhotoUpload.State.STORED, ""
        locked.save(update_fields=["photo", "state", "sentence"])
        transaction.on_commit(partial(_drop_pieces, locked.client_uuid))
        return locked


@dataclass(frozen=True)
class Whole:
    """
    All the bytes of a photo, and what they came to.

    ``content`` is ``None`` where the media lost some; ``drawn`` where they were not drawn yet.
    """

    content: bytes | None
    is_as_announced: bool = False
    drawn: bytes | None = None
    problem: str = ""


def _is_whole(upload: PhotoUpload) -> bool:
    """Return whether all of a photo is here that is neither stored nor refused."""
    return (
        upload.state == PhotoUpload.State.ANNOUNCED
        and upload.received_bytes == upload.size_bytes
    )


def _look_at(upload: PhotoUpload) -> Whole:
    """Put a photo's bytes together, check them and, if it can be stored now, draw it anew."""
    content = _read(upload)
    if content is None or hashlib.sha256(content).hexdigest() != upload.sha256:
        return Whole(content)
    if upload.operation.state != DeviceOperation.State.APPLIED:
        return Whole(content, is_as_announced=True)
    try:
        return Whole(content, is_as_announced=True, drawn=draw_anew(content))
    except InventoryError as error:
        return Whole(content, is_as_announced=True, problem=str(error))


def refused_photos(organisation: Organisation) -> ScopedQuerySet:
    """Return the photos that were refused and that nobody has looked at yet, newest first."""
    rows: ScopedQuerySet = (
        PhotoUpload.objects.owned_by(organisation)
        .filter(state=PhotoUpload.State.REFUSED)
        .select_related("operation__device", "operation__person")
        .order_by("-operation__received_at", "-pk")
    )
    return rows


def refused_content(upload: PhotoUpload) -> bytes | None:
    """Return the bytes of a photo that was refused, as they came; ``None`` where none did."""
    return _read(upload) if upload.received_bytes else None


@transaction.atomic
def keep_with_sign(
    *, upload: PhotoUpload, sign: Sign, by: User | None, now: datetime | None = None
) -> PhotoUpload:
    """Store a refused photo with the sign a person says it shows; it still has to be one."""
    locked = _lock_refused(upload)
    operation = locked.operation
    content = refused_content(locked)
    if content is None:
        msg = "Nothing of this photo is here; it is still on the phone, if anywhere."
        raise StateConflictError(msg)
    if sign.owner_id != operation.organisation_id:
        msg = f"{sign} is not a sign of {operation.organisation}; choose one of its own."
        raise StateConflictError(msg)
    locked.photo = store_photo(
        sign=sign,
        content=content,
        taken_at=operation.corrected_at,
        by=operation.person or by,
        caption=locked.caption,
        client_uuid=locked.client_uuid,
        now=now or timezone.now(),
    )
    locked.state, locked.sentence = PhotoUpload.State.STORED, ""
    locked.save(update_fields=["photo", "state", "sentence"])
    transaction.on_commit(partial(_drop_pieces, locked.client_uuid))
    return locked


@transaction.atomic
def set_aside(
    *, upload: PhotoUpload, reason: str, by: User | None, now: datetime | None = None
) -> PhotoUpload:
    """Say why nothing comes of a refused photo; what was sent is kept all the same."""
    reason = reason.strip()
    if not 0 < len(reason) <= LONGEST_REASON:
        msg = (
            f"Say in a few words why (at most {LONGEST_REASON} characters; there are "
            f"{len(reason)})."
        )
        raise OutOfRangeError(msg)
    locked = _lock_refused(upload)
    locked.state = PhotoUpload.State.SET_ASIDE
    locked.save(update_fields=["state"])
    log(
        organisation=locked.operation.organisation,
        actor=by,
        verb="set photo aside",
        text=f"Refused photo of operation {locked.operation.client_uuid} set aside: {reason}",
        at=now or timezone.now(),
        detail={"upload": locked.pk, "refused": locked.sentence},
    )
    return locked


def _lock_refused(upload: PhotoUpload) -> PhotoUpload:
    locked = _lock(upload)
    if locked.state != PhotoUpload.State.REFUSED:
        msg = (
            f"This photo is {locked.get_state_display()}; there is nothing to decide about it."
        )
        raise StateConflictError(msg)
    return locked


def _lock(upload: PhotoUpload) -> PhotoUpload:
    locked: PhotoUpload = PhotoUpload.objects.select_for_update().get(pk=upload.pk)
    return locked


def _is_too_large(upload: PhotoUpload) -> bool:
    """Refuse a photo that is announced with more bytes than are taken."""
    if upload.size_bytes <= MAXIMUM_SIZE_BYTES:
        return False
    _refuse(
        upload,
        f"The photo has {upload.size_bytes / _MILLION:.1f} MB; at most "
        f"{MAXIMUM_SIZE_BYTES // _MILLION} MB are taken. It stays on the phone; send a smaller "
        "copy with a new note.",
    )
    return True


def _check_piece(upload: PhotoUpload, piece: Piece, most: int = MAXIMUM_PIECE_BYTES) -> None:
    if piece.total != upload.size_bytes:
        msg = (
            f"The piece is of a photo of {piece.total} bytes, but {upload.size_bytes} were "
            "announced with its operation; send the photo that was announced."
        )
        raise OutOfRangeError(msg)
    if len(piece.content) > most:
        msg = (
            f"The piece has {len(piece.content)} bytes; at most {most} are "
            "taken at a time. Send smaller ones."
        )
        raise OutOfRangeError(msg)
    if piece.first + len(piece.content) > upload.size_bytes:
        msg = (
            f"The piece goes on to byte {piece.first + len(piece.content)} of a photo of "
            f"{upload.size_bytes}; send only what belongs to it."
        )
        raise OutOfRangeError(msg)
    if piece.first != upload.received_bytes:
        msg = (
            f"The piece begins at byte {piece.first}, but {upload.received_bytes} bytes are "
            "here; go on from there."
        )
        raise StateConflictError(msg)


def _store(
    upload: PhotoUpload, operation: DeviceOperation, whole: Whole, now: datetime
) -> Photo:
    sign = _sign_of(upload, operation)
    inspection_id = operation.result.get("inspection_id")
    inspection = (
        Inspection.objects.filter(pk=inspection_id, sign=sign).first()
        if inspection_id is not None
        else None
    )
    return store_photo(
        sign=sign,
        content=whole.content or b"",
        drawn_anew=whole.drawn,
        inspection=inspection,
        taken_at=operation.corrected_at,
        by=operation.person,
        caption=upload.caption,
        client_uuid=upload.client_uuid,
        now=now,
    )


def _sign_of(upload: PhotoUpload, operation: DeviceOperation) -> Sign:
    """Return the face a photo shows: before a face was put up the old one, after it the new."""
    result = operation.result
    sign_id = result.get("sign_id")
    if upload.role == BEFORE and operation.kind == INSTALL and sign_id is not None:
        sign_id = _taken_down_for(sign_id) or sign_id
    signs = Sign.objects.owned_by(operation.organisation).select_related("owner")
    if sign_id is not None:
        sign = signs.filter(pk=sign_id).first()
    else:
        sign = _at_the_place(signs, result)
    if sign is None:
        msg = (
            "There is no sign on record that the photo could be kept with; it is kept apart, "
            "and an engineer decides."
        )
        raise StateConflictError(msg)
    found: Sign = sign
    return found


def _taken_down_for(sign_id: int) -> int | None:
    """Return the face that came down on the day a new one went up in its position."""
    new = Sign.objects.filter(pk=sign_id).first()
    if new is None or new.position_id is None:
        return None
    old = Sign.objects.filter(
        position=new.position_id, state=Sign.State.REMOVED, removed_on=new.installed_on
    ).exclude(pk=new.pk)
    return old.order_by("-pk").values_list("pk", flat=True).first()


def _at_the_place(signs: Any, result: dict[str, Any]) -> Sign | None:
    """Return the uppermost face at the support or the stop an operation was about."""
    up = signs.filter(state=Sign.State.INSTALLED).order_by("position__order_on_support", "pk")
    found: Sign | None = None
    if "stop_id" in result:
        stop = PackageStop.objects.filter(pk=result["stop_id"]).first()
        found = up.filter(position=stop.position_id).first() if stop is not None else None
    elif "support_id" in result:
        found = up.filter(position__support=result["support_id"]).first()
    return found


def _begin_again(upload: PhotoUpload, content: bytes | None) -> PhotoUpload:
    """
    Ask for a photo once more whose bytes are not those that were announced.

    The same wrong bytes a second time were not damaged on the way: then it is refused.
    """
    damaged = f"{FOLDER}/{upload.client_uuid}/damaged"
    if content is not None:
        if default_storage.exists(damaged) and _bytes_of(damaged) == content:
            return _refuse(
                upload,
                "The photo on the phone is not the one that was announced: its bytes have "
                "another hash. It is kept as it came; take the photo again.",
            )
        _write(damaged, content)
    upload.received_bytes = 0
    upload.save(update_fields=["received_bytes"])
    return _say(upload, BEGIN_AGAIN)


def _say(upload: PhotoUpload, sentence: str) -> PhotoUpload:
    upload.sentence = sentence
    upload.save(update_fields=["sentence"])
    return upload


def _refuse(upload: PhotoUpload, sentence: str) -> PhotoUpload:
    upload.state, upload.sentence = PhotoUpload.State.REFUSED, sentence
    upload.save(update_fields=["state", "sentence"])
    return upload


def _pieces(client_uuid: uuid.UUID) -> str:
    return f"{FOLDER}/{client_uuid}/pieces"


def _keep(upload: PhotoUpload, piece: Piece) -> None:
    """Keep a piece under where it begins; one left by a try that was cut off gives way."""
    _write(f"{_pieces(upload.client_uuid)}/{piece.first:012d}", piece.content)
    upload.received_bytes = piece.first + len(piece.content)
    upload.save(update_fields=["received_bytes"])


def _write(path: str, content: bytes) -> None:
    default_storage.delete(path)
    default_storage.save(path, ContentFile(content))


def _read(upload: PhotoUpload) -> bytes | None:
    """Return the pieces put together as far as they came; ``None`` where some are missing."""
    content = bytearray()
    while len(content) < upload.received_bytes:
        path = f"{_pieces(upload.client_uuid)}/{len(content):012d}"
        piece = _bytes_of(path) if default_storage.exists(path) else b""
        if not piece:
            return None
        content += piece
    return bytes(content)


def _bytes_of(path: str) -> bytes:
    with default_storage.open(path, "rb") as file:
        content: bytes = file.read()
        return content


def _drop_pieces(client_uuid: uuid.UUID) -> None:
    """Forget the pieces of a photo that is stored."""
    default_storage.delete(f"{FOLDER}/{client_uuid}/damaged")
    folder = _pieces(client_uuid)
    if default_storage.exists(folder):
        for name in default_storage.listdir(folder)[1]:
            default_storage.delete(f"{folder}/{name}")
        default_storage.delete(folder)
    default_storage.delete(f"{FOLDER}/{client_uuid}")
