"""What a report is made of: sentences, tables, plots; the same for page, PDF and CSV."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from inventory.models import WorkBasis
    from inventory.services.programme.report_map import MapDrawing

# The least of something is rounded up, since less would not be enough.
Kind = Literal[
    "count",
    "expected",
    "money",
    "money_least",
    "hours",
    "share",
    "share_least",
    "risk",
    "figure",
]
Value = float | int | None
NOT_TOLD = "–"
KEPT = "\u00a0"  # a blank at which no line ends
CLASS_WORDS = {
    1: "1: Stop, Yield, Do Not Enter, Wrong Way",
    2: "2: other regulatory, critical warning",
    3: "3: other warning",
    4: "4: guide",
}


@dataclass(frozen=True, slots=True)
class Column:
    """A column of figures: its key in the CSV, its words, unit, and how figures are shown."""

    key: str
    name: str
    kind: Kind
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """
    A row: its key and words, and a value for each column, empty where there is none.

    ``kind`` and ``unit`` go before those of the columns, in tables of unlike figures.
    """

    key: str
    label: str
    values: tuple[Value, ...]
    is_total: bool = False
    kind: Kind | None = None
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table of figures; ``summary`` says what it shows to those who do not see a plot."""

    key: str
    title: str
    head: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    summary: str = ""
    is_told_by_map: bool = False  # its figures stand in the legend of a drawn map

    @property
    def heads(self) -> list[str]:
        """Return the words above the columns, with their units."""
        return [
            self.head,
            *(f"{each.name}, {each.unit}" if each.unit else each.name for each in self.columns),
        ]

    @property
    def shown(self) -> list[list[str]]:
        """Return every row as it is read: its words, then its figures."""
        return [self.row_shown(row) for row in self.rows]

    def row_shown(self, row: Row) -> list[str]:
        """Return one row as it is read."""
        figures = [
            shown(value, row.kind or column.kind)
            for value, column in zip(row.values, self.columns, strict=True)
        ]
        return [f"{row.label}, {row.unit}" if row.unit else row.label, *figures]

    @property
    def has_total(self) -> bool:
        """Return whether the last row is the sum of the others."""
        return bool(self.rows) and self.rows[-1].is_total


@dataclass(frozen=True, slots=True)
class PlotLine:
    """One thing a plot shows: a line, or the bars."""

    label: str
    values: tuple[float, ...]
    role: Literal["own", "other", "second", "third", "level"]
    is_dashed: bool = False


@dataclass(frozen=True, slots=True)
class PlotOfYears:
    """Figures by calendar year: lines, or bars under a line."""

    key: str
    title: str
    y_label: str
    years: tuple[int, ...]
    lines: tuple[PlotLine, ...]
    bars: PlotLine | None = None


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the report under its heading; the table stands beside its plot or map."""

    key: str
    heading: str
    sentences: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    plot: PlotOfYears | None = None
    map: MapDrawing | None = None
    map_words: tuple[tuple[str, str], ...] = ()
    points: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CouncilDocument:
    """The report: who, for which years, of which day, and its sections."""

    title: str
    agency: str
    is_invented: bool
    day: date
    days_told: str
    notices: tuple[str, ...]
    sections: tuple[Section, ...]
    others: Table

    @property
    def tables(self) -> list[Table]:
        """Return every table, in reading order; last the figures that only sentences tell."""
        return [*(table for each in self.sections for table in each.tables), self.others]


def shown(value: Value, kind: Kind) -> str:
    """
    Return a figure as it is read.

    Expected numbers are whole from 10 on; what rounds to none but is not none says so.
    """
    if value is None:
        return NOT_TOLD
    if kind == "money_least":
        return f"{math.ceil(value):,}"
    if kind == "share_least":
        return f"{math.ceil(100 * value):,}{KEPT}%"
    if kind == "share":
        return f"{100 * value:.0f}{KEPT}%" if not 0 < value < 0.005 else f"under 1{KEPT}%"
    if kind in ("expected", "risk"):
        return amount(float(value))
    if kind == "figure":
        return f"{value:,.10g}"
    return f"{value:,.0f}"


def amount(value: float) -> str:
    """Return an expected number: whole from 10 on, and what rounds to none but is not, so."""
    if 0 < value < 0.05:
        return "under 0.1"
    return f"{value:,.0f}" if value >= 10 or value == 0 else f"{value:.1f}"


def counted(number: int, one: str, many: str = "") -> str:
    """Return a number with its word: 1 sign, 2 signs."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence: a, b and c."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def money_words(basis: WorkBasis, money: float) -> str:
    """Return money in the currency of a work basis, whole."""
    return f"{basis.currency}{KEPT}{money:,.0f}"


def day_words(day: date) -> str:
    """Return a day as it is written in prose: 25 Nov 2026."""
    return f"{day:%d %b %Y}".removeprefix("0")
