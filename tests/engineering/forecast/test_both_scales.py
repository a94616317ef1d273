"""
Cohorts whose readings do not tell the scale: forecasts are of both, whichever is true.

Fleets are made up from fixed seeds with invented figures: 60 signs of 270 cd/lx/m² when new,
falling 5.5 % of that a year, along straight lines of R_A or of its logarithm, read four times
in ten years. No published fleet of that kind with its truth is known.
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ndtr

from inventory.engineering.forecast.backtest import Rival, ToldRow, roll, total
from inventory.engineering.forecast.both_scales import (
    bare,
    counts_of_cohort,
    fit_again,
    forecast_of_cohort,
    sign_told,
    sums_on_each,
)
from inventory.engineering.forecast.choose import choose_cohort_model
from inventory.engineering.forecast.fit import (
    CohortFit,
    OtherScale,
    Scale,
    cohort_curve,
    fit_cohort,
)
from inventory.engineering.forecast.fleet_counts import due_counts
from inventory.engineering.forecast.life import expected_life
from inventory.engineering.forecast.predict import forecast_signs
from inventory.engineering.forecast.shapes import LINEAR
from inventory.engineering.forecast.told import Told, ToldOnBoth
from tests.engineering.forecast.fleets import small_history

SMALL = small_history("straight", seed=3)
SEEN = SMALL.observations
LOG, PLAIN = (fit_cohort(SEEN, scale=scale, shape=LINEAR) for scale in Scale)
BOTH = replace(LOG, other=OtherScale(PLAIN, 0.4))
KNOWN: dict[str, Any] = {
    "lot": SEEN.lot,
    "is_age_known": SEEN.is_age_known,
    "age_now_years": 12.0 - SMALL.started_years,
    "level_cd_lx_m2": np.full(SEEN.sign_count, 60.0),
}
ON_BOTH = forecast_of_cohort(BOTH, sums_on_each(BOTH, SEEN), due_probability=0.3, **KNOWN)
SUMS = sums_on_each(BOTH, SEEN)
ON_EACH = [
    forecast_signs(fit, sums, due_probability=0.3, **KNOWN)
    for fit, sums in zip((LOG, PLAIN), SUMS, strict=True)
]


@pytest.mark.parametrize("truth", ["straight", "log"])
def test_back_tests_of_small_cohorts_hold_nine_of_ten_whichever_scale_is_true(truth):
    rows: list[ToldRow] = []
    for seed in range(4):
        for _at, told in roll(
            small_history(truth, seed=seed),
            (5, 8),
            model=lambda known: choose_cohort_model(known).fit,
        ):
            rows += told
    tally = total(rows, Rival.FORECAST)
    assert tally.count > 350
    assert 0.85 <= tally.coverage.share <= 0.95


def test_the_logarithm_alone_is_too_narrow_where_lines_of_ra_are_true():
    rows: list[ToldRow] = []
    for seed in range(4):
        for _at, told in roll(
            small_history("straight", seed=seed),
            (5, 8),
            model=lambda known: fit_cohort(known, scale=Scale.LOG, shape=LINEAR),
        ):
            rows += told
    assert total(rows, Rival.FORECAST).coverage.share < 0.75


def test_few_readings_leave_the_scale_open_and_say_so():
    chosen = choose_cohort_model(SEEN)
    assert chosen.fit.other is not None
    assert (chosen.fit.other.fit.scale, chosen.fit.other.weight) == (Scale.PLAIN, 0.5)
    assert "Forecasts allow for both alike." in chosen.reason


def test_a_probability_is_that_of_either_scale_by_its_weight():
    for name in ("probability_below", "probability_crossed"):
        log, plain = (getattr(each, name) for each in ON_EACH)
        expected = 0.6 * log.astype(float) + 0.4 * plain.astype(float)
        assert getattr(ON_BOTH, name) == pytest.approx(expected, abs=1e-6)


def test_what_is_told_lies_between_the_two_scales():
    for name in ("ra_cd_lx_m2", "due_years", "due_low_years", "due_high_years"):
        values = [getattr(each, name) for each in ON_EACH]
        low, high = np.minimum(*values), np.maximum(*values)
        found = getattr(ON_BOTH, name)
        assert (found >= low - 1e-6).all()
        assert (found <= high + 1e-6).all()
    assert ON_BOTH.level == pytest.approx(ON_EACH[0].level)


def test_the_range_of_either_law_holds_what_it_says():
    log = Told(np.log([100.0, 90.0]), np.array([0.2, 0.05]), is_log=True)
    plain = Told(np.array([60.0, 88.0]), np.array([15.0, 9.0]), is_log=False)
    either = ToldOnBoth(log, plain, 0.3)
    for share, found in ((0.05, either.low_cd_lx_m2), (0.95, either.high_cd_lx_m2)):
        by_hand = 0.7 * ndtr((np.log(found) - log.mean) / log.sd) + 0.3 * ndtr(
            (found - plain.mean) / plain.sd
        )
        assert by_hand == pytest.approx([share, share], abs=1e-9)


@pytest.mark.parametrize("seen", [20.0, 75.0, 140.0])
def test_the_score_of_either_law_is_the_integral_that_defines_it(seen):
    log = Told(np.log([100.0]), np.array([0.2]), is_log=True)
    plain = Told(np.array([60.0]), np.array([25.0]), is_log=False)
    either = ToldOnBoth(log, plain, 0.3)

    def below(value):
        return float(either.below(np.array([value]))[0])

    integral = (
        quad(lambda v: below(v) ** 2, -120.0, 0.0)[0]
        + quad(lambda v: below(v) ** 2, 0.0, seen, limit=200)[0]
        + quad(lambda v: (1 - below(v)) ** 2, seen, 400.0, limit=200)[0]
    )
    assert either.crps(np.array([seen])) == pytest.approx([integral], rel=1e-5)


def test_a_stored_fit_of_both_scales_tells_the_same():
    stored = CohortFit.from_json(BOTH.to_json())
    assert stored.other is not None
    again = bare(fit_again(stored, SEEN, session_sd=0.08))
    assert again.grams is None
    assert again.other is not None
    assert again.other.fit.grams is None
    found = forecast_of_cohort(again, sums_on_each(again, SEEN), due_probability=0.3, **KNOWN)
    assert found.due_years == pytest.approx(ON_BOTH.due_years, rel=1e-4)


def test_a_signs_curve_passes_through_what_is_forecast_of_it():
    for sign in (0, 17):
        told = sign_told(
            BOTH,
            [part.state_of(sign) for part in ON_BOTH.parts],
            age_now_years=float(KNOWN["age_now_years"][sign]),
            is_age_known=True,
            ages_years=KNOWN["age_now_years"][sign : sign + 1],
        )
        assert told.quantile(0.5)[0] == pytest.approx(ON_BOTH.ra_cd_lx_m2[sign])
        assert told.low_cd_lx_m2[0] == pytest.approx(ON_BOTH.ra_low_cd_lx_m2[sign])
        assert told.high_cd_lx_m2[0] == pytest.approx(ON_BOTH.ra_high_cd_lx_m2[sign])


def test_a_cohorts_line_and_life_lie_between_those_of_the_scales():
    ages = np.array([0.0, 6.0, 14.0])
    curves = [cohort_curve(each, ages) for each in (LOG, PLAIN, BOTH)]
    for name in ("median", "signs_low", "signs_high"):
        log, plain, both = (getattr(each, name) for each in curves)
        assert (both >= np.minimum(log, plain) - 1e-6).all()
        assert (both <= np.maximum(log, plain) + 1e-6).all()
    of_log, of_plain, of_both = (
        [
            np.inf if each is None else each
            for each in (life.low_years, life.years, life.high_years)
        ]
        for life in (expected_life(fit, 60.0).median for fit in (LOG, PLAIN, BOTH))
    )
    assert of_plain[1] < of_both[1] < of_log[1]
    assert of_both[0] <= of_plain[1]
    assert of_both[2] >= of_log[1]


def test_numbers_due_are_less_sure_for_not_knowing_the_scale():
    known = {"safety_class": np.ones(SEEN.sign_count, dtype=int)} | KNOWN
    log, plain = (
        due_counts(fit, told, sums, **known)
        for fit, told, sums in zip((LOG, PLAIN), ON_EACH, SUMS, strict=True)
    )
    both = counts_of_cohort(BOTH, ON_BOTH, SUMS, **known)
    assert both.expected == pytest.approx(0.6 * log.expected + 0.4 * plain.expected, abs=1e-5)
    apart = 0.24 * (log.expected - plain.expected) ** 2
    assert both.sd**2 == pytest.approx(0.6 * log.sd**2 + 0.4 * plain.sd**2 + apart, rel=1e-4)
