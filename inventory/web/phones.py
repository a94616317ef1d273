"""The phones of an agency: who uses them, when they were heard, and a lost one withdrawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import InventoryError
from inventory.models import Device, DeviceBatch, Role
from inventory.services.exchange.devices import (
    bring_back_device,
    missing_sequences,
    withdraw_device,
)
from inventory.services.exchange.phones import phones
from inventory.web.exchange import phone_tabs
from inventory.web.exchange_forms import ReasonForm
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse

SENDINGS_SHOWN = 20


@require_safe
@role_required(Role.ENGINEER)
def phone_list(request: MemberRequest) -> HttpResponse:
    rows = Device.objects.owned_by(request.organisation).order_by("-last_heard_at", "-pk")
    page = page_of(request, rows)
    context = {
        "tabs": phone_tabs(request.organisation, "phone-list"),
        "page": page,
        "phones": phones(list(page.object_list)),
    }
    return render(request, "inventory/exchange/phone_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def phone_page(request: MemberRequest, device_id: int) -> HttpResponse:
    device: Device = get_object_or_404(
        Device.objects.owned_by(request.organisation).select_related("organisation"),
        pk=device_id,
    )
    form = ReasonForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            change = bring_back_device if device.is_withdrawn else withdraw_device
            try:
                changed = change(
                    device=device, reason=form.cleaned_data["why"], by=request.user
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(
                    request,
                    "Withdrawn. What it sends from now on waits for you."
                    if changed.is_withdrawn
                    else "Brought back. What it sent meanwhile still waits for you.",
                )
                return redirect("phone-page", device.pk)
    (phone,) = phones([device])
    context = {
        "phone": phone,
        "form": form,
        "gaps": missing_sequences(device),
        "sendings": DeviceBatch.objects.filter(device=device).order_by("-received_at", "-pk")[
            :SENDINGS_SHOWN
        ],
    }
    return render(request, "inventory/exchange/phone_page.html", context, status=status)
