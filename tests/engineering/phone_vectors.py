"""
What the methods say of labels, distances and directions, for the phone's scripts to be held to.

Run as a module it writes ``build/phone_vectors.json``; ``tools/run_js_tests.py`` does so before
the JavaScript tests.
"""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

from inventory.engineering.places import bearing_deg, distance_m
from inventory.engineering.places.surroundings import box_around, compass_words
from inventory.engineering.production.labels import LABEL_ALPHABET, make_label, read_label
from inventory.errors import OutOfRangeError

FILE = Path(__file__).resolve().parents[2] / "build" / "phone_vectors.json"
SEED = 4
LABELS = 2_000
SLIPS = 2_000
WAYS = 1_000
BOXES = 200
# Roads are walked and driven at these latitudes; the last two are towns near the poles.
LATITUDES_DEG = (0.0, 21.3, 43.07, -33.9, 64.8, -54.8)


def make_vectors() -> dict[str, Any]:
    """Return every case; the same ones each time."""
    chance = random.Random(SEED)  # noqa: S311 - test cases, not secrets
    return {
        "labels": [_label(chance) for _ in range(LABELS)],
        "slips": [_slip(chance) for _ in range(SLIPS)],
        "ways": [_way(chance) for _ in range(WAYS)],
        "boxes": [_box(chance) for _ in range(BOXES)],
    }


def write_vectors() -> None:
    """Write the cases for the JavaScript tests."""
    FILE.parent.mkdir(exist_ok=True)
    FILE.write_text(json.dumps(make_vectors()), encoding="utf-8")


def _serial(chance: random.Random) -> int:
    return chance.randrange(1, 32 ** chance.randrange(1, 11))


def _label(chance: random.Random) -> dict[str, str]:
    """Return a label as it may be typed, and as it stands."""
    label = make_label(_serial(chance))
    typed = label
    for letter, figure in (("l", "1"), ("I", "1"), ("o", "0")):
        if chance.random() < 0.5:
            typed = typed.replace(figure, letter)
    if chance.random() < 0.5:
        typed = typed.lower()
    typed = typed.replace("-", chance.choice(("-", " ", "", "–")))
    return {"typed": f" {typed} ", "label": read_label(typed)}


def _slip(chance: random.Random) -> dict[str, str | None]:
    """Return a label with one slip in it, and what is still read from it, mostly nothing."""
    text = make_label(_serial(chance))
    at = chance.randrange(len(text))
    other = chance.choice(LABEL_ALPHABET + "U?")
    changed = chance.choice((text[:at] + other + text[at + 1 :], text[:at] + text[at + 1 :]))
    try:
        label: str | None = read_label(changed)
    except OutOfRangeError:
        label = None
    return {"typed": changed, "label": label}


def _way(chance: random.Random) -> dict[str, Any]:
    """Return two points at most some kilometres apart, and the way between them."""
    latitude, longitude = chance.choice(LATITUDES_DEG), chance.uniform(-180.0, 180.0)
    reach = 10.0 ** chance.uniform(-6.0, -1.0)
    points = [
        (latitude + chance.uniform(-reach, reach), longitude + chance.uniform(-reach, reach))
        for _ in range(2)
    ]
    (lat_1, lon_1), (lat_2, lon_2) = points
    bearing = float(bearing_deg(lat_1, lon_1, lat_2, lon_2))
    return {
        "from": {"latitude_deg": lat_1, "longitude_deg": lon_1},
        "to": {"latitude_deg": lat_2, "longitude_deg": lon_2},
        "distance_m": float(distance_m(lat_1, lon_1, lat_2, lon_2)),
        "bearing_deg": bearing,
        "words": compass_words(bearing),
    }


def _box(chance: random.Random) -> dict[str, Any]:
    latitude, longitude = chance.choice(LATITUDES_DEG), chance.uniform(-170.0, 170.0)
    radius = chance.uniform(10.0, 30_000.0)
    return {
        "point": {"latitude_deg": latitude, "longitude_deg": longitude},
        "radius_m": radius,
        "edges": box_around(latitude, longitude, radius),
    }


if __name__ == "__main__":
    write_vectors()
