"""Plans with shared trips, against every plan there is and against choosing before bundling."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.engineering.programme.problem import ProgrammeProblem
from inventory.engineering.programme.trips import TripCosts, solve_with_trips
from inventory.errors import OutOfRangeError
from tests.engineering.programme.fleets import invented_programme


def fits(problem, trips, plan):
    money, hours = trips.spent(problem, plan)
    return (money <= problem.budget + 1e-6).all() and (
        hours <= problem.crew_hours_limit + 1e-6
    ).all()


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10_000))
def test_no_plan_there_is_passes_the_bound_and_ours_keeps_the_limits(seed):
    draw = np.random.default_rng(seed)
    problem = ProgrammeProblem(
        draw.integers(1, 9, (4, 2)).astype(float), draw.integers(2, 9, 4).astype(float),
        draw.integers(0, 4, 4).astype(float), draw.integers(8, 30, 2).astype(float),
        draw.integers(4, 20, 2).astype(float),
    )  # fmt: skip
    trips = TripCosts(np.array([0, 0, 1, 2]), np.array([0, 0, 0, 1]), 3.0, 2.0, 1.0, 1.0)
    found = solve_with_trips(problem, trips)
    plans = map(np.array, itertools.product((-1, 0, 1), repeat=4))
    best = max(problem.value_of(plan) for plan in plans if fits(problem, trips, plan))
    assert fits(problem, trips, found.plan.year)
    assert found.separate_value <= found.plan.value <= best + 1e-9
    assert best <= found.plan.bound + 1e-6


def test_two_faces_of_one_support_are_changed_in_one_trip():
    # Each is worth most in a year of its own, but there is money for one trip alone.
    problem = ProgrammeProblem(
        np.array([[5.0, 4.0], [4.0, 5.0]]), np.array([50.0, 50.0]), np.zeros(2),
        np.array([150.0, 40.0]), np.zeros(2),
    )  # fmt: skip
    trips = TripCosts(np.array([0, 0]), np.array([0, 0]), 30.0, 20.0, 0.0, 0.0)
    assert solve_with_trips(problem, trips).plan.year.tolist() == [0, 0]


def test_bundling_while_choosing_takes_more_away_than_bundling_after():
    problem = invented_programme(1, 600, 6, share=0.09)
    support = np.arange(600) // 2
    trips = TripCosts(support, support // 8, 60.0, 60.0, 0.3, 0.5)
    found = solve_with_trips(problem, trips, polish_seconds=0.3)
    assert fits(problem, trips, found.plan.year)
    assert found.gain > 0
    assert 0.8 * found.plan.bound < found.plan.value <= found.plan.bound


def test_without_trip_costs_it_is_the_separable_plan():
    problem = invented_programme(2, 60, 3)
    trips = TripCosts(np.arange(60), np.arange(60), 0.0, 0.0, 0.0, 0.0)
    found = solve_with_trips(problem, trips, polish_seconds=0.3)
    assert problem.fits(found.plan.year)
    assert found.plan.value == pytest.approx(found.separate_value)


def test_a_plan_to_begin_from_is_never_made_worse():
    problem = invented_programme(3, 120, 4, share=0.09)
    support = np.arange(120) // 3
    trips = TripCosts(support, support // 4, 40.0, 40.0, 0.2, 0.2)
    first = solve_with_trips(problem, trips, polish_seconds=0.2).plan
    richer = ProgrammeProblem(
        problem.value, problem.cost, problem.crew_hours, problem.budget * 1.1,
        problem.crew_hours_limit * 1.1,
    )  # fmt: skip
    again = solve_with_trips(richer, trips, start=first.year, polish_seconds=0.2).plan
    assert again.value >= first.value


def test_trips_that_cost_less_than_nothing_are_refused():
    with pytest.raises(OutOfRangeError, match="support_money is -1; it is 0 or more"):
        TripCosts(np.zeros(1, int), np.zeros(1, int), -1.0, 0.0, 0.0, 0.0)
