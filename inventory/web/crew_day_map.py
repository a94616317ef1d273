"""Tours drawn to scale from the places of their stops; the ways between are straight lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from inventory.services.programme.report_map import draw_map

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.models import Organisation

EDGE, STRIP = 24, 40
LOOKS = 6  # how many looks of lines there are; days take turns


@dataclass(frozen=True, slots=True)
class TourLine:
    """The way of a day, from its depot through its stops and back, in degrees."""

    words: str
    depot: tuple[float, float]
    stops: Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class DrawnTour:
    """A day as it is drawn: a path, where its stops are, and where its number stands."""

    look: int
    path: str
    dots: str
    words: str
    at: tuple[int, int]


@dataclass(frozen=True, slots=True)
class DrawnStop:
    """A stop with its number."""

    number: str
    at: tuple[int, int]


@dataclass(frozen=True, slots=True)
class TourMap:
    """The map as a page draws it, in whole units."""

    width: int
    height: int
    roads: str
    tours: list[DrawnTour]
    stops: list[DrawnStop]
    depots: list[tuple[int, int]]
    bar: int
    bar_words: str
    summary: str

    @property
    def view_box(self) -> str:
        """Return what is shown: room for marks at the edges, and a strip for the scale."""
        return f"{-EDGE} {-EDGE} {self.width + 2 * EDGE} {self.height + 2 * EDGE + STRIP}"

    @property
    def below(self) -> int:
        """Return where the strip under the map ends."""
        return self.height + EDGE + STRIP - 6

    @property
    def right(self) -> int:
        """Return where the arrow to the north stands."""
        return self.width - 14


def tour_map(
    organisation: Organisation, lines: Sequence[TourLine], *, with_numbers: bool = False
) -> TourMap | None:
    """Return tours on a map with the agency's roads; nothing where there is no stop."""
    places = [[each.depot, *each.stops, each.depot] for each in lines if each.stops]
    every = [place for some in places for place in some]
    drawing = draw_map(organisation, {"stops": every})
    frame = drawing.frame
    if frame is None:
        return None

    def points(some: Sequence[tuple[float, float]]) -> list[tuple[int, int]]:
        found = np.array(some, dtype=np.float64).reshape(-1, 2)
        x, y = frame.place(found[:, 0], found[:, 1])
        return [(int(a), int(b)) for a, b in zip(x.round(), y.round(), strict=True)]

    tours, stops, depots = [], [], []
    for number, line in enumerate(each for each in lines if each.stops):
        way = points(places[number])
        depots.append(way[0])
        inner = way[1:-1]
        far = max(inner, key=lambda at: (at[0] - way[0][0]) ** 2 + (at[1] - way[0][1]) ** 2)
        dots = "".join(f"M{x} {y}h0" for x, y in inner)
        tours.append(DrawnTour(number % LOOKS + 1, _path(way), dots, line.words, far))
        if with_numbers:
            stops += _numbered(inner)
    bar_mi, bar = frame.scale_bar
    return TourMap(
        round(frame.width),
        round(frame.height),
        "".join(_path(each) for each in drawing.roads),
        tours,
        stops,
        sorted(set(depots)),
        round(bar),
        f"{bar_mi:g} mi",
        f"Map of {len(tours)} crew days with {sum(len(each.stops) for each in lines)} stops; "
        "the table beside it has the same figures.",
    )


def _path(way: Sequence[tuple[int, int]]) -> str:
    return "M" + "L".join(f"{x} {y}" for x, y in way)


def _numbered(way: Sequence[tuple[int, int]]) -> list[DrawnStop]:
    """Return stops with their numbers; those at one place share a mark."""
    found: dict[tuple[int, int], list[int]] = {}
    for number, at in enumerate(way, start=1):
        found.setdefault(at, []).append(number)
    return [
        DrawnStop(
            str(some[0])
            if len(some) == 1
            else f"{some[0]}–{some[-1]}"
            if some == list(range(some[0], some[-1] + 1))
            else ", ".join(map(str, some)),
            at,
        )
        for at, some in found.items()
    ]
