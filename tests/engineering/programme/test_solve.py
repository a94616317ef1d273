"""Plans against every plan there is, and against an integer solver on the whole."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix

from inventory.engineering.programme.bound import least_bound
from inventory.engineering.programme.problem import NOT_PLANNED, ProgrammeProblem
from inventory.engineering.programme.solve import solve_programme
from inventory.errors import OutOfRangeError, StateConflictError
from tests.engineering.programme.fleets import invented_programme


@st.composite
def small_programmes(draw, most=5, years=2):
    count = draw(st.integers(1, most))

    def figures(number, least=0, greatest=9):
        drawn = st.lists(st.integers(least, greatest), min_size=number, max_size=number)
        return np.array(draw(drawn), dtype=float)

    return ProgrammeProblem(
        figures(count * years, -3).reshape(count, years),
        figures(count, 1),
        figures(count),
        figures(years, 0, 20),
        figures(years, 0, 20),
        is_allowed=figures(count * years, 0, 4).reshape(count, years) > 0,
    )


def best_of_all(problem):
    """Every plan there is, tried."""
    choices = range(-1, problem.years)
    plans = map(np.array, itertools.product(choices, repeat=problem.count))
    return max((problem.value_of(plan) for plan in plans if problem.fits(plan)), default=None)


@settings(max_examples=30, deadline=None)
@given(small_programmes())
def test_a_small_plan_is_the_best_of_all_plans_and_under_its_bound(problem):
    plan = solve_programme(problem)
    assert problem.fits(plan.year)
    assert plan.value == pytest.approx(best_of_all(problem), abs=1e-6)
    assert plan.bound >= plan.value - 1e-6


@pytest.mark.parametrize("with_musts", [False, True])
def test_a_plan_of_300_positions_is_close_to_an_integer_solvers_bound(with_musts):
    # HiGHS by scipy.optimize.milp on the whole programme, and its linear relaxation.
    problem = invented_programme(1, 300, 5, with_musts=with_musts)
    plan = solve_programme(problem, polish_seconds=0.3)
    relaxed = -_whole(problem, is_relaxed=True).fun
    assert problem.fits(plan.year)
    # The best prices give the linear relaxation's bound; ours is found on a smoothed sum.
    assert relaxed <= plan.bound + 1e-6 <= relaxed * 1.0005
    assert plan.value <= relaxed + 1e-6
    assert plan.certified_share > 0.95


def test_the_bound_is_the_linear_relaxations_on_2_000_positions():
    problem = invented_programme(3, 2_000, 3)
    relaxed = -_whole(problem, is_relaxed=True).fun
    assert relaxed <= least_bound(problem).bound + 1e-6 <= relaxed * 1.0002


def _whole(problem, *, is_relaxed):
    who, when = np.nonzero(problem.is_allowed)
    column = np.arange(len(who))
    may, none = problem.options()

    def rows(of, values, number):
        return csr_matrix((values, (of, column)), shape=(number, len(who)))

    return milp(
        -problem.value[who, when],
        constraints=[
            LinearConstraint(
                rows(who, np.ones(len(who)), problem.count), np.where(none, 0.0, 1.0), 1.0
            ),
            LinearConstraint(
                rows(when, problem.cost[who], problem.years), -np.inf, problem.budget
            ),
            LinearConstraint(
                rows(when, problem.crew_hours[who], problem.years),
                -np.inf,
                problem.crew_hours_limit,
            ),
        ],
        integrality=np.full(len(who), 0 if is_relaxed else 1),
        bounds=Bounds(0.0, may[who, when].astype(float)),
    )


def test_more_money_never_leaves_more_risk():
    small = invented_programme(5, 100, 3, share=0.03)
    before = solve_programme(small, polish_seconds=0.2)
    for more in (1.02, 1.1, 1.5):
        larger = ProgrammeProblem(
            small.value, small.cost, small.crew_hours, small.budget * more,
            small.crew_hours_limit,
        )  # fmt: skip
        plan = solve_programme(larger, start=before.year, polish_seconds=0.2)
        assert plan.value >= before.value
        before = plan


def test_locking_the_plan_changes_nothing():
    problem = invented_programme(6, 80, 3, with_musts=True)
    plan = solve_programme(problem, polish_seconds=0.2)
    locked = ProgrammeProblem(
        problem.value, problem.cost, problem.crew_hours, problem.budget,
        problem.crew_hours_limit, must_by=problem.must_by, locked=plan.year,
    )  # fmt: skip
    assert (solve_programme(locked).year == plan.year).all()


def test_a_lock_is_kept_though_another_year_is_better():
    problem = ProgrammeProblem(
        np.array([[9.0, 1.0], [8.0, 2.0]]), np.ones(2), np.zeros(2), np.ones(2), np.zeros(2),
        locked=np.array([1, -2]),
    )  # fmt: skip
    assert solve_programme(problem).year.tolist() == [1, 0]


def test_a_must_is_kept_though_it_is_worth_less():
    problem = ProgrammeProblem(
        np.array([[1.0, 1.0], [9.0, 0.0]]), np.ones(2), np.zeros(2), np.array([1.0, 0.0]),
        np.zeros(2), must_by=np.array([1, -1]),
    )  # fmt: skip
    assert solve_programme(problem).year.tolist() == [0, NOT_PLANNED]


def test_musts_that_do_not_fit_are_refused_with_what_to_do():
    problem = ProgrammeProblem(
        np.ones((2, 1)), np.ones(2), np.zeros(2), np.ones(1), np.zeros(1),
        must_by=np.array([0, 0]),
    )  # fmt: skip
    with pytest.raises(
        StateConflictError, match="raise a limit, or take a must or a lock away"
    ):
        solve_programme(problem)


def test_a_stop_keeps_the_best_so_far():
    problem = invented_programme(7, 400, 6)
    plan = solve_programme(problem, should_stop=lambda: True)
    assert problem.fits(plan.year)
    assert 0 < plan.value <= plan.bound


def test_progress_is_told_in_words():
    told: list[str] = []
    solve_programme(invented_programme(8, 80, 3), progress=told.append, polish_seconds=0.3)
    assert told[0] == "finding what money and hours are worth in each year"


@pytest.mark.parametrize(
    ("field", "values", "words"),
    [
        ("cost", [0.0], "The cost at place 0 is 0; it is over 0"),
        ("crew_hours", [-1.0], "crew hours at place 0 is -1; it is 0 or more"),
        ("budget", [np.nan, 1.0], "budget at place 0 is nan"),
        ("must_by", [2], "last year at place 0 is 2; it is -1 to 1"),
        ("locked", [-3], "locked year at place 0 is -3"),
        ("crew_hours_limit", [1.0], "crew_hours_limit has 1 entries for 2"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(field, values, words):
    given_figures = {
        "value": np.ones((1, 2)),
        "cost": np.ones(1),
        "crew_hours": np.ones(1),
        "budget": np.ones(2),
        "crew_hours_limit": np.ones(2),
        field: np.array(values),
    }
    with pytest.raises(OutOfRangeError, match=words):
        ProgrammeProblem(**given_figures)
