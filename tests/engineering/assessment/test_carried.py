"""What a phone carries is everything the plan and the rules say; JSON loses none of it."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from decimal import Decimal

import pytest
from hypothesis import given

from inventory.engineering.assessment.assess import METHOD_VERSION
from inventory.engineering.assessment.carried import (
    carry_plan,
    carry_readings,
    carry_rules,
    plan_key,
)
from inventory.engineering.assessment.decision import DecisionRule
from inventory.engineering.assessment.elements import Candidate, ElementPlan, FacePlan
from inventory.engineering.assessment.face import Rules
from inventory.engineering.assessment.plan import plan_face
from inventory.engineering.inspection.usability import reason_not_judged
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.engineering.standards.vocabulary import Edition, ExclusionKey
from tests.engineering.assessment.faces import RULES, RULES_2009, catalogued, read
from tests.strategies import faces, rules


# MUTCD 11th edition (2023) Table 2A-5, white on red: white 35, red 7, contrast 3:1.
def test_the_plan_of_a_stop_sign_carries_its_three_levels_and_where_they_are_printed():
    elements = carry_plan(catalogued("R1-1"), RULES)["elements"]
    assert [
        (each["name"], [row["level"] for row in each["candidates"]]) for each in elements
    ] == [("white", [35_000]), ("red", [7_000]), ("white/red", [3_000])]
    assert all("2A-5" in each["table_words"] for each in elements)


def test_a_sign_of_unknown_size_carries_both_rows_and_what_is_not_known():
    # MUTCD 11th edition Table 2A-5, black on yellow: text 75, or 50 from 48 in on.
    face = catalogued("W8-8", width_in=None, height_in=None)
    (yellow,) = carry_plan(face, RULES)["elements"]
    assert {row["level"] for row in yellow["candidates"]} == {50_000, 75_000}
    assert ["size", "size not known"] in yellow["unknown"]


def test_a_sign_the_agency_leaves_out_carries_the_sentence_and_nothing_to_judge():
    rule = replace(RULES_2009, excluded_groups=frozenset({ExclusionKey.PARKING}))
    plan = carry_plan(catalogued("R7-1"), rule)
    assert "section 2A.08" in plan["excluded"]
    assert plan["elements"] == []


@given(faces, rules)
def test_nothing_of_a_plan_is_lost_on_the_way_to_the_phone(face, rule):
    carried = json.loads(json.dumps(carry_plan(face, rule)))
    plan = plan_face(face, rule.narrowed_to(face))
    assert carried["method_version"] == METHOD_VERSION
    for name in (each.name for each in fields(FacePlan) if each.name != "elements"):
        assert _as_data(getattr(plan, name)) == carried[name]
    for element, sent in zip(plan.elements, carried["elements"], strict=True):
        assert (element.name, element.words) == (sent["name"], sent["words"])
        for each in fields(ElementPlan):
            if each.name != "candidates":
                assert _as_data(getattr(element, each.name)) == sent[each.name]
        for row, sent_row in zip(element.candidates, sent["candidates"], strict=True):
            for each in fields(Candidate):
                assert _as_data(getattr(row, each.name)) == sent_row[each.name]


def _as_data(value):
    return json.loads(json.dumps(value))


@given(faces, rules)
def test_equal_plans_have_one_key_and_any_change_another(face, rule):
    plan = carry_plan(face, rule)
    assert plan_key(json.loads(json.dumps(plan))) == plan_key(plan)
    assert plan_key(plan | {"not_known": plan["not_known"] + "!"}) != plan_key(plan)


def test_the_rules_carry_rule_and_stated_uncertainty():
    carried = carry_rules(replace(RULES, decision_rule=DecisionRule(0.95)))
    assert carried["rule"] == {"kind": "guarded", "required_probability": 0.95}
    # The assumption of docs/methods/uncertainty.md: 3 %, 8 %, 10 %, taken as known.
    assert carried["uncertainty"] == {
        "repeatability_rel": 0.03,
        "common_rel": 0.08,
        "single_scatter_rel": 0.1,
        "single_scatter_dof": None,
    }


@pytest.mark.parametrize("how", How)
@pytest.mark.parametrize("state", SurfaceState)
def test_the_carried_reasons_are_those_of_the_server(how, state):
    carried = carry_rules(Rules(Edition.MUTCD_11))["not_judged"]
    said = reason_not_judged(
        how=how,
        surface_state=state,
        observation_angle_deg=Decimal("0.2"),
        entrance_angle_deg=Decimal("-4.0"),
    )
    assert (carried["how"][how.value] or carried["surface_state"][state.value]) == said


def test_readings_are_carried_with_the_decimals_that_were_typed():
    (carried,) = carry_readings([read("red", "9.0", "9.10", instrument=4, visit=7)])
    assert carried["values"] == ["9.0", "9.10"]
    assert (carried["instrument_id"], carried["visit"]) == (4, 7)
    # 2026-05-01 09:30 UTC: seconds since 1970 by the calendar, 20,574 days and 9.5 hours.
    assert carried["at_us"] == (20_574 * 86_400 + 34_200) * 1_000_000
