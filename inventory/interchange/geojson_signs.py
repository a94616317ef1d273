"""Signs as GeoJSON features (RFC 7946), in the paged form of OGC API – Features."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geojson

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from inventory.models import Standing

# RFC 7946, section 11.2: seven decimals are more than any of our points is worth.
COORDINATE_DECIMALS = 7

PROPERTIES = (
    "sign_code",
    "sign_name",
    "verdict",
    "margin_ratio",
    "condition",
    "is_due",
    "due_on",
    "due_reason",
    "safety_class",
    "responsible",
    "sheeting",
    "road_id",
    "last_inspected_on",
)


def sign_feature(standing: Standing) -> geojson.Feature:
    """Return one sign as a point feature; its id is the sign's."""
    return geojson.Feature(
        id=standing.sign_id,
        geometry=geojson.Point(
            (standing.longitude_deg, standing.latitude_deg), precision=COORDINATE_DECIMALS
        ),
        properties={name: _plain(getattr(standing, name)) for name in PROPERTIES},
    )


def sign_collection(
    standings: Iterable[Standing],
    *,
    number_matched: int,
    links: Sequence[dict[str, str]],
    at: datetime,
) -> geojson.FeatureCollection:
    """
    Return a page of signs with the members OGC API – Features asks for.

    OGC 17-069r4, section 7.16: ``links``, ``timeStamp``, ``numberMatched`` and
    ``numberReturned`` beside the features.
    """
    features = [sign_feature(standing) for standing in standings]
    return geojson.FeatureCollection(
        features,
        links=list(links),
        timeStamp=at.isoformat(timespec="seconds"),
        numberMatched=number_matched,
        numberReturned=len(features),
    )


def _plain(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else value
