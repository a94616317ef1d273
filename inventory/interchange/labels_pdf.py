"""
Labels for the backs of faces as a PDF: a QR code with the face's address, and its marks.

The code holds the site's address and the face's label id, so that a phone's own camera finds
the page too; the id stands beside it to be typed. Words are made smaller until they fit, then
cut with an ellipsis; what has no room is left out, the least needed first, and `left_out` says
what.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import IO, TYPE_CHECKING

import segno
from reportlab.lib.units import inch
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from inventory.errors import OutOfRangeError
from inventory.interchange.pdf_pages import BOLD, FONT, INK, SOFT, plain

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from inventory.services.production.face_labels import LabelWords, Measures

QUIET_MODULES = 4  # ISO/IEC 18004: four modules of white around a code; from memory
LEAST_CODE_IN = 0.55  # without its white; the smallest that read at a hand's breadth
_PAD_IN = 0.06
_MOST_CODE_SHARE = 0.5  # of the label's width
_ID_PT, _WORDS_PT, _LEAST_PT = 13.0, 7.5, 5.0
_LEADING = 1.22
_MOST_LARGER = 1.5  # where a label has room


@dataclass(frozen=True)
class _Line:
    words: str
    size_pt: float
    is_bold: bool = False


def write_labels(
    stream: IO[bytes],
    labels: Sequence[LabelWords],
    *,
    measures: Measures,
    first_place: int = 1,
    title: str,
    author: str,
) -> None:
    """
    Write labels on as many pages as they need, the first one in a place of the first page.

    Raises
    ------
    OutOfRangeError
        If the labels are too small for a code that reads; see `code_side_in`.
    """
    code_side_in(measures)
    page = (measures.page_width_in * inch, measures.page_height_in * inch)
    canvas = Canvas(stream, pagesize=page)
    canvas.setTitle(title)
    canvas.setAuthor(author)
    plain("")  # registers the letters
    for at, label in enumerate(labels, start=first_place - 1):
        place = at % measures.places
        if at != first_place - 1 and place == 0:
            canvas.showPage()
        row, column = divmod(place, measures.columns)
        left = measures.left_in + column * (measures.label_width_in + measures.gap_across_in)
        top = measures.top_in + row * (measures.label_height_in + measures.gap_down_in)
        _draw(canvas, label, measures, left * inch, page[1] - top * inch)
    canvas.showPage()
    canvas.save()


def code_side_in(measures: Measures) -> float:
    """
    Return the side of the code with its white, in inches.

    Raises
    ------
    OutOfRangeError
        If the code would be too small to be read by a phone held a hand's breadth away.
    """
    side = min(
        measures.label_height_in - 2 * _PAD_IN,
        measures.label_width_in * _MOST_CODE_SHARE,
    )
    # A code of version 3 or 4 has 29 or 33 modules.
    bare = side * 29 / (29 + 2 * QUIET_MODULES)
    if bare < LEAST_CODE_IN:
        msg = (
            f"A label of {measures.label_width_in:g} × {measures.label_height_in:g} in holds a "
            f"code of {bare:.2f} in, which a phone does not read for sure; it has to be "
            f"{LEAST_CODE_IN:g} in at least. Take a larger label."
        )
        raise OutOfRangeError(msg)
    return side


def left_out(label: LabelWords, measures: Measures) -> list[str]:
    """Return the lines that have no room on a label of this size."""
    room = (measures.label_height_in - 2 * _PAD_IN) * inch
    lines = list(_lines(label))
    kept = _fitting(lines, room)
    return [line.words for line in lines[len(kept) :]]


def _draw(
    canvas: Canvas, label: LabelWords, measures: Measures, left: float, top: float
) -> None:
    side = code_side_in(measures) * inch
    pad = _PAD_IN * inch
    high = measures.label_height_in * inch
    _draw_code(canvas, label.address, left + pad / 2, top - (high + side) / 2, side)
    x = left + pad / 2 + side
    room = measures.label_width_in * inch - side - 1.5 * pad
    lines = _fitting(list(_lines(label)), high - 2 * pad)
    needed = sum(line.size_pt for line in lines) * _LEADING
    larger = min(_MOST_LARGER, (high - 2 * pad) / needed) if lines else 1.0
    y = top - (high - needed * larger) / 2
    for line in lines:
        font = BOLD if line.is_bold else FONT
        asked = line.size_pt * larger
        words, size = _fitted(plain(line.words), font, asked, room)
        y -= asked * _LEADING
        canvas.setFont(font, size)
        canvas.setFillColor(INK if line.is_bold else SOFT)
        canvas.drawString(x, y + asked * 0.22, words)


def _draw_code(canvas: Canvas, text: str, left: float, bottom: float, side: float) -> None:
    """Draw a code in whole runs of modules, so that no hair of white parts them."""
    code = segno.make_qr(text, error="m")
    rows = [list(row) for row in code.matrix]
    module = side / (len(rows) + 2 * QUIET_MODULES)
    canvas.setFillColorRGB(0, 0, 0)
    for down, row in enumerate(rows):
        y = bottom + side - (QUIET_MODULES + down + 1) * module
        at = 0
        while at < len(row):
            run = at
            while run < len(row) and row[run]:
                run += 1
            if run > at:
                x = left + (QUIET_MODULES + at) * module
                canvas.rect(x, y, (run - at) * module, module * 1.01, stroke=0, fill=1)
            at = max(run, at + 1)


def _lines(label: LabelWords) -> Iterator[_Line]:
    """Return what a label says, the most needed first."""
    yield _Line(label.label_id, _ID_PT, is_bold=True)
    yield _Line(f"{label.code}  {label.size}", _WORDS_PT + 1.5, is_bold=True)
    yield _Line(f"made {label.made}", _WORDS_PT)
    yield _Line(label.sheeting, _WORDS_PT)
    yield _Line(f"overlay {label.overlay}", _WORDS_PT)
    yield _Line(f"{label.agency}, order {label.order}", _WORDS_PT)
    yield _Line("installed ____ / ____ / ________", _WORDS_PT)
    if label.legend:
        yield _Line(f"“{label.legend}”", _WORDS_PT)


def _fitting(lines: list[_Line], room: float) -> list[_Line]:
    kept: list[_Line] = []
    for line in lines:
        room -= line.size_pt * _LEADING
        if room < -0.01:
            break
        kept.append(line)
    return kept


def _fitted(words: str, font: str, size: float, room: float) -> tuple[str, float]:
    """Return words and their size so that they fit: smaller, then cut short."""
    wide = stringWidth(words, font, size)
    if wide <= room:
        return words, size
    size = max(_LEAST_PT, size * room / wide)
    if stringWidth(words, font, size) <= room:
        return words, size
    while words and stringWidth(words + "…", font, size) > room:
        words = words[:-1]
    return words.rstrip() + "…", size
