"""What control signs say of the signs they stand for."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from inventory.engineering.inspection.tolerance import (
    lower_tolerance_limit,
    one_sided_tolerance_factor,
)
from inventory.errors import OutOfRangeError


def test_the_factor_is_that_of_the_handbooks_sample():
    # NIST/SEMATECH e-Handbook 7.2.6.3: n = 43, 90 % content, 99 % confidence. The handbook's
    # closed-form approximation gives k1 = 1.87519 (read in a published worksheet that cites
    # it); the exact factor is 1.87395 (recomputed, not printed).
    exact = one_sided_tolerance_factor(43, 0.90, 0.99)
    assert exact == pytest.approx(1.87395, abs=5e-6)
    z_content, z_confidence = float(stats.norm.ppf(0.90)), float(stats.norm.ppf(0.99))
    a = 1 - z_confidence**2 / (2 * 42)
    b = z_content**2 - z_confidence**2 / 43
    approximate = (z_content + math.sqrt(z_content**2 - a * b)) / a
    assert approximate == pytest.approx(1.87519, abs=5e-6)
    assert exact == pytest.approx(approximate, rel=1e-3)  # the approximation's own error


def test_the_lower_limit_is_that_of_the_handbooks_sample():
    # The same section: mean 97.07, s 0.0268; lower limit 97.019745 by the approximation. The
    # exact factor moves it by 0.0268 × 0.00124 = 0.00003.
    base = np.linspace(-1, 1, 43)
    values = 97.07 + 0.0268 * base / base.std(ddof=1)
    limit = lower_tolerance_limit(list(values), content=0.90, confidence=0.99)
    assert (limit.mean, limit.standard_deviation) == pytest.approx((97.07, 0.0268))
    assert limit.limit == pytest.approx(97.019745, abs=5e-5)


def test_a_tabled_factor_for_a_small_sample():
    # ISO 16269-6:2014 table for unknown mean and deviation, one-sided, n = 5, p = 0.90,
    # confidence 0.95: k = 3.407 (from memory).
    assert one_sided_tolerance_factor(5, 0.90, 0.95) == pytest.approx(3.407, abs=1e-3)


def test_the_statement_holds_as_often_as_it_says():
    rng = np.random.default_rng(20261125)
    samples = rng.normal(100.0, 15.0, size=(20_000, 6))
    factor = one_sided_tolerance_factor(6, 0.90, 0.95)
    limits = samples.mean(axis=1) - factor * samples.std(axis=1, ddof=1)
    held = np.mean(limits <= stats.norm(100.0, 15.0).ppf(0.10))
    # Binomial: 0.95 with a standard error of 0.0015; four of them.
    assert held == pytest.approx(0.95, abs=0.0062)


@given(
    st.lists(st.floats(1, 900), min_size=3, max_size=12),
    st.floats(0.5, 0.95),
    st.floats(0.55, 0.95),
)
def test_asking_for_more_never_raises_the_limit(values, content, confidence):
    plain = lower_tolerance_limit(values, content=content, confidence=confidence)
    more_content = lower_tolerance_limit(values, content=content + 0.04, confidence=confidence)
    more_sure = lower_tolerance_limit(values, content=content, confidence=confidence + 0.04)
    assert more_content.limit <= plain.limit + 1e-9
    assert more_sure.limit <= plain.limit + 1e-9


@pytest.mark.parametrize("count", [0, 1])
def test_one_control_sign_says_nothing_of_the_others(count):
    with pytest.raises(OutOfRangeError, match="needs 2 values or more"):
        lower_tolerance_limit([300.0] * count)


@pytest.mark.parametrize(("content", "confidence"), [(0, 0.9), (1, 0.9), (0.9, 0), (0.9, 1.0)])
def test_a_share_is_between_none_and_all(content, confidence):
    with pytest.raises(OutOfRangeError, match="share over 0 and under 1"):
        one_sided_tolerance_factor(5, content, confidence)
