"""Levels of an agency's own: set, followed by another, withdrawn, and judged by."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import AgencyLevel, Assessment, LogbookEntry, Standing
from inventory.services.assessment import assess_sign
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.own_levels import own_levels_on, set_agency_level
from tests.factories import NOW, make_agency, make_person, make_shop, make_sign

pytestmark = pytest.mark.django_db

SCHOOL = "fluorescent-yellow-green"
SCHOOL_COLOURS = ((("background", SCHOOL)), ("legend", "black"))


def set_school_level(agency, **fields: Any) -> AgencyLevel:
    defaults: dict[str, Any] = {
        "background": SCHOOL,
        "legend": "black",
        "color": SCHOOL,
        "minimum": "75",
        "basis": "an invented trial",
        "approved_by": "the agency engineer",
        "approved_on": date(2025, 3, 1),
        "effective_on": date(2025, 4, 1),
        "now": NOW,
    }
    return set_agency_level(agency=agency, **defaults | fields)


def read_school_sign(agency, value: str):
    sign = make_sign(agency, sign_code="S1-1", colours=SCHOOL_COLOURS)
    record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(days=1),
        how="hand_held",
        reading_sets=[ReadingSetInput(SCHOOL, [value] * 4)],
        now=NOW,
    )
    return sign


def test_a_level_is_in_force_from_its_day_until_another_follows_or_it_is_withdrawn():
    agency = make_agency()
    set_school_level(agency)
    set_school_level(agency, minimum=Decimal("80.5"), effective_on=date(2026, 1, 1))
    set_school_level(agency, minimum=None, effective_on=date(2026, 5, 1))

    def on(day: date) -> list[Decimal]:
        return [each.minimum_ra_cd_lx_m2 for each in own_levels_on(agency, day)]

    assert on(date(2025, 3, 31)) == []
    assert on(date(2025, 4, 1)) == [Decimal("75.000")]
    assert on(date(2026, 4, 30)) == [Decimal("80.500")]
    assert on(date(2026, 5, 1)) == []
    assert AgencyLevel.objects.count() == 3


def test_of_two_levels_from_one_day_the_one_set_last_holds():
    agency = make_agency()
    set_school_level(agency, minimum="60", now=NOW - timedelta(days=2))
    set_school_level(agency, minimum="70")
    (level,) = own_levels_on(agency, NOW.date())
    assert level.minimum_ra_cd_lx_m2 == 70


def test_a_school_sign_is_judged_by_it_labelled_and_due():
    agency = make_agency()
    engineer = make_person(agency)
    sign = read_school_sign(agency, "70")
    assert Standing.objects.get(sign=sign).verdict == "no level"
    row = set_school_level(agency, by=engineer)
    assert (row.recorded_by, row.recorded_at) == (engineer, NOW)
    assessment = assess_sign(sign=sign, now=NOW)
    assert assessment.verdict == "below"
    element = assessment.elements.get()
    assert (element.table_id, element.level, element.checked) == (
        "agency-level",
        Decimal("75.000"),
        "no",
    )
    standing = Standing.objects.get(sign=sign)
    assert standing.is_due
    assert "the agency's own level" in standing.due_reason
    assert "the agency's own level" in standing.reason
    assert LogbookEntry.objects.get(verb="set own level").text == (
        "Own level for fluorescent yellow-green of black on fluorescent yellow-green set to "
        "75.000 cd/lx/m² from 2025-04-01, approved by the agency engineer. an invented trial"
    )


def test_a_new_own_level_leaves_the_assessments_of_other_signs():
    agency = make_agency()
    stop = make_sign(agency)
    first = assess_sign(sign=stop, now=NOW)
    set_school_level(agency)
    assert assess_sign(sign=stop, now=NOW) == first
    assert Assessment.objects.count() == 1


def test_another_agencys_level_does_not_count():
    set_school_level(make_agency())
    assert own_levels_on(make_agency(), NOW.date()) == ()


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"background": "tartan"}, r"'tartan' is no colour known here \(background\); use one"),
        ({"color": "red"}, "Red is not a colour of black on fluorescent yellow-green"),
        ({"color": "black"}, "Black returns no light"),
        (
            {"background": "yellow", "color": "yellow"},
            "publishes a level for yellow of black on yellow; an own level is only for",
        ),
        ({"minimum": "much"}, "'much' is no level; write it in figures"),
        (
            {"minimum": "0"},
            "The level 0 cd/lx/m² is not possible; it is over 0 and at most 2000",
        ),
        ({"minimum": "2001"}, "The level 2001 cd/lx/m² is not possible"),
        ({"minimum": "75.0001"}, "more than 3 decimals"),
        ({"minimum": "nan"}, "'nan' is no level"),
        ({"basis": " "}, "The level has no basis"),
        ({"approved_by": ""}, "Nobody is named who approved"),
        ({"approved_by": "x" * 121}, "has 121 characters; at most 120"),
        ({"approved_on": date(2026, 6, 2)}, "2026-06-02, which is still to come"),
        ({"effective_on": date(2025, 2, 1)}, "before it was approved on 2025-03-01"),
    ],
)
def test_a_level_that_cannot_be_is_refused(fields, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        set_school_level(make_agency(), **fields)
    assert not AgencyLevel.objects.exists()


def test_blue_may_have_an_own_level_under_2009_and_not_under_the_11th_edition():
    # Source: FHWA memorandum of 5 April 2012: the 2009 manual binds no level for blue.
    blue = {"background": "blue", "legend": "white", "color": "blue"}
    set_school_level(make_agency(edition="2009"), **blue)
    with pytest.raises(OutOfRangeError, match=r"11th edition.* publishes a level for blue"):
        set_school_level(make_agency(), **blue)


def test_nothing_to_withdraw_and_a_shop_are_refused():
    with pytest.raises(StateConflictError, match="there is nothing to withdraw"):
        set_school_level(make_agency(), minimum=None)
    with pytest.raises(StateConflictError, match="is no road agency"):
        set_school_level(make_shop())
