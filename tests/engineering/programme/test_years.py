"""Forecasts, due days and new faces brought to programme years."""

from datetime import date

import numpy as np
import pytest

from inventory.engineering.programme.years import (
    chances_in_years,
    last_year,
    life_chances,
    new_face_chances,
    stretch_shift,
)
from inventory.errors import OutOfRangeError


def test_chances_begin_with_the_programmes_first_year_and_the_last_one_stays():
    chances = chances_in_years([0.1, 0.2, 0.3], from_year=2026, first_year=2028, years=3)
    assert chances == [0.3, 0.3, 0.3]


def test_a_sign_without_a_forecast_is_refused():
    with pytest.raises(OutOfRangeError, match="without a forecast"):
        chances_in_years([], from_year=2026, first_year=2027, years=1)


def test_a_forecast_made_after_the_first_year_tells_the_years_from_its_own_on():
    chances = chances_in_years([0.3, 0.4], from_year=2028, first_year=2026, years=5)
    assert chances == [0.3, 0.3, 0.3, 0.4, 0.4]


def test_by_a_life_alone_a_new_face_holds_until_it_is_so_old():
    assert life_chances(12.0, 14).tolist() == [0.0] * 12 + [1.0] * 2


def test_new_faces_never_get_better_with_age():
    chances = new_face_chances([0.0, 0.3, 0.2, 0.5], 4)
    assert (np.diff(chances) >= 0).all()
    assert new_face_chances([], 3).tolist() == [0.0, 0.0, 0.0]


@pytest.mark.parametrize(
    ("due_on", "year"),
    [
        (date(2027, 12, 31), 0),
        (date(2028, 3, 1), 0),  # less 90 days: 2 December 2027
        (date(2028, 6, 1), 1),
        (date(2031, 6, 1), None),
        (date(2020, 1, 1), 0),
    ],
)
def test_the_last_year_is_that_of_the_due_day_less_the_lead_time(due_on, year):
    assert last_year(due_on, lead_days=90, first_year=2027, years=3) == year


def test_squares_of_a_longer_stretch_take_in_those_of_a_shorter_one():
    assert stretch_shift(8.0) > stretch_shift(1.0)
    with pytest.raises(OutOfRangeError, match="0 mi long"):
        stretch_shift(0.0)
