"""What an agency expects of its faces: set, withdrawn, and which of several holds."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import ExpectedLife, LogbookEntry
from inventory.services.forecast.expected_lives import (
    expected_life_of,
    expected_lives,
    set_expected_life,
)
from inventory.services.methods import assign, create_group
from tests.factories import NOW, make_agency, make_position, make_shop

pytestmark = pytest.mark.django_db

TODAY = NOW.date()


def set_life(agency, years=12.0, **fields):
    terms: dict[str, Any] = {
        "end": "level",
        "basis": "signs taken down 2015 to 2025 (invented)",
        "approved_by": "the engineer",
        "effective_on": date(2026, 1, 1),
        "now": NOW,
    }
    return set_expected_life(organisation=agency, years=years, **terms | fields)


def life_of(agency, on=TODAY, end="level", position_id=None, **face):
    face = {"sheeting_type": "III", "optics": "beaded", "color": "white"} | face
    return expected_life_of(
        organisation=agency, on=on, end=end, position_id=position_id, **face
    )


def test_nothing_is_expected_until_the_agency_says_so():
    assert life_of(make_agency()) is None


def test_the_most_specific_life_holds_sheeting_type_before_optics_before_colour():
    agency = make_agency()
    set_life(agency, 8.0)
    set_life(agency, 9.0, color="white")
    assert life_of(agency).years == 9
    assert life_of(agency, color="red").years == 8
    set_life(agency, 10.0, optics="beaded")
    assert life_of(agency).years == 10
    set_life(agency, 11.0, sheeting_type="type iii")
    assert life_of(agency).years == 11
    set_life(agency, 13.0, sheeting_type="III", color="white")
    found = life_of(agency)
    assert found.years == 13
    assert found.words == "expected life of 13 years for Type III white faces"
    assert found.basis.startswith("signs taken down")
    assert life_of(agency, sheeting_type="XI", optics="prismatic").years == 9


def test_a_life_holds_from_its_day_until_it_is_withdrawn_and_stays_on_record():
    agency = make_agency()
    set_life(agency, effective_on=date(2026, 3, 1))
    set_life(agency, None, effective_on=date(2026, 5, 1))
    assert life_of(agency, on=date(2026, 2, 28)) is None
    assert life_of(agency, on=date(2026, 3, 1)).years == 12
    assert life_of(agency, on=date(2026, 5, 1)) is None
    assert ExpectedLife.objects.owned_by(agency).count() == 2
    texts = LogbookEntry.objects.filter(organisation=agency, verb="set expected life")
    assert any("withdrawn from 2026-05-01" in each.text for each in texts)


def test_a_withdrawn_life_lets_the_wider_one_hold():
    agency = make_agency()
    set_life(agency, 15.0)
    set_life(agency, 7.0, color="white")
    set_life(agency, None, color="white", now=NOW + timedelta(hours=1))
    assert life_of(agency).years == 15


def test_without_one_the_method_of_expected_life_holds_at_its_places():
    agency = make_agency()
    place, other = make_position(agency), make_position(agency)
    group = create_group(
        organisation=agency,
        name="By age",
        method="expected_life",
        started_on=date(2020, 1, 1),
        basis="council decision (invented)",
        expected_life_years=14,
        now=NOW,
    )
    assign(group=group, positions=[place], from_on=date(2026, 1, 1), now=NOW)
    found = life_of(agency, position_id=place.pk)
    assert (found.years, found.source, found.basis) == (
        14.0,
        "method group",
        "council decision (invented)",
    )
    assert life_of(agency, position_id=other.pk) is None
    assert life_of(agency, on=date(2025, 12, 31), position_id=place.pk) is None
    assert life_of(agency, end="fade", position_id=place.pk) is None  # a level's life alone
    set_life(agency, 9.0)
    assert life_of(agency, position_id=place.pk).years == 9


def test_another_agencys_life_does_not_hold():
    set_life(make_agency())
    assert life_of(make_agency()) is None


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"years": 0.0}, "A life of 0 years is not possible; it is over 0 and at most 60"),
        ({"years": 61.0}, "at most 60"),
        ({"years": float("nan")}, "not possible"),
        ({"basis": "  "}, "no basis"),
        ({"approved_by": ""}, "Nobody is named"),
        ({"approved_by": "x" * 121}, "121 characters"),
        ({"end": "theft"}, "'theft' is no end"),
        ({"sheeting_type": "XX"}, "'XX' is not a sheeting type"),
        ({"color": "beige"}, "'beige' is no colour"),
        ({"optics": "unknown"}, "'unknown' is no optics"),
        ({"end": "fade", "optics": "beaded"}, "leave the optics out"),
    ],
)
def test_a_life_that_cannot_be_is_refused(fields, words):
    agency = make_agency()
    with pytest.raises(OutOfRangeError, match=words):
        set_life(agency, **fields)
    assert not ExpectedLife.objects.owned_by(agency).exists()


def test_there_is_nothing_to_withdraw_where_nothing_is_expected():
    agency = make_agency()
    with pytest.raises(StateConflictError, match="nothing to withdraw"):
        set_life(agency, None)
    set_life(agency, 9.0, end="fade", color="red")
    with pytest.raises(StateConflictError, match="nothing to withdraw"):
        set_life(agency, None, color="red")


def test_a_shop_expects_no_lives_of_signs():
    with pytest.raises(StateConflictError, match="no road agency"):
        set_life(make_shop())


def test_a_whole_fleet_is_asked_in_two_queries(django_assert_num_queries):
    agency = make_agency()
    for color in ("red", "white", "green"):
        set_life(agency, 9.0, color=color)
    with django_assert_num_queries(2):
        book = expected_lives(agency, TODAY)
        lives = [
            book.of("level", sheeting_type="III", optics="", color=color, position_id=1)
            for color in ("red", "white", "green", "blue")
        ]
    assert [life and life.years for life in lives] == [9, 9, 9, None]


def test_the_command_sets_and_withdraws(capsys):
    agency = make_agency()
    given = {
        "organisation": agency.name,
        "end": "fade",
        "color": "red",
        "basis": "own signs taken down (invented)",
        "approved_by": "the engineer",
        "effective_on": "2026-01-01",
    }
    options = [f"--{name.replace('_', '-')}={value}" for name, value in given.items()]
    call_command("set_expected_life", *options, "--years=11")
    assert "red faces" in capsys.readouterr().out
    assert life_of(agency, end="fade", color="red").years == 11
    call_command("set_expected_life", *options, "--withdraw")
    assert life_of(agency, end="fade", color="red") is None
    with pytest.raises(CommandError, match="not possible"):
        call_command("set_expected_life", *options, "--years=90")
    with pytest.raises(CommandError, match="one of"):
        call_command("set_expected_life", *options)
