"""What an engineer decides about what was held or refused; both versions are kept."""

import json
from typing import Any

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    DeviceOperation,
    Inspection,
    LogbookEntry,
    Membership,
    PhotoUpload,
    Role,
)
from inventory.services.exchange.devices import withdraw_device
from inventory.services.exchange.holding import WaitsError
from inventory.services.exchange.kinds import KINDS
from inventory.services.exchange.settling import open_operations, settle_operation
from tests.factories import NOW, make_agency, make_person, make_sign
from tests.services.exchange.phones import Phone, key_of, note_of, only, readings_of, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def engineer(agency):
    return make_person(agency, Role.ENGINEER)


@pytest.fixture
def phone(agency):
    return Phone(agency)


def operation(sent):
    return DeviceOperation.objects.get(client_uuid=sent.client_uuid)


def settle(sent, decision="apply", by=None, **fields):
    given: dict[str, Any] = {"reason": "Asked the crew.", "now": NOW} | fields
    return settle_operation(operation=operation(sent), decision=decision, by=by, **given)


def test_what_was_held_for_its_person_is_applied_by_an_engineer_once(agency, phone, engineer):
    sent = phone.note(make_sign(agency), "held")
    Membership.objects.filter(user=phone.user).delete()
    phone.send()
    settled = settle(sent, by=engineer)
    assert (settled.state, settled.settled_by) == ("applied", engineer)
    assert settled.settled_reason == "Asked the crew."
    assert Inspection.objects.get().inspector == phone.user
    with pytest.raises(StateConflictError, match=r"not open any more: Asked the crew\."):
        settle(sent, by=engineer)
    assert said(phone.send()) == [("already_applied", "")]
    (news,) = phone.send([], ask=[key_of(sent)]).news
    assert (news.answer, news.result["inspection_id"]) == (
        "applied",
        Inspection.objects.get().pk,
    )
    assert LogbookEntry.objects.filter(verb="settle operation", actor=engineer).exists()


def test_what_waited_for_it_is_applied_at_once_in_its_order(agency, phone, engineer):
    sign = make_sign(agency)
    other = Phone(agency)
    held = phone.note(sign, "held")
    withdraw_device(device=phone.device, reason="Lost.", by=engineer, now=NOW)
    phone.send()
    second = other.note(sign, "second", needs=[held.client_uuid])
    third = other.note(sign, "third", needs=[held.client_uuid])
    assert [answer for answer, _code in said(other.send([third, second]))] == ["held", "held"]
    settle(held, by=engineer)
    in_order = Inspection.objects.order_by("pk").values_list("note", flat=True)
    assert list(in_order) == ["held", "second", "third"]
    assert not open_operations(agency).exists()


def test_a_refused_one_put_right_at_the_desk_makes_another_and_both_are_kept(
    agency, phone, engineer
):
    sign = make_sign(agency)
    photo = {
        "photo_uuid": "7d444840-9dc0-41d1-b245-5ffdce74fad2",
        "sha256": "a" * 64,
        "size_bytes": 10,
        "role": "seen",
    }
    wrong = phone.record(
        "inspection", readings_of({"id": sign.pk}, "forty", "6"), photos=[photo]
    )
    after = phone.note(sign, "after", needs=[wrong.client_uuid])
    phone.send()
    right = readings_of({"id": sign.pk}, "40", "6")
    made = settle(wrong, by=engineer, content=right, reason="Forty is 40.")
    kept = operation(wrong)
    assert (kept.state, kept.content, kept.settled_by) == ("refused", wrong.content, engineer)
    assert (made.state, made.replaces_uuid, made.settled_by) == (
        "applied",
        kept.client_uuid,
        engineer,
    )
    assert made.client_uuid != kept.client_uuid
    assert json.loads(made.content)["payload"] == right
    assert (made.corrected_at, made.person) == (kept.corrected_at, phone.user)
    assert operation(after).state == "applied"
    assert Inspection.objects.count() == 2
    assert PhotoUpload.objects.get().operation == made
    assert not open_operations(agency).exists()
    # Its phone learns that nothing is left to do about it, and what was made.
    (news,) = phone.send([], ask=[kept.client_uuid]).news
    assert (news.answer, news.code, news.result) == ("applied", "put_right", made.result)
    assert news.sentence == "An engineer put it right: Forty is 40."
    again = only(phone.send([wrong]))
    assert (again.answer, again.result) == ("already_applied", made.result)


def test_what_is_still_wrong_is_refused_at_the_desk_and_all_stays_as_it_was(
    agency, phone, engineer
):
    sign = make_sign(agency)
    wrong = phone.record("inspection", readings_of({"id": sign.pk}, "forty", "6"))
    phone.send()
    before = DeviceOperation.objects.values().get()
    still = readings_of({"id": sign.pk}, "fourty", "6")
    for content in (None, still, {"sign": 5}):
        with pytest.raises(OutOfRangeError):
            settle(wrong, by=engineer, content=content)
    assert DeviceOperation.objects.values().get() == before
    assert not Inspection.objects.exists()


def test_a_refused_one_may_be_tried_again_as_it_is(agency, phone, engineer, monkeypatch):
    sent = phone.record("telepathy", {})
    phone.send()
    # As a newer server knows it.
    newer = {**KINDS, "telepathy": lambda _content, _context: {"read": True}}
    monkeypatch.setattr("inventory.services.exchange.applying.KINDS", newer)
    assert settle(sent, by=engineer).result == {"read": True}


def test_what_waits_is_not_applied_before_what_it_needs(agency, phone, engineer):
    sign = make_sign(agency)
    first = phone.note(sign, "first")
    second = phone.note(sign, "second", needs=[first.client_uuid])
    phone.send([second])
    with pytest.raises(WaitsError, match="has not arrived yet"):
        settle(second, by=engineer)
    assert operation(second).state == "held"


def test_what_waited_for_a_discarded_one_stays_until_it_is_settled_itself(
    agency, phone, engineer
):
    sign = make_sign(agency)
    wrong = phone.record("telepathy", {})
    ref = {"operation": wrong.client_uuid}
    leaning = phone.record("inspection", note_of(ref, "leaning"))
    after = phone.note(sign, "after", needs=[wrong.client_uuid])
    phone.send()
    settle(wrong, "discard", by=engineer)
    waiting = [key_of(leaning), key_of(after)]
    assert sorted(o.client_uuid for o in open_operations(agency)) == sorted(waiting)
    # Only that it came after the other held it back: a person may decide.
    settle(after, by=engineer)
    # This one refers to what was never made: it is put right, or discarded.
    with pytest.raises(WaitsError, match="which is discarded"):
        settle(leaning, by=engineer)
    settle(leaning, by=engineer, content=note_of({"id": sign.pk}, "leaning on the sign"))
    in_order = Inspection.objects.order_by("pk").values_list("note", flat=True)
    assert list(in_order) == ["after", "leaning on the sign"]
    assert not open_operations(agency).exists()


def test_what_is_discarded_at_the_desk_is_told_as_discarded(agency, phone, engineer):
    phone.record("telepathy", {})
    phone.send()
    settle(phone.kept[0], "discard", by=engineer)
    assert said(phone.send()) == [("discarded", "unknown_kind")]
    assert only(phone.send()).sentence == "Asked the crew."


def test_a_decision_says_why(agency, phone, engineer):
    sent = phone.record("telepathy", {})
    phone.send()
    for reason in ("", "  ", "x" * 256):
        with pytest.raises(OutOfRangeError, match="Say in a few words"):
            settle(sent, "discard", by=engineer, reason=reason)
    with pytest.raises(OutOfRangeError, match="is no decision"):
        settle(sent, "forget", by=engineer)


def test_an_engineer_decides_that_a_corrected_resend_counts_too(agency, phone, engineer):
    sign = make_sign(agency)
    first = phone.note(sign, "first")
    phone.send()
    second = phone.note(sign, "second", replaces=first.client_uuid)
    assert only(phone.send([second])).code == "conflict"
    settle(second, by=engineer)
    assert sorted(Inspection.objects.values_list("note", flat=True)) == ["first", "second"]


def test_what_the_phone_sent_again_corrected_is_not_open_at_the_desk(agency, phone, engineer):
    sign = make_sign(agency)
    wrong = phone.record("inspection", readings_of({"id": sign.pk}, "forty", "6"))
    phone.send()
    phone.record("inspection", note_of({"id": sign.pk}, "right"), replaces=wrong.client_uuid)
    phone.send()
    with pytest.raises(StateConflictError, match="Sent again, corrected"):
        settle(wrong, by=engineer)
