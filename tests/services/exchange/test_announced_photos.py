"""Photos that operations announce are expected, and go with what replaces them."""

import uuid

import pytest

from inventory.models import (
    PhotoUpload,
)
from tests.factories import make_agency, make_sign
from tests.services.exchange.phones import (
    Phone,
    key_of,
    note_of,
    readings_of,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def phone(agency):
    return Phone(agency)


def photo(role="seen"):
    return {
        "photo_uuid": str(uuid.uuid4()),
        "sha256": "a" * 64,
        "size_bytes": 1000,
        "role": role,
        "caption": "",
    }


def test_photos_are_expected_whatever_becomes_of_their_operation(agency, phone):
    phone.note(make_sign(agency), photos=[photo("before"), photo("after")])
    phone.record("telepathy", {}, photos=[photo()])
    phone.send()
    phone.send()
    expected = PhotoUpload.objects.values_list("role", "state", "operation__state")
    assert sorted(expected) == [
        ("after", "announced", "applied"),
        ("before", "announced", "applied"),
        ("seen", "announced", "refused"),
    ]


@pytest.mark.parametrize("in_one_batch", [True, False])
def test_a_photo_goes_with_the_corrected_resend(agency, phone, in_one_batch):
    taken = photo()
    sign = {"id": make_sign(agency).pk}
    wrong = phone.record("inspection", readings_of(sign, "forty", "6"), photos=[taken])
    if not in_one_batch:
        phone.send()
    right = phone.record(
        "inspection", readings_of(sign, "40", "6"), photos=[taken], replaces=wrong.client_uuid
    )
    phone.send()
    assert PhotoUpload.objects.get().operation.client_uuid == key_of(right)


def test_a_photo_of_another_operation_is_not_taken_from_it(agency, phone):
    taken = photo()
    sign = make_sign(agency)
    first = phone.note(sign, photos=[taken])
    phone.note(sign, photos=[taken])
    phone.send()
    assert PhotoUpload.objects.get().operation.client_uuid == key_of(first)


def test_a_visit_of_nothing_but_a_photo_says_something(agency, phone):
    sign = {"id": make_sign(agency).pk}
    phone.record("inspection", note_of(sign, ""), photos=[photo()])
    phone.record("inspection", note_of(sign, ""))
    answers = [each.answer for each in phone.send().answers]
    assert answers == ["applied", "refused"]
