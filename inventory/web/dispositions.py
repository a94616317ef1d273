"""The signs that wait for a decision, oldest first, and deciding about those ticked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from inventory.errors import InventoryError, OutOfRangeError
from inventory.models import Role
from inventory.services.dispositions import decide_about_signs, waiting_for_decision
from inventory.services.sign_faces import local_types_of
from inventory.web.assessment import chosen_signs
from inventory.web.disposition_form import DispositionForm
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def decisions_page(request: MemberRequest) -> HttpResponse:
    form = DispositionForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 400
        try:
            signs = chosen_signs(request)
        except OutOfRangeError as error:
            signs = []
            status = int(form.refuse(error))
        if not signs and not form.errors:
            form.add_error(None, "No sign is ticked; tick those the decision is about.")
        elif signs and form.is_valid():
            try:
                made = decide_about_signs(signs=signs, by=request.user, **form.cleaned_data)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                many = "sign" if len(made) == 1 else "signs"
                messages.success(request, f"Decided about {len(made)} {many}.")
                return redirect("decisions")
    waiting = waiting_for_decision(organisation=request.organisation)
    context = {
        "page": page_of(request, waiting),
        "form": form,
        "ticked": {int(t) for t in request.POST.getlist("signs") if t.isdecimal()},
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/methods/decisions.html", context, status=status)
