"""Signing in by role, acting in one role at a time."""

import pytest
from django.urls import reverse

from inventory.models import Membership, Role
from inventory.services.people import add_person
from tests.factories import make_agency, make_person, make_shop
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db

PASSWORD = "a-long-test-word"


@pytest.mark.parametrize(
    ("role", "first_page"),
    [(Role.ENGINEER, "overview"), (Role.ADMINISTRATOR, "overview"), (Role.CREW, "field")],
)
def test_each_role_of_an_agency_lands_on_its_own_first_page(client, role, first_page):
    person = make_person(make_agency(), role)
    answer = client.post(
        reverse("sign-in"), {"username": person.username, "password": PASSWORD}
    )
    assert answer.url == reverse("home")
    assert client.get(answer.url).url == reverse(first_page)


def test_the_shop_lands_on_its_board(client):
    act_as(client, make_shop(), Role.SHOP)
    assert client.get(reverse("home")).url == reverse("board")


def test_a_wrong_password_is_refused_in_words_and_the_name_is_kept(client):
    person = make_person(make_agency())
    answer = client.post(reverse("sign-in"), {"username": person.username, "password": "no"})
    page = answer.content.decode()
    assert "do not belong together" in page
    assert f'value="{person.username}"' in page


def test_a_link_cannot_sign_a_person_out(client):
    act_as(client, make_agency())
    assert client.get(reverse("sign-out")).status_code == 405
    assert client.get(reverse("overview")).status_code == 200
    client.post(reverse("sign-out"))
    assert client.get(reverse("overview")).status_code == 302


def test_a_real_site_shows_no_logins(client, settings):
    settings.IS_DEMO = False
    assert "invented" not in client.get(reverse("sign-in")).content.decode()


def test_nobody_is_sent_to_another_site_after_signing_in(client):
    person = make_person(make_agency())
    answer = client.post(
        reverse("sign-in"),
        {"username": person.username, "password": PASSWORD, "next": "https://example.org/"},
    )
    assert answer.url == reverse("home")


def test_a_person_without_a_role_is_told_whom_to_ask(client, django_user_model):
    client.force_login(django_user_model.objects.create_user("nobody"))
    answer = client.get(reverse("home"))
    assert answer.status_code == 403
    assert "nobody has given you a role yet" in answer.content.decode()


def test_a_person_with_two_roles_acts_in_one_and_switches(client):
    agency, shop = make_agency(), make_shop()
    person = act_as(client, agency)
    add_person(username=person.username, password="", organisation=shop, role=Role.SHOP)
    theirs = Membership.objects.get(user=person, organisation=shop)
    assert client.get(reverse("overview")).status_code == 200
    assert client.post(reverse("switch-role"), {"membership": theirs.pk}).status_code == 302
    assert client.get(reverse("overview")).status_code == 403
    assert client.get(reverse("home")).url == reverse("board")


def test_nobody_can_take_on_somebody_elses_role(client):
    act_as(client, make_agency())
    other = make_person(make_agency())
    foreign = Membership.objects.get(user=other)
    answer = client.post(reverse("switch-role"), {"membership": foreign.pk})
    assert answer.status_code == 404


def test_the_wrong_role_reads_whose_page_it_is_and_how_they_act_now(client):
    act_as(client, make_agency("Birch County"), Role.CREW)
    answer = client.get(reverse("overview"))
    assert answer.status_code == 403
    text = answer.content.decode()
    assert "for the agency engineer" in text
    assert "field crew at Birch County" in text


def test_the_pages_show_the_organisations_own_time(client):
    from inventory.services.logbook import log
    from tests.factories import NOW

    agency = make_agency()
    agency.time_zone = "America/Chicago"
    agency.save()
    act_as(client, agency)
    log(organisation=agency, actor=None, verb="x", text="Noon UTC.", at=NOW)
    # IANA: Chicago is on UTC-5 in June; NOW is 12:00 UTC.
    assert "07:00" in client.get(reverse("logbook")).content.decode()


def test_a_page_asks_for_the_persons_roles_once(client, django_assert_num_queries):
    act_as(client, make_agency())
    # The session, the person, their roles.
    with django_assert_num_queries(3):
        client.get(reverse("help"))
