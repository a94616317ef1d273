"""Phones are taken on with a key of their own, withdrawn, and counted."""

import uuid
from typing import Any

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Device, DevicePerson, LogbookEntry
from inventory.services.exchange.devices import (
    authenticate_device,
    bring_back_device,
    missing_sequences,
    register_device,
    take_on_from_file,
    withdraw_device,
)
from tests.factories import NOW, make_agency, make_person, make_sign
from tests.services.exchange.phones import Phone, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


def take_on(agency, **fields):
    given: dict[str, Any] = {
        "device_uuid": uuid.uuid4(),
        "user": make_person(agency, "crew"),
        "now": NOW,
    }
    return register_device(organisation=agency, **given | fields)


def test_a_phone_gets_a_key_of_which_only_a_hash_is_kept(agency):
    registered = take_on(agency, name="Phone 7")
    device = Device.objects.get()
    assert registered.key not in "".join(map(str, Device.objects.values_list().get()))
    assert authenticate_device(device_uuid=device.device_uuid, key=registered.key) == device
    assert LogbookEntry.objects.get(verb="take on phone").text.startswith("Phone 7 taken on")


def test_another_key_or_none_opens_nothing(agency):
    registered = take_on(agency)
    known = registered.device.device_uuid
    for device_uuid, key in (
        (known, ""),
        (known, registered.key + "x"),
        (known, "\ud800"),
        (uuid.uuid4(), registered.key),
        (uuid.uuid4(), ""),
    ):
        assert authenticate_device(device_uuid=device_uuid, key=key) is None


def test_a_second_person_signs_in_on_a_known_phone_and_its_key_stays(agency):
    first = take_on(agency)
    second = make_person(agency, "crew")
    again = take_on(agency, device_uuid=first.device.device_uuid, user=second, key=first.key)
    assert (again.device, again.key) == (first.device, first.key)
    assert DevicePerson.objects.filter(device=first.device).count() == 2


def test_a_known_phone_without_its_key_is_refused(agency):
    first = take_on(agency)
    for key in ("", "k" * 43):
        with pytest.raises(StateConflictError, match="not its own"):
            take_on(agency, device_uuid=first.device.device_uuid, key=key)
    assert DevicePerson.objects.count() == 1


def test_a_phone_records_for_one_organisation(agency):
    first = take_on(agency)
    with pytest.raises(StateConflictError, match="another organisation"):
        take_on(make_agency(), device_uuid=first.device.device_uuid, key=first.key)


def test_a_phone_lost_with_a_backup_is_taken_on_again_with_the_key_it_had(agency):
    first = take_on(agency)
    first.device.people.all().delete()
    first.device.delete()
    again = take_on(agency, device_uuid=first.device.device_uuid, key=first.key)
    assert again.key == first.key
    with pytest.raises(OutOfRangeError, match="5 characters"):
        take_on(agency, key="short")


def test_a_phone_of_a_file_has_no_key_until_somebody_signs_in_on_it(agency):
    device = take_on_from_file(organisation=agency, device_uuid=uuid.uuid4(), now=NOW)
    assert authenticate_device(device_uuid=device.device_uuid, key="") is None
    had = "k" * 43
    assert take_on(agency, device_uuid=device.device_uuid, key=had).key == had
    assert authenticate_device(device_uuid=device.device_uuid, key=had) == device
    with pytest.raises(StateConflictError):
        take_on(agency, device_uuid=device.device_uuid, key="j" * 43)


def test_the_logbook_names_a_phone_as_it_is_named(agency):
    registered = take_on(agency, name="Phone of North Crew")
    withdraw_device(device=registered.device, reason="lost", by=None, now=NOW)
    steps = LogbookEntry.objects.filter(verb__endswith="phone").order_by("pk")
    first, second = steps.values_list("text", flat=True)
    assert first.startswith(f"{registered.device.name} taken on")
    assert second == f"{registered.device.name} withdrawn: lost"


def test_a_withdrawn_phone_takes_nobody_on_until_it_is_brought_back(agency):
    first = take_on(agency)
    engineer = make_person(agency)
    device = withdraw_device(device=first.device, reason="Lost.", by=engineer, now=NOW)
    assert device.is_withdrawn
    # Its key still opens: what it sends is to be held, not lost.
    opened = authenticate_device(device_uuid=device.device_uuid, key=first.key)
    assert opened is not None
    assert opened.is_withdrawn
    with pytest.raises(StateConflictError, match="was withdrawn"):
        take_on(agency, device_uuid=device.device_uuid, key=first.key)
    bring_back_device(device=device, reason="Found.", by=engineer, now=NOW)
    take_on(agency, device_uuid=device.device_uuid, key=first.key)
    assert LogbookEntry.objects.filter(actor=engineer).count() == 2
    with pytest.raises(OutOfRangeError, match="Say in a few words"):
        withdraw_device(device=device, reason=" ", by=engineer, now=NOW)


def test_the_gaps_in_a_phones_count_are_known(agency):
    phone = Phone(agency)
    sign = make_sign(agency)
    assert missing_sequences(phone.device) == []
    sent = [phone.note(sign, str(number)) for number in range(1, 11)]
    phone.send([sent[i] for i in (2, 3, 5, 9)])  # numbers 3, 4, 6 and 10
    assert missing_sequences(phone.device) == [(1, 2), (5, 5), (7, 9)]
    assert missing_sequences(phone.device, most=2) == [(1, 2), (5, 5)]
    phone.send()
    assert missing_sequences(phone.device) == []


def test_what_was_refused_is_no_gap(agency):
    phone = Phone(agency)
    phone.record("telepathy", {})
    assert said(phone.send()) == [("refused", "unknown_kind")]
    assert missing_sequences(phone.device) == []
