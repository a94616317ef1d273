"""What phones send is applied exactly once, or refused and kept."""

import json
import uuid
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError

from inventory.errors import OutOfRangeError
from inventory.models import (
    Device,
    DeviceBatch,
    DeviceOperation,
    Inspection,
    InstrumentCheck,
    RefusedEntry,
)
from inventory.services.exchange.content import read_batch, sha256_of
from inventory.services.exchange.settling import open_operations
from inventory.services.inspection_batch import record_inspections
from tests.factories import NOW, make_agency, make_instrument, make_sign, position_of
from tests.services.exchange.phones import (
    Phone,
    envelope,
    note_of,
    only,
    readings_of,
    said,
)

pytestmark = pytest.mark.django_db

APPLIED, AGAIN = ("applied", ""), ("already_applied", "")


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def phone(agency):
    return Phone(agency)


def state_of(sent):
    operation = DeviceOperation.objects.get(client_uuid=sent.client_uuid)
    return (operation.state, operation.code)


def notes():
    return sorted(Inspection.objects.values_list("note", flat=True))


def test_readings_are_stored_as_typed_and_answered_with_the_verdict(agency, phone):
    sign = make_sign(agency)
    phone.record("inspection", readings_of({"id": sign.pk}, "40.50", "6.0"))
    answer = only(phone.send())
    assert (answer.answer, answer.result["sign_id"]) == ("applied", sign.pk)
    # MUTCD 11th edition (2023), Table 2A-5: red 6 is below 7.
    assert answer.result["verdict"] == "below"
    stored = Inspection.objects.get(pk=answer.result["inspection_id"])
    typed = [r.typed for s in stored.reading_sets.all() for r in s.readings.all()]
    assert typed == ["40.50", "6.0"]
    assert (stored.inspector, stored.device_offset_minutes) == (phone.user, -300)


def test_the_same_batch_sent_three_times_is_stored_once(agency, phone):
    sign = make_sign(agency)
    for number in range(5):
        phone.note(sign, f"visit {number}")
    assert said(phone.send()) == [APPLIED] * 5
    assert said(phone.send()) == [AGAIN] * 5
    assert said(phone.send()) == [AGAIN] * 5
    assert Inspection.objects.count() == DeviceOperation.objects.count() == 5
    assert DeviceBatch.objects.count() == 1


def test_an_operation_twice_in_one_batch_is_stored_once(agency, phone):
    sent = phone.note(make_sign(agency))
    assert said(phone.send([sent, sent])) == [APPLIED, AGAIN]
    assert Inspection.objects.count() == 1


def test_what_was_sent_is_kept_as_it_was_sent(agency, phone):
    found = {
        "by": "nearest",
        "latitude_deg": 43.00001,
        "longitude_deg": -89.5,
        "accuracy_m": 6.5,
        "candidate_count": 3,
    }
    sent = phone.note(make_sign(agency), "Überdeckt – 3″", identified=found)
    phone.send()
    kept = DeviceOperation.objects.get()
    assert (kept.content, kept.content_sha256) == (sent.content, sent.sha256)
    assert (kept.identified_by, kept.fix_accuracy_m, kept.candidate_count) == (
        "nearest",
        6.5,
        3,
    )
    assert Inspection.objects.get().note == "Überdeckt – 3″"


def test_a_phone_fix_moves_no_support(agency, phone):
    sign = make_sign(agency)
    found = {"by": "nearest", "latitude_deg": 10.0, "longitude_deg": 10.0, "accuracy_m": 3.0}
    phone.note(sign, identified=found)
    phone.send()
    support = position_of(sign).support
    support.refresh_from_db()
    assert support.latitude_deg == 43.0


def test_a_check_of_an_instrument_is_recorded_as_typed(agency, phone):
    instrument = make_instrument(agency)
    values = {"reference_ra_cd_lx_m2": "250.0", "shown_ra_cd_lx_m2": "251.2"}
    payload = {"instrument_id": instrument.pk, "moment": "before", **values}
    phone.record("check", payload)
    result = only(phone.send()).result
    check = InstrumentCheck.objects.get(pk=result["check_id"])
    assert (check.is_within_tolerance, check.checked_by) == (True, phone.user)


def test_another_agencys_sign_cannot_be_written_to(agency, phone):
    phone.note(make_sign(make_agency()))
    assert only(phone.send()).answer == "refused"
    assert not Inspection.objects.exists()


def test_the_same_id_with_other_content_is_refused_and_both_are_kept(agency, phone):
    sign = make_sign(agency)
    first = phone.note(sign, "first")
    phone.send()
    changed = json.loads(first.content) | {"payload": note_of({"id": sign.pk}, "second")}
    answer = only(phone.send([envelope(changed)]))
    assert (answer.answer, answer.code) == ("refused", "other_content")
    assert notes() == ["first"]
    entry = RefusedEntry.objects.get()
    assert entry.kind == "operation"
    assert "second" in entry.payload["content"]
    phone.send([envelope(changed)])
    assert RefusedEntry.objects.count() == 1  # the same thing refused again is kept once


def test_an_id_of_another_agency_is_neither_told_nor_overwritten(agency, phone):
    other_agency = make_agency()
    other = Phone(other_agency)
    theirs = other.note(make_sign(other_agency), "theirs")
    other.send()
    ours = json.loads(theirs.content) | {"user_id": phone.user.pk}
    for sent in (theirs, envelope(ours)):
        answer = only(phone.send([sent]))
        assert (answer.answer, answer.code, answer.result) == ("refused", "other_content", {})
    assert notes() == ["theirs"]


@pytest.mark.parametrize(
    "damage",
    [
        lambda sent: replace(sent, content=sent.content + " "),
        lambda sent: replace(sent, sha256="0" * 64),
        lambda sent: replace(sent, client_uuid=str(uuid.uuid4())),
        lambda sent: replace(sent, client_uuid="not a uuid"),
    ],
)
def test_what_was_damaged_on_the_way_is_refused_and_may_come_again(agency, phone, damage):
    sent = phone.note(make_sign(agency))
    answer = only(phone.send([damage(sent)]))
    assert (answer.answer, answer.code) == ("refused", "broken")
    assert answer.sentence.endswith(".")
    assert not DeviceOperation.objects.exists()
    assert RefusedEntry.objects.get().payload["content"].strip() == sent.content
    assert said(phone.send([sent])) == [APPLIED]


def test_a_damaged_one_is_settled_when_it_arrives_whole(agency, phone):
    sent = phone.note(make_sign(agency))
    phone.send([replace(sent, content=sent.content[:-1])])
    assert RefusedEntry.objects.get().settled_at is None
    phone.send([sent])
    assert RefusedEntry.objects.get().settled_at == NOW


@pytest.mark.parametrize(
    "wrong",
    [
        {"sequence": 0},
        {"sequence": True},
        {"sequence": 10**30},
        {"kind": ""},
        {"kind": "x" * 25},
        {"device_at": "yesterday"},
        {"device_at": "2026-06-01T10:00:00"},
        {"device_at": "0001-01-01T00:00:00+14:00"},
        {"device_offset_minutes": 900},
        {"needs": "all"},
        {"needs": ["x"]},
        {"photos": [{"photo_uuid": "x"}]},
        {"identified": {"by": "smell"}},
        {"payload": []},
        {"payload": {"sign": json.loads("[" * 600 + "]" * 600)}},
        {"user_id": "5"},
    ],
)
def test_a_content_of_the_wrong_shape_is_kept_as_broken(agency, phone, wrong):
    whole = json.loads(phone.note(make_sign(agency)).content)
    sent = envelope(whole | wrong)
    assert said(phone.send([sent])) == [("refused", "broken")]
    assert RefusedEntry.objects.get().payload["content"] == sent.content


@pytest.mark.parametrize("text", ["[" * 100_000, "NaN", "[]", "{", '{"a": 1e999}', ""])
def test_a_text_that_is_no_content_is_kept_as_broken(agency, phone, text):
    sent = phone.note(make_sign(agency))
    hashed = envelope({"client_uuid": sent.client_uuid})
    hashed = replace(hashed, content=text, sha256=sha256_of(text))
    assert said(phone.send([hashed])) == [("refused", "broken")]


def test_characters_no_database_holds_do_not_stop_a_phone(agency, phone):
    sign = make_sign(agency)
    for words in ("nul \0 inside", "half \ud83d of one"):
        content = json.loads(phone.note(sign).content)
        content["payload"]["note"] = words
        text = json.dumps(content)  # escapes both, as a phone's JSON.stringify does
        sent = replace(phone.kept[-1], content=text, sha256=sha256_of(text))
        assert said(phone.send([sent])) == [APPLIED]
        assert DeviceOperation.objects.get(client_uuid=sent.client_uuid).content == text
    assert notes() == ["half ? of one", "nul \N{SYMBOL FOR NULL} inside"]


def test_an_unknown_kind_is_refused_and_kept(agency, phone):
    sent = phone.record("telepathy", {"thought": "dim"})
    answer = only(phone.send())
    assert (answer.answer, answer.code) == ("refused", "unknown_kind")
    assert state_of(sent) == ("refused", "unknown_kind")
    assert [o.kind for o in open_operations(agency)] == ["telepathy"]


def test_what_is_unlikely_is_refused_until_it_is_sent_again_confirmed(agency, phone):
    sign = {"id": make_sign(agency).pk}
    swapped = phone.record("inspection", readings_of(sign, "6.0", "40"))
    assert said(phone.send()) == [("refused", "unlikely")]
    assert said(phone.send([swapped])) == [("refused", "unlikely")]
    confirmed = readings_of(sign, "6.0", "40", is_confirmed=True)
    phone.record("inspection", confirmed, replaces=swapped.client_uuid)
    assert said(phone.send()) == [("refused", "unlikely"), APPLIED]
    assert Inspection.objects.count() == 1
    assert DeviceOperation.objects.count() == 2  # both are kept
    settled = DeviceOperation.objects.get(client_uuid=swapped.client_uuid)
    assert (settled.state, settled.settled_by) == ("refused", phone.user)
    assert not open_operations(agency).exists()


def test_a_content_that_is_no_text_is_kept_as_broken(agency, phone):
    good = phone.note(make_sign(agency))
    odd = [None, 5, {"kind": "inspection"}, json.loads("[" * 900 + "]" * 900)]
    operations: list[dict[str, Any]] = [
        {"client_uuid": str(uuid.uuid4()), "sha256": "a" * 64, "content": each} for each in odd
    ]
    operations.append(vars_of(good))
    batch = read_batch({"sent_at": NOW.isoformat(), "operations": operations})
    assert said(phone.send(batch.operations)) == [("refused", "broken")] * 4 + [APPLIED]
    kept = [each.payload["content"] for each in RefusedEntry.objects.order_by("pk")]
    assert kept[:3] == ["null", "5", '{"kind": "inspection"}']


def vars_of(sent):
    return {name: getattr(sent, name) for name in ("client_uuid", "sha256", "content")}


def test_one_refused_among_many_takes_none_with_it(agency, phone):
    sign = make_sign(agency)
    phone.note(sign, "one")
    phone.record("inspection", readings_of({"id": sign.pk}, "forty", "6"))
    phone.note(sign, "two")
    assert [answer for answer, _code in said(phone.send())] == ["applied", "refused", "applied"]
    assert notes() == ["one", "two"]


@pytest.mark.parametrize("kind", ["check", "inspection"])
def test_one_that_the_server_fails_on_is_held_and_keeps_nothing_else_back(
    agency, phone, monkeypatch, caplog, kind
):
    sign = make_sign(agency)
    phone.note(sign, "before")
    failing = phone.record(kind, {**readings_of({"id": sign.pk}, "40", "6"), "note": "fails"})
    phone.note(sign, "after")

    def fail(content, context):
        raise KeyError(content.kind)

    def store(*, organisation, visits, now):
        if any(visit.note == "fails" for visit in visits):
            raise TypeError
        return record_inspections(organisation=organisation, visits=visits, now=now)

    exchange = "inventory.services.exchange"
    with monkeypatch.context() as patched:
        patched.setattr(f"{exchange}.applying.KINDS", {"check": fail})
        patched.setattr(f"{exchange}.inspections.record_inspections", store)
        answers = said(phone.send())
    assert answers == [APPLIED, ("held", "not_stored"), APPLIED]
    assert notes() == ["after", "before"]
    assert "was not stored" in caplog.text
    assert state_of(failing) == ("held", "not_stored")


def test_a_database_that_fails_as_a_whole_stores_nothing_of_the_batch(
    agency, phone, monkeypatch
):
    phone.note(make_sign(agency))
    phone.record("check", {})

    def fail(content, context):
        msg = "database or disk is full"
        raise OperationalError(msg)

    monkeypatch.setattr("inventory.services.exchange.applying.KINDS", {"check": fail})
    with pytest.raises(OperationalError):
        phone.send()
    assert not Inspection.objects.exists()
    assert not DeviceOperation.objects.exists()


def test_what_an_older_or_a_newer_app_recorded_is_taken(agency, phone):
    sign = make_sign(agency)
    content = json.loads(phone.note(sign, "older").content)
    for name in ("base_version", "needs", "replaces", "identified", "photos", "app_version"):
        del content[name]
    newer = json.loads(phone.note(sign, "newer").content) | {"tilt_deg": 3}
    newer["payload"]["weather"] = "rain"
    assert said(phone.send([envelope(content), envelope(newer)])) == [APPLIED, APPLIED]
    assert "tilt_deg" in DeviceOperation.objects.get(client_uuid=newer["client_uuid"]).content


def test_a_frame_that_is_wrong_is_refused_in_a_sentence():
    wrongs: tuple[Any, ...] = (
        [],
        {"sent_at": "now", "operations": []},
        {"sent_at": NOW.isoformat(), "operations": [1]},
        {"sent_at": NOW.isoformat(), "operations": [{}] * 1001},
        {"sent_at": NOW.isoformat(), "operations": [], "ask": ["x"]},
        {"sent_at": NOW.isoformat(), "operations": [], "epoch": 5},
    )
    for wrong in wrongs:
        with pytest.raises(OutOfRangeError, match=r"\.$"):
            read_batch(wrong)


def test_a_batch_costs_no_more_queries_for_more_visits(
    agency, phone, django_assert_max_num_queries
):
    signs = [make_sign(agency) for _ in range(40)]
    for sign in signs:
        phone.note(sign)
    with django_assert_max_num_queries(70):
        phone.send()
    assert Inspection.objects.count() == 40
    with django_assert_max_num_queries(16):
        phone.send()


def test_the_phone_is_heard(agency, phone):
    later = NOW + timedelta(minutes=5)
    phone.send([], now=later)
    assert Device.objects.get().last_heard_at == later
