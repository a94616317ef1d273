"""The methods' pages: who may open them, what they show, what they refuse and keep."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.models import Disposition, MethodAssignment, MethodGroup, MethodStep, Role
from inventory.services.assessment import mark_due
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.methods import assign, create_group
from tests.factories import NOW, make_agency, make_shop, make_sign, position_of
from tests.web.acting import act_as, stop_the_clock

pytestmark = pytest.mark.django_db

BEGUN = {
    "name": "Stop signs",
    "method": "measured",
    "started_on": "2026-01-01",
    "interval_months": "24",
    "basis": "county board, December 2025",
}
PAGES = ("methods", "method-record", "decisions")


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def engineer(client, agency):
    return act_as(client, agency)


def begin(agency, method="measured", **fields):
    return create_group(
        organisation=agency,
        name=fields.pop("name", method),
        method=method,
        started_on=NOW.date(),
        basis="county board",
        interval_months=24,
        now=NOW,
    )


def below(agency, days=1):
    sign = make_sign(agency)
    record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(days=days),
        how="hand_held",
        reading_sets=[ReadingSetInput("white", ["200"] * 4), ReadingSetInput("red", ["3"] * 4)],
        now=NOW,
    )
    return sign


def put_under(group, *signs):
    places = [position_of(sign) for sign in signs]
    assign(group=group, positions=places, from_on=NOW.date(), now=NOW)


@pytest.mark.parametrize("name", PAGES)
def test_the_pages_are_the_engineers(client, agency, name):
    act_as(client, agency, Role.CREW)
    assert client.get(reverse(name)).status_code == 403
    act_as(client, make_shop(), Role.SHOP)
    assert client.get(reverse(name)).status_code == 403
    act_as(client, agency, Role.ENGINEER)
    assert client.get(reverse(name)).status_code == 200
    assert client.head(reverse(name)).status_code == 200


def test_another_agencys_group_is_not_there(client, agency, engineer):
    group = begin(make_agency())
    for name in ("method-group", "method-signs"):
        assert client.get(reverse(name, args=(group.pk,))).status_code == 404
    for name in ("method-controls", "method-step", "method-end", "method-signs"):
        answer = client.post(
            reverse(name, args=(group.pk,)),
            {
                "from_on": "2026-06-01",
                "ended_on": "2026-06-01",
                "kind": "other",
                "done_on": "2026-06-01",
                "text": "x",
            },
        )
        assert answer.status_code == 404


def test_a_method_is_begun_and_shown_with_its_next_step(client, agency, engineer):
    answer = client.post(reverse("methods"), BEGUN)
    group = MethodGroup.objects.get()
    assert answer["Location"] == reverse("method-group", args=(group.pk,))
    page = client.get(reverse("methods")).content.decode()
    assert "Stop signs" in page
    assert "Put signs under it" in page


def test_a_refused_method_keeps_what_was_typed(client, agency, engineer):
    answer = client.post(reverse("methods"), BEGUN | {"interval_months": ""})
    assert answer.status_code == 400
    page = answer.content.decode()
    assert "needs an interval in months" in page
    assert "county board, December 2025" in page
    assert not MethodGroup.objects.exists()


def test_ticked_signs_and_all_that_pass_are_put_under_a_method(client, agency, engineer):
    group = begin(agency)
    first, second = make_sign(agency), make_sign(agency)
    make_sign(agency, sign_code="R2-1")
    mark_due(organisation=agency, now=NOW)
    address = reverse("method-signs", args=(group.pk,))
    assert "no method" in client.get(address).content.decode()
    client.post(address, {"signs": [first.pk], "from_on": "2026-06-01"})
    assert [a.position_id for a in MethodAssignment.objects.all()] == [first.position_id]
    client.post(f"{address}?code=R1-1", {"all": "1", "from_on": "2026-06-01"})
    under = set(MethodAssignment.objects.values_list("position", flat=True))
    assert under == {first.position_id, second.position_id}


def test_nothing_ticked_and_a_day_too_early_are_said_and_kept(client, agency, engineer):
    group = begin(agency)
    sign = make_sign(agency)
    mark_due(organisation=agency, now=NOW)
    address = reverse("method-signs", args=(group.pk,))
    answer = client.post(address, {"from_on": "2026-06-01"})
    assert answer.status_code == 400
    assert "No sign is ticked" in answer.content.decode()
    answer = client.post(address, {"signs": [sign.pk], "from_on": "2020-01-01"})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "began on 2026-06-01" in page
    assert "2020-01-01" in page
    assert f'value="{sign.pk}" checked' in page


def test_control_signs_of_a_page_are_saved_and_those_of_other_pages_kept(
    client, agency, engineer
):
    group = begin(agency, "control_signs")
    signs = [make_sign(agency) for _ in range(3)]
    put_under(group, *signs)
    places = [sign.position_id for sign in signs]
    address = reverse("method-controls", args=(group.pk,))
    client.post(address, {"shown": places, "controls": places[:2], "from_on": "2026-06-01"})
    client.post(address, {"shown": places[2:], "controls": places[2:], "from_on": "2026-06-01"})
    now = MethodAssignment.objects.filter(until_on=None, is_control_sign=True)
    assert set(now.values_list("position", flat=True)) == set(places)
    page = client.get(reverse("method-group", args=(group.pk,))).content.decode()
    assert "control sign, not measured yet" in page


def test_what_was_done_is_recorded_and_a_method_ended(client, agency, engineer):
    group = begin(agency)
    step = {"kind": "measuring_round", "done_on": "2026-06-01", "text": "Mill Road"}
    client.post(reverse("method-step", args=(group.pk,)), step)
    assert MethodStep.objects.get().text == "Mill Road"
    refused = client.post(
        reverse("method-step", args=(group.pk,)), step | {"done_on": "2027-01-01"}
    )
    assert refused.status_code == 400
    assert "still to come" in refused.content.decode()
    client.post(reverse("method-end", args=(group.pk,)), {"ended_on": "2026-06-01"})
    assert MethodGroup.objects.get().ended_on == NOW.date()
    again = client.post(reverse("method-end", args=(group.pk,)), {"ended_on": "2026-06-01"})
    assert again.status_code == 409


def test_the_record_offers_both_ways_of_knowing(client, agency, engineer):
    below(agency)
    for known, words in (("then", "as known then"), ("now", "as known now")):
        answer = client.get(reverse("method-record"), {"on": "2026-06-01", "known": known})
        page = answer.content.decode()
        assert answer.status_code == 200
        assert f"1 Jun 2026, {words}" in page
        assert "nothing decided" in page


def test_a_day_to_come_or_no_day_is_refused_in_a_sentence(client, agency, engineer):
    for asked, words in (
        ({"on": "2030-01-01", "known": "now"}, "still to come"),
        ({"on": "soon", "known": "now"}, "not a calendar date"),
        ({"on": "2026-01-01", "known": "later"}, "not one of the choices"),
    ):
        for name in ("method-record", "method-record-pdf"):
            answer = client.get(reverse(name), asked)
            assert answer.status_code == 400
            assert words in answer.content.decode()


def test_long_lists_of_the_record_are_paged_each_by_itself(client, agency, engineer):
    for days in range(27):
        below(agency, days)
    address = reverse("method-record")
    page = client.get(address, {"on": "2026-06-01", "known": "now"}).content.decode()
    assert "1 to 25 of 27" in page
    page = client.get(
        address, {"on": "2026-06-01", "known": "now", "without": "2"}
    ).content.decode()
    assert "26 to 27 of 27" in page


def test_the_record_is_saved_as_a_pdf(client, agency, engineer):
    below(agency)
    answer = client.get(reverse("method-record-pdf"), {"on": "2026-06-01", "known": "then"})
    content = b"".join(answer.streaming_content)
    assert answer["Content-Type"] == "application/pdf"
    assert "method-record-2026-06-01-known-then.pdf" in answer["Content-Disposition"]
    assert content.startswith(b"%PDF")


def test_several_signs_are_decided_about_at_once(client, agency, engineer):
    first, second = below(agency), below(agency, 2)
    address = reverse("decisions")
    page = client.get(address).content.decode()
    assert page.index(f'value="{second.pk}"') < page.index(f'value="{first.pk}"')
    answer = client.post(address, {"signs": [first.pk, second.pk], "decision": "replace"})
    assert answer.status_code == 302
    assert Disposition.objects.filter(decided_by=engineer).count() == 2
    assert "A decision stands about every sign" in client.get(address).content.decode()


def test_a_refused_decision_keeps_the_ticks_and_the_words(client, agency, engineer):
    sign = below(agency)
    address = reverse("decisions")
    answer = client.post(
        address, {"signs": [sign.pk], "decision": "defer", "reason": "road closed"}
    )
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "needs a reason and the date" in page
    assert "road closed" in page
    assert f'value="{sign.pk}" checked' in page
    answer = client.post(address, {"decision": "replace"})
    assert "No sign is ticked" in answer.content.decode()
    assert not Disposition.objects.exists()


def test_the_pages_take_no_more_questions_for_more_signs(
    client, agency, engineer, django_assert_max_num_queries
):
    group = begin(agency)
    put_under(group, *(below(agency, days) for days in range(12)))
    for address in (
        reverse("methods"),
        reverse("method-group", args=(group.pk,)),
        reverse("method-signs", args=(group.pk,)),
        reverse("decisions"),
        f"{reverse('method-record')}?on=2026-06-01&known=now",
    ):
        with django_assert_max_num_queries(36):
            assert client.get(address).status_code == 200
