"""Plots and the map of a council's report as the PDF draws them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from reportlab.graphics.charts.utils import find_good_grid
from reportlab.graphics.shapes import (
    Circle,
    Drawing,
    Group,
    Line,
    Polygon,
    PolyLine,
    Shape,
    String,
)
from reportlab.lib.colors import HexColor, white
from reportlab.lib.units import inch
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable

from inventory.interchange.pdf_pages import FONT, INK, RULE, SOFT, WIDTH, plain

if TYPE_CHECKING:
    from reportlab.lib.colors import Color

    from inventory.engineering.places.map_frame import MapFrame
    from inventory.interchange.council_document import PlotLine, PlotOfYears
    from inventory.services.programme.report_map import MapDrawing, Place

# The colours of the pages (static/css/tokens.css).
COLORS = {
    "own": INK,
    "other": HexColor("#7A7363"),
    "second": HexColor("#3F8F8F"),
    "third": HexColor("#C77D1E"),
    "level": HexColor("#8C1D40"),
}
BAR = HexColor("#A9B8A6")
TEAL, DARK_RED, GREY = HexColor("#0B6E6E"), HexColor("#8C1D40"), HexColor("#9AA0A8")
MARK_ORDER = ("stays", "later", "first_year", "below")  # what lies under what
Anchor = Literal["start", "middle", "end"]
PLOT_HEIGHT = 2.15 * inch
LEFT, BOTTOM, TOP, RIGHT = 50.0, 18.0, 18.0, 6.0
SMALL = 7.5
LEGEND_HEIGHT = 14.0
SWATCH = 26.0
DASH = [4, 2.5]
TICKS = 5
MAP_WIDTH, MAP_HEIGHT = WIDTH, 4.7 * inch
UNDER_MAP = 26.0


def plot_drawing(plot: PlotOfYears) -> Drawing:
    """Return a plot by year: bars, lines with a shape each, and a legend in words."""
    shown = [*([plot.bars] if plot.bars else []), *plot.lines]
    drawing = Drawing(WIDTH, PLOT_HEIGHT + LEGEND_HEIGHT)
    plane = _Plane(plot.years, max(max(each.values) for each in shown))
    for part in plane.axes(plain(plot.y_label)):
        drawing.add(part)
    if plot.bars is not None:
        half = 0.3 * plane.year_width
        for year, value in zip(plot.years, plot.bars.values, strict=True):
            x, y = plane.at(year, value)
            drawing.add(_bar(x - half, BOTTOM, 2 * half, max(y - BOTTOM, 0.3)))
    for line in plot.lines:
        points = [plane.at(*each) for each in zip(plot.years, line.values, strict=True)]
        for part in _line(line, points):
            drawing.add(part)
    x = LEFT
    for each in shown:
        drawing.add(_swatch(each, x, is_bar=each is plot.bars))
        label = plain(each.label)
        drawing.add(_words(x + SWATCH + 4, PLOT_HEIGHT + 2, label, INK))
        x += SWATCH + 20 + stringWidth(label, FONT, SMALL)
    return drawing


class _Plane:
    """The box a plot is drawn in, its scales and its axes."""

    def __init__(self, years: tuple[int, ...], top: float) -> None:
        self.years = years
        grid = find_good_grid(0, top or 1.0, TICKS)  # type: ignore[no-untyped-call]  # the library's
        _low, self.top, self.step = grid
        self.width = WIDTH - LEFT - RIGHT
        self.height = PLOT_HEIGHT - BOTTOM - TOP
        self.year_width = self.width / len(years)

    def at(self, year: int, value: float) -> tuple[float, float]:
        """Return where a value stands."""
        x = LEFT + (year - self.years[0] + 0.5) * self.year_width
        return x, BOTTOM + self.height * value / self.top

    def axes(self, y_label: str) -> list[Shape]:
        """Return the grid with its figures, the years, and what is counted."""
        parts: list[Shape] = [_words(0, PLOT_HEIGHT + 2, y_label, SOFT)]
        decimals = 0 if self.step >= 1 else 1
        for number in range(round(self.top / self.step) + 1):
            value = number * self.step
            _x, y = self.at(self.years[0], value)
            parts.append(Line(LEFT, y, LEFT + self.width, y, strokeColor=RULE, strokeWidth=0.5))
            figure = f"{value:,.{decimals}f}"
            parts.append(_words(LEFT - 5, y - 2.5, figure, SOFT, anchor="end"))
        for year in self.years:
            x, _y = self.at(year, 0)
            parts.append(_words(x, BOTTOM - 11, str(year), SOFT, anchor="middle"))
        return parts


def _words(x: float, y: float, words: str, color: Color, anchor: Anchor = "start") -> String:
    return String(
        x, y, words, fontName=FONT, fontSize=SMALL, fillColor=color, textAnchor=anchor
    )


def _bar(x: float, y: float, width: float, height: float) -> Polygon:
    corners = [x, y, x + width, y, x + width, y + height, x, y + height]
    return Polygon(corners, fillColor=BAR, strokeColor=BAR, strokeWidth=0)


def _line(line: PlotLine, points: list[tuple[float, float]]) -> list[Shape]:
    """Return a line; its points have a shape of their own, so that no colour is needed."""
    color = COLORS[line.role]
    drawn = PolyLine(
        [part for point in points for part in point],
        strokeColor=color,
        strokeWidth=1.8 if line.role == "own" else 1.2,
        strokeLineJoin=1,
    )
    if line.is_dashed:
        drawn.strokeDashArray = DASH
        return [drawn]
    return [drawn, *(_point(line, *point) for point in points)]


def _point(line: PlotLine, x: float, y: float) -> Shape:
    color = COLORS[line.role]
    if line.role == "second":
        corners = [x - 2, y - 2, x + 2, y - 2, x + 2, y + 2, x - 2, y + 2]
        return Polygon(corners, fillColor=white, strokeColor=color, strokeWidth=1)
    if line.role == "third":
        corners = [x - 2.5, y - 2, x + 2.5, y - 2, x, y + 2.6]
        return Polygon(corners, fillColor=color, strokeColor=color, strokeWidth=0.5)
    return Circle(x, y, 2.1, fillColor=color, strokeColor=color, strokeWidth=0.5)


def _swatch(line: PlotLine, x: float, *, is_bar: bool) -> Group:
    y = PLOT_HEIGHT + 4.5
    if is_bar:
        return Group(_bar(x + 6, y - 4, 14, 8))
    ends = [(x, y), (x + SWATCH, y)]
    parts = _line(line, ends)[:1]
    if not line.is_dashed:
        parts.append(_point(line, x + SWATCH / 2, y))
    return Group(*parts)


class MapFlowable(Flowable):
    """The map to scale, with its marks, their words, a scale bar and north."""

    def __init__(self, drawing: MapDrawing, frame: MapFrame, words: dict[str, str]) -> None:
        super().__init__()
        self.map, self.frame, self.words = drawing, frame, words
        self.scale = min(MAP_WIDTH / frame.width, MAP_HEIGHT / frame.height)
        self.width = frame.width * self.scale
        self.height = frame.height * self.scale + UNDER_MAP

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Return how much room it takes."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw roads, then marks, the more pressing on top; many marks are one path."""
        canvas = self.canv
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.5)
        high = self.height - UNDER_MAP
        canvas.rect(0, UNDER_MAP, self.width, high)
        canvas.saveState()
        edge = canvas.beginPath()
        edge.rect(0, UNDER_MAP, self.width, high)
        canvas.clipPath(edge, stroke=0)
        canvas.setStrokeColor(HexColor("#B5AD9C"))
        canvas.setLineWidth(0.6)
        roads = canvas.beginPath()
        for road in self.map.roads:
            roads.moveTo(*self._at(road[0]))
            for point in road[1:]:
                roads.lineTo(*self._at(point))
        canvas.drawPath(roads)
        canvas.restoreState()
        for kind in MARK_ORDER:
            places = [self._at(place) for place in self.map.marks.get(kind, ())]
            self._marks(kind, places)
        self._legend()
        self._scale_and_north(high)

    def _at(self, place: Place) -> tuple[float, float]:
        return place[0] * self.scale, self.height - place[1] * self.scale

    def _marks(self, kind: str, places: list[tuple[float, float]]) -> None:
        canvas = self.canv
        path = canvas.beginPath()
        for x, y in places:
            if kind == "stays":
                path.rect(x - 0.7, y - 0.7, 1.4, 1.4)
            elif kind == "below":
                path.rect(x - 2, y - 2, 4, 4)
            else:
                path.circle(x, y, 2.2 if kind == "first_year" else 1.9)
        color = {"stays": GREY, "below": DARK_RED}.get(kind, TEAL)
        is_hollow = kind == "later"
        canvas.setFillColor(white if is_hollow else color)
        canvas.setStrokeColor(color if is_hollow else white)
        canvas.setLineWidth(0.8 if is_hollow else 0.3)
        canvas.drawPath(path, stroke=int(kind != "stays"), fill=1)

    def _legend(self) -> None:
        canvas, x = self.canv, 4.0
        for kind, words in self.words.items():
            self._marks(kind, [(x, 10.0)])
            canvas.setFillColor(INK)
            canvas.setFont(FONT, SMALL)
            label = f"{plain(words)} ({self.map.counts[kind]:,})"
            canvas.drawString(x + 6, 7.5, label)
            x += 20 + stringWidth(label, FONT, SMALL)

    def _scale_and_north(self, high: float) -> None:
        canvas = self.canv
        miles, units = self.frame.scale_bar
        long = units * self.scale
        canvas.setFillColor(white)
        canvas.setStrokeColor(white)
        canvas.rect(6, UNDER_MAP + 5, long + 12, 19, stroke=0, fill=1)
        canvas.setStrokeColor(INK)
        canvas.setFillColor(INK)
        canvas.setLineWidth(1.2)
        canvas.line(12, UNDER_MAP + 10, 12 + long, UNDER_MAP + 10)
        for x in (12, 12 + long):
            canvas.line(x, UNDER_MAP + 7.5, x, UNDER_MAP + 12.5)
        canvas.setFont(FONT, SMALL)
        canvas.drawCentredString(12 + long / 2, UNDER_MAP + 14, f"{miles:g} mi")
        top = UNDER_MAP + high - 8
        arrow = canvas.beginPath()
        arrow.moveTo(16, top)
        arrow.lineTo(12, top - 11)
        arrow.lineTo(20, top - 11)
        arrow.close()
        canvas.drawPath(arrow, stroke=0, fill=1)
        canvas.drawCentredString(16, top - 20, "N")
