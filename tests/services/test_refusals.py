"""What was refused is kept as it was sent, until it is stored after all or settled."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LogbookEntry, RefusedEntry
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.instruments import record_check
from inventory.services.refusals import keep_refused, settle_refused
from tests.factories import NOW, make_agency, make_instrument, make_person, make_sign
from tests.services.races import together

pytestmark = pytest.mark.django_db

SENT = {"sign_id": 7, "reading_sets": [{"color": "white", "values": ["-40"]}]}


def keep(agency, **fields):
    defaults: dict[str, Any] = {
        "channel": "api",
        "kind": "inspection",
        "payload": SENT,
        "sentence": "White: The reading -40 cd/lx/m² is negative.",
        "now": NOW,
    }
    return keep_refused(organisation=agency, **defaults | fields)


def test_what_was_sent_is_kept_as_it_was_sent():
    agency = make_agency()
    crew = make_person(agency, "crew")
    entry = keep(
        agency, by=crew, payload=SENT | {"taken_at": NOW, "client_uuid": uuid.UUID(int=3)}
    )
    entry.refresh_from_db()
    assert entry.payload == SENT | {
        "taken_at": "2026-06-01T12:00:00Z",
        "client_uuid": "00000000-0000-0000-0000-000000000003",
    }
    assert (entry.sent_by, entry.received_at) == (crew, NOW)
    assert entry.sentence.endswith("is negative.")


def test_the_same_thing_refused_again_is_kept_once_until_it_is_settled():
    agency = make_agency()
    first = keep(agency)
    assert keep(agency, now=NOW + timedelta(hours=1)) == first
    assert keep(agency, payload=SENT | {"sign_id": 8}) != first
    settle_refused(entry=first, reason="Typed anew.", by=None, now=NOW)
    assert keep(agency) != first
    assert RefusedEntry.objects.count() == 3


def test_settling_says_who_when_and_why():
    agency = make_agency()
    engineer, entry = make_person(agency), keep(agency)
    settled = settle_refused(entry=entry, reason=" Read again. ", by=engineer, now=NOW)
    assert (settled.settled_at, settled.settled_by, settled.settled_reason) == (
        NOW,
        engineer,
        "Read again.",
    )
    assert settled.payload == SENT
    assert LogbookEntry.objects.get(verb="settle refused entry").text == (
        "Refused inspection settled: Read again."
    )
    with pytest.raises(
        StateConflictError, match=r"settled at 2026-06-01 12:00 UTC: Read again\."
    ):
        settle_refused(entry=entry, reason="Again.", by=engineer, now=NOW)


@pytest.mark.parametrize("reason", ["", "  ", "x" * 256])
def test_a_settlement_needs_a_few_words(reason):
    entry = keep(make_agency())
    with pytest.raises(OutOfRangeError, match="in a few words"):
        settle_refused(entry=entry, reason=reason, by=None, now=NOW)


def test_an_entry_whose_key_is_stored_after_all_is_settled_by_that():
    agency = make_agency()
    instrument = make_instrument(agency)
    keys = [uuid.uuid4() for _ in range(3)]
    entries = [keep(agency, client_uuid=key, payload={"key": str(key)}) for key in keys]
    record_inspection(
        sign=make_sign(agency),
        taken_at=NOW,
        how="hand_held",
        client_uuid=keys[0],
        reading_sets=[ReadingSetInput("white", ["40"])],
        now=NOW,
    )
    record_check(
        instrument=instrument,
        moment="before",
        reference="250",
        shown="250",
        checked_at=NOW,
        client_uuid=keys[1],
        now=NOW,
    )
    for entry in entries:
        entry.refresh_from_db()
    assert [entry.settled_reason for entry in entries] == [
        "Sent again under the same key, and stored.",
        "Sent again under the same key, and stored.",
        "",
    ]


def test_another_agency_with_the_same_key_settles_nothing():
    agency, key = make_agency(), uuid.uuid4()
    entry = keep(agency, client_uuid=key)
    record_inspection(
        sign=make_sign(make_agency()),
        taken_at=NOW,
        how="visual_day",
        client_uuid=key,
        note="gone",
        now=NOW,
    )
    entry.refresh_from_db()
    assert entry.settled_at is None


@pytest.mark.django_db(transaction=True)
def test_the_same_refusal_from_two_requests_at_once_is_kept_once():
    agency = make_agency()
    results = together(*[lambda: keep(agency)] * 3)
    assert {getattr(each, "pk", each) for each in results} == {RefusedEntry.objects.get().pk}
