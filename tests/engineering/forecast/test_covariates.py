"""Facing and district: what differs is found, and what is not known is the average."""

from dataclasses import replace

import numpy as np
import pytest

from inventory.engineering.forecast.covariates import MOST_DISTRICTS, NONE, Covariates
from inventory.engineering.forecast.fit import CohortFit, Scale, cohort_curve, fit_cohort
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.predict import forecast_signs
from inventory.engineering.forecast.shapes import LINEAR
from tests.engineering.forecast.fleets import SLOPE, simulated

FACING = Covariates(uses_quadrant=True)
DIFFERENCE = np.array([0.012, 0.0, -0.012, 0.0])  # a year, facing north, east, south, west


def sunny_fleet():
    observations, _level, _slope = simulated(71, 800)
    quadrant = np.random.default_rng(71).integers(0, 4, 800)
    more = np.exp(DIFFERENCE[quadrant][observations.sign] * observations.age_years)
    return replace(observations, quadrant=quadrant, ra_cd_lx_m2=observations.ra_cd_lx_m2 * more)


FLEET = sunny_fleet()
FIT = fit_cohort(FLEET, scale=Scale.LOG, shape=LINEAR, covariates=FACING)


def change_of(fit, quadrant):
    """Return the yearly change of an unread sign by its facing."""
    number = len(quadrant)
    unread = replace(
        Observations.plain([], [], [], lot=np.full(number, -1)),
        quadrant=np.array(quadrant),
    )
    return forecast_signs(
        fit,
        fit.sums_of(unread),
        lot=unread.lot,
        is_age_known=unread.is_age_known,
        age_now_years=np.full(number, 5.0),
        level_cd_lx_m2=np.full(number, 100.0),
        due_probability=0.2,
        quadrant=unread.quadrant,
    )


def test_each_facing_gets_back_the_change_it_was_made_with():
    found = change_of(FIT, [0, 1, 2, 3, -1])
    assert found.slope[:4] == pytest.approx(SLOPE + DIFFERENCE, abs=0.004)
    assert found.slope[4] == pytest.approx(found.slope[:4].mean(), abs=1e-9)
    assert found.slope[4] == pytest.approx(FIT.coefficients[1], abs=1e-12)
    # The differences are away from where the sign starts: none at age 0.
    assert found.level - 5.0 * found.slope == pytest.approx(FIT.coefficients[0], abs=1e-9)
    # A sign that faces south is due before one that faces north.
    assert found.due_years[2] < found.due_years[4] < found.due_years[0]


def test_the_order_of_facings_does_not_matter():
    turned = replace(FLEET, quadrant=(FLEET.quadrant + 1) % 4)
    other = fit_cohort(turned, scale=Scale.LOG, shape=LINEAR, covariates=FACING)
    assert other.solution.log_likelihood == pytest.approx(FIT.solution.log_likelihood)
    assert change_of(other, [1, 2, 3, 0]).slope == pytest.approx(
        change_of(FIT, [0, 1, 2, 3]).slope, abs=1e-5
    )


def test_a_stored_fit_keeps_its_differences_and_the_curve_is_of_the_average():
    stored = CohortFit.from_json(FIT.to_json())
    assert stored.covariates.uses_quadrant
    assert change_of(stored, [0, 2]).slope.tolist() == change_of(FIT, [0, 2]).slope.tolist()
    ages = np.array([0.0, 10.0])
    line = np.exp(FIT.coefficients[0] + ages * FIT.coefficients[1])
    assert cohort_curve(stored, ages).median == pytest.approx(line)


def test_only_districts_with_thirty_signs_stand_alone_and_the_largest_of_many():
    sizes = {number: 30 + number for number in range(MOST_DISTRICTS + 3)}
    district = np.repeat(list(sizes), list(sizes.values()))
    kept = Covariates.of_districts(district).districts
    assert kept.tolist() == list(range(3, MOST_DISTRICTS + 3))
    assert not Covariates.of_districts(np.repeat([4, 5], [500, 29])).uses_district
    both = Covariates.of_districts(np.repeat([2, 9], [30, 30]), uses_quadrant=True)
    assert both.column_count == 4
    assert both.contrasts(np.array([-1]), np.array([7])).tolist() == [[0.0] * 4]
    group, contrasts = both.groups(np.array([0, 0, 1, -1]), np.array([2, 9, 7, -1]))
    assert (
        contrasts[group].tolist()
        == both.contrasts(np.array([0, 0, 1, -1]), np.array([2, 9, 7, -1])).tolist()
    )
    assert len(contrasts) == 4
    assert NONE.column_count == 0
