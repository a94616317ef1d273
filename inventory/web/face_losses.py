"""Faces a shop lost: where, why, and how much sheeting went with them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import render
from django.views.decorators.http import require_safe

from inventory.models import Role
from inventory.services.production.losses import losses_of, notes_of_removal, sums_of
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse


@require_safe
@role_required(Role.SHOP)
def face_losses(request: MemberRequest) -> HttpResponse:
    """List the shop's losses, newest first, and add them up."""
    losses = losses_of(request.organisation)
    page = page_of(request, losses)
    notes = notes_of_removal(request.organisation, page)
    context = {
        "page": page,
        "rows": [(loss, loss.note or notes.get(loss.sign.pk, "")) for loss in page],
        "sums": sums_of(losses),
    }
    return render(request, "inventory/production/face_losses.html", context)
