"""What every PDF of ours has in common: letters, headings, tables, numbered pages."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any
from xml.sax.saxutils import escape

import reportlab
from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_LEFT, TA_RIGHT
from reportlab.lib.pagesizes import letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Frame,
    PageTemplate,
    Paragraph,
    Table,
    TableStyle,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from reportlab.platypus import Flowable

INK, SOFT, RULE = HexColor("#15202B"), HexColor("#4A5560"), HexColor("#D9D4C9")
FONT, BOLD = "RecordSans", "RecordSans-Bold"
MARGIN = 0.75 * inch
WIDTH = letter[0] - 2 * MARGIN
ROWS_PER_TABLE = 500  # a table laid out whole grows slow; many small ones do not
LEAST_BELOW_A_HEAD = 1.3 * inch
BLANKS = re.compile(r"[^\S\u00a0]+")  # all but the one at which no line ends


def write_pdf(
    stream: IO[bytes],
    story: Iterable[Flowable],
    *,
    title: str,
    author: str,
    subject: str,
    foot: str,
) -> None:
    """Write what is told as a PDF to a stream that can be sought, its pages numbered."""
    known_letters()
    document = BaseDocTemplate(
        stream,
        pagesize=letter,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
        title=title,
        author=author,
        subject=subject,
        lang="en-GB",
    )
    frame = Frame(
        MARGIN, MARGIN, WIDTH, letter[1] - 2 * MARGIN, leftPadding=0, rightPadding=0, id="page"
    )
    document.addPageTemplates([PageTemplate(id="page", frames=[frame])])
    document.build(list(story), canvasmaker=_numbered(foot))


@cache
def known_letters() -> frozenset[int]:
    """Register the fonts that come with the PDF library; return the letters they have."""
    folder = Path(reportlab.__file__).parent / "fonts"
    fonts = [
        TTFont(name, str(folder / file))
        for name, file in ((FONT, "Vera.ttf"), (BOLD, "VeraBd.ttf"))
    ]
    for font in fonts:
        pdfmetrics.registerFont(font)
    return frozenset.intersection(*(frozenset(font.face.charToGlyph) for font in fonts))


def _numbered(foot: str) -> type[Canvas]:
    """Return a canvas that writes 'page 2 of 7' at the foot once it knows how many."""

    class NumberedCanvas(Canvas):
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self.kept: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802 - reportlab's name
            self.kept.append(dict(self.__dict__))
            self._startPage()  # type: ignore[attr-defined]  # reportlab's own

        def save(self) -> None:
            for number, page in enumerate(self.kept, start=1):
                self.__dict__.update(page)
                self.setFont(FONT, 7.5)
                self.setFillColor(SOFT)
                self.drawString(MARGIN, MARGIN * 0.6, foot)
                self.drawRightString(
                    letter[0] - MARGIN, MARGIN * 0.6, f"page {number} of {len(self.kept)}"
                )
                super().showPage()
            super().save()

    return NumberedCanvas


@cache
def style(
    size: float,
    *,
    bold: bool = False,
    soft: bool = False,
    right: bool = False,
    before: float = 0,
) -> Any:
    """Return how a paragraph looks."""
    return ParagraphStyle(
        f"{size}{bold}{soft}{right}{before}",
        alignment=TA_RIGHT if right else TA_LEFT,
        fontName=BOLD if bold else FONT,
        fontSize=size,
        leading=size * 1.35,
        textColor=SOFT if soft else INK,
        spaceBefore=before,
        spaceAfter=size * 0.35,
        splitLongWords=True,
    )


def plain(words: str) -> str:
    """Return words on one line as the font can show them: a letter it lacks is '?'."""
    known = known_letters()
    on_one_line = BLANKS.sub(" ", words).strip(" ")
    return "".join(each if ord(each) in known else "?" for each in on_one_line)


def shown(words: str) -> str:
    """Return words for a paragraph, in which nothing is markup."""
    return escape(plain(words))


def text(words: str, size: float = 9, *, soft: bool = False, bold: bool = False) -> Paragraph:
    """Return a paragraph."""
    return Paragraph(shown(words), style(size, soft=soft, bold=bold))


def head(words: str, least_below: float = LEAST_BELOW_A_HEAD) -> list[Flowable]:
    """Return a heading that never stands alone at the foot of a page."""
    return [
        CondPageBreak(least_below),
        Paragraph(shown(words), style(12, bold=True, before=12)),
    ]


def tables(
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    widths_in: Sequence[float],
    right: Sequence[int] = (),
) -> Iterator[Flowable]:
    """Give a long table as many short ones that look like one."""
    part: list[Sequence[str]] = []
    for row in rows:
        part.append(row)
        if len(part) == ROWS_PER_TABLE:
            yield table(heads, part, widths_in, right=right)
            part = []
    if part:
        yield table(heads, part, widths_in, right=right)


def _cell(words: str, size: float, *, bold: bool = False, right: bool = False) -> Paragraph:
    return Paragraph(shown(words), style(size, bold=bold, right=right))


def table(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    widths_in: Sequence[float],
    *,
    right: Sequence[int] = (),
    bold_first: bool = False,
    bold_last_row: bool = False,
) -> Table:
    """Return a table whose heads are repeated on each page it goes over."""
    cells: list[list[Any]] = []
    if heads:
        cells.append(
            [
                _cell(word, 7.5, bold=True, right=column in right)
                for column, word in enumerate(heads)
            ]
        )
    last = len(rows) - 1
    cells += [
        [
            _cell(
                word,
                8,
                bold=(bold_first and column == 0) or (bold_last_row and number == last),
                right=column in right,
            )
            for column, word in enumerate(row)
        ]
        for number, row in enumerate(rows)
    ]
    rules: list[Any] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 6),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
    ]
    if heads:
        rules.append(("LINEBELOW", (0, 0), (-1, 0), 0.9, INK))
    return Table(
        cells,
        colWidths=[width * inch for width in widths_in],
        repeatRows=1 if heads else 0,
        style=TableStyle(rules),
        hAlign="LEFT",
    )
