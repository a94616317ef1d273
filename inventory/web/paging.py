"""Long lists, one page at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.paginator import Page, Paginator

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.db.models import QuerySet
    from django.http import HttpRequest

ROWS_PER_PAGE = 50


def page_of(
    request: HttpRequest,
    rows: QuerySet[Any] | Sequence[Any],
    rows_per_page: int = ROWS_PER_PAGE,
) -> Page[Any]:
    """Return the page the address asks for; a number beyond the end gives the last page."""
    return Paginator(rows, rows_per_page).get_page(request.GET.get("page"))
