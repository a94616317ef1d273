"""Phones are taken on and send over the API: with a key of their own, packed or not."""

import gzip
import json
import uuid
import zlib
from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone

from inventory.models import Device, DeviceOperation, ExchangeEpoch, Inspection, Role
from inventory.services.exchange.content import MOST_OPERATIONS
from tests.factories import NOW, make_agency, make_shop, make_sign
from tests.services.exchange.phones import Phone
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db

OPERATIONS = "/api/v1/operations"
DEVICES = "/api/v1/devices/"


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def phone(agency):
    return Phone(agency)


def batch_of(phone, **fields):
    return {
        "app_version": "1",
        "sent_at": NOW.isoformat(),
        "epoch": None,
        "last_acknowledged": None,
        "operations": [
            {"client_uuid": o.client_uuid, "sha256": o.sha256, "content": o.content}
            for o in phone.kept
        ],
        "ask": [],
    } | fields


def send(client, phone, body, key=None, **headers):
    key = phone.key if key is None else key
    return client.post(
        OPERATIONS,
        body if isinstance(body, bytes) else json.dumps(body),
        content_type="application/json",
        headers={"authorization": f"Device {phone.device.device_uuid}:{key}", **headers},
    )


# Taking a phone on.


def test_a_phone_is_taken_on_by_who_is_signed_in_and_sends_with_its_key(client, agency):
    crew = act_as(client, agency, Role.CREW)
    name = {"device_uuid": str(uuid.uuid4()), "name": "Phone 7", "app_version": "1"}
    answer = client.post(DEVICES, name, content_type="application/json").json()
    assert answer["user"] == {"id": crew.pk, "name": str(crew)}
    assert answer["organisation"] == {
        "id": agency.pk,
        "name": agency.name,
        "time_zone": agency.time_zone,
    }
    assert answer["epoch"] == str(ExchangeEpoch.objects.get().epoch)
    with_key = {"authorization": f"Device {name['device_uuid']}:{answer['key']}"}
    empty = {"sent_at": NOW.isoformat(), "operations": []}
    sent = Client().post(OPERATIONS, empty, content_type="application/json", headers=with_key)
    assert (sent.status_code, sent.json()["answers"]) == (200, [])
    again = client.post(
        DEVICES, name, content_type="application/json", headers={"x-device-key": answer["key"]}
    )
    assert again.json()["key"] == answer["key"]
    stranger = client.post(DEVICES, name, content_type="application/json")
    assert (stranger.status_code, stranger.json()["error"]["code"]) == (409, "state_conflict")


def test_only_those_who_record_take_a_phone_on(client, agency):
    name = {"device_uuid": str(uuid.uuid4())}
    assert client.post(DEVICES, name, content_type="application/json").status_code == 403
    act_as(client, make_shop(), Role.SHOP)
    assert client.post(DEVICES, name, content_type="application/json").status_code == 403
    assert not Device.objects.exists()


def test_taking_a_phone_on_needs_the_cookie_that_asking_who_i_am_sets(agency):
    client = Client(enforce_csrf_checks=True)
    crew = act_as(client, agency, Role.CREW)
    name = {"device_uuid": str(uuid.uuid4())}
    assert client.post(DEVICES, name, content_type="application/json").status_code == 403
    assert client.get("/api/v1/devices/me/").json()["user"]["id"] == crew.pk
    token = client.cookies["csrftoken"].value
    taken = client.post(
        DEVICES, name, content_type="application/json", headers={"x-csrftoken": token}
    )
    assert taken.status_code == 200


@pytest.mark.parametrize("wrong", [{}, {"device_uuid": "x"}, {"name": "x" * 81}])
def test_a_phone_of_the_wrong_shape_is_refused(client, agency, wrong):
    act_as(client, agency, Role.CREW)
    good = {"device_uuid": str(uuid.uuid4())} if wrong.get("name") else {}
    answer = client.post(DEVICES, good | wrong, content_type="application/json")
    assert answer.status_code == 400


# Sending.


def test_what_a_phone_sends_is_answered_one_by_one(client, agency, phone):
    sign = make_sign(agency)
    phone.note(sign)
    refused = phone.record("telepathy", {})
    answer = send(client, phone, batch_of(phone, ask=[refused.client_uuid])).json()
    assert set(answer) == {"epoch", "server_time", "skew_s", "answers", "news"}
    assert [set(each) for each in answer["answers"] + answer["news"]] == [
        {"client_uuid", "answer", "code", "sentence", "result"}
    ] * 3
    assert [each["answer"] for each in answer["answers"]] == ["applied", "refused"]
    assert answer["answers"][0]["result"]["sign_id"] == sign.pk
    assert answer["news"][0]["code"] == "unknown_kind"


def test_a_gzipped_body_is_taken(client, agency, phone):
    phone.note(make_sign(agency))
    packed = gzip.compress(json.dumps(batch_of(phone)).encode())
    answer = send(client, phone, packed, **{"content-encoding": "gzip"})
    assert [each["answer"] for each in answer.json()["answers"]] == ["applied"]


def test_an_ended_session_or_a_signed_out_person_does_not_stop_a_phone(client, agency, phone):
    act_as(client, agency, Role.CREW)
    Session.objects.all().delete()
    phone.note(make_sign(agency))
    phone.user.set_password("another-long-word")
    phone.user.save()
    assert send(client, phone, batch_of(phone)).json()["answers"][0]["answer"] == "applied"
    client.logout()
    assert send(client, phone, batch_of(phone)).status_code == 200


@pytest.mark.parametrize(
    "header",
    [
        None,
        "Device",
        "Device x:y",
        "Device {uuid}",
        "Device {uuid}:wrong",
        "Device {other}:{key}",
        "Bearer {uuid}:{key}",
    ],
)
def test_without_a_known_key_nothing_is_taken(client, agency, phone, header):
    phone.note(make_sign(agency))
    headers = {}
    if header is not None:
        headers["authorization"] = header.format(
            uuid=phone.device.device_uuid, other=uuid.uuid4(), key=phone.key
        )
    answer = client.post(
        OPERATIONS, batch_of(phone), content_type="application/json", headers=headers
    )
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"] == "Device"
    assert answer.json()["error"]["message"].endswith(".")
    assert not DeviceOperation.objects.exists()


def test_a_session_is_not_a_key(client, agency, phone):
    act_as(client, agency, Role.ENGINEER)
    answer = client.post(OPERATIONS, batch_of(phone), content_type="application/json")
    assert answer.status_code == 401


def test_a_packed_body_is_unpacked_no_further_than_it_may(client, phone):
    bomb = gzip.compress(b" " * 20_000_000)
    assert len(bomb) < 30_000
    answer = send(client, phone, bomb, **{"content-encoding": "gzip"})
    assert (answer.status_code, answer.json()["error"]["code"]) == (413, "too_large")
    # The head of a gzip file (RFC 1952) and stored blocks of nothing (RFC 1951), without end.
    nothing = gzip.compress(b"")[:10] + b"\x00\x00\x00\xff\xff" * 2_000_000
    answer = send(client, phone, nothing, **{"content-encoding": "gzip"})
    assert (answer.status_code, answer.json()["error"]["code"]) == (413, "too_large")
    answer = send(client, phone, b" " * 10_000_001)
    assert (answer.status_code, answer.json()["error"]["code"]) == (413, "too_large")


def test_exactly_as_much_as_is_allowed_is_read(client, phone):
    start = json.dumps({"sent_at": NOW.isoformat(), "operations": []}).encode()
    full = start + b" " * (10_000_000 - len(start))
    for body, headers in ((full, {}), (gzip.compress(full), {"content-encoding": "gzip"})):
        assert send(client, phone, body, **headers).status_code == 200


@pytest.mark.parametrize("cut", [b"", b"\x1f\x8b", b"no gzip at all"])
def test_a_body_damaged_on_the_way_says_so(client, agency, phone, cut):
    phone.note(make_sign(agency))
    whole = gzip.compress(json.dumps(batch_of(phone)).encode())
    for body in (cut or whole[:-9], whole[: len(whole) // 2]):
        answer = send(client, phone, body, **{"content-encoding": "gzip"})
        assert (answer.status_code, answer.json()["error"]["code"]) == (400, "damaged")
    for body in (b'{"sent_at": ', b"[" * 100_000, zlib.compress(b"{}")):
        answer = send(client, phone, body)
        assert (answer.status_code, answer.json()["error"]["code"]) == (400, "damaged")
    assert not DeviceOperation.objects.exists()


def test_a_body_packed_otherwise_is_refused(client, phone):
    answer = send(client, phone, b"{}", **{"content-encoding": "br"})
    assert answer.status_code == 400
    assert "gzipped" in answer.json()["error"]["message"]


def test_more_operations_than_a_batch_takes_are_refused(client, agency, phone):
    sent = phone.note(make_sign(agency))
    one = {"client_uuid": sent.client_uuid, "sha256": sent.sha256, "content": sent.content}
    many = batch_of(phone, operations=[one] * (MOST_OPERATIONS + 1))
    answer = send(client, phone, many)
    assert (answer.status_code, answer.json()["error"]["code"]) == (400, "out_of_range")
    assert not DeviceOperation.objects.exists()


def test_the_skew_is_told(client, agency, phone, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW + timedelta(seconds=400))
    answer = send(client, phone, batch_of(phone)).json()
    assert answer["skew_s"] == 400.0


def test_anybody_may_ask_whether_the_server_answers(client):
    first, second = (client.get("/api/v1/operations/ping").json() for _ in range(2))
    assert first["epoch"] == second["epoch"] == str(ExchangeEpoch.objects.get().epoch)
    assert client.post("/api/v1/operations/ping").status_code == 405


def test_an_administrators_phone_records_too(client, agency):
    act_as(client, agency, Role.ADMINISTRATOR)
    name = {"device_uuid": str(uuid.uuid4())}
    assert client.post(DEVICES, name, content_type="application/json").status_code == 200


def test_the_description_names_the_exchange(client, agency):
    act_as(client, agency)
    schema = client.get("/api/v1/schema/", headers={"accept": "application/json"}).json()
    assert "post" in schema["paths"]["/api/v1/operations"]
    security = schema["paths"]["/api/v1/operations"]["post"]["security"]
    assert security == [{"deviceKey": []}]


def test_a_server_that_fails_stores_nothing_and_the_same_may_be_sent_again(
    agency, phone, monkeypatch
):
    phone.note(make_sign(agency))

    def fail(*_args, **_kwargs):
        msg = "the disk is full"
        raise OSError(msg)

    failing = Client(raise_request_exception=False)
    with monkeypatch.context() as patched:
        patched.setattr("inventory.services.exchange.receive.store", fail)
        answer = send(failing, phone, batch_of(phone))
    assert (answer.status_code, answer.json()["error"]["code"]) == (500, "server_failed")
    assert not Inspection.objects.exists()
    answer = send(failing, phone, batch_of(phone))
    assert answer.json()["answers"][0]["answer"] == "applied"
