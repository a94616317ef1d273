"""Photos in pieces: cut, sent again, damaged, refused, and never twice."""

from __future__ import annotations

import hashlib
import uuid
from datetime import date
from io import BytesIO
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.db import transaction
from PIL import Image

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    Device,
    DeviceBatch,
    DeviceOperation,
    LogbookEntry,
    Photo,
    PhotoUpload,
    Role,
    Sign,
)
from inventory.services.inspection import ObservationInput, record_inspection
from inventory.services.installation import install_sign
from inventory.services.photo_uploads import (
    BEGIN_AGAIN,
    FOLDER,
    MAXIMUM_PIECE_BYTES,
    WAITS,
    Piece,
    attach_waiting,
    find_upload,
    keep_with_sign,
    receive_photo,
    receive_piece,
    refused_content,
    refused_photos,
    set_aside,
    settle_upload,
)
from inventory.services.photos import MAXIMUM_SIZE_BYTES
from tests.factories import NOW, make_agency, make_person, make_sign, position_of
from tests.services.races import together

pytestmark = pytest.mark.django_db
State = DeviceOperation.State


@pytest.fixture(autouse=True)
def _media(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def device(agency):
    return make_device(agency)


def make_device(agency) -> Device:
    return Device.objects.create(
        organisation=agency,
        device_uuid=uuid.uuid4(),
        key_sha256="",
        registered_at=NOW,
        last_heard_at=NOW,
    )


def picture() -> bytes:
    out = BytesIO()
    Image.effect_noise((120, 90), 60).convert("RGB").save(out, "JPEG", quality=90)
    return out.getvalue()


def announce(
    device: Device,
    content: bytes,
    *,
    kind: str = "inspection",
    state: str = State.APPLIED,
    result: dict[str, Any] | None = None,
    **fields: Any,
) -> PhotoUpload:
    """Return a photo as the operation that announced it left it."""
    batch = DeviceBatch.objects.create(device=device, sent_at=NOW, received_at=NOW, skew_s=0)
    operation = DeviceOperation.objects.create(
        organisation=device.organisation,
        device=device,
        batch=batch,
        client_uuid=uuid.uuid4(),
        sequence=1,
        kind=kind,
        content="{}",
        content_sha256="0" * 64,
        device_at=NOW,
        corrected_at=NOW,
        received_at=NOW,
        person=make_person(device.organisation, Role.CREW),
        state=state,
        result=result or {},
    )
    return PhotoUpload.objects.create(
        **{
            "operation": operation,
            "client_uuid": uuid.uuid4(),
            "role": "seen",
            "sha256": hashlib.sha256(content).hexdigest(),
            "size_bytes": len(content),
        }
        | fields
    )


def send(upload: PhotoUpload, content: bytes, step: int = 1000, first: int = 0) -> PhotoUpload:
    """Send what is left of a photo in pieces."""
    for start in range(first, len(content), step):
        upload = receive_piece(
            upload=upload,
            piece=Piece(start, len(content), content[start : start + step]),
            now=NOW,
        )
    return upload


def photo_of(upload: PhotoUpload) -> Photo:
    """Return the photo an upload became; one that became none is a mistake of the test."""
    assert upload.photo is not None
    return upload.photo


def kept_files(upload: PhotoUpload) -> list[str]:
    folder = f"{FOLDER}/{upload.client_uuid}"
    if not default_storage.exists(folder):
        return []
    folders, files = default_storage.listdir(folder)
    inner = [default_storage.listdir(f"{folder}/{each}")[1] for each in folders]
    return [*files, *(name for names in inner for name in names)]


def test_a_photo_in_pieces_is_stored_with_the_sign_its_operation_was_about(
    agency, device, django_capture_on_commit_callbacks
):
    sign, content = make_sign(agency), picture()
    upload = announce(device, content, result={"sign_id": sign.pk}, caption="From the road")
    with django_capture_on_commit_callbacks(execute=True):
        stored = send(upload, content)
    photo = Photo.objects.get()
    assert (stored.state, stored.photo) == (PhotoUpload.State.STORED, photo)
    assert (photo.sign, photo.caption, photo.taken_at) == (sign, "From the road", NOW)
    assert photo.recorded_by == upload.operation.person
    # The bytes are drawn anew and what was sent is not kept.
    assert photo.image.read() != content
    assert kept_files(upload) == []


def test_a_photo_of_an_inspection_hangs_on_it(agency, device):
    sign, content = make_sign(agency), picture()
    inspection = record_inspection(
        sign=sign,
        taken_at=NOW,
        how="visual_day",
        observations=[ObservationInput("bent", 2)],
        now=NOW,
    )
    result = {"sign_id": sign.pk, "inspection_id": inspection.pk}
    stored = send(announce(device, content, result=result), content)
    assert photo_of(stored).inspection == inspection


def test_before_goes_to_the_old_face_and_after_to_the_new_one(agency, device):
    old = make_sign(agency)
    new = Sign.objects.create(owner=agency, state=Sign.State.IN_STOCK, sign_code="R1-1")
    install_sign(
        sign=new,
        position=position_of(old),
        installed_on=date(2026, 6, 1),
        replaces=old,
        removal_reason="damaged",
        now=NOW,
    )
    result = {"sign_id": new.pk, "position_id": new.position_id}
    for role, sign in (("before", old), ("after", new)):
        content = picture()
        upload = announce(device, content, kind="install", result=result, role=role)
        assert photo_of(send(upload, content)).sign == sign


def test_a_photo_before_where_nothing_stood_is_kept_with_the_new_face(agency, device):
    new = make_sign(agency)
    content = picture()
    upload = announce(
        device, content, kind="install", result={"sign_id": new.pk}, role="before"
    )
    assert photo_of(send(upload, content)).sign == new


def test_a_photo_of_a_moved_support_is_kept_with_the_uppermost_sign_on_it(agency, device):
    sign = make_sign(agency)
    content = picture()
    result = {"support_id": position_of(sign).support_id, "move_id": 1}
    upload = announce(device, content, kind="move_support", result=result)
    assert photo_of(send(upload, content)).sign == sign


def test_a_photo_goes_on_where_it_was_cut_in_the_middle_of_a_piece(agency, device):
    sign, content = make_sign(agency), picture()
    upload = announce(device, content, result={"sign_id": sign.pk})
    # A piece of a thousand bytes was announced and only 317 came through.
    cut = receive_piece(upload=upload, piece=Piece(0, len(content), content[:317]), now=NOW)
    assert (cut.received_bytes, cut.state) == (317, PhotoUpload.State.ANNOUNCED)
    assert send(upload, content, first=317).state == PhotoUpload.State.STORED
    assert Photo.objects.get().sha256 == hashlib.sha256(content).hexdigest()


@pytest.mark.parametrize("first", [0, 400, 1200])
def test_a_piece_that_does_not_begin_where_the_last_ended_changes_nothing(device, first):
    content = picture()
    upload = announce(device, content)
    receive_piece(upload=upload, piece=Piece(0, len(content), content[:1000]), now=NOW)
    with pytest.raises(StateConflictError, match="1000 bytes are here; go on from there"):
        receive_piece(
            upload=upload, piece=Piece(first, len(content), content[first:2000]), now=NOW
        )
    upload.refresh_from_db()
    assert upload.received_bytes == 1000


def test_a_photo_sent_twice_is_stored_once(agency, device):
    sign, content = make_sign(agency), picture()
    upload = announce(device, content, result={"sign_id": sign.pk})
    first = send(upload, content)
    again = send(upload, content)
    assert (again.state, again.photo) == (first.state, first.photo)
    assert Photo.objects.count() == 1


def test_a_photo_waits_for_its_operation_and_is_stored_once_that_is_applied(
    agency, device, django_capture_on_commit_callbacks
):
    sign, content = make_sign(agency), picture()
    upload = announce(device, content, state=State.HELD)
    waiting = send(upload, content)
    assert (waiting.state, waiting.sentence) == (PhotoUpload.State.ANNOUNCED, WAITS)
    operation = upload.operation
    operation.state, operation.result = State.APPLIED, {"sign_id": sign.pk}
    operation.save()
    with django_capture_on_commit_callbacks(execute=True):
        attach_waiting([operation.pk], NOW)
    upload.refresh_from_db()
    assert (upload.state, photo_of(upload).sign) == (PhotoUpload.State.STORED, sign)


def test_an_applied_operation_does_not_store_half_a_photo(
    agency, device, django_capture_on_commit_callbacks
):
    content = picture()
    upload = announce(device, content, result={"sign_id": make_sign(agency).pk})
    receive_piece(upload=upload, piece=Piece(0, len(content), content[:100]), now=NOW)
    with django_capture_on_commit_callbacks(execute=True):
        attach_waiting([upload.operation_id], NOW)
    assert not Photo.objects.exists()


def test_a_photo_damaged_on_the_way_is_asked_for_again(agency, device):
    sign, content = make_sign(agency), picture()
    upload = announce(device, content, result={"sign_id": sign.pk})
    damaged = content[:500] + b"\0" + content[501:]
    told = send(upload, damaged)
    assert (told.state, told.received_bytes) == (PhotoUpload.State.ANNOUNCED, 0)
    assert told.sentence == BEGIN_AGAIN
    assert send(upload, content, step=700).state == PhotoUpload.State.STORED


def test_the_same_wrong_bytes_a_second_time_are_refused_and_kept(device):
    content = picture()
    upload = announce(device, content, sha256="0" * 64)
    assert send(upload, content).state == PhotoUpload.State.ANNOUNCED
    refused = send(upload, content)
    assert refused.state == PhotoUpload.State.REFUSED
    assert "another hash" in refused.sentence
    assert refused_content(refused) == content


def test_a_photo_with_more_bytes_than_are_taken_is_refused_before_they_come(device):
    upload = announce(device, b"", size_bytes=MAXIMUM_SIZE_BYTES + 1)
    told = receive_piece(
        upload=upload, piece=Piece(0, MAXIMUM_SIZE_BYTES + 1, b"first bytes"), now=NOW
    )
    assert told.state == PhotoUpload.State.REFUSED
    assert "20.0 MB; at most 20 MB are taken" in told.sentence
    assert kept_files(upload) == []


def test_what_is_no_picture_is_refused_in_a_sentence_and_kept(agency, device):
    content = b"no picture at all" * 100
    upload = announce(device, content, result={"sign_id": make_sign(agency).pk})
    refused = send(upload, content)
    assert refused.state == PhotoUpload.State.REFUSED
    assert "not a picture that can be read" in refused.sentence
    assert refused_content(refused) == content
    assert not Photo.objects.exists()


def test_a_photo_with_no_sign_to_keep_it_with_is_refused_and_kept(device):
    content = picture()
    refused = send(announce(device, content, kind="check", result={"check_id": 1}), content)
    assert (refused.state, refused_content(refused)) == (PhotoUpload.State.REFUSED, content)


@pytest.mark.parametrize(
    ("piece", "words"),
    [
        (Piece(0, 11, b"0123456789"), "a photo of 11 bytes, but 10 were announced"),
        (Piece(0, 10, b"0123456789+"), "goes on to byte 11 of a photo of 10"),
    ],
)
def test_a_piece_that_cannot_be_of_the_photo_is_refused(device, piece, words):
    upload = announce(device, b"0123456789")
    with pytest.raises(OutOfRangeError, match=words):
        receive_piece(upload=upload, piece=piece, now=NOW)


def test_a_piece_larger_than_is_taken_at_a_time_is_refused(device):
    size = MAXIMUM_PIECE_BYTES + 1
    upload = announce(device, b"", size_bytes=size)
    with pytest.raises(OutOfRangeError, match="at most 5000000 are taken at a time"):
        receive_piece(upload=upload, piece=Piece(0, size, bytes(size)), now=NOW)


def test_media_that_lost_a_piece_are_filled_again(agency, device):
    sign, content = make_sign(agency), picture()
    upload = announce(device, content, result={"sign_id": sign.pk})
    receive_piece(upload=upload, piece=Piece(0, len(content), content[:1000]), now=NOW)
    default_storage.delete(f"{FOLDER}/{upload.client_uuid}/pieces/{0:012d}")
    told = send(upload, content, first=1000)
    assert (told.received_bytes, told.sentence) == (0, BEGIN_AGAIN)
    assert send(upload, content).state == PhotoUpload.State.STORED


def test_a_whole_photo_of_an_outbox_file_takes_the_place_of_its_pieces(agency, device):
    sign, content = make_sign(agency), picture()
    upload = announce(device, content, result={"sign_id": sign.pk})
    receive_piece(upload=upload, piece=Piece(0, len(content), content[:1000]), now=NOW)
    stored = receive_photo(
        device=device, photo_uuid=upload.client_uuid, content=content, now=NOW
    )
    assert stored.state == PhotoUpload.State.STORED
    again = receive_photo(
        device=device, photo_uuid=upload.client_uuid, content=content, now=NOW
    )
    assert again.photo == stored.photo


def test_a_photo_nobody_announced_is_not_taken(agency, device):
    upload = announce(make_device(agency), picture())
    assert find_upload(device=device, photo_uuid=upload.client_uuid) is None
    with pytest.raises(OutOfRangeError, match="send its operation first"):
        receive_photo(device=device, photo_uuid=upload.client_uuid, content=b"", now=NOW)


@pytest.mark.django_db(transaction=True)
def test_two_connections_with_the_same_pieces_store_one_photo():
    agency = make_agency()
    sign, content = make_sign(agency), picture()
    upload = announce(make_device(agency), content, result={"sign_id": sign.pk})

    def phone() -> None:
        while (here := PhotoUpload.objects.get(pk=upload.pk)).state == "announced":
            first = here.received_bytes
            piece = Piece(first, len(content), content[first : first + 900])
            try:
                receive_piece(upload=here, piece=piece, now=NOW)
            except StateConflictError:
                continue  # the other connection was faster; ask where to go on

    assert together(phone, phone) == [None, None]
    photo = Photo.objects.get()
    assert photo.sha256 == hashlib.sha256(content).hexdigest()
    upload.refresh_from_db()
    assert upload.photo == photo
    assert kept_files(upload) == []


@pytest.mark.django_db(transaction=True)
def test_a_last_piece_and_its_operation_at_the_same_moment_leave_no_photo_waiting():
    agency = make_agency()
    sign, content = make_sign(agency), picture()
    device = make_device(agency)
    for _ in range(4):
        upload = announce(device, content, state=State.HELD)
        receive_piece(upload=upload, piece=Piece(0, len(content), content[:-10]), now=NOW)

        def last_piece(upload: PhotoUpload = upload) -> None:
            piece = Piece(len(content) - 10, len(content), content[-10:])
            receive_piece(upload=upload, piece=piece, now=NOW)

        def applied(upload: PhotoUpload = upload) -> None:
            with transaction.atomic():
                DeviceOperation.objects.filter(pk=upload.operation_id).update(
                    state=State.APPLIED, result={"sign_id": sign.pk}
                )
                attach_waiting([upload.operation_id], NOW)

        assert together(last_piece, applied) == [None, None]
        upload.refresh_from_db()
        assert upload.state == PhotoUpload.State.STORED


def test_settling_what_is_stored_or_not_whole_changes_nothing(agency, device):
    content = picture()
    upload = announce(device, content, result={"sign_id": make_sign(agency).pk})
    assert settle_upload(upload=upload, now=NOW).state == PhotoUpload.State.ANNOUNCED
    stored = send(upload, content)
    assert settle_upload(upload=stored, now=NOW).photo == stored.photo


def refused(device, content=b"no picture at all" * 100, **fields):
    fields.setdefault("result", {"check_id": 1})
    return send(announce(device, content, kind="check", **fields), content)


def test_a_person_keeps_a_refused_photo_with_the_sign_it_shows(
    agency, device, django_capture_on_commit_callbacks
):
    sign, content = make_sign(agency), picture()
    upload = refused(device, content)
    assert list(refused_photos(agency)) == [upload]
    with django_capture_on_commit_callbacks(execute=True):
        kept = keep_with_sign(upload=upload, sign=sign, by=None, now=NOW)
    assert (kept.state, photo_of(kept).sign) == (PhotoUpload.State.STORED, sign)
    assert photo_of(kept).recorded_by == upload.operation.person
    assert not refused_photos(agency).exists()
    assert kept_files(upload) == []


def test_what_is_no_picture_is_not_kept_with_a_sign_either(agency, device):
    upload = refused(device)
    with pytest.raises(OutOfRangeError, match="not a picture"):
        keep_with_sign(upload=upload, sign=make_sign(agency), by=None, now=NOW)
    with pytest.raises(StateConflictError, match="not a sign of"):
        keep_with_sign(upload=upload, sign=make_sign(make_agency()), by=None, now=NOW)
    upload.refresh_from_db()
    assert upload.state == PhotoUpload.State.REFUSED


def test_a_photo_of_which_nothing_came_cannot_be_kept(agency, device):
    upload = announce(device, b"", size_bytes=MAXIMUM_SIZE_BYTES + 1)
    receive_piece(upload=upload, piece=Piece(0, upload.size_bytes, b"x"), now=NOW)
    with pytest.raises(StateConflictError, match="Nothing of this photo is here"):
        keep_with_sign(upload=upload, sign=make_sign(agency), by=None, now=NOW)


def test_a_refused_photo_is_set_aside_with_a_reason_and_its_bytes_are_kept(agency, device):
    upload = refused(device)
    with pytest.raises(OutOfRangeError, match="Say in a few words why"):
        set_aside(upload=upload, reason="  ", by=None, now=NOW)
    aside = set_aside(upload=upload, reason="a finger on the lens", by=None, now=NOW)
    assert not refused_photos(agency).exists()
    assert refused_content(aside) == b"no picture at all" * 100
    assert "a finger on the lens" in LogbookEntry.objects.latest("pk").text
    with pytest.raises(StateConflictError, match="is set aside; there is nothing to decide"):
        set_aside(upload=upload, reason="again", by=None, now=NOW)
