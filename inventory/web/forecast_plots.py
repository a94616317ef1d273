"""Plots as the pages' script draws them, each with its figures in a table beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

AxisKind = Literal["year", "number", "date"]
SeriesKind = Literal["line", "step", "band", "points", "errors", "bars"]
Role = Literal["own", "cohort", "level", "forecast", "other", "first", "second", "third"]
Place = float | date | None

SIGNIFICANT_DIGITS = 6  # more than a screen shows


@dataclass(frozen=True)
class Series:
    """
    One thing that a plot shows.

    ``low`` and ``high`` are the ends of a band, of the whisker of a point (``errors``) or of a
    bar. ``x`` is given where the series does not stand at the plot's own places. ``is_dashed``
    and ``is_hollow`` mark what is not read but reckoned beyond what was read, or not counted.
    """

    label: str
    kind: SeriesKind
    values: Sequence[float | None] = ()
    low: Sequence[float | None] = ()
    high: Sequence[float | None] = ()
    x: Sequence[Place] | None = None
    role: Role = "own"
    is_dashed: bool = False
    is_hollow: bool = False


@dataclass(frozen=True)
class Level:
    """A level to keep: a dashed line over the whole width with its words."""

    label: str
    value: float


@dataclass(frozen=True)
class Span:
    """A stretch of the x axis, such as the time in which a sign falls due."""

    label: str
    start: float | date
    stop: float | date


@dataclass(frozen=True)
class Mark:
    """A place on the x axis, such as today: a dotted line with its words."""

    label: str
    at: float | date


@dataclass(frozen=True)
class Column:
    """A column of the table beside a plot; the first one heads the rows."""

    name: str
    unit: str = ""
    is_number: bool = True


@dataclass(frozen=True)
class Plot:
    """
    What ``inventory/forecast/plot.html`` shows.

    ``summary`` says in a sentence or two what the drawing shows, for those who do not see it.
    A cell of ``rows`` that is ``None`` is shown as not known; ``is_table_open`` has the table
    stand open beside the drawing from the start, for a short one.
    """

    id: str
    title: str
    summary: str
    spec: dict[str, Any]
    columns: Sequence[Column]
    rows: Sequence[Sequence[str | None]]
    note: str = ""
    is_table_open: bool = False

    @property
    def data_id(self) -> str:
        """Return the id of the element that holds the drawing's numbers."""
        return f"{self.id}-numbers"

    @property
    def table(self) -> list[list[tuple[Column, str | None]]]:
        """Return the rows with each cell beside its column."""
        return [list(zip(self.columns, row, strict=True)) for row in self.rows]

    @classmethod
    def make(
        cls,
        *,
        id: str,
        title: str,
        summary: str,
        x_label: str,
        y_label: str,
        series: Sequence[Series],
        columns: Sequence[Column],
        rows: Sequence[Sequence[str | None]],
        x_kind: AxisKind = "number",
        x_values: Sequence[Place] = (),
        levels: Sequence[Level] = (),
        spans: Sequence[Span] = (),
        marks: Sequence[Mark] = (),
        is_stacked: bool = False,
        is_from_zero: bool = True,
        y_top: float = 0.0,
        note: str = "",
        is_table_open: bool = False,
    ) -> Plot:
        """
        Return a plot.

        Bars stand side by side, or on each other with ``is_stacked``; years as numbers
        (2031, or 2031.5 for its middle) with ``x_kind="year"``, days as dates with ``"date"``.
        With ``is_from_zero`` the y axis starts at 0 unless something lies below it, and it
        reaches to ``y_top`` at least.

        Raises
        ------
        ValueError
            If the values of a series are not as many as its places: a slip of the caller.
        """
        spec = {
            "x": {"label": x_label, "kind": x_kind, "values": _places(x_values)},
            "y": {"label": y_label, "from_zero": is_from_zero, "top": y_top},
            "stacked": is_stacked,
            "series": [_series(each, len(x_values)) for each in series],
            "levels": [{"label": each.label, "value": _number(each.value)} for each in levels],
            "spans": [
                {"label": each.label, "from": _place(each.start), "to": _place(each.stop)}
                for each in spans
            ],
            "marks": [{"label": each.label, "at": _place(each.at)} for each in marks],
        }
        return cls(id, title, summary, spec, columns, rows, note, is_table_open)


def _series(series: Series, count: int) -> dict[str, Any]:
    """Return a series as the script reads it."""
    wanted = count if series.x is None else len(series.x)
    parts = {"values": series.values, "low": series.low, "high": series.high}
    for name, numbers in parts.items():
        if len(numbers) not in (0, wanted):
            msg = f"'{series.label}' has {len(numbers)} {name} at {wanted} places."
            raise ValueError(msg)
    made: dict[str, Any] = {
        "label": series.label,
        "kind": series.kind,
        "role": series.role,
        "dashed": series.is_dashed,
        "hollow": series.is_hollow,
        **{
            name: [_number(each) for each in numbers]
            for name, numbers in parts.items()
            if len(numbers)
        },
    }
    if series.x is not None:
        made["x"] = _places(series.x)
    return made


def _places(places: Iterable[Place]) -> list[float | None]:
    return [_place(each) for each in places]


def _place(place: Place) -> float | None:
    """Return where something stands on the x axis; a day as seconds since 1970."""
    if isinstance(place, datetime):
        return place.timestamp()
    if isinstance(place, date):
        return datetime(place.year, place.month, place.day, tzinfo=UTC).timestamp()
    return _number(place)


def _number(value: float | None) -> float | None:
    """Return a number that JSON can hold, with no more digits than a screen shows."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{SIGNIFICANT_DIGITS}g}")
