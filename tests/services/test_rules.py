"""What a version of rules may say, and what it does to verdicts."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from inventory.engineering.assessment.decision import DecisionRule
from inventory.engineering.inspection.instrument_uncertainty import ASSUMED_UNCERTAINTY
from inventory.errors import OutOfRangeError
from inventory.models import AgencyPolicy
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.people import policy_at, set_policy
from inventory.services.rules import choices_of, rules_of
from tests.factories import NOW, make_agency, make_sign

pytestmark = pytest.mark.django_db

OWN_FIGURES: dict[str, Any] = {
    "instrument_repeatability_rel": 0.02,
    "instrument_common_rel": 0.04,
    "single_reading_scatter_rel": 0.1,
    "uncertainty_basis": "an invented certificate",
}


def next_rules(agency, **fields: Any) -> AgencyPolicy:
    return set_policy(
        agency=agency,
        effective_on=date(2026, 1, 1),
        edition="11th-2023",
        basis="council decision",
        now=NOW,
        **fields,
    )


def test_what_is_shipped_is_the_stated_assumption():
    rules = rules_of(policy_at(make_agency(), NOW.date()))
    assert rules.uncertainty == ASSUMED_UNCERTAINTY
    assert "assumption" in rules.uncertainty.basis
    assert rules.decision_rule == DecisionRule()
    assert (rules.fluorescent_yellow_basis, rules.fluorescent_orange_basis) == ("", "")


def test_every_choice_reaches_the_method():
    policy = next_rules(
        make_agency(),
        decision_rule="guarded",
        guard_probability=0.9,
        fluorescent_orange_basis=" an invented choice ",
        **OWN_FIGURES,
    )
    rules = rules_of(AgencyPolicy.objects.get(pk=policy.pk))
    assert rules.decision_rule == DecisionRule(0.9)
    stated = rules.uncertainty
    assert (stated.repeatability_rel, stated.common_rel) == (0.02, 0.04)
    assert (stated.single_scatter_rel, stated.basis) == (0.1, "an invented certificate")
    assert rules.fluorescent_orange_basis == "an invented choice"


def test_the_next_version_can_start_from_every_choice_of_the_last():
    agency = make_agency()
    first = next_rules(agency, decision_rule="guarded", **OWN_FIGURES)
    second = next_rules(agency, **choices_of(first))
    assert choices_of(second) == choices_of(first)
    assert choices_of(None) == {}
    fixed = {"id", "organisation", "version", "effective_on", "recorded_at", "edition", "basis"}
    fields = {field.name for field in AgencyPolicy._meta.concrete_fields}
    assert set(choices_of(first)) == fields - fixed


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        (
            {"decision_rule": "lenient"},
            "'lenient' is not a decision rule; use one of simple_acc",
        ),
        ({"guard_probability": 0.5}, "The required probability is 0.5; it is over 0.5"),
        ({"guard_probability": 95.0}, "95 % is written 0.95"),
        ({"instrument_common_rel": 5.0}, r"is 5 of the reading; it is a share from 0 to 0\.5"),
        ({"instrument_repeatability_rel": 0.2}, "not less than the repeatability"),
        ({"uncertainty_basis": " "}, "has no basis; say in words"),
        ({"due_probability": 0.01}, r"at a probability of 0\.01; it is from 0\.05 to 0\.95"),
        ({"due_probability": 20}, "at a probability of 20; it is from"),
        ({"due_soon_months": 12.5}, r"within 12\.5 months; it is a whole number from 0 to 120"),
        ({"due_soon_months": -1}, "within -1 months"),
        ({"instrument_common_rel": 0.02}, "their basis is still the shipped assumption"),
    ],
)
def test_rules_that_cannot_hold_are_refused(fields, sentence):
    agency = make_agency()
    with pytest.raises(OutOfRangeError, match=sentence):
        next_rules(agency, **fields)
    assert AgencyPolicy.objects.count() == 1


def test_a_guard_leaves_a_value_near_its_level_undecided_and_says_what_would_help():
    agency = make_agency(decision_rule="guarded", guard_probability=0.95, **OWN_FIGURES)
    sign = make_sign(agency)
    record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(days=1),
        how="hand_held",
        reading_sets=[ReadingSetInput("white", ["40"]), ReadingSetInput("red", ["12"] * 4)],
        now=NOW,
    )
    assessment = sign.assessments.get()
    assert assessment.verdict == "undecided"
    white = assessment.elements.get(color="white")
    # By hand: u² = 4² + 1.6² = 18.56, g = 1.645 · 4.308 = 7.09 > 5; p = Φ(5/4.308) = 0.877.
    assert white.verdict == "undecided"
    assert white.probability == pytest.approx(0.877, abs=0.001)
    assert white.expanded_uncertainty == pytest.approx(1.960 * 4.308, abs=0.01)
    assert white.further_readings is not None
    assert 1 <= white.further_readings <= 5
    assert white.flags == ["Only one reading; 4 a colour are usual."]
    contrast = assessment.elements.get(kind="contrast")
    assert contrast.interval_low is not None
    assert contrast.interval_high is not None
    assert contrast.interval_low < 40 / 12 < contrast.interval_high
    low, high = assessment.probability_low, assessment.probability_high
    assert low is not None
    assert high is not None
    assert low <= high
    assert high <= (white.probability or 0)


def test_rules_are_set_from_the_command_line_with_every_choice():
    agency = make_agency("Example County")
    call_command(
        "set_policy",
        "--organisation=Example County",
        "--edition=11th-2023",
        "--effective-on=2026-01-01",
        "--basis=council decision",
        "--decision-rule=guarded",
        "--guard-probability=0.9",
        "--repeatability=0.02",
        "--common=0.04",
        "--single-scatter=0.1",
        "--uncertainty-basis=an invented certificate",
        "--fluorescent-yellow-basis=an invented choice",
    )
    policy = policy_at(agency, date(2026, 1, 1))
    rules = rules_of(policy)
    assert rules.decision_rule == DecisionRule(0.9)
    assert rules.uncertainty.common_rel == 0.04
    assert rules.fluorescent_yellow_basis == "an invented choice"
    with pytest.raises(CommandError, match="still the shipped assumption"):
        call_command(
            "set_policy",
            "--organisation=Example County",
            "--edition=11th-2023",
            "--effective-on=2026-01-02",
            "--basis=council decision",
            "--common=0.01",
        )
