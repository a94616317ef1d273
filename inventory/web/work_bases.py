"""What replacing costs an agency and how long it takes: in force, earlier, and the next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.engineering.standards.supports import support_types
from inventory.errors import InventoryError
from inventory.models import Role, WorkBasis
from inventory.services.programme.work_bases import find_work_basis, set_work_basis
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.programme_forms import WorkBasisForm

if TYPE_CHECKING:
    from django.http import HttpResponse

VERSIONS_PER_PAGE = 20


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def work_basis_page(request: MemberRequest) -> HttpResponse:
    """Show what holds today and a form for the next version; or set it."""
    agency = request.organisation
    today = timezone.localdate()
    in_force = find_work_basis(agency, today)
    form = WorkBasisForm(initial=WorkBasisForm.initial_of(in_force) | {"effective_on": today})
    status = 200
    if request.method == "POST":
        form, status = WorkBasisForm(request.POST), 400
        if form.is_valid():
            try:
                made = set_work_basis(agency=agency, by=request.user, **form.figures)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(
                    request,
                    f"Version {made.version} of what work costs is set, in force from "
                    f"{made.effective_on:%Y-%m-%d}. Programmes made from then on go by it.",
                )
                return redirect("work-basis")
    rows = WorkBasis.objects.owned_by(agency).order_by("-version").select_related("recorded_by")
    context: dict[str, Any] = {
        "form": form,
        "in_force": in_force,
        "weights": [] if in_force is None else list(enumerate(in_force.class_weights, start=1)),
        "added_hours": [] if in_force is None else _added_hours(in_force),
        "page": page_of(request, rows, VERSIONS_PER_PAGE),
    }
    return render(
        request, "inventory/programme/programme_work_basis.html", context, status=status
    )


def _added_hours(basis: WorkBasis) -> list[tuple[str, float]]:
    names = {each.key: each.name for each in support_types()}
    return [(names.get(key, key), hours) for key, hours in basis.hours_by_support.items()]
