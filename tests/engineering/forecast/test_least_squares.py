"""The least-squares core against certified figures."""

from pathlib import Path

import numpy as np
import pytest

from inventory.engineering.forecast.least_squares import fit_least_squares
from inventory.errors import OutOfRangeError

NORRIS = np.loadtxt(
    Path(__file__).with_name("nist_strd_norris.csv"), delimiter=",", skiprows=1, unpack=True
)
NINE_DIGITS = 1e-9


def test_the_line_of_norris_has_the_certified_figures():
    # NIST Statistical Reference Datasets, linear regression, Norris: 36 observations and the
    # certified values.
    x, y = NORRIS
    fit = fit_least_squares(np.stack([np.ones(len(x)), x], 1), y)
    assert fit.coefficients == pytest.approx(
        [-0.262323073774029, 1.00211681802045], rel=NINE_DIGITS
    )
    assert fit.standard_deviations == pytest.approx(
        [0.232818234301152, 0.429796848199937e-03], rel=NINE_DIGITS
    )
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=NINE_DIGITS)
    assert fit.r_squared == pytest.approx(0.999993745883712, rel=NINE_DIGITS)
    assert fit.dof == 34


def test_a_doubled_weight_is_the_observation_twice():
    x, y = NORRIS
    design = np.stack([np.ones(len(x)), x], 1)
    weights = np.where(np.arange(len(x)) == 5, 2.0, 1.0)
    twice = np.append(np.arange(len(x)), 5)
    weighted = fit_least_squares(design, y, weights)
    assert weighted.coefficients == pytest.approx(
        fit_least_squares(design[twice], y[twice]).coefficients, rel=1e-9
    )


def test_readings_at_one_age_make_no_line():
    with pytest.raises(OutOfRangeError, match="two ages or more"):
        fit_least_squares(np.ones((5, 2)), np.arange(5.0))
    with pytest.raises(OutOfRangeError, match="3 are needed"):
        fit_least_squares(np.eye(2), np.arange(2.0))
