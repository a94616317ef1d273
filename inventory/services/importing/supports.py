"""Which support a row's sign stands on: by the list's key for it, or by distance."""

from __future__ import annotations

import math
from collections import defaultdict
from typing import TYPE_CHECKING, Any

from inventory.engineering.places import cell_of, distance_m
from inventory.models import Support

if TYPE_CHECKING:
    from inventory.models import Organisation

Point = tuple[float, float]
METRES_PER_DEGREE = 111_000.0  # of latitude, a little short so that no neighbour is missed
POLAR_LIMIT_DEG = 89.0
CHANGEABLE = (
    "latitude_deg",
    "longitude_deg",
    "cell",
    "road",
    "support_type",
    "post_count",
    "side",
    "district",
    "milepoint_mi",
)


class SupportBook:
    """
    The supports of an organisation while rows are being placed on them.

    A support that a row needs and that is not there is made, unsaved, until ``write``. Rows are
    placed in the order of the file, each on the nearest support that
    was there before it, so that the same file gives the same supports, stopped and resumed or
    not.
    """

    def __init__(
        self,
        organisation: Organisation,
        *,
        grouping_m: float | None,
        same_place_m: float,
        is_key_trusted: bool,
    ) -> None:
        self.organisation = organisation
        self.grouping_m = grouping_m
        self.same_place_m = same_place_m
        self.is_key_trusted = is_key_trusted
        self.made = 0
        self._new: list[Support] = []
        self._by_key: dict[str, Support] = {}
        self._cell_m = grouping_m or same_place_m
        self._grid: dict[tuple[int, int], list[Support]] = defaultdict(list)
        self._by_pk: dict[int, Support] = {}
        self._touched: dict[int, Support] = {}
        for support in (
            Support.objects.owned_by(organisation).select_related("road").order_by("pk")
        ):
            self._by_pk[support.pk] = support
            self._add(support)

    def __getitem__(self, pk: int) -> Support:
        """Return a saved support, as it will be once the batch is written."""
        return self._by_pk[pk]

    def _add(self, support: Support) -> None:
        if support.external_key:
            self._by_key[support.external_key] = support
        if self.grouping_m is not None:
            self._grid[self._square(support.latitude_deg, support.longitude_deg)].append(
                support
            )

    def _square(self, latitude_deg: float, longitude_deg: float) -> tuple[int, int]:
        row = math.floor(latitude_deg * METRES_PER_DEGREE / self._cell_m)
        return row, self._column(row, longitude_deg)

    def _column(self, row: int, longitude_deg: float) -> int:
        """Return the square's column; a row's squares are measured at its poleward edge."""
        edge = min(POLAR_LIMIT_DEG, (abs(row) + 1) * self._cell_m / METRES_PER_DEGREE)
        width_m = METRES_PER_DEGREE * math.cos(math.radians(edge))
        return math.floor(longitude_deg * width_m / self._cell_m)

    def write(self) -> None:
        """Save the supports made and changed since the last call."""
        Support.objects.bulk_create(self._new)
        self._by_pk |= {support.pk: support for support in self._new}
        self._new = []
        for support in self._touched.values():
            support.save(update_fields=CHANGEABLE)
        self._touched = {}

    def move(self, support: Support, point: Point) -> None:
        """Put a support in another place."""
        if self.grouping_m is not None:
            self._grid[self._square(*point_of(support))].remove(support)
        support.latitude_deg, support.longitude_deg = point
        support.cell = cell_of(*point)
        if self.grouping_m is not None:
            self._grid[self._square(*point)].append(support)
        self._touch(support)

    def set(self, support: Support, **fields: Any) -> None:
        """Give a support other properties than those of its place."""
        if any(getattr(support, name) != value for name, value in fields.items()):
            for name, value in fields.items():
                setattr(support, name, value)
            self._touch(support)

    def fill(self, support: Support, **fields: Any) -> None:
        """Give a support what is not known of it yet; the first row that says so counts."""
        self.set(
            support,
            **{k: v for k, v in fields.items() if getattr(support, k) in (None, "")},
        )

    def _touch(self, support: Support) -> None:
        if support.pk is not None:
            self._touched[support.pk] = support

    def with_key(self, key: str) -> Support | None:
        """Return the support of a key, where there is one."""
        return self._by_key.get(key)

    def place(self, key: str, point: Point) -> Support:
        """Return the support for a sign with this key (blank: none) at this point."""
        if key:
            return self._by_key_at(key, point)
        near = None if self.grouping_m is None else self._nearest(point, self.grouping_m)
        return near or self._make("", point)

    def _by_key_at(self, key: str, point: Point) -> Support:
        """Return the key's support, or the one of its that is here where points are trusted."""
        if self.is_key_trusted:
            return self._by_key.get(key) or self._make(key, point)
        times, name = 1, key
        while (support := self._by_key.get(name)) is not None:
            if metres_between(point_of(support), point) <= self.same_place_m:
                return support
            times += 1
            name = f"{key} ({times})"
        return self._make(name, point)

    def _nearest(self, point: Point, within_m: float) -> Support | None:
        row, _ = self._square(*point)
        best: tuple[float, Support] | None = None
        for near_row in (row - 1, row, row + 1):
            column = self._column(near_row, point[1])
            for near_column in (column - 1, column, column + 1):
                for support in self._grid.get((near_row, near_column), ()):
                    metres = metres_between(point_of(support), point)
                    if metres <= within_m and (best is None or metres < best[0]):
                        best = metres, support
        return best[1] if best is not None else None

    def _make(self, key: str, point: Point) -> Support:
        latitude_deg, longitude_deg = point
        support = Support(
            organisation=self.organisation,
            external_key=key,
            latitude_deg=latitude_deg,
            longitude_deg=longitude_deg,
            cell=cell_of(latitude_deg, longitude_deg),
        )
        self.made += 1
        self._new.append(support)
        self._add(support)
        return support


def point_of(support: Support) -> Point:
    """Return where a support stands."""
    return support.latitude_deg, support.longitude_deg


def metres_between(first: Point, second: Point) -> float:
    """Return the distance between two points; zero without arithmetic where they are one."""
    return 0.0 if first == second else float(distance_m(*first, *second))


class KeyPlaces:
    """
    Where a list puts the support of each of its keys.

    Rows of one key may differ by a little; where they differ by more the list contradicts
    itself, and the place most of them name is taken, the first named of equals.
    """

    def __init__(self, same_place_m: float) -> None:
        self._same_place_m = same_place_m
        self._groups: dict[str, list[tuple[Point, int]]] = defaultdict(list)

    def add(self, key: str, point: Point) -> None:
        """Count the place of one row."""
        groups = self._groups[key]
        for index, (place, count) in enumerate(groups):
            if metres_between(place, point) <= self._same_place_m:
                groups[index] = place, count + 1
                return
        groups.append((point, 1))

    def place(self, key: str) -> Point | None:
        """Return the place of a key's support, if any row gives one."""
        groups = self._groups.get(key)
        if not groups:
            return None
        most = max(count for _, count in groups)
        return next(place for place, count in groups if count == most)

    def is_one_place(self, key: str) -> bool:
        """Return whether all rows of a key put its support in one place."""
        return len(self._groups.get(key, ())) == 1

    def contradictions(self) -> list[tuple[str, int, float]]:
        """Return the keys put in several places: rows elsewhere, and the farthest of them."""
        found = []
        for key, groups in self._groups.items():
            chosen = self.place(key)
            if len(groups) > 1 and chosen is not None:
                elsewhere = sum(count for place, count in groups if place != chosen)
                farthest = max(metres_between(chosen, place) for place, _ in groups)
                found.append((key, elsewhere, farthest))
        return found
