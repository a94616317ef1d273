"""Areas are checked against shapely, which knows nothing of how we compute them."""

import math
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point, Polygon, box

from inventory.engineering.ordering.outlines import face_outline
from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import OutOfRangeError

SQUARE_INCHES_PER_SQUARE_FOOT = 144
sizes = st.floats(1, 200)


def area_ft2(polygon) -> float:
    return float(polygon.area) / SQUARE_INCHES_PER_SQUARE_FOOT


def regular_octagon(across_flats_in: float) -> Polygon:
    """Eight corners on the circle whose octagon measures this much from flat to flat."""
    radius = across_flats_in / 2 / math.cos(math.pi / 8)
    corners = [math.pi / 8 + each * math.pi / 4 for each in range(8)]
    return Polygon([(radius * math.cos(a), radius * math.sin(a)) for a in corners])


@given(sizes)
def test_an_octagon_fills_its_square_but_for_the_corners(size):
    outline = face_outline(Shape.OCTAGON, size, size)
    octagon = regular_octagon(size)
    assert outline.shape_area_ft2 == pytest.approx(area_ft2(octagon), rel=1e-9)
    left, low, right, high = octagon.bounds
    assert outline.rectangle_width_in == pytest.approx(right - left, rel=1e-9)
    assert outline.rectangle_height_in == pytest.approx(high - low, rel=1e-9)


@given(sizes)
def test_a_yield_sign_is_a_triangle_of_three_equal_sides(side):
    # The catalogue prints 36 × 36 × 36 for R1-2 (MUTCD 11th edition Table 2B-1): three sides.
    outline = face_outline(Shape.TRIANGLE_DOWN, side, side)
    low = -side * math.sin(math.pi / 3)
    triangle = Polygon([(0, 0), (side, 0), (side / 2, low)])
    assert outline.shape_area_ft2 == pytest.approx(area_ft2(triangle), rel=1e-9)
    assert outline.rectangle_width_in == side
    assert outline.rectangle_height_in == pytest.approx(-low, rel=1e-9)


def test_a_triangle_of_two_dimensions_is_base_and_height():
    outline = face_outline(Shape.TRIANGLE_DOWN, 36, 31.2)
    assert outline.rectangle_height_in == 31.2
    assert outline.shape_area_ft2 == pytest.approx(
        area_ft2(Polygon([(0, 0), (36, 0), (18, -31.2)])), rel=1e-9
    )


def test_a_pennant_is_measured_by_its_long_side_and_its_edge():
    # W14-3 is printed 48 × 48 × 36 (MUTCD 11th edition Table 2C-1).
    outline = face_outline(Shape.PENNANT, 48, 36)
    circle, upper = (
        Point(0, 0).buffer(48, quad_segs=4096),
        Point(0, 36).buffer(48, quad_segs=4096),
    )
    tip_x = circle.boundary.intersection(upper.boundary).bounds[2]
    # The circles are polygons of 16,384 sides: good to 1 part in 10 million.
    assert outline.rectangle_width_in == pytest.approx(tip_x, rel=1e-6)
    assert outline.rectangle_height_in == 36
    pennant = Polygon([(0, 0), (0, 36), (tip_x, 18)])
    assert outline.shape_area_ft2 == pytest.approx(area_ft2(pennant), rel=1e-6)


@given(sizes)
def test_a_diamond_laid_square_takes_its_own_area(side):
    outline = face_outline(Shape.DIAMOND, side, side)
    half = side / math.sqrt(2)
    diamond = Polygon([(half, 0), (0, half), (-half, 0), (0, -half)])
    assert outline.shape_area_ft2 == pytest.approx(area_ft2(diamond), rel=1e-9)
    assert outline.rectangle_area_ft2 == pytest.approx(area_ft2(diamond), rel=1e-9)


def test_a_circle_is_measured_by_its_diameter():
    disc = Point(0, 0).buffer(18, quad_segs=4096)
    outline = face_outline(Shape.CIRCLE, 36, 36)
    assert outline.shape_area_ft2 == pytest.approx(area_ft2(disc), rel=1e-6)  # polygon of disc
    assert outline.rectangle_area_ft2 == 9.0


def test_a_crossbuck_is_two_blades():
    # R15-1 is printed 48 × 9, the size of one of two blades (MUTCD 11th edition Table 8B-1).
    outline = face_outline(Shape.CROSSBUCK, 48, 9)
    assert outline.rectangle_count == 2
    assert (
        outline.rectangle_area_ft2 == outline.shape_area_ft2 == 2 * area_ft2(box(0, 0, 48, 9))
    )


@pytest.mark.parametrize(
    ("shape", "width_in", "height_in"),
    [
        (Shape.PENTAGON, 36, 36),
        (Shape.TRAPEZOID, 24, 24),
        (None, 24, 30),
        (Shape.OCTAGON, 30, 36),
        (Shape.CIRCLE, 30, 36),
    ],
)
def test_a_shape_whose_drawing_is_not_at_hand_is_cut_from_its_rectangle(
    shape, width_in, height_in
):
    outline = face_outline(shape, width_in, height_in)
    assert outline.shape_area_ft2 is None
    assert outline.rectangle_area_ft2 == pytest.approx(area_ft2(box(0, 0, width_in, height_in)))


@given(st.sampled_from(list(Shape)), sizes, sizes)
def test_no_shape_is_larger_than_what_it_is_cut_from(shape, width_in, height_in):
    if shape is Shape.PENNANT and width_in <= height_in / 2:
        return
    outline = face_outline(shape, width_in, height_in)
    if outline.shape_area_ft2 is not None:
        assert outline.shape_area_ft2 <= outline.rectangle_area_ft2 * (1 + 1e-12)


@pytest.mark.parametrize(("width_in", "height_in"), [(0, 30), (30, -1), (math.nan, 30)])
def test_a_size_that_is_none_is_refused(width_in, height_in):
    with pytest.raises(OutOfRangeError, match="cannot be cut; both dimensions have to be over"):
        face_outline(Shape.RECTANGLE, width_in, height_in)


def test_a_pennant_whose_sides_do_not_meet_is_refused():
    with pytest.raises(
        OutOfRangeError, match="18 in and an upright edge of 36 in has no point"
    ):
        face_outline(Shape.PENNANT, 18, 36)


def test_the_table_of_the_methods_page_comes_out():
    page = Path(__file__).parents[3] / "docs" / "methods" / "ordering.md"
    rows = [
        [cell.strip() for cell in line.strip("|\n").split("|")]
        for line in page.read_text(encoding="utf-8").splitlines()
        if re.fullmatch(r"\|.* in \| [\d.]+ \| ([\d.]+|not known) \|", line)
    ]
    shapes = {"triangle": Shape.TRIANGLE_DOWN, "pentagon, trapezoid, not known": Shape.PENTAGON}
    assert len(rows) == 8
    for name, _given, _rectangle, _area, example, rectangle_ft2, shape_ft2 in rows:
        width, _, height = example.removesuffix(" in").partition(" × ")
        shape = shapes.get(name) or Shape(name)
        outline = face_outline(shape, float(width), float(height or width))
        assert f"{outline.rectangle_area_ft2:.3f}" == rectangle_ft2
        known = outline.shape_area_ft2
        assert ("not known" if known is None else f"{known:.3f}") == shape_ft2
