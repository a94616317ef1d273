"""What a phone sends wrong is answered in a sentence, and kept as it was sent."""

from __future__ import annotations

import json
import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models import Inspection, RefusedEntry, Role
from tests.bad_readings import BAD_READINGS, NAMES, visit_for_api
from tests.factories import make_agency, make_instrument, make_shop, make_sign
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db

ADDRESS = "/api/v1/inspections/"


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def crew(client, agency):
    return act_as(client, agency, Role.CREW)


def content(agency, bad):
    taken_at = timezone.now() + timedelta(hours=bad.hours_ahead - 1)
    return visit_for_api(
        bad, make_sign(agency).pk, make_instrument(agency).pk, taken_at.isoformat()
    ) | {"client_uuid": str(uuid.uuid4())}


def send(client, sent):
    return client.post(ADDRESS, sent, content_type="application/json")


@pytest.mark.parametrize("bad", BAD_READINGS, ids=NAMES)
def test_bad_readings_are_refused_in_a_sentence_and_kept(client, agency, crew, bad):
    sent = content(agency, bad)
    answer = send(client, sent)
    assert answer.status_code == 400
    error = answer.json()["error"]
    assert bad.words_on("api") in f"{error['message']} {error['detail']}"
    assert (error["code"] == "unlikely") is bad.is_unlikely
    assert not Inspection.objects.exists()
    kept = RefusedEntry.objects.get()
    assert kept.payload == sent
    assert bad.words_on("api") in kept.sentence
    assert (kept.channel, kept.kind, kept.sent_by) == ("api", "inspection", crew)
    assert str(kept.client_uuid) == sent["client_uuid"]


@pytest.mark.parametrize("bad", [each for each in BAD_READINGS if each.is_unlikely])
def test_what_is_unlikely_is_kept_as_typed_once_it_is_confirmed(client, agency, crew, bad):
    sent = content(agency, bad)
    send(client, sent)
    answer = send(client, sent | {"is_confirmed": True})
    assert answer.status_code == 201
    stored = Inspection.objects.get()
    assert stored.note.startswith("Confirmed by the person who recorded it:")
    assert bad.words in stored.note
    kept = RefusedEntry.objects.get()
    assert kept.settled_reason == "Sent again under the same key, and stored."
    again = send(client, sent | {"is_confirmed": True})
    assert again.json() == answer.json()
    assert Inspection.objects.count() == 1


def test_the_same_refused_visit_sent_again_is_kept_once(client, agency, crew):
    sent = content(agency, BAD_READINGS[0])
    send(client, sent)
    send(client, sent)
    assert RefusedEntry.objects.count() == 1


@pytest.mark.parametrize("note", ["a\x00b", "a\ud800b"], ids=["null", "half a character"])
def test_text_that_no_database_holds_is_kept_as_the_text_it_came_in(client, agency, crew, note):
    sent = content(agency, BAD_READINGS[0]) | {"note": note}
    assert send(client, sent).status_code == 400
    assert json.loads(RefusedEntry.objects.get().payload["as_text"]) == sent


def test_a_list_instead_of_a_visit_is_kept_too(client, agency, crew):
    answer = send(client, [1, 2])
    assert answer.status_code == 400
    assert RefusedEntry.objects.get().payload == [1, 2]


def test_somebody_whose_role_may_not_record_leaves_nothing(client, agency):
    act_as(client, make_shop(agency=agency), Role.SHOP)
    assert send(client, content(agency, BAD_READINGS[0])).status_code == 403
    assert not RefusedEntry.objects.exists()
