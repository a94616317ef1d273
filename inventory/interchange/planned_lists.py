"""A year's planned replacements for other tools: CSV (RFC 4180) and GeoJSON (RFC 7946)."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING, Any

import geojson

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from inventory.models import PlannedReplacement

COORDINATE_DECIMALS = 7  # RFC 7946, section 11.2: more than any of our points is worth
COLUMNS = (
    "position_id",
    "sign_id",
    "sign_code",
    "legend_text",
    "width_in",
    "height_in",
    "road",
    "milepoint_mi",
    "latitude_deg",
    "longitude_deg",
    "year",
    "must_by_year",
    "is_locked",
    "lock_reason",
    "reason",
    "due_on",
    "safety_class",
    "cost",
    "currency",
    "crew_hours",
    "risk_left",
)


class _Lines:
    """Hands each line back as it is written, so that no whole file is held."""

    def write(self, line: str) -> str:
        """Return the line."""
        return line


def csv_lines(planned: Iterable[PlannedReplacement], currency: str) -> Iterator[str]:
    """Yield the lines of the CSV, the names first; what is not known is empty."""
    writer = csv.writer(_Lines())  # its own line ends are RFC 4180's
    yield writer.writerow(COLUMNS)
    for each in planned:
        row = _row(each, currency)
        yield writer.writerow(["" if row[name] is None else row[name] for name in COLUMNS])


def geojson_parts(planned: Iterable[PlannedReplacement], currency: str) -> Iterator[str]:
    """Yield a FeatureCollection in parts, a point feature for each position; its id is that."""
    yield '{"type": "FeatureCollection", "features": ['
    separator = ""
    for each in planned:
        row = _row(each, currency)
        point = geojson.Point(
            (row.pop("longitude_deg"), row.pop("latitude_deg")), precision=COORDINATE_DECIMALS
        )
        feature = geojson.Feature(id=row["position_id"], geometry=point, properties=row)
        yield separator + geojson.dumps(feature, ensure_ascii=False, allow_nan=False)
        separator = ",\n"
    yield "]}"


def _row(planned: PlannedReplacement, currency: str) -> dict[str, Any]:
    position = planned.position
    support, road = position.support, position.support.road
    return {
        "position_id": planned.position_id,
        "sign_id": planned.sign_id,
        "sign_code": position.sign_code,
        "legend_text": planned.sign.legend_text,
        "width_in": position.width_in,
        "height_in": position.height_in,
        "road": "" if road is None else road.name,
        "milepoint_mi": support.milepoint_mi,
        "latitude_deg": support.latitude_deg,
        "longitude_deg": support.longitude_deg,
        "year": planned.year,
        "must_by_year": planned.must_by_year,
        "is_locked": planned.is_locked,
        "lock_reason": planned.lock_reason,
        "reason": planned.reason,
        "due_on": None if planned.due_on is None else planned.due_on.isoformat(),
        "safety_class": planned.safety_class,
        "cost": planned.cost,
        "currency": currency,
        "crew_hours": planned.crew_hours,
        "risk_left": planned.risk_left,
    }
