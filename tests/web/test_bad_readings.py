"""What a person types wrong on the page is told in a sentence, shown again, and kept."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.models import Inspection, RefusedEntry, Role
from tests.bad_readings import BAD_READINGS, NAMES
from tests.factories import make_agency, make_instrument, make_sign
from tests.web.acting import PAGE_TIME, act_as, read_reminder, stop_the_clock

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def crew(client, agency):
    user = act_as(client, agency, Role.CREW)
    read_reminder(client)
    return user


def typed(agency, bad, **fields):
    """Return what the form sends; the Stop sign's rows are red, then white."""
    taken_at = PAGE_TIME + timedelta(hours=bad.hours_ahead - 1)
    return {
        "client_uuid": str(uuid.uuid4()),
        "taken_at": f"{taken_at:%Y-%m-%dT%H:%M}",
        "observation_angle_deg": bad.observation_angle_deg,
        "entrance_angle_deg": bad.entrance_angle_deg,
        "surface_state": "dry",
        "note": "by the school",
        "instrument": "999999" if bad.is_instrument_unknown else make_instrument(agency).pk,
        **{f"value_0_{n}": text for n, text in enumerate(bad.red)},
        **{f"value_1_{n}": text for n, text in enumerate(bad.white)},
    } | fields


@pytest.mark.parametrize("bad", BAD_READINGS, ids=NAMES)
def test_bad_readings_are_refused_in_a_sentence_and_kept(client, agency, crew, bad):
    sent = typed(agency, bad)
    address = reverse("record-readings", args=(make_sign(agency).pk,))
    answer = client.post(address, sent)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert bad.words_on("form").replace("'", "&#x27;") in page or bad.words_on("form") in page
    assert not Inspection.objects.exists()
    # What was typed stands in the page again, and is kept for the engineer too.
    for name in ("value_0_0", "value_1_0", "note"):
        assert str(sent[name]) in page
    kept = RefusedEntry.objects.get()
    assert kept.payload["page"] == address
    assert kept.payload["typed"] == {
        name: [str(value)] for name, value in sent.items() if value != ""
    }
    assert (kept.channel, kept.sent_by) == ("form", crew)
    assert ("keep it as typed, with a note" in page) is bad.is_unlikely


@pytest.mark.parametrize("bad", [each for each in BAD_READINGS if each.is_unlikely])
def test_what_is_unlikely_is_kept_as_typed_once_it_is_confirmed(client, agency, crew, bad):
    sent = typed(agency, bad)
    address = reverse("record-readings", args=(make_sign(agency).pk,))
    client.post(address, sent)
    assert client.post(address, sent | {"is_confirmed": "on"}).status_code == 302
    stored = Inspection.objects.get()
    assert stored.note.startswith("by the school\nConfirmed by the person who recorded it:")
    assert bad.words in stored.note
    assert RefusedEntry.objects.get().settled_at == PAGE_TIME


def test_confirming_does_not_let_the_impossible_pass(client, agency, crew):
    sent = typed(agency, BAD_READINGS[0], is_confirmed="on")
    address = reverse("record-readings", args=(make_sign(agency).pk,))
    assert client.post(address, sent).status_code == 400
    assert not Inspection.objects.exists()
