"""A map drawn from positions: to scale, whole, and not shrunk by a position that is wrong."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.places.distance import distance_m
from inventory.engineering.places.map_frame import METRES_PER_MILE, frame_around
from inventory.errors import OutOfRangeError

degrees = st.lists(
    st.tuples(st.floats(42.6, 43.4), st.floats(-90.0, -89.0)), min_size=2, max_size=30
)


@given(degrees)
def test_every_position_is_on_the_map_and_distances_are_to_scale(places):
    latitude, longitude = (np.array(part) for part in zip(*places, strict=True))
    frame = frame_around(latitude, longitude)
    x, y = frame.place(latitude, longitude)
    inside = (
        (x >= -1e-6) & (x <= frame.width + 1e-6) & (y >= -1e-6) & (y <= frame.height + 1e-6)
    )
    if len(places) < 5:  # of more, one alone may lie so far off that it is left out
        assert inside.all()
    assert inside.any()
    drawn = np.hypot(x[0] - x[1], y[0] - y[1]) * frame.metres_per_unit
    true = float(distance_m(latitude[0], longitude[0], latitude[1], longitude[1]))
    assert drawn == pytest.approx(true, rel=0.01, abs=1.0)  # over 0.8° of latitude


def test_north_is_up_and_east_is_right():
    frame = frame_around(np.array([43.0, 43.1]), np.array([-89.5, -89.4]))
    x, y = frame.place(np.array([43.0, 43.1]), np.array([-89.5, -89.4]))
    assert x[0] < x[1]
    assert y[0] > y[1]


def test_a_position_far_from_all_others_does_not_shrink_the_rest():
    latitude = np.append(np.linspace(43.0, 43.2, 400), 0.0)
    longitude = np.append(np.linspace(-89.5, -89.2, 400), 0.0)
    frame = frame_around(latitude, longitude)
    x, y = frame.place(latitude, longitude)
    assert ((x[:-1] >= 0) & (x[:-1] <= frame.width)).all()
    assert not 0 <= x[-1] <= frame.width
    assert np.ptp(y[:-1]) > 500


def test_one_position_and_a_tall_county_fit_the_sheet():
    one = frame_around(np.array([43.0]), np.array([-89.5]))
    assert one.place(np.array([43.0]), np.array([-89.5]))[0][0] == pytest.approx(one.width / 2)
    tall = frame_around(np.array([42.0, 43.0]), np.array([-89.5, -89.45]), most_height=800.0)
    assert tall.height == pytest.approx(800.0)
    assert tall.width < 200


def test_the_scale_bar_is_a_round_number_of_miles_within_a_third_of_the_width():
    for span in (0.001, 0.02, 0.3, 1.5):
        frame = frame_around(np.array([43.0, 43.0]), np.array([-89.5, -89.5 + span]))
        miles, units = frame.scale_bar
        assert units <= frame.width / 3
        assert units * frame.metres_per_unit == pytest.approx(miles * METRES_PER_MILE)
        assert f"{miles:e}"[0] in "125"


def test_no_position_and_one_that_is_no_number_are_refused():
    with pytest.raises(OutOfRangeError, match="needs one position or more"):
        frame_around(np.array([]), np.array([]))
    with pytest.raises(OutOfRangeError, match="1 latitudes and 2 longitudes"):
        frame_around(np.array([43.0]), np.array([-89.0, -89.0]))
    with pytest.raises(OutOfRangeError, match="is not a number"):
        frame_around(np.array([43.0, np.nan]), np.array([-89.0, -89.0]))
