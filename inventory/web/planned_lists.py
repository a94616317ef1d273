"""A programme year's replacements as files for other tools."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import StreamingHttpResponse
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from inventory.interchange.planned_lists import csv_lines, geojson_parts
from inventory.models import Role
from inventory.web.membership import MemberRequest, role_required
from inventory.web.programmes import check_year, programme_of, replacements_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from inventory.models import PlannedReplacement, Programme

ROWS_AT_ONCE = 500


@require_safe
@role_required(Role.ENGINEER)
def year_csv(request: MemberRequest, programme_id: int, year: int) -> StreamingHttpResponse:
    programme = programme_of(request, programme_id)
    lines = csv_lines(_rows(programme, year), programme.work_basis.currency)
    kind = "text/csv; charset=utf-8; header=present"
    return _file(lines, kind, f"{_name(programme, year)}.csv")


@require_safe
@role_required(Role.ENGINEER)
def year_geojson(request: MemberRequest, programme_id: int, year: int) -> StreamingHttpResponse:
    programme = programme_of(request, programme_id)
    parts = geojson_parts(_rows(programme, year), programme.work_basis.currency)
    return _file(parts, "application/geo+json", f"{_name(programme, year)}.geojson")


def _rows(programme: Programme, year: int) -> Iterator[PlannedReplacement]:
    check_year(programme, year)
    rows = replacements_of(programme).filter(year=year or None).select_related("sign")
    return rows.order_by("safety_class", "position").iterator(chunk_size=ROWS_AT_ONCE)


def _file(parts: Iterator[str], kind: str, name: str) -> StreamingHttpResponse:
    answer = StreamingHttpResponse(parts, content_type=kind)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


def _name(programme: Programme, year: int) -> str:
    return f"{slugify(programme.name) or 'programme'}-{year or 'not-planned'}"
