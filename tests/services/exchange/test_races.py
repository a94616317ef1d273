"""Phones that send at the same moment, each on a connection of its own."""

import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from inventory.models import (
    Device,
    DeviceOperation,
    ExchangeEpoch,
    Inspection,
    InstrumentCheck,
    PhotoUpload,
    RefusedEntry,
    Role,
)
from inventory.services.exchange.content import Acknowledged
from inventory.services.exchange.devices import register_device
from inventory.services.exchange.epochs import current_epoch
from inventory.services.exchange.settling import settle_operation
from inventory.services.inspection import ReadingSetInput, record_inspection
from tests.factories import NOW, make_agency, make_instrument, make_person, make_sign
from tests.races import at_once
from tests.services.exchange.phones import Phone, readings_of

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def agency():
    return make_agency()


def test_two_phones_sending_one_batch_at_once_store_it_once(agency):
    # A profile copied to a second phone: both hold the same operations.
    phone = Phone(agency)
    copy = Phone(agency, phone.user)
    signs = [make_sign(agency) for _ in range(5)]
    instrument = make_instrument(agency)
    photo = {
        "photo_uuid": str(uuid.uuid4()),
        "sha256": "a" * 64,
        "size_bytes": 10,
        "role": "seen",
    }
    for sign in signs:
        phone.record("inspection", readings_of({"id": sign.pk}, "40", "6"), photos=[photo])
    check = {"instrument_id": instrument.pk, "moment": "before"}
    values = {"reference_ra_cd_lx_m2": "250", "shown_ra_cd_lx_m2": "300"}
    phone.record("check", check | values)
    answers = {}

    def send(sender, name):
        answers[name] = sender.send(phone.kept).answers

    refused = at_once(
        lambda: send(phone, "first"),
        lambda: send(copy, "copy"),
        lambda: send(phone, "again"),
        lambda: send(copy, "copy again"),
    )
    assert refused == [None] * 4
    assert Inspection.objects.count() == 5
    assert InstrumentCheck.objects.count() == 1
    assert DeviceOperation.objects.count() == 6
    assert PhotoUpload.objects.count() == 1
    applied = [[each.answer for each in told] for told in answers.values()]
    # Who came first was told so, all others that it was here already.
    assert sorted(applied) == [["already_applied"] * 6] * 3 + [["applied"] * 6]
    results = [[each.result for each in told] for told in answers.values()]
    assert all(each == results[0] for each in results)


def test_two_crews_on_one_sign_at_once_are_both_kept(agency):
    sign = make_sign(agency)
    phones = [Phone(agency) for _ in range(4)]
    for number, phone in enumerate(phones):
        phone.record("inspection", readings_of({"id": sign.pk}, str(40 + number), "6"))
    assert at_once(*[phone.send for phone in phones]) == [None] * 4
    assert Inspection.objects.filter(sign=sign).count() == 4


def test_a_need_and_its_dependant_sent_at_once_are_both_applied(agency):
    first, second = Phone(agency), Phone(agency)
    sign = make_sign(agency)
    need = first.note(sign, "need")
    second.note(sign, "dependant", needs=[need.client_uuid])
    assert at_once(first.send, second.send) == [None, None]
    in_order = Inspection.objects.order_by("pk").values_list("note", flat=True)
    assert list(in_order) == ["need", "dependant"]


def test_a_batch_and_the_pages_on_the_same_signs_at_once_are_all_kept(agency):
    phone = Phone(agency)
    signs = [make_sign(agency) for _ in range(4)]
    instrument = make_instrument(agency)
    for sign in signs:
        phone.record(
            "inspection", readings_of({"id": sign.pk}, "40", "6", instrument_id=instrument.pk)
        )
        check = {"instrument_id": instrument.pk, "moment": "before"}
        values = {"reference_ra_cd_lx_m2": "250", "shown_ra_cd_lx_m2": "251"}
        phone.record("check", check | values)

    def on_the_page(sign):
        record_inspection(
            sign=sign,
            instrument=instrument,
            taken_at=NOW,
            how="hand_held",
            reading_sets=[ReadingSetInput("white", ["40"])],
            now=NOW,
        )

    pages = [lambda s=sign: on_the_page(s) for sign in reversed(signs)]
    assert at_once(phone.send, *pages) == [None] * 5
    assert Inspection.objects.count() == 8
    assert InstrumentCheck.objects.count() == 4


def test_the_same_id_with_two_contents_sent_at_once_keeps_one_of_each(agency):
    phones = [Phone(agency) for _ in range(3)]
    sign = make_sign(agency)
    key = str(uuid.uuid4())
    for number, phone in enumerate(phones):
        phone.note(sign, f"version {number}", client_uuid=key)
    assert at_once(*[phone.send for phone in phones]) == [None] * 3
    assert Inspection.objects.count() == DeviceOperation.objects.count() == 1
    assert RefusedEntry.objects.count() == 2


def test_two_engineers_and_the_phone_settle_one_thing_once(agency):
    phone = Phone(agency)
    sign = make_sign(agency)
    held = phone.note(sign, "held", user_id=make_person(agency, Role.CREW).pk)
    phone.send()
    operation = DeviceOperation.objects.get()
    engineers = [make_person(agency, Role.ENGINEER) for _ in range(2)]
    phone.kept.clear()
    phone.record("discard", {"operation": held.client_uuid, "reason": "A slip."})

    def settle(by):
        settle_operation(operation=operation, decision="apply", reason="Hers.", by=by, now=NOW)

    outcomes = at_once(*[lambda by=by: settle(by) for by in engineers], phone.send)
    operation.refresh_from_db()
    if operation.state == "applied":
        assert Inspection.objects.count() == 1
        assert sum(each is not None for each in outcomes) == 1
    else:
        assert operation.state == "discarded"
        assert not Inspection.objects.exists()


def test_one_phone_taken_on_twice_at_once_is_one_phone(agency):
    crew = make_person(agency, Role.CREW)
    device_uuid = uuid.uuid4()
    keys = []

    def take_on():
        registered = register_device(
            organisation=agency, user=crew, device_uuid=device_uuid, now=NOW
        )
        keys.append(registered.key)

    outcomes = at_once(take_on, take_on)
    assert Device.objects.count() == len(keys) == 1
    assert sum(each is not None for each in outcomes) == 1


def test_the_first_epoch_begins_once(agency):
    seen = set()
    at_once(*[lambda: seen.add(current_epoch(now=NOW)) for _ in range(4)])
    assert seen == {ExchangeEpoch.objects.get().epoch}


def test_twenty_phones_that_show_a_restore_at_once_begin_one_epoch(agency):
    phones = [Phone(agency) for _ in range(20)]
    for phone in phones:
        phone.send([])
        # Acknowledged before the backup was restored, and not here.
        phone.last_acknowledged = Acknowledged(uuid.uuid4(), "a" * 64)
    old = ExchangeEpoch.objects.get().epoch

    def send(phone):
        try:
            return phone.send([]).epoch
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as pool:
        told = set(pool.map(send, phones))
    newest = ExchangeEpoch.objects.latest("pk")
    assert ExchangeEpoch.objects.count() == 2
    assert told == {newest.epoch}
    assert newest.epoch != old
    assert "a backup was restored" in newest.reason
    assert {phone.send([]).epoch for phone in phones} == {newest.epoch}
