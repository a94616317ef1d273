"""Cells of the map against the public tile numbering and a bit-by-bit interleaving."""

import math
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.places.cells import (
    CELL_LEVEL,
    MAXIMUM_BOX_TILES,
    MAXIMUM_LATITUDE_DEG,
    cell_of,
    cell_range_of_tile,
    cell_ranges_of_box,
    tile_of,
)
from inventory.errors import OutOfRangeError

latitudes = st.floats(-85.0, 85.0)
longitudes = st.floats(-180.0, 179.999_999)
levels = st.integers(0, CELL_LEVEL)


def public_tile(latitude_deg, longitude_deg, level):
    """The tile numbering of public map tiles, as its wiki page gives it (secant form)."""
    n = 2**level
    phi = math.radians(latitude_deg)
    return (
        (longitude_deg + 180.0) / 360.0 * n,
        (1.0 - math.log(math.tan(phi) + 1.0 / math.cos(phi)) / math.pi) / 2.0 * n,
    )


def interleaved(column, row):
    """Morton's order, one bit after the other: even bits from the column, odd from the row."""
    cell = 0
    for bit in range(CELL_LEVEL):
        cell |= (column >> bit & 1) << (2 * bit)
        cell |= (row >> bit & 1) << (2 * bit + 1)
    return cell


@given(latitudes, longitudes, levels)
def test_tiles_are_those_of_public_maps(latitude, longitude, level):
    # Source: "Slippy map tilenames", OpenStreetMap wiki, mathematics section (from memory).
    # The two forms differ by rounding only where a point lies on a tile's edge.
    x, y = public_tile(latitude, longitude, level)
    column, row = tile_of(latitude, longitude, level)
    assert column - 1e-6 <= x <= column + 1 + 1e-6
    assert row - 1e-6 <= y <= row + 1 + 1e-6


@given(latitudes, longitudes)
def test_a_cell_interleaves_the_bits_of_its_tile(latitude, longitude):
    column, row = tile_of(latitude, longitude, CELL_LEVEL)
    assert cell_of(latitude, longitude) == interleaved(column, row)


@given(latitudes, longitudes, levels)
def test_a_tile_is_one_range_that_holds_its_points_and_no_others(latitude, longitude, level):
    column, row = tile_of(latitude, longitude, level)
    first, last = cell_range_of_tile(level, column, row)
    assert first <= cell_of(latitude, longitude) <= last
    assert last - first + 1 == 4 ** (CELL_LEVEL - level)
    neighbour = (column + 1) % (1 << level)
    if neighbour != column:
        other_first, other_last = cell_range_of_tile(level, neighbour, row)
        assert other_last < first or other_first > last


@given(
    st.floats(-80.0, 80.0),
    st.floats(-179.0, 178.0),
    st.floats(0.000_01, 4.0),
    st.floats(0.000_01, 1.0),
    st.integers(0, 2**32),
)
def test_a_box_is_covered_by_few_ranges(south, west, height, width, seed):
    north, east = south + height, west + width
    ranges = cell_ranges_of_box(south, west, north, east)
    assert 1 <= len(ranges) <= MAXIMUM_BOX_TILES
    assert all(first <= last for first, last in ranges)
    assert all(a[1] + 1 < b[0] for a, b in pairwise(ranges))
    random = Random(seed)  # noqa: S311 - points in a box, not a secret
    for _ in range(20):
        cell = cell_of(random.uniform(south, north), random.uniform(west, east))
        assert any(first <= cell <= last for first, last in ranges)


def test_a_box_is_not_covered_by_the_whole_world():
    # A box of 1 km or so: the ranges together hold at most 16 tiles about its own size.
    cells = sum(
        last - first + 1 for first, last in cell_ranges_of_box(43.0, -89.51, 43.01, -89.5)
    )
    tile_width_deg = 360.0 * math.sqrt(cells) / 2**CELL_LEVEL
    assert tile_width_deg < 0.1


def test_beyond_the_square_the_edge_tile_is_given():
    assert tile_of(89.9, 0.0, 3) == tile_of(MAXIMUM_LATITUDE_DEG, 0.0, 3)
    assert tile_of(-90.0, 180.0, 3) == (7, 7)
    assert tile_of(90.0, -180.0, 3) == (0, 0)


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        (90.000_1, 0.0),
        (-91.0, 0.0),
        (0.0, 180.1),
        (0.0, -181.0),
        (math.nan, 0.0),
        (0.0, math.inf),
    ],
)
def test_a_point_off_the_globe_is_refused(latitude, longitude):
    with pytest.raises(OutOfRangeError, match="not on the globe"):
        cell_of(latitude, longitude)


def test_levels_and_tiles_that_do_not_exist_are_refused():
    with pytest.raises(OutOfRangeError, match="not a map level"):
        tile_of(0.0, 0.0, CELL_LEVEL + 1)
    with pytest.raises(OutOfRangeError, match="not a map level"):
        cell_range_of_tile(-1, 0, 0)
    with pytest.raises(OutOfRangeError, match="does not exist at level 3"):
        cell_range_of_tile(3, 8, 0)
    with pytest.raises(OutOfRangeError, match="does not exist"):
        cell_range_of_tile(3, 0, -1)


def test_a_box_turned_over_is_refused():
    with pytest.raises(OutOfRangeError, match="turned over"):
        cell_ranges_of_box(44.0, -89.0, 43.0, -88.0)
