"""Tours of crews: every stop once or named with its reason; hours, windows and skills kept."""

import itertools
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.engineering.places.distance import distance_m
from inventory.engineering.programme.tours import (
    NO_TIME_LEFT,
    Stop,
    TourCrew,
    TourProblem,
    plan_tours,
    shortest_tours,
)
from inventory.engineering.programme.travel import travel_matrices, travel_times, way_through_m
from inventory.errors import OutOfRangeError

TRAVEL: dict[str, Any] = {"detour_factor": 1.3, "speed_mi_per_h": 30.0}
HERE = (43.0, -89.0)
NIGHT = (1200, 1560)  # 20:00 to 02:00


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
    found = shortest_tours(problem, seconds=0.1)
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
    crew = TourCrew(1, *HERE, days=3, shift_minutes=400)
    tours = plan_tours(stops, [crew], **TRAVEL, seconds=0.2)
    served = [visit.key for day in tours.days for visit in day.visits]
    assert sorted(served) == [each.key for each in stops]
    assert not tours.unserved
    at = {each.key: each for each in stops}
    for day in tours.days:
        assert day.minutes <= 400
        way = [HERE]
        way += [(at[v.key].latitude_deg, at[v.key].longitude_deg) for v in day.visits]
        way.append(way[0])
        straight_m = sum(float(distance_m(*a, *b)) for a, b in itertools.pairwise(way))
        assert day.drive_mi == pytest.approx(1.3 * straight_m / 1609.344, rel=1e-6)
        drive = straight_m * 1.3 / 1609.344 / 30 * 60
        assert day.minutes == pytest.approx(drive + 15 * len(day.visits), abs=1.5)


def test_short_work_at_the_yard_takes_one_day_and_not_three():
    stops = [Stop(n, *HERE, 60.0) for n in range(3)]
    tours = plan_tours(stops, [TourCrew(1, *HERE, days=3)], **TRAVEL, seconds=0.1)
    assert [len(day.visits) for day in tours.days] == [3]


def test_what_does_not_fit_is_named_and_the_lighter_stops_are_left_out():
    heavy = [Stop(n, *HERE, 100.0, weight=10.0) for n in range(4)]
    light = [Stop(10 + n, *HERE, 100.0, weight=1.0) for n in range(4)]
    tours = plan_tours(light + heavy, [TourCrew(1, *HERE)], **TRAVEL, seconds=0.1)
    assert {visit.key for visit in tours.days[0].visits} == {0, 1, 2, 3}
    assert {key for key, _why in tours.unserved} == {10, 11, 12, 13}
    assert tours.unserved[0][1] == "no time left on the days given; add a day or a crew"


def test_two_short_light_stops_do_not_keep_a_long_heavy_one_out():
    light = [Stop(n, *HERE, 240.0, weight=1.0) for n in (1, 2)]
    tours = plan_tours(
        [*light, Stop(3, *HERE, 480.0, weight=1.5)], [TourCrew(1, *HERE)], **TRAVEL, seconds=0.1
    )
    assert [visit.key for visit in tours.days[0].visits] == [3]


def test_a_lighter_stop_is_served_where_the_heavier_one_never_fits():
    heavy = Stop(1, *HERE, 481.0, weight=8.0)
    tours = plan_tours(
        [heavy, Stop(2, *HERE, 30.0)], [TourCrew(1, *HERE)], **TRAVEL, seconds=0.1
    )
    assert [visit.key for visit in tours.days[0].visits] == [2]
    assert "too long a work" in tours.unserved[0][1]


def test_overhead_signs_go_to_the_crew_with_the_bucket_truck():
    plain = TourCrew(1, *HERE)
    lifting = TourCrew(2, 43.3, -89.0, skills=frozenset({"bucket_truck"}))
    overhead = stops_around(2, 3, needs=frozenset({"bucket_truck"}))
    tours = plan_tours(overhead, [plain, lifting], **TRAVEL, seconds=0.1)
    assert {day.crew for day in tours.days} == {2}
    assert not tours.unserved


@pytest.mark.parametrize(
    ("stop", "why"),
    [
        (Stop(1, *HERE, 10.0, needs=frozenset({"night"})), "no crew has: night"),
        (Stop(1, 47.0, -89.0, 10.0), "too far away"),
        (Stop(1, *HERE, 600.0), "too long a work"),
        (Stop(1, *HERE, 10.0, window=(60, 120)), "is out at the hours"),
        (Stop(1, *HERE, 10.0, window=NIGHT), "is out at the hours"),
    ],
)
def test_a_stop_no_crew_can_serve_says_why(stop, why):
    tours = plan_tours([stop], [TourCrew(1, *HERE)], **TRAVEL, seconds=0.1)
    assert not tours.days
    assert why in tours.unserved[0][1]


def test_skills_that_only_two_crews_together_have_are_told_as_that():
    crews = [TourCrew(1, *HERE, frozenset({"night"})), TourCrew(2, *HERE, frozenset({"lift"}))]
    stop = Stop(1, *HERE, 10.0, needs=frozenset({"night", "lift"}))
    tours = plan_tours([stop], crews, **TRAVEL, seconds=0.05)
    assert tours.unserved == ((1, "no crew alone has all of: lift, night"),)


def test_work_begins_within_its_window():
    late = Stop(99, 43.0, -89.01, 10.0, window=(700, 760))
    tours = plan_tours([late, *stops_around(3, 6)], [TourCrew(1, *HERE)], **TRAVEL, seconds=0.1)
    at = {visit.key: visit.at_minute for day in tours.days for visit in day.visits}
    assert 700 <= at[99] <= 760


def test_a_night_shift_goes_on_after_midnight():
    # From 20:00 for 8 h: four stops of 110 min and their ways take it to 04:00.
    crew = TourCrew(1, *HERE, day_starts_minute=1200, shift_minutes=480)
    stops = [Stop(n, *HERE, 110.0) for n in range(4)]
    tours = plan_tours(stops, [crew], **TRAVEL, seconds=0.1)
    assert [visit.at_minute for visit in tours.days[0].visits] == [1200, 1310, 1420, 1530]
    assert not tours.unserved


def test_a_window_over_midnight_is_kept_before_and_after_it():
    crew = TourCrew(1, *HERE, day_starts_minute=1200, shift_minutes=480)
    stops = [Stop(n, *HERE, 100.0, window=NIGHT) for n in range(4)]
    tours = plan_tours(stops, [crew], **TRAVEL, seconds=0.1)
    assert [visit.at_minute for visit in tours.days[0].visits] == [1200, 1300, 1400, 1500]


def test_the_hours_after_midnight_are_open_to_a_crew_that_starts_then():
    early = TourCrew(1, *HERE, day_starts_minute=0, shift_minutes=240)
    tours = plan_tours([Stop(1, *HERE, 30.0, window=NIGHT)], [early], **TRAVEL, seconds=0.1)
    assert tours.days[0].visits[0].at_minute == 0


def test_a_stop_may_be_worked_in_any_of_its_spans_of_a_long_shift():
    # From 17:50 for 24 h: 17:00 to 18:00 is open at both ends of the shift.
    crew = TourCrew(1, *HERE, day_starts_minute=1070, shift_minutes=1440)
    stops = [Stop(n, *HERE, 30.0, window=(1020, 1080)) for n in (1, 2)]
    tours = plan_tours(stops, [crew], **TRAVEL, seconds=0.1)
    assert not tours.unserved
    assert [visit.at_minute for visit in tours.days[0].visits] == [1080, 2460]


def bad(stop=None, crew=None, **figures):
    stops = [Stop(1, *HERE, 1.0), *([] if stop is None else [stop])]
    return stops, [TourCrew(1, *HERE) if crew is None else crew], figures


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (bad(detour_factor=0.5), "detour factor is 0.5; give a number of 1 or more"),
        (bad(detour_factor=math.inf), "detour factor is inf; give"),
        (bad(detour_factor=math.nan), "detour factor is nan; give"),
        (bad(speed_mi_per_h=0.0), "speed is 0 mi/h; give a number over 0"),
        (bad(speed_mi_per_h=math.nan), "speed is nan mi/h"),
        (bad(seconds=-1.0), "given -1 seconds; give a number of 0 or more"),
        (bad(seconds=math.nan), "given nan seconds"),
        (bad(seed=-1), "seed is -1; it is a whole number from 0"),
        (bad(Stop(1, 43.1, -89.0, 1.0)), "Two stops have the key 1; give each its own"),
        (bad(Stop(2, *HERE, 1.0, weight=0.0)), "Stop 2 has the weight 0; give a number over 0"),
        (bad(Stop(2, *HERE, 1.0, weight=-1.0)), "Stop 2 has the weight -1"),
        (bad(Stop(2, *HERE, 1.0, weight=math.nan)), "Stop 2 has the weight nan"),
        (bad(Stop(2, *HERE, -5.0)), "Stop 2 takes -5 minutes; give a number of 0 or more"),
        (bad(Stop(2, *HERE, math.inf)), "Stop 2 takes inf minutes"),
        (bad(Stop(2, math.nan, -89.0, 1.0)), "Stop 2 has the latitude nan°; it is from -90"),
        (bad(Stop(2, 43.0, 181.0, 1.0)), "Stop 2 has the longitude 181°; it is from -180"),
        (bad(Stop(2, *HERE, 1.0, window=(900, 800))), "from minute 900 to 800; the end is"),
        (bad(Stop(2, *HERE, 1.0, window=(-1, 800))), "begin from minute -1 of the day; give"),
        (bad(Stop(2, *HERE, 1.0, window=(1440, 1500))), "begin from minute 1440 of the day"),
        (bad(Stop(2, *HERE, 1.0, window=(60, 1501))), "the end is a whole number from 60 to"),
        (bad(crew=TourCrew(1, math.nan, 0.0)), "Crew 1 has the latitude nan°"),
        (bad(crew=TourCrew(1, *HERE, days=0)), "Crew 1 has 0 days; give 1 or more, or leave"),
        (
            bad(crew=TourCrew(1, *HERE, day_starts_minute=-5)),
            "starts at minute -5; give a whole",
        ),
        (bad(crew=TourCrew(1, *HERE, day_starts_minute=1440)), "starts at minute 1440"),
        (bad(crew=TourCrew(1, *HERE, shift_minutes=0)), "shift of crew 1 is 0 minutes"),
        (bad(crew=TourCrew(1, *HERE, shift_minutes=1441)), "a whole number from 1 to 1440"),
        (bad(crew=TourCrew(1, *HERE, days=6_000)), "6,000 days together; at most 5,000"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(asked, words):
    stops, crews, figures = asked
    with pytest.raises(OutOfRangeError, match=words):
        plan_tours(stops, crews, **{**TRAVEL, "seconds": 0.1, **figures})


def test_no_crew_two_of_one_key_and_too_many_stops_are_refused():
    stop, crew = Stop(1, *HERE, 1.0), TourCrew(4, *HERE)
    with pytest.raises(OutOfRangeError, match="no crew to go out"):
        plan_tours([stop], [], **TRAVEL, seconds=0.1)
    with pytest.raises(OutOfRangeError, match="Two crews have the key 4"):
        plan_tours([stop], [crew, crew], **TRAVEL, seconds=0.1)
    with pytest.raises(OutOfRangeError, match="5,001 stops; at most 5,000"):
        plan_tours([stop] * 5_001, [crew], **TRAVEL, seconds=0.1)


def test_no_stops_make_no_days():
    tours = plan_tours([], [TourCrew(1, *HERE)], **TRAVEL, seconds=0.1)
    assert (tours.days, tours.unserved) == ((), ())


def test_what_is_done_is_told_and_somebody_can_stop_it():
    told: list[str] = []
    tours = plan_tours(
        stops_around(5, 12),
        [TourCrew(1, *HERE)],
        **TRAVEL,
        seconds=600.0,
        progress=told.append,
        should_stop=lambda: True,
    )
    assert told == ["measuring the ways between stops", "finding days for all stops"]
    assert not tours.unserved


def test_ways_are_straight_distances_times_the_detour():
    way_m, time_s = travel_matrices([0.0, 1.0], [0.0, 0.0], **TRAVEL)
    # One degree of the mean meridian: 111.195 km.
    assert way_m[0, 1] == pytest.approx(1.3 * 111_195, rel=1e-4)
    assert time_s[0, 1] == pytest.approx(1.3 * 111_195 / (30 * 1609.344 / 3600), abs=1)


def test_times_made_row_by_row_are_those_of_the_whole():
    draw = np.random.default_rng(6)
    latitudes = draw.uniform(42, 44, 300).tolist()
    longitudes = draw.uniform(-90, -88, 300).tolist()
    way_m, time_s = travel_matrices(latitudes, longitudes, **TRAVEL)
    assert (travel_times(latitudes, longitudes, **TRAVEL) == time_s).all()
    through = way_through_m(latitudes, longitudes, detour_factor=1.3)
    assert through == pytest.approx(sum(way_m[n, n + 1] for n in range(299)))


def test_a_speed_next_to_nothing_makes_long_ways_and_no_error():
    tours = plan_tours(
        stops_around(7, 2),
        [TourCrew(1, *HERE)],
        detour_factor=1.3,
        speed_mi_per_h=1e-300,
        seconds=0.05,
    )
    assert all("too far away" in why for _key, why in tours.unserved)


def stops_of(rows):
    return [Stop(n, *at, *more) for n, (at, *more) in enumerate(rows)]


def crews_of(rows):
    return [TourCrew(100 + n, *at, *more) for n, (at, *more) in enumerate(rows)]


SKILLS = ("lift", "night")
places = st.tuples(st.floats(42.85, 43.15), st.floats(-89.15, -88.85))
skill_sets = st.frozensets(st.sampled_from(SKILLS), max_size=2)
windows = st.none() | st.tuples(st.integers(0, 1439), st.integers(0, 1440)).map(
    lambda pair: (pair[0], pair[0] + pair[1])
)
some_stops = st.lists(
    st.tuples(
        places,
        st.sampled_from([0.0, 15.0, 45.5, 200.0]),
        skill_sets,
        windows,
        st.sampled_from([0.01, 1.0, 2.0, 8.0]),
    ),
    max_size=14,
).map(stops_of)
some_crews = st.lists(
    st.tuples(
        places,
        skill_sets,
        st.integers(0, 1439),
        st.sampled_from([60, 240, 480, 1440]),
        st.integers(1, 2),
    ),
    min_size=1,
    max_size=3,
).map(crews_of)


def fits(crew, stops):
    """Return whether a crew can work stops in their order; only ways are shared with ours."""
    between = travel_times(
        [crew.latitude_deg, *(each.latitude_deg for each in stops)],
        [crew.longitude_deg, *(each.longitude_deg for each in stops)],
        **TRAVEL,
    )
    now = crew.day_starts_minute * 60
    for number, stop in enumerate(stops, start=1):
        now += int(between[number - 1, number])
        if stop.window is not None:
            spans = [[60 * (m + 1440 * day) for m in stop.window] for day in (-1, 0, 1)]
            begins = [max(now, early) for early, late in spans if now <= late]
            if not begins:
                return False
            now = min(begins)
        now += math.ceil(60 * stop.service_minutes)
    return now + int(between[len(stops), 0]) <= 60 * (
        crew.day_starts_minute + crew.shift_minutes
    )


def fits_somewhere(crew, day, stop):
    if not stop.needs <= crew.skills:
        return False
    return any(fits(crew, [*day[:at], stop, *day[at:]]) for at in range(len(day) + 1))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(some_stops, some_crews)
def test_every_stop_is_served_once_or_named_with_a_true_reason(stops, crews):
    tours = plan_tours(stops, crews, **TRAVEL, seconds=0.02)
    served = [visit.key for day in tours.days for visit in day.visits]
    unserved = dict(tours.unserved)
    assert sorted([*served, *unserved]) == [each.key for each in stops]
    crew_of, stop_of = {each.key: each for each in crews}, {each.key: each for each in stops}
    used = dict.fromkeys(crew_of, 0)
    days = []
    for day in tours.days:
        crew, order = crew_of[day.crew], [stop_of[visit.key] for visit in day.visits]
        days.append((crew, order))
        used[crew.key] += 1
        assert order
        assert day.minutes <= crew.shift_minutes
        assert fits(crew, order)
        ends = crew.day_starts_minute + crew.shift_minutes
        for visit, stop in zip(day.visits, order, strict=True):
            assert stop.needs <= crew.skills
            assert crew.day_starts_minute <= visit.at_minute <= ends
            if stop.window is not None:
                begins, until = stop.window
                assert (visit.at_minute - begins) % 1440 <= until - begins
    for crew in crews:
        assert used[crew.key] <= crew.days
        days += [(crew, [])] * (used[crew.key] < crew.days)
    for key, why in unserved.items():
        stop = stop_of[key]
        if why == NO_TIME_LEFT:
            assert any(fits_somewhere(crew, [], stop) for crew in crews)
            # Not even with every lighter stop of a day taken out of it.
            for crew, order in days:
                heavier = [each for each in order if each.weight >= stop.weight]
                assert not fits_somewhere(crew, heavier, stop)
        else:
            assert not any(fits_somewhere(crew, [], stop) for crew in crews)
