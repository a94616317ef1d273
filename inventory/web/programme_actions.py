"""What an engineer does with a programme: make, solve, stop, lock a year, adopt."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from inventory.errors import InventoryError, OutOfRangeError
from inventory.models import PlannedReplacement, Role
from inventory.services.programme.deciding import adopt, lock_replacement, unlock_replacement
from inventory.services.programme.making import make_programme
from inventory.services.programme.reasons import LOCKED
from inventory.services.programme.solving import ask_to_stop, start_solving
from inventory.services.programme.work_bases import find_work_basis
from inventory.web.errors import status_of
from inventory.web.membership import MemberRequest, role_required
from inventory.web.programme_forms import ProgrammeForm
from inventory.web.programmes import NO_YEAR, programme_of, show_programme, show_year

if TYPE_CHECKING:
    from django.http import HttpResponse

FIRST_YEARS = 10


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def programme_new(request: MemberRequest) -> HttpResponse:
    agency = request.organisation
    today = timezone.localdate()
    form = ProgrammeForm(
        agency=agency, initial={"first_year": today.year + 1, "years": FIRST_YEARS}
    )
    status = 200
    if request.method == "POST":
        form, status = ProgrammeForm(request.POST, agency=agency), 400
        if form.is_valid():
            try:
                made = make_programme(organisation=agency, by=request.user, **form.cleaned_data)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"'{made.name}' is made; choose its years now.")
                return redirect("programme-page", made.pk)
    context = {"form": form, "basis": find_work_basis(agency, today)}
    return render(request, "inventory/programme/programme_new.html", context, status=status)


@require_POST
@role_required(Role.ENGINEER)
def programme_step(request: MemberRequest, programme_id: int) -> HttpResponse:
    """Start to choose the years, stop and keep the best, or adopt."""
    programme = programme_of(request, programme_id)
    step = request.POST.get("step", "")
    try:
        if step == "solve":
            start_solving(programme=programme, by=request.user)
        elif step == "stop":
            for run in programme.runs.filter(finished_at=None):
                ask_to_stop(run=run)
            messages.success(request, "It stops soon and keeps the best it has found.")
        elif step == "adopt":
            adopt(programme=programme, by=request.user)
            messages.success(request, "Adopted: the signs' pages say their year by it.")
        else:
            msg = f"'{step}' is nothing that is done with a programme; use its buttons."
            raise OutOfRangeError(msg)
    except InventoryError as error:
        return show_programme(
            request, programme, status=int(status_of(error)), refusal=str(error)
        )
    return redirect("programme-page", programme.pk)


@require_POST
@role_required(Role.ENGINEER)
def programme_choice(
    request: MemberRequest, programme_id: int, planned_id: int
) -> HttpResponse:
    """Lock a sign to a year or to none, or let its year be chosen again."""
    programme = programme_of(request, programme_id)
    planned = get_object_or_404(
        PlannedReplacement.objects.filter(programme=programme), pk=planned_id
    )
    came_from = planned.year or NO_YEAR
    try:
        if "unlock" in request.POST:
            unlock_replacement(planned=planned, by=request.user)
            messages.success(request, "Unlocked: its year is chosen anew next time.")
        else:
            text = request.POST.get("year", "")
            if not text.isdecimal():
                msg = f"The year '{text}' is not a year; pick one from the list."
                raise OutOfRangeError(msg)
            row = lock_replacement(
                planned=planned,
                year=int(text) or None,
                reason=request.POST.get("reason", ""),
                by=request.user,
            )
            words = text if int(text) else "no year"
            against = row.reason.removeprefix(LOCKED)
            messages.success(
                request, f"Locked to {words}{against}; choose the years anew to fit the rest."
            )
    except InventoryError as error:
        return show_year(
            request,
            programme,
            came_from,
            status=int(status_of(error)),
            refusal=str(error),
            typed=request.POST,
            typed_row=planned.pk,
        )
    return redirect("programme-year", programme.pk, came_from)
