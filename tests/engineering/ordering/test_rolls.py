"""Faces on the rolls in stock: which roll, what is left, what is not laid, what is fixed.

Outside checks: geometry by shapely (roll_plans.py); small sets by trying every share of faces
to rolls with CP-SAT lengths; plain arithmetic written beside each figure.
"""

from __future__ import annotations

import dataclasses
import itertools
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.engineering.ordering.layout.plans import Pin, StockRoll
from inventory.engineering.ordering.layout.roll import Cutter, Face, Laying, Press, Turns
from inventory.engineering.ordering.layout.rolls import plan_rolls
from inventory.engineering.ordering.layout.strip import Box
from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import OutOfRangeError
from tests.engineering.ordering.roll_plans import check_load, check_plan, random_order
from tests.engineering.ordering.test_layout_boxes import least_length

PRESS = Press(printable_width_in=60, lead_in_in=6, tail_in=10)
STRAIGHT = Laying(cutter=Cutter.STRAIGHT, edge_margin_in=0, gap_in=0)
TURNED = Turns(angles_deg=(0, 90), basis="invented for the tests")


def squares(count, size_in, *, first=1, rank=1):
    return [
        Face(
            key=first + at,
            shape=Shape.RECTANGLE,
            width_in=size_in,
            height_in=size_in,
            due_rank=rank,
        )
        for at in range(count)
    ]


def stock(*pairs, cost=None):
    return [
        StockRoll(key=at, width_in=width, length_in=length, cost_per_ft2=cost)
        for at, (width, length) in enumerate(pairs, start=1)
    ]


def plan(faces, rolls, **asked):
    rules: dict[str, Any] = {
        "press": PRESS,
        "laying": STRAIGHT,
        "turns": Turns(),
        "seconds": 0.2,
    }
    return plan_rolls(faces, rolls, **(rules | asked))


def lay(seed, **more):
    faces, rolls, press, laying, turns = random_order(seed, most_faces=15)
    return plan_rolls(
        faces,
        rolls,
        press=press,
        laying=laying,
        turns=turns,
        seconds=0.2,
        in_order=bool(seed % 2),
        **more,
    )


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_whatever_is_ordered_lies_on_the_rolls_or_is_listed(seed):
    check_plan(lay(seed), *random_order(seed, most_faces=15))


@settings(max_examples=4, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_what_is_fixed_stays_and_what_is_left_out_is_listed(seed):
    before = lay(seed)
    laid = [some for load in before.loads for some in load.laid]
    faces = sorted({some.face for some in laid})
    random = np.random.default_rng(seed)
    fixed = {face for face in faces if random.random() < 0.5}
    free = [face for face in faces if face not in fixed]
    excluded = free[: len(free) // 3]
    if not laid:
        return
    again = lay(seed, pins=[s.pin for s in laid if s.face in fixed], excluded=excluded)
    check_plan(again, *random_order(seed, most_faces=15))
    now = {(some.face, some.part): some for load in again.loads for some in load.laid}
    for some in laid:
        if some.face in fixed:
            same = now[some.face, some.part]
            assert same.is_pinned
            assert same.roll == some.roll
            np.testing.assert_allclose(same.outline, some.outline, atol=1e-6)
    assert set(excluded) <= {some.face for some in again.not_laid}


@pytest.mark.parametrize("seed", range(3))
def test_small_orders_on_two_rolls_are_as_short_as_every_share_tried(seed):
    """Every way to share five faces between two rolls, each length by CP-SAT, no gap."""
    random = np.random.default_rng(seed)
    faces = [
        Face(key=at, shape=Shape.RECTANGLE, width_in=float(w), height_in=float(h))
        for at, (w, h) in enumerate(random.integers(2, 9, (5, 2)))
    ]
    rolls = stock((9, 100), (12, 100))
    shortest = min(
        sum(
            16 + least_length([_box(face) for face in mine], int(roll.width_in))
            for roll, mine in (
                (roll, [f for f, on in zip(faces, share, strict=True) if on == roll.key])
                for roll in rolls
            )
            if mine
        )
        for share in itertools.product((1, 2), repeat=5)
    )
    free = dataclasses.replace(STRAIGHT, cutter=Cutter.CONTOUR)
    found = plan(faces, rolls, laying=free, seconds=1)
    assert not found.not_laid
    assert found.taken_in == shortest


def _box(face):
    return Box(key=face.key, width_in=face.width_in, length_in=face.height_in)


def test_30_in_faces_go_on_the_30_in_roll_and_18_in_ones_beside_them_on_the_48():
    """
    Ten of 30 × 30 in take 300 in of either roll; the 48 in one would waste 18 × 300 in.

    With ten of 18 × 30 in beside them they take 300 in of the 48 in roll; any other way takes
    longer: 300 in of a 30 in roll and 150 in more.
    """
    rolls = stock((24, 1800), (30, 1800), (36, 1800), (48, 1800), cost=1.8)
    alone = plan(squares(10, 30), rolls)
    assert [(load.roll.width_in, load.taken_in) for load in alone.loads] == [(30, 316)]
    assert alone.loads[0].left_in == 1800 - 316
    # Nothing but lead-in and tail is wasted: 16 × 30 in² = 3.33 ft², at 1.8 a ft².
    assert alone.waste_ft2 == pytest.approx(16 * 30 / 144)
    assert alone.waste_cost == pytest.approx(16 * 30 / 144 * 1.8)
    narrow = [
        Face(key=20 + at, shape=Shape.RECTANGLE, width_in=18, height_in=30) for at in range(10)
    ]
    both = plan([*squares(10, 30), *narrow], rolls)
    assert [(load.roll.width_in, load.taken_in) for load in both.loads] == [(48, 316)]


def test_a_second_load_is_made_only_where_one_roll_does_not_hold_all():
    """Six of 30 in need 180 in and 16 in lost; 130 in hold three, with 16 in lost again."""
    one = plan(squares(6, 30), stock((30, 196), (30, 1000)))
    assert [load.taken_in for load in one.loads] == [196]
    two = plan(squares(6, 30), stock((30, 130), (30, 110)))
    assert sorted(load.taken_in for load in two.loads) == [106, 106]
    assert not two.not_laid


def test_where_length_runs_out_the_urgent_faces_are_laid_and_the_others_listed():
    faces = [*squares(3, 30, rank=2), *squares(3, 30, first=11, rank=1)]
    found = plan(faces, stock((30, 16 + 120)))
    assert {some.face for some in found.loads[0].laid} >= {11, 12, 13}
    assert len(found.not_laid) == 2
    assert all("takes 30 in along the roll" in some.reason for some in found.not_laid)
    assert all("Add a roll" in some.reason for some in found.not_laid)


def test_what_order_costs_is_told_both_ways():
    """
    Two of 24 × 24 in and two of 24 × 36 in on 48 in, one of each urgent.

    Mixed: 24 + 36 = 60 in. In order each rank has a 36 in long pair: 72 in, 12 in more.
    """
    faces = [
        Face(key=2 * rank + at, shape=Shape.RECTANGLE, width_in=24, height_in=h, due_rank=rank)
        for rank in (1, 2)
        for at, h in enumerate((24, 36))
    ]
    rolls = stock((48, 1000))
    mixed = plan(faces, rolls, seconds=0.4)
    ordered = plan(faces, rolls, seconds=0.4, in_order=True)
    assert mixed.taken_in == 16 + 60
    assert ordered.taken_in == 16 + 72
    assert mixed.order_costs_in == ordered.order_costs_in == 12
    ends = {some.due_rank: some.edges[3] for some in ordered.loads[0].laid}
    starts = {some.due_rank: some.edges[1] for some in ordered.loads[0].laid}
    assert ends[1] <= starts[2]
    assert plan(squares(2, 24), rolls).order_costs_in is None


def test_urgent_faces_come_off_first_across_rolls_too():
    faces = [*squares(4, 30, rank=2), *squares(4, 30, first=11, rank=1)]
    found = plan(faces, stock((30, 140), (30, 140)), in_order=True, seconds=0.4)
    assert [[some.due_rank for some in load.laid] for load in found.loads] == [
        [1, 1, 1, 1],
        [2, 2, 2, 2],
    ]


def test_a_face_wider_than_every_roll_is_spliced_on_one_roll_in_one_turn():
    guide = Face(key=1, shape=Shape.RECTANGLE, width_in=84, height_in=60)
    rules = dataclasses.replace(STRAIGHT, overlap_in=1.0, gap_in=0.25)
    rolls = stock((48, 70), (48, 400))
    found = plan([guide], rolls, laying=rules, turns=TURNED)
    (load,) = found.loads
    assert load.roll.key == 2  # two parts of 42.5 × 60 in: 120.25 in of one roll, one lot
    assert load.length_in == pytest.approx(120.25)
    assert [(some.part, some.parts, some.angle_deg) for some in load.laid] == [
        (1, 2, 0),
        (2, 2, 0),
    ]
    check_load(load, PRESS, rules)
    (left,) = plan([guide], stock((48, 70)), laying=rules).not_laid
    assert "No place was found" in left.reason
    (refused,) = plan([dataclasses.replace(guide, width_in=120)], rolls, laying=rules).not_laid
    assert "more than one splice" in refused.reason
    (unset,) = plan([guide], rolls).not_laid
    assert "84 in across at least" in unset.reason


def test_other_faces_fill_the_room_between_fixed_ones():
    """A 30 in face fixed 40 in behind the start leaves room for one before it."""
    faces = squares(3, 30)
    pin = Pin(face=1, roll=1, across_in=0, along_in=6 + 40)
    (load,) = plan(faces, stock((30, 400)), pins=[pin]).loads
    assert [some.edges[1] - 6 for some in load.laid] == [0, 40, 70]
    assert [some.is_pinned for some in load.laid] == [False, True, False]


@pytest.mark.parametrize(
    ("pins", "excluded", "words"),
    [
        ([Pin(face=1, roll=9, across_in=0, along_in=6)], (), "roll 9, which is not given"),
        ([Pin(face=1, roll=1, across_in=0, along_in=6)], (1,), "not among the faces"),
        ([Pin(face=1, part=2, roll=1, across_in=0, along_in=6)], (), "part 2, is fixed"),
        ([Pin(face=1, roll=1, across_in=0, along_in=6, angle_deg=90.5)], (), "turn of 90.5°"),
        ([Pin(face=1, roll=1, across_in=19, along_in=6)], (), "from 19 to 49 in across"),
        ([Pin(face=1, roll=1, across_in=0, along_in=5)], (), "-1 to 29 in along"),
        ([Pin(face=1, roll=1, across_in=0, along_in=float("nan"))], (), "at no place"),
        (
            [
                Pin(face=1, roll=1, across_in=0, along_in=6),
                Pin(face=2, roll=1, across_in=0, along_in=26),
            ],
            (),
            "0 in apart",
        ),
        (
            [
                Pin(face=1, roll=1, across_in=0, along_in=6),
                Pin(face=1, roll=1, across_in=0, along_in=46),
            ],
            (),
            "fixed twice",
        ),
    ],
)
def test_a_face_that_cannot_be_fixed_there_is_refused(pins, excluded, words):
    with pytest.raises(OutOfRangeError, match=words):
        plan(squares(3, 30), stock((48, 400)), pins=pins, excluded=excluded)


def test_fixed_faces_that_straight_cuts_do_not_part_are_refused():
    """Four round one, each reaching past the next: the usual pinwheel."""
    sizes = {1: (20, 10), 2: (10, 20), 3: (20, 10), 4: (10, 20)}
    faces = [
        Face(key=key, shape=Shape.RECTANGLE, width_in=w, height_in=h)
        for key, (w, h) in sizes.items()
    ]
    at = {1: (0, 0), 2: (20, 0), 3: (10, 20), 4: (0, 10)}
    pins = [Pin(face=k, roll=1, across_in=x, along_in=6 + y) for k, (x, y) in at.items()]
    with pytest.raises(OutOfRangeError, match="not parted by cuts"):
        plan(faces, stock((30, 400)), pins=pins)
    free = dataclasses.replace(STRAIGHT, cutter=Cutter.CONTOUR)
    assert plan(faces, stock((30, 400)), pins=pins, laying=free).taken_in == 16 + 30


@pytest.mark.parametrize(
    ("faces", "rolls", "more", "words"),
    [
        ([], stock((48, 100)), {}, "0 faces"),
        (squares(1, 30), [], {}, "0 rolls"),
        (squares(1, 30), stock((48, 100)), {"excluded": (1,)}, "0 faces to lay"),
        (squares(1, 30) * 2, stock((48, 100)), {}, "Face 1 is given twice"),
        (squares(1, 30), stock((48, 100)) * 2, {}, "Roll 1 is given twice"),
        (squares(1, 30), stock((48, float("nan"))), {}, "length of nan in left on roll 1"),
        (squares(1, 30), stock((0, 100)), {}, "roll width of 0 in"),
        (squares(1, 30), stock((48, 100), cost=-1), {}, "cost of -1 a ft²"),
        (squares(1, 30), stock((48, 100)), {"seconds": 0}, "search of 0 s"),
    ],
)
def test_what_cannot_be_planned_is_refused_with_the_bound(faces, rolls, more, words):
    with pytest.raises(OutOfRangeError, match=words):
        plan(faces, rolls, **more)


def test_a_roll_with_nothing_left_takes_nothing():
    found = plan(squares(1, 30), stock((30, 0), (48, 46)))
    assert [load.roll.key for load in found.loads] == [2]
    assert plan(squares(1, 30), stock((30, 45))).not_laid[0].reason.startswith("No place")


def test_a_stop_keeps_a_whole_plan():
    faces, rolls, press, laying, turns = random_order(3)
    found = plan_rolls(
        faces,
        rolls,
        press=press,
        laying=laying,
        turns=turns,
        seconds=30,
        should_stop=lambda: True,
    )
    check_plan(found, faces, rolls, press, laying, turns)


@pytest.mark.parametrize("seed", [167, 175])
def test_no_face_is_laid_twice_where_that_would_waste_less(seed):
    given_faces, rolls, press, laying, turns = random_order(seed)
    found = plan_rolls(
        given_faces,
        rolls,
        press=press,
        laying=laying,
        turns=turns,
        seconds=0.2,
        in_order=bool(seed % 2),
    )
    check_plan(found, given_faces, rolls, press, laying, turns)
