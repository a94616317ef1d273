"""What a reading is worth: against drawing readings at random, and never less than nothing."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr

from inventory.engineering.forecast.fit import Scale, fit_cohort
from inventory.engineering.forecast.measuring import (
    CLASS_WEIGHTS,
    DecisionWeights,
    ReadingNoise,
    open_decisions,
    reading_correlation,
    unread_correlation,
    value_of_reading,
)
from inventory.engineering.forecast.predict import forecast_signs
from inventory.engineering.forecast.shapes import LINEAR, AgeShape
from inventory.engineering.forecast.states import SignStates
from inventory.errors import OutOfRangeError
from tests.engineering.forecast.fleets import simulated

CHANCES = st.floats(0.0, 1.0)
CORRELATIONS = st.floats(-1.0, 1.0)
THRESHOLDS = st.floats(0.01, 0.99)


def state(of_level, of_both, of_slope, level=5.3, slope=-0.06):
    numbers = (level, slope, of_level, of_both, of_slope)
    a, b, c, d, e = (np.array([each]) for each in numbers)
    return SignStates(a, b, c, d, e, np.zeros((1, 0)), np.zeros((1, 0)))


def one(p, r, due=0.2):
    found = value_of_reading(np.array([p]), np.array([r]), due_probability=due)
    return float(found.value[0]), float(found.flip[0])


@pytest.mark.parametrize("level", [4.95, 5.2, 5.4])
@pytest.mark.parametrize("due", [0.1, 0.2, 0.5])
def test_the_closed_form_is_what_readings_drawn_at_random_come_to(level, due):
    # 400,000 signs of one state, each read once, decided before and after by the agency's rule.
    rng = np.random.default_rng(20261201)
    number, years = 400_000, 1.5
    mean, covariance = (
        np.array([5.4, -0.06]),
        np.array([[0.0225, -0.0004], [-0.0004, 0.0004]]),
    )
    noise = ReadingNoise(0.08, 0.03, 0.05, 4).variance
    now, slope = rng.multivariate_normal(mean, covariance, number).T
    reading = now + rng.normal(0.0, np.sqrt(noise), number)
    truth = now + years * slope
    common = covariance[0, 0] + years * covariance[0, 1]
    total = covariance[0, 0] + noise
    spread = common + years * covariance[0, 1] + years**2 * covariance[1, 1]
    middle = mean[0] + years * mean[1]
    before = ndtr((level - middle) / np.sqrt(spread))
    after = ndtr(
        (level - middle - common / total * (reading - mean[0]))
        / np.sqrt(spread - common**2 / total)
    )
    cost = due / (1 - due)
    is_below = truth < level

    def lost(is_replaced):
        return np.where(is_replaced, cost * ~is_below, is_below)

    drawn = lost(before >= due) - lost(after >= due)
    states = state(*covariance[[0, 0, 1], [0, 1, 1]])
    r = reading_correlation(states, np.array([years]), noise)
    found = value_of_reading(np.array([[before]]), r, due_probability=due)
    margin = 4 * drawn.std() / np.sqrt(number) + 1e-6
    assert float(found.value[0, 0]) == pytest.approx(drawn.mean(), abs=margin)
    flipped = ((after >= due) != (before >= due)).mean()
    assert float(found.flip[0, 0]) == pytest.approx(flipped, abs=4 / np.sqrt(4 * number))
    assert float(found.loss_now[0, 0]) == pytest.approx(
        lost(before >= due).mean(), abs=4 / np.sqrt(number)
    )


@given(CHANCES, CORRELATIONS, THRESHOLDS)
def test_a_reading_is_never_worth_less_than_nothing_nor_more_than_all_that_is_lost(p, r, due):
    found = value_of_reading(np.array([p]), np.array([r]), due_probability=due)
    assert 0 <= found.value[0] <= found.loss_now[0]
    assert 0 <= found.flip[0] <= 1


@given(st.floats(0.001, 0.999), THRESHOLDS, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_better_reading_is_worth_as_much_or_more(p, due, one_r, other_r):
    low, high = sorted((one_r, other_r))
    assert one(p, low, due)[0] <= one(p, high, due)[0] + 1e-9


@pytest.mark.parametrize(("p", "r"), [(0.0, 0.9), (1.0, 0.9), (1e-12, 0.9), (0.3, 0.0)])
def test_a_decision_that_cannot_turn_round_is_worth_no_reading(p, r):
    assert one(p, r) == (0.0, 0.0)


def test_a_perfect_reading_takes_away_all_that_may_be_wrong():
    # Kept at p = 0.1 under a threshold of 0.2: below in 1 case of 10, and then replaced.
    value, flip = one(0.1, 1.0)
    assert value == pytest.approx(0.1, abs=1e-6)
    assert flip == pytest.approx(0.1, abs=1e-5)
    # Replaced at p = 0.6: good in 4 cases of 10, each a quarter of a loss.
    value, flip = one(0.6, 1.0)
    assert value == pytest.approx(0.25 * 0.4, abs=1e-5)
    assert flip == pytest.approx(0.4, abs=1e-5)


def test_a_reading_is_worth_most_where_the_decision_is_at_its_threshold():
    chances = np.linspace(0.01, 0.99, 99)
    found = value_of_reading(chances, np.full(99, 0.8), due_probability=0.2)
    assert chances[int(found.value.argmax())] == pytest.approx(0.2)


def test_the_sign_of_the_correlation_does_not_matter():
    assert one(0.3, -0.7) == one(0.3, 0.7)


def test_the_worked_example_of_the_docs():
    # docs/methods/measuring.md: log R_A 5.30 now, SD 0.15; level 160; a reading of SD 0.089.
    states = state(0.0225, 0.0, 0.0004)
    noise = ReadingNoise(0.08, 0.03, 0.05, 4).variance
    r = reading_correlation(states, np.array([1.0]), noise)
    assert noise == pytest.approx(0.007925)
    assert float(r[0, 0]) == pytest.approx(0.8524, abs=1e-4)
    p = ndtr((np.log(160.0) - 5.24) / np.sqrt(0.0229))
    assert p == pytest.approx(0.1380, abs=1e-4)
    found = value_of_reading(np.array([[p]]), r, due_probability=0.2)
    assert float(found.loss_now[0, 0]) == pytest.approx(0.1380, abs=1e-4)
    assert float(found.value[0, 0]) == pytest.approx(0.0870, abs=1e-4)
    assert float(found.flip[0, 0]) == pytest.approx(0.2232, abs=1e-4)


def fitted(shape=LINEAR, scale=Scale.LOG):
    observations, _level, _slope = simulated(7, 400, visits=3, repeatability=0.05)
    return observations, fit_cohort(observations, scale=scale, shape=shape)


def decisions_of(made, levels):
    _observations, fit = made
    return open_decisions(
        fit,
        np.array([[5.3, -0.06, 0.0225, 0.0, 0.0004]]),
        age_years=np.array([6.0]),
        is_age_known=np.array([True]),
        level_cd_lx_m2=levels,
        years_ahead=np.array([1.0]),
        noise=ReadingNoise(0.08),
    )


@pytest.mark.parametrize("scale", list(Scale))
@pytest.mark.parametrize("shape", [LINEAR, AgeShape((1.0, 4.0, 7.0, 10.0))])
def test_from_the_stored_state_of_a_sign_its_chances_come_out_as_they_were_forecast(
    shape, scale
):
    observations, fit = fitted(shape, scale)
    number = observations.sign_count
    ages = np.full(number, 9.0)
    levels = np.full(number, 150.0)
    forecasts = forecast_signs(
        fit,
        fit.grams,
        lot=observations.lot,
        is_age_known=observations.is_age_known,
        age_now_years=ages,
        level_cd_lx_m2=levels,
        due_probability=0.2,
        first_year_end_years=0.5,
    )
    states = np.column_stack(
        [
            getattr(forecasts, name)
            for name in ("level", "slope", "of_level", "of_both", "of_slope")
        ]
    )
    found = open_decisions(
        fit,
        states,
        age_years=ages,
        is_age_known=observations.is_age_known,
        level_cd_lx_m2=levels,
        years_ahead=np.array([0.5, 1.5]),
        noise=ReadingNoise(0.08),
    )
    assert found.probability_below == pytest.approx(
        forecasts.probability_below[:, 1:3], abs=1e-6
    )
    assert (found.correlation > 0).all()
    assert (found.correlation < 1).all()


def test_more_readings_help_until_the_rest_is_dirt_and_day():
    variances = [ReadingNoise(0.08, 0.03, 0.05, count).variance for count in (1, 4, 1_000_000)]
    assert variances[0] > variances[1] > variances[2]
    assert variances[2] == pytest.approx(0.08**2 + 0.03**2)
    assert 0.9 < unread_correlation(variances[1]) < 1


def test_a_sign_that_is_known_for_certain_goes_with_no_reading():
    nothing = state(0.0, 0.0, 0.0)
    assert reading_correlation(nothing, np.array([0.0, 5.0]), 0.0).tolist() == [[0.0, 0.0]]


def test_the_weights_fall_from_class_to_class_and_are_looked_up():
    assert DecisionWeights().of(np.array([4, 1, 2, 3])).tolist() == [1.0, 8.0, 4.0, 2.0]
    assert sorted(CLASS_WEIGHTS.values(), reverse=True) == list(CLASS_WEIGHTS.values())


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: one(1.2, 0.5), "A probability is 1.2"),
        (lambda: one(0.2, 1.5), "A correlation is 1.5"),
        (lambda: one(0.2, 0.5, due=0.0), "The due probability is 0"),
        (
            lambda: value_of_reading(np.zeros(1), np.zeros(2), due_probability=0.2),
            "give the same",
        ),
        (lambda: ReadingNoise(-0.1), "residual_sd is -0.1"),
        (lambda: ReadingNoise(0.1, reading_count=0), "A visit of 0 readings"),
        (
            lambda: reading_correlation(state(-1.0, 0.0, 0.0), np.zeros(1), 0.01),
            "is negative",
        ),
        (lambda: decisions_of(fitted(), levels=np.array([0.0])), "A level is 0"),
        (lambda: decisions_of(fitted(), levels=np.ones(2)), "give one of each"),
        (lambda: DecisionWeights({1: 8.0, 2: 0.0, 3: 1.0, 4: 1.0}), "Class 2 weighs 0"),
        (lambda: DecisionWeights().of(np.array([5])), "5 is none of them"),
    ],
)
def test_what_is_out_of_bounds_is_said_with_the_value(call, words):
    with pytest.raises(OutOfRangeError, match=words):
        call()
