"""Made-up fleets are what their plans say, and the same from the same seed."""

from dataclasses import replace

import numpy as np
import pytest

from inventory.engineering.forecast.simulate import FleetPlan, simulate_fleet
from inventory.errors import OutOfRangeError

PLAN = FleetPlan(signs=400)


def test_the_same_seed_makes_the_same_fleet_and_another_another():
    one, again, other = (simulate_fleet(PLAN, seed).observations for seed in (1, 1, 2))
    assert one.ra_cd_lx_m2.tolist() == again.ra_cd_lx_m2.tolist()
    assert one.ra_cd_lx_m2.tolist() != other.ra_cd_lx_m2.tolist()


@pytest.mark.parametrize("bend", [0.0, 0.3])
def test_readings_lie_about_the_truth_by_the_noise_of_the_plan(bend):
    # Noise: residual 8 % and repeatability 5 % over two: 8.4 %; 3 % of it is three standard
    # errors of some 1,600 readings.
    fleet = simulate_fleet(replace(PLAN, bend=bend), 3)
    seen = fleet.observations
    truth = fleet.true_level[seen.sign] + fleet.true_slope[seen.sign] * seen.age_years
    off = np.log(seen.ra_cd_lx_m2) - truth + bend * (seen.age_years / 10) ** 2
    assert off.std() == pytest.approx(np.hypot(0.08, 0.025), rel=0.06)
    assert abs(off.mean()) < 0.01


def test_a_sign_read_below_is_taken_down_and_followed_by_a_new_one():
    fleet = simulate_fleet(replace(PLAN, replaces_below=True), 5)
    seen = fleet.observations
    is_below = seen.ra_cd_lx_m2 < PLAN.level_cd_lx_m2
    last = np.flatnonzero(np.diff(seen.sign, append=-1))
    assert set(np.flatnonzero(is_below)) <= set(last)  # nothing is read after it
    assert (fleet.visited_years <= fleet.removed_years[seen.sign]).all()
    removed = np.isfinite(fleet.removed_years).sum()
    assert len(fleet.put_up_years) == PLAN.signs + removed
    assert removed == is_below.sum()


def test_a_doubtful_sign_is_read_every_year():
    fleet = simulate_fleet(replace(PLAN, reads_doubtful_more=True), 5)
    seen, at = fleet.observations, fleet.visited_years
    same = np.diff(seen.sign) == 0
    is_doubtful = seen.ra_cd_lx_m2[:-1] < PLAN.level_cd_lx_m2 * 1.25
    waits = np.diff(at)
    # Read in the month of the year that the crew comes: within the calendar year it is due.
    assert waits[same & is_doubtful].max() < 2.0
    assert waits[same & ~is_doubtful].mean() > 2.0


def test_lots_sessions_losses_damage_and_unknown_ages_are_as_planned():
    plan = replace(
        PLAN,
        signs_per_lot=20,
        session_sd=0.05,
        lost_per_year=0.05,
        damaged_per_year=0.02,
        unknown_age_share=0.25,
    )
    fleet = simulate_fleet(plan, 7)
    seen = fleet.observations
    assert np.bincount(seen.lot)[:-1].tolist() == [20] * (len(np.bincount(seen.lot)) - 1)
    assert len(np.unique(seen.session)) <= plan.sessions_per_year * plan.years
    # 400 signs for 10 years at 5 % a year: 200 lost; four standard errors of a Poisson count.
    assert np.isfinite(fleet.removed_years).sum() == pytest.approx(200, abs=57)
    damaged = (fleet.damaged_years < np.minimum(fleet.removed_years, 10.0)).sum()
    assert damaged == pytest.approx(0.02 * 400 * 10, abs=36)
    assert (~seen.is_age_known[:400]).mean() == pytest.approx(0.25, abs=0.09)
    assert seen.is_age_known[400:].all()
    unknown = np.flatnonzero(~seen.is_age_known[seen.sign])
    first = unknown[np.diff(seen.sign[unknown], prepend=-1) > 0]
    assert (seen.age_years[first] == 0).all()


@pytest.mark.parametrize(
    ("name", "value", "bound"),
    [("signs", 0, "over 0"), ("level_cd_lx_m2", 0.0, "over 0"), ("bend", -0.1, "0 or more")],
)
def test_a_plan_that_makes_no_fleet_is_refused(name, value, bound):
    with pytest.raises(OutOfRangeError, match=rf"{name} is {value:g}; it is {bound}"):
        replace(PLAN, **{name: value})
