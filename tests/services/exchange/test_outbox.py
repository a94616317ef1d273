"""A file that a phone exported is applied as if the phone had sent it."""

import base64
import hashlib
import io
import json
import uuid

import pytest
from django.core.management import CommandError, call_command
from PIL import Image

from inventory.errors import OutOfRangeError
from inventory.models import (
    Device,
    DeviceOperation,
    ExchangeEpoch,
    Inspection,
    PhotoUpload,
    RefusedEntry,
)
from inventory.services.exchange.outbox import import_outbox, read_outbox
from tests.factories import NOW, make_agency, make_sign
from tests.services.exchange.phones import Phone, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def phone(agency):
    return Phone(agency)


def file_of(phone, **fields):
    return {
        "format": "signfleet outbox",
        "version": 1,
        "device_uuid": str(phone.device.device_uuid),
        "operations": [
            {"client_uuid": o.client_uuid, "sha256": o.sha256, "content": o.content}
            for o in phone.kept
        ],
        "photos": [],
    } | fields


def bring(data, **fields):
    return import_outbox(outbox=read_outbox(data), now=NOW, **fields)


def test_a_file_is_applied_once_however_often_it_is_brought(agency, phone):
    sign = make_sign(agency)
    phone.note(sign, "one")
    phone.note(sign, "two")
    phone.record("telepathy", {})
    assert bring(file_of(phone)).counts == {"applied": 2, "refused": 1}
    assert bring(file_of(phone)).counts == {"already_applied": 2, "refused": 1}
    assert Inspection.objects.count() == 2
    # The phone gets signal after all, and is answered the same.
    assert said(phone.send()) == [
        ("already_applied", ""),
        ("already_applied", ""),
        ("refused", "unknown_kind"),
    ]


def test_the_steps_of_a_long_file_are_told(agency, phone):
    sign = make_sign(agency)
    for number in range(501):
        phone.note(sign, str(number))
    told = []
    report = bring(file_of(phone), progress=lambda done, total: told.append((done, total)))
    assert report.counts == {"applied": 501}
    assert told == [(500, 501), (501, 501)]


def test_a_photo_in_the_file_is_stored_with_its_operation(agency, phone):
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "red").save(picture, "JPEG")
    content = picture.getvalue()
    photo_uuid = str(uuid.uuid4())
    photo = {
        "photo_uuid": photo_uuid,
        "sha256": hashlib.sha256(content).hexdigest(),
        "size_bytes": len(content),
        "role": "seen",
    }
    phone.note(make_sign(agency), photos=[photo])
    text = base64.b64encode(content).decode()
    photos = [
        {"photo_uuid": photo_uuid, "base64": text},
        {"photo_uuid": str(uuid.uuid4()), "base64": text},
        {"photo_uuid": photo_uuid, "base64": "§"},
    ]
    data = file_of(phone, photos=photos)
    for _time in range(2):
        report = bring(data)
        assert report.photo_counts == {"stored": 1, "refused": 2}
        assert len(report.photo_problems) == 2
    assert PhotoUpload.objects.get().state == "stored"


def test_what_is_damaged_in_the_file_is_kept(agency, phone):
    phone.note(make_sign(agency))
    data = file_of(phone)
    data["operations"][0]["content"] += " "
    assert bring(data).counts == {"refused": 1}
    assert RefusedEntry.objects.get().payload["content"] == data["operations"][0]["content"]


@pytest.mark.parametrize("device_uuid", ["5d0f8a1e-7c43-4b39-9a56-2f1f6f0f3b10", None])
def test_a_phone_not_known_here_needs_an_organisation_and_what_it_holds_is_held(
    agency, phone, device_uuid
):
    phone.note(make_sign(agency))
    data = file_of(phone, device_uuid=device_uuid)
    with pytest.raises(OutOfRangeError, match="--organisation"):
        bring(data)
    for _time in range(2):
        report = bring(data, organisation=agency)
        assert report.counts == {"held": 1}
    assert DeviceOperation.objects.get().code == "unknown_person"
    assert Device.objects.count() == 2


def test_a_file_of_another_agencys_phone_is_not_taken_for_ones_own(agency, phone):
    with pytest.raises(OutOfRangeError, match="not of"):
        bring(file_of(phone), organisation=make_agency())


@pytest.mark.parametrize(
    "wrong",
    [
        [],
        {"format": "something else"},
        {"format": "signfleet outbox", "version": 2, "operations": []},
        {"format": "signfleet outbox", "version": 1, "operations": {}},
        {
            "format": "signfleet outbox",
            "version": 1,
            "operations": [],
            "photos": [{"photo_uuid": str(uuid.uuid4())}],
        },
    ],
)
def test_a_file_of_another_kind_is_refused_in_a_sentence(wrong):
    with pytest.raises(OutOfRangeError, match=r"\.$"):
        read_outbox(wrong)


def test_the_command_says_what_became_of_the_file(agency, phone, tmp_path):
    phone.note(make_sign(agency))
    phone.record("telepathy", {})
    file = tmp_path / "outbox.json"
    file.write_text(json.dumps(file_of(phone)), encoding="utf-8")
    out = io.StringIO()
    call_command("import_outbox", str(file), stdout=out)
    said_lines = out.getvalue()
    assert "1 applied, 1 refused" in said_lines
    assert phone.kept[1].client_uuid in said_lines
    call_command("import_outbox", str(file), organisation=agency.name, stdout=out)
    assert "1 already applied, 1 refused" in out.getvalue()


def test_the_command_refuses_what_it_cannot_read(tmp_path):
    file = tmp_path / "outbox.json"
    file.write_text("{", encoding="utf-8")
    with pytest.raises(CommandError, match="nothing was applied"):
        call_command("import_outbox", str(file))
    with pytest.raises(CommandError, match="No such file"):
        call_command("import_outbox", str(tmp_path / "none.json"))
    with pytest.raises(CommandError, match="There is no organisation"):
        call_command("import_outbox", str(file), organisation="Nowhere")


def test_a_new_epoch_by_hand_says_why():
    out = io.StringIO()
    call_command("new_epoch", reason="Restored the backup of Monday.", stdout=out)
    epoch = ExchangeEpoch.objects.get()
    assert (str(epoch.epoch) in out.getvalue(), epoch.reason) == (
        True,
        "Restored the backup of Monday.",
    )
    with pytest.raises(CommandError, match="Say in a few words"):
        call_command("new_epoch", reason=" ")
