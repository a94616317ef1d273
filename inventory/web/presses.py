"""The presses of a shop: what is on them, and their log."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import InventoryError
from inventory.models import Press, PressEvent, Role
from inventory.services.production import (
    add_press,
    loaded_at,
    record_press_event,
)
from inventory.services.production.maintenance import dryer_at
from inventory.services.production.press_needs import channels_of, press_needs
from inventory.web.form_fields import NumberField, TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.press_forms import Kind, PressEventForm

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.http import HttpResponse


KINDS_TO_RECORD = tuple((k.value, k.label) for k in Kind if k is not Kind.WITHDRAWN)
EVENTS_PER_PAGE = 25


class PressForm(TypedForm):
    """A press of the shop."""

    name = WordsField(label="Name", max_length=60, missing="Give the press a name.")
    width_in = NumberField(
        unit="inches", label="Widest roll, inches", missing="Say how wide a roll it takes."
    )
    rate_ft2_per_h = NumberField(
        unit="square feet an hour",
        label="Rate, ft² an hour",
        missing="Say how much it prints in an hour, in the mode signs are printed in.",
    )


@require_safe
@role_required(Role.SHOP)
def press_list(request: MemberRequest) -> HttpResponse:
    now = timezone.now()
    presses = [
        (press, loaded_at(press, now), press_needs(press, now)) for press in presses_of(request)
    ]
    return render(request, "inventory/production/press_list.html", {"presses": presses})


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def press_add(request: MemberRequest) -> HttpResponse:
    form = PressForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                press = add_press(
                    shop=request.organisation, by=request.user, **form.cleaned_data
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                return redirect("press-page", press.pk)
    return render(request, "inventory/production/press_add.html", {"form": form}, status=status)


@require_safe
@role_required(Role.SHOP)
def press_page(request: MemberRequest, press_id: int) -> HttpResponse:
    press = get_object_or_404(presses_of(request), pk=press_id)
    events = (
        PressEvent.objects.filter(press=press)
        .select_related("roll", "overlay", "container", "task", "recorded_by", "corrects")
        .prefetch_related("corrections")
        .order_by("-happened_at", "-pk")
    )
    now = timezone.now()
    loaded = loaded_at(press, now)
    context = {
        "press": press,
        "loaded": loaded,
        "needs": press_needs(press, now),
        "channels": channels_of(press, loaded),
        "dryer": dryer_at(press, now),
        "kinds": KINDS_TO_RECORD,
        "page": page_of(request, events, EVENTS_PER_PAGE),
    }
    return render(request, "inventory/production/press_page.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def press_event(request: MemberRequest, press_id: int, kind: str) -> HttpResponse:
    press = get_object_or_404(presses_of(request), pk=press_id)
    corrects = _event_to_correct(press, request.GET.get("corrects"))
    form = PressEventForm(
        request.POST or None,
        kind=kind,
        press=press,
        initial=_event_initial(press, kind, corrects, request.GET),
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            data = dict(form.cleaned_data)
            if corrects is not None:
                data.setdefault("happened_at", corrects.happened_at)
            if _is_written_already(request, press, kind, data):
                return redirect("press-page", press.pk)
            try:
                record_press_event(
                    press=press, kind=kind, corrects=corrects, by=request.user, **data
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "Written into the press log.")
                return redirect("press-page", press.pk)
    context = {
        "press": press,
        "kind": Kind(kind),
        "kinds": KINDS_TO_RECORD,
        "form": form,
        "corrects": corrects,
    }
    return render(request, "inventory/production/press_event.html", context, status=status)


def presses_of(request: MemberRequest) -> Any:
    """Return the presses of the person's shop."""
    rows = Press.objects.owned_by(request.organisation)
    return rows.select_related("organisation").order_by("name")


def _event_to_correct(press: Press, key: str | None) -> PressEvent | None:
    if not key or not key.isdecimal():
        return None
    found: PressEvent = get_object_or_404(
        PressEvent.objects.select_related("roll", "overlay", "container", "task"),
        press=press,
        pk=int(key),
    )
    return found


def _event_initial(
    press: Press, kind: str, corrects: PressEvent | None, asked: Mapping[str, Any]
) -> dict[str, Any]:
    """Return what the form starts from: the event to correct, or now and what is on."""
    if corrects is not None:
        return {
            "happened_at": timezone.localtime(corrects.happened_at),
            "roll": corrects.roll,
            "overlay": corrects.overlay,
            "ink_channel": corrects.ink_channel,
            "ink_color": corrects.ink_color,
            "ink_lot": corrects.ink_lot,
            "remaining_ft": corrects.remaining_ft,
            "container": corrects.container,
            "remaining_ml": corrects.remaining_ml,
            "after_face": corrects.after_face,
            "after_ft": corrects.after_ft,
            "task": corrects.task,
            "check_kind": corrects.check_kind,
            "dryer_f": corrects.dryer_f,
            "note": corrects.note,
        }
    now = timezone.localtime()
    initial: dict[str, Any] = {"happened_at": now, "task": asked.get("task")}
    initial["ink_channel"] = asked.get("channel", "")
    if kind in (Kind.ROLL_TAKEN_OFF, Kind.OVERLAY_TAKEN_OFF):
        loaded = loaded_at(press, now)
        initial |= {"roll": loaded.roll, "overlay": loaded.overlay}
    return initial


def _is_written_already(
    request: MemberRequest, press: Press, kind: str, data: dict[str, Any]
) -> bool:
    """Return whether this is the second tap of a double tap."""
    return PressEvent.objects.filter(
        press=press,
        kind=kind,
        happened_at=data["happened_at"],
        recorded_by=request.user,
        roll=data.get("roll"),
        overlay=data.get("overlay"),
        ink_channel=data.get("ink_channel", ""),
        container=data.get("container"),
        task=data.get("task"),
        check_kind=data.get("check_kind", ""),
        dryer_f=data.get("dryer_f"),
        remaining_ml=data.get("remaining_ml"),
        **({} if data.get("container") else {"ink_lot": data.get("ink_lot", "")}),
        note=data.get("note", ""),
    ).exists()
