"""Outlines nested anew stretch by stretch; geometry checked by shapely."""

from __future__ import annotations

import dataclasses
import math
import os
import signal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon

from inventory.engineering.ordering.layout.clearance import turned
from inventory.engineering.ordering.layout.contours import (
    Contour,
    ContourLayout,
    ContourPlace,
    nest_contours,
    outline_of,
)
from inventory.engineering.ordering.layout.nesting_process import NestingProcess
from inventory.engineering.ordering.layout.roll import Cutter
from inventory.engineering.ordering.layout.rolls import plan_rolls
from inventory.engineering.ordering.layout.stretches import lay_contours, shorten, stretches_of
from inventory.engineering.standards.vocabulary import Shape
from tests.engineering.ordering.layouts import check_contours
from tests.engineering.ordering.roll_plans import check_plan, random_order

ROLL_IN, GAP_IN = 48.0, 0.25


def faces(count):
    kinds = (
        (Shape.OCTAGON, 30, (0.0,)),
        (Shape.RECTANGLE, 18, (0.0, 90.0)),
        (Shape.TRIANGLE_DOWN, 36, (0.0, 180.0)),
        (Shape.DIAMOND, 24, (45.0,)),
    )
    return [
        Contour(key=key, outline=outline_of(shape, size, size), angles_deg=angles)
        for key, (shape, size, angles) in enumerate(kinds * (count // len(kinds)), start=1)
    ]


def one_behind_another(contours):
    """Return every face on the left edge, the next behind it: nobody would print that."""
    places, at = [], 0.0
    for contour in contours:
        angle = contour.angles_deg[0]
        outline = turned(contour.outline, angle)
        outline = outline - outline.min(axis=0) + np.array([0.0, at])
        places.append(ContourPlace(contour.key, outline, angle))
        at = float(outline[:, 1].max()) + GAP_IN
    return ContourLayout(tuple(places), at - GAP_IN, 0.0)


def same_faces(layout, contours):
    assert sorted(place.key for place in layout.places) == [each.key for each in contours]
    by_key = {contour.key: contour for contour in contours}
    for place in layout.places:
        face = by_key[place.key]
        assert any(
            math.isclose(place.angle_deg % 360, angle, abs_tol=1e-3)
            for angle in face.angles_deg
        )
        assert Polygon(place.outline).area == pytest.approx(Polygon(face.outline).area)


def test_a_poor_layout_gets_shorter_and_keeps_its_faces_and_gaps():
    contours = faces(40)
    start = one_behind_another(contours)
    found = lay_contours(
        contours, start, usable_width_in=ROLL_IN, gap_in=GAP_IN, seconds=3.5, seed=3
    )
    check_contours(found, ROLL_IN, GAP_IN)
    same_faces(found, contours)
    area = sum(Polygon(each.outline).area for each in contours)
    assert found.bound_in == pytest.approx(area / ROLL_IN)
    assert found.bound_in <= found.length_in < 0.75 * start.length_in


def test_without_a_second_or_when_stopped_it_stays_as_it_is():
    contours = faces(8)
    start = one_behind_another(contours)
    asked: dict[str, Any] = {"usable_width_in": ROLL_IN, "gap_in": GAP_IN}
    more: dict[str, Any]
    for more in ({"seconds": 0.9}, {"seconds": 60.0, "should_stop": lambda: True}):
        kept = shorten(start, contours, **asked, **more)
        assert kept.length_in == pytest.approx(start.length_in)
        check_contours(kept, ROLL_IN, GAP_IN)
        same_faces(kept, contours)


@settings(max_examples=80, deadline=None)
@given(
    ends=st.lists(
        st.tuples(st.floats(0, 40), st.floats(0, 300), st.floats(1, 30)),
        min_size=1,
        max_size=25,
    ),
    gap_in=st.sampled_from([0.0, 0.25, 2.0]),
)
def test_a_layout_is_parted_where_no_face_crosses(ends, gap_in):
    places = [
        ContourPlace(key, np.array([(x, y), (x + 5, y), (x + 5, y + h), (x, y + h)]), 0.0)
        for key, (x, y, h) in enumerate(ends)
    ]
    found = stretches_of(places, usable_width_in=ROLL_IN, gap_in=gap_in)
    keys = [place.key for stretch in found for place in stretch.places]
    assert sorted(keys) == list(range(len(ends)))
    was = {place.key: Polygon(place.outline) for place in places}
    before = -math.inf
    for stretch in found:
        of_it = [was[place.key] for place in stretch.places]
        low = min(each.bounds[1] for each in of_it)
        high = max(each.bounds[3] for each in of_it)
        assert low >= before + gap_in - 1e-5
        assert stretch.length_in == pytest.approx(high - low)
        # No line across parts it further.
        for at in (each.bounds[3] + gap_in / 2 for each in of_it if each.bounds[3] < high - 1):
            line = LineString([(-1, at), (99, at)]).buffer(gap_in / 2 + 1e-4)
            assert any(line.intersects(each) for each in of_it)
        before = high


def test_one_process_nests_many_and_a_new_one_comes_after_it_died():
    contours = faces(4)
    asked: dict[str, Any] = {"usable_width_in": ROLL_IN, "gap_in": GAP_IN, "seconds": 1}
    with NestingProcess() as process:
        first = nest_contours(contours, **asked, process=process)
        pid = process.pid
        assert first is not None
        assert pid is not None
        os.kill(pid, signal.SIGKILL)
        assert nest_contours(contours, **asked, process=process) is None
        again = nest_contours(contours, **asked, process=process)
        assert again is not None
        assert process.pid not in (None, pid)
    assert process.pid is None


def test_a_library_that_gives_way_leaves_the_layout_as_it_is(monkeypatch):
    asked = []
    monkeypatch.setattr(NestingProcess, "nest", lambda *_, **__: asked.append(1))
    contours = faces(8)
    start = one_behind_another(contours)
    kept = shorten(start, contours, usable_width_in=ROLL_IN, gap_in=GAP_IN, seconds=60.0)
    assert kept.length_in == pytest.approx(start.length_in)
    assert len(asked) == 3


def test_a_plan_for_a_cutter_of_contours_keeps_every_rule():
    given_faces, rolls, press, laying, turns = random_order(12, most_faces=60)
    laying = dataclasses.replace(laying, cutter=Cutter.CONTOUR)
    found = plan_rolls(given_faces, rolls, press=press, laying=laying, turns=turns, seconds=5)
    check_plan(found, given_faces, rolls, press, laying, turns)
    assert found.loads
