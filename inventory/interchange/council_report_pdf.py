"""The report for a council as a PDF: what the page says, to hand round and to file."""

from __future__ import annotations

from typing import IO, TYPE_CHECKING

from reportlab.platypus import KeepTogether, Paragraph, Spacer

from inventory.interchange.council_drawings import MapFlowable, plot_drawing
from inventory.interchange.pdf_pages import shown, style, table, text, write_pdf

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reportlab.platypus import Flowable

    from inventory.interchange.council_document import CouncilDocument, Section, Table

BODY = 9.5
LEAD = 10.5
WIDE_IN = 7.0
FIGURE_IN = 0.82
LEAST_WORDS_IN = 1.6


def write_council_report(document: CouncilDocument, stream: IO[bytes]) -> None:
    """Write the report as a PDF to a stream that can be sought."""
    title = f"{document.title}, {document.agency}"
    write_pdf(
        stream,
        _story(document),
        title=title,
        author=document.agency,
        subject=document.days_told,
        foot=f"{document.agency}, {document.day:%Y-%m-%d}",
    )


def _story(document: CouncilDocument) -> Iterator[Flowable]:
    yield Paragraph(shown(document.title), style(18, bold=True))
    invented = " (an invented agency: demo data)" if document.is_invented else ""
    yield Paragraph(shown(f"{document.agency}{invented}"), style(LEAD, bold=True))
    yield text(document.days_told, BODY, soft=True)
    for notice in document.notices:
        yield text(notice, BODY, bold=True)
    for section in document.sections:
        yield from _section(section)


def _section(section: Section) -> Iterator[Flowable]:
    """Tell one part: its heading stays with what it shows first."""
    size = LEAD if section.key == "short" else BODY
    words: list[Flowable] = [text(sentence, size) for sentence in section.sentences]
    points = [text(f"– {point}", BODY) for point in section.points]
    tables = [_titled(each) for each in section.tables if not each.is_told_by_map]
    first: list[Flowable] = [Paragraph(shown(section.heading), style(12, bold=True, before=12))]
    if section.plot is not None:
        yield KeepTogether([*first, Spacer(1, 4), plot_drawing(section.plot), *words[:1]])
        yield from words[1:]
    elif section.map is not None and section.map.frame is not None:
        drawing = MapFlowable(section.map, section.map.frame, dict(section.map_words))
        yield KeepTogether([*first, *words, Spacer(1, 4), drawing])
    elif points or not tables:
        yield KeepTogether([*first, *words, *points[:1]])
        yield from points[1:]
    else:
        yield KeepTogether([*first, *words, *tables[0]])
        tables = tables[1:]
    for each in tables:
        yield KeepTogether(each)


def _titled(given: Table) -> list[Flowable]:
    return [Spacer(1, 8), text(given.title, BODY, bold=True), _table(given)]


def _table(given: Table) -> Flowable:
    figures = [FIGURE_IN] * len(given.columns)
    words = WIDE_IN - sum(figures)
    if words < LEAST_WORDS_IN:
        words = LEAST_WORDS_IN
        figures = [(WIDE_IN - words) / len(given.columns)] * len(given.columns)
    return table(
        given.heads,
        given.shown,
        (words, *figures),
        right=range(1, len(given.columns) + 1),
        bold_last_row=given.has_total,
    )
