"""
How surely a bad lot is found among ordinary ones, and how often an ordinary one is accused.

``rows()`` is part of the stage ``forecast``. The power table of docs/methods/suspect_lots.md is
printed by ``.venv/bin/python -m tests.bench.forecast_lots --power``, and what errors do that a
day's readings share by ``--sessions``.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.stats import norm

from inventory.engineering.forecast.aliases import list_suspects
from inventory.engineering.forecast.grams import triangle
from inventory.engineering.forecast.lot_signs import LotSigns
from inventory.engineering.forecast.lot_sums import Factor, LotCohort, sums_of_signs
from inventory.engineering.forecast.lots import (
    FALSE_SHARE,
    compare_lots,
    false_discovery,
)
from tests.bench.rows import Row
from tests.engineering.forecast.lot_fleets import (
    LOSS_PER_YEAR,
    READING_SD,
    SIGN_LEVEL_SD,
    SIGN_SLOPE_SD,
    YEARS,
    YEARS_BETWEEN_ROUNDS,
    LotPlan,
    both,
    lot_cohort,
    lot_fleet,
    planted_lot,
    with_levels,
    with_sessions,
)

RUNS = 100
RUNS_OF_ALL_FACTORS = 40
LEAST_FOUND = 0.90
PEER = "no lot variation"
# An ordinary lot SD of 5 % is taken as 5 % of level and 5 % of the yearly loss (0.25 % a year).
SCENARIOS = {
    "ordinary lots alike": LotPlan(),
    "ordinary lots 3 %": LotPlan(lot_level_sd=0.03, lot_slope_sd=0.03 * LOSS_PER_YEAR),
    "ordinary lots 5 %": LotPlan(lot_level_sd=0.05, lot_slope_sd=0.05 * LOSS_PER_YEAR),
    "curved decline, ordinary lots 3 %": LotPlan(
        lot_level_sd=0.03, lot_slope_sd=0.03 * LOSS_PER_YEAR, is_curved=True
    ),
}
BEYOND = {
    "ordinary lots 5 % and 6 % of the loss": LotPlan(lot_level_sd=0.05, lot_slope_sd=0.003),
    "ordinary lots 5 % and 10 % of the loss": LotPlan(lot_level_sd=0.05, lot_slope_sd=0.005),
    "ordinary lots 5 %, planted one up for 6 to 12 years": LotPlan(
        lot_level_sd=0.05, lot_slope_sd=0.05 * LOSS_PER_YEAR, planted_years=(6.0, 12.0)
    ),
}
HEAVY = LotPlan(
    planted_signs=0, lot_level_sd=0.05, lot_slope_sd=0.05 * LOSS_PER_YEAR, tail_dof=5.0
)
POWER_PLAN = SCENARIOS["ordinary lots 5 %"]
POWER_SIGNS, POWER_EXCESS, POWER_YEARS = (15, 30, 60, 120), (0.2, 0.4, 0.6, 1.0), (6, 9, 12)


@dataclass(frozen=True)
class Tally:
    """What came of many fleets: shares of fleets, and false lots a fleet."""

    found: float
    false_share: float
    any_flag: float
    false_lots: float
    naive_false_lots: float
    tested: float


def rows() -> list[Row]:
    """Return the figures of every scenario; under two minutes of one core."""
    result = []
    for number, (name, plan) in enumerate(SCENARIOS.items()):
        first = 1_000 * number
        planted = tally(plan, range(first, first + RUNS))
        clean = tally(replace(plan, planted_signs=0), range(first + 500, first + 500 + RUNS))
        result += [
            _found_row(name, plan, planted, LEAST_FOUND),
            _row(
                f"{name}: false among those listed",
                planted.false_share,
                FALSE_SHARE,
                f"{planted.false_lots:.2f} false lots a fleet",
                planted,
            ),
            _row(
                f"{name}: clean fleets with any listed",
                clean.any_flag,
                FALSE_SHARE,
                f"{clean.false_lots:.2f} false lots a fleet",
                clean,
            ),
        ]
    for name, plan in BEYOND.items():
        result.append(_found_row(name, plan, tally(plan, range(RUNS)), None))
    heavy = tally(HEAVY, range(4_500, 4_500 + RUNS))
    result.append(
        Row(
            name="ordinary lots 5 %, heavy tails (t, 5 d.f.): clean fleets with any listed",
            value=heavy.any_flag,
            unit="share",
            note=f"{heavy.false_lots:.2f} lots a fleet; the rule that knows no lot variation: "
            f"{heavy.naive_false_lots:.1f}",
        )
    )
    return [*result, *_factor_rows()]


def _found_row(name: str, plan: LotPlan, found: Tally, least: float | None) -> Row:
    ideal = ideal_power_over(plan, tests=found.tested)
    return Row(
        name=f"{name}: planted lot found",
        value=found.found,
        unit="of fleets",
        peer="ideal test",
        peer_value=ideal,
        ratio=found.found / ideal,
        target=None if least is None else f"≥ {least:g}",
        holds=None if least is None else found.found >= least,
        note=f"{RUNS} fleets, {plan.planted_signs} signs losing {plan.excess:.0%} faster; "
        f"{found.tested:.0f} of {plan.lots} lots had enough readings",
    )


def _row(name: str, value: float, most: float, note: str, tallied: Tally) -> Row:
    return Row(
        name=name,
        value=value,
        unit="share",
        target=f"≤ {most:g}",
        holds=value <= most,
        note=f"{note}; the rule that knows no lot variation: "
        f"{tallied.naive_false_lots:.1f} false lots a fleet",
    )


def tally(
    plan: LotPlan, seeds: range, *, day_sd: float = 0.0, day_by_lot: bool = False
) -> Tally:
    """Return what the test makes of fleets of one plan, with errors of days or without."""
    found, shares, flags, naive, tested = [], [], [], [], []
    for seed in seeds:
        observations = lot_fleet(plan, seed)
        if day_sd:
            observations = with_sessions(observations, seed, sd=day_sd, by_lot=day_by_lot)
        cohort = lot_cohort(observations, is_curved=plan.is_curved)
        test = compare_lots([cohort], Factor.SHEETING, LotSigns.gather([cohort]))
        assert test is not None
        listed = set(test.level[false_discovery(test.p_value) <= FALSE_SHARE].tolist())
        bad = {0} if plan.planted_signs else set()
        found.append(bool(listed & bad))
        shares.append(len(listed - bad) / max(len(listed), 1))
        flags.append(len(listed - bad))
        naive.append(len(naive_list(cohort) - bad))
        tested.append(len(test.level))
    return Tally(
        found=float(np.mean(found)),
        false_share=float(np.mean(shares)),
        any_flag=float(np.mean(np.array(flags) > 0)),
        false_lots=float(np.mean(flags)),
        naive_false_lots=float(np.mean(naive)),
        tested=float(np.mean(tested)),
    )


def naive_list(cohort: LotCohort) -> set[int]:
    """
    Return the lots listed by the rule that takes ordinary lots to be alike.

    Each lot's yearly change against the cohort's fitted line at the variance of its signs and
    readings alone, as if its level were the cohort's; the same false-discovery rule.
    """
    lots = cohort.levels[Factor.SHEETING]
    columns = cohort.grams.column_count
    at = {place: k for k, place in enumerate(triangle(columns))}
    left, _whole = sums_of_signs(cohort, np.arange(len(lots)))
    sums = np.stack([np.bincount(lots, row) for row in left])
    right = sums[at[1, columns - 1]] - sum(
        sums[at[min(k, 1), max(k, 1)]] * cohort.fit.coefficients[k] for k in range(columns - 1)
    )
    information = sums[at[1, 1]]
    known = information > 0
    z = right[known] / np.sqrt(information[known])
    q_values = false_discovery(norm.cdf(z))
    return set(np.flatnonzero(known)[q_values <= FALSE_SHARE].tolist())


@cache
def information_of_a_sign(years: float) -> np.ndarray:
    """Return what a sign is expected to tell of its lot's level and yearly change."""
    between = np.linalg.inv(np.diag([SIGN_LEVEL_SD**2, SIGN_SLOPE_SD**2]))
    total = np.zeros((2, 2))
    phases = (np.arange(60) + 0.5) / 60 * YEARS_BETWEEN_ROUNDS
    ups = years - (np.arange(20) + 0.5) / 20
    for up in ups:
        for phase in phases:
            ages = phase + YEARS_BETWEEN_ROUNDS * np.arange(int(YEARS / YEARS_BETWEEN_ROUNDS))
            ages = ages[ages <= up]
            columns = np.stack([np.ones(len(ages)), ages], 1)
            of_sign = columns.T @ columns / READING_SD**2
            total += of_sign - of_sign @ np.linalg.solve(between + of_sign, of_sign)
    return np.asarray(total / (len(phases) * len(ups)))


def ideal_power(
    plan: LotPlan, *, signs: int, excess: float, years: float, tests: float
) -> float:
    """
    Return how often the best possible test finds a lot, line and every variance known.

    The lot's yearly change by generalised least squares with ordinary lots' known spread of
    level and change, one-sided at q ÷ the number of tests (the first step of the list).
    """
    spread = np.linalg.inv(signs * information_of_a_sign(years))
    spread += np.diag([plan.lot_level_sd**2, plan.lot_slope_sd**2])
    error = np.linalg.inv(spread)[1, 1] ** -0.5
    return float(norm.cdf(excess * LOSS_PER_YEAR / error + norm.ppf(FALSE_SHARE / tests)))


def ideal_power_over(plan: LotPlan, *, tests: float) -> float:
    """Return the ideal power averaged over when the lot went up (straight loss)."""
    first, last = plan.planted_years
    years = first + (np.arange(6) + 0.5) / 6 * (last - first)
    of_year = [
        ideal_power(
            plan, signs=plan.planted_signs, excess=plan.excess, years=float(year), tests=tests
        )
        for year in years
    ]
    return float(np.mean(of_year))


def _factor_rows() -> list[Row]:
    """Return what is listed when lots, runs and inks are compared at once."""
    plan = POWER_PLAN
    found, wrong, shares, explained = [], [], [], []
    for seed in range(RUNS_OF_ALL_FACTORS):
        cohort = with_runs_and_inks(lot_cohort(lot_fleet(plan, 9_000 + seed)), seed)
        signs = LotSigns.gather([cohort])
        tests = {
            factor: test
            for factor in Factor
            if (test := compare_lots([cohort], factor, signs)) is not None
        }
        groups = list_suspects([cohort], tests, signs)
        planted = signs.all_of(Factor.SHEETING, 0)
        listed = [group.members for group in groups if group.is_listed]
        right = [members for members in listed if (Factor.SHEETING, 0) in members]
        touched = [
            members
            for members in listed
            if members not in right and np.isin(planted, signs.all_of(*members[0])).any()
        ]
        found.append(bool(right))
        wrong.append(bool(touched))
        shares.append((len(listed) - len(right) - len(touched)) / max(len(listed), 1))
        explained.append(sum(group.explained_by is not None for group in groups))
    share = float(np.mean(shares))
    return [
        Row(
            name="lots, runs and inks at once: planted sheeting lot found",
            value=float(np.mean(found)),
            unit="of fleets",
            note=f"{RUNS_OF_ALL_FACTORS} fleets, 3 runs a lot, an ink lot over 4 lots; "
            f"{np.mean(explained):.1f} runs and inks a fleet explained by another; a run or "
            f"ink of the planted lot listed in its stead or beside it in {np.mean(wrong):.0%}",
        ),
        Row(
            name="lots, runs and inks at once: false among those listed",
            value=share,
            unit="share",
            target=f"≤ {FALSE_SHARE:g}",
            holds=share <= FALSE_SHARE,
        ),
    ]


def with_runs_and_inks(cohort: LotCohort, seed: int) -> LotCohort:
    """Return the cohort with three runs a lot, and an ink lot through four lots' runs."""
    draw = np.random.default_rng(seed)
    lots = cohort.levels[Factor.SHEETING]
    changed: LotCohort = with_levels(
        cohort, run=3 * lots + draw.integers(0, 3, len(lots)), ink=(lots + 2) // 4
    )
    return changed


def power_lines(runs: int = RUNS) -> list[str]:
    """Return the power table as lines of text, one per size and years of readings."""
    found = np.zeros((len(POWER_SIGNS), len(POWER_YEARS), len(POWER_EXCESS)))
    tested = []
    for run in range(runs):
        clean = lot_fleet(replace(POWER_PLAN, planted_signs=0, lots=199), 20_000 + run)
        fit = lot_cohort(clean).fit
        for i, signs in enumerate(POWER_SIGNS):
            for j, years in enumerate(POWER_YEARS):
                for k, excess in enumerate(POWER_EXCESS):
                    plan = replace(
                        POWER_PLAN,
                        planted_signs=signs,
                        excess=excess,
                        planted_years=(float(years), float(years)),
                    )
                    whole = both(clean, planted_lot(plan, 10_000 * run + 97 * i, number=199))
                    cohort = LotCohort.of(
                        fit,
                        whole,
                        sign_id=np.arange(whole.sign_count),
                        is_installed=np.ones(whole.sign_count, dtype=np.bool_),
                    )
                    test = compare_lots([cohort], Factor.SHEETING, LotSigns.gather([cohort]))
                    assert test is not None
                    q_values = false_discovery(test.p_value)
                    found[i, j, k] += 199 in test.level[q_values <= FALSE_SHARE]
                    tested.append(len(test.level))
    number = float(np.mean(tested))
    lines = [
        "| signs | years up | "
        + " | ".join(f"{each * 100:.0f} % faster" for each in POWER_EXCESS)
        + " |",
        "| --- | --- |" + " --- |" * len(POWER_EXCESS),
    ]
    for i, signs in enumerate(POWER_SIGNS):
        for j, years in enumerate(POWER_YEARS):
            cells = []
            for k, excess in enumerate(POWER_EXCESS):
                ideal = ideal_power(
                    POWER_PLAN, signs=signs, excess=excess, years=years, tests=number
                )
                cells.append(f"{found[i, j, k] / runs * 100:.0f} ({ideal * 100:.0f})")
            lines.append(f"| {signs} | {years} | " + " | ".join(cells) + " |")
    return [*lines, "", f"{runs} fleets; {number:.0f} lots of 200 had enough readings."]


def session_lines(runs: int = 20) -> list[str]:
    """Return what an error of 5 % that a day's readings share does, in words."""
    lines = []
    for words, by_lot in (("routes past many lots", False), ("a lot on days of its own", True)):
        planted = tally(POWER_PLAN, range(runs), day_sd=0.05, day_by_lot=by_lot)
        clean = replace(POWER_PLAN, planted_signs=0)
        accused = tally(clean, range(500, 500 + runs), day_sd=0.05, day_by_lot=by_lot)
        lines.append(
            f"{words}: planted lot found in {planted.found * runs:.0f} of {runs} fleets, "
            f"any lot listed in {accused.any_flag * runs:.0f} of {runs} clean ones"
        )
    return lines


def main() -> None:
    """Print the power table, what days share, or the rows."""
    if "--sessions" in sys.argv:
        print("\n".join(session_lines()))
        return
    if "--power" in sys.argv:
        print("\n".join(power_lines()))
        return
    from tests.bench.runner import table

    print(table(rows()))


if __name__ == "__main__":
    main()
