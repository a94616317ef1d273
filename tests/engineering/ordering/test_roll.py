"""What comes off a roll, what is spliced, and the cuts of a drawing.

Plain arithmetic is written beside each figure; the rules of a splice are those of North Dakota
Administrative Code 37-11-05-01 as shop practice has them.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box
from shapely.affinity import translate
from shapely.geometry import Polygon

from inventory.engineering.ordering.layout.contours import outline_of
from inventory.engineering.ordering.layout.drawing_figures import cuts_of, is_parted
from inventory.engineering.ordering.layout.roll import (
    Cutter,
    Face,
    Laying,
    Press,
    Turns,
    require_fit,
    usable_width_in,
    whole_pieces,
)
from inventory.engineering.ordering.layout.splices import spliced_pieces
from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import OutOfRangeError
from tests.engineering.ordering.layouts import can_be_cut
from tests.engineering.ordering.roll_plans import made_cuts

IN_STOCK_IN = (24, 30, 36, 48)
PRESS = Press(printable_width_in=64)
RULES = Laying(cutter=Cutter.STRAIGHT, edge_margin_in=0.25, gap_in=0.25)
TURNED = Turns(angles_deg=(0, 90), basis="invented for the tests")
SQUARE = Turns(angles_deg=(0, 45), basis="invented for the tests")


def face(width, height, shape: Shape | None = Shape.RECTANGLE):
    return Face(key=7, shape=shape, width_in=width, height_in=height)


@pytest.mark.parametrize(
    ("printable", "margin", "bleed", "to_the_edge", "expected"),
    [
        (64, 0, 0, False, 48),  # zero margin: a face as wide as the roll
        (64, 0.5, 0, False, 47),
        (64, 0.25, 0.5, False, 47),  # the bleed has to lie on the roll
        (64, 0.25, 0.5, True, 48),  # and ends with it where cut to the edge
        (47.5, 0, 0, False, 47.5),
        (47.5, 0, 0.125, True, 47.25),  # bleed needed: the press does not reach the edge
        (47.5, 1, 0.125, False, 46),
        (48, 0, 0.125, False, 47.75),
    ],
)
def test_four_widths_make_what_can_be_used(printable, margin, bleed, to_the_edge, expected):
    laying = Laying(
        cutter=Cutter.STRAIGHT,
        edge_margin_in=margin,
        gap_in=0.25,
        bleed_in=bleed,
        is_to_the_edge=to_the_edge,
    )
    assert usable_width_in(48, Press(printable_width_in=printable), laying) == expected
    assert laying.between_in == max(0.25, 2 * bleed)


@pytest.mark.parametrize(
    ("asked", "roll", "turns", "words"),
    [
        (face(48, 60), 48, Turns(), "of which 47.5 in can be used. Choose zero margin"),
        (face(30, 60), 24, Turns(), "does not come off the 24 in roll.* Take a 36 in roll"),
        (face(60, 30), 36, Turns(), "laid on its side it is 30 in across"),
        (face(36, 36, Shape.DIAMOND), 48, Turns(), r"50\.91 in across.*by 45°.*36 in across"),
        (face(60, 60), 48, TURNED, r"no width given \(24, 30, 36, 48 in\) would do"),
        (face(70, 70), 48, TURNED, "the press prints 64 in only"),
    ],
)
def test_what_does_not_come_off_is_told_what_would_do(asked, roll, turns, words):
    with pytest.raises(OutOfRangeError, match=words):
        require_fit(
            asked,
            roll_width_in=roll,
            widths_in=IN_STOCK_IN,
            press=PRESS,
            laying=RULES,
            turns=turns,
        )


@pytest.mark.parametrize(
    ("asked", "roll", "turns", "laying"),
    [
        (face(48, 60), 48, Turns(), dataclasses.replace(RULES, edge_margin_in=0)),
        (face(48, 60), 48, Turns(), dataclasses.replace(RULES, is_to_the_edge=True)),
        (face(60, 30), 36, TURNED, RULES),
        (face(36, 36, Shape.DIAMOND), 48, SQUARE, RULES),
        (face(60, 9, Shape.CROSSBUCK), 24, TURNED, RULES),
    ],
)
def test_what_comes_off_is_not_refused(asked, roll, turns, laying):
    require_fit(
        asked,
        roll_width_in=roll,
        widths_in=IN_STOCK_IN,
        press=PRESS,
        laying=laying,
        turns=turns,
    )


def test_a_diamond_is_laid_square_only_where_sheeting_may_be_turned_by_45():
    diamond = face(36, 36, Shape.DIAMOND)
    (upright,) = whole_pieces(diamond, TURNED)
    (square,) = whole_pieces(diamond, SQUARE)
    assert upright.box_turn(60) == (0, False)  # turned by 90° it is the same square
    assert upright.sizes[0.0] == pytest.approx((36 * math.sqrt(2),) * 2)
    turn, _ = square.box_turn(48)
    assert square.sizes[turn] == pytest.approx((36, 36))


def test_turns_add_up_and_need_a_basis():
    every = Turns(angles_deg=(0, 45, 90, 180), basis="invented")
    assert every.all_deg == tuple(float(angle) for angle in range(0, 360, 45))
    assert Turns().all_deg == (0.0,)
    with pytest.raises(OutOfRangeError, match="Turns of 90° are allowed without a basis"):
        Turns(angles_deg=(0, 90), basis=" ")
    with pytest.raises(OutOfRangeError, match="turn of 30° cannot be set"):
        Turns(angles_deg=(0, 30), basis="invented")


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Press(printable_width_in=0), "printable width of 0 in"),
        (lambda: Press(printable_width_in=60, lead_in_in=-1), "lead-in of -1 in"),
        (lambda: Press(printable_width_in=60, tail_in=math.nan), "tail of nan in"),
        (lambda: dataclasses.replace(RULES, gap_in=13), "gap of 13 in .* 0 to 12 in"),
        (lambda: dataclasses.replace(RULES, bleed_in=-0.1), "bleed of -0.1 in"),
        (lambda: dataclasses.replace(RULES, edge_margin_in=math.inf), "margin of inf in"),
        (lambda: dataclasses.replace(RULES, overlap_in=7), "overlap of a splice of 7 in"),
        (lambda: usable_width_in(0, PRESS, RULES), "roll width of 0 in"),
        (lambda: usable_width_in(0.4, PRESS, RULES), "Nothing of a 0.4 in roll can be used"),
    ],
)
def test_a_number_out_of_range_is_refused_with_the_bound(make, words):
    with pytest.raises(OutOfRangeError, match=words):
        make()


@pytest.mark.parametrize("shape", [Shape.RECTANGLE, Shape.OCTAGON, Shape.DIAMOND, Shape.CIRCLE])
@pytest.mark.parametrize("overlap", [0.0, 1.0, 1.5])
def test_two_parts_make_the_face_with_the_overlap_in_its_middle(shape, overlap):
    asked = face(60, 60, shape)
    whole = Polygon(outline_of(shape, 60, 60))
    wide = whole.bounds[2]
    one, other = spliced_pieces(asked, usable_width_in=48, overlap_in=overlap, turns=Turns())
    assert (one.part, other.part, one.parts, other.parts) == (1, 2, 2, 2)
    assert one.least_across_in == pytest.approx((wide + overlap) / 2)
    assert other.least_across_in == pytest.approx((wide + overlap) / 2)
    left, right = Polygon(one.outline), Polygon(other.outline)
    assert left.exterior.is_ccw
    assert right.exterior.is_ccw
    right = translate(right, (wide - overlap) / 2)
    assert left.union(right).symmetric_difference(whole).area == pytest.approx(0, abs=1e-6)
    strip = box((wide - overlap) / 2, -1, (wide + overlap) / 2, wide + 1)
    both = left.intersection(right)
    assert both.symmetric_difference(whole.intersection(strip)).area == pytest.approx(
        0, abs=1e-6
    )


def test_both_parts_lie_in_one_turn():
    """84 × 40 in has halves of 42 × 40 in."""
    one, other = spliced_pieces(face(84, 40), usable_width_in=41, overlap_in=0, turns=TURNED)
    # They lie on their side where only 41 in can be used, as hung where 48 in can.
    assert one.angles_deg == other.angles_deg == (90.0,)
    one, other = spliced_pieces(face(84, 40), usable_width_in=48, overlap_in=0, turns=TURNED)
    assert one.angles_deg == other.angles_deg == (0.0,)


@pytest.mark.parametrize(
    ("asked", "overlap", "words"),
    [
        (face(60, 60), None, "splices are not set"),
        (face(100, 60), 0, "more than one splice: its halves are 50 in across at least"),
        (face(95, 60), 1.5, r"halves are 48\.25 in"),
        (face(2, 60), 1, "overlap of 1 in is out of range .* 1 in"),
        (face(60, 60, Shape.CROSSBUCK), 0, "a blade is not spliced"),
    ],
)
def test_what_cannot_be_spliced_is_refused_with_the_reason(asked, overlap, words):
    with pytest.raises(OutOfRangeError, match=words):
        spliced_pieces(asked, usable_width_in=48, overlap_in=overlap, turns=Turns())


@st.composite
def cut_up(draw):
    """Return rectangles made by cutting a sheet, each shrunk by a gap or not."""
    parts = [(0.0, 0.0, 48.0, 100.0)]
    for _ in range(draw(st.integers(0, 14))):
        left, low, right, high = parts.pop(draw(st.integers(0, len(parts) - 1)))
        share = draw(st.sampled_from((0.25, 0.5, 0.6)))
        if draw(st.booleans()):
            at = left + share * (right - left)
            parts += [(left, low, at, high), (at, low, right, high)]
        else:
            at = low + share * (high - low)
            parts += [(left, low, right, at), (left, at, right, high)]
    by = draw(st.sampled_from((0.0, 0.01)))
    return [
        (
            left + by * (right - left),
            low + by * (high - low),
            right - by * (right - left),
            high,
        )
        for left, low, right, high in parts
    ]


@settings(max_examples=40, deadline=None)
@given(faces=cut_up())
def test_every_face_is_parted_by_the_cuts_in_their_order(faces):
    parts = made_cuts([(0.0, 0.0, 48.0, 100.0)], cuts_of(faces, (0, 0, 48, 100)))
    shapes = [box(*part) for part in parts]
    for one in faces:
        assert sum(shape.symmetric_difference(box(*one)).area < 1e-3 for shape in shapes) == 1


@settings(max_examples=60, deadline=None)
@given(
    corners=st.lists(
        st.tuples(st.integers(0, 9), st.integers(0, 9), st.integers(1, 3), st.integers(1, 3)),
        min_size=1,
        max_size=9,
    )
)
def test_cuts_are_found_wherever_there_are_any(corners):
    """Against the definition, written out for the tests (layouts.py)."""
    faces: list[tuple[float, float, float, float]] = []
    for left, low, wide, high in corners:
        new = box(left, low, left + wide, low + high)
        if all(new.intersection(box(*old)).area == 0 for old in faces):
            faces.append((left, low, left + wide, low + high))
    assert is_parted(faces) == can_be_cut(faces)
    if is_parted(faces):
        parts = made_cuts([(0, 0, 13, 13)], cuts_of(faces, (0, 0, 13, 13)))
        assert {tuple(np.round(one, 6)) for one in faces} <= {
            tuple(np.round(one, 6)) for one in parts
        }


def test_a_pinwheel_is_not_parted_and_a_face_off_the_sheet_is_refused():
    pinwheel = [(0, 0, 2, 1), (2, 0, 3, 2), (1, 2, 3, 3), (0, 1, 1, 3)]
    assert not is_parted(pinwheel)
    with pytest.raises(OutOfRangeError, match=r"4 faces between 0 and 3 in .* contour cutter"):
        cuts_of(pinwheel, (0, 0, 3, 3))
    with pytest.raises(OutOfRangeError, match="does not lie on the sheet of 3 × 3 in"):
        cuts_of([(0, 0, 4, 1)], (0, 0, 3, 3))
    assert cuts_of([], (0, 0, 3, 3)) == ()
