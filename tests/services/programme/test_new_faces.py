"""A new face falls like those that are made now of the sheeting that would be ordered."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from inventory.engineering.programme.years import new_face_chances
from inventory.models import ColourArea, SignForecast
from inventory.services.forecast.expected_lives import set_expected_life
from inventory.services.ordering.lines import OldFace, Rulebook, line_for_position
from inventory.services.programme.making import problem_of
from inventory.services.programme.new_faces import (
    EXPECTED_LIFE,
    MADE_NOW,
    NOT_KNOWN,
    OWN_COHORT,
    NewFaces,
)
from inventory.services.standing import mark_due
from tests.factories import NOW, make_position, make_sign
from tests.services.programme.records import (
    FIRST,
    HIGH,
    a_programme,
    a_sign,
    planning_agency,
    solved,
)
from tests.web.forecast_records import make_fit

pytestmark = pytest.mark.django_db
OWN = "III/beaded/white/sheeting/unknown/hand_held"
WARNING = (("background", "yellow"), ("legend", "black"))
PLACE = {"sign_code": "W1-1"}


def table(*shares):
    return {"table": [{"age_years": n, "share_below": each} for n, each in enumerate(shares)]}


def chances_of(agency, years=3):
    frame = problem_of(a_programme(agency, years=years), today=NOW.date())
    (row,) = frame.risk.below_if_new
    return row, dict(frame.new_face_sources)


@pytest.fixture
def agency():
    return planning_agency()


def a_warning_sign(agency, fit, **fields):
    face = {"colours": WARNING, "sheeting_type": "XI", "optics": "prismatic"}
    sign = a_sign(agency, fit, HIGH, face=face, place=PLACE, color="yellow", **fields)
    mark_due(organisation=agency, now=NOW)
    return sign


def printed_lately(agency):
    """Put up a face of the same sheeting this year, printed; it is another agency's concern."""
    sign = make_sign(
        agency, colours=WARNING, sheeting_type="XI", installed_on=date(2026, 4, 1),
        position=make_position(agency, **PLACE),
    )  # fmt: skip
    ColourArea.objects.filter(sign=sign).update(colouring="printed_mixed")


def test_a_film_faced_sign_is_succeeded_by_a_printed_one_that_falls_as_such_do(agency):
    own = make_fit(
        agency, "XI/prismatic/yellow/sheeting/unknown/hand_held", life=table(0, 0, 0)
    )
    made = make_fit(
        agency, "XI/prismatic/yellow/printed_mixed/unknown/hand_held", life=table(0.0, 0.2, 0.6)
    )
    printed_lately(agency)
    a_warning_sign(agency, own)
    row, sources = chances_of(agency)
    assert row.tolist() == new_face_chances([0.0, 0.2, 0.6], 3).tolist()
    assert sources == {MADE_NOW: 1}
    assert made.pk != own.pk


def test_where_no_such_face_was_fitted_it_falls_like_the_faces_of_the_sign(agency):
    own = make_fit(agency, "XI/prismatic/yellow/sheeting/unknown/hand_held", life=table(0, 0.4))
    printed_lately(agency)
    a_warning_sign(agency, own)
    row, sources = chances_of(agency)
    assert row.tolist() == new_face_chances([0.0, 0.4], 3).tolist()
    assert sources == {OWN_COHORT: 1}


def test_without_any_cohort_it_holds_for_the_expected_life(agency):
    a_warning_sign(agency, None, basis=SignForecast.Basis.AGENCY_LIFE)
    set_expected_life(
        organisation=agency, end="level", years=2.0, basis="invented", approved_by="board",
        effective_on=date(2020, 1, 1), now=NOW,
    )  # fmt: skip
    row, sources = chances_of(agency, years=4)
    assert row.tolist() == [0.0, 0.0, 1.0, 1.0]
    assert sources == {EXPECTED_LIFE: 1}


def test_with_nothing_known_it_is_taken_to_hold_and_the_programme_says_of_how_many(agency):
    a_warning_sign(agency, None, basis=SignForecast.Basis.AGENCY_LIFE)
    row, sources = chances_of(agency)
    assert row.tolist() == [0.0, 0.0, 0.0]
    assert sources == {NOT_KNOWN: 1}
    said = solved(a_programme(agency, name="Second")).result["assumptions"]
    assert (
        f"How fast new faces fall below their level, and for how many: {NOT_KNOWN} (1)." in said
    )


def test_the_worst_colour_of_a_new_face_counts(agency):
    red = make_fit(agency, "IX/prismatic/red/sheeting/unknown/hand_held", life=table(0, 0.1))
    make_fit(agency, "IX/prismatic/white/sheeting/unknown/hand_held", life=table(0, 0.5))
    make_sign(agency, installed_on=date(2026, 4, 1))
    a_sign(agency, red, HIGH, color="red")
    mark_due(organisation=agency, now=NOW)
    row, sources = chances_of(agency)
    assert row.tolist() == new_face_chances([0.0, 0.5], 3).tolist()
    assert sources == {MADE_NOW: 1}


def test_a_face_of_unknown_sheeting_falls_like_its_own_cohort(agency):
    own = make_fit(agency, OWN, life=table(0.0, 0.3))
    a_sign(agency, own, HIGH, face={"sheeting_type": "", "optics": "unknown"})
    mark_due(organisation=agency, now=NOW)
    row, sources = chances_of(agency)
    assert row.tolist() == new_face_chances([0.0, 0.3], 3).tolist()
    assert sources == {OWN_COHORT: 1}


@pytest.mark.parametrize(
    ("code", "colours", "sheeting", "optics"),
    [
        ("R1-1", (("background", "red"), ("legend", "white")), "III", "beaded"),
        ("W11-2", (("background", "fluorescent-yellow-green"), ("legend", "black")), "XI", ""),
        ("W1-1", (("background", "orange"), ("legend", "black")), "IX", "unknown"),
    ],
)
def test_what_is_taken_as_ordered_is_what_an_order_draft_says(
    agency, code, colours, sheeting, optics
):
    position = make_position(agency, sign_code=code)
    sign = make_sign(
        agency, colours=colours, sheeting_type=sheeting, optics=optics or "prismatic",
        position=position,
    )  # fmt: skip
    line = line_for_position(
        position, rules=Rulebook.of(agency, NOW), replaces=sign, sheeting_type="", optics="",
        old_face=OldFace.of(sign.colour_areas.all()),
    )  # fmt: skip
    faces = NewFaces(agency, NOW.date(), 3)
    faces.read()
    makes = faces._makes(code, faces.faces[sign.pk])
    assert {(each.sheeting_type, each.optics) for each in makes} == {
        (line.sheeting_type, line.optics)
    }
    wanted = {line.background_color, line.legend_color} - {"black"}
    assert {each.color for each in makes} == wanted


def test_better_sheeting_is_worth_more_than_replacing_like_with_like(agency):
    """The value of a replacement goes by the face that goes up, not by the one that stands."""
    own = make_fit(
        agency, "XI/prismatic/yellow/sheeting/unknown/hand_held", life=table(0.0, 0.9, 1.0)
    )
    make_fit(agency, "XI/prismatic/yellow/printed_mixed/unknown/hand_held", life=table(0, 0, 0))
    printed_lately(agency)
    a_warning_sign(agency, own)
    result = solved(a_programme(agency)).result
    assert result["by_year"][0]["year"] == FIRST
    assert result["risk_left"] == 0.0
    assert np.isclose(result["risk_nothing"], sum(HIGH[:3]) * 4.0)  # class 2
