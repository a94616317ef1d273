"""The rules page shows the levels as they are printed, with how far each was checked."""

from datetime import date

import pytest
from django.urls import reverse

from inventory.engineering.standards.tables import table_sources
from inventory.engineering.standards.vocabulary import Edition
from inventory.services.people import set_policy
from inventory.web.standards import NOT_ALLOWED, level_table
from tests.factories import NOW, make_agency
from tests.web.acting import act_as


def line(edition, sign_colors, color, condition=""):
    found = [
        row
        for row in level_table(edition).lines
        if (row.sign_colors, row.color, row.condition) == (sign_colors, color, condition)
    ]
    assert len(found) == 1
    return found[0]


def test_white_on_red_is_shown_as_the_table_prints_it():
    # MUTCD 11th edition (2023), Table 2A-5: white 35 and red 7 whatever the sheeting, 3:1.
    white = line(Edition.MUTCD_11, "white on red", "white")
    red = line(Edition.MUTCD_11, "white on red", "red")
    assert [cell.text for cell in white.cells] == ["35"] * 4
    assert [cell.text for cell in red.cells] == ["7"] * 4
    assert white.contrast == "3 to 1"


def test_a_prohibited_sheeting_is_words_not_a_number():
    # The same table: beaded Type I is not allowed for the yellow of warning signs.
    yellow = line(
        Edition.MUTCD_11, "black on yellow", "yellow", "text or fine symbol under 48 in"
    )
    assert [cell.text for cell in yellow.cells] == [NOT_ALLOWED, "75", "75", "75"]


@pytest.mark.django_db
def test_every_table_in_use_is_listed_and_unverified_ones_say_so(client):
    act_as(client, make_agency())
    page = client.get(reverse("rules")).content.decode()
    for source in table_sources():
        assert source.table_id in page
    unverified = [source for source in table_sources() if not source.checked.is_verified]
    assert page.count('class="tag unverified"') > len(unverified) > 0


@pytest.mark.django_db
def test_rules_to_come_are_listed_but_not_in_force(client):
    agency = make_agency(edition="2009")
    set_policy(
        agency=agency,
        effective_on=date(2999, 1, 1),
        edition="11th-2023",
        basis="later",
        now=NOW,
    )
    act_as(client, agency)
    context = client.get(reverse("rules")).context
    assert context["in_force"].version == 1
    assert len(context["policies"]) == 2


@pytest.mark.django_db
def test_the_rules_show_the_agencys_times_for_damage_or_that_there_are_none(client):
    act_as(client, make_agency())
    assert "no target set by the agency" in client.get(reverse("rules")).content.decode()
    act_as(client, make_agency(damage_days={"severe": {"1": 1, "2": 3}}))
    page = client.get(reverse("rules")).content.decode()
    assert "severe, safety class 1: 1 day; severe, safety class 2: 3 days" in page
