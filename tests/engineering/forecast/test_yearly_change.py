"""The yearly change of a cohort, as its pages print it."""

import numpy as np
import pytest

from inventory.engineering.forecast.fit import Scale, fit_cohort
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.shapes import LINEAR, AgeShape
from inventory.engineering.forecast.yearly_change import yearly_change

SIGNS = 300


def fleet(truth, noise=0.05):
    """Signs read three times, two years apart, on a fleet of 0 to 12 years."""
    rng = np.random.default_rng(11)
    sign = np.repeat(np.arange(SIGNS), 3)
    age = np.repeat(rng.uniform(0, 8, SIGNS), 3) + np.tile([0.0, 2.0, 4.0], SIGNS)
    ra = truth(age) * np.exp(rng.normal(0, noise, len(age)))
    return Observations.plain(sign, age, ra)


@pytest.mark.parametrize("scale", list(Scale))
def test_a_fleet_that_loses_4_percent_a_year_says_so_on_either_scale(scale):
    found = yearly_change(
        fit_cohort(fleet(lambda age: 270 * 0.96**age), scale=scale, shape=LINEAR)
    )
    assert found.low < found.share < found.high
    # A straight line through a decline of 4 % is within half a per cent of it at its middle.
    assert found.share == pytest.approx(-0.04, abs=0.005)
    assert found.ra_cd_lx_m2 < 0


def test_a_curve_gives_the_mean_between_its_ends():
    def slow_then_fast(age):
        return 270 * np.exp(-0.004 * age**2)

    visits = fleet(slow_then_fast, noise=0.02)
    shape = AgeShape.curved(visits.age_years)
    found = yearly_change(fit_cohort(visits, scale=Scale.LOG, shape=shape))
    # ln R_A falls by 0.004 · 12² = 0.576 in 12 years: 4.7 % a year on average.
    assert found.to_years == pytest.approx(12, abs=0.2)
    assert found.share == pytest.approx(np.expm1(-0.004 * found.to_years), abs=0.004)


def test_a_fleet_read_within_its_first_months_is_spread_over_a_year():
    young = Observations.plain([0, 1, 2], [0.1, 0.2, 0.3], [260.0, 270.0, 255.0])
    found = yearly_change(fit_cohort(young, scale=Scale.LOG, shape=LINEAR))
    assert found.to_years == 1.0
    # Nothing to go by but the stated prior: −3 % ± 5 % a year.
    assert found.low < -0.06
    assert found.high > 0.0
