"""Lines and curves of age."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.forecast.shapes import LINEAR, AgeShape
from inventory.errors import OutOfRangeError

CURVE = AgeShape((1.0, 4.0, 7.0, 10.0))
ages = st.floats(0, 30).map(lambda age: np.array([age]))


def test_a_curve_is_straight_before_its_first_and_after_its_last_knot():
    # The defining property of a restricted cubic spline.
    for start in (0.0, 10.0):
        at = CURVE.basis(np.array([start, start + 0.5, start + 1.0]))
        assert at[0] - 2 * at[1] + at[2] == pytest.approx(np.zeros(4), abs=1e-12)


@given(ages)
def test_the_slope_is_the_derivative_of_the_basis(age):
    step = 1e-4
    difference = (CURVE.basis(age + step) - CURVE.basis(age - step)) / (2 * step)
    assert CURVE.slope_basis(age) == pytest.approx(difference, abs=1e-5)
    assert LINEAR.slope_basis(age).tolist() == [[0.0, 1.0]]


def test_a_cohort_read_at_one_age_has_no_curve():
    for ages_read in (np.full(50, 3.0), np.array([])):
        with pytest.raises(OutOfRangeError, match="four ages"):
            AgeShape.curved(ages_read)
