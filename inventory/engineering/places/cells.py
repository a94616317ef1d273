"""Integer cells along a space-filling curve, so that one map tile is one index range.

The plane is the spherical Mercator square that public map tiles use; a cell is the
interleaving of the bits of its column and row at level 24 (Z-order, Morton 1966), about
2.4 m wide at the equator.
"""

import math

from inventory.errors import OutOfRangeError

CELL_LEVEL = 24
MAXIMUM_LATITUDE_DEG = 85.0511287798066  # where the Mercator square ends: atan(sinh(pi))
MAXIMUM_BOX_TILES = 16


def _spread_bits(value: int) -> int:
    """Return the value with a zero bit between each two of its bits."""
    value &= 0xFFFFFFFF
    value = (value | (value << 16)) & 0x0000FFFF0000FFFF
    value = (value | (value << 8)) & 0x00FF00FF00FF00FF
    value = (value | (value << 4)) & 0x0F0F0F0F0F0F0F0F
    value = (value | (value << 2)) & 0x3333333333333333
    return (value | (value << 1)) & 0x5555555555555555


def _interleave(column: int, row: int) -> int:
    return _spread_bits(column) | (_spread_bits(row) << 1)


def tile_of(latitude_deg: float, longitude_deg: float, level: int) -> tuple[int, int]:
    """
    Return the column and row of the Mercator tile that holds a point.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        WGS 84 position; latitude within ±85.0511° is kept, beyond it the edge tile is given.
    level : int
        Zoom level, 0 to 24; there are 2**level columns and rows.

    Raises
    ------
    OutOfRangeError
        If the position is not on the globe or the level is not 0 to 24.

    Examples
    --------
    >>> tile_of(0.0, 0.0, 1)
    (1, 1)
    """
    if not (-90.0 <= latitude_deg <= 90.0 and -180.0 <= longitude_deg <= 180.0):
        msg = (
            f"Position {latitude_deg}, {longitude_deg} is not on the globe; latitude is "
            "-90 to 90 and longitude -180 to 180 degrees (WGS 84)."
        )
        raise OutOfRangeError(msg)
    if not 0 <= level <= CELL_LEVEL:
        msg = f"Level {level} is not a map level; use 0 to {CELL_LEVEL}."
        raise OutOfRangeError(msg)
    size = 1 << level
    latitude = math.radians(max(-MAXIMUM_LATITUDE_DEG, min(MAXIMUM_LATITUDE_DEG, latitude_deg)))
    x = (longitude_deg + 180.0) / 360.0
    y = (1.0 - math.asinh(math.tan(latitude)) / math.pi) / 2.0
    return min(size - 1, max(0, int(x * size))), min(size - 1, max(0, int(y * size)))


def cell_of(latitude_deg: float, longitude_deg: float) -> int:
    """
    Return the level-24 cell that holds a point.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        WGS 84 position.

    Returns
    -------
    int
        0 to 2**48 - 1.

    Raises
    ------
    OutOfRangeError
        If the position is not on the globe.

    References
    ----------
    .. [1] G. M. Morton, A Computer Oriented Geodetic Data Base, 1966 (from memory).

    Examples
    --------
    >>> low, high = cell_range_of_tile(10, *tile_of(43.1, -89.5, 10))
    >>> low <= cell_of(43.1, -89.5) <= high
    True
    """
    return _interleave(*tile_of(latitude_deg, longitude_deg, CELL_LEVEL))


def cell_range_of_tile(level: int, column: int, row: int) -> tuple[int, int]:
    """
    Return the first and last level-24 cell of a map tile.

    Parameters
    ----------
    level, column, row : int
        A tile of the Mercator square.

    Returns
    -------
    tuple of int
        Inclusive range; every point of the tile has its cell in it and no other point has.

    Raises
    ------
    OutOfRangeError
        If there is no such tile.

    Examples
    --------
    >>> cell_range_of_tile(0, 0, 0) == (0, 2**48 - 1)
    True
    """
    if not 0 <= level <= CELL_LEVEL:
        msg = f"Level {level} is not a map level; use 0 to {CELL_LEVEL}."
        raise OutOfRangeError(msg)
    if not (0 <= column < (1 << level) and 0 <= row < (1 << level)):
        msg = (
            f"Tile {column}, {row} does not exist at level {level}; "
            f"columns and rows run from 0 to {(1 << level) - 1}."
        )
        raise OutOfRangeError(msg)
    shift = 2 * (CELL_LEVEL - level)
    first = _interleave(column, row) << shift
    return first, first + (1 << shift) - 1


def cell_ranges_of_box(
    south_deg: float, west_deg: float, north_deg: float, east_deg: float
) -> list[tuple[int, int]]:
    """
    Return cell ranges that together cover a box; they may cover a little more.

    Parameters
    ----------
    south_deg, west_deg, north_deg, east_deg : float
        Box in WGS 84 degrees, not across the date line.

    Returns
    -------
    list of tuple of int
        At most 16 inclusive ranges in rising order, neighbours joined.

    Raises
    ------
    OutOfRangeError
        If the box is turned over or a corner is not on the globe.

    Examples
    --------
    >>> cell_ranges_of_box(-80.0, -170.0, 80.0, 170.0)
    [(0, 281474976710655)]
    """
    if south_deg > north_deg or west_deg > east_deg:
        msg = (
            f"The box {south_deg}, {west_deg} to {north_deg}, {east_deg} is turned over; give "
            "south, west, north, east."
        )
        raise OutOfRangeError(msg)
    for level in range(CELL_LEVEL, -1, -1):
        left, top = tile_of(north_deg, west_deg, level)
        right, bottom = tile_of(south_deg, east_deg, level)
        if (right - left + 1) * (bottom - top + 1) <= MAXIMUM_BOX_TILES:
            break
    ranges = sorted(
        cell_range_of_tile(level, column, row)
        for column in range(left, right + 1)
        for row in range(top, bottom + 1)
    )
    joined = [ranges[0]]
    for first, last in ranges[1:]:
        if first == joined[-1][1] + 1:
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return joined
