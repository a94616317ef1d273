"""Where signs are: cells of the map, distances and directions."""

from inventory.engineering.places.cells import (
    CELL_LEVEL,
    cell_of,
    cell_range_of_tile,
    cell_ranges_of_box,
)
from inventory.engineering.places.directions import (
    compass_to_bearing_deg,
    facing_from_traffic_deg,
    normalise_bearing_deg,
)
from inventory.engineering.places.distance import (
    bearing_deg,
    distance_m,
    nearest,
)

__all__ = [
    "CELL_LEVEL",
    "bearing_deg",
    "cell_of",
    "cell_range_of_tile",
    "cell_ranges_of_box",
    "compass_to_bearing_deg",
    "distance_m",
    "facing_from_traffic_deg",
    "nearest",
    "normalise_bearing_deg",
]
