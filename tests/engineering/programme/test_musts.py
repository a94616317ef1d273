"""Musts and locks are placed first, each trip counted once; an earlier plan goes on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.engineering.programme.musts import locked_beyond, place_musts
from inventory.engineering.programme.problem import FREE, NOT_PLANNED
from inventory.engineering.programme.solve import solve_programme
from inventory.engineering.programme.trips import TripCosts, keeps_limits, solve_with_trips
from inventory.errors import OutOfRangeError
from tests.engineering.programme.fleets import invented_programme

WEIGHTS = np.tile([10.0, 4.0, 2.0, 1.0], 30)


def a_fleet(seed, *, share=0.09, with_musts=True):
    """120 positions, three at a support, four supports on a stretch."""
    problem = invented_programme(seed, 120, 4, share=share, with_musts=with_musts)
    support = np.arange(120) // 3
    return problem, TripCosts(support, support // 4, 40.0, 40.0, 0.2, 0.2)


@settings(max_examples=12)
@given(st.integers(0, 500), st.floats(0.0, 0.1))
def test_what_is_placed_keeps_the_limits_and_what_misses_is_named(seed, share):
    problem, trips = a_fleet(seed, share=share)
    placed = place_musts(problem, trips, weight=WEIGHTS)
    without = replace(problem, must_by=np.where(np.isin(np.arange(120), placed.missed), -1,
                                                problem.must_by))  # fmt: skip
    assert keeps_limits(without, trips, placed.year)
    is_kept = (placed.year >= 0) & (placed.year <= problem.must_by)
    assert set(placed.missed.tolist()) == set(
        np.flatnonzero((problem.must_by >= 0) & ~is_kept).tolist()
    )


@settings(max_examples=3)
@given(st.integers(0, 500), st.integers(0, 119))
def test_a_plan_of_before_goes_on_around_a_new_lock(seed, place):
    problem, trips = a_fleet(seed, with_musts=False)
    before = solve_with_trips(problem, trips, polish_seconds=0.05).plan.year
    locked = np.full(120, FREE)
    locked[place] = NOT_PLANNED
    placed = place_musts(replace(problem, locked=locked), trips, weight=WEIGHTS, start=before)
    others = np.arange(120) != place
    assert (placed.year[others] == before[others]).all()
    assert placed.year[place] == NOT_PLANNED


@settings(max_examples=3)
@given(st.integers(0, 500))
def test_locking_the_plan_found_changes_nothing_with_shared_trips(seed):
    problem, trips = a_fleet(seed, with_musts=False)
    found = solve_with_trips(problem, trips, polish_seconds=0.05).plan
    again = solve_with_trips(
        replace(problem, locked=found.year), trips, start=found.year, polish_seconds=0.05
    ).plan
    assert (again.year == found.year).all()


@settings(max_examples=3)
@given(st.integers(0, 500), st.floats(1.0, 1.4))
def test_more_money_never_leaves_more_risk_with_shared_trips(seed, more):
    problem, trips = a_fleet(seed, with_musts=False)
    small = solve_with_trips(problem, trips, polish_seconds=0.05).plan
    richer = replace(
        problem, budget=problem.budget * more, crew_hours_limit=problem.crew_hours_limit * more
    )
    large = solve_with_trips(richer, trips, start=small.year, polish_seconds=0.05).plan
    assert large.value >= small.value - 1e-9
    assert keeps_limits(richer, trips, large.year)


def test_locks_that_take_too_much_are_refused_and_what_lacks_is_told():
    problem, trips = a_fleet(1)
    locked = np.full(120, FREE)
    locked[:60] = 0
    crowded = replace(problem, locked=locked)
    money, hours = locked_beyond(crowded, trips)
    assert money[0] > 0
    assert hours[0] > 0
    assert money[1:].tolist() == [0.0, 0.0, 0.0]
    with pytest.raises(OutOfRangeError, match="unlock some of them"):
        place_musts(crowded, trips, weight=WEIGHTS)


def test_the_heavier_must_is_placed_first_where_there_is_room_for_one():
    problem, trips = a_fleet(1)
    must_by = np.full(120, -1)
    must_by[[0, 60]] = 0  # weights 10 and 10; then 63 of weight 1
    must_by[63] = 0
    alone = problem.cost + 80.0
    tight = replace(
        problem, must_by=must_by, budget=np.array([alone[0] + alone[60] + 1.0, 0.0, 0.0, 0.0])
    )
    placed = place_musts(tight, trips, weight=WEIGHTS)
    assert placed.missed.tolist() == [63]


def test_stopped_while_placing_what_is_not_placed_has_missed():
    problem, _trips = a_fleet(1)
    many = replace(
        problem,
        value=np.tile(problem.value, (20, 1)), cost=np.tile(problem.cost, 20),
        crew_hours=np.tile(problem.crew_hours, 20), is_allowed=np.ones((2400, 4), dtype=bool),
        must_by=np.full(2400, 3), locked=np.full(2400, FREE),
        budget=problem.budget * 1e3, crew_hours_limit=problem.crew_hours_limit * 1e3,
    )  # fmt: skip
    apart = TripCosts(np.arange(2400), np.arange(2400), 40.0, 40.0, 0.2, 0.2)
    placed = place_musts(many, apart, weight=np.ones(2400), should_stop=lambda: True)
    assert len(placed.missed) == 2400 - 999


def test_what_takes_no_risk_away_and_need_not_be_done_is_not_paid_for():
    problem, trips = a_fleet(1)
    worthless = replace(problem, value=np.where(problem.value > 1.0, problem.value, 0.0))
    plan = solve_with_trips(worthless, trips, polish_seconds=0.05).plan
    planned = np.flatnonzero((plan.year >= 0) & (problem.must_by < 0))
    assert (worthless.value[planned, plan.year[planned]] > 0).all()


def test_without_time_for_the_exact_solver_musts_leave_no_money_unused():
    problem = invented_programme(11, 120, 4, with_musts=True)
    plan = solve_programme(problem, polish_seconds=1e-3)
    assert problem.fits(plan.year)
    assert plan.value >= 0.9 * plan.bound
