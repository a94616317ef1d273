"""What is forecast of each sign: against whole matrices, against draws, and by its rules."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from inventory.engineering.forecast.both_scales import sign_told
from inventory.engineering.forecast.fit import (
    WEAK_PRIOR,
    Scale,
    design_columns,
    fit_cohort,
    sum_observations,
)
from inventory.engineering.forecast.grams import variance_class
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.predict import both_below, forecast_signs
from inventory.engineering.forecast.shapes import LINEAR, AgeShape
from inventory.engineering.forecast.states import KnownOfSigns, states_now
from inventory.errors import OutOfRangeError
from tests.engineering.forecast.fleets import simulated


def forecast(fit, observations, *, age=8.0, level=100.0, due=0.5, **options):
    number = observations.sign_count
    return forecast_signs(
        fit,
        sum_observations(observations, fit.scale, fit.shape),
        lot=observations.lot,
        is_age_known=observations.is_age_known,
        age_now_years=np.broadcast_to(np.asarray(age, dtype=float), (number,)),
        level_cd_lx_m2=np.broadcast_to(np.asarray(level, dtype=float), (number,)),
        due_probability=due,
        **options,
    )


FLEET, LEVELS, SLOPES = simulated(21, 120, lots=12, repeatability=0.05)
FIT = fit_cohort(FLEET, scale=Scale.LOG, shape=LINEAR)
CURVE = fit_cohort(FLEET, scale=Scale.LOG, shape=AgeShape.curved(FLEET.age_years))


@pytest.mark.parametrize("fit", [FIT, CURVE], ids=["line", "curve"])
def test_the_present_value_is_that_of_the_whole_matrix_of_all_signs(fit):
    # The same posterior by one dense Gaussian process over all readings and all signs, the
    # prior of the coefficients as a covariance; other code, no elimination. The last sign
    # (120) has no reading.
    spread, number, now = fit.variances, 121, 9.0
    lot = np.append(FLEET.lot, 3)
    sign = np.append(FLEET.sign, np.arange(number))
    age = np.append(FLEET.age_years, np.full(number, now))
    x = design_columns(fit.shape, age, np.ones(len(age), bool))
    g01 = spread.sign_correlation * spread.sign_level_sd * spread.sign_slope_sd
    aa = np.outer(age, age)
    k = (spread.sign_level_sd**2 + g01 * np.add.outer(age, age)) * (sign[:, None] == sign)
    k += spread.sign_slope_sd**2 * aa * (sign[:, None] == sign)
    of_lot = spread.lot_level_sd**2 + spread.lot_slope_sd**2 * aa
    k += of_lot * (lot[sign][:, None] == lot[sign])
    sds = np.full(fit.shape.column_count, 100.0)
    sds[1] = WEAK_PRIOR.slope_sd_rel_per_year
    k += (x * sds**2) @ x.T
    prior_mean = np.zeros(fit.shape.column_count)
    prior_mean[1] = WEAK_PRIOR.slope_rel_per_year
    mean = x @ prior_mean
    n = len(FLEET)
    known = variance_class(FLEET.repeatability_rel**2 / FLEET.reading_count)
    seen = k[:n, :n] + np.diag(spread.residual_sd**2 + known)
    gain = np.linalg.solve(seen, k[:n, n:]).T
    expected = mean[n:] + gain @ (np.log(FLEET.ra_cd_lx_m2) - mean[:n])
    sd = np.sqrt(np.diag(k[n:, n:] - gain @ k[:n, n:]))
    one_more = Observations.plain(
        FLEET.sign,
        FLEET.age_years,
        FLEET.ra_cd_lx_m2,
        reading_count=FLEET.reading_count,
        repeatability_rel=FLEET.repeatability_rel,
        lot=lot,
    )
    found = forecast(fit, one_more, age=now)
    assert np.log(found.ra_cd_lx_m2) == pytest.approx(expected, abs=1e-5)
    width = np.log(found.ra_high_cd_lx_m2 / found.ra_low_cd_lx_m2)
    assert width == pytest.approx(2 * 1.6448536 * sd, rel=1e-4)
    assert found.has_own_readings.tolist() == [True] * 120 + [False]


def test_nine_of_ten_intervals_hold_the_true_value():
    # Truth: what the fleet was made with. 1,000 signs: 0.90 ± 0.03 is three standard errors.
    fleet, levels, slopes = simulated(23, 1_000, lots=50, repeatability=0.05)
    found = forecast(fit_cohort(fleet, scale=Scale.LOG, shape=LINEAR), fleet, age=10.0)
    truth = np.exp(levels + 10.0 * slopes)
    held = (truth >= found.ra_low_cd_lx_m2) & (truth <= found.ra_high_cd_lx_m2)
    assert held.mean() == pytest.approx(0.90, abs=0.03)
    assert np.log(found.ra_cd_lx_m2 / truth).mean() == pytest.approx(0.0, abs=0.02)


def test_due_dates_hold_as_often_as_they_say():
    # The true first crossings of the made lines: half before the 50 % date, one in five
    # before the 20 % date; four standard errors of 1,000 signs.
    fleet, levels, slopes = simulated(25, 1_000, lots=50)
    fit = fit_cohort(fleet, scale=Scale.LOG, shape=LINEAR)
    level = 120.0
    now = levels + 8.0 * slopes - np.log(level)
    with np.errstate(divide="ignore"):
        later = np.where(slopes < 0, now / -slopes, np.inf)
    truth = np.where(now <= 0, 0.0, later)
    for due in (0.2, 0.5):
        found = forecast(fit, fleet, level=level, due=due)
        assert (truth <= found.due_years).mean() == pytest.approx(due, abs=0.07)
    inside = (truth >= found.due_low_years) & (truth <= found.due_high_years)
    assert inside.mean() >= 0.86


@pytest.mark.parametrize("slope_sd", [0.01, 0.06])
def test_the_first_crossing_is_that_of_drawn_lines(slope_sd):
    # 200,000 lines drawn from the state of one sign; rising lines cross at once or never.
    fleet, _levels, _slopes = simulated(27, 60, slope_sd=slope_sd)
    fit = fit_cohort(fleet, scale=Scale.LOG, shape=LINEAR)
    newer = Observations.plain([0], [2.0], [130.0])
    found = forecast(fit, newer, age=2.0, level=105.0, due=0.3)
    p = found.probability_below[0]
    ends = forecast(fit, newer, age=2.0, level=105.0, due=0.3, first_year_end_years=0.5)
    assert ends.years_ahead[[0, 1, -1]].tolist() == [0.5, 1.5, 30.0]
    draw = np.random.default_rng(0)
    mean0 = np.log(found.ra_cd_lx_m2[0])
    sd0 = np.log(found.ra_high_cd_lx_m2[0] / found.ra_low_cd_lx_m2[0]) / (2 * 1.6448536)
    sums = sum_observations(newer, fit.scale, fit.shape)
    known = KnownOfSigns(newer.lot, newer.is_age_known, np.array([2.0]), np.zeros((1, 0)))
    state = states_now(fit, sums, known)
    assert (state.level[0], np.sqrt(state.of_level[0])) == pytest.approx((mean0, sd0))
    covariance = [
        [state.of_level[0], state.of_both[0]],
        [state.of_both[0], state.of_slope[0]],
    ]
    lines = draw.multivariate_normal([state.level[0], state.slope[0]], covariance, 200_000)
    gap = lines[:, 0] - np.log(105.0)
    for years in (1, 10, 30):
        assert p[years] == pytest.approx((gap + years * lines[:, 1] < 0).mean(), abs=0.005)
    with np.errstate(divide="ignore"):
        later = np.where(lines[:, 1] < 0, -gap / lines[:, 1], np.inf)
    first = np.where(gap < 0, 0.0, later)
    for share, years in ((0.3, found.due_years[0]), (0.95, found.due_high_years[0])):
        drawn = np.quantile(first, share, method="lower")
        if drawn > 30:
            assert years == np.inf
        else:
            assert years == pytest.approx(drawn, abs=0.1)


@given(st.floats(-4, 4), st.floats(-4, 4), st.floats(-0.99, 0.99))
@settings(max_examples=60)
def test_the_chance_of_both_is_that_of_scipy(h, k, r):
    # scipy.stats.multivariate_normal.cdf, another algorithm.
    peer = multivariate_normal([0, 0], [[1, r], [r, 1]]).cdf([h, k])
    assert both_below(*(np.array([each]) for each in (h, k, r)))[0] == pytest.approx(
        peer, abs=1e-6
    )


@given(st.floats(20, 300), st.floats(1, 100), st.sampled_from([FIT, CURVE]))
@settings(max_examples=20)
def test_a_higher_level_is_never_due_later(level, more, fit):
    low, high = (forecast(fit, FLEET, level=each) for each in (level, level + more))
    assert (high.due_years <= low.due_years).all()
    assert (high.probability_below >= low.probability_below).all()
    for found in (low, high):
        assert (found.due_low_years <= found.due_years).all()
        assert (found.due_years <= found.due_high_years).all()
        assert found.probability_below.shape == (120, 31)


def test_a_bright_slow_cohort_is_not_due_within_30_years_and_a_dark_sign_is_due_now():
    found = forecast(FIT, FLEET, level=1.0)
    assert np.isinf(found.due_years).all()
    assert found.is_extrapolated.all()
    assert (forecast(FIT, FLEET, level=5_000.0).due_years == 0).all()


def test_a_sign_of_unknown_age_starts_from_its_own_reading():
    one = Observations.plain([0], [0.0], [150.0], is_age_known=False)
    at_reading, later = (forecast(FIT, one, age=age).ra_cd_lx_m2[0] for age in (0.0, 5.0))
    assert at_reading == pytest.approx(150.0, rel=1e-6)
    assert np.log(later / at_reading) == pytest.approx(5 * FIT.coefficients[1], rel=1e-6)
    bent = forecast(CURVE, one, age=5.0).ra_cd_lx_m2[0]
    ends = CURVE.shape.basis(np.array([0.0, CURVE.shape.knots_years[-1]])) @ CURVE.coefficients
    mean_slope = (ends[1] - ends[0]) / CURVE.shape.knots_years[-1]
    assert np.log(bent / at_reading) == pytest.approx(5 * mean_slope, rel=1e-6)


def test_a_sign_without_age_or_reading_is_refused():
    none = Observations.plain([], [], [], lot=[-1], is_age_known=False)
    with pytest.raises(OutOfRangeError, match="expected life"):
        forecast(FIT, none)


@pytest.mark.parametrize("fit", [FIT, CURVE], ids=["line", "curve"])
def test_the_curve_of_a_sign_is_its_forecast_at_every_age(fit):
    # Drawn from the stored state alone, it says what forecasts made for other days say.
    now = forecast(fit, FLEET, age=8.0)
    ages = np.array([6.0, 8.0, 13.0])
    stored = type(fit).from_json(fit.to_json())
    for sign in (0, 57):
        told = sign_told(
            stored, [now.state_of(sign)], age_now_years=8.0, is_age_known=True, ages_years=ages
        )
        median, low, high = told.quantile(0.5), told.low_cd_lx_m2, told.high_cd_lx_m2
        assert median[1] == pytest.approx(now.ra_cd_lx_m2[sign])
        assert low[1] == pytest.approx(now.ra_low_cd_lx_m2[sign])
        assert high[1] == pytest.approx(now.ra_high_cd_lx_m2[sign])
        for place in (0, 2):
            then = forecast(fit, FLEET, age=ages[place])
            assert median[place] == pytest.approx(then.ra_cd_lx_m2[sign], rel=1e-6)
            if fit is FIT:
                assert low[place] == pytest.approx(then.ra_low_cd_lx_m2[sign], rel=1e-6)


def test_a_sign_of_unknown_age_is_drawn_from_its_first_reading():
    one = Observations.plain([0], [0.0], [150.0], is_age_known=False)
    state = forecast(CURVE, one, age=2.0).state_of(0)
    told = sign_told(
        CURVE, [state], age_now_years=2.0, is_age_known=False, ages_years=np.array([0.0, 2.0])
    )
    assert told.quantile(0.5)[0] == pytest.approx(150.0, rel=1e-6)
    with pytest.raises(OutOfRangeError, match="age of -1 years"):
        sign_told(
            CURVE, [state], age_now_years=2.0, is_age_known=False, ages_years=np.array([-1.0])
        )


def test_a_crossing_is_never_undone():
    found = forecast(FIT, FLEET, level=150.0)
    crossed = found.probability_crossed
    assert (np.diff(crossed, axis=1) >= 0).all()
    assert (crossed >= found.probability_below - 1e-6).all()
    assert crossed[:, 0] == pytest.approx(found.probability_below[:, 0], abs=1e-6)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"level": 0.0}, "level of sign 0 is 0; it is over 0"),
        ({"age": -1.0}, "age of sign 0 is -1; it is 0 or more"),
        ({"due": 0.005}, "due probability is 0.005"),
        ({"due": 0.995}, "due probability is 0.995"),
        ({"first_year_end_years": 0.0}, "year ends in 0 years"),
        ({"first_year_end_years": 1.01}, "year ends in 1.01 years"),
    ],
)
def test_figures_outside_their_bounds_are_refused(options, said):
    with pytest.raises(OutOfRangeError, match=said):
        forecast(FIT, FLEET, **options)
