"""Colour fade: its life from what was seen, by hand."""

import numpy as np
import pytest

from inventory.engineering.forecast.fade import FadeLife, FadeSource, fade_life, fading_color
from inventory.errors import OutOfRangeError


def seen(entry, leave, faded, **fields):
    return fade_life(entry, leave, faded, color_words="Type III red", **fields)


def test_five_faded_faces_make_a_life_and_four_do_not():
    leave = [8.0, 9.0, 10.0, 11.0, 12.0, *[13.0] * 15]
    assert seen([0.0] * 20, leave, [True] * 4 + [False] * 16) is None
    life = seen([0.0] * 20, leave, [True] * 5 + [False] * 15)
    assert life.faded_count == 5
    # By hand: 5 % of 20 faces is the first of them; half never faded.
    assert (life.early_years, life.years, life.late_years) == (8.0, None, None)
    assert life.basis.startswith("5 of 20 own Type III red faces were seen faded")


def test_the_median_is_where_half_have_faded_and_bounds_are_around_it():
    life = seen([0.0] * 40, np.arange(40) / 4 + 3.25, [True] * 40)
    assert life.years == pytest.approx(8.0)  # the 20th of 40: 3.25 + 19 ÷ 4
    assert life.low_years < life.years < life.high_years
    assert life.source is FadeSource.OWN


def test_when_a_fade_is_due_goes_by_how_long_the_face_has_kept_its_colour():
    life = seen([0.0] * 10, list(range(6, 16)), [True] * 10)
    assert life.due_years(0.2) == 7
    # Five left at 10.5 years: a fifth of them is one, the next at 11.
    assert life.due_years(0.2, unfaded_at_years=10.5) == 11
    assert life.due_years(0.2, unfaded_at_years=15.5) is None


def test_a_share_not_reached_has_no_day():
    life = seen([0.0] * 20, [9.0] * 5 + [10.0] * 15, [True] * 5 + [False] * 15)
    assert life.due_years(0.2) == 9
    assert life.due_years(0.3) is None


def test_faces_that_came_on_record_late_are_counted_from_then():
    # Ten are watched from 6 years on: the two lost alone before do not take the curve to 0.
    entry = [0.0, 0.0, *[6.0] * 20]
    leave = [2.0, 3.0, *np.arange(20) / 2 + 8]
    life = seen(entry, leave, [True] * 22)
    assert life.begins_at_years == 6
    assert life.faded_count == 20
    assert "from 6.0 years of age on" in life.basis
    assert life.years == pytest.approx(12.5)


def test_never_enough_faces_at_once_is_no_life():
    entry = np.arange(12) * 2.0
    assert seen(entry, entry + 1.5, [True] * 12) is None


def test_an_agencys_life_is_taken_as_it_is():
    life = FadeLife(12.0, FadeSource.AGENCY, "council decision (invented)")
    assert life.due_years(0.2) == life.due_years(0.5) == 12.0
    with pytest.raises(OutOfRangeError, match="under 1"):
        life.due_years(1.0)


@pytest.mark.parametrize(
    ("colors", "fading"),
    [
        (["red", "white"], "red"),
        (["white", "red"], "red"),
        (["yellow", "black"], "yellow"),
        (["white", "black"], "white"),
        (["", "green"], "green"),
        ([], ""),
    ],
)
def test_fading_is_put_down_to_the_first_colour_that_has_a_hue(colors, fading):
    assert fading_color(colors) == fading
