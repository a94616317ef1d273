"""Which model a cohort gets: the one its readings came from, and no more than they show."""

from dataclasses import replace

import numpy as np
import pytest

from inventory.engineering.forecast import choose
from inventory.engineering.forecast.choose import choose_cohort_model, log_densities
from inventory.engineering.forecast.fit import CohortFit, Scale, fit_cohort
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.shapes import LINEAR
from inventory.errors import OutOfRangeError
from tests.engineering.forecast.fleets import in_sessions, simulated


def chosen_of(observations):
    """Return the score of the model that was chosen."""
    return next(each for each in choose_cohort_model(observations).scores if each.is_chosen)


def with_change(observations, of_sign_per_year):
    """Return the readings as if each sign changed by so much more a year."""
    more = np.exp(of_sign_per_year[observations.sign] * observations.age_years)
    return replace(observations, ra_cd_lx_m2=observations.ra_cd_lx_m2 * more)


@pytest.mark.parametrize("seed", [51, 52, 53])
def test_a_fleet_that_falls_along_a_curve_gets_the_curve(seed):
    observations, _level, _slope = simulated(seed, 300)
    bend = np.exp(-0.003 * observations.age_years**2)
    bent = replace(observations, ra_cd_lx_m2=observations.ra_cd_lx_m2 * bend)
    best = chosen_of(bent)
    assert (best.scale, best.shape) == ("log", "curved")
    assert best.words == "a share that changes with age"


@pytest.mark.parametrize("seed", [51, 52, 53])
def test_a_fleet_that_loses_so_many_candela_a_year_gets_the_plain_scale(seed):
    draw = np.random.default_rng(seed)
    sign = np.repeat(np.arange(300), 3)
    age = np.sort(draw.uniform(0, 15, (300, 3)), axis=1).ravel()
    level, slope = draw.normal(260, 25, 300), draw.normal(-11, 1, 300)
    ra = level[sign] + slope[sign] * age + draw.normal(0, 12, 900)
    best = chosen_of(Observations.plain(sign, age, np.maximum(ra, 5.0)))
    assert (best.scale, best.shape) == ("plain", "linear")


@pytest.mark.parametrize("seed", [54, 55, 56])
def test_facing_counts_where_it_does_and_not_where_it_does_not(seed):
    # Half the signs, facing north and south, lose 2.5 % a year more than their neighbours.
    observations, _level, _slope = simulated(seed, 300)
    draw = np.random.default_rng(seed)
    facing = replace(
        observations, quadrant=draw.integers(0, 4, 300), district=draw.integers(0, 4, 300)
    )
    without = chosen_of(facing)
    assert not without.uses_quadrant
    assert not without.uses_district
    sunny = np.array([-0.0125, 0.0125, -0.0125, 0.0125])[facing.quadrant]
    best = chosen_of(with_change(facing, sunny))
    assert best.uses_quadrant
    assert not best.uses_district
    assert best.words.endswith("apart by facing")


def test_a_district_that_wears_faster_is_kept_apart_and_told_so():
    observations, _level, _slope = simulated(57, 400)
    district = np.random.default_rng(57).integers(0, 4, 400)
    coast = with_change(
        replace(observations, district=district), np.where(district == 2, -0.03, 0)
    )
    chosen = choose_cohort_model(coast)
    assert chosen.fit.covariates.uses_district
    assert chosen.fit.covariates.districts.tolist() == [0, 1, 2, 3]
    assert chosen.reason.startswith(
        "R_A falls by the same share each year, apart by district: of 5 models"
    )
    scores = {each.words: each for each in chosen.scores}
    best = scores["the same share each year, apart by district"]
    assert best.is_chosen
    assert best.below_best == 0.0
    assert max(each.score for each in chosen.scores) == best.score
    assert all(each.se_against_best > 0 for each in chosen.scores if each is not best)


def test_an_ordinary_fleet_with_sessions_gets_the_simplest_model():
    observations, _level, _slope = simulated(58, 300, lots=15, repeatability=0.05)
    session = np.random.default_rng(58).integers(0, 40, len(observations))
    chosen = choose_cohort_model(in_sessions(observations, session, 0.08, 58))
    assert chosen.fit.scale is Scale.LOG
    assert chosen.fit.shape is LINEAR
    assert chosen.fit.sessions is not None
    assert len(chosen.scores) == 4


def test_few_readings_are_fitted_along_a_line_and_it_says_so():
    observations, _level, _slope = simulated(59, 40)
    chosen = choose_cohort_model(observations)
    assert chosen.scores == ()
    assert "with 40 readings to hold back (100 are needed)" in chosen.reason
    assert (chosen.fit.scale, chosen.fit.shape) == (Scale.LOG, LINEAR)


def test_readings_nearly_of_one_age_are_not_tried_along_a_curve():
    observations, _level, _slope = simulated(60, 150, visits=2)
    ages = np.tile([4.0, 4.1], 150)
    chosen = choose_cohort_model(replace(observations, age_years=ages))
    assert {each.shape for each in chosen.scores} == {"linear"}


def test_signs_read_once_alone_tell_nothing_forward():
    observations, _level, _slope = simulated(60, 150, visits=1)
    chosen = choose_cohort_model(observations)
    assert "with 0 readings to hold back" in chosen.reason
    assert chosen.fit.sign_count == 150


def test_models_are_compared_on_some_thousand_signs_but_fitted_on_all(monkeypatch):
    monkeypatch.setattr(choose, "MOST_SIGNS", 200)
    observations, _level, _slope = simulated(61, 500, lots=50, unknown_ages=0.2)
    said: list[str] = []
    chosen = choose_cohort_model(observations, progress=said.append)
    assert chosen.fit.sign_count == 500
    held_back = int(chosen.reason.split(" held-back")[0].split()[-1])
    assert 150 < held_back <= 200
    assert said[0] == "trying the same share each year"
    assert "fitting the spread of 500 signs" in said


@pytest.mark.parametrize("scale", list(Scale))
def test_the_scores_of_all_values_a_reading_may_have_add_up_to_one(scale):
    # So they are densities of R_A on either scale, and scales can be compared.
    observations, _level, _slope = simulated(62, 60, repeatability=0.05)
    visits = np.array([2, 50])
    kept = np.ones(len(observations), bool)
    kept[visits] = False
    fit = fit_cohort(observations.of_visits(kept), scale=scale, shape=LINEAR)
    total = np.zeros(2)
    for ra in np.arange(2.0, 900.0, 4.0):
        read = observations.ra_cd_lx_m2.copy()
        read[visits] = ra
        total += 4.0 * np.exp(
            log_densities(fit, replace(observations, ra_cd_lx_m2=read), visits)
        )
    assert total == pytest.approx([1.0, 1.0], abs=0.01)


def test_a_stored_fit_scores_nothing():
    observations, _level, _slope = simulated(63, 20)
    fit = fit_cohort(observations, scale=Scale.LOG, shape=LINEAR)
    stored = CohortFit.from_json(fit.to_json())
    with pytest.raises(OutOfRangeError, match="fit the cohort again"):
        log_densities(stored, observations, np.array([0]))
