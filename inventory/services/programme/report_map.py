"""The map of a report: signs and roads to scale, drawn from their positions alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.places.map_frame import MapFrame, frame_around
from inventory.services.sign_map import road_lines

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from inventory.models import Organisation

Place = tuple[int, int]
ROOM_BESIDE = 4  # marks of one kind this near each other are drawn once, in units


@dataclass(frozen=True, slots=True)
class MapDrawing:
    """
    What is drawn, in whole units of the frame; nothing of it where there is no sign.

    ``marks`` are the places drawn by kind: signs of one kind that would lie upon each other are
    one mark. ``counts`` are the signs, and ``outside`` those too far off to be shown.
    """

    frame: MapFrame | None
    marks: dict[str, list[Place]]
    counts: dict[str, int]
    outside: int
    roads: list[list[Place]]


def draw_map(
    organisation: Organisation, marks: Mapping[str, Sequence[tuple[float, float]]]
) -> MapDrawing:
    """Return the map of signs by kind, given as latitude and longitude."""
    counts = {kind: len(places) for kind, places in marks.items()}
    every = np.array([place for places in marks.values() for place in places])
    if not len(every):
        return MapDrawing(None, {}, counts, 0, [])
    frame = frame_around(every[:, 0], every[:, 1])
    drawn, outside = {}, 0
    for kind, places in marks.items():
        found = np.array(places, dtype=np.float64).reshape(-1, 2)
        inside = _inside(frame, found)
        outside += len(found) - len(inside)
        cells = np.unique(inside // ROOM_BESIDE, axis=0) * ROOM_BESIDE + ROOM_BESIDE // 2
        drawn[kind] = _pairs(cells)
    return MapDrawing(frame, drawn, counts, outside, list(_roads(organisation, frame)))


def _inside(frame: MapFrame, places: np.ndarray) -> np.ndarray:
    x, y = frame.place(places[:, 0], places[:, 1])
    is_in = (x >= 0) & (x <= frame.width) & (y >= 0) & (y <= frame.height)
    return np.stack([x[is_in], y[is_in]], axis=1).astype(np.int64)


def _roads(organisation: Organisation, frame: MapFrame) -> Iterable[list[Place]]:
    """Yield the stretches of centre lines that may touch the map, which cuts off the rest."""
    for road in road_lines(organisation):
        line = np.array(road["line"], dtype=np.float64).reshape(-1, 2)
        x, y = frame.place(line[:, 1], line[:, 0])
        places = _pairs(np.stack([x, y], axis=1).round().astype(np.int64))
        touches = (
            (np.maximum(x[:-1], x[1:]) >= 0)
            & (np.minimum(x[:-1], x[1:]) <= frame.width)
            & (np.maximum(y[:-1], y[1:]) >= 0)
            & (np.minimum(y[:-1], y[1:]) <= frame.height)
        )
        part: list[Place] = []
        for number, is_near in enumerate(touches.tolist()):
            if not is_near:
                if len(part) > 1:
                    yield part
                part = []
                continue
            if not part:
                part = [places[number]]
            if places[number + 1] != part[-1]:
                part.append(places[number + 1])
        if len(part) > 1:
            yield part


def _pairs(places: np.ndarray) -> list[Place]:
    return [(int(x), int(y)) for x, y in places.tolist()]
