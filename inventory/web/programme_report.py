"""The report for a council: on a page, as a PDF, and every figure of it as a CSV."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.http import FileResponse, HttpResponse
from django.shortcuts import render
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from inventory.interchange.council_report import council_document
from inventory.interchange.council_report_csv import write_council_csv
from inventory.interchange.council_report_pdf import write_council_report
from inventory.models import Role
from inventory.services.programme.report import council_report
from inventory.web.forecast_plots import Column, Plot, Series
from inventory.web.membership import MemberRequest, role_required
from inventory.web.programmes import programme_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.http import HttpResponseBase

    from inventory.interchange.council_document import CouncilDocument, Section, Table
    from inventory.services.programme.report_map import MapDrawing, Place

KEPT_IN_MEMORY_BYTES = 2_000_000
MARK_ORDER = ("stays", "later", "first_year", "below")  # what lies under what


@dataclass(frozen=True)
class DrawnMap:
    """The map as the page draws it: paths in whole units, one of each kind of mark."""

    width: int
    height: int
    roads: str
    marks: list[tuple[str, str]]
    words: list[tuple[str, str, int]]
    bar_words: str
    bar: int

    @property
    def summary(self) -> str:
        """Return what it shows, for those who do not see it."""
        counts = ", ".join(f"{count:,} {words}" for _kind, words, count in self.words)
        return f"Map of the signs: {counts}. The figures are in the table beside it."


@dataclass(frozen=True)
class ShownSection:
    """A section as the template shows it."""

    section: Section
    plot: Plot | None
    tables: list[Table]
    map: DrawnMap | None


@require_safe
@role_required(Role.ENGINEER)
def report_page(request: MemberRequest, programme_id: int) -> HttpResponse:
    programme = programme_of(request, programme_id)
    document = council_document(council_report(programme=programme))
    context = {
        "programme": programme,
        "document": document,
        "sections": [_shown(each) for each in document.sections],
    }
    return render(request, "inventory/programme/programme_report.html", context)


@require_safe
@role_required(Role.ENGINEER)
def report_pdf(request: MemberRequest, programme_id: int) -> HttpResponseBase:
    document = _document(request, programme_id)
    # A large map goes to a file on disk and from there to the reader, part by part.
    stream = tempfile.SpooledTemporaryFile(max_size=KEPT_IN_MEMORY_BYTES)  # noqa: SIM115 - the answer closes it
    write_council_report(document, stream)
    stream.seek(0)
    return FileResponse(
        stream, content_type="application/pdf", filename=f"{_name(document)}.pdf"
    )


@require_safe
@role_required(Role.ENGINEER)
def report_csv(request: MemberRequest, programme_id: int) -> HttpResponse:
    document = _document(request, programme_id)
    answer = HttpResponse(
        write_council_csv(document), content_type="text/csv; charset=utf-8; header=present"
    )
    answer["Content-Disposition"] = f'attachment; filename="{_name(document)}.csv"'
    return answer


def _document(request: MemberRequest, programme_id: int) -> CouncilDocument:
    return council_document(council_report(programme=programme_of(request, programme_id)))


def _name(document: CouncilDocument) -> str:
    return f"{slugify(document.title) or 'report'}-{document.day:%Y-%m-%d}"


def _shown(section: Section) -> ShownSection:
    tables = list(section.tables)
    plot = None
    if section.plot is not None:
        plot = _plot(section, tables.pop(0))
    drawn = None
    if section.map is not None and section.map.frame is not None:
        drawn = drawn_map(section.map, section.map_words)
    return ShownSection(section, plot, tables, drawn)


def _plot(section: Section, table: Table) -> Plot:
    """Return a plot with its table beside it."""
    given = section.plot
    assert given is not None  # noqa: S101 - the caller asked
    shown = [
        Series(each.label, "line", list(each.values), role=each.role, is_dashed=each.is_dashed)
        for each in given.lines
    ]
    if given.bars is not None:
        bars = list(given.bars.values)
        shown.insert(0, Series(given.bars.label, "bars", bars, role="third"))
    return Plot.make(
        id=f"plot-{given.key}",
        title=given.title,
        summary=table.summary,
        x_label="Year",
        x_kind="year",
        x_values=list(given.years),
        y_label=given.y_label,
        series=shown,
        columns=[
            Column(table.head, is_number=False),
            *(Column(each.name, each.unit) for each in table.columns),
        ],
        rows=table.shown,
        is_table_open=True,
    )


def drawn_map(drawing: MapDrawing, words: Sequence[tuple[str, str]]) -> DrawnMap | None:
    """Return the paths of a map; nothing where there is no sign."""
    frame = drawing.frame
    if frame is None:
        return None
    miles, long = frame.scale_bar
    return DrawnMap(
        width=round(frame.width),
        height=round(frame.height),
        roads="".join(_line(road) for road in drawing.roads),
        marks=[
            (kind.replace("_", "-"), "".join(f"M{x} {y}h0" for x, y in drawing.marks[kind]))
            for kind in MARK_ORDER
            if drawing.marks.get(kind)
        ],
        words=[
            (kind.replace("_", "-"), meaning, drawing.counts[kind]) for kind, meaning in words
        ],
        bar_words=f"{miles:g} mi",
        bar=round(long),
    )


def _line(road: Sequence[Place]) -> str:
    first, *others = road
    return f"M{first[0]} {first[1]}L" + " ".join(f"{x} {y}" for x, y in others)
