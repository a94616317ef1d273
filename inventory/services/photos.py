"""Photos: taken apart on arrival and put together anew, never kept as sent."""

from __future__ import annotations

import hashlib
import io
import uuid
from typing import TYPE_CHECKING

from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.utils import timezone
from PIL import Image, ImageOps, UnidentifiedImageError

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Photo, Sign
from inventory.services.fields import check_fields
from inventory.services.logbook import log

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import Inspection, Organisation, User

MAXIMUM_SIZE_BYTES = 20_000_000
MAXIMUM_PIXELS = 4096 * 3072  # a 12-megapixel camera, whose pictures run to 4080 × 3072
LONGEST_SIDE_PX = 2560
SMALL_SIDE_PX, SMALL_QUALITY = 320, 72  # as a phone carries it
JPEG_QUALITY = 85
ACCEPTED_FORMATS = ("JPEG", "PNG", "WEBP")
_MILLION = 1_000_000


@transaction.atomic
def store_photo(
    *,
    sign: Sign,
    content: bytes,
    inspection: Inspection | None = None,
    taken_at: datetime | None = None,
    by: User | None = None,
    caption: str = "",
    client_uuid: uuid.UUID | None = None,
    is_drawn: bool = False,
    drawn_anew: bytes | None = None,
    now: datetime | None = None,
) -> Photo:
    """
    Store a picture of a sign, drawn anew from its pixels; sent twice, it is stored once.

    What the camera wrote into the file (place, owner, device) is not kept. ``drawn_anew`` is
    what :func:`draw_anew` made of the content, where that was done before the transaction.
    """
    now = now or timezone.now()
    organisation = _agency_of(sign, inspection)
    client_uuid = client_uuid or uuid.uuid4()
    sha256 = hashlib.sha256(content).hexdigest()
    known = _known(client_uuid, sign, sha256)
    if known is not None:
        return known
    photo = Photo(
        organisation=organisation,
        client_uuid=client_uuid,
        sign=sign,
        inspection=inspection,
        sha256=sha256,
        taken_at=taken_at,
        recorded_at=now,
        recorded_by=by,
        caption=caption.strip(),
        is_drawn=is_drawn,
    )
    check_fields(photo, exclude=["image"])
    photo.image.save(
        f"{client_uuid}.jpg", ContentFile(drawn_anew or draw_anew(content)), save=False
    )
    try:
        with transaction.atomic():
            photo.save()
    except IntegrityError:
        # Another request stored the same photo in the meantime.
        photo.image.delete(save=False)
        known = _known(client_uuid, sign, sha256)
        if known is None:
            raise
        return known
    log(
        organisation=organisation,
        actor=by,
        verb="add photo",
        text=f"Photo added{f': {photo.caption}' if photo.caption else '.'}",
        at=now,
        sign=sign,
    )
    return photo


def draw_anew(content: bytes) -> bytes:
    """Return a picture as a fresh JPEG: turned upright, at most 2560 px, without metadata."""
    if not content:
        msg = "The photo is empty; take it again."
        raise OutOfRangeError(msg)
    if len(content) > MAXIMUM_SIZE_BYTES:
        msg = (
            f"The photo has {len(content) / _MILLION:.1f} MB; at most "
            f"{MAXIMUM_SIZE_BYTES // _MILLION} MB are taken. Send a smaller one."
        )
        raise OutOfRangeError(msg)
    try:
        picture = Image.open(io.BytesIO(content), formats=ACCEPTED_FORMATS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        msg = (
            f"The photo has far more than {MAXIMUM_PIXELS / _MILLION:.1f} million pixels; set "
            "the camera to 12 megapixels, or send a smaller copy."
        )
        raise OutOfRangeError(msg) from error
    except UnidentifiedImageError as error:
        msg = (
            "The file is not a picture that can be read; JPEG, PNG and WebP are taken. Take "
            "the photo again, or set the camera to JPEG."
        )
        raise OutOfRangeError(msg) from error
    width, height = picture.size
    if width * height > MAXIMUM_PIXELS:
        msg = (
            f"The photo has {width * height / _MILLION:.1f} million pixels ({width} × "
            f"{height}); at most {MAXIMUM_PIXELS / _MILLION:.1f} million are taken. Set the "
            "camera to 12 megapixels, or send a smaller copy."
        )
        raise OutOfRangeError(msg)
    try:
        upright = ImageOps.exif_transpose(picture)
        plain = _on_white(upright)
    except (OSError, SyntaxError, ValueError) as error:
        msg = "The photo breaks off or is damaged inside; take it again or send it once more."
        raise OutOfRangeError(msg) from error
    plain.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return out.getvalue()


def small_photo(photo: Photo, side_px: int = SMALL_SIDE_PX) -> bytes:
    """Return a stored picture as a JPEG of at most so many pixels either way."""
    with photo.image.open("rb") as file, Image.open(file) as picture:
        picture.draft("RGB", (side_px, side_px))
        small = picture.convert("RGB")
    small.thumbnail((side_px, side_px), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    small.save(out, "JPEG", quality=SMALL_QUALITY, optimize=True)
    return out.getvalue()


def _on_white(picture: Image.Image) -> Image.Image:
    """Return the pixels alone, see-through ones on white, in a picture with no other data."""
    plain = Image.new("RGB", picture.size, "white")
    layer = picture.convert("RGBA")
    plain.paste(layer, mask=layer.getchannel("A"))
    return plain


def _agency_of(sign: Sign, inspection: Inspection | None) -> Organisation:
    if inspection is not None and inspection.sign_id != sign.pk:
        msg = (
            f"The inspection is of sign {inspection.sign_id}, not of sign {sign.pk}; add the "
            "photo to the sign it shows."
        )
        raise StateConflictError(msg)
    if sign.owner is None:
        msg = f"Sign {sign.pk} is shop stock; photos are kept of signs an agency owns."
        raise StateConflictError(msg)
    return sign.owner


def _known(client_uuid: uuid.UUID, sign: Sign, sha256: str) -> Photo | None:
    """Return the photo already stored under this key; another picture is refused."""
    known: Photo | None = Photo.objects.filter(client_uuid=client_uuid).first()
    if known is not None and (known.sha256 != sha256 or known.sign_id != sign.pk):
        msg = (
            f"A different photo was already stored under the key {client_uuid}; nothing was "
            "changed. Send this one under a key of its own."
        )
        raise StateConflictError(msg)
    return known
