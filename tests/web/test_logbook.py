"""The logbook: newest first, in pages, each organisation its own."""

import pytest
from django.urls import reverse

from inventory.models import Role
from inventory.services.logbook import log
from tests.factories import NOW, make_agency, make_shop, make_sign
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db


def test_an_entry_names_who_did_it_and_leads_to_its_sign(client):
    agency = make_agency()
    person = act_as(client, agency)
    sign = make_sign(agency)
    log(organisation=agency, actor=person, verb="x", text="Looked at it.", at=NOW, sign=sign)
    page = client.get(reverse("logbook")).content.decode()
    assert "Looked at it." in page
    assert str(person) in page
    assert reverse("sign-page", args=(sign.pk,)) in page


def test_a_shop_is_not_led_to_pages_it_may_not_open(client):
    shop = make_shop()
    act_as(client, shop, Role.SHOP)
    sign = make_sign(make_agency())
    log(organisation=shop, actor=None, verb="x", text="Printed it.", at=NOW, sign=sign)
    page = client.get(reverse("logbook")).content.decode()
    assert "Printed it." in page
    assert reverse("sign-page", args=(sign.pk,)) not in page


def test_nobody_reads_anothers_logbook(client):
    log(organisation=make_agency(), actor=None, verb="x", text="Their secret.", at=NOW)
    act_as(client, make_agency())
    assert "Their secret." not in client.get(reverse("logbook")).content.decode()


def test_a_longer_logbook_takes_no_more_queries(client, django_assert_max_num_queries):
    agency = make_agency()
    person = act_as(client, agency)
    for _ in range(60):
        log(
            organisation=agency,
            actor=person,
            verb="x",
            text="Again.",
            at=NOW,
            sign=make_sign(agency),
        )
    with django_assert_max_num_queries(5):
        answer = client.get(reverse("logbook"))
    assert len(answer.context["page"]) == 50
