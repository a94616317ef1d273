"""What is held for an engineer, and what waits for another operation."""

import json
import uuid

import pytest

from inventory.models import (
    DeviceOperation,
    Inspection,
    Membership,
    OperationNeed,
    Role,
    Sign,
)
from inventory.services.exchange.devices import withdraw_device
from inventory.services.exchange.settling import open_operations
from tests.factories import NOW, make_agency, make_person, make_sign
from tests.services.exchange.phones import (
    Phone,
    envelope,
    key_of,
    note_of,
    only,
    readings_of,
    said,
)

pytestmark = pytest.mark.django_db

APPLIED, AGAIN = ("applied", ""), ("already_applied", "")
WAITS = ("held", "waits")


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def phone(agency):
    return Phone(agency)


def state_of(sent):
    operation = DeviceOperation.objects.get(client_uuid=sent.client_uuid)
    return (operation.state, operation.code)


def notes():
    return sorted(Inspection.objects.values_list("note", flat=True))


def test_what_a_person_sends_who_lost_the_right_is_held(agency, phone):
    phone.note(make_sign(agency))
    Membership.objects.filter(user=phone.user).delete()
    answer = only(phone.send())
    assert (answer.answer, answer.code) == ("held", "lost_right")
    assert str(phone.user) in answer.sentence
    assert not Inspection.objects.exists()
    assert only(phone.send()).code == "lost_right"


def test_a_person_who_may_not_sign_in_any_more_has_lost_the_right(agency, phone):
    phone.note(make_sign(agency))
    phone.user.is_active = False
    phone.user.save(update_fields=["is_active"])
    assert said(phone.send()) == [("held", "lost_right")]


def test_an_engineer_and_an_administrator_may_record(agency):
    for role in (Role.ENGINEER, Role.ADMINISTRATOR):
        phone = Phone(agency, make_person(agency, role))
        phone.note(make_sign(agency))
        assert said(phone.send()) == [APPLIED]


@pytest.mark.parametrize("who", ["stranger", "nobody", "not known"])
def test_the_name_of_one_who_never_signed_in_on_the_phone_is_held(agency, phone, who):
    stranger = make_person(agency, Role.CREW)
    named = {"stranger": stranger.pk, "nobody": None, "not known": 10**9}[who]
    phone.note(make_sign(agency), user_id=named)
    assert said(phone.send()) == [("held", "unknown_person")]
    kept = DeviceOperation.objects.get()
    assert kept.person == (stranger if who == "stranger" else None)


def test_people_of_other_agencies_are_not_named(agency, phone):
    phone.note(make_sign(agency), user_id=make_person(make_agency(), Role.CREW).pk)
    phone.send()
    assert DeviceOperation.objects.get().person is None


def test_what_a_withdrawn_phone_sends_is_held(agency, phone):
    sign = make_sign(agency)
    before = phone.note(sign, "before")
    phone.send()
    withdraw_device(device=phone.device, reason="Left in a taxi.", by=None, now=NOW)
    phone.note(sign, "after")
    assert said(phone.send()) == [AGAIN, ("held", "withdrawn_phone")]
    assert notes() == ["before"]
    assert state_of(before) == ("applied", "")


def test_news_of_what_was_held_or_refused_is_told_when_asked(agency, phone):
    applied = phone.note(make_sign(agency))
    refused = phone.record("telepathy", {})
    unknown = uuid.uuid4()
    phone.send()
    received = phone.send([], ask=[key_of(applied), key_of(refused), unknown])
    assert [(n.client_uuid, n.answer) for n in received.news] == [
        (applied.client_uuid, "applied"),
        (refused.client_uuid, "refused"),
    ]


def test_news_of_what_was_kept_apart_is_of_that_and_not_of_the_other(agency, phone):
    sign = make_sign(agency)
    other = Phone(agency)
    theirs = other.note(sign, "theirs")
    other.send()
    changed = json.loads(theirs.content) | {"user_id": phone.user.pk}
    phone.send([envelope(changed)])
    (news,) = phone.send([], ask=[key_of(theirs)]).news
    assert news.answer == "refused"
    (news,) = other.send([], ask=[key_of(theirs)]).news
    assert news.answer == "applied"


def test_dependants_wait_and_are_applied_in_their_order_when_the_need_is(agency, phone):
    sign = make_sign(agency)
    first = phone.note(sign, "first")
    second = phone.note(sign, "second", needs=[first.client_uuid])
    third = phone.note(sign, "third", needs=[second.client_uuid])
    assert said(phone.send([third, second])) == [WAITS, WAITS]
    assert not Inspection.objects.exists()
    assert said(phone.send([first])) == [APPLIED]
    assert list(Inspection.objects.order_by("pk").values_list("note", flat=True)) == [
        "first",
        "second",
        "third",
    ]
    assert said(phone.send()) == [AGAIN] * 3


def test_a_reference_to_an_operation_is_a_need_though_not_named_as_one(agency, phone):
    first = phone.note(make_sign(agency), "first")
    ref = {"operation": first.client_uuid}
    wrong = note_of({"id": Sign.objects.get().pk}, "puts the first right") | {"corrects": ref}
    second = phone.record("inspection", wrong)
    assert said(phone.send([second])) == [WAITS]
    assert OperationNeed.objects.get().needed_uuid == key_of(first)
    phone.send([first])
    stored = Inspection.objects.get(note="puts the first right")
    assert stored.corrects == Inspection.objects.get(note="first")


def test_a_correction_of_a_visit_of_the_same_batch_finds_it(agency, phone):
    sign = make_sign(agency)
    first = phone.note(sign, "first")
    ref = {"operation": first.client_uuid}
    phone.record("inspection", note_of({"id": sign.pk}, "again") | {"corrects": ref})
    assert said(phone.send()) == [APPLIED, APPLIED]


def test_in_one_batch_the_order_sent_does_not_matter(agency, phone):
    sign = make_sign(agency)
    sent = [phone.note(sign, "0")]
    for number in range(1, 6):
        sent.append(phone.note(sign, str(number), needs=[sent[-1].client_uuid]))
    assert said(phone.send(list(reversed(sent)))) == [APPLIED] * 6
    in_order = Inspection.objects.order_by("pk").values_list("note", flat=True)
    assert list(in_order) == ["0", "1", "2", "3", "4", "5"]


def test_dependants_of_a_refused_one_wait_until_its_corrected_resend_is_applied(agency, phone):
    sign = make_sign(agency)
    wrong = phone.record("inspection", readings_of({"id": sign.pk}, "forty", "6"))
    ref = {"operation": wrong.client_uuid}
    after = phone.record("inspection", note_of({"id": sign.pk}, "after") | {"corrects": ref})
    assert said(phone.send()) == [("refused", "out_of_range"), WAITS]
    still = phone.record(
        "inspection",
        readings_of({"id": sign.pk}, "fourty", "6"),
        replaces=wrong.client_uuid,
    )
    phone.send([still])
    assert state_of(after) == ("held", "waits")
    right = phone.record(
        "inspection", readings_of({"id": sign.pk}, "40", "6"), replaces=still.client_uuid
    )
    assert said(phone.send([right])) == [APPLIED]
    assert state_of(after) == ("applied", "")
    made = DeviceOperation.objects.get(client_uuid=right.client_uuid).result
    assert Inspection.objects.get(note="after").corrects_id == made["inspection_id"]
    assert Inspection.objects.count() == 2
    assert not open_operations(agency).exists()


def test_a_corrected_resend_of_what_was_applied_meanwhile_goes_to_a_person(agency, phone):
    sign = make_sign(agency)
    first = phone.note(sign, "first")
    waiting = phone.note(sign, "waiting", needs=[first.client_uuid])
    phone.send([waiting])
    other = phone.note(sign, "instead", replaces=waiting.client_uuid)
    phone.send([first])
    assert said(phone.send([other])) == [("held", "conflict")]
    assert notes() == ["first", "waiting"]


def test_what_was_replaced_while_it_waited_is_never_applied_itself(agency, phone):
    sign = make_sign(agency)
    first = phone.note(sign, "first")
    waiting = phone.note(sign, "waiting", needs=[first.client_uuid])
    phone.send([waiting])
    phone.send([phone.note(sign, "instead", replaces=waiting.client_uuid)])
    phone.send([first])
    assert notes() == ["first", "instead"]
    assert said(phone.send([waiting])) == [("held", "waits")]
    assert not open_operations(agency).exists()


def test_what_arrives_after_its_corrected_resend_is_not_applied_beside_it(agency, phone):
    # Offered again after a restore, and reordered on the way.
    sign = make_sign(agency)
    first = phone.note(sign, "first")
    corrected = phone.note(sign, "corrected", replaces=first.client_uuid)
    assert said(phone.send([corrected])) == [APPLIED]
    assert said(phone.send([first])) == [("refused", "replaced")]
    assert notes() == ["corrected"]
    assert not open_operations(agency).exists()


def test_a_need_in_a_circle_waits_for_ever_and_harms_nothing(agency, phone):
    sign = make_sign(agency)
    one, two = str(uuid.uuid4()), str(uuid.uuid4())
    phone.note(sign, client_uuid=one, needs=[two])
    phone.note(sign, client_uuid=two, needs=[one])
    phone.note(sign, "free")
    assert said(phone.send()) == [WAITS, WAITS, APPLIED]


def test_one_that_needs_two_waits_for_both_and_is_applied_once(agency, phone):
    sign = make_sign(agency)
    one, two = phone.note(sign, "one"), phone.note(sign, "two")
    needs = [one.client_uuid, two.client_uuid]
    both = phone.note(sign, "both", needs=needs)
    phone.send([both])
    phone.send([two])
    assert state_of(both) == ("held", "waits")
    assert only(phone.send([one])).answer == "applied"
    assert notes() == ["both", "one", "two"]
