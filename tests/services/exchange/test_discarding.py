"""What was refused or held is discarded on the phone it is of, with a reason."""

from dataclasses import replace

import pytest

from inventory.models import (
    DeviceOperation,
    RefusedEntry,
)
from inventory.services.exchange.settling import open_operations
from tests.factories import make_agency, make_sign
from tests.services.exchange.phones import (
    Phone,
    key_of,
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


def test_a_refused_one_is_discarded_with_a_reason(agency, phone):
    refused = phone.record("telepathy", {})
    phone.send()
    payload = {"operation": refused.client_uuid, "reason": "Pressed by mistake."}
    phone.record("discard", payload)
    assert said(phone.send([phone.kept[-1]])) == [APPLIED]
    kept = DeviceOperation.objects.get(client_uuid=refused.client_uuid)
    assert (kept.state, kept.settled_reason) == ("discarded", "Pressed by mistake.")
    assert kept.settled_by == phone.user
    assert said(phone.send()) == [("discarded", "unknown_kind"), AGAIN]


def test_both_a_refused_one_and_its_discarding_may_come_in_one_batch(agency, phone):
    refused = phone.record("telepathy", {})
    phone.record("discard", {"operation": refused.client_uuid, "reason": "A slip."})
    assert [answer for answer, _code in said(phone.send())] == ["discarded", "applied"]
    assert not open_operations(agency).exists()


def test_a_discarding_without_a_reason_or_of_what_was_applied_is_refused(agency, phone):
    applied = phone.note(make_sign(agency))
    refused = phone.record("telepathy", {})
    phone.send()
    phone.kept.clear()
    phone.record("discard", {"operation": refused.client_uuid, "reason": " "})
    phone.record("discard", {"operation": applied.client_uuid, "reason": "No."})
    assert said(phone.send()) == [
        ("refused", "out_of_range"),
        ("refused", "state_conflict"),
    ]
    assert state_of(refused) == ("refused", "unknown_kind")


def test_a_phone_discards_only_what_it_sent_itself(agency, phone):
    other = Phone(agency)
    refused = other.record("telepathy", {})
    other.send()
    phone.record("discard", {"operation": refused.client_uuid, "reason": "Not mine."})
    assert said(phone.send()) == [("refused", "not_permitted")]
    assert state_of(refused) == ("refused", "unknown_kind")


def test_what_arrived_damaged_may_be_discarded(agency, phone):
    sent = phone.note(make_sign(agency))
    phone.send([replace(sent, content="{")])
    phone.kept.clear()
    phone.record("discard", {"operation": sent.client_uuid, "reason": "Read again since."})
    assert said(phone.send()) == [APPLIED]
    assert RefusedEntry.objects.get().settled_reason == "Read again since."
    (news,) = phone.send([], ask=[key_of(sent)]).news
    assert news.answer == "discarded"


def test_a_discarding_that_arrives_before_what_it_discards_waits_for_it(agency, phone):
    # Offered again after a restore, and reordered on the way.
    refused = phone.record("telepathy", {})
    payload = {"operation": refused.client_uuid, "reason": "A slip."}
    discard = phone.record("discard", payload)
    assert said(phone.send([discard])) == [("held", "waits")]
    assert said(phone.send([refused])) == [("discarded", "unknown_kind")]
    assert state_of(discard) == ("applied", "")
    assert not open_operations(agency).exists()


def test_what_waits_may_be_discarded_and_is_then_never_applied(agency, phone):
    sign = make_sign(agency)
    first = phone.note(sign, "first")
    waiting = phone.note(sign, "waiting", needs=[first.client_uuid])
    phone.send([waiting])
    phone.record("discard", {"operation": waiting.client_uuid, "reason": "Read again."})
    phone.send([phone.kept[-1]])
    phone.send([first])
    assert state_of(waiting) == ("discarded", "waits")
    assert state_of(first) == ("applied", "")
