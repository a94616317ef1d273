"""Photos of refused forms wait for their form, and not for ever."""

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.errors import OutOfRangeError
from inventory.services.kept_photos import drop_kept_photo, keep_photo, kept_photo
from inventory.services.photos import MAXIMUM_SIZE_BYTES
from tests.factories import make_agency, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def person():
    return make_person(make_agency())


def test_a_kept_photo_is_given_back_as_it_was_sent(person):
    key = uuid.uuid4()
    keep_photo(by=person, client_uuid=key, content=b"first", now=timezone.now())
    keep_photo(by=person, client_uuid=key, content=b"second", now=timezone.now())
    kept = kept_photo(by=person, client_uuid=key)
    assert kept is not None
    assert kept.read() == b"second"
    assert kept.size_bytes == 6
    drop_kept_photo(by=person, client_uuid=key)
    assert kept_photo(by=person, client_uuid=key) is None


def test_a_kept_photo_is_its_owners_alone(person):
    key = uuid.uuid4()
    keep_photo(by=person, client_uuid=key, content=b"mine", now=timezone.now())
    assert kept_photo(by=make_person(make_agency()), client_uuid=key) is None


def test_a_photo_nobody_came_back_for_is_dropped_after_a_week(person):
    old, new = uuid.uuid4(), uuid.uuid4()
    keep_photo(by=person, client_uuid=old, content=b"old", now=timezone.now())
    later = timezone.now() + timedelta(days=8)
    keep_photo(by=person, client_uuid=new, content=b"new", now=later)
    assert kept_photo(by=person, client_uuid=old) is None
    assert kept_photo(by=person, client_uuid=new) is not None


def test_a_photo_too_large_to_take_is_not_kept(person):
    key = uuid.uuid4()
    with pytest.raises(OutOfRangeError, match="MB"):
        keep_photo(
            by=person,
            client_uuid=key,
            content=b"x" * (MAXIMUM_SIZE_BYTES + 1),
            now=timezone.now(),
        )
    assert kept_photo(by=person, client_uuid=key) is None
