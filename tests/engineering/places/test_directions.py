"""Which way a sign looks, in the two conventions found in lists."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.places.directions import (
    COMPASS_BEARINGS_DEG,
    compass_to_bearing_deg,
    facing_from_traffic_deg,
    normalise_bearing_deg,
)
from inventory.errors import OutOfRangeError


@pytest.mark.parametrize(
    ("letters", "bearing"),
    # The sixteen-point compass rose: each point 22.5° on from the last (common knowledge).
    [("N", 0.0), ("nne", 22.5), ("E", 90.0), (" SE ", 135.0), ("sw", 225.0), ("NNW", 337.5)],
)
def test_compass_letters(letters, bearing):
    assert compass_to_bearing_deg(letters) == bearing


def test_the_rose_has_sixteen_points_evenly_apart():
    assert sorted(COMPASS_BEARINGS_DEG.values()) == [22.5 * i for i in range(16)]


@pytest.mark.parametrize("letters", ["", "X", "NS", "north", "NNNE"])
def test_other_letters_are_refused_with_the_rose(letters):
    with pytest.raises(OutOfRangeError, match="NNE"):
        compass_to_bearing_deg(letters)


def test_a_sign_read_by_northbound_traffic_looks_south():
    # Convention: the front faces the driver, who travels the other way.
    assert facing_from_traffic_deg(compass_to_bearing_deg("N")) == compass_to_bearing_deg("S")
    assert facing_from_traffic_deg(compass_to_bearing_deg("W")) == compass_to_bearing_deg("E")


@given(st.floats(-1e6, 1e6))
def test_a_normal_bearing_is_from_0_up_to_360(bearing):
    assert 0.0 <= normalise_bearing_deg(bearing) < 360.0


@given(st.floats(0.0, 359.9))
def test_turning_round_twice_changes_nothing(bearing):
    turned = facing_from_traffic_deg(facing_from_traffic_deg(bearing))
    assert turned == pytest.approx(bearing, abs=1e-9)
