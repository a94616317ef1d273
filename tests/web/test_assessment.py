"""The due list, the order drafted from it, and what else is decided about a sign."""

from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.models import Disposition, PrintOrder, Role
from inventory.services.damage import Told, report_damage
from tests.factories import (
    NOW,
    make_agency,
    make_shop,
    make_sign,
    make_standing,
    position_of,
)
from tests.web.acting import act_as, stop_the_clock

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def shop(agency):
    return make_shop(agency=agency)


def due_sign(agency, **fields):
    sign = make_sign(agency, **{k: v for k, v in fields.items() if k == "sign_code"})
    standing = {k: v for k, v in fields.items() if k != "sign_code"}
    make_standing(
        sign,
        **{"verdict": "below", "is_due": True, "due_reason": "red 5 is below 7"} | standing,
    )
    return sign


def draft(client, shop, *signs, **fields):
    values = {"shop": shop.pk, "signs": [sign.pk for sign in signs], "sheeting_type": "XI"}
    return client.post(reverse("due-list"), values | fields)


def test_the_due_list_holds_only_due_signs_most_pressing_first(client, agency, shop):
    second = due_sign(agency, due_order=2)
    first = due_sign(agency, due_order=1)
    make_standing(make_sign(agency))
    act_as(client, agency)
    answer = client.get(reverse("due-list"))
    assert [row.sign_id for row in answer.context["page"]] == [first.pk, second.pk]
    assert "red 5 is below 7" in answer.content.decode()


def test_ticked_signs_become_a_draft_and_the_order_opens(client, agency, shop):
    signs = [due_sign(agency), due_sign(agency)]
    person = act_as(client, agency)
    answer = draft(client, shop, *signs, title="Most pressing")
    order = PrintOrder.objects.get()
    assert answer.url == reverse("order-page", args=(order.pk,))
    assert (order.state, order.title, order.drafted_by) == ("draft", "Most pressing", person)
    assert order.lines.count() == 2


def test_a_sign_that_cannot_be_ordered_is_left_out_with_its_sentence(client, agency, shop):
    good, bad = due_sign(agency), due_sign(agency, sign_code="ZZ9-9")
    act_as(client, agency)
    answer = draft(client, shop, good, bad)
    assert answer.status_code == 200
    (refusal,) = answer.context["drafted"].refusals
    assert refusal.sign == bad
    assert refusal.sentence in answer.content.decode().replace("&#x27;", "'")


def test_when_no_sign_can_be_ordered_nothing_is_and_what_was_typed_stays(client, agency, shop):
    bad = due_sign(agency, sign_code="ZZ9-9")
    act_as(client, agency)
    answer = draft(client, shop, bad, title="Keep me")
    page = answer.content.decode()
    assert answer.status_code == 409
    assert not PrintOrder.objects.exists()
    assert "Keep me" in page
    assert f'value="{bad.pk}" checked' in page


def test_nothing_ticked_is_said_in_words(client, agency, shop):
    due_sign(agency)
    act_as(client, agency)
    answer = draft(client, shop, title="Keep me")
    assert answer.status_code == 400
    assert "No sign is ticked" in answer.content.decode()
    assert "Keep me" in answer.content.decode()


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("needed_by_on", "tomorrow"),
        ("needed_by_on", "2020-01-01"),
        ("sheeting_type", "XX"),
    ],
)
def test_a_wrong_value_is_refused_and_nothing_is_ordered(client, agency, shop, field, typed):
    sign = due_sign(agency)
    act_as(client, agency)
    answer = draft(client, shop, sign, **{field: typed})
    assert answer.status_code == 400
    assert not PrintOrder.objects.exists()


def test_another_agencys_sign_cannot_be_ordered(client, agency, shop):
    foreign = due_sign(make_agency())
    act_as(client, agency)
    assert draft(client, shop, foreign).status_code == 400
    assert not PrintOrder.objects.exists()


def test_a_shop_that_does_not_print_for_the_agency_is_no_choice(client, agency, shop):
    stranger = make_shop("Stranger Signs")
    sign = due_sign(agency)
    act_as(client, agency)
    assert "Stranger Signs" not in client.get(reverse("due-list")).content.decode()
    assert draft(client, stranger, sign).status_code == 400


def test_a_sign_already_on_an_order_shows_it_and_cannot_be_ticked(client, agency, shop):
    sign = due_sign(agency)
    act_as(client, agency)
    draft(client, shop, sign)
    page = client.get(reverse("due-list"))
    (row,) = page.context["page"]
    assert row.open_order_number == PrintOrder.objects.get().number
    assert "disabled" in page.content.decode()


def test_a_longer_due_list_takes_no_more_queries(
    client, agency, shop, django_assert_max_num_queries
):
    for _ in range(12):
        due_sign(agency)
    act_as(client, agency)
    with django_assert_max_num_queries(13):
        client.get(reverse("due-list"))


def test_the_crew_cannot_order(client, agency, shop):
    sign = due_sign(agency)
    act_as(client, agency, Role.CREW)
    assert draft(client, shop, sign).status_code == 403


def test_a_decision_is_stored_with_who_and_why(client, agency):
    sign = due_sign(agency)
    person = act_as(client, agency)
    until = (NOW + timedelta(days=60)).date()
    answer = client.post(
        reverse("decide", args=(sign.pk,)),
        {"decision": "defer", "reason": "New road", "defer_until_on": until.isoformat()},
    )
    assert answer.url == reverse("sign-page", args=(sign.pk,))
    decided = Disposition.objects.get()
    assert (decided.decision, decided.reason, decided.decided_by) == (
        "defer",
        "New road",
        person,
    )


@pytest.mark.parametrize(
    "typed",
    [
        {"decision": "defer", "reason": "Keep this reason"},
        {"decision": "replace", "reason": "Keep this reason", "defer_until_on": "2027-01-01"},
        {"reason": "Keep this reason"},
        {"decision": "burn", "reason": "Keep this reason"},
    ],
)
def test_half_a_decision_is_refused_and_what_was_typed_stays(client, agency, typed):
    sign = due_sign(agency)
    act_as(client, agency)
    answer = client.post(reverse("decide", args=(sign.pk,)), typed)
    assert answer.status_code == 400
    assert "Keep this reason" in answer.content.decode()
    assert not Disposition.objects.exists()


def test_the_overview_leads_to_each_thing_that_waits(client, agency, shop):
    severe = due_sign(agency, verdict="meets", condition=4)
    due_sign(agency)
    act_as(client, agency)
    draft(client, shop, severe)
    told = Told(kind="knocked_down", channel="desk")
    report = report_damage(position=position_of(severe), told=told)
    page = client.get(reverse("overview")).content.decode()
    order = PrintOrder.objects.get()
    for address in (
        reverse("damage-page", args=(report.pk,)),
        reverse("due-list") + "?safety_class=1",
        reverse("order-page", args=(order.pk,)),
        reverse("sign-list") + "?verdict=below",
    ):
        assert address in page, address


def test_an_overview_without_anything_waiting_says_so(client, agency):
    act_as(client, agency)
    page = client.get(reverse("overview")).content.decode()
    assert "Nothing is due." in page
    assert "No sign is reported damaged" in page
