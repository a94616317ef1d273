"""The plain order of stops: each once, always on to the nearest left."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.places.distance import distance_m
from inventory.engineering.programme.walk import nearest_neighbour_order, walk_length_m

points = st.lists(st.tuples(st.floats(-60, 60), st.floats(-170, 170)), min_size=1, max_size=12)


def test_stops_along_a_road_are_visited_along_it():
    longitudes = [0.00, 0.05, 0.01, 0.04, 0.02, 0.03]
    walk = nearest_neighbour_order([45.0] * 6, longitudes)
    assert [longitudes[place] for place in walk] == sorted(longitudes)


def test_signs_on_one_support_follow_each_other():
    walk = nearest_neighbour_order([45.0, 45.0, 45.0, 45.0], [0.0, 0.01, 0.0, 0.01])
    assert walk == [0, 2, 1, 3]


def test_no_stops_make_no_walk():
    assert nearest_neighbour_order([], []) == []


def test_a_walk_cannot_begin_where_there_is_no_stop():
    with pytest.raises(IndexError):
        nearest_neighbour_order([45.0], [0.0], start=1)


@given(points)
def test_every_stop_is_visited_once(places):
    latitudes, longitudes = zip(*places, strict=True)
    assert sorted(nearest_neighbour_order(latitudes, longitudes)) == list(range(len(places)))


@given(points)
def test_no_stop_left_is_nearer_than_the_next_one(places):
    latitudes, longitudes = zip(*places, strict=True)
    walk = nearest_neighbour_order(latitudes, longitudes)

    def metres(one, other):
        return float(
            distance_m(latitudes[one], longitudes[one], latitudes[other], longitudes[other])
        )

    for number, (here, following) in enumerate(itertools.pairwise(walk), start=1):
        nearest = min(metres(here, place) for place in walk[number:])
        assert metres(here, following) == nearest


def test_a_degree_of_longitude_on_the_equator_is_as_long_as_on_the_mean_sphere():
    # 2 pi 6 371 008.8 m / 360 (IUGG mean radius R1 of GRS 80, Moritz 2000).
    assert walk_length_m([0.0, 0.0], [0.0, 1.0], [0, 1]) == pytest.approx(111_195.08, abs=0.01)
    assert walk_length_m([0.0], [0.0], [0]) == 0.0
