"""A drawing shows an even draw of the readings, and says how many there were."""

import numpy as np

from inventory.engineering.forecast.cloud import MOST_POINTS, Cloud, cloud_of
from inventory.engineering.forecast.observations import Observations


def visits_of(number, **parts):
    rng = np.random.default_rng(5)
    return Observations.plain(
        np.arange(number), rng.uniform(0, 12, number), rng.uniform(50, 300, number), **parts
    )


def test_few_readings_are_all_drawn():
    cloud = cloud_of(visits_of(400))
    assert (len(cloud.ages_years), cloud.known_age_count, cloud.is_thinned) == (400, 400, False)


def test_many_readings_are_thinned_evenly_and_always_alike():
    visits = visits_of(40_000)
    cloud = cloud_of(visits)
    assert (len(cloud.ages_years), cloud.known_age_count) == (MOST_POINTS, 40_000)
    assert cloud.is_thinned
    assert cloud == cloud_of(visits)
    # 3,000 of 40,000 with a mean age of 6 ± 3.46: five standard errors of their mean are 0.32.
    assert abs(np.mean(cloud.ages_years) - visits.age_years.mean()) < 0.32


def test_a_sign_of_unknown_age_has_no_place_in_the_drawing_but_is_counted():
    cloud = cloud_of(visits_of(10, is_age_known=np.arange(10) < 7))
    assert (len(cloud.ages_years), cloud.known_age_count, cloud.visit_count) == (7, 7, 10)


def test_an_earlier_fit_keeps_no_drawing():
    assert Cloud.from_json({}) == Cloud((), (), 0, 0)
