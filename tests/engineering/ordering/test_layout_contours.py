"""True outlines on the roll; geometry checked by shapely."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Polygon

from inventory.engineering.ordering.layout import nesting_process
from inventory.engineering.ordering.layout.clearance import (
    grown,
    least_separation,
    separation,
    turned,
)
from inventory.engineering.ordering.layout.contours import Contour, nest_contours, outline_of
from inventory.engineering.ordering.outlines import face_outline
from inventory.engineering.standards.vocabulary import Shape
from inventory.errors import OutOfRangeError
from tests.engineering.ordering.layouts import check_contours

KNOWN = (Shape.RECTANGLE, Shape.OCTAGON, Shape.DIAMOND, Shape.TRIANGLE_DOWN, Shape.PENNANT)


@pytest.mark.parametrize("shape", KNOWN)
def test_the_outline_has_the_area_of_the_shape(shape):
    size = (48, 36) if shape is Shape.PENNANT else (36, 36)
    outline = Polygon(outline_of(shape, *size))
    expected = face_outline(shape, *size).shape_area_ft2
    assert outline.exterior.is_ccw
    assert outline.bounds[:2] == pytest.approx((0, 0), abs=1e-9)
    assert outline.area / 144 == pytest.approx(expected, rel=1e-9)


def test_a_circle_is_laid_as_a_polygon_around_it():
    ring = Polygon(outline_of(Shape.CIRCLE, 36, 36))
    disc = affinity.translate(Polygon(_disc(18)), 18, 18)
    assert ring.buffer(0.05).contains(disc)
    assert 1 < ring.area / (math.pi * 18**2) < 1.002


def _disc(radius):
    return [
        (radius * math.cos(a), radius * math.sin(a)) for a in np.linspace(0, 2 * math.pi, 720)
    ]


def test_a_36_in_diamond_needs_51_in_upright():
    """36 × √2 = 50.9 in: it cannot come off a 48 in roll unless it is laid square."""
    upright = Contour(key=1, outline=outline_of(Shape.DIAMOND, 36, 36))
    with pytest.raises(OutOfRangeError, match=r"50\.9 in across .* 48 in"):
        nest_contours([upright], usable_width_in=48, gap_in=0.25, seconds=1)


@st.composite
def convex(draw):
    tenths = st.integers(-200, 200)
    points = [
        (x / 10, y / 10)
        for x, y in draw(st.lists(st.tuples(tenths, tenths), min_size=6, max_size=12))
    ]
    hull = Polygon(points).convex_hull if len(set(points)) > 2 else None
    if not isinstance(hull, Polygon) or hull.area < 5:
        return np.array(draw(st.sampled_from([[(0, 0), (4, 0), (4, 3), (0, 3)]])), float)
    ring = np.array(hull.exterior.coords)[:-1]
    return ring if hull.exterior.is_ccw else ring[::-1]


@settings(max_examples=120, deadline=None)
@given(one=convex(), other=convex(), move=st.tuples(st.floats(-60, 60), st.floats(-60, 60)))
def test_the_lane_between_outlines_is_no_wider_than_their_distance(one, other, move):
    other = other + np.array(move)
    a, b = Polygon(one), Polygon(other)
    lane = separation(one, other)
    if a.intersection(b).area > 1e-6:
        assert lane < 1e-6
    else:
        assert -1e-6 <= lane <= a.distance(b) + 1e-6
        assert least_separation([one, other]) == pytest.approx(lane)


@settings(max_examples=60, deadline=None)
@given(outline=convex(), by=st.floats(0.01, 2), angle=st.floats(0, 360))
def test_a_grown_outline_holds_everything_within_its_distance(outline, by, angle):
    around = Polygon(grown(outline, by))
    assert around.buffer(1e-6).contains(Polygon(outline).buffer(by, quad_segs=64))
    same = Polygon(turned(outline, angle))
    assert same.equals_exact(
        affinity.rotate(Polygon(outline), angle, origin=(0, 0)), tolerance=1e-6
    )


def _faces():
    faces: list[Contour] = []
    for shape, size, count, angles in (
        (Shape.OCTAGON, 30, 3, (0.0,)),
        (Shape.DIAMOND, 30, 2, (0.0, 45.0)),
        (Shape.TRIANGLE_DOWN, 36, 2, (0.0, 180.0)),
        (Shape.RECTANGLE, 18, 4, (0.0, 90.0)),
    ):
        for _ in range(count):
            faces.append(
                Contour(
                    key=len(faces) + 1, outline=outline_of(shape, size, size), angles_deg=angles
                )
            )
    return faces


def test_nested_faces_keep_their_gaps_and_turns():
    faces = _faces()
    layout = nest_contours(faces, usable_width_in=48, gap_in=0.25, seconds=1, seed=7)
    assert layout is not None
    check_contours(layout, 48, 0.25)
    assert sorted(place.key for place in layout.places) == [face.key for face in faces]
    allowed = {face.key: face for face in faces}
    for place in layout.places:
        face = allowed[place.key]
        assert any(math.isclose(place.angle_deg, a, abs_tol=1e-3) for a in face.angles_deg)
        assert Polygon(place.outline).area == pytest.approx(Polygon(face.outline).area)
    assert layout.bound_in <= layout.length_in


def test_faces_as_wide_as_the_roll_are_nested_too():
    faces = [
        Contour(key=at, outline=outline_of(Shape.RECTANGLE, 48, 9 + at)) for at in range(3)
    ]
    layout = nest_contours(faces, usable_width_in=48, gap_in=0.25, seconds=1)
    assert layout is not None
    check_contours(layout, 48, 0.25)
    assert layout.length_in == pytest.approx(9 + 10 + 11 + 2 * 0.25, abs=0.02)


def test_a_process_that_dies_leaves_no_layout(monkeypatch, tmp_path):
    dying = tmp_path / "dying.py"
    dying.write_text("raise SystemExit(3)", encoding="utf-8")
    monkeypatch.setattr(nesting_process, "__file__", str(dying))
    assert nest_contours(_faces(), usable_width_in=48, gap_in=0.25, seconds=1) is None


def test_a_layout_that_breaks_a_rule_is_not_believed(monkeypatch):
    monkeypatch.setattr(
        nesting_process.NestingProcess,
        "nest",
        lambda _self, items, **_asked: [
            (k, 0.0, 0.0, 0.0) for k, item in enumerate(items) for _ in range(item[1])
        ],
    )
    assert nest_contours(_faces(), usable_width_in=48, gap_in=0.25, seconds=1) is None


def test_an_outline_that_is_not_convex_is_refused():
    dart = np.array([(0, 0), (10, 0), (2, 2), (0, 10)], float)
    with pytest.raises(OutOfRangeError, match="not convex"):
        nest_contours(
            [Contour(key=5, outline=dart)], usable_width_in=48, gap_in=0.25, seconds=1
        )
