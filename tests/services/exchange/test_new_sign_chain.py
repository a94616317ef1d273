"""A sign added on the road, and what was recorded on it before the server knew it."""

import pytest

from inventory.models import DeviceOperation, Inspection, Role, Sign
from inventory.services.exchange.devices import withdraw_device
from inventory.services.exchange.settling import open_operations, settle_operation
from tests.factories import NOW, make_agency, make_person, make_sign
from tests.services.exchange.phones import Phone, note_of, only, readings_of, said

pytestmark = pytest.mark.django_db

WAITS = ("held", "waits")


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def phone(agency):
    return Phone(agency)


def added(**fields):
    return {
        "support": {"new": {"latitude_deg": 43.1, "longitude_deg": -89.4, "accuracy_m": 5.0}},
        "sign_code": "R1-1",
        "facing_deg": 180.0,
        "colours": [
            {
                "part": "background",
                "color": "red",
                "sheeting_type": "IX",
                "optics": "prismatic",
            },
            {"part": "legend", "color": "white", "sheeting_type": "IX", "optics": "prismatic"},
        ],
        "note": "",
    } | fields


def operation(sent):
    return DeviceOperation.objects.get(client_uuid=sent.client_uuid)


def test_readings_of_a_sign_added_in_the_same_batch_are_of_that_sign(agency, phone):
    there = make_sign(agency)
    new = phone.record("add_sign", added())
    ref = {"operation": new.client_uuid}
    phone.record("inspection", readings_of(ref, "40", "8"), needs=[new.client_uuid])
    phone.note(there, "the old one")
    answers = phone.send().answers
    assert [each.answer for each in answers] == ["applied"] * 3
    made = Sign.objects.get(pk=answers[0].result["sign_id"])
    assert Inspection.objects.exclude(note="the old one").get().sign == made
    assert made != there


def test_dependants_of_a_refused_new_sign_wait_and_go_to_the_corrected_one(agency, phone):
    make_sign(agency)
    wrong = phone.record("add_sign", added(facing_deg=361.0))
    ref = {"operation": wrong.client_uuid}
    reading = phone.record("inspection", readings_of(ref, "40", "8"))
    flag = phone.record("flag_record", {"sign": ref, "field": "size", "said": "It is 36 in."})
    assert said(phone.send()) == [("refused", "out_of_range"), WAITS, WAITS]
    right = phone.record("add_sign", added(), replaces=wrong.client_uuid)
    made = only(phone.send([right])).result["sign_id"]
    assert Inspection.objects.get().sign_id == made
    assert [operation(each).state for each in (reading, flag)] == ["applied", "applied"]
    assert operation(flag).result["flag_id"]
    assert not open_operations(agency).exists()


def test_dependants_of_a_held_new_sign_wait_with_it_and_follow_in_their_order(agency, phone):
    engineer = make_person(agency, Role.ENGINEER)
    new = phone.record("add_sign", added())
    withdraw_device(device=phone.device, reason="Lost.", by=engineer, now=NOW)
    phone.send()
    other = Phone(agency)
    ref = {"operation": new.client_uuid}
    for words in ("first", "second", "third"):
        other.record("inspection", note_of(ref, words))
    assert said(other.send(list(reversed(other.kept)))) == [WAITS] * 3
    settled = settle_operation(
        operation=operation(new), decision="apply", reason="Hers.", by=engineer, now=NOW
    )
    visits = Inspection.objects.order_by("pk").values_list("note", "sign")
    assert list(visits) == [
        (w, settled.result["sign_id"]) for w in ("first", "second", "third")
    ]


def test_a_reference_to_an_operation_that_made_no_sign_is_refused(agency, phone):
    note = phone.note(make_sign(agency))
    ref = {"operation": note.client_uuid}
    phone.record("move_support", {"support": ref, "latitude_deg": 43.0, "longitude_deg": -89.0})
    answer = phone.send().answers[1]
    assert (answer.answer, answer.code) == ("refused", "out_of_range")
    assert "made no such record" in answer.sentence
