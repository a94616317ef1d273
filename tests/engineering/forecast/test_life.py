"""Expected lives: by hand, by drawn signs, and against the truth of simulated cohorts."""

from pathlib import Path

import numpy as np
import pytest

from inventory.engineering.forecast.covariates import Covariates
from inventory.engineering.forecast.fit import Scale, fit_cohort
from inventory.engineering.forecast.least_squares import fit_least_squares
from inventory.engineering.forecast.life import (
    CrossingAge,
    GroupedCohort,
    Life,
    blanket_interval,
    crossing_age,
    expected_life,
    life_of,
)
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.shapes import LINEAR, AgeShape
from inventory.errors import OutOfRangeError
from tests.engineering.forecast.fleets import LEVEL, SLOPE, simulated

MINIMUM = 120.0


def test_a_line_from_250_that_loses_12_a_year_reaches_50_after_16_years_and_8_months():
    # (50 − 250) ÷ −12, by hand; not published.
    assert crossing_age(250.0, -12.0, 50.0) == pytest.approx(16.667, abs=5e-4)


def test_the_certified_line_of_norris_crosses_where_its_coefficients_say():
    """NIST StRD Norris: certified −0.262323073774029 + 1.00211681802045 x (read there)."""
    path = Path(__file__).with_name("nist_strd_norris.csv")
    x, y = np.loadtxt(path, delimiter=",", skiprows=1, unpack=True)
    # Turned over, the certified line falls from 1000.262… by 1.002… a unit.
    line = fit_least_squares(np.column_stack([np.ones_like(x), x]), 1000.0 - y)
    certified = (1000.0 + 0.262323073774029 - 120.0) / 1.00211681802045
    level, slope = line.coefficients.tolist()
    assert crossing_age(level, slope, 120.0) == pytest.approx(certified, rel=1e-9)


@pytest.mark.parametrize(("level", "slope"), [(250.0, 0.0), (250.0, 3.0), (50.0, -2.0)])
def test_a_line_that_does_not_come_down_has_no_crossing(level, slope):
    with pytest.raises(OutOfRangeError, match="does not come down to 50"):
        crossing_age(level, slope, 50.0)


def known(years: float | None) -> float:
    """Return years that are known."""
    assert years is not None
    return years


@pytest.fixture(scope="module")
def fitted():
    observations, _level, _slope = simulated(5, 600, lots=40)
    return fit_cohort(observations, scale=Scale.LOG, shape=LINEAR)


def first_below(fit, minimum, ages, signs=200_000):
    """Share of drawn new signs of a fitted line that were below by each age."""
    draw = np.random.default_rng(2)
    spread = fit.variances.with_lots_added() if fit.variances.has_lots else fit.variances
    common = spread.sign_correlation * spread.sign_level_sd * spread.sign_slope_sd
    own = draw.multivariate_normal(
        [0, 0],
        [[spread.sign_level_sd**2, common], [common, spread.sign_slope_sd**2]],
        signs,
    )
    line = fit.shape.basis(ages) @ fit.coefficients[: fit.shape.column_count]
    is_below = line + own[:, :1] + own[:, 1:] * ages < np.log(minimum)
    return np.maximum.accumulate(is_below, axis=1).mean(axis=0)


def test_the_life_table_is_that_of_drawn_signs(fitted):
    life = expected_life(fitted, MINIMUM)
    drawn = first_below(fitted, MINIMUM, np.arange(31.0))
    np.testing.assert_allclose(life.share_below, drawn, atol=0.004)


def test_percentiles_are_where_the_table_reaches_them(fitted):
    life = expected_life(fitted, MINIMUM)
    for crossing in (life.median, *life.early):
        at = np.interp(known(crossing.years), np.arange(31.0), life.share_below)
        assert at == pytest.approx(crossing.share, abs=0.01)
        assert known(crossing.low_years) < known(crossing.years) < known(crossing.high_years)
    assert known(life.early[0].years) < known(life.early[1].years) < known(life.median.years)


def test_the_median_is_near_where_the_true_line_crosses(fitted):
    truth = crossing_age(LEVEL, SLOPE, np.log(MINIMUM))  # 16.25 years
    life = expected_life(fitted, MINIMUM)
    assert known(life.median.low_years) < truth < known(life.median.high_years)


def test_bounds_hold_the_truth_of_simulated_cohorts():
    """95 % bounds of median and 15 % in 40 cohorts of 80 signs: at most 5 of 40 miss."""
    # 6 of 40 has a chance of 1.4 % where the bounds are right.
    sign_sd, slope_sd = 0.15, 0.01
    ages = np.linspace(0, 40, 2001)
    z = (np.log(MINIMUM) - LEVEL - SLOPE * ages) / np.hypot(sign_sd, slope_sd * ages)
    truth = {0.5: ages[np.argmax(z >= 0)], 0.15: ages[np.argmax(z >= -1.036433)]}
    missed = dict.fromkeys(truth, 0)
    for seed in range(40):
        observations, _level, _slope = simulated(1000 + seed, 80, visits=2)
        fit = fit_cohort(observations, scale=Scale.LOG, shape=LINEAR)
        life = expected_life(fit, MINIMUM)
        for crossing in (life.median, life.early[1]):
            is_within = crossing.low_years <= truth[crossing.share] <= crossing.high_years
            missed[crossing.share] += not is_within
    assert max(missed.values()) <= 5, missed


def test_a_curve_and_the_plain_scale_have_lives_too():
    observations, _level, _slope = simulated(8, 300)
    ages = observations.age_years
    curved = fit_cohort(observations, scale=Scale.LOG, shape=AgeShape.curved(ages))
    plain = fit_cohort(observations, scale=Scale.PLAIN, shape=LINEAR)
    for fit in (curved, plain):
        life = expected_life(fit, MINIMUM)
        assert life.median.years == pytest.approx(16.25, abs=2.5)
        assert (np.diff(life.share_below) >= 0).all()


def test_signs_that_face_differently_spread_a_cohorts_lives():
    draw = np.random.default_rng(17)
    quadrant = np.arange(800) % 4
    slopes = SLOPE + np.array([-0.02, 0.0, 0.0, 0.02])[quadrant] + draw.normal(0, 0.005, 800)
    ages = np.sort(draw.uniform(0, 15, (800, 3)), axis=1)
    levels = LEVEL + draw.normal(0, 0.15, 800)
    log_ra = levels[:, None] + slopes[:, None] * ages + draw.normal(0, 0.08, (800, 3))
    observations = Observations.plain(
        np.repeat(np.arange(800), 3), ages.ravel(), np.exp(log_ra).ravel(), quadrant=quadrant
    )
    told = fit_cohort(
        observations, scale=Scale.LOG, shape=LINEAR, covariates=Covariates(uses_quadrant=True)
    )
    pooled = fit_cohort(observations, scale=Scale.LOG, shape=LINEAR)
    assert told.variances.sign_slope_sd < 0.6 * pooled.variances.sign_slope_sd
    # Put up anywhere, new signs differ as much whether or not the fit tells facings apart.
    for one, other in zip(
        (*expected_life(told, MINIMUM).early, expected_life(told, MINIMUM).median),
        (*expected_life(pooled, MINIMUM).early, expected_life(pooled, MINIMUM).median),
        strict=True,
    ):
        assert one.years == pytest.approx(other.years, abs=0.4)


def test_few_readings_give_wide_bounds_and_a_mark():
    one = Observations.plain([0], [2.0], [260.0])
    life = expected_life(fit_cohort(one, scale=Scale.LOG, shape=LINEAR), 50.0)
    assert life.is_extrapolated
    assert life.median.high_years is None
    assert known(life.median.low_years) < 15


def test_an_unusual_life_is_warned_of_with_what_was_published(fitted):
    assert expected_life(fitted, MINIMUM).warning == ""
    short = expected_life(fitted, 230.0)
    assert known(short.median.years) < 5
    assert "8 to 15 years" in short.warning
    assert "ASCE JTE 135(3)" in short.warning
    long = expected_life(fitted, 1.0)
    assert "over 60 years" in long.warning


def test_beyond_the_ages_read_is_marked(fitted):
    assert not expected_life(fitted, 180.0).is_extrapolated
    assert expected_life(fitted, 90.0).is_extrapolated


@pytest.mark.parametrize("level", [0.0, -5.0, float("nan"), float("inf")])
def test_a_level_that_cannot_be_is_refused(fitted, level):
    with pytest.raises(OutOfRangeError, match="over 0"):
        expected_life(fitted, level)


def test_a_stored_life_comes_back_as_it_was(fitted):
    stored = life_of(fitted, MINIMUM)
    assert Life.from_json(stored) == expected_life(fitted, MINIMUM)
    assert len(stored["table"]) == 31
    assert [each["share"] for each in stored["early"]] == [0.05, 0.15]


def life(*shares, high=None, oldest=25.0):
    nothing = CrossingAge(0.5, None, None, None)
    return Life(50.0, nothing, (), oldest, shares, shares, high or shares)


def test_a_group_is_replaced_before_too_many_are_below():
    # By hand: at 3 years (0.02 · 300 + 0.10 · 100) ÷ 400 = 4 % below; at 4 years 10 %.
    white = GroupedCohort("white", 300, life(0, 0, 0.01, 0.02, 0.05))
    red = GroupedCohort("red", 100, life(0, 0, 0.02, 0.10, 0.25))
    found = blanket_interval([white, red], 0.95)
    assert (found.years, found.limiting) == (3, 1)
    assert found.share_above == pytest.approx(0.96)
    assert found.shares_above == pytest.approx((0.98, 0.90))
    assert blanket_interval([white, red], 0.90).years == 4


def test_the_cautious_interval_goes_by_the_upper_bounds():
    white = GroupedCohort("white", 10, life(0, 0.01, 0.04, 0.2, high=(0, 0.03, 0.09, 0.4)))
    found = blanket_interval([white], 0.95)
    assert (found.years, found.cautious_years) == (2, 1)


def test_an_interval_beyond_the_ages_read_is_marked():
    white = GroupedCohort("white", 10, life(0, 0.01, 0.04, 0.2, oldest=1.5))
    assert blanket_interval([white], 0.95).is_extrapolated


def test_where_new_signs_are_below_no_year_is_right():
    assert blanket_interval([GroupedCohort("red", 4, life(0.2, 0.3))], 0.95).years == 0


@pytest.mark.parametrize("share", [0.4, 1.0])
def test_a_share_that_cannot_be_kept_is_refused(share):
    with pytest.raises(OutOfRangeError, match=r"0\.5 to 0\.999"):
        blanket_interval([GroupedCohort("white", 1, life(0, 0.1))], share)


def test_a_group_without_signs_is_refused():
    with pytest.raises(OutOfRangeError, match="no sign"):
        blanket_interval([GroupedCohort("white", 0, life(0, 0.1))], 0.95)
