"""Which lots lose faster, to the agency that reads them and the shop that made them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from inventory.models import LotFinding, Role
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse


@require_safe
@role_required(Role.ENGINEER, Role.SHOP)
def lot_list(request: MemberRequest) -> HttpResponse:
    findings = LotFinding.objects.readable_by(request.organisation).order_by(
        "-is_suspect", "q_value", "key", "pk"
    )
    context = {"page": page_of(request, findings)}
    return render(request, "inventory/forecast/lot_list.html", context)


@require_safe
@role_required(Role.ENGINEER, Role.SHOP)
def lot_page(request: MemberRequest, finding_id: int) -> HttpResponse:
    finding = get_object_or_404(
        LotFinding.objects.readable_by(request.organisation), pk=finding_id
    )
    return render(request, "inventory/forecast/lot_page.html", {"finding": finding})
