"""Photos sent with a form that was refused: kept until the form is put right, then dropped.

A picture taken for a form may be nowhere else, and a browser does not send it again by itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from inventory.errors import OutOfRangeError
from inventory.services.photos import MAXIMUM_SIZE_BYTES

if TYPE_CHECKING:
    import uuid
    from datetime import datetime

    from inventory.models import User

FOLDER = "kept-photos"
KEPT_FOR = timedelta(days=7)
BYTES_PER_MEGABYTE = 1_000_000


@dataclass(frozen=True)
class KeptPhoto:
    """A photo that waits for its form."""

    size_bytes: int
    path: str

    def read(self) -> bytes:
        """Return the bytes as they were sent."""
        with default_storage.open(self.path, "rb") as file:
            content: bytes = file.read()
            return content


def keep_photo(*, by: User, client_uuid: uuid.UUID, content: bytes, now: datetime) -> KeptPhoto:
    """Keep a photo for a form; a later one for the same form takes its place."""
    if len(content) > MAXIMUM_SIZE_BYTES:
        msg = (
            f"The photo has {len(content) / BYTES_PER_MEGABYTE:.1f} MB, more than the "
            f"{MAXIMUM_SIZE_BYTES / BYTES_PER_MEGABYTE:.0f} MB that can be taken; send a "
            "smaller one."
        )
        raise OutOfRangeError(msg)
    _drop_old(by, now)
    drop_kept_photo(by=by, client_uuid=client_uuid)
    path = default_storage.save(_path(by, client_uuid), ContentFile(content))
    return KeptPhoto(len(content), path)


def kept_photo(*, by: User, client_uuid: uuid.UUID) -> KeptPhoto | None:
    """Return the photo that waits for a form of this person, if there is one."""
    path = _path(by, client_uuid)
    if not default_storage.exists(path):
        return None
    return KeptPhoto(default_storage.size(path), path)


def drop_kept_photo(*, by: User, client_uuid: uuid.UUID) -> None:
    """Forget the photo of a form, once it is stored with its inspection."""
    default_storage.delete(_path(by, client_uuid))


def _path(by: User, client_uuid: uuid.UUID) -> str:
    return f"{FOLDER}/{by.pk}/{client_uuid}"


def _drop_old(by: User, now: datetime) -> None:
    """Drop what this person never came back for."""
    folder = f"{FOLDER}/{by.pk}"
    if not default_storage.exists(folder):
        return
    _folders, names = default_storage.listdir(folder)
    for name in names:
        path = f"{folder}/{name}"
        if default_storage.get_modified_time(path) < now - KEPT_FOR:
            default_storage.delete(path)
