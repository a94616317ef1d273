"""Scores of forecasts: against numerical integration, scipy, and cases worked by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import binomtest, lognorm, norm

from inventory.engineering.forecast.scores import (
    brier,
    brier_parts,
    crps_log_normal,
    crps_normal,
    exact_share,
    tenths,
)
from inventory.errors import OutOfRangeError

middles = st.floats(-2, 6)
spreads = st.floats(0.05, 1.5)


def integrated(law, seen):
    """Return the CRPS by its definition: the integral of (F − 1[x ≥ seen])²."""
    low, high = law.ppf(1e-12), law.ppf(1 - 1e-12)
    below = quad(lambda x: law.cdf(x) ** 2, min(low, seen), seen, limit=400)[0]
    above = quad(lambda x: law.sf(x) ** 2, seen, max(high, seen), limit=400)[0]
    return below + above


@given(middles, spreads, st.floats(-4, 4))
@settings(max_examples=25)
def test_the_score_of_a_normal_is_the_integral_that_defines_it(mean, sd, z):
    seen = mean + z * sd
    found = crps_normal(np.array([mean]), np.array([sd]), np.array([seen]))[0]
    assert found == pytest.approx(integrated(norm(mean, sd), seen), rel=1e-6)


@given(middles, spreads, st.floats(-3, 3))
@settings(max_examples=25)
def test_the_score_of_a_log_normal_is_the_integral_that_defines_it(mean, sd, z):
    seen = np.exp(mean + z * sd)
    found = crps_log_normal(np.array([mean]), np.array([sd]), np.array([seen]))[0]
    law = lognorm(sd, scale=np.exp(mean))
    assert found == pytest.approx(integrated(law, seen), rel=1e-5)


def test_a_forecast_that_is_sure_is_scored_by_its_distance():
    sure, seen = np.array([1e-9]), np.array([230.0])
    assert crps_normal(np.array([250.0]), sure, seen)[0] == pytest.approx(20.0)
    assert crps_log_normal(np.log([250.0]), sure, seen)[0] == pytest.approx(20.0, rel=1e-6)


@given(st.floats(0.5, 2.0), st.floats(-1, 1))
@settings(max_examples=20)
def test_the_true_law_scores_best_on_average(factor, shift):
    # A proper score: 4,000 draws of the true law, compared on the same draws; a wrong law may
    # win by chance alone, so by no more than three standard errors of the difference.
    seen = np.random.default_rng(3).normal(0, 1, 4_000)
    one = np.ones(len(seen))
    excess = crps_normal(shift * one, factor * one, seen) - crps_normal(0 * one, one, seen)
    assert excess.mean() > -3 * excess.std() / np.sqrt(len(seen))


@pytest.mark.parametrize(("count", "of"), [(0, 7), (7, 7), (90, 100), (1, 2), (1118, 1240)])
def test_bounds_of_a_share_are_scipys_exact_ones(count, of):
    # scipy.stats.binomtest(...).proportion_ci("exact"): Clopper and Pearson.
    peer = binomtest(count, of).proportion_ci(0.95, "exact")
    found = exact_share(count, of)
    assert (found.low, found.high) == pytest.approx((peer.low, peer.high), abs=1e-12)


@pytest.mark.parametrize(("count", "of"), [(0, 0), (-1, 5), (6, 5)])
def test_what_is_no_share_is_refused(count, of):
    with pytest.raises(OutOfRangeError, match=f"{count} of {of} is no share"):
        exact_share(count, of)


@given(st.lists(st.tuples(st.floats(0, 1), st.booleans()), min_size=1, max_size=60))
def test_the_parts_of_a_brier_score_add_up(cases):
    said = np.array([each for each, _came in cases])
    came = np.array([float(each) for _said, each in cases])
    parts = brier_parts(said, came)
    whole = parts.reliability - parts.resolution + parts.uncertainty + parts.within
    assert whole == pytest.approx(parts.score, abs=1e-12)
    assert parts.score == pytest.approx(brier(said, came).mean())


def test_within_is_nothing_where_each_tenth_says_one_thing():
    # Murphy's three parts are exact when all forecasts of a group are the same.
    said, came = np.repeat([0.15, 0.65], 20), np.tile([1.0, 0.0, 0.0, 0.0], 10)
    assert brier_parts(said, came).within == pytest.approx(0.0, abs=1e-12)


def test_no_forecast_has_no_score():
    with pytest.raises(OutOfRangeError, match="no forecast to score"):
        brier_parts(np.array([]), np.array([]))


def test_each_tenth_holds_its_lower_end():
    assert tenths(np.arange(10) / 10).tolist() == [1] * 10
