"""Random orders for rolls, and what a plan has to keep, asked of another library's geometry."""

from __future__ import annotations

import itertools

import numpy as np
from shapely import STRtree, box
from shapely.geometry import Polygon

from inventory.engineering.ordering.layout.drawing_figures import Direction, figures_of
from inventory.engineering.ordering.layout.plans import Load, RollPlan, StockRoll
from inventory.engineering.ordering.layout.roll import (
    Cutter,
    Face,
    Laying,
    Press,
    Turns,
)
from inventory.engineering.standards.vocabulary import Shape

HAIR_IN = 1e-5
SIZES_IN = (6, 12, 18, 24, 30, 36, 48, 10.5, 17.25, 60)
SHAPES = (
    Shape.RECTANGLE,
    Shape.OCTAGON,
    Shape.DIAMOND,
    Shape.TRIANGLE_DOWN,
    Shape.CIRCLE,
    Shape.CROSSBUCK,
    Shape.PENTAGON,
    None,
)


def random_order(seed: int, most_faces: int = 30):
    """Return faces, rolls, press, laying and turns of one invented order."""
    random = np.random.default_rng(seed)
    faces: list[Face] = []
    for _ in range(int(random.integers(1, 6))):
        shape = SHAPES[int(random.integers(len(SHAPES)))]
        width, height = (float(some) for some in random.choice(SIZES_IN, 2))
        if shape in (Shape.OCTAGON, Shape.DIAMOND, Shape.CIRCLE):
            height = width
        rank = int(random.integers(1, 4))
        for _ in range(int(random.integers(1, most_faces // 5 + 1))):
            faces.append(
                Face(
                    key=len(faces) + 1,
                    shape=shape,
                    width_in=width,
                    height_in=height,
                    due_rank=rank,
                )
            )
    has_costs = bool(random.integers(2))
    rolls = [
        StockRoll(
            key=100 + at,
            width_in=float(random.choice((24, 30, 36, 48))),
            length_in=float(random.choice((10, 60, 150, 600, 1800))),
            cost_per_ft2=float(random.choice((1.5, 2.0))) if has_costs else None,
        )
        for at in range(int(random.integers(1, 5)))
    ]
    press = Press(
        printable_width_in=float(random.choice((47.5, 50, 64))),
        lead_in_in=float(random.choice((0, 6.5))),
        tail_in=float(random.choice((0, 12))),
    )
    laying = Laying(
        cutter=Cutter.CONTOUR if random.integers(2) else Cutter.STRAIGHT,
        gap_in=float(random.choice((0, 0.125, 0.25, 1))),
        bleed_in=float(random.choice((0, 0.125))),
        edge_margin_in=float(random.choice((0, 0.25, 0.5))),
        is_to_the_edge=bool(random.integers(2)),
        overlap_in=(None, 0.0, 1.0)[int(random.integers(3))],
    )
    angles = ((0,), (0, 90), (0, 45), (0, 45, 90, 180))[int(random.integers(4))]
    turns = Turns(angles_deg=angles, basis="invented for the tests")
    return faces, rolls, press, laying, turns


def check_plan(plan: RollPlan, faces, rolls, press, laying, turns) -> None:
    """Ask of a plan what it has to keep."""
    asked = {face.key: face for face in faces}
    told = [some.face for some in plan.not_laid]
    laid = [(some.face, some.part) for load in plan.loads for some in load.laid]
    assert len(set(laid)) == len(laid)
    # Nothing is missing and nothing is both laid and left out.
    assert sorted({face for face, _ in laid} | set(told)) == sorted(asked)
    assert not {face for face, _ in laid} & set(told)
    assert all(some.reason.endswith(".") for some in plan.not_laid)
    assert len({load.roll.key for load in plan.loads}) == len(plan.loads)
    for load in plan.loads:
        check_load(load, press, laying)
        for some in load.laid:
            assert min(abs(some.angle_deg - angle) for angle in turns.all_deg) < 1e-6
            # All parts of a face come off one roll, in one turn if it is spliced.
            others = [o for each in plan.loads for o in each.laid if o.face == some.face]
            assert len(others) == some.parts
            assert {other.roll for other in others} == {some.roll}
            is_blade = asked[some.face].shape is Shape.CROSSBUCK
            if some.parts == 2 and not is_blade:
                assert len({other.angle_deg for other in others}) == 1
    if plan.is_in_order:
        check_order(plan)
    assert abs(plan.taken_in - sum(load.taken_in for load in plan.loads)) < HAIR_IN


def check_order(plan: RollPlan) -> None:
    """Ask that no face comes off after one of a later rank; pins are let be."""
    before = 0
    for load in plan.loads:
        ranks = sorted({some.due_rank for some in load.laid if not some.is_pinned})
        ends = {}
        starts = {}
        for rank in ranks:
            mine = [some for some in load.laid if some.due_rank == rank and not some.is_pinned]
            ends[rank] = max(some.edges[3] for some in mine)
            starts[rank] = min(some.edges[1] for some in mine)
        for one, other in itertools.pairwise(ranks):
            assert ends[one] <= starts[other] + HAIR_IN
        if ranks:
            assert ranks[0] >= before
            before = ranks[-1]


def check_load(load: Load, press: Press, laying: Laying) -> None:
    """Ask of one roll: all on it, printed within the press's width, gaps kept, cut apart."""
    roll = load.roll
    lost = press.lead_in_in + press.tail_in + 2 * laying.bleed_in
    assert abs(load.taken_in - load.length_in - lost) < HAIR_IN
    assert load.taken_in <= roll.length_in + HAIR_IN
    assert abs(load.left_in - (roll.length_in - load.taken_in)) < HAIR_IN
    margin = 0.0 if laying.is_to_the_edge else laying.edge_margin_in
    start = press.lead_in_in + laying.bleed_in
    room = box(margin, start, roll.width_in - margin, start + load.length_in)
    middle = roll.width_in / 2
    half = press.printable_width_in / 2
    outlines = [Polygon(some.outline) for some in load.laid]
    for outline in outlines:
        assert room.buffer(HAIR_IN, join_style="mitre").contains(outline)
        printed = outline.buffer(laying.bleed_in).bounds
        # What is printed and on the roll is within the press's width.
        assert max(printed[0], 0) >= middle - half - HAIR_IN
        assert min(printed[2], roll.width_in) <= middle + half + HAIR_IN
    tree = STRtree(outlines)
    apart = max(laying.gap_in, 2 * laying.bleed_in)
    for at, outline in enumerate(outlines):
        for other in tree.query(outline.buffer(apart + 1)):
            if other > at:
                assert outline.distance(outlines[other]) >= apart - HAIR_IN
    if outlines:
        end = max(outline.bounds[3] for outline in outlines)
        assert abs(end - start - load.length_in) < 5e-3
    area = sum(outline.area for outline in outlines)
    assert area / load.usable_width_in <= load.length_in + 5e-3
    assert load.bound_in <= load.length_in + HAIR_IN
    if laying.cutter is Cutter.STRAIGHT:
        assert load.is_straight
        check_cuts(load)
    figures = figures_of(load)
    taken = load.taken_in * roll.width_in
    assert abs(figures.waste_percent - 100 * (taken - area) / taken) < 1e-6
    assert abs(figures.waste_ft2 * 144 - (taken - area)) < 1e-3


def check_cuts(load: Load) -> None:
    """Make the cuts one after the other with shapely; every face has to be one part then."""
    first, *cuts = figures_of(load).cuts
    assert first.direction is Direction.ACROSS
    assert abs(first.at_in - load.taken_in) < HAIR_IN
    parts = made_cuts([(0.0, 0.0, load.roll.width_in, load.taken_in)], cuts)
    shapes = [box(*part) for part in parts]
    for some in load.laid:
        whole = box(*some.edges)
        assert sum(shape.symmetric_difference(whole).area < 1e-3 for shape in shapes) == 1
    for shape in shapes:
        held = [some for some in load.laid if shape.intersection(box(*some.edges)).area > 1e-3]
        assert len(held) <= 1


def made_cuts(parts, cuts):
    """Return the parts after the cuts; each has to go from edge to edge of exactly one."""
    for cut in cuts:
        at = 1 if cut.direction is Direction.ACROSS else 0
        mine = [
            part
            for part in parts
            if part[at] + HAIR_IN / 10 < cut.at_in < part[at + 2] - HAIR_IN / 10
            and abs(part[1 - at] - cut.from_in) < HAIR_IN
            and abs(part[3 - at] - cut.to_in) < HAIR_IN
        ]
        assert len(mine) == 1, (cut, mine)
        (part,) = mine
        near, far = list(part), list(part)
        near[at + 2] = far[at] = cut.at_in
        parts = [some for some in parts if some != part] + [tuple(near), tuple(far)]
    return parts
