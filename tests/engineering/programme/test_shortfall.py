"""Musts that do not fit: the least extra, and which miss."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.engineering.programme.problem import ProgrammeProblem
from inventory.engineering.programme.shortfall import least_extra
from tests.engineering.programme.fleets import invented_programme


def musts(cost, must_by, budget):
    count, years = len(cost), len(budget)
    return ProgrammeProblem(
        np.zeros((count, years)),
        np.array(cost, dtype=float),
        np.zeros(count),
        np.array(budget, dtype=float),
        np.zeros(years),
        must_by=np.array(must_by),
    )


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 9), st.integers(0, 1)), min_size=1, max_size=5),
    st.lists(st.integers(0, 15), min_size=2, max_size=2),
)
def test_the_extra_money_is_the_least_of_all_ways(drawn, budget):
    cost, must_by = zip(*drawn, strict=True)
    short = least_extra(musts(cost, must_by, budget), weight=np.ones(len(cost)))
    least = min(
        sum(
            max(0, sum(c for c, t in zip(cost, plan, strict=True) if t == year) - have)
            for year, have in enumerate(budget)
        )
        for plan in itertools.product(*(range(last + 1) for last in must_by))
    )
    assert short.extra_money.sum() == pytest.approx(least, abs=1e-3)
    assert short.is_nothing == (least == 0)


def test_the_heavier_sign_is_kept_and_the_lighter_one_misses():
    problem = musts([100, 100], [0, 0], [100])
    assert least_extra(problem, weight=np.array([1.0, 10.0])).missed.tolist() == [0]


def test_a_must_that_no_year_is_open_to_misses_whatever_the_money():
    problem = ProgrammeProblem(
        np.zeros((1, 2)), np.ones(1), np.zeros(1), np.full(2, 9.0), np.full(2, 9.0),
        is_allowed=np.array([[False, True]]), must_by=np.array([0]),
    )  # fmt: skip
    short = least_extra(problem, weight=np.ones(1))
    assert short.missed.tolist() == [0]
    assert short.extra_money.sum() == 0


def test_a_programme_whose_musts_fit_lacks_nothing():
    problem = invented_programme(4, 300, 5, with_musts=True)
    short = least_extra(problem, weight=np.ones(300))
    assert short.is_nothing
