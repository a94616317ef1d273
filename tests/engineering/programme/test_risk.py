"""Risk summed by hand and by plan; the two plain rules."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.engineering.programme.plain_rules import oldest_first, worst_first
from inventory.engineering.programme.problem import ProgrammeProblem
from inventory.engineering.programme.risk import ClassWeights, YearlyRisk
from inventory.engineering.programme.solve import solve_programme
from inventory.errors import OutOfRangeError
from tests.engineering.programme.fleets import invented_programme, invented_risk


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 99), st.lists(st.integers(-1, 4), min_size=6, max_size=6))
def test_what_a_plan_takes_away_is_what_it_leaves_less_than_nothing_done(seed, plan):
    risk = invented_risk(seed, 6, 5)
    year = np.array(plan)
    done = year >= 0
    value = risk.value()[np.flatnonzero(done), year[done]].sum()
    nothing = risk.left(np.full(6, -1))
    assert nothing - risk.left(year) == pytest.approx(value, abs=1e-9)


def test_a_damaged_stop_sign_weighs_though_it_shines():
    # By hand: chance 0.1 below and 0.5 failing by damage: 0.1 + 0.5 × 0.9 = 0.55, weight 10.
    risk = YearlyRisk(
        np.array([[0.1]]), np.zeros((1, 1)), ClassWeights().of(np.array([1])), np.array([0.5])
    )
    assert risk.left(np.array([-1])) == pytest.approx(5.5)
    assert risk.value()[0, 0] == pytest.approx(5.5)


def test_the_programme_leaves_less_risk_than_either_rule_at_the_same_money():
    problem = invented_programme(1, 800, 6)
    risk = invented_risk(1, 800, 6)
    plan = solve_programme(problem, polish_seconds=0.2)
    ages = np.random.default_rng(1).uniform(0, 20, 800)
    for rule in (worst_first(problem, risk.below), oldest_first(problem, ages)):
        assert problem.fits(rule)
        assert risk.left(plan.year) < risk.left(rule)


def test_a_rule_passes_over_what_does_not_fit_and_takes_the_next():
    problem = ProgrammeProblem(
        np.ones((3, 1)), np.array([60.0, 70.0, 40.0]), np.zeros(3), np.array([100.0]),
        np.zeros(1),
    )  # fmt: skip
    assert worst_first(problem, np.array([[0.9], [0.8], [0.7]])).tolist() == [0, -1, 0]


def test_signs_of_unknown_age_come_last_by_age():
    problem = ProgrammeProblem(
        np.ones((2, 1)), np.ones(2), np.zeros(2), np.ones(1), np.zeros(1)
    )
    assert oldest_first(problem, np.array([np.nan, 1.0])).tolist() == [-1, 0]


@pytest.mark.parametrize(
    ("weights", "words"),
    [((1.0, 2.0, 1.0, 1.0), "no class weighs more"), ((1.0, 0.0, 0.0, 0.0), "over 0")],
)
def test_weights_that_put_stop_signs_behind_are_refused(weights, words):
    with pytest.raises(OutOfRangeError, match=words):
        ClassWeights(weights)


def test_a_class_that_is_none_is_refused():
    with pytest.raises(OutOfRangeError, match="safety class of sign 1 is 5"):
        ClassWeights().of(np.array([1, 5]))
