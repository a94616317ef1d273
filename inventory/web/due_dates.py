"""When the signs of an agency fall due, by the forecasts of its own readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import F
from django.shortcuts import render
from django.views.decorators.http import require_safe

from inventory.models import Role
from inventory.services.sign_faces import local_types_of
from inventory.web.filters import standings_of
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse


@require_safe
@role_required(Role.ENGINEER)
def due_dates_page(request: MemberRequest) -> HttpResponse:
    chosen, rows = standings_of(request.organisation, request.GET)
    rows = rows.select_related("road", "sign__forecast").order_by(
        F("forecast_due_on").asc(nulls_last=True), "sign_id"
    )
    context = {
        "filter": chosen,
        "page": page_of(request, rows),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/forecast/due_dates.html", context)
