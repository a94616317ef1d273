"""What layouts go by: the turns a sheeting may be laid in, and a press's own losses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import InventoryError
from inventory.models import Press, Role, SheetingRoll, SheetingTurns
from inventory.services.ordering.layouts.making import find_turns
from inventory.services.production.laying_settings import set_press_measures, set_turns
from inventory.web.layout_forms import PressMeasuresForm, TurnsForm
from inventory.web.membership import MemberRequest, role_required
from inventory.web.presses import presses_of

if TYPE_CHECKING:
    from django.http import HttpResponse


@require_safe
@role_required(Role.SHOP)
def turns_list(request: MemberRequest) -> HttpResponse:
    kinds = (
        SheetingRoll.objects.owned_by(request.organisation)
        .order_by("sheeting_type", "optics")
        .values_list("sheeting_type", "optics")
        .distinct()
    )
    stated = {
        (each.sheeting_type, each.optics): each
        for each in SheetingTurns.objects.owned_by(request.organisation)
    }
    rows = [(*kind, stated.get(kind)) for kind in kinds]
    return render(request, "inventory/layouts/turns_list.html", {"rows": rows})


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def turns_set(request: MemberRequest, sheeting_type: str, optics: str) -> HttpResponse:
    rolls = SheetingRoll.objects.owned_by(request.organisation)
    if not rolls.filter(sheeting_type=sheeting_type, optics=optics).exists():
        raise Http404
    found = find_turns(request.organisation, sheeting_type, optics)
    form = TurnsForm(
        request.POST or None,
        initial={
            name: getattr(found, name)
            for name in ("may_turn_45", "may_turn_90", "may_turn_180", "basis")
        }
        if found
        else {},
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            set_turns(
                shop=request.organisation,
                sheeting_type=sheeting_type,
                optics=optics,
                by=request.user,
                **form.cleaned_data,
            )
            messages.success(request, f"Turns of Type {sheeting_type}, {optics}, are set.")
            return redirect("turns-list")
    context = {"form": form, "sheeting_type": sheeting_type, "optics": optics, "found": found}
    return render(request, "inventory/layouts/turns_set.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def press_measures(request: MemberRequest, press_id: int) -> HttpResponse:
    press: Press = get_object_or_404(presses_of(request), pk=press_id)
    form = PressMeasuresForm(
        request.POST or None,
        initial={
            name: getattr(press, name)
            for name in ("printable_width_in", "lead_in_in", "tail_in")
        },
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                set_press_measures(press=press, by=request.user, **form.cleaned_data)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"What {press} prints and loses is written down.")
                return redirect("press-page", press.pk)
    context = {"press": press, "form": form}
    return render(request, "inventory/layouts/press_measures.html", context, status=status)
