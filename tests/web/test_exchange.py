"""What came from phones on the engineer's desk: listed, compared, put right, settled."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from inventory.models import (
    Device,
    DeviceOperation,
    Inspection,
    Membership,
    Role,
    Sign,
    SupportMove,
)
from tests.factories import NOW, make_agency, make_instrument, make_sign, make_support
from tests.services.exchange.phones import BEGAN, Phone, note_of, readings_of
from tests.web.acting import act_as, stop_the_clock

pytestmark = pytest.mark.django_db

LIST = reverse("from-phones")
LABELS = ["000-01Y", "001-0JK"]


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def phone(agency):
    return Phone(agency)


@pytest.fixture
def engineer(client, agency):
    return act_as(client, agency, Role.ENGINEER)


@pytest.fixture
def old(agency):
    return make_sign(agency)


@pytest.fixture
def conflict(agency, old):
    """Two crews put a face up in one place; the second one waits."""
    for label in LABELS:
        Sign.objects.create(
            owner=agency,
            state=Sign.State.IN_STOCK,
            sign_code="R1-1",
            width_in=30.0,
            height_in=30.0,
            label_id=label,
        )
        crew = Phone(agency)
        crew.record(
            "install",
            {
                "position": {"id": old.position_id},
                "face": {"label": label},
                "installed_on": NOW.date().isoformat(),
                "replaces": {"id": old.pk},
                "removal_reason": "faded",
                "removed_note": "",
            },
        )
        crew.send()
    return DeviceOperation.objects.get(state="held")


@pytest.fixture
def refused(phone, old):
    """Readings of which one is negative."""
    phone.record("inspection", readings_of({"id": old.pk}, "-40", "8"))
    phone.send()
    return DeviceOperation.objects.get(state="refused")


def page_of(client, operation):
    return reverse("phone-entry", args=(operation.pk,))


def text(answer):
    return answer.content.decode()


def standing_at(sign):
    return Sign.objects.get(position=sign.position_id, state=Sign.State.INSTALLED)


# --- the list --------------------------------------------------------------------------------


def test_what_waits_is_listed_in_words_with_the_reason(client, engineer, conflict, refused):
    page = text(client.get(LIST))
    assert "Face put up" in page
    assert "An engineer decides which face stands" in page
    assert "Inspection" in page
    assert "is negative" in page
    assert f'href="{page_of(client, conflict)}"' in page
    assert "−40" not in page
    assert "-40, at" not in page


def test_what_waits_for_another_entry_is_apart(client, agency, engineer, phone, old):
    support = {"id": make_support(agency).pk}
    first = phone.record("add_sign", {"support": support, "label_id": "001-0JM"})
    phone.record("inspection", note_of({"operation": first.client_uuid}, "Leans."))
    phone.send()
    assert [each.kind for each in client.get(LIST).context["rows"]] == ["Sign added"]
    waiting = client.get(f"{LIST}?show=waiting")
    assert [each.operation.code for each in waiting.context["rows"]] == ["waits"]
    entry = client.get(page_of(client, waiting.context["rows"][0].operation))
    assert "It waits for" in text(entry)
    assert "Sign added" in text(entry)
    assert "Discard this entry" in text(entry)


def test_what_waits_for_a_discarded_entry_is_given_to_another_sign(
    client, agency, engineer, phone, old
):
    support = {"id": make_support(agency).pk}
    first = phone.record("add_sign", {"support": support, "label_id": "001-0JM"})
    phone.record(
        "inspection",
        note_of({"operation": first.client_uuid}, "Leans."),
        needs=[first.client_uuid],
    )
    phone.send()
    refused = DeviceOperation.objects.get(state="refused")
    client.post(page_of(client, refused), {"decision": "discard", "why": "it is on record"})
    (waits,) = client.get(LIST).context["rows"]
    assert waits.operation.code == "waits"
    assert not client.get(f"{LIST}?show=waiting").context["rows"]
    address = page_of(client, waits.operation)
    page = client.get(address)
    assert "What it waits for was discarded" in text(page)
    again = client.post(address, fields_of(page) | {"why": "the one on record"})
    assert "It waits for operation" in text(again)
    form = fields_of(page) | {"sign": str(old.pk), "why": "the one on record"}
    client.post(address, form)
    assert Inspection.objects.get().sign == old
    assert not client.get(LIST).context["rows"]


def test_entries_are_paged_and_listed_in_few_queries(
    client, engineer, phone, old, agency, django_assert_max_num_queries
):
    for _ in range(30):
        phone.record("inspection", readings_of({"id": make_sign(agency).pk}, "-1", "1"))
    phone.send()
    with django_assert_max_num_queries(13):
        answer = client.get(LIST)
    assert len(answer.context["rows"]) == 25
    with django_assert_max_num_queries(13):
        assert len(client.get(f"{LIST}?page=2").context["rows"]) == 5


def test_another_agencys_entries_are_not_there(client, engineer, conflict):
    act_as(client, make_agency())
    assert client.get(page_of(client, conflict)).status_code == 404
    assert not client.get(LIST).context["rows"]


def test_a_crew_does_not_decide(client, agency, conflict):
    act_as(client, agency, Role.CREW)
    assert client.get(LIST).status_code == 403
    assert client.post(page_of(client, conflict)).status_code == 403


# --- both versions, and a decision -----------------------------------------------------------


def test_both_versions_stand_beside_each_other(client, engineer, conflict, old):
    page = text(client.get(page_of(client, conflict)))
    assert "Both versions" in page
    assert f"{standing_at(old)}, label {LABELS[0]}" in page
    assert f"label {LABELS[1]}" in page
    assert "Keep what is on record" in page
    assert "Apply this entry" in page


def test_the_engineer_keeps_what_is_on_record(client, engineer, conflict, old):
    address = page_of(client, conflict)
    nothing_said = client.post(address, {"decision": "discard", "why": " "})
    assert nothing_said.status_code == 400
    assert "Say in a few words why" in text(nothing_said)
    done = client.post(address, {"decision": "discard", "why": "seen today"}, follow=True)
    assert "Discarded" in text(done)
    assert "Nothing from a phone waits for you" in text(done)
    assert standing_at(old).label_id == LABELS[0]
    settled = text(client.get(f"{LIST}?show=settled"))
    assert "seen today" in settled
    assert str(engineer) in settled


def test_the_engineer_applies_the_other_face(client, engineer, conflict, old):
    client.post(page_of(client, conflict), {"decision": "apply", "why": "seen today"})
    assert standing_at(old).label_id == LABELS[1]
    conflict.refresh_from_db()
    assert (conflict.state, conflict.settled_reason) == ("applied", "seen today")


def test_an_entry_settled_meanwhile_says_so_and_keeps_the_words(client, engineer, conflict):
    form = {"decision": "discard", "why": "first"}
    client.post(page_of(client, conflict), form)
    again = client.post(page_of(client, conflict), form | {"why": "second"})
    assert again.status_code == 409
    assert "not open any more: first" in text(again)
    assert "second" in text(again)


def test_an_unknown_decision_changes_nothing(client, engineer, conflict):
    answer = client.post(page_of(client, conflict), {"decision": "burn", "why": "cold"})
    assert answer.status_code == 400
    assert "&#x27;burn&#x27; is no decision" in text(answer)


# --- put right and sent again ----------------------------------------------------------------


def fields_of(answer):
    """Return the form as the page shows it, to be sent back."""
    form = answer.context["form"]
    return {name: form[name].value() or "" for name in form.fields} | {"decision": "send"}


def test_a_slip_is_put_right_in_plain_words_and_both_are_kept(client, engineer, refused, old):
    address = page_of(client, refused)
    page = client.get(address)
    assert "White readings, cd/lx/m²" in text(page)
    form = fields_of(page) | {"reading_sets_0_values": "40, 41; 42.5", "why": "a slip"}
    assert form["sign"] == old.pk
    client.post(address, form)
    stored = Inspection.objects.get()
    assert stored.sign == old
    white, red = stored.reading_sets.order_by("number")
    assert [each.typed for each in white.readings.all()] == ["40", "41", "42.5"]
    assert [each.typed for each in red.readings.all()] == ["8"]
    assert stored.taken_at == BEGAN + timedelta(minutes=1)
    refused.refresh_from_db()
    assert (refused.state, refused.settled_at is None) == ("refused", False)
    again = DeviceOperation.objects.get(replaces_uuid=refused.client_uuid)
    assert (again.state, again.settled_reason) == ("applied", "a slip")
    assert "-40" in refused.content  # what the phone sent stays as it was
    assert "Sent again as" in text(client.get(address))


def test_what_still_cannot_be_is_told_and_nothing_typed_is_lost(client, engineer, refused):
    address = page_of(client, refused)
    form = fields_of(client.get(address)) | {"reading_sets_0_values": "fog", "why": "a slip"}
    answer = client.post(address, form)
    assert answer.status_code == 400
    assert "fog" in text(answer)
    assert 'value="fog"' in text(answer)
    assert "a slip" in text(answer)
    assert not Inspection.objects.exists()
    form["why"] = ""
    assert client.post(address, form).status_code == 400


PAYLOADS: dict[str, dict[str, Any]] = {
    "inspection": {
        "sign": None,
        "how": "visual_night",
        "observations": [{"kind": "bent", "severity": 2, "note": "by a truck"}],
        "visual_rating": {
            "procedure": "consistent_parameters",
            "is_adequate": False,
            "evidence": {"inspector_age_years": 40},
        },
        "note": "x",
    },
    "check": {
        "instrument_id": None,
        "moment": "before",
        "reference_ra_cd_lx_m2": "250",
        "shown_ra_cd_lx_m2": "oo",
    },
    "remove": {"sign": None, "removed_on": "2031-01-01", "reason": "stolen", "note": ""},
    "move_support": {
        "support": None,
        "latitude_deg": 43.5,
        "longitude_deg": -89.5,
        "accuracy_m": None,
        "reason": "",
    },
    "add_sign": {
        "support": {"new": {"latitude_deg": 43.0, "longitude_deg": -89.5}},
        "sign_code": "R1-1",
        "width_in": 30.0,
        "colours": [{"part": "background", "color": "red", "sheeting_type": "IX"}],
        "label_id": "001-0JM",
    },
    "flag_record": {"sign": None, "field": "size", "said": ""},
    "stop": {"stop_id": 10**9, "outcome": "done", "reason": ""},
    "add_work": {"package_id": 10**9, "position": None, "task": "repair", "note": "Leans."},
    "install": {
        "position": None,
        "face": {"label": "001-0JK"},
        "installed_on": "2026-06-01",
        "replaces": None,
    },
}


@pytest.mark.parametrize("kind", PAYLOADS)
def test_every_kind_is_shown_in_words_and_sent_again_unchanged(
    client, agency, engineer, phone, old, kind
):
    assert old.position is not None
    known = {
        "sign": {"id": old.pk},
        "position": {"id": old.position_id},
        "support": {"id": old.position.support_id},
        "instrument_id": make_instrument(agency).pk,
    }
    payload = {
        name: known[name] if value is None and name in known else value
        for name, value in PAYLOADS[kind].items()
    }
    # Held whatever it says, so that every kind can be looked at.
    Membership.objects.filter(user=phone.user).delete()
    phone.record(kind, payload)
    phone.send()
    held = DeviceOperation.objects.get()
    page = client.get(page_of(client, held))
    form = page.context["form"]
    assert "as_data" not in form.fields
    bound = type(form)(
        fields_of(page) | {"why": "seen"}, kind=kind, payload=payload, organisation=agency
    )
    assert bound.is_valid(), bound.errors
    sent = bound.payload()
    # What was left out and what is empty mean the same to a kind.
    assert {k: v for k, v in sent.items() if k in payload and k != "support"} == {
        k: v for k, v in payload.items() if k != "support"
    } or kind in ("add_sign", "inspection")
    for label, words in page.context["shown"].rows:
        assert "{" not in words or kind == "inspection", (label, words)


def test_a_kind_or_a_shape_not_known_here_is_put_right_as_data(
    client, agency, engineer, phone, old
):
    phone.record("paint", {"with": "a brush"})
    phone.record("inspection", note_of({"id": old.pk}, "ok") | {"reading_sets": "none"})
    phone.send()
    odd, broken = DeviceOperation.objects.order_by("pk")
    assert "a brush" in text(client.get(page_of(client, odd)))
    address = page_of(client, broken)
    page = client.get(address)
    assert "What was sent, as data" in text(page)
    form = {"decision": "send", "why": "no readings were taken", "as_data": "{"}
    assert "not data as phones send it" in text(client.post(address, form))
    form["as_data"] = json.dumps(note_of({"id": old.pk}, "ok"))
    client.post(address, form)
    assert Inspection.objects.get().note == "ok"


def test_a_support_meant_for_another_is_put_right_by_its_sign(client, agency, engineer, phone):
    wrong, right = make_sign(agency), make_sign(agency)
    assert wrong.position is not None
    assert right.position is not None
    phone.record(
        "move_support",
        {
            "support": {"id": wrong.position.support_id},
            "latitude_deg": 43.02,
            "longitude_deg": -89.5,
            "accuracy_m": 5,
            "reason": "",
        },
    )
    phone.send()
    held = DeviceOperation.objects.get(state="held")
    address = page_of(client, held)
    page = client.get(address)
    assert "2,22" in text(page)  # metres away, of 0.02° of latitude
    form = fields_of(page) | {"why": "the other one"}
    nobody = client.post(address, form | {"the_support_of": "999999"})
    assert "no sign 999999 of yours" in text(nobody)
    client.post(address, form | {"the_support_of": str(right.pk)})
    assert SupportMove.objects.get().support_id == right.position.support_id


# --- phones ----------------------------------------------------------------------------------


def test_phones_are_listed_with_gaps_and_a_clock_that_is_out(client, agency, engineer, phone):
    signs = [make_sign(agency) for _ in range(3)]
    sent = [phone.note(sign) for sign in signs]
    phone.send([sent[0], sent[2]], sent_at=NOW - timedelta(minutes=7))
    page = text(client.get(reverse("phone-list")))
    assert str(phone.user) in page
    assert "7 min slow" in page
    assert "<strong>1</strong>" in page
    one = text(client.get(reverse("phone-page", args=(phone.device.pk,))))
    assert "One number is not here: 2." in one
    assert "have it set right" in one


def test_a_clock_off_by_five_minutes_is_let_pass_and_one_second_more_is_flagged(
    client, agency, engineer, phone
):
    phone.note(make_sign(agency))
    for seconds, words in ((300, "right"), (301, "5 min slow")):
        phone.send(sent_at=NOW - timedelta(seconds=seconds))
        (row,) = client.get(reverse("phone-list")).context["phones"]
        assert row.clock_words == words


def test_a_lost_phone_is_withdrawn_with_a_reason_and_brought_back(
    client, agency, engineer, phone
):
    address = reverse("phone-page", args=(phone.device.pk,))
    assert client.post(address, {"why": ""}).status_code == 400
    assert "waits for you" in text(client.post(address, {"why": "left in a taxi"}, follow=True))
    phone.note(make_sign(agency))
    phone.send()
    assert DeviceOperation.objects.get().code == "withdrawn_phone"
    client.post(address, {"why": "found again"})
    assert not Device.objects.get().is_withdrawn


def test_many_phones_are_listed_in_few_queries(
    client, agency, engineer, django_assert_max_num_queries
):
    for _ in range(8):
        crew = Phone(agency)
        crew.note(make_sign(agency))
        crew.send()
    with django_assert_max_num_queries(13):
        assert len(client.get(reverse("phone-list")).context["phones"]) == 8


# --- how it reads with the rest --------------------------------------------------------------


def test_today_leads_to_what_waits(client, engineer, conflict):
    page = text(client.get(reverse("overview")))
    assert f'href="{LIST}"' in page
    assert f'href="{page_of(client, conflict)}"' in page


def test_the_pages_of_what_comes_in_lead_to_each_other(client, engineer, conflict):
    names = ("from-phones", "wrong-data", "added-signs", "refused-list", "merge-list")
    addresses = [reverse(name) for name in (*names, "phone-list")]
    for address in addresses:
        page = text(client.get(address))
        for other in addresses:
            assert f'href="{other}"' in page
        assert "From the phones" in page


def test_the_history_of_a_sign_says_how_it_was_found(client, agency, engineer, phone, old):
    found = {"by": "nearest", "latitude_deg": 43.0, "longitude_deg": -89.5}
    phone.note(old, identified=found | {"accuracy_m": 8.4, "candidate_count": 3})
    phone.send()
    page = text(client.get(reverse("sign-page", args=(old.pk,))))
    assert (
        "found by: picked from the signs near the phone, phone good to 8 m, 3 signs within that"
        in page
    )
