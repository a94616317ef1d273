"""An old backup is restored: what phones were told is stored comes back, once."""

import random
import uuid
from contextlib import contextmanager

import pytest
from django.apps import apps
from django.db import connection, transaction

from inventory.models import (
    DeviceOperation,
    ExchangeEpoch,
    Inspection,
    PhotoUpload,
    RefusedEntry,
    Sign,
)
from inventory.services.exchange.content import Acknowledged
from inventory.services.exchange.devices import missing_sequences
from inventory.services.exchange.epochs import begin_epoch
from inventory.services.exchange.settling import open_operations
from tests.factories import NOW, make_agency, make_sign
from tests.races import at_once
from tests.services.exchange.phones import Phone, key_of, readings_of

BEFORE, SINCE, AT_ONCE = 2, 4, 5


@contextmanager
def constraints_off():
    """Let tables be emptied and filled in any order, as restoring a dump does."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA foreign_keys = OFF")
        else:
            cursor.execute("SET session_replication_role = replica")
        try:
            yield cursor
        finally:
            if connection.vendor == "sqlite":
                cursor.execute("PRAGMA foreign_keys = ON")
            else:
                cursor.execute("SET session_replication_role = DEFAULT")


def tables():
    return [model._meta.db_table for model in apps.get_models(include_auto_created=True)]


def take_backup():
    """Return every row of every table, as a backup holds them."""
    with connection.cursor() as cursor:
        kept = {}
        for table in tables():
            cursor.execute(f'SELECT * FROM "{table}"')  # noqa: S608 - our own tables
            names = [column[0] for column in cursor.description]
            kept[table] = (names, cursor.fetchall())
    return kept


def restore(backup):
    """Put every table back to what it held then."""
    with constraints_off() as cursor, transaction.atomic():
        for table, (names, rows) in backup.items():
            cursor.execute(f'DELETE FROM "{table}"')  # noqa: S608 - our own tables
            columns = ", ".join(f'"{name}"' for name in names)
            places = ", ".join(["%s"] * len(names))
            if rows:
                statement = f'INSERT INTO "{table}" ({columns}) VALUES ({places})'  # noqa: S608
                cursor.executemany(statement, rows)


def work(phone, signs, number, label):
    """Record a day: readings, one that leans on the one before, one put right, photos."""
    for each in range(number):
        sign = signs[(phone.device.pk + each) % len(signs)]
        photo = {
            "photo_uuid": str(uuid.uuid4()),
            "sha256": "a" * 64,
            "size_bytes": 10,
            "role": "seen",
        }
        payload = readings_of({"id": sign.pk}, "40", "6", note=f"{label} {each}")
        if each == 1:  # refused, put right under a new id, and leaned on
            wrong = phone.record("inspection", payload | {"how": "by ear"}, photos=[photo])
            right = phone.record(
                "inspection", payload, replaces=wrong.client_uuid, photos=[photo]
            )
            phone.record(
                "inspection",
                payload | {"note": f"{label} leaning"},
                needs=[wrong.client_uuid, right.client_uuid],
            )
        elif each == 2:
            slip = phone.record("telepathy", {"said": label})
            phone.record("discard", {"operation": slip.client_uuid, "reason": "A slip."})
        else:
            phone.record("inspection", payload, photos=[photo])


def facts():
    """Return what must be there once, whatever its number in the database."""
    return {
        "operations": sorted(DeviceOperation.objects.values_list("client_uuid", "state")),
        "visits": sorted(
            Inspection.objects.values_list("client_uuid", "sign", "note", "taken_at")
        ),
        "photos": sorted(PhotoUpload.objects.values_list("client_uuid", "operation__kind")),
    }


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(("by_hand", "number"), [(False, 20), (True, AT_ONCE)])
def test_after_an_old_backup_phones_bring_back_all_they_were_told_is_stored(by_hand, number):
    agency = make_agency()
    signs = [make_sign(agency) for _ in range(7)]
    phones = [Phone(agency) for _ in range(number)]
    for phone in phones:
        work(phone, signs, BEFORE, "before")
        phone.send()
    backup = take_backup()
    for phone in phones:
        work(phone, signs, SINCE, "since")
        told = phone.send()
        assert {each.answer for each in told.answers} <= {
            "applied",
            "already_applied",
            "discarded",
            "refused",
        }
    whole = facts()
    restore(backup)
    assert facts() != whole
    assert missing_sequences(phones[0].device) == []
    if by_hand:
        begin_epoch(reason="Restored the backup of Monday.", now=NOW)
    reconnect(phones)
    assert facts() == whole
    assert ExchangeEpoch.objects.count() == 2
    assert all(missing_sequences(phone.device) == [] for phone in phones)
    assert not open_operations(agency).exists()
    assert not RefusedEntry.objects.exists()
    # Offered once more, nothing changes.
    for phone in phones:
        phone.send()
    assert facts() == whole


def reconnect(phones):
    """Let phones send: all at once, and those that see a new epoch offer all, in any order."""
    pieces = random.Random(4)  # noqa: S311 - no secret

    def offer(phone):
        known = phone.epoch
        while phone.send([]).epoch != known:
            known = phone.epoch
            batches = [phone.kept[start : start + 5] for start in range(0, len(phone.kept), 5)]
            pieces.shuffle(batches)
            for batch in batches:
                phone.send(batch)

    for start in range(0, len(phones), AT_ONCE):
        some = phones[start : start + AT_ONCE]
        assert at_once(*[lambda p=p: offer(p) for p in some]) == [None] * AT_ONCE


@pytest.mark.django_db
def test_a_phone_that_was_told_of_nothing_lost_begins_no_epoch():
    phone = Phone(make_agency())
    sent = phone.note(make_sign(phone.device.organisation))
    phone.send()
    phone.send([])
    assert phone.last_acknowledged == Acknowledged(key_of(sent), sent.sha256)
    assert ExchangeEpoch.objects.count() == 1


@pytest.mark.django_db
def test_a_phone_that_knows_of_the_restore_does_not_begin_another():
    phone = Phone(make_agency())
    phone.send([])
    begin_epoch(reason="Restored.", now=NOW)
    phone.last_acknowledged = Acknowledged(uuid.uuid4(), "a" * 64)
    phone.send([])  # still under the old epoch: it is told of the new one
    phone.send([])
    assert ExchangeEpoch.objects.count() == 2


@pytest.mark.django_db
def test_what_another_agencys_phone_sent_is_no_witness():
    ours, theirs = Phone(make_agency()), Phone(make_agency())
    sent = theirs.note(make_sign(theirs.device.organisation))
    theirs.send()
    ours.send([])
    ours.last_acknowledged = Acknowledged(key_of(sent), sent.sha256)
    ours.send([])
    assert ExchangeEpoch.objects.count() == 2
    assert Sign.objects.count() == 1
