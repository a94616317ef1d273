"""Programmes of medium size against CP-SAT of OR-Tools, the outside solver of integers."""

import numpy as np
import pytest
from ortools.sat.python import cp_model

from inventory.engineering.programme.problem import NOT_PLANNED
from inventory.engineering.programme.solve import solve_programme
from tests.engineering.programme.fleets import invented_programme

SCALE = 10_000  # CP-SAT counts in whole numbers


def by_cp_sat(problem, seconds):
    """Return a plan, its value and the solver's own bound, from the same figures."""
    model = cp_model.CpModel()
    may, none = problem.options()
    picks = {}
    for who, when in np.argwhere(may).tolist():
        picks[who, when] = model.new_bool_var(f"{who}/{when}")
    for who in range(problem.count):
        mine = [picks[who, t] for t in range(problem.years) if (who, t) in picks]
        if none[who]:
            model.add_at_most_one(mine)
        else:
            model.add_exactly_one(mine)
    for when in range(problem.years):
        there = [(who, picks[who, when]) for who in range(problem.count) if may[who, when]]
        model.add(sum(int(problem.cost[w]) * x for w, x in there) <= int(problem.budget[when]))
        model.add(
            sum(round(100 * problem.crew_hours[w]) * x for w, x in there)
            <= int(100 * problem.crew_hours_limit[when])
        )
    worth = {key: round(SCALE * problem.value[key]) for key in picks}
    model.maximize(sum(worth[key] * x for key, x in picks.items()))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.solve(model)
    year = np.full(problem.count, NOT_PLANNED)
    for (who, when), x in picks.items():
        if solver.value(x):
            year[who] = when
    return year, problem.value_of(year), solver.best_objective_bound / SCALE


@pytest.mark.parametrize("with_musts", [False, True])
def test_an_outside_solver_finds_no_plan_beyond_our_bound_nor_far_over_our_plan(with_musts):
    problem = invented_programme(11, 120, 4, with_musts=with_musts)
    plan = solve_programme(problem, polish_seconds=1.0)
    theirs, value, bound = by_cp_sat(problem, seconds=1.5)
    assert problem.fits(theirs)
    # Values are rounded to 1/10 000 each.
    assert value <= plan.bound + 0.01
    assert plan.value <= bound + 0.01
    # What is found even where a busy machine leaves the exact solver no time.
    assert plan.value >= 0.94 * value
