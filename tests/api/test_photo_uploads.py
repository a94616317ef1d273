"""Photos in pieces over the API: ranges, the phone's key, and what a wrong piece is told."""

from __future__ import annotations

import uuid

import pytest
from django.http import UnreadablePostError
from django.test import RequestFactory

from inventory.api.photo_uploads import _read_body
from inventory.models import DeviceOperation, Photo, PhotoUpload
from inventory.services.exchange.devices import hash_of
from tests.factories import make_agency, make_sign
from tests.services.test_photo_uploads import announce, make_device, picture
from tests.web.acting import stop_the_clock

pytestmark = pytest.mark.django_db
KEY = "k" * 43
STEP = 1500


@pytest.fixture(autouse=True)
def _here(settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT = tmp_path / "media"
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def device(agency):
    made = make_device(agency)
    made.key_sha256 = hash_of(KEY)
    made.save()
    return made


def shown_key(device, key=KEY):
    return {"Authorization": f"Device {device.device_uuid}:{key}"}


def put(client, device, upload, content, first=0, last=None, total=None, **headers):
    last = first + len(content) - 1 if last is None else last
    total = upload.size_bytes if total is None else total
    return client.put(
        f"/api/v1/photo-uploads/{upload.client_uuid}",
        content,
        content_type="application/octet-stream",
        headers={"Content-Range": f"bytes {first}-{last}/{total}", **shown_key(device)}
        | headers,
    )


def ask(client, device, upload):
    return client.get(f"/api/v1/photo-uploads/{upload.client_uuid}", headers=shown_key(device))


def test_a_photo_is_asked_about_sent_in_pieces_and_stored(client, agency, device):
    content = picture()
    upload = announce(device, content, result={"sign_id": make_sign(agency).pk})
    assert ask(client, device, upload).json() == {
        "received_bytes": 0,
        "size_bytes": len(content),
        "state": "announced",
        "sentence": "",
    }
    for first in range(0, len(content), STEP):
        answer = put(client, device, upload, content[first : first + STEP], first)
        assert answer.status_code == 200
        assert answer.json()["received_bytes"] == min(first + STEP, len(content))
    assert answer.json()["state"] == "stored"
    assert Photo.objects.count() == 1


def test_a_piece_elsewhere_is_told_where_to_go_on(client, device):
    content = picture()
    upload = announce(device, content)
    put(client, device, upload, content[:STEP])
    answer = put(client, device, upload, content[: STEP // 2])
    assert answer.status_code == 409
    assert answer.json()["received_bytes"] == STEP
    assert answer.json()["state"] == "announced"
    assert "go on from there" in answer.json()["error"]["message"]


def test_a_piece_cut_short_counts_as_far_as_it_came(client, device):
    content = picture()
    upload = announce(device, content)
    answer = put(client, device, upload, content[:700], last=STEP - 1)
    assert (answer.status_code, answer.json()["received_bytes"]) == (200, 700)


def test_what_came_before_the_line_was_cut_is_kept(monkeypatch):
    request = RequestFactory().put("/", b"x" * 1000, content_type="image/jpeg")
    parts = iter([b"abc", b"de"])

    def read(_size):
        try:
            return next(parts)
        except StopIteration:
            raise UnreadablePostError from None

    monkeypatch.setattr(request, "read", read)
    wrapped = type("Asked", (), {"_request": request})()
    assert _read_body(wrapped, 1000) == b"abcde"


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("", "does not say which bytes"),
        ("bytes 0-9", "does not say which bytes"),
        ("bytes 9-0/10", "would have -8 bytes"),
        ("bytes 0-5000000/6000000", "would have 5000001 bytes; 1 to 5000000"),
        ("bytes 0-4/11", "a photo of 11 bytes, but 10 were announced"),
    ],
)
def test_a_range_that_cannot_be_is_answered_in_a_sentence(client, device, header, words):
    upload = announce(device, b"0123456789")
    answer = put(client, device, upload, b"01234", **{"Content-Range": header})
    assert answer.status_code == 400
    assert words in answer.json()["error"]["message"]


def test_more_bytes_than_the_range_names_are_refused(client, device):
    upload = announce(device, b"0123456789")
    answer = put(client, device, upload, b"012345", last=2)
    assert answer.status_code == 400
    assert "More bytes came than the 3" in answer.json()["error"]["message"]
    assert ask(client, device, upload).json()["received_bytes"] == 0


def test_a_refused_photo_tells_the_phone_why(client, agency, device):
    content = b"no picture" * 20
    upload = announce(device, content, result={"sign_id": make_sign(agency).pk})
    answer = put(client, device, upload, content).json()
    assert answer["state"] == "refused"
    assert "not a picture" in answer["sentence"]
    # Asked again, it is told the same.
    assert ask(client, device, upload).json() == answer


def test_a_phone_that_asks_later_finds_its_photo_stored(client, agency, device):
    content = picture()
    upload = announce(device, content, state=DeviceOperation.State.HELD)
    assert put(client, device, upload, content).json()["state"] == "announced"
    # Applied by a server that was killed before it came to the photo.
    DeviceOperation.objects.filter(pk=upload.operation_id).update(
        state=DeviceOperation.State.APPLIED, result={"sign_id": make_sign(agency).pk}
    )
    assert ask(client, device, upload).json()["state"] == "stored"


def test_a_photo_is_for_the_phone_that_announced_it(client, agency, device):
    upload = announce(device, picture())
    other = make_device(agency)
    other.key_sha256 = hash_of(KEY)
    other.save()
    for answer in (ask(client, other, upload), put(client, other, upload, b"x")):
        assert answer.status_code == 404
        assert "send its operation first" in answer.json()["error"]["message"]
    upload.refresh_from_db()
    assert upload.received_bytes == 0


@pytest.mark.parametrize("key", ["", "another", "K" * 43])
def test_without_its_key_no_phone_sends_or_asks(client, device, key):
    upload = announce(device, picture())
    answer = put(client, device, upload, b"x", **shown_key(device, key))
    assert answer.status_code == 401
    assert PhotoUpload.objects.get().received_bytes == 0


def test_a_photo_nobody_announced_is_not_there(client, device):
    answer = client.get(f"/api/v1/photo-uploads/{uuid.uuid4()}", headers=shown_key(device))
    assert answer.status_code == 404
