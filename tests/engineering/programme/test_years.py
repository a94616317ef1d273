"""Forecasts, due days and new faces brought to programme years."""

from datetime import date

import numpy as np
import pytest

from inventory.engineering.programme.years import (
    chances_in_years,
    last_year,
    new_face_chances,
    stretch_shift,
)
from inventory.errors import OutOfRangeError


def test_chances_begin_with_the_programmes_first_year_and_the_last_one_stays():
    chances = chances_in_years([0.1, 0.2, 0.3], from_year=2026, first_year=2028, years=3)
    assert chances == [0.3, 0.3, 0.3]


@pytest.mark.parametrize(
    ("probabilities", "first_year", "words"),
    [([], 2027, "without a forecast"), ([0.1], 2025, "begins in 2025, before the forecasts")],
)
def test_a_programme_before_any_forecast_is_refused(probabilities, first_year, words):
    with pytest.raises(OutOfRangeError, match=words):
        chances_in_years(probabilities, from_year=2026, first_year=first_year, years=1)


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
