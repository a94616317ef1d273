"""Levels an agency set itself: judged, always labelled, never in place of a published row."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from inventory.engineering.assessment.assess import assess_face
from inventory.engineering.assessment.face import Face, OwnLevel, Rules
from inventory.engineering.assessment.own_levels import AGENCY_LEVEL_TABLE
from inventory.engineering.assessment.record import facts_of
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.standards.vocabulary import Checked, Color, Edition
from tests.engineering.assessment.faces import (
    RULES,
    RULES_2009,
    catalogued,
    element,
    read,
    two_colors,
    verdicts,
)

SCHOOL = OwnLevel(
    background=Color.FLUORESCENT_YELLOW_GREEN,
    legend=Color.BLACK,
    color=Color.FLUORESCENT_YELLOW_GREEN,
    minimum_ra_cd_lx_m2=Decimal("75"),
    basis="a trial of the agency's own",
    approved_by="the agency engineer",
    approved_on=date(2025, 3, 1),
    effective_on=date(2025, 4, 1),
)
WITH_OWN = Rules(Edition.MUTCD_11, own_levels=(SCHOOL,))


@pytest.mark.parametrize(
    ("value", "verdict", "says"),
    [("75", Verdict.MEETS, "meets"), ("74.9", Verdict.BELOW, "is below")],
)
def test_a_school_sign_is_judged_by_the_agencys_own_level_and_says_so(value, verdict, says):
    result = assess_face(
        catalogued("S1-1"), [read("fluorescent-yellow-green", value)], WITH_OWN
    )
    own = element(result, "fluorescent-yellow-green")
    assert (own.verdict, own.level, own.is_own_level) == (verdict, Decimal(75), True)
    assert (own.table_id, own.checked) == (AGENCY_LEVEL_TABLE, Checked.NO)
    assert own.row_id == (
        "black-on-fluorescent-yellow-green/fluorescent-yellow-green/from-2025-04-01"
    )
    assert own.reason == (
        f"Fluorescent yellow-green {value} {says} 75, the agency's own level. That level was "
        "approved by the agency engineer on 2025-03-01: a trial of the agency's own."
    )
    assert result.verdict is verdict


def test_without_an_own_level_it_has_no_level():
    result = assess_face(catalogued("S1-1"), [read("fluorescent-yellow-green", "80")], RULES)
    assert result.verdict is Verdict.NO_LEVEL


def test_an_own_level_never_stands_in_for_a_published_row():
    own = replace(SCHOOL, background=Color.YELLOW, color=Color.YELLOW)
    rules = Rules(Edition.MUTCD_11, own_levels=(own,))
    yellow = element(assess_face(catalogued("W1-2"), [read("yellow", "60")], rules), "yellow")
    # Source: MUTCD 11th edition Table 2A-5, black on yellow: bold symbols 50.
    assert (yellow.level, yellow.is_own_level) == (Decimal(50), False)


def test_a_pair_that_one_edition_binds_and_another_does_not_takes_the_own_level_in_the_latter():
    # Source: blue has no binding level under 2009; post-mounted blue 7 in the 11th edition.
    own = replace(SCHOOL, background=Color.BLUE, legend=Color.WHITE, color=Color.BLUE)
    face = Face(None, two_colors(Color.BLUE, Color.WHITE))
    readings = [read("blue", "80"), read("white", "200")]
    bound = assess_face(face, readings, replace(RULES, own_levels=(own,)))
    open_ = assess_face(face, readings, replace(RULES_2009, own_levels=(own,)))
    assert not element(bound, "blue").is_own_level
    assert verdicts(open_) == {"blue": "meets", "white": "no level"}
    assert not element(open_, "white").decides
    assert open_.verdict is Verdict.MEETS


def test_fluorescent_yellow_is_without_a_level_until_the_agency_decides():
    face = catalogued("W1-2", areas=two_colors(Color.FLUORESCENT_YELLOW, Color.BLACK))
    readings = [read("fluorescent-yellow", "60")]
    result = assess_face(face, readings, RULES)
    assert result.verdict is Verdict.NO_LEVEL
    assert result.reason.startswith(
        "The agency has not decided whether fluorescent yellow is judged by the yellow row"
    )
    own = replace(SCHOOL, background=Color.FLUORESCENT_YELLOW, color=Color.FLUORESCENT_YELLOW)
    by_own = assess_face(face, readings, replace(RULES, own_levels=(own,)))
    assert element(by_own, "fluorescent-yellow").is_own_level
    chosen = replace(RULES, own_levels=(own,), fluorescent_yellow_basis="an invented choice")
    by_row = element(assess_face(face, readings, chosen), "fluorescent-yellow")
    assert (by_row.verdict, by_row.level, by_row.is_own_level) == (
        Verdict.MEETS,
        Decimal(50),
        False,
    )


def test_the_choice_for_orange_is_its_own():
    face = Face(None, two_colors(Color.FLUORESCENT_ORANGE, Color.BLACK))
    yellow_only = replace(RULES, fluorescent_yellow_basis="an invented choice")
    both = replace(yellow_only, fluorescent_orange_basis="an invented choice")
    assert assess_face(face, [], yellow_only).verdict is Verdict.NO_LEVEL
    assert assess_face(face, [], both).verdict is not Verdict.NO_LEVEL


def test_only_levels_of_the_faces_own_colours_are_stored_with_its_facts():
    other = replace(SCHOOL, background=Color.PURPLE, color=Color.PURPLE)
    rules = Rules(Edition.MUTCD_11, own_levels=(SCHOOL, other))
    stop = facts_of(catalogued("R1-1"), [], rules)
    school = facts_of(catalogued("S1-1"), [], rules)
    assert stop["rules"]["own_levels"] == []
    assert [each["background"] for each in school["rules"]["own_levels"]] == [
        "fluorescent-yellow-green"
    ]
