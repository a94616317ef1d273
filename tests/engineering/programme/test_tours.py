"""Tours of crews: every stop once or named with its reason; hours, windows and skills kept."""

import itertools
from typing import Any

import numpy as np
import pytest

from inventory.engineering.places.distance import distance_m
from inventory.engineering.programme.tours import (
    Stop,
    TourCrew,
    TourProblem,
    plan_tours,
    shortest_tours,
)
from inventory.engineering.programme.travel import travel_matrices
from inventory.errors import OutOfRangeError

TRAVEL: dict[str, Any] = {"detour_factor": 1.3, "speed_mi_per_h": 30.0}


def stops_around(seed, count, **fields):
    draw = np.random.default_rng(seed)
    return [
        Stop(number, 43.0 + float(y), -89.0 + float(x), 15.0, **fields)
        for number, (x, y) in enumerate(draw.uniform(-0.1, 0.1, (count, 2)))
    ]


def test_the_shortest_round_of_seven_stops_is_found():
    # Every order of seven stops, tried one by one.
    draw = np.random.default_rng(4)
    place = draw.integers(0, 1000, (8, 2))
    way = np.rint(np.hypot(*(place[:, None] - place[None]).transpose(2, 0, 1))).astype(int)
    problem = TourProblem(way, way, np.zeros(7, int), np.ones(7, int), 1)
    found = shortest_tours(problem, seconds=0.3)
    best = min(
        sum(way[a, b] for a, b in itertools.pairwise((0, *order, 0)))
        for order in itertools.permutations(range(1, 8))
    )
    assert found is not None
    assert found[1] == best


def test_a_load_or_a_day_that_is_too_small_for_any_stop_gives_no_tours():
    way = np.array([[0, 9], [9, 0]])
    assert (
        shortest_tours(
            TourProblem(way, way, np.ones(1, int), np.ones(1, int), 1, longest=10), seconds=0.1
        )
        is None
    )


def test_every_stop_is_served_once_within_the_hours_of_the_day():
    stops = stops_around(1, 40)
    crew = TourCrew(1, 43.0, -89.0, days=3, shift_minutes=400)
    tours = plan_tours(stops, [crew], **TRAVEL, seconds=0.5)
    served = [visit.key for day in tours.days for visit in day.visits]
    assert sorted(served) == [each.key for each in stops]
    assert not tours.unserved
    at = {each.key: each for each in stops}
    for day in tours.days:
        assert day.minutes <= 400
        way = [(43.0, -89.0)]
        way += [(at[v.key].latitude_deg, at[v.key].longitude_deg) for v in day.visits]
        way.append(way[0])
        straight_m = sum(float(distance_m(*a, *b)) for a, b in itertools.pairwise(way))
        assert day.drive_mi == pytest.approx(1.3 * straight_m / 1609.344, rel=1e-6)
        drive = straight_m * 1.3 / 1609.344 / 30 * 60
        assert day.minutes == pytest.approx(drive + 15 * len(day.visits), abs=1.5)


def test_what_does_not_fit_is_named_and_the_lighter_stops_are_left_out():
    heavy = [Stop(n, 43.0, -89.0, 100.0, weight=10.0) for n in range(4)]
    light = [Stop(10 + n, 43.0, -89.0, 100.0, weight=1.0) for n in range(4)]
    tours = plan_tours(light + heavy, [TourCrew(1, 43.0, -89.0)], **TRAVEL, seconds=0.3)
    assert {visit.key for visit in tours.days[0].visits} == {0, 1, 2, 3}
    assert {key for key, _why in tours.unserved} == {10, 11, 12, 13}
    assert tours.unserved[0][1] == "no time left on the days given; add a day or a crew"


def test_overhead_signs_go_to_the_crew_with_the_bucket_truck():
    plain = TourCrew(1, 43.0, -89.0)
    lifting = TourCrew(2, 43.3, -89.0, skills=frozenset({"bucket_truck"}))
    overhead = stops_around(2, 3, needs=frozenset({"bucket_truck"}))
    tours = plan_tours(overhead, [plain, lifting], **TRAVEL, seconds=0.3)
    assert {day.crew for day in tours.days} == {2}
    assert not tours.unserved


@pytest.mark.parametrize(
    ("stop", "why"),
    [
        (Stop(1, 43.0, -89.0, 10.0, needs=frozenset({"night"})), "no crew has: night"),
        (Stop(1, 47.0, -89.0, 10.0), "too far away"),
        (Stop(1, 43.0, -89.0, 600.0), "too long a work"),
        (Stop(1, 43.0, -89.0, 10.0, window=(60, 120)), "no crew is out at the hours"),
    ],
)
def test_a_stop_no_crew_can_serve_says_why(stop, why):
    tours = plan_tours([stop], [TourCrew(1, 43.0, -89.0)], **TRAVEL, seconds=0.1)
    assert not tours.days
    assert why in tours.unserved[0][1]


def test_work_begins_within_its_window():
    late = Stop(99, 43.0, -89.01, 10.0, window=(700, 760))
    tours = plan_tours(
        [late, *stops_around(3, 6)], [TourCrew(1, 43.0, -89.0)], **TRAVEL, seconds=0.3
    )
    at = {visit.key: visit.at_minute for day in tours.days for visit in day.visits}
    assert 700 <= at[99] <= 760


@pytest.mark.parametrize(
    ("crews", "figures", "words"),
    [
        ([], TRAVEL, "no crew to go out"),
        ([TourCrew(1, 0, 0)], TRAVEL | {"detour_factor": 0.5}, "detour factor is 0.5"),
        ([TourCrew(1, 0, 0)], TRAVEL | {"speed_mi_per_h": 0.0}, "speed is 0 mi/h"),
    ],
)
def test_what_cannot_be_is_refused(crews, figures, words):
    with pytest.raises(OutOfRangeError, match=words):
        plan_tours([Stop(1, 0.0, 0.0, 1.0)], crews, **figures, seconds=0.1)


def test_a_window_that_is_none_is_refused():
    with pytest.raises(OutOfRangeError, match="from minute 900 to 800"):
        plan_tours(
            [Stop(1, 0.0, 0.0, 1.0, window=(900, 800))],
            [TourCrew(1, 0, 0)],
            **TRAVEL,
            seconds=0.1,
        )


def test_ways_are_straight_distances_times_the_detour():
    way_m, time_s = travel_matrices([0.0, 1.0], [0.0, 0.0], **TRAVEL)
    # One degree of the mean meridian: 111.195 km.
    assert way_m[0, 1] == pytest.approx(1.3 * 111_195, rel=1e-4)
    assert time_s[0, 1] == pytest.approx(1.3 * 111_195 / (30 * 1609.344 / 3600), abs=1)


@pytest.mark.parametrize(
    ("stops", "words"),
    [
        ([Stop(1, 0.0, 0.0, 1.0), Stop(1, 0.1, 0.0, 1.0)], "Two stops have the key 1"),
        ([Stop(1, 0.0, 0.0, 1.0, weight=0.0)], "Stop 1 has the weight 0; it is over 0"),
    ],
)
def test_stops_that_would_be_lost_or_weigh_nothing_are_refused(stops, words):
    with pytest.raises(OutOfRangeError, match=words):
        plan_tours(stops, [TourCrew(1, 0, 0)], **TRAVEL, seconds=0.1)
