"""The least budget that keeps the musts; a plan year by year; what changed between two."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.engineering.programme.compare import changes_between, year_by_year
from inventory.engineering.programme.problem import ProgrammeProblem
from inventory.engineering.programme.questions import least_budget
from inventory.errors import OutOfRangeError
from tests.engineering.programme.fleets import invented_risk


def musts(cost, must_by, budget):
    count, years = len(cost), len(budget)
    return ProgrammeProblem(
        np.zeros((count, years)), np.array(cost, dtype=float), np.zeros(count),
        np.array(budget, dtype=float), np.zeros(years), must_by=np.array(must_by),
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 9), st.integers(0, 1)), min_size=1, max_size=5),
    st.lists(st.integers(1, 9), min_size=2, max_size=2),
)
def test_the_least_budget_is_enough_and_none_below_its_bound_is(drawn, budget):
    cost, must_by = zip(*drawn, strict=True)
    problem = musts(cost, must_by, budget)
    found = least_budget(problem, np.ones(len(cost), dtype=bool))
    money, _hours = problem.spent(found.year)
    assert (money <= found.yearly_money * (1 + 1e-6) + 1e-6).all()
    assert (found.year <= problem.must_by).all()
    assert (found.year >= 0).all()
    best = min(
        max(
            sum(c for c, t in zip(cost, plan, strict=True) if t == year) / have
            for year, have in enumerate(budget)
        )
        for plan in itertools.product(*(range(last + 1) for last in must_by))
    )
    assert found.lower_share <= best * (1 + 1e-9)
    # First fit by earliest last year: never more than a year's largest face over the best.
    assert found.share <= best * 1.0002 + max(cost) / min(budget)


def test_nobody_to_keep_needs_no_money():
    found = least_budget(musts([5], [0], [1]), np.array([False]))
    assert (found.share, found.year.tolist()) == (0.0, [-1])


def test_a_must_before_any_money_comes_is_refused():
    with pytest.raises(OutOfRangeError, match="No money comes by the last year of position 0"):
        least_budget(musts([5], [0], [0, 9]), np.array([True]))


def test_more_signs_are_below_with_nothing_done_than_under_any_plan():
    risk = invented_risk(1, 50, 5)
    safety_class = np.tile([1, 2, 3, 4, 4], 10)
    figures = {"money": np.zeros(5), "crew_hours": np.zeros(5), "safety_class": safety_class}
    nothing = year_by_year(risk, np.full(50, -1), **figures)
    all_now = year_by_year(risk, np.zeros(50, dtype=int), **figures)
    assert nothing.replaced.sum() == 0
    assert all_now.replaced.tolist() == [50, 0, 0, 0, 0]
    assert all_now.below.sum() < nothing.below.sum()
    assert nothing.risk_left == pytest.approx(risk.left(np.full(50, -1)))
    assert (nothing.class_1_below <= nothing.below).all()


def test_what_changed_is_told_in_words():
    changes = changes_between(np.array([0, -1, 2, 3]), np.array([0, 1, -1, 2]))
    assert [each.words for each in changes] == [
        "added, 1", "taken out of 2", "moved from 3 to 2",
    ]  # fmt: skip
