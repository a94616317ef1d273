"""How good a programme is, against its certified bound and against what people do by hand.

The peers: replacing year by year whatever is worth most a dollar (greedy), worst first, oldest
first, and choosing first and bundling trips after. All on the same invented fleets, same run.
"""

from __future__ import annotations

import importlib
import importlib.util
import time

import numpy as np

from inventory.engineering.programme.plain_rules import in_turn, oldest_first, worst_first
from inventory.engineering.programme.solve import solve_programme
from inventory.engineering.programme.trips import TripCosts, solve_with_trips
from tests.bench.rows import Row
from tests.engineering.programme.fleets import invented_programme, invented_risk

YEARS = 10
SIZES = ((10_000, 0.997, 5.0), (100_000, 0.999, 15.0))
TRIP_POSITIONS = 20_000
SEED = 20260701
# More rows of this stage: rows() of each.
PARTS = ("tests.bench.programme_tours", "tests.bench.programme_report")


def run() -> list[Row]:
    """Return the figures; those of the report are from a database of its own."""
    rows = [row for size in SIZES for row in _separable_rows(*size)]
    rows.extend(_rule_rows())
    rows.append(_trip_row())
    for name in PARTS:
        if importlib.util.find_spec(name) is not None:
            rows.extend(importlib.import_module(name).rows())
    return rows


def _separable_rows(count: int, least_share: float, most_s: float) -> list[Row]:
    problem = invented_programme(SEED, count, YEARS, with_musts=True)
    started = time.perf_counter()
    # What is left of the time goes to the exact solver, in two rounds.
    plan = solve_programme(problem, polish_seconds=most_s / 6)
    took_s = time.perf_counter() - started
    is_kept = problem.fits(plan.year)
    by_hand = in_turn(problem, problem.value / problem.cost[:, None])
    peer = problem.value_of(by_hand) / plan.bound
    name = f"programme of {count:,} positions, {YEARS} years"
    return [
        Row(
            name=f"{name}: value ÷ certified bound",
            value=plan.certified_share,
            unit="of the bound",
            peer="greedy by year, value a dollar",
            peer_value=peer,
            ratio=plan.certified_share / peer,
            target=f"≥ {least_share}",
            holds=plan.certified_share >= least_share,
            note=f"{plan.prices.evaluations} evaluations; musts kept: {is_kept}",
        ),
        Row(
            name=f"{name}: time",
            value=took_s,
            unit="s",
            target=f"≤ {most_s:g} s",
            holds=took_s <= most_s,
        ),
    ]


def _rule_rows() -> list[Row]:
    count = SIZES[0][0]
    problem, risk = invented_programme(SEED, count, YEARS), invented_risk(SEED, count, YEARS)
    ages = np.random.default_rng(SEED).uniform(0.0, 20.0, count)
    plan = solve_programme(problem)
    ours = risk.left(plan.year)
    rules = {
        "worst first": worst_first(problem, risk.below),
        "oldest first": oldest_first(problem, ages),
    }
    return [
        Row(
            name=f"risk left at the same money, {count:,} positions",
            value=ours,
            unit="weighted sign-years",
            peer=name,
            peer_value=risk.left(year),
            ratio=risk.left(year) / ours,
            target="less than the peer's",
            holds=ours < risk.left(year),
        )
        for name, year in rules.items()
    ]


def _trip_row() -> Row:
    problem = invented_programme(SEED, TRIP_POSITIONS, YEARS, share=0.09)
    draw = np.random.default_rng(SEED)
    support = np.sort(draw.integers(0, int(0.7 * TRIP_POSITIONS), TRIP_POSITIONS))
    support = np.unique(support, return_inverse=True)[1]
    trips = TripCosts(support, support // 8, 20.0, 30.0, 0.1, 0.2)
    started = time.perf_counter()
    found = solve_with_trips(problem, trips)
    took_s = time.perf_counter() - started
    return Row(
        name=f"trips shared by support and stretch, {TRIP_POSITIONS:,} positions",
        value=found.plan.certified_share,
        unit="of the bound",
        peer="choosing first, bundling after",
        peer_value=found.separate_value / found.plan.bound,
        ratio=found.plan.value / found.separate_value,
        target="≥ the peer",
        holds=found.plan.value >= found.separate_value,
        note=f"{took_s:.1f} s; bound {found.plan.bound:,.0f}, plan {found.plan.value:,.0f}",
    )
