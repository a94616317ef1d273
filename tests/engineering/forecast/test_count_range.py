"""Within which whole numbers a count of signs will lie."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.engineering.forecast.count_range import count_range
from inventory.errors import OutOfRangeError


def share_within(counts, low, high):
    return np.mean((counts >= low) & (counts <= high))


def test_signs_that_fall_below_each_by_itself_are_counted_within_the_range():
    # Checked against 40,000 draws of 300 signs with probabilities of their own.
    random = np.random.default_rng(11)
    probability = random.beta(0.5, 4.0, 300)
    counts = (random.random((40_000, 300)) < probability).sum(axis=1)
    low, high = count_range(probability.sum(), (probability * (1 - probability)).sum())
    assert 0.90 <= share_within(counts, low, high) <= 0.94
    assert share_within(counts, low + 1, high - 1) < 0.90


def test_an_uncertainty_that_all_signs_share_widens_the_range_as_much_as_it_should():
    # The expected number itself is drawn first: log-normal about 40 with a spread of 12.
    random = np.random.default_rng(12)
    spread = np.sqrt(np.log1p((12 / 40) ** 2))
    expected = 40 * np.exp(spread * random.standard_normal(40_000) - spread**2 / 2)
    counts = random.poisson(expected)
    low, high = count_range(40.0, 40.0 + 12.0**2)
    assert 0.88 <= share_within(counts, low, high) <= 0.93


def test_a_tenth_of_a_sign_a_year_is_none_or_one():
    assert count_range(0.1, 0.09) == (0, 1)


def test_certain_signs_have_no_range():
    assert count_range(0.0, 0.0) == (0, 0)
    assert count_range(7.0, 0.0) == (7, 7)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.01, 5_000),
    st.floats(0.05, 40),
)
def test_the_expected_count_lies_within_a_sign_of_its_range(mean, ratio):
    low, high = count_range(mean, mean * ratio)
    assert 0 <= low <= mean + 1
    assert high >= low
    assert high >= mean - 1 or ratio > 10


@pytest.mark.parametrize(
    ("mean", "variance", "share"),
    [(-0.1, 1.0, 0.9), (1.0, -0.1, 0.9), (float("nan"), 1.0, 0.9), (1.0, 1.0, 1.0)],
)
def test_what_is_no_count_is_refused(mean, variance, share):
    with pytest.raises(OutOfRangeError):
        count_range(mean, variance, share)
