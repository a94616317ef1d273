"""Who did what, when."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import render
from django.views.decorators.http import require_safe

from inventory.models import LogbookEntry, Role
from inventory.services.people import has_role
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse


@require_safe
@role_required()
def logbook_page(request: MemberRequest) -> HttpResponse:
    entries = (
        LogbookEntry.objects.owned_by(request.organisation)
        .select_related("actor", "sign", "order")
        .order_by("-at", "-pk")
    )
    page = page_of(request, entries)
    context = {
        "page": page,
        "can_open_signs": has_role(request.membership, (Role.ENGINEER, Role.CREW)),
    }
    return render(request, "inventory/logbook/logbook.html", context)
