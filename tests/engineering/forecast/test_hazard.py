"""Losses: against lifelines, published examples, and arithmetic by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from lifelines.utils import median_survival_times

from inventory.engineering.forecast.hazard import (
    kaplan_meier,
    loss_rate,
    share_left_of,
    watched_from,
    yearly_share,
)
from inventory.engineering.standards.loss_rates import published_losses
from inventory.errors import OutOfRangeError


def watched(seed, faces=400):
    """Faces most of which came on record at some age, then lost or taken down (invented)."""
    draw = np.random.default_rng(seed)
    entry = np.where(draw.random(faces) < 0.3, 0.0, draw.uniform(0, 8, faces))
    lost_after = draw.exponential(12.0, faces)
    left_after = draw.uniform(0.2, 15, faces)
    leave = entry + np.minimum(lost_after, left_after)
    return entry, leave, lost_after <= left_after


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_curve_is_that_of_lifelines_with_late_entry(seed):
    entry, leave, lost = watched(seed)
    ours = kaplan_meier(entry, leave, lost)
    theirs = KaplanMeierFitter(alpha=0.05)
    theirs.fit(leave, lost, entry=entry)
    np.testing.assert_allclose(
        ours.share_left,
        theirs.survival_function_at_times(ours.ages_years).to_numpy(),
        rtol=1e-12,
    )
    bounds = theirs.confidence_interval_survival_function_.loc[ours.ages_years].to_numpy()
    some_left = ours.share_left > 0  # where none are, lifelines lets the upper bound be 0
    np.testing.assert_allclose(ours.low[some_left], bounds[some_left, 0], rtol=1e-9)
    np.testing.assert_allclose(ours.high[some_left], bounds[some_left, 1], rtol=1e-9)
    median = ours.quantile(0.5)
    assert median.years == pytest.approx(theirs.median_survival_time_, rel=1e-12)
    low, high = median_survival_times(theirs.confidence_interval_).to_numpy()[0]
    assert median.low_years == pytest.approx(low, rel=1e-12)
    assert median.high_years == (None if np.isinf(high) else pytest.approx(high, rel=1e-12))


def test_several_lost_on_one_day_are_lost_together_as_by_hand():
    # At 2: two of four; at 5: one of two. Greenwood at 2: 2/(4·2) = 0.25;
    # log(−log) scale: 0.5 ** exp(±1.959964 · 0.5 / 0.693147).
    curve = kaplan_meier([0, 0, 0, 0], [2, 2, 5, 7], [True, True, True, False])
    assert curve.share_left.tolist() == [0.5, 0.25]
    wide = np.exp(1.959963984540054 * 0.5 / np.log(2))
    assert curve.low[0] == pytest.approx(0.5**wide)
    assert curve.high[0] == pytest.approx(0.5 ** (1 / wide))


def test_a_face_that_came_on_record_that_day_was_not_watched_when_another_was_lost():
    # Common practice, no source: watched from after its entry on.
    curve = kaplan_meier([0, 0, 3], [3, 6, 6], [True, False, False])
    assert curve.at_risk.tolist() == [2]


def test_what_was_lost_before_the_list_began_would_be_missed_without_late_entry():
    """Constant loss, every face listed at some age: the naive curve is too good."""
    draw = np.random.default_rng(11)
    lived = draw.exponential(10.0, 40_000)
    entry = draw.uniform(0, 15, len(lived))
    on_record = lived > entry
    entry, lived = entry[on_record], lived[on_record]
    leave = np.minimum(lived, entry + 5)
    lost = lived <= entry + 5
    honest = kaplan_meier(entry, leave, lost).share_left_at(10.0)[0]
    naive = kaplan_meier(np.zeros_like(entry), leave, lost).share_left_at(10.0)[0]
    assert honest == pytest.approx(np.exp(-1), abs=0.02)
    assert naive > 0.55


def test_where_all_that_were_watched_are_lost_the_upper_bound_stays():
    curve = kaplan_meier([0, 0], [1, 2], [True, True])
    assert curve.share_left.tolist() == [0.5, 0.0]
    assert curve.low[1] == 0
    assert curve.high[1] == curve.high[0]


def test_without_a_loss_nothing_is_said_of_a_median():
    curve = kaplan_meier([0, 1], [4, 9], [False, False])
    assert curve.event_count == 0
    assert curve.quantile(0.5).years is None
    assert curve.share_left_at(5.0) == (1.0, 1.0, 1.0)
    with pytest.raises(OutOfRangeError, match=r"nothing is known of 9\.5"):
        curve.share_left_at(9.5)


def test_the_curve_begins_where_enough_are_watched():
    assert watched_from([0, 2, 3], [1, 9, 9], least=2) == 3
    assert watched_from([0, 2, 3], [1, 9, 9], least=3) is None


@pytest.mark.parametrize(
    ("entry", "leave", "words"),
    [
        ([0.0], [0.0], "ends later"),
        ([-1.0], [2.0], "begins at 0"),
        ([0.0], [101.0], "by 100 at most"),
        ([], [], "one face or more"),
    ],
)
def test_ages_that_cannot_be_are_refused(entry, leave, words):
    with pytest.raises(OutOfRangeError, match=words):
        kaplan_meier(entry, leave, [True] * len(entry))


# NCHRP Synthesis 431 p. 18 and TRID 809542, as collected with their sources in the reference
# set (worked examples B1 to B4): inputs read there, results worked out.
def test_a_third_left_after_16_years_is_6_6_percent_a_year():
    third = next(row for row in published_losses() if row.is_worked_out)
    assert third.yearly_share == pytest.approx(0.06636, abs=5e-6)
    assert -np.log1p(-third.yearly_share) == pytest.approx(0.06866, abs=5e-6)
    assert yearly_share(0.06866) == pytest.approx(0.06636, abs=5e-6)


@pytest.mark.parametrize(
    ("yearly", "years", "left"),
    [
        (0.0237, 10, 0.7867),
        (0.0237, 12, 0.7499),
        (0.0237, 15, 0.6978),
        (0.047, 10, 0.6179),
        (0.047, 16, 0.4629),
        (0.10, 10, 0.3487),
    ],
)
def test_published_yearly_losses_leave_the_published_shares(yearly, years, left):
    assert share_left_of(yearly, years) == pytest.approx(left, abs=5e-5)
    assert yearly in {row.yearly_share for row in published_losses()}


def test_published_losses_keep_their_source_and_mark():
    assert all(row.source and row.is_verified for row in published_losses())


@pytest.mark.parametrize(
    ("lost", "low", "high"),
    # Exact 95 % limits of a Poisson count (Garwood's table, from memory).
    [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390)],
)
def test_the_bounds_of_a_rate_are_the_exact_ones(lost, low, high):
    rate = loss_rate(lost, 100.0)
    assert rate.per_year == lost / 100
    assert rate.low_per_year == pytest.approx(low / 100, abs=6e-6)
    assert rate.high_per_year == pytest.approx(high / 100, abs=6e-6)


def test_no_time_watched_is_no_rate():
    assert loss_rate(0, 0.0).per_year is None
    assert loss_rate(0, 0.0).share_left(5) is None
    with pytest.raises(OutOfRangeError, match="no rate"):
        loss_rate(1, 0.0)


@given(lost=st.integers(0, 2_000), years=st.floats(0.5, 1e6))
def test_a_rate_lies_within_its_bounds(lost, years):
    rate = loss_rate(lost, years)
    assert rate.per_year is not None
    assert rate.low_per_year is not None
    assert rate.high_per_year is not None
    assert rate.low_per_year <= rate.per_year <= rate.high_per_year
