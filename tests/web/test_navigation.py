"""The rail: what each role finds in it, and which line marks the page one is on."""

import pytest
from django.urls import get_resolver

from inventory.models import Membership, Role
from inventory.web.navigation import CREW, ENGINEER, PAGES_UNDER, SHOP, entries_for
from tests.factories import make_agency, make_person, make_shop
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db

# Addresses that answer with no page of their own.
NO_PAGE = {
    "home",
    "sign-in",
    "sign-out",
    "switch-role",
    "field-theme",
    "sign-map-data",
    "road-data",
    "sign-photo",
    "refused-photo-content",
    "field-manifest",
    "field-worker",
    "order-artwork",
    "layout-pdf",
    "shipment-pdf",
    "proof-file",
    "claim-file",
    "label-batch-pdf",
    "label-found",
    "layout-progress",
    "layout-stop",
    "run-loaded",
    "programme-progress",
    "crew-days-progress",
    "method-record-pdf",
    "package-gpx",
    "package-geojson",
    "programme-report-pdf",
    "programme-report-csv",
    "programme-year-csv",
    "programme-year-geojson",
    "api-schema",
}


def page_names():
    names = {str(key) for key in get_resolver().reverse_dict if isinstance(key, str)}
    return {name for name in names if not name.startswith("api-")} - NO_PAGE


def membership_of(organisation, role):
    return Membership.objects.get(user=make_person(organisation, role))


def marked(membership, page_name):
    return [(e.words, e.current) for e in entries_for(membership, page_name) if e.current]


def test_every_page_has_its_line_in_the_rail_of_some_role():
    lines = {name for table in (ENGINEER, CREW, SHOP) for name, _words, _short in table}
    under = {name for names in PAGES_UNDER.values() for name in names}
    assert page_names() - lines - under == set()


def test_no_line_holds_a_page_that_does_not_exist():
    under = {name for names in PAGES_UNDER.values() for name in names}
    assert under | set(PAGES_UNDER) <= page_names()


def test_a_page_under_a_line_marks_the_line_but_not_as_the_page_itself():
    engineer = membership_of(make_agency(), Role.ENGINEER)
    assert marked(engineer, "order-list") == [("Orders", "page")]
    assert marked(engineer, "order-page") == [("Orders", "true")]


def test_one_page_is_marked_at_the_line_each_role_has_for_it():
    agency = make_agency()
    assert marked(membership_of(agency, Role.ENGINEER), "sign-page") == [
        ("Map and list", "true")
    ]
    assert marked(membership_of(agency, Role.CREW), "sign-page") == [("Find a sign", "true")]
    assert marked(membership_of(make_shop(), Role.SHOP), "run-page") == [("Presses", "true")]


def test_a_page_outside_the_rail_marks_nothing():
    assert marked(membership_of(make_shop(), Role.SHOP), "sign-page") == []


def test_the_page_shows_the_mark(client):
    act_as(client, make_agency())
    page = client.get("/rules/next/").content.decode()
    assert '<a href="/rules/" aria-current="true">' in page
