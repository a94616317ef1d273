"""Coordinates of any system by EPSG code, as latitude and longitude."""

import math
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from pyproj import CRS
from pyproj.exceptions import CRSError
from pyproj.transformer import Transformer, TransformerGroup

from inventory import units
from inventory.engineering.places import distance_m
from inventory.errors import OutOfRangeError

FloatArray = npt.NDArray[np.float64]

# Areas of use are published to a hundredth of a degree.
AREA_TOLERANCE_DEG = 0.01
# A ten-millionth of a degree is a centimetre: finer than any list, coarse enough that the
# same file gives the same point on every machine.
POINT_DECIMALS = 7
METRES_PER_UNIT = {
    "m": 1.0,
    "ft": units.METRES_PER_FOOT,
    "us-ft": units.METRES_PER_US_SURVEY_FOOT,
}
# Farther from the middle of a list than any sign of one agency is likely to stand.
FAR_M = 500_000.0
UNIT_WORDS = {"m": "metres", "ft": "feet", "us-ft": "US survey feet"}


@dataclass(frozen=True, slots=True)
class Box:
    """A box in WGS 84 degrees, and what it is, for sentences."""

    south_deg: float
    west_deg: float
    north_deg: float
    east_deg: float
    words: str

    def holds(
        self, latitudes_deg: FloatArray, longitudes_deg: FloatArray, tolerance_deg: float = 0.0
    ) -> npt.NDArray[np.bool_]:
        """Return which points lie within; a box over the date line is given as east < west."""
        inside_ns = (latitudes_deg >= self.south_deg - tolerance_deg) & (
            latitudes_deg <= self.north_deg + tolerance_deg
        )
        after_west = longitudes_deg >= self.west_deg - tolerance_deg
        before_east = longitudes_deg <= self.east_deg + tolerance_deg
        if self.west_deg <= self.east_deg:
            return inside_ns & after_west & before_east
        return inside_ns & (after_west | before_east)


def read_crs(text: str) -> CRS:
    """
    Return the coordinate system of an EPSG code, or of a file's own description.

    Parameters
    ----------
    text : str
        ``"EPSG:3435"``, or well-known text as GIS files carry it.

    Raises
    ------
    OutOfRangeError
        If there is no such system, or it is no system of map coordinates.

    Examples
    --------
    >>> read_crs("EPSG:3435").axis_info[0].unit_name
    'US survey foot'
    """
    plain = text.strip()
    if plain.isdigit():
        plain = f"EPSG:{plain}"
    try:
        crs = CRS.from_user_input(plain)
    except CRSError:
        msg = f"'{text}' is not a coordinate system; write its code as EPSG:3435."
        raise OutOfRangeError(msg) from None
    if not (crs.is_projected or crs.is_geographic):
        msg = (
            f"'{text}' ({crs.name}) has no map coordinates; use a projected or geographic one."
        )
        raise OutOfRangeError(msg)
    return crs


class Projector:
    """Turns a list's x and y into WGS 84, and says which points cannot be right."""

    def __init__(self, crs: CRS, unit: str | None = None, bounds: Box | None = None) -> None:
        """
        Take the system, the unit of the file's figures if not the system's, and a box.

        Raises
        ------
        OutOfRangeError
            If a unit is given for a system in degrees.
        """
        self.crs = crs
        self.name = f"EPSG:{code}" if (code := crs.to_epsg()) else crs.name
        self.bounds = bounds
        self.area = _area_of_use(crs)
        self._metres_per_axis_unit = crs.axis_info[0].unit_conversion_factor
        if unit is not None and not crs.is_projected:
            msg = f"{self.name} is in degrees; leave out unit = '{unit}'."
            raise OutOfRangeError(msg)
        self.scale = METRES_PER_UNIT[unit] / self._metres_per_axis_unit if unit else 1.0
        # Axis order as the file has it: east before north, whatever the authority prints.
        self._transformer = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)

    def remarks(self) -> list[str]:
        """Return what a person should know of the transformation."""
        unit = self.crs.axis_info[0].unit_name
        remarks = [
            f"Coordinates are read as {self.name} ({self.crs.name}), in units of {unit}."
        ]
        if self.scale != 1.0:
            remarks.append(
                f"The file's figures are multiplied by {self.scale:.9g} to be in it."
            )
        if self.area is None:
            remarks.append(
                "The area this system is meant for is not known; give bounds in [point], so "
                "that points in a wrong place are noticed."
            )
        with warnings.catch_warnings():
            # pyproj warns of the missing grid; we say it in our words.
            warnings.simplefilter("ignore", UserWarning)
            group = TransformerGroup(self.crs, "EPSG:4326", always_xy=True)
        if not group.best_available:
            accuracy = group.transformers[0].accuracy if group.transformers else -1.0
            by = f" by up to about {accuracy:g} m" if accuracy > 0.0 else ""
            remarks.append(
                f"The best way from {self.name} to WGS 84 needs a grid file that is not on "
                f"this machine; without it, points may be off{by}. If the source can give its "
                "list in WGS 84 (EPSG:4326), use that."
            )
        return remarks

    def project(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return latitudes and longitudes; infinite where the system has no such point."""
        longitudes, latitudes = self._transformer.transform(
            np.asarray(x, dtype=np.float64) * self.scale,
            np.asarray(y, dtype=np.float64) * self.scale,
        )
        return np.asarray(latitudes), np.asarray(longitudes)

    def refusals(self, x: FloatArray, y: FloatArray) -> list[str]:
        """Return for each point the sentence that says why it cannot be right, or blank."""
        latitudes, longitudes = self.project(x, y)
        on_globe = _on_globe(latitudes, longitudes)
        reasons = []
        boxes = [
            (box, on_globe & ~box.holds(latitudes, longitudes, tolerance))
            for box, tolerance in ((self.area, AREA_TOLERANCE_DEG), (self.bounds, 0.0))
            if box is not None
        ]
        for index in range(len(latitudes)):
            point = f"The point x {x[index]:.10g}, y {y[index]:.10g}"
            if not on_globe[index]:
                reasons.append(f"{point} is nowhere in {self.name} ({self.crs.name}).")
                continue
            outside = next((box for box, out in boxes if out[index]), None)
            reasons.append(
                ""
                if outside is None
                else f"{point} in {self.name} lies at latitude {latitudes[index]:.5f}, "
                f"longitude {longitudes[index]:.5f}, outside {outside.words}."
            )
        return reasons

    def hint(self, x: float, y: float) -> str:
        """Return what would bring a refused point into place, or blank."""
        if self.crs.is_projected:
            for unit, metres in METRES_PER_UNIT.items():
                scale = metres / self._metres_per_axis_unit
                if abs(scale / self.scale - 1.0) > 1e-3 and self._fits(x, y, scale):
                    return (
                        f"It would lie inside if its figures were {UNIT_WORDS[unit]}: "
                        f'if they are, write unit = "{unit}" in [point].'
                    )
        if self._fits(y, x, self.scale):
            return "It would lie inside with x and y exchanged: check which column is which."
        return ""

    def _fits(self, x: float, y: float, scale: float) -> bool:
        longitudes, latitudes = self._transformer.transform(
            np.array([x * scale]), np.array([y * scale])
        )
        if not _on_globe(latitudes, longitudes)[0]:
            return False
        boxes = [box for box in (self.area, self.bounds) if box is not None]
        return bool(boxes) and all(
            box.holds(latitudes, longitudes, AREA_TOLERANCE_DEG)[0] for box in boxes
        )


def _on_globe(latitudes: FloatArray, longitudes: FloatArray) -> npt.NDArray[np.bool_]:
    return (
        np.isfinite(latitudes)
        & np.isfinite(longitudes)
        & (np.abs(latitudes) <= 90.0)
        & (np.abs(longitudes) <= 180.0)
    )


def _area_of_use(crs: CRS) -> Box | None:
    area = crs.area_of_use
    if area is None:
        code = crs.to_epsg(min_confidence=70)
        area = CRS.from_epsg(code).area_of_use if code else None
    if area is None:
        return None
    return Box(
        area.south,
        area.west,
        area.north,
        area.east,
        f"the area that system is meant for (latitude {area.south:g} to {area.north:g}, "
        f"longitude {area.west:g} to {area.east:g})",
    )


def read_pair(text: str) -> tuple[float, float]:
    """
    Return the two numbers of a text such as ``"(41.88, -87.63)"`` or ``"POINT (-87 41)"``.

    Raises
    ------
    OutOfRangeError
        If the text does not hold exactly two numbers.

    Examples
    --------
    >>> read_pair("POINT (-87.63 41.88)")
    (-87.63, 41.88)
    """
    numbers = re.findall(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?", text)
    if len(numbers) != 2:
        msg = f"'{text}' does not hold two numbers, x and y."
        raise OutOfRangeError(msg)
    return float(numbers[0]), float(numbers[1])


def find_far(points: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], list[int]]:
    """
    Return the middle of some points, and which of them lie more than 500 km from it.

    The middle is the median of each coordinate: a few wrong points do not move it.

    Examples
    --------
    >>> find_far([(40.1, -88.2), (40.2, -88.3), (-88.3, 40.1)])
    ((40.1, -88.2), [2])
    """
    latitudes, longitudes = np.array(points, dtype=np.float64).T
    middle = (
        float(np.quantile(latitudes, 0.5, method="lower")),
        float(np.quantile(longitudes, 0.5, method="lower")),
    )
    far = distance_m(*middle, latitudes, longitudes) > FAR_M
    return middle, [int(index) for index in np.flatnonzero(far)]


def rounded(degrees: float) -> float:
    """Return degrees to a centimetre on the ground, without a minus sign on zero."""
    return round(degrees, POINT_DECIMALS) + 0.0


def is_nowhere(x: float, y: float) -> bool:
    """Return whether a pair is what lists write for no point: zero twice, or no number."""
    return math.isnan(x) or math.isnan(y) or (x == 0.0 and y == 0.0)
