"""
A load of a layout drawn to scale, as SVG for the page and as PDF for the press.

The roll lies from left to right, its start on the left, its width upright; a long one is drawn
in rows, one below the other, that end where no face is crossed if there is such a place. What
the cutter needs is written, not coloured: it reads in black and white.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import IO, TYPE_CHECKING
from xml.etree import ElementTree

from reportlab.graphics.shapes import Drawing, Line, Polygon, String
from reportlab.lib.colors import HexColor, white
from reportlab.lib.units import inch
from reportlab.platypus import CondPageBreak, KeepTogether, Spacer

from inventory.interchange.pdf_pages import BOLD, FONT, INK, SOFT, WIDTH, text, write_pdf

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from reportlab.platypus import Flowable

Point = tuple[float, float]  # along the roll, across it [in]

ROW_IN = 180.0  # of roll in a row of the drawing, at most
_LEAST_ROW_IN = 90.0  # a row ends no sooner only to cross no face
FOOT_IN = 12.0
_PAD_IN = 7.0  # above a row: its ruler
_BELOW_IN = 2.5
_LETTER_IN = 2.6
_LEAST_LETTER_IN = 1.1
_WASTE, _FACE, _KEPT = HexColor("#EDE9DF"), white, HexColor("#DCEBEA")


@dataclass(frozen=True)
class DrawnFace:
    """A piece as it lies: its corners, a short name, and what more is said of it."""

    name: str
    words: str
    corners: tuple[Point, ...]
    is_kept: bool = False


@dataclass(frozen=True)
class DrawnCut:
    """A straight cut from one point to another."""

    start: Point
    end: Point


@dataclass(frozen=True, kw_only=True)
class LayoutDrawing:
    """One load: the roll, what is lost at its ends, the pieces, the cuts, and its figures."""

    title: str
    roll_width_in: float
    taken_in: float
    lead_in_in: float
    tail_in: float
    edge_in: float
    faces: tuple[DrawnFace, ...]
    cuts: tuple[DrawnCut, ...]
    figures: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class _Row:
    start: float
    end: float


def layout_svg(drawing: LayoutDrawing) -> str:
    """
    Return the drawing as SVG, one unit an inch; looks come from the page's style sheet.

    Each piece is a polygon of its own with its name in ``data-face``; a piece that two rows
    share is in both.
    """
    rows = _rows(drawing)
    step = _PAD_IN + drawing.roll_width_in + _BELOW_IN
    width = max(row.end - row.start for row in rows) + 4
    root = ElementTree.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"-2 0 {width:g} {step * len(rows):g}",
            "class": "layout-drawing",
            "role": "img",
            "aria-label": f"{drawing.title}: {len(drawing.faces)} pieces on "
            f"{drawing.taken_in / FOOT_IN:.1f} feet of roll, drawn to scale",
        },
    )
    for at, row in enumerate(rows):
        group = ElementTree.SubElement(
            root, "g", {"transform": f"translate(0 {at * step + _PAD_IN:g})"}
        )
        _svg_row(group, drawing, row)
    return ElementTree.tostring(root, encoding="unicode")


def _svg_row(group: ElementTree.Element, drawing: LayoutDrawing, row: _Row) -> None:
    length = row.end - row.start
    _svg(group, "rect", "roll", x=0, y=0, width=length, height=drawing.roll_width_in)
    for start, end in ((0, drawing.lead_in_in), _tail(drawing)):
        low, high = max(start, row.start), min(end, row.end)
        if high > low:
            _svg(
                group,
                "rect",
                "lost",
                x=low - row.start,
                y=0,
                width=high - low,
                height=drawing.roll_width_in,
            )
    for face, corners in _faces_in(drawing, row):
        points = " ".join(f"{x - row.start:.3f},{y:.3f}" for x, y in corners)
        kind = "face kept" if face.is_kept else "face"
        piece = _svg(group, "polygon", kind, points=points)
        piece.set("data-face", face.name)
        ElementTree.SubElement(piece, "title").text = f"{face.name}: {face.words}"
        if _is_named_here(face, row):
            x, y, size = _name_place(face, corners)
            name = _svg(group, "text", "name", x=x - row.start, y=y + size * 0.36)
            name.set("font-size", f"{size:.2f}")
            name.text = face.name
    for (x1, y1), (x2, y2) in _cuts_in(drawing, row):
        _svg(group, "line", "cut", x1=x1 - row.start, y1=y1, x2=x2 - row.start, y2=y2)
    for feet, at in _ticks(row):
        _svg(group, "line", "tick", x1=at - row.start, y1=-1.4, x2=at - row.start, y2=0)
        word = _svg(group, "text", "ruler", x=at - row.start, y=-2.1)
        word.text = f"{feet} ft"


def _svg(
    group: ElementTree.Element, tag: str, kind: str, **numbers: float | str
) -> ElementTree.Element:
    shown = {
        name: each if isinstance(each, str) else f"{each:.3f}".rstrip("0").rstrip(".")
        for name, each in numbers.items()
    }
    return ElementTree.SubElement(group, tag, {"class": kind, **shown})


def layout_pdf(
    stream: IO[bytes], drawings: Sequence[LayoutDrawing], *, title: str, author: str, foot: str
) -> None:
    """Write the drawings as a PDF, each on pages of its own, to one scale that it says."""
    write_pdf(
        stream,
        _story(drawings, title),
        title=title,
        author=author,
        subject="Layout of sign faces on rolls of sheeting",
        foot=foot,
    )


def _story(drawings: Sequence[LayoutDrawing], title: str) -> Iterator[Flowable]:
    yield text(title, 15, bold=True)
    for at, drawing in enumerate(drawings):
        if at:
            yield CondPageBreak(8 * inch)
        rows = _rows(drawing)
        scale = WIDTH / (max(row.end - row.start for row in rows) + 2)  # points an inch
        yield text(drawing.title, 12, bold=True)
        yield text(
            "; ".join(f"{name}: {words}" for name, words in drawing.figures)
            + f". Drawn 1 : {inch / scale:.0f}.",
            8.5,
        )
        for row in rows:
            yield KeepTogether([_pdf_row(drawing, row, scale), Spacer(1, 4)])
        yield text(
            "Faces: " + "; ".join(f"{face.name} {face.words}" for face in drawing.faces),
            7.5,
            soft=True,
        )


def _pdf_row(drawing: LayoutDrawing, row: _Row, scale: float) -> Drawing:
    across = drawing.roll_width_in
    picture = Drawing(WIDTH, (across + _PAD_IN + 1) * scale)

    def at(point: Point) -> Point:
        # The edge of the roll on top, as on the page.
        return (point[0] - row.start + 1) * scale, (across + 1 - point[1]) * scale

    edges = ((row.start, 0), (row.end, 0), (row.end, across), (row.start, across))
    picture.add(
        Polygon(
            [each for point in edges for each in at(point)],
            fillColor=_WASTE,
            strokeColor=INK,
            strokeWidth=0.6,
        )
    )
    for face, corners in _faces_in(drawing, row):
        points = [each for point in corners for each in at(point)]
        picture.add(
            Polygon(
                points,
                fillColor=_KEPT if face.is_kept else _FACE,
                strokeColor=INK,
                strokeWidth=0.5,
            )
        )
        if _is_named_here(face, row):
            x, y, size = _name_place(face, corners)
            size = max(size * scale, 4.0)
            middle, height = at((x, y))
            picture.add(
                String(
                    middle,
                    height - size * 0.36,
                    face.name,
                    fontName=BOLD,
                    fontSize=size,
                    textAnchor="middle",
                    fillColor=INK,
                )
            )
    for start, end in _cuts_in(drawing, row):
        (x1, y1), (x2, y2) = at(start), at(end)
        picture.add(
            Line(x1, y1, x2, y2, strokeColor=INK, strokeWidth=0.4, strokeDashArray=[2, 1.5])
        )
    for feet, along in _ticks(row):
        x, y = at((along, 0))
        picture.add(Line(x, y, x, y + 3, strokeColor=SOFT, strokeWidth=0.4))
        picture.add(
            String(
                x,
                y + 4,
                f"{feet} ft",
                fontName=FONT,
                fontSize=5.5,
                textAnchor="middle",
                fillColor=SOFT,
            )
        )
    return picture


def _rows(drawing: LayoutDrawing) -> list[_Row]:
    """Return the rows; each ends at the last place that crosses no face, if there is one."""
    spans = sorted(
        (min(x for x, _ in face.corners), max(x for x, _ in face.corners))
        for face in drawing.faces
    )
    gaps, reach = [], 0.0
    for low, high in spans:
        if low >= reach:
            gaps.append((reach + low) / 2)
        reach = max(reach, high)
    rows: list[_Row] = []
    start = 0.0
    while drawing.taken_in - start > ROW_IN:
        ends = [at for at in gaps if start + _LEAST_ROW_IN <= at <= start + ROW_IN]
        end = max(ends, default=start + ROW_IN)
        rows.append(_Row(start, end))
        start = end
    return [*rows, _Row(start, drawing.taken_in)]


def _tail(drawing: LayoutDrawing) -> tuple[float, float]:
    return drawing.taken_in - drawing.tail_in, drawing.taken_in


def _faces_in(
    drawing: LayoutDrawing, row: _Row
) -> Iterator[tuple[DrawnFace, tuple[Point, ...]]]:
    """Return the pieces in a row with what of their corners lies in it."""
    for face in drawing.faces:
        corners = _beyond(_beyond(face.corners, row.start, 1.0), row.end, -1.0)
        if len(corners) >= 3:
            yield face, corners


def _beyond(corners: tuple[Point, ...], at: float, side: float) -> tuple[Point, ...]:
    """Return what of a convex outline lies beyond a line across the roll (1) or before (−1)."""
    kept: list[Point] = []
    for here, after in zip(corners, (*corners[1:], *corners[:1]), strict=True):
        is_in, is_next_in = side * (here[0] - at) >= 0, side * (after[0] - at) >= 0
        if is_in:
            kept.append(here)
        if is_in != is_next_in:
            share = (at - here[0]) / (after[0] - here[0])
            kept.append((at, here[1] + share * (after[1] - here[1])))
    return tuple(kept)


def _is_named_here(face: DrawnFace, row: _Row) -> bool:
    """Return whether the middle of a piece lies in a row: it is named once."""
    along = [x for x, _ in face.corners]
    return row.start <= (min(along) + max(along)) / 2 < row.end


def _name_place(face: DrawnFace, corners: tuple[Point, ...]) -> tuple[float, float, float]:
    """Return where a name is written and how large, in inches, so that it fits its piece."""
    along, across = [x for x, _ in corners], [y for _, y in corners]
    wide, high = max(along) - min(along), max(across) - min(across)
    size = min(_LETTER_IN, 0.8 * wide / (0.62 * len(face.name)), 0.6 * high)
    middle_x = sum(along) / len(along)
    middle_y = sum(across) / len(across)
    return middle_x, middle_y, max(size, _LEAST_LETTER_IN)


def _cuts_in(drawing: LayoutDrawing, row: _Row) -> Iterator[tuple[Point, Point]]:
    for cut in drawing.cuts:
        (x1, y1), (x2, y2) = sorted((cut.start, cut.end))
        if x2 < row.start or x1 > row.end:
            continue
        yield (max(x1, row.start), y1), (min(x2, row.end), y2)


def _ticks(row: _Row) -> Iterator[tuple[int, float]]:
    feet = -(-row.start // FOOT_IN)
    while feet * FOOT_IN <= row.end:
        yield int(feet), feet * FOOT_IN
        feet += 1
