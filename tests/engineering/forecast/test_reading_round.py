"""Which signs are read in the hours there are: within them, and worth more than by chance."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.engineering.forecast.reading_round import (
    Candidates,
    CrewTimes,
    choose_round,
    round_in_order,
)
from inventory.engineering.places.distance import distance_m
from inventory.errors import OutOfRangeError

TIMES = CrewTimes()


def county(seed, signs=400, supports=250, worth=0.5):
    rng = np.random.default_rng(seed)
    value = rng.exponential(1.0, signs) * (rng.random(signs) < worth)
    return Candidates(
        value,
        rng.integers(0, supports, signs),
        43.0 + 0.3 * rng.random(supports),
        -89.5 + 0.4 * rng.random(supports),
    )


def minutes_of(candidates, found, times=TIMES):
    """Return what a round takes, added up from its stops and great-circle distances."""
    latitude, longitude = (
        getattr(candidates, name)[found.way] for name in ("latitude_deg", "longitude_deg")
    )
    metres = distance_m(latitude[:-1], longitude[:-1], latitude[1:], longitude[1:]).sum()
    driving = metres * times.detour_factor / (times.speed_km_h * 1000 / 60)
    return driving + len(found.way) * times.stop_minutes + len(found.signs) * times.sign_minutes


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.0, 900.0))
def test_a_round_keeps_to_its_minutes_and_reads_no_sign_twice(seed, budget):
    candidates = county(seed, signs=60, supports=30)
    found = choose_round(candidates, times=TIMES, budget_minutes=budget)
    assert found.total_minutes <= budget + 1e-6
    assert found.total_minutes == pytest.approx(minutes_of(candidates, found), rel=0.005)
    assert found.minutes.sum() == pytest.approx(found.total_minutes)
    assert len(set(found.signs.tolist())) == len(found.signs)
    assert len(set(found.way.tolist())) == len(found.way)
    assert set(candidates.support[found.signs].tolist()) == set(found.way.tolist())
    assert found.value == pytest.approx(candidates.value[found.signs].sum())
    assert (candidates.value[found.signs] > 0).all()


def test_signs_of_one_support_share_the_stop():
    two = Candidates(
        np.array([1.0, 1.0]), np.array([0, 0]), np.array([43.0]), np.array([-89.0])
    )
    found = choose_round(two, times=TIMES, budget_minutes=60.0)
    assert found.total_minutes == TIMES.stop_minutes + 2 * TIMES.sign_minutes
    assert found.minutes.tolist() == [6.5, 6.5]


def test_a_sign_near_the_way_comes_before_a_better_one_far_off():
    # 0 and 1 are 400 m apart, 2 is 40 km away and worth a little more.
    three = Candidates(
        np.array([1.0, 0.9, 1.1]),
        np.array([0, 1, 2]),
        np.array([43.0, 43.0036, 43.36]),
        np.full(3, -89.5),
    )
    found = choose_round(three, times=TIMES, budget_minutes=30.0)
    assert sorted(found.signs.tolist()) == [0, 1]


def test_it_is_worth_more_than_chance_and_than_the_dearest_first():
    rng = np.random.default_rng(3)
    for seed in range(3):
        candidates = county(seed)
        rivals = {
            "random": rng.permutation(len(candidates.value)),
            "dearest": np.argsort(-candidates.value),
        }
        best = choose_round(candidates, times=TIMES, budget_minutes=480.0).value
        for order in rivals.values():
            found = round_in_order(candidates, order, times=TIMES, budget_minutes=480.0)
            assert found.total_minutes <= 480.0
            assert best > found.value


def test_on_a_handful_of_supports_it_comes_near_the_best_there_is():
    share = []
    for seed in range(6):
        candidates = county(100 + seed, signs=6, supports=6, worth=1.0)
        best = 0.0
        for order in permutations(range(6)):
            for length in range(1, 7):
                signs = np.array(order[:length])
                way = candidates.support[signs]
                keep = np.concatenate(([True], way[1:] != way[:-1]))
                found = type("Tour", (), {"way": way[keep], "signs": signs})
                if minutes_of(candidates, found) <= 75.0:
                    best = max(best, candidates.value[signs].sum())
        share.append(choose_round(candidates, times=TIMES, budget_minutes=75.0).value / best)
    assert max(share) <= 1 + 1e-3  # plane against sphere
    assert np.mean(share) >= 0.95


def test_without_minutes_or_worth_nothing_is_chosen():
    candidates = county(1)
    assert len(choose_round(candidates, times=TIMES, budget_minutes=0.0).signs) == 0
    none = Candidates(np.zeros(2), np.array([0, 1]), np.zeros(2), np.zeros(2))
    assert len(choose_round(none, times=TIMES, budget_minutes=600.0).signs) == 0
    empty = Candidates(np.empty(0), np.empty(0, dtype=np.int64), np.empty(0), np.empty(0))
    assert choose_round(empty, times=TIMES, budget_minutes=600.0).total_minutes == 0.0
    found = round_in_order(empty, [], times=TIMES, budget_minutes=600.0)
    assert found.way.tolist() == []


def test_no_more_signs_than_were_asked_for():
    found = choose_round(county(2), times=TIMES, budget_minutes=6000.0, most_signs=7)
    assert len(found.signs) == 7


def test_the_same_signs_come_out_every_time():
    first, second = (
        choose_round(county(5), times=TIMES, budget_minutes=300.0) for _time in range(2)
    )
    assert first.signs.tolist() == second.signs.tolist()


def test_two_supports_in_one_spot_are_two_stops_without_a_way():
    spot = Candidates(np.ones(2), np.array([0, 1]), np.full(2, 43.0), np.full(2, -89.0))
    found = choose_round(spot, times=TIMES, budget_minutes=60.0)
    assert found.total_minutes == 2 * (TIMES.stop_minutes + TIMES.sign_minutes)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: CrewTimes(sign_minutes=0.0), "Minutes a sign: 0 is given"),
        (lambda: CrewTimes(stop_minutes=-1.0), "Minutes a stop: -1"),
        (lambda: CrewTimes(speed_km_h=0.0), "Speed on the way: 0"),
        (lambda: CrewTimes(detour_factor=0.5), "by road: 0.5"),
        (
            lambda: choose_round(county(1), times=TIMES, budget_minutes=-1.0),
            "has -1 minutes",
        ),
        (
            lambda: choose_round(county(1), times=TIMES, budget_minutes=1.0, most_signs=0),
            "At most 0 signs",
        ),
        (
            lambda: Candidates(np.ones(1), np.array([1]), np.zeros(1), np.zeros(1)),
            "support 1 of 1",
        ),
        (
            lambda: Candidates(np.array([-1.0]), np.array([0]), np.zeros(1), np.zeros(1)),
            "worth -1",
        ),
        (
            lambda: Candidates(np.ones(2), np.array([0]), np.zeros(1), np.zeros(1)),
            "a value and a support",
        ),
    ],
)
def test_what_is_out_of_bounds_is_said_with_the_value(call, words):
    with pytest.raises(OutOfRangeError, match=words):
        call()
