"""A phone whose clock is wrong loses nothing; both times are kept."""

from datetime import timedelta

import pytest

from inventory.models import (
    DeviceBatch,
    DeviceOperation,
    Inspection,
)
from tests.factories import NOW, make_agency, make_sign
from tests.services.exchange.phones import (
    Phone,
    said,
)

pytestmark = pytest.mark.django_db

APPLIED = ("applied", "")


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def phone(agency):
    return Phone(agency)


def test_a_phone_wrong_by_a_year_is_stored_at_the_corrected_time_and_flagged(agency, phone):
    year = timedelta(days=365)
    at = NOW - timedelta(hours=1)
    phone.note(make_sign(agency), device_at=(at - year).isoformat())
    received = phone.send(sent_at=NOW - year)
    assert received.skew_s == year.total_seconds()
    kept = DeviceOperation.objects.get()
    assert (kept.device_at, kept.corrected_at, kept.is_clock_flagged) == (at - year, at, True)
    assert Inspection.objects.get().taken_at == at
    assert DeviceBatch.objects.get().sent_at == NOW - year
    phone.device.refresh_from_db()
    assert phone.device.last_skew_s == year.total_seconds()


def test_a_phone_a_year_ahead_loses_nothing(agency, phone):
    year = timedelta(days=365)
    at = NOW - timedelta(hours=1)
    phone.note(make_sign(agency), device_at=(at + year).isoformat())
    assert said(phone.send(sent_at=NOW + year)) == [APPLIED]
    assert Inspection.objects.get().taken_at == at


@pytest.mark.parametrize(("seconds", "is_flagged"), [(300, False), (301, True), (-301, True)])
def test_a_clock_is_out_above_five_minutes(agency, phone, seconds, is_flagged):
    at = NOW - timedelta(hours=1)
    phone.note(make_sign(agency), device_at=at.isoformat())
    phone.send(sent_at=NOW - timedelta(seconds=seconds))
    kept = DeviceOperation.objects.get()
    corrected = at + timedelta(seconds=seconds) if is_flagged else at
    assert (kept.corrected_at, kept.is_clock_flagged) == (corrected, is_flagged)


def test_a_clock_put_right_before_sending_is_flagged_and_nothing_is_in_the_future(
    agency, phone
):
    # Recorded while the phone was a year ahead, sent after it was set.
    ahead = NOW + timedelta(days=365)
    phone.note(make_sign(agency), device_at=ahead.isoformat())
    assert said(phone.send()) == [APPLIED]
    kept = DeviceOperation.objects.get()
    assert (kept.device_at, kept.corrected_at, kept.is_clock_flagged) == (ahead, NOW, True)


def test_a_clock_that_went_back_between_two_operations_is_flagged(agency, phone):
    sign = make_sign(agency)
    at = NOW - timedelta(hours=1)
    for back_s in (0, 300, 301):
        phone.note(sign, device_at=(at - timedelta(seconds=back_s)).isoformat())
    phone.send()
    flags = DeviceOperation.objects.order_by("sequence").values_list(
        "is_clock_flagged", flat=True
    )
    assert list(flags) == [False, False, True]


def test_a_clock_that_went_back_since_the_batch_before_is_flagged(agency, phone):
    # The phone was switched on with its clock a year back, and had it right again by sending.
    sign = make_sign(agency)
    phone.note(sign)
    phone.send()
    year_back = (NOW - timedelta(days=365)).isoformat()
    late = phone.note(sign, device_at=year_back)
    after = phone.note(sign)
    assert said(phone.send([late])) == said(phone.send([after])) == [APPLIED]
    flags = DeviceOperation.objects.order_by("sequence").values_list(
        "is_clock_flagged", flat=True
    )
    assert list(flags) == [False, True, False]


def test_a_clock_that_was_ahead_before_does_not_put_what_follows_in_doubt(agency, phone):
    sign = make_sign(agency)
    phone.note(sign, device_at=(NOW + timedelta(days=365)).isoformat())
    phone.send()
    right = phone.note(sign)
    phone.send([right])
    flags = DeviceOperation.objects.order_by("sequence").values_list(
        "is_clock_flagged", flat=True
    )
    assert list(flags) == [True, False]
