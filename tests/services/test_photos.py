"""Photos: drawn anew, stored once, refused in a sentence."""

from __future__ import annotations

import hashlib
import io
import struct
import uuid
import zlib
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.storage import default_storage
from PIL import Image

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LogbookEntry, Photo, Sign
from inventory.services.inspection import PhotoInput, record_inspection
from inventory.services.photos import (
    LONGEST_SIDE_PX,
    MAXIMUM_PIXELS,
    MAXIMUM_SIZE_BYTES,
    draw_anew,
    store_photo,
)
from tests.factories import NOW, make_agency, make_shop, make_sign
from tests.services.races import together

ORIENTATION_TAG = 0x0112  # Exif 2.3, Orientation
MAKER_TAG = 0x010F  # Exif 2.3, Make
GPS_TAG = 0x8825  # Exif 2.3, GPS IFD pointer


def picture(size: tuple[int, int] = (40, 20), **fields: Any) -> bytes:
    """A picture whose left half is red and right half blue."""
    image = Image.new("RGB", size, "blue")
    image.paste("red", (0, 0, size[0] // 2, size[1]))
    out = io.BytesIO()
    image.save(out, "JPEG", **fields)
    return out.getvalue()


def with_exif(**tags: int | str) -> bytes:
    exif = Image.Exif()
    exif[ORIENTATION_TAG] = tags.get("orientation", 1)
    exif[MAKER_TAG] = "A Camera"
    exif.get_ifd(GPS_TAG)[1] = "N"
    return picture(exif=exif)


def opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


def test_a_picture_is_drawn_anew_as_jpeg_without_what_the_camera_wrote():
    sent = with_exif()
    assert opened(sent).getexif()[MAKER_TAG] == "A Camera"
    drawn = opened(draw_anew(sent))
    assert drawn.format == "JPEG"
    assert dict(drawn.getexif()) == {}
    assert not {"exif", "icc_profile", "comment", "xmp"} & drawn.info.keys()
    assert b"A Camera" not in draw_anew(sent)


def test_a_picture_taken_with_the_camera_on_its_side_is_put_upright():
    # Exif 2.3: orientation 6 means the picture has to be turned a quarter clockwise; the left
    # half (red) comes to the top.
    drawn = opened(draw_anew(with_exif(orientation=6)))
    assert drawn.size == (20, 40)
    top, foot = (drawn.crop((0, y, 20, y + 10)).resize((1, 1)) for y in (0, 30))
    assert top.tobytes()[0] > 200 > foot.tobytes()[0]  # how red


@pytest.mark.parametrize(
    ("kind", "mode"), [("PNG", "RGBA"), ("PNG", "L"), ("PNG", "P"), ("WEBP", "RGB")]
)
def test_other_kinds_of_picture_become_jpeg(kind, mode):
    out = io.BytesIO()
    Image.new(mode, (40, 20)).save(out, kind)
    drawn = opened(draw_anew(out.getvalue()))
    assert (drawn.format, drawn.mode, drawn.size) == ("JPEG", "RGB", (40, 20))


def test_what_was_see_through_is_white():
    out = io.BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(out, "PNG")
    assert opened(draw_anew(out.getvalue())).getpixel((4, 4)) == (255, 255, 255)


def test_a_large_picture_is_made_smaller_and_keeps_its_shape():
    drawn = opened(draw_anew(picture((4096, 3072))))
    assert drawn.size == (LONGEST_SIDE_PX, LONGEST_SIDE_PX * 3 // 4)


def test_the_largest_picture_is_that_of_a_12_megapixel_camera():
    # 4080 × 3072 is a common size of a 12-megapixel phone (from memory).
    assert MAXIMUM_PIXELS >= 4080 * 3072
    with pytest.raises(OutOfRangeError, match=r"12\.6 million pixels \(4096 × 3073\)"):
        draw_anew(picture((4096, 3073)))


def test_a_small_file_that_unfolds_to_a_huge_picture_is_refused_before_it_is_unfolded():
    bomb = huge_png()
    assert len(bomb) < 1000
    with pytest.raises(OutOfRangeError, match=r"far more than 12\.6 million pixels"):
        draw_anew(bomb)


def huge_png() -> bytes:
    """A PNG whose head says 50,000 × 50,000 pixels and whose body says nothing."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body))
            + kind
            + body
            + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", 50_000, 50_000, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b""))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "The photo is empty"),
        (b"not a picture at all", "not a picture that can be read"),
        (b"GIF89a" + b"\x00" * 40, "not a picture that can be read"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "not a picture that can be read"),
        (picture((400, 400))[:-400], "breaks off or is damaged"),
        (b"\xff" * (MAXIMUM_SIZE_BYTES + 1), r"20\.0 MB; at most 20 MB"),
    ],
    ids=["empty", "text", "gif", "svg", "cut off", "too large"],
)
def test_what_cannot_be_taken_is_refused_in_a_sentence(content, sentence):
    with pytest.raises(OutOfRangeError, match=sentence) as refusal:
        draw_anew(content)
    assert str(refusal.value).endswith(".")


# --- stored --------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_photo_is_stored_with_the_fingerprint_of_what_was_sent():
    agency, sent = make_agency(), with_exif()
    sign = make_sign(agency)
    photo = store_photo(
        sign=sign,
        content=sent,
        caption=" bent post ",
        taken_at=NOW - timedelta(days=1),
        now=NOW,
    )
    photo.refresh_from_db()
    assert photo.organisation == agency
    assert photo.sha256 == hashlib.sha256(sent).hexdigest()
    assert photo.caption == "bent post"
    assert photo.recorded_at == NOW
    assert photo.image.name.startswith("photos/")
    with photo.image.open("rb") as file:
        assert b"A Camera" not in file.read()
    assert LogbookEntry.objects.get(verb="add photo").sign == sign


@pytest.mark.django_db
def test_a_photo_sent_twice_is_stored_once_and_another_under_its_key_is_refused():
    sign, key = make_sign(make_agency()), uuid.uuid4()
    first = store_photo(sign=sign, content=picture(), client_uuid=key, now=NOW)
    assert store_photo(sign=sign, content=picture(), client_uuid=key, now=NOW) == first
    with pytest.raises(StateConflictError, match="A different photo was already stored"):
        store_photo(sign=sign, content=picture((30, 30)), client_uuid=key, now=NOW)
    assert Photo.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_photo_sent_by_several_requests_at_once_is_stored_once():
    sign, key = make_sign(make_agency()), uuid.uuid4()
    results = together(
        *[lambda: store_photo(sign=sign, content=picture(), client_uuid=key, now=NOW)] * 4
    )
    assert [type(result) for result in results] == [Photo] * 4
    assert len({result.pk for result in results}) == 1
    assert Photo.objects.count() == 1
    folder, name = results[0].image.name.rsplit("/", 1)
    kept = [each for each in default_storage.listdir(folder)[1] if each.startswith(str(key))]
    assert kept == [name]


@pytest.mark.django_db
def test_photos_come_with_an_inspection_all_or_nothing():
    sign, key = make_sign(make_agency()), uuid.uuid4()
    fields: dict[str, Any] = {
        "sign": sign,
        "taken_at": NOW,
        "how": "visual_day",
        "client_uuid": key,
        "now": NOW,
    }
    with pytest.raises(OutOfRangeError, match="not a picture"):
        record_inspection(**fields, photos=[PhotoInput(picture()), PhotoInput(b"no picture")])
    assert not Photo.objects.exists()
    inspection = record_inspection(**fields, photos=[PhotoInput(picture(), caption="post")])
    photo = Photo.objects.get()
    assert (photo.inspection, photo.taken_at, photo.caption) == (inspection, NOW, "post")

    # A photo added later does not make the same inspection, sent again, another one.
    store_photo(sign=sign, content=picture((30, 30)), inspection=inspection, now=NOW)
    again = record_inspection(**fields, photos=[PhotoInput(picture(), caption="post")])
    assert again == inspection
    with pytest.raises(StateConflictError, match="other content"):
        record_inspection(**fields, photos=[PhotoInput(picture((60, 60)))])
    assert Photo.objects.count() == 2


@pytest.mark.django_db
def test_a_photo_belongs_to_the_sign_it_shows():
    agency = make_agency()
    sign, other = make_sign(agency), make_sign(agency)
    inspection = record_inspection(
        sign=other, taken_at=NOW, how="visual_day", note="seen", now=NOW
    )
    with pytest.raises(StateConflictError, match="not of sign"):
        store_photo(sign=sign, content=picture(), inspection=inspection, now=NOW)
    stock = Sign.objects.create(maker=make_shop(), state="in_stock", sign_code="R1-1")
    with pytest.raises(StateConflictError, match="shop stock"):
        store_photo(sign=stock, content=picture(), now=NOW)


@pytest.mark.django_db
def test_a_caption_too_long_is_refused():
    with pytest.raises(OutOfRangeError, match="caption"):
        store_photo(
            sign=make_sign(make_agency()), content=picture(), caption="x" * 256, now=NOW
        )
