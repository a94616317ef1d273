"""Distances and bearings against the ellipsoid and against hand figures."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from inventory.engineering.places.distance import (
    MEAN_EARTH_RADIUS_M,
    bearing_deg,
    distance_m,
    nearest,
)

WGS_84 = Geod(ellps="WGS84")
latitudes = st.floats(-70.0, 70.0)
longitudes = st.floats(-179.0, 178.0)
offsets = st.floats(-0.05, 0.05).filter(lambda d: abs(d) > 1e-4)


@given(latitudes, longitudes, offsets, offsets)
def test_distances_are_within_0_6_per_cent_of_the_ellipsoid(latitude, longitude, dlat, dlon):
    # Outside check: geodesics on the WGS 84 ellipsoid by PROJ (Karney 2013). The mean sphere
    # is within (a - b)/R * 3/2 = 0.5 % of it, rounded up.
    there = (latitude + dlat, longitude + dlon)
    _, _, metres = WGS_84.inv(longitude, latitude, there[1], there[0])
    assert distance_m(latitude, longitude, *there) == pytest.approx(metres, rel=0.006)


@given(latitudes, longitudes, offsets, offsets)
def test_bearings_agree_with_the_ellipsoid_to_a_third_of_a_degree(
    latitude, longitude, dlat, dlon
):
    # Outside check as above. An ellipsoid's bearing differs from the sphere's by up to about
    # the flattening, 1/298 rad = 0.19°.
    there = (latitude + dlat, longitude + dlon)
    forward, _, _ = WGS_84.inv(longitude, latitude, there[1], there[0])
    difference = (float(bearing_deg(latitude, longitude, *there)) - forward + 180) % 360 - 180
    assert abs(difference) < 0.34


def test_a_quarter_of_the_way_round():
    # By hand: pi/2 times the radius.
    assert distance_m(0.0, 0.0, 90.0, 0.0) == pytest.approx(np.pi / 2 * MEAN_EARTH_RADIUS_M)
    assert distance_m(0.0, 0.0, 0.0, 180.0) == pytest.approx(np.pi * MEAN_EARTH_RADIUS_M)


def test_many_points_at_once_are_the_same_as_one_by_one():
    random = np.random.default_rng(1)
    lat, lon = random.uniform(-60, 60, 50), random.uniform(-170, 170, 50)
    together = distance_m(10.0, 20.0, lat, lon)
    assert together.shape == (50,)
    alone = [float(distance_m(10.0, 20.0, a, b)) for a, b in zip(lat, lon, strict=True)]
    np.testing.assert_array_equal(together, alone)


def test_the_nearest_come_first_and_no_more_than_asked():
    index, metres = nearest(43.0, -89.5, [43.02, 43.0, 43.01, 43.005], [-89.5] * 4, 3)
    assert index.tolist() == [1, 3, 2]
    assert metres[0] == 0.0
    assert sorted(metres.tolist()) == metres.tolist()


def test_fewer_points_than_asked_are_all_given():
    index, metres = nearest(43.0, -89.5, [43.02], [-89.5], 10)
    assert index.tolist() == [0]
    assert metres.shape == (1,)
    empty_index, empty_metres = nearest(43.0, -89.5, [], [], 10)
    assert empty_index.size == empty_metres.size == 0


def test_equally_near_signs_keep_their_order():
    index, _ = nearest(43.0, -89.5, [43.01, 43.01, 43.0], [-89.5, -89.5, -89.5], 3)
    assert index.tolist() == [2, 0, 1]
