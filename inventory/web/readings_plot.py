"""Readings over time against the minimum line, as a drawing the server makes.

One panel a colour; a table beside it says the same in figures.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape
from typing import TYPE_CHECKING

from django.utils.safestring import SafeString, mark_safe

from inventory.engineering.assessment.own_levels import AGENCY_LEVEL_TABLE
from inventory.web.numbers import plain

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from inventory.models import ElementAssessment
    from inventory.services.sign_record import ColourReading

WIDTH, HEIGHT = 360.0, 170.0
LEFT, RIGHT, TOP, BOTTOM = 42.0, 84.0, 12.0, 24.0
HEADROOM = 1.15
NICE_STEPS = (1, 2, 2.5, 5, 10)
MOST_YEAR_LABELS = 6
DAYS_PER_YEAR = 365.25
LABEL_GAP = 6.0
LINE_HEIGHT = 13.0


@dataclass(frozen=True)
class Panel:
    """The drawing of one colour, and what a screen reader says of it."""

    color: str
    svg: SafeString


@dataclass(frozen=True)
class _Scale:
    """Where a moment and a value stand in the drawing."""

    first_year: float
    last_year: float
    top_value: float

    def x(self, year: float) -> float:
        share = (year - self.first_year) / (self.last_year - self.first_year)
        return LEFT + share * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        return HEIGHT - BOTTOM - value / self.top_value * (HEIGHT - TOP - BOTTOM)


def draw_panels(
    readings: Sequence[ColourReading], elements: Sequence[ElementAssessment]
) -> list[Panel]:
    """Return a panel for each colour that was read, in the order of the verdicts."""
    levelled = [e for e in elements if e.kind == "color" and e.level is not None]
    levels = {e.color: e.level for e in levelled}
    names = {e.color: _level_name(e) for e in levelled}
    by_color: dict[str, list[ColourReading]] = {}
    for element in elements:
        if element.kind == "color":
            by_color[element.color] = []
    for reading in readings:
        by_color.setdefault(reading.color, []).append(reading)
    years = [_year(reading.taken_at) for reading in readings]
    return [
        Panel(
            color,
            _draw(
                color,
                rows,
                levels.get(color),
                names.get(color, ("", "")),
                (min(years), max(years)),
            ),
        )
        for color, rows in by_color.items()
        if rows
    ]


def _draw(
    color: str,
    rows: Sequence[ColourReading],
    level: Decimal | None,
    level_name: tuple[str, str],
    years: tuple[float, float],
) -> SafeString:
    highest = max(float(max(row.values)) for row in rows)
    scale = _Scale(
        int(years[0]),
        int(years[1]) + 1.0,
        _nice_top(max(highest, float(level or 0)) * HEADROOM),
    )
    parts = [*_grid(scale), *_level_line(scale, level, level_name)]
    parts.extend(_visit(scale, row) for row in rows)
    words = f"Readings of {color}, {len(rows)} visits"
    if level is not None:
        words += f", minimum {level_name[0]} {plain(level)} cd/lx/m² {level_name[1]}".rstrip()
    svg = (
        f'<svg class="readings-plot" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img">'
        f"<title>{escape(words)}</title>{''.join(parts)}</svg>"
    )
    return mark_safe(svg)  # noqa: S308 - numbers, and one text that went through escape()


def _grid(scale: _Scale) -> list[str]:
    step = _nice_step(scale.top_value)
    parts = []
    value = 0.0
    while value <= scale.top_value:
        y = scale.y(value)
        parts.append(
            f"{_across('grid', y)}"
            f'<text class="axis end" x="{LEFT - LABEL_GAP:g}" y="{y + 4:.1f}">{value:g}</text>'
        )
        value += step
    years = range(int(scale.first_year), int(scale.last_year) + 1)
    every = -(-len(years) // MOST_YEAR_LABELS)
    parts.extend(
        f'<text class="axis middle" x="{scale.x(year):.1f}" y="{HEIGHT - LABEL_GAP:g}">'
        f"{year}</text>"
        for year in years[::every]
    )
    return parts


def _level_name(element: ElementAssessment) -> tuple[str, str]:
    """Return what a level is called in the drawing, and its mark where it has one."""
    if element.table_id == AGENCY_LEVEL_TABLE:
        return "own level", ""
    return "level", "" if element.is_level_verified else "unverified"


def _level_line(scale: _Scale, level: Decimal | None, name: tuple[str, str]) -> list[str]:
    if level is None:
        return []
    y = scale.y(float(level))
    return [
        _across("level", y),
        *(
            f'<text class="level-word" x="{WIDTH - RIGHT + LABEL_GAP:g}" '
            f'y="{y + 4 + line * LINE_HEIGHT:.1f}">{words}</text>'
            for line, words in enumerate((f"{name[0]} {plain(level)}", name[1]))
            if words
        ),
    ]


def _across(kind: str, y: float) -> str:
    """Return a line over the whole width of the drawing."""
    right = WIDTH - RIGHT
    return f'<line class="{kind}" x1="{LEFT:g}" x2="{right:g}" y1="{y:.1f}" y2="{y:.1f}"/>'


def _visit(scale: _Scale, row: ColourReading) -> str:
    """Return one visit: a dot at the mean, a bar from the least to the greatest value."""
    x = scale.x(_year(row.taken_at))
    low, high = scale.y(float(min(row.values))), scale.y(float(max(row.values)))
    kind = "visit corrected" if row.is_corrected else "visit"
    return (
        f'<g class="{kind}"><line x1="{x:.1f}" x2="{x:.1f}" y1="{high:.1f}" y2="{low:.1f}"/>'
        f'<circle cx="{x:.1f}" cy="{scale.y(float(row.mean)):.1f}" r="4.5"/></g>'
    )


def _year(moment: datetime) -> float:
    """Return a moment as a year with its fraction."""
    start = datetime(moment.year, 1, 1, tzinfo=UTC)
    return moment.year + (moment - start).total_seconds() / 86_400 / DAYS_PER_YEAR


def _nice_step(top: float) -> float:
    """Return the step that gives the axis about four lines."""
    rough = top / 4
    power = 1.0
    while power * 10 <= rough:
        power *= 10
    while power > rough:
        power /= 10
    return next(step * power for step in NICE_STEPS if step * power >= rough)


def _nice_top(highest: float) -> float:
    """Return the upper end of the axis: a whole number of steps."""
    if highest <= 0:
        return 1.0
    step = _nice_step(highest)
    count = 1
    while count * step < highest:
        count += 1
    return count * step
