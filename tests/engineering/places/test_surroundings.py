"""Boxes around a point hold every point within the distance; winds as they are named."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.places import distance_m
from inventory.engineering.places.surroundings import (
    MAXIMUM_RADIUS_M,
    box_around,
    compass_words,
)
from inventory.errors import OutOfRangeError

latitudes = st.floats(-89.0, 89.0)
longitudes = st.floats(-179.0, 179.0)
radii = st.floats(1.0, MAXIMUM_RADIUS_M)


@given(latitudes, longitudes, radii, st.floats(-1.0, 1.0), st.floats(-1.0, 1.0))
def test_every_point_within_the_radius_is_in_the_box(latitude, longitude, radius, dy, dx):
    south, west, north, east = box_around(latitude, longitude, radius)
    there = (
        min(90.0, max(-90.0, latitude + dy * 1.5 * radius / 111_000)),
        min(180.0, max(-180.0, longitude + dx * 2.0 * (east - west))),
    )
    if float(distance_m(latitude, longitude, *there)) <= radius:
        # A thousandth of a millimetre in degrees, for rounding.
        assert south - 1e-11 <= there[0] <= north + 1e-11
        assert west - 1e-11 <= there[1] <= east + 1e-11


@given(latitudes, longitudes, radii)
def test_the_box_is_no_taller_than_the_circle(latitude, longitude, radius):
    south, _west, north, _east = box_around(latitude, longitude, radius)
    assert (
        float(distance_m(latitude, longitude, north, longitude))
        == pytest.approx(radius, rel=1e-6)
        or north == 90.0
    )
    assert south < latitude < north


def test_a_circle_over_the_pole_takes_every_meridian():
    assert box_around(89.9, 10.0, 50_000.0)[1::2] == (-180.0, 180.0)


@pytest.mark.parametrize("radius", [0.0, -1.0, MAXIMUM_RADIUS_M + 1.0, float("nan")])
def test_an_impossible_radius_is_refused(radius):
    with pytest.raises(OutOfRangeError, match="radius"):
        box_around(43.0, -89.5, radius)


@pytest.mark.parametrize("point", [(90.5, 0.0), (0.0, 181.0), (float("nan"), 0.0)])
def test_a_point_off_the_globe_is_refused(point):
    with pytest.raises(OutOfRangeError, match="globe"):
        box_around(point[0], point[1], 100.0)


# The eight principal winds, 45° apart, north first (common practice, no source).
@pytest.mark.parametrize(
    ("bearing", "words"),
    [
        (0.0, "north"),
        (22.4, "north"),
        (22.6, "north-east"),
        (90.0, "east"),
        (180.0, "south"),
        (270.0, "west"),
        (337.6, "north"),
        (359.9, "north"),
        (-90.0, "west"),
        (405.0, "north-east"),
    ],
)
def test_a_bearing_is_its_nearest_wind(bearing, words):
    assert compass_words(bearing) == words
