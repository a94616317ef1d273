"""What a layout has to keep, asked of another library's geometry."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shapely import STRtree, box
from shapely.geometry import Polygon

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.engineering.ordering.layout.contours import ContourLayout
    from inventory.engineering.ordering.layout.strip import Box, StripLayout

HAIR_IN = 1e-6


def check_boxes(
    layout: StripLayout, boxes: Sequence[Box], usable_width_in: float, gap_in: float
) -> None:
    """All there and no other, each of its size and turned only if it may be, gaps and edges."""
    assert sorted(place.key for place in layout.places) == sorted(some.key for some in boxes)
    asked = {some.key: some for some in boxes}
    for place in layout.places:
        face = asked[place.key]
        size = (face.width_in, face.length_in)
        if place.is_turned:
            assert face.can_turn
            size = size[::-1]
        # Sizes are kept to a thousandth, rounded up.
        assert -HAIR_IN <= place.width_in - size[0] <= 2.1e-3
        assert -HAIR_IN <= place.length_in - size[1] <= 2.1e-3
    outlines = [
        box(
            place.across_in,
            place.along_in,
            place.across_in + place.width_in,
            place.along_in + place.length_in,
        )
        for place in layout.places
    ]
    _check(outlines, usable_width_in, layout.length_in, gap_in)
    assert layout.bound_in <= layout.length_in + HAIR_IN


def check_contours(layout: ContourLayout, usable_width_in: float, gap_in: float) -> None:
    _check(
        [Polygon(place.outline) for place in layout.places],
        usable_width_in,
        layout.length_in,
        gap_in,
    )


def _check(
    outlines: list[Polygon], usable_width_in: float, length_in: float, gap_in: float
) -> None:
    room = box(-HAIR_IN, -HAIR_IN, usable_width_in + HAIR_IN, length_in + HAIR_IN)
    assert all(room.contains(outline) for outline in outlines)
    tree = STRtree(outlines)
    for at, outline in enumerate(outlines):
        for other in tree.query(outline.buffer(gap_in + 1)):
            if other > at:
                assert outline.distance(outlines[other]) >= gap_in - HAIR_IN
    if outlines:
        assert abs(max(outline.bounds[3] for outline in outlines) - length_in) <= HAIR_IN


def can_be_cut(places: Sequence[tuple[float, float, float, float]]) -> bool:
    """
    Say whether cuts from edge to edge part rectangles (left, low, right, high).

    Written for the tests alone, from the definition: a set of one is parted; a larger one has
    a line, across or along, that crosses none and leaves some on either side.
    """
    if len(places) <= 1:
        return True
    for first, last in ((0, 2), (1, 3)):
        ordered = sorted(places, key=lambda some: some[first])
        reach = ordered[0][last]
        for at in range(1, len(ordered)):
            if ordered[at][first] >= reach - HAIR_IN:
                return can_be_cut(ordered[:at]) and can_be_cut(ordered[at:])
            reach = max(reach, ordered[at][last])
    return False


def edges_of(layout: StripLayout) -> list[tuple[float, float, float, float]]:
    return [
        (
            place.across_in,
            place.along_in,
            place.across_in + place.width_in,
            place.along_in + place.length_in,
        )
        for place in layout.places
    ]
