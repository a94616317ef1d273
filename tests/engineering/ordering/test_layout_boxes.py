"""Boxes on the roll: nothing lost, gaps kept, cuttable when asked, near the least length.

Outside checks: geometry by shapely; the least length of small sets by OR-Tools CP-SAT; the bar
bound by a linear programme over every bar, written out.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model
from scipy.optimize import linprog

from inventory.engineering.ordering.layout.bounds import bar_bound, simple_bound
from inventory.engineering.ordering.layout.boxes import lay_boxes
from inventory.engineering.ordering.layout.strip import Box, strip_of
from inventory.errors import OutOfRangeError
from tests.engineering.ordering.layouts import can_be_cut, check_boxes, edges_of

ROLL_IN = 48.0
SIZES = (6, 8, 9, 12, 18, 21, 24, 30, 36, 48, 10.5, 17.25)  # common faces, and odd ones


@st.composite
def orders(draw):
    sizes = draw(
        st.lists(
            st.tuples(st.sampled_from(SIZES), st.sampled_from(SIZES), st.booleans()),
            min_size=1,
            max_size=6,
        )
    )
    boxes: list[Box] = []
    for width, length, can_turn in sizes:
        for _ in range(draw(st.integers(1, 6))):
            boxes.append(
                Box(key=len(boxes) + 1, width_in=width, length_in=length, can_turn=can_turn)
            )
    return boxes


@settings(max_examples=30, deadline=None)
@given(
    boxes=orders(), gap_in=st.sampled_from((0.0, 0.125, 0.25, 1.0)), is_straight=st.booleans()
)
def test_whatever_is_ordered_lies_on_the_roll_with_its_gaps(boxes, gap_in, is_straight):
    layout = lay_boxes(
        boxes, usable_width_in=ROLL_IN, gap_in=gap_in, is_straight=is_straight, seconds=0.1
    )
    check_boxes(layout, boxes, ROLL_IN, gap_in)
    if is_straight:
        assert layout.is_straight
    if layout.is_straight:
        assert can_be_cut(edges_of(layout))


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10**6), count=st.integers(41, 70), is_straight=st.booleans())
def test_faces_of_many_sizes_are_laid_by_orders(seed, count, is_straight):
    random = np.random.default_rng(seed)
    boxes = [
        Box(key=at, width_in=round(w, 3), length_in=round(h, 3), can_turn=bool(turn))
        for at, (w, h, turn) in enumerate(
            zip(
                random.uniform(4, 47, count),
                random.uniform(4, 60, count),
                random.integers(0, 2, count),
                strict=True,
            )
        )
    ]
    layout = lay_boxes(
        boxes, usable_width_in=ROLL_IN, gap_in=0.25, is_straight=is_straight, seconds=0.1
    )
    check_boxes(layout, boxes, ROLL_IN, 0.25)
    assert not layout.is_straight or can_be_cut(edges_of(layout))


def least_length(boxes: list[Box], room: int) -> int:
    """Return the least length by CP-SAT, whole inches, no gap."""
    model = cp_model.CpModel()
    most = sum(max(int(some.width_in), int(some.length_in)) for some in boxes)
    top = model.new_int_var(0, most, "top")
    across, along = [], []
    for at, some in enumerate(boxes):
        ways = [(int(some.width_in), int(some.length_in))]
        if some.can_turn:
            ways.append(ways[0][::-1])
        turn = model.new_bool_var(f"turn{at}")
        if len(ways) == 1:
            model.add(turn == 0)
        w = model.new_int_var(0, most, f"w{at}")
        h = model.new_int_var(0, most, f"h{at}")
        for state, way in enumerate(ways):
            only = turn if state else ~turn
            model.add(w == way[0]).only_enforce_if(only)
            model.add(h == way[1]).only_enforce_if(only)
        x = model.new_int_var(0, room, f"x{at}")
        y = model.new_int_var(0, most, f"y{at}")
        right = model.new_int_var(0, room, f"r{at}")
        high = model.new_int_var(0, most, f"t{at}")
        across.append(model.new_interval_var(x, w, right, f"xi{at}"))
        along.append(model.new_interval_var(y, h, high, f"yi{at}"))
        model.add(high <= top)
    model.add_no_overlap_2d(across, along)
    model.minimize(top)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return int(solver.objective_value)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("can_turn", [False, True], ids=["as hung", "turned too"])
def test_small_sets_reach_the_least_length_of_cp_sat(seed, can_turn):
    random = np.random.default_rng(seed)
    boxes = [
        Box(key=at, width_in=int(w), length_in=int(h), can_turn=can_turn)
        for at, (w, h) in enumerate(random.integers(2, 9, (7, 2)))
    ]
    least = least_length(boxes, 12)
    layout = lay_boxes(
        boxes, usable_width_in=12, gap_in=0, is_straight=False, seconds=1, seed=seed
    )
    assert layout.bound_in <= least
    assert layout.length_in == least


@pytest.mark.parametrize("can_turn", [False, True], ids=["as hung", "turned too"])
def test_the_bar_bound_is_that_of_every_bar_written_out(can_turn):
    counts = {(24, 30): 5, (18, 24): 4, (12, 18): 6, (30, 30): 3}
    boxes = [
        Box(key=at, width_in=w, length_in=h, can_turn=can_turn)
        for at, (w, h) in enumerate(
            size for size, count in counts.items() for _ in range(count)
        )
    ]
    strip = strip_of(boxes, usable_width_in=ROLL_IN, gap_in=0)
    ways = [
        (across, along, size)
        for size, (w, h) in enumerate(counts)
        for across, along in ({(w, h), (h, w)} if can_turn else {(w, h)})
    ]
    bars = [
        bar
        for bar in itertools.product(*(range(int(ROLL_IN // way[0]) + 1) for way in ways))
        if 0 < sum(n * way[0] for n, way in zip(bar, ways, strict=True)) <= ROLL_IN
    ]
    found = linprog(
        [1.0] * len(bars) + [0.0] * len(ways),
        A_ub=np.hstack((-np.array(bars).T, np.diag([way[1] for way in ways]))),
        b_ub=np.zeros(len(ways)),
        A_eq=np.hstack(
            (
                np.zeros((len(counts), len(bars))),
                [[float(way[2] == size) for way in ways] for size in range(len(counts))],
            )
        ),
        b_eq=list(counts.values()),
    )
    assert bar_bound(strip) == pytest.approx(
        max((found.fun or 0) * 1000, simple_bound(strip)), abs=1
    )


def test_two_faces_of_24_in_do_not_lie_side_by_side_with_a_gap():
    """A 48 in roll holds two 24 in faces only where they touch; plain arithmetic."""
    pair = [Box(key=at, width_in=24, length_in=30) for at in (1, 2)]
    touching = lay_boxes(pair, usable_width_in=48, gap_in=0, is_straight=True, seconds=0.1)
    apart = lay_boxes(pair, usable_width_in=48, gap_in=0.25, is_straight=True, seconds=0.1)
    assert touching.length_in == 30
    assert apart.length_in == apart.bound_in == 60.25


def test_a_30_in_face_leaves_an_18_in_strip_of_a_48_in_roll():
    """As shop practice has it: an 18 in face beside it takes no length more."""
    faces = [
        Box(key=1, width_in=30, length_in=30),
        Box(key=2, width_in=18, length_in=24),
    ]
    layout = lay_boxes(faces, usable_width_in=48, gap_in=0, is_straight=True, seconds=0.1)
    assert layout.length_in == 30


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"boxes": []}, "no face"),
        ({"boxes": [Box(key=1, width_in=50, length_in=20)]}, "laid as it is hung"),
        ({"boxes": [Box(key=1, width_in=50, length_in=49, can_turn=True)]}, "1 in wider"),
        ({"boxes": [Box(key=1, width_in=float("nan"), length_in=20)]}, "cannot be laid out"),
        ({"usable_width_in": 0}, "usable width of 0 in"),
        ({"gap_in": -1}, "gap of -1 in"),
        ({"seconds": 0}, "search of 0 s"),
    ],
)
def test_what_cannot_be_laid_is_refused_with_the_bound(change, words):
    asked = {
        "boxes": [Box(key=1, width_in=20, length_in=20)],
        "usable_width_in": 48,
        "gap_in": 0.25,
        "is_straight": True,
        "seconds": 1,
    } | change
    with pytest.raises(OutOfRangeError, match=words):
        lay_boxes(asked.pop("boxes"), **asked)


def test_a_stop_keeps_what_is_found():
    boxes = [
        Box(key=at, width_in=5 + at % 40 + at / 100, length_in=9 + at % 31 + at / 50)
        for at in range(90)
    ]
    layout = lay_boxes(
        boxes,
        usable_width_in=48,
        gap_in=0.25,
        is_straight=False,
        seconds=30,
        should_stop=lambda: True,
    )
    check_boxes(layout, boxes, 48, 0.25)


@pytest.mark.parametrize("is_straight", [True, False])
def test_faces_of_one_size_may_be_given_upright_and_lying(is_straight):
    faces = [
        Box(key=at, width_in=w, length_in=h, can_turn=True)
        for at, (w, h) in enumerate([(10.5, 36), (36, 10.5)] * 6 + [(24, 12), (12, 24)] * 3)
    ]
    layout = lay_boxes(
        faces, usable_width_in=47.5, gap_in=1, is_straight=is_straight, seconds=0.2
    )
    check_boxes(layout, faces, 47.5, 1)
