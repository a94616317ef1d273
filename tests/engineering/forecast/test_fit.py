"""The fit of a cohort: truth recovered, an outside program, unknown ages, both scales."""

import json
from dataclasses import replace

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from inventory.engineering.forecast import spread
from inventory.engineering.forecast.fit import (
    WEAK_PRIOR,
    CohortFit,
    Scale,
    cohort_curve,
    fit_cohort,
)
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.shapes import LINEAR, AgeShape
from inventory.errors import OutOfRangeError
from tests.engineering.forecast.fleets import LEVEL, SLOPE, simulated


def fitted(observations, **options):
    return fit_cohort(observations, **{"scale": Scale.LOG, "shape": LINEAR, **options})


@pytest.mark.filterwarnings("ignore:The MLE may be on the boundary")
@pytest.mark.filterwarnings("ignore:.*Hessian matrix.*")
def test_statsmodels_finds_the_same_fit_to_three_digits():
    # statsmodels MixedLM, REML, random intercept and slope, on the same simulated data.
    observations, _level, _slope = simulated(5, 400, visits=4, slope_sd=0.03)
    columns = LINEAR.basis(observations.age_years)
    response = np.log(observations.ra_cd_lx_m2)
    peer = MixedLM(response, columns, observations.sign, exog_re=columns).fit(
        reml=True, method="lbfgs"
    )
    found = fitted(observations, prior=None)
    assert found.solution.log_likelihood == pytest.approx(peer.llf, rel=1e-3)
    assert found.solution.log_likelihood >= peer.llf - 1e-3
    assert found.coefficients == pytest.approx(np.asarray(peer.fe_params), rel=1e-3)
    covariance = np.asarray(peer.cov_re)
    spread = found.variances
    assert spread.residual_sd**2 == pytest.approx(peer.scale, rel=1e-3)
    assert spread.sign_level_sd**2 == pytest.approx(covariance[0, 0], rel=1e-3)
    assert spread.sign_slope_sd**2 == pytest.approx(covariance[1, 1], rel=1e-3)
    common = spread.sign_correlation * spread.sign_level_sd * spread.sign_slope_sd
    assert common == pytest.approx(covariance[0, 1], abs=1e-3 * covariance[0, 0])


def test_a_fleet_made_with_known_figures_gives_them_back():
    # Truth: the figures the fleet was made with. A standard deviation of 300 lots is known to
    # 1/sqrt(600) = 4 % if each lot's effect were seen exactly; with 20 signs a lot 25 % is
    # some four standard errors. Those of signs and visits are surer.
    observations, _level, _slope = simulated(7, 6_000, lots=300, repeatability=0.05)
    found = fitted(observations)
    spread = found.variances
    assert spread.residual_sd == pytest.approx(0.08, rel=0.04)
    assert spread.sign_level_sd == pytest.approx(0.15, rel=0.05)
    assert spread.sign_slope_sd == pytest.approx(0.01, rel=0.15)
    assert spread.lot_level_sd == pytest.approx(0.05, rel=0.25)
    assert spread.lot_slope_sd == pytest.approx(0.004, rel=0.25)
    errors = np.sqrt(np.diag(found.solution.covariance))
    assert (np.abs(found.coefficients - [LEVEL, SLOPE]) < 4 * errors).all()


def test_a_sign_of_unknown_age_tells_of_slope_alone():
    observations, _level, _slope = simulated(9, 800, unknown_ages=0.5)
    found = fitted(observations)
    errors = np.sqrt(np.diag(found.solution.covariance))
    assert (np.abs(found.coefficients - [LEVEL, SLOPE]) < 4 * errors).all()
    # Read half as bright throughout, signs of unknown age change nothing at all.
    unknown = ~observations.is_age_known[observations.sign]
    halved = np.where(unknown, observations.ra_cd_lx_m2 / 2, observations.ra_cd_lx_m2)
    dimmer = fitted(replace(observations, ra_cd_lx_m2=halved))
    assert dimmer.coefficients == pytest.approx(found.coefficients, rel=1e-5)
    # And they do speak: without them the slope is less sure.
    known_alone = fitted(observations.of_signs(observations.is_age_known))
    assert errors[1] < np.sqrt(known_alone.solution.covariance[1, 1])


def test_on_the_plain_scale_a_fleet_that_falls_along_a_line_gives_its_figures_back():
    draw = np.random.default_rng(11)
    sign = np.repeat(np.arange(2_000), 3)
    age = draw.uniform(0, 15, len(sign))
    level, slope = draw.normal(260, 25, 2_000), draw.normal(-5, 1.5, 2_000)
    ra = level[sign] + slope[sign] * age + draw.normal(0, 10, len(sign))
    found = fitted(Observations.plain(sign, age, ra), scale=Scale.PLAIN)
    errors = np.sqrt(np.diag(found.solution.covariance))
    assert (np.abs(found.coefficients - [260, -5]) < 4 * errors).all()
    assert found.variances.residual_sd == pytest.approx(10, rel=0.05)
    assert found.variances.sign_level_sd == pytest.approx(25, rel=0.06)
    assert found.variances.sign_slope_sd == pytest.approx(1.5, rel=0.15)


def test_a_curved_decline_is_followed_by_the_curve():
    observations, _level, _slope = simulated(13, 1_500)
    age = observations.age_years
    bent = replace(
        observations, ra_cd_lx_m2=observations.ra_cd_lx_m2 * np.exp(-0.003 * age * age)
    )
    found = fitted(bent, shape=AgeShape.curved(age))
    ages = np.array([1.0, 5.0, 10.0, 14.0])
    truth = LEVEL + SLOPE * ages - 0.003 * ages * ages
    assert found.shape.basis(ages) @ found.coefficients == pytest.approx(truth, abs=0.03)


def test_a_prior_holds_a_cohort_of_one_sign_and_gives_way_to_many():
    one, _level, _slope = simulated(15, 1, visits=1)
    held = fitted(one)
    assert held.coefficients[1] == pytest.approx(WEAK_PRIOR.slope_rel_per_year, abs=0.005)
    many, _level, _slope = simulated(15, 1_000)
    free = fitted(many, prior=None)
    assert fitted(many).coefficients == pytest.approx(free.coefficients, rel=2e-3)
    with pytest.raises(OutOfRangeError, match="three or more without a prior"):
        fitted(one, prior=None)


def test_a_cohort_without_a_known_age_is_not_fitted():
    observations, _level, _slope = simulated(17, 20, unknown_ages=1.1)
    with pytest.raises(OutOfRangeError, match="0 signs of known age"):
        fitted(observations)


def test_the_spread_of_a_large_cohort_is_that_of_whole_lots_drawn_from_it(monkeypatch):
    observations, _level, _slope = simulated(19, 3_000, lots=100)
    whole = fitted(observations).variances
    monkeypatch.setattr(spread, "SIGNS_FOR_VARIANCES", 1_500)
    said: list[str] = []
    part = fitted(observations, progress=said.append)
    assert part.variances.residual_sd == pytest.approx(whole.residual_sd, rel=0.05)
    assert part.variances != whole
    assert part.sign_count == 3_000
    assert len(said) == 3


def test_a_spread_that_is_not_there_is_found_small_and_does_no_harm():
    # No sign differs from another in slope, and all start alike: both variances are at 0.
    observations, _level, _slope = simulated(29, 200, level_sd=0.0, slope_sd=0.0)
    found = fitted(observations, prior=None)
    assert found.variances.sign_slope_sd < 0.004
    assert found.variances.sign_level_sd < 0.03
    assert found.variances.residual_sd == pytest.approx(0.08, rel=0.1)
    assert found.coefficients == pytest.approx([LEVEL, SLOPE], abs=0.02)


@pytest.mark.parametrize("scale", list(Scale))
def test_a_fit_is_stored_and_read_again_whole(scale):
    observations, _level, _slope = simulated(31, 120, lots=12)
    shape = AgeShape.curved(observations.age_years)
    found = fitted(observations, scale=scale, shape=shape)
    text = json.dumps(found.to_json())
    again = CohortFit.from_json(json.loads(text))
    assert (again.scale, again.shape, again.variances) == (scale, shape, found.variances)
    assert again.coefficients.tolist() == found.coefficients.tolist()
    assert again.solution.covariance.tolist() == found.solution.covariance.tolist()
    assert (again.sign_count, again.visit_count) == (120, 360)
    assert (again.oldest_age_years, again.unit) == (found.oldest_age_years, found.unit)
    assert again.grams is None
    assert again.solution.lots is None
    assert len(again.lot_numbers) == 0
    old = found.to_json() | {"method": "forecast-1"}
    with pytest.raises(OutOfRangeError, match="of method 'forecast-1'"):
        CohortFit.from_json(old)


def test_the_bands_of_a_cohort_hold_its_line_and_nine_of_ten_of_its_signs():
    # Truth: the line and the signs that the fleet was made with. 1,500 signs: 0.90 ± 0.025 is
    # three standard errors.
    observations, levels, slopes = simulated(33, 1_500)
    curve = cohort_curve(fitted(observations), np.array([0.0, 6.0, 12.0]))
    for place, age in enumerate(curve.ages_years):
        truth = np.exp(LEVEL + SLOPE * age)
        assert curve.line_low[place] < truth < curve.line_high[place]
        signs = np.exp(levels + slopes * age)
        held = (signs >= curve.signs_low[place]) & (signs <= curve.signs_high[place])
        assert held.mean() == pytest.approx(0.90, abs=0.025)
    assert (curve.line_high - curve.line_low < curve.signs_high - curve.signs_low).all()


def test_known_variances_are_taken_as_they_are():
    observations, _level, _slope = simulated(35, 200, lots=10)
    found = fitted(observations)
    again = fitted(observations, variances=found.variances)
    assert again.variances is found.variances
    assert again.coefficients.tolist() == found.coefficients.tolist()
