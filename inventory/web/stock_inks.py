"""Ink containers in stock, and until when rolls and inks keep."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import InventoryError
from inventory.models import (
    InkContainer,
    InkKind,
    OverlayRoll,
    Role,
    SheetingRoll,
    ShopRule,
)
from inventory.services.production.inks import (
    receive_container,
    set_shelf_lives,
    set_stock_days,
)
from inventory.services.production.stock_left import containers_left, keeping_of
from inventory.services.production.what_was_on import loaded_at
from inventory.web.form_fields import (
    DayField,
    NumberField,
    PickField,
    TypedForm,
    WordsField,
)
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.press_forms import CountField
from inventory.web.presses import presses_of

if TYPE_CHECKING:
    from django.http import HttpResponse

SHELVES: dict[str, tuple[Any, str]] = {
    "rolls": (SheetingRoll, "stock-rolls"),
    "overlays": (OverlayRoll, "stock-overlays"),
    "inks": (InkContainer, "stock-inks"),
}


class ContainerForm(TypedForm):
    """A container of ink as it was received."""

    container_number = WordsField(
        label="Container number",
        max_length=40,
        missing="Give it a number and write that on it.",
    )
    lot = WordsField(
        label="Lot", max_length=40, missing="Type the lot from the container's label."
    )
    color = WordsField(label="Colour", max_length=32, missing="Say which colour it is.")
    kind = PickField(
        label="Kind of ink",
        choices=InkKind.choices,
        empty_words="pick the kind",
        missing="Say whether it is a spot colour or a process colour.",
    )
    volume_ml = NumberField(
        unit="millilitres", label="Volume, millilitres", help_text="Empty: not known."
    )
    received_on = DayField(
        label="Received on", help_text="Leave empty if the day is not known."
    )
    use_by_on = DayField(label="To be used by", help_text="If its label says so.")


class StockDaysForm(TypedForm):
    """When a roll or a container was opened, and until when it keeps."""

    opened_on = DayField(
        label="Opened on", help_text="Empty: when it was first loaded, by the press log."
    )
    use_by_on = DayField(
        label="To be used by", help_text="As its label says; empty: by the shop's shelf life."
    )


class ShelfLivesForm(TypedForm):
    """For how long a shop's stock keeps."""

    sheeting_months = CountField(unit="months", label="Sheeting, months")
    overlay_months = CountField(unit="months", label="Overlay film, months")
    ink_months = CountField(unit="months", label="Ink, months")


@require_safe
@role_required(Role.SHOP)
def ink_list(request: MemberRequest) -> HttpResponse:
    rows = InkContainer.objects.owned_by(request.organisation)
    page = page_of(request, rows.order_by("-received_on", "container_number", "pk"))
    now = timezone.now()
    places = {
        container.pk: (press, channel)
        for press in presses_of(request)
        for channel, container in loaded_at(press, now).containers.items()
    }
    left = containers_left(page)
    keeping = keeping_of(page, request.organisation)
    context = {
        "page": page,
        "today": timezone.localdate(),
        "rows": [(each, places.get(each.pk), left[each.pk], keeping[each.pk]) for each in page],
    }
    return render(request, "inventory/production/stock_inks.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def ink_receive(request: MemberRequest) -> HttpResponse:
    form = ContainerForm(request.POST or None, initial={"received_on": timezone.localdate()})
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                container = receive_container(
                    shop=request.organisation, by=request.user, **form.cleaned_data
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"{str(container).capitalize()} is in stock.")
                return redirect("stock-inks")
    context = {"form": form, "heading": "Receive an ink container", "onward": "stock-inks"}
    return render(request, "inventory/production/receive.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def stock_days(request: MemberRequest, shelf: str, stock_id: int) -> HttpResponse:
    model, onward = SHELVES[shelf]
    stock = get_object_or_404(model.objects.owned_by(request.organisation), pk=stock_id)
    form = StockDaysForm(
        request.POST or None,
        initial={"opened_on": stock.opened_on, "use_by_on": stock.use_by_on},
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                set_stock_days(stock=stock, by=request.user, **form.cleaned_data)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"The days of {stock} are written down.")
                return redirect(onward)
    context = {
        "form": form,
        "stock": stock,
        "keeping": keeping_of([stock], request.organisation)[stock.pk],
        "onward": onward,
    }
    return render(request, "inventory/production/stock_days.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def shelf_lives(request: MemberRequest) -> HttpResponse:
    rule = ShopRule.objects.owned_by(request.organisation).select_related("set_by").first()
    names = ("sheeting_months", "overlay_months", "ink_months")
    form = ShelfLivesForm(
        request.POST or None, initial={name: getattr(rule, name, None) for name in names}
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                set_shelf_lives(shop=request.organisation, by=request.user, **form.cleaned_data)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "The shelf lives are written down.")
                return redirect("stock-rolls")
    context = {"form": form, "rule": rule}
    return render(request, "inventory/production/shelf_lives.html", context, status=status)
