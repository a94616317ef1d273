"""
How many wrong decisions readings take away, signs chosen by worth, at random or oldest first.

``rows()`` is part of the stage ``forecast``. The table of docs/methods/measuring.md is printed
by ``.venv/bin/python -m tests.bench.forecast_measuring``. The fleets are made up.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import ndtr

from inventory.engineering.forecast.fit import CohortFit, Scale, fit_cohort
from inventory.engineering.forecast.measuring import (
    DecisionWeights,
    ReadingNoise,
    open_decisions,
    value_of_reading,
)
from inventory.engineering.forecast.predict import forecast_signs
from inventory.engineering.forecast.reading_round import (
    Candidates,
    CrewTimes,
    choose_round,
    round_in_order,
)
from inventory.engineering.forecast.shapes import LINEAR
from inventory.engineering.forecast.simulate import FleetPlan, simulate_fleet
from inventory.engineering.inspection.student import FloatArray, WholeArray
from tests.bench.rows import Row

SEED = 20260601
FLEETS = 8
SIGNS = 4_000
SUPPORTS = 2_800
TOWNS = 8
HOURS = (16, 40, 80)
AHEAD = np.array([1.0, 2.0])
DUE = 0.2
SIGNS_PER_DAY = 40  # read with one instrument on one day: they share its error
CLASS_SHARES = (0.10, 0.25, 0.35, 0.30)
PLAN = FleetPlan(
    signs=SIGNS,
    years=7,
    visit_every_years=4.0,
    oldest_at_start_years=7.0,
    session_sd=0.03,
    level_cd_lx_m2=140.0,
)
TIMES = CrewTimes()
OURS, RANDOM, OLDEST, LIKELIEST = (
    "by worth a minute",
    "at random",
    "oldest first",
    "most probably below first",
)
LEAST_LARGE = 20_000
LARGE_HOURS = 80


@dataclass(frozen=True, eq=False)
class County:
    """A made-up fleet at the end of its history: what is known of it, and the truth."""

    fit: CohortFit
    states: FloatArray
    age_years: FloatArray
    truth: FloatArray  # log R_A now and at the end of each year decided on, a row per sign
    noise: ReadingNoise
    weight: FloatArray
    support: WholeArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray


@dataclass(frozen=True)
class Outcome:
    """
    What is left after a round: weighted wrong decisions, plain ones, and signs read.

    ``expected`` is how many weighted ones the readings were expected to take away.
    """

    loss: float
    wrong: float
    signs: float
    expected: float


@cache
def county(seed: int) -> County:
    """Return a fleet that was read now and then for seven years, fitted and forecast."""
    fleet = simulate_fleet(PLAN, seed)
    seen = fleet.observations
    fit = fit_cohort(seen, scale=Scale.LOG, shape=LINEAR)
    assert fit.grams is not None
    # At the end of the last year; a sign of known age that was never read has its cohort alone.
    age = PLAN.years - fleet.put_up_years
    found = forecast_signs(
        fit,
        fit.grams,
        lot=seen.lot,
        is_age_known=seen.is_age_known,
        age_now_years=age,
        level_cd_lx_m2=np.full(len(age), PLAN.level_cd_lx_m2),
        due_probability=DUE,
    )
    states = np.column_stack(
        [found.level, found.slope, found.of_level, found.of_both, found.of_slope]
    )
    rng = np.random.default_rng(seed + 1)
    latitude, longitude = _places(rng)
    truth = np.column_stack(
        [np.log(fleet.true_ra_cd_lx_m2(PLAN.years + ahead)) for ahead in (0.0, *AHEAD)]
    )
    classes = rng.choice(4, len(age), p=CLASS_SHARES) + 1
    return County(
        fit=fit,
        states=states,
        age_years=age,
        truth=truth,
        noise=ReadingNoise(
            fit.variances.residual_sd,
            fit.variances.session_sd or PLAN.session_sd,
            PLAN.repeatability_rel,
            4,
        ),
        weight=DecisionWeights().of(classes),
        support=rng.integers(0, SUPPORTS, len(age)),
        latitude_deg=latitude,
        longitude_deg=longitude,
    )


def _places(rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Return supports of a county of 50 by 50 km: half of them in some towns."""
    latitude, longitude = 43.0 + 0.45 * rng.random(SUPPORTS), -89.5 + 0.6 * rng.random(SUPPORTS)
    town = rng.integers(0, TOWNS, SUPPORTS)
    middle = np.column_stack((43.0 + 0.45 * rng.random(TOWNS), -89.5 + 0.6 * rng.random(TOWNS)))
    in_town = rng.random(SUPPORTS) < 0.5
    latitude[in_town] = middle[town[in_town], 0] + rng.normal(0, 0.008, in_town.sum())
    longitude[in_town] = middle[town[in_town], 1] + rng.normal(0, 0.011, in_town.sum())
    return latitude, longitude


def worth(given: County) -> FloatArray:
    """Return what reading each sign is expected to be worth, over both years."""
    decisions = open_decisions(
        given.fit,
        given.states,
        age_years=given.age_years,
        is_age_known=np.ones(len(given.states), dtype=np.bool_),
        level_cd_lx_m2=np.full(len(given.states), PLAN.level_cd_lx_m2),
        years_ahead=AHEAD,
        noise=given.noise,
    )
    found = value_of_reading(
        decisions.probability_below, decisions.correlation, due_probability=DUE
    )
    return np.asarray(found.value.sum(axis=1) * given.weight)


def outcome(given: County, read: WholeArray, seed: int) -> Outcome:
    """Return what is decided wrong after some signs were read, by what they truly return."""
    rng = np.random.default_rng(seed)
    level, slope, of_level, of_both, of_slope = given.states.T
    mean = level[:, None] + slope[:, None] * AHEAD
    common = of_level[:, None] + of_both[:, None] * AHEAD
    spread = common + of_both[:, None] * AHEAD + of_slope[:, None] * AHEAD**2
    days = np.arange(len(read)) // SIGNS_PER_DAY
    error = rng.normal(0, np.hypot(PLAN.residual_sd, PLAN.repeatability_rel / 2), len(read))
    error += rng.normal(0, PLAN.session_sd, int(days.max(initial=0)) + 1)[days]
    reading = given.truth[read, 0] + error
    total = of_level[read] + given.noise.variance
    mean[read] += common[read] / total[:, None] * (reading - level[read])[:, None]
    spread[read] -= common[read] ** 2 / total[:, None]
    threshold = np.log(PLAN.level_cd_lx_m2)
    is_replaced = ndtr((threshold - mean) / np.sqrt(spread)) >= DUE
    is_below = given.truth[:, 1:] < threshold
    lost = np.where(is_replaced, DUE / (1 - DUE) * ~is_below, is_below)
    return Outcome(
        float((lost.sum(axis=1) * given.weight).sum()),
        float((is_replaced != is_below).sum()),
        float(len(read)),
        float(worth(given)[read].sum()),
    )


def chosen_signs(given: County, how: str, hours: float, seed: int) -> WholeArray:
    """Return the signs that are read in so many hours, chosen in one of the ways."""
    value = worth(given)
    candidates = Candidates(value, given.support, given.latitude_deg, given.longitude_deg)
    if how == OURS:
        return choose_round(candidates, times=TIMES, budget_minutes=hours * 60).signs
    level, slope, of_level, of_both, of_slope = given.states.T
    middle = level + slope * AHEAD[-1]
    spread = of_level + 2 * AHEAD[-1] * of_both + AHEAD[-1] ** 2 * of_slope
    order = {
        RANDOM: np.random.default_rng(seed).permutation(len(value)),
        OLDEST: np.argsort(-given.age_years, kind="stable"),
        LIKELIEST: np.argsort((middle - np.log(PLAN.level_cd_lx_m2)) / np.sqrt(spread)),
    }[how]
    return round_in_order(candidates, order, times=TIMES, budget_minutes=hours * 60).signs


def mean_outcome(how: str, hours: float) -> Outcome:
    """Return what is left on average over the fleets."""
    found = []
    for number in range(FLEETS):
        seed = SEED + 10 * number
        given = county(seed)
        read = (
            np.empty(0, dtype=np.int64)
            if hours == 0
            else chosen_signs(given, how, hours, seed + 2)
        )
        found.append(outcome(given, read, seed + 3))
    return Outcome(
        float(np.mean([each.loss for each in found])),
        float(np.mean([each.wrong for each in found])),
        float(np.mean([each.signs for each in found])),
        float(np.mean([each.expected for each in found])),
    )


def rows() -> list[Row]:
    """Return the figures of the bench."""
    nothing = mean_outcome(OURS, 0)
    found = []
    for hours in HOURS:
        ours = mean_outcome(OURS, hours)
        taken = nothing.loss - ours.loss
        for rival in (RANDOM, OLDEST):
            other = mean_outcome(rival, hours)
            taken_by_other = nothing.loss - other.loss
            found.append(
                Row(
                    name=f"weighted wrong decisions taken away by {hours} crew hours",
                    value=taken,
                    unit="decisions",
                    peer=rival,
                    peer_value=taken_by_other,
                    ratio=taken / taken_by_other if taken_by_other > 0 else None,
                    target=f"more than {rival}",
                    holds=taken > taken_by_other,
                    note=f"of {nothing.loss:.0f}; {ours.signs:.0f} signs read against "
                    f"{other.signs:.0f}, mean of "
                    f"{FLEETS} made-up fleets of {SIGNS:,} signs",
                )
            )
    return [*found, _large_row()]


def _large_row() -> Row:
    rng = np.random.default_rng(SEED)
    supports = LEAST_LARGE * 7 // 10
    candidates = Candidates(
        rng.exponential(1.0, LEAST_LARGE) * (rng.random(LEAST_LARGE) < 0.4),
        rng.integers(0, supports, LEAST_LARGE),
        43.0 + 0.5 * rng.random(supports),
        -89.5 + 0.7 * rng.random(supports),
    )
    started = time.perf_counter()
    choose_round(candidates, times=TIMES, budget_minutes=LARGE_HOURS * 60, most_signs=300)
    return Row(
        name=f"choose a round of 300 out of {LEAST_LARGE:,} signs",
        value=time.perf_counter() - started,
        unit="s",
    )


def main() -> None:
    """Print the table of the docs."""
    nothing = mean_outcome(OURS, 0)
    print(
        f"Without a reading: {nothing.loss:.0f} weighted, {nothing.wrong:.0f} wrong decisions."
    )
    print("| crew hours | signs chosen | signs read | weighted left | taken away | expected |")
    print("| ---: | --- | ---: | ---: | ---: | ---: |")
    for hours in HOURS:
        for how in (OURS, LIKELIEST, OLDEST, RANDOM):
            left = mean_outcome(how, hours)
            away = nothing.loss - left.loss
            print(
                f"| {hours} | {how} | {left.signs:.0f} | {left.loss:.0f} | {away:.0f} "
                f"({100 * away / nothing.loss:.1f} %) | {left.expected:.0f} |"
            )


if __name__ == "__main__":
    main()
