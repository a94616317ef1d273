"""What a shop has in stock: rolls of sheeting and overlay, and printed faces."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.engineering.standards.vocabulary import Color, SheetingType
from inventory.errors import InventoryError
from inventory.models import (
    ColourArea,
    OverlayRoll,
    Role,
    SheetingRoll,
    Sign,
)
from inventory.services.installation import remove_sign
from inventory.services.production import (
    loaded_at,
    receive_overlay,
    receive_roll,
)
from inventory.services.production.roll_lengths import rolls_left
from inventory.services.production.stock_left import keeping_of, overlays_left
from inventory.web.form_fields import (
    DayField,
    NumberField,
    PickField,
    TypedForm,
    WordsField,
)
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.presses import presses_of

if TYPE_CHECKING:
    from django.http import HttpResponse

    from inventory.models import Press
    from inventory.services.production import LoadedState


COLOUR_CHOICES = [(color.value, color.words) for color in Color if color is not Color.BLACK]
TYPE_CHOICES = [(each.value, f"Type {each.value}") for each in SheetingType]
OPTICS_CHOICES = [c for c in ColourArea.Optics.choices if c[0] != ColourArea.Optics.UNKNOWN]
SPOILT_CHOICES = [
    (reason.value, reason.label)
    for reason in (
        Sign.RemovalReason.DAMAGED,
        Sign.RemovalReason.STOLEN,
        Sign.RemovalReason.NOT_NEEDED,
        Sign.RemovalReason.OTHER,
    )
]
FACES_PER_PAGE = 60


class RollForm(TypedForm):
    """A roll of sheeting as it was received."""

    roll_number = WordsField(
        label="Roll number", max_length=40, missing="Type the number from the roll's label."
    )
    lot = WordsField(label="Lot", max_length=40, missing="Type the lot from the roll's label.")
    sheeting_type = PickField(
        label="Sheeting type (ASTM D4956)",
        choices=TYPE_CHOICES,
        empty_words="pick the type",
        missing="Say which type of sheeting it is; the roll's label says so.",
    )
    optics = PickField(
        label="Optics", choices=OPTICS_CHOICES, empty_words="as the type is always made"
    )
    color = PickField(
        label="Colour",
        choices=COLOUR_CHOICES,
        empty_words="pick the colour",
        missing="Say which colour the sheeting is.",
    )
    width_in = NumberField(unit="inches", label="Width, inches", missing="Say how wide it is.")
    length_ft = NumberField(unit="feet", label="Length, feet", missing="Say how long it is.")
    received_on = DayField(
        label="Received on", help_text="Leave empty if the day is not known."
    )
    use_by_on = DayField(label="To be used by", help_text="If its label says so.")


class OverlayForm(TypedForm):
    """A roll of overlay film as it was received."""

    roll_number = WordsField(
        label="Roll number", max_length=40, missing="Type the number from the roll's label."
    )
    lot = WordsField(label="Lot", max_length=40, missing="Type the lot from the roll's label.")
    width_in = NumberField(unit="inches", label="Width, inches", missing="Say how wide it is.")
    length_ft = NumberField(unit="feet", label="Length, feet", missing="Say how long it is.")
    received_on = DayField(
        label="Received on", help_text="Leave empty if the day is not known."
    )
    use_by_on = DayField(label="To be used by", help_text="If its label says so.")


class SpoiltForm(TypedForm):
    """Why a printed face does not go out."""

    reason = PickField(
        label="Why it does not go out",
        choices=SPOILT_CHOICES,
        empty_words="pick the reason",
        missing="Say why the face does not go out.",
    )
    removed_on = DayField(label="Taken out on", missing="Say on which day.")
    note = WordsField(label="Note", max_length=255)


@require_safe
@role_required(Role.SHOP)
def stock_faces(request: MemberRequest) -> HttpResponse:
    faces = (
        Sign.objects.filter(maker=request.organisation, state=Sign.State.IN_STOCK)
        .select_related("print_run", "layout_face__layout__order__agency")
        .prefetch_related("colour_areas")
        .order_by("-fabricated_on", "-pk")
    )
    context = {"page": page_of(request, faces, FACES_PER_PAGE)}
    return render(request, "inventory/production/stock_faces.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def face_spoilt(request: MemberRequest, sign_id: int) -> HttpResponse:
    """Take a spoilt face out of stock; its order goes back to be printed."""
    faces = Sign.objects.filter(maker=request.organisation, installed_on=None)
    sign = get_object_or_404(faces.prefetch_related("colour_areas"), pk=sign_id)
    form = SpoiltForm(request.POST or None, initial={"removed_on": timezone.localdate()})
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                remove_sign(sign=sign, by=request.user, **form.cleaned_data)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"Face {sign.label_id} is out of stock.")
                return redirect("stock-faces")
    context = {"sign": sign, "form": form}
    return render(request, "inventory/production/face_spoilt.html", context, status=status)


@require_safe
@role_required(Role.SHOP)
def stock_rolls(request: MemberRequest) -> HttpResponse:
    page = page_of(request, _newest_first(SheetingRoll, request))
    on_press = {s.roll.pk: press for press, s in _loaded_now(request) if s.roll}
    left = rolls_left(page)
    keeping = keeping_of(page, request.organisation)
    rows = [(roll, on_press.get(roll.pk), left[roll.pk], keeping[roll.pk]) for roll in page]
    context = {"page": page, "rows": rows, "today": timezone.localdate()}
    return render(request, "inventory/production/stock_rolls.html", context)


@require_safe
@role_required(Role.SHOP)
def stock_overlays(request: MemberRequest) -> HttpResponse:
    page = page_of(request, _newest_first(OverlayRoll, request))
    on_press = {s.overlay.pk: press for press, s in _loaded_now(request) if s.overlay}
    left = overlays_left(page)
    keeping = keeping_of(page, request.organisation)
    rows = [(roll, on_press.get(roll.pk), left[roll.pk], keeping[roll.pk]) for roll in page]
    context = {"page": page, "rows": rows, "today": timezone.localdate()}
    return render(request, "inventory/production/stock_overlays.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def roll_receive(request: MemberRequest) -> HttpResponse:
    return _receive(
        request, RollForm, receive_roll, "Receive a roll of sheeting", onward="stock-rolls"
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def overlay_receive(request: MemberRequest) -> HttpResponse:
    return _receive(
        request,
        OverlayForm,
        receive_overlay,
        "Receive a roll of overlay film",
        onward="stock-overlays",
    )


def _newest_first(model: Any, request: MemberRequest) -> Any:
    rows = model.objects.owned_by(request.organisation)
    return rows.order_by("-received_on", "roll_number", "pk")


def _loaded_now(request: MemberRequest) -> list[tuple[Press, LoadedState]]:
    now = timezone.now()
    return [(press, loaded_at(press, now)) for press in presses_of(request)]


def _receive(
    request: MemberRequest,
    form_class: type[TypedForm],
    service: Any,
    heading: str,
    *,
    onward: str,
) -> HttpResponse:
    """Take a roll into stock with one of the two services."""
    form = form_class(request.POST or None, initial={"received_on": timezone.localdate()})
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                roll = service(shop=request.organisation, by=request.user, **form.cleaned_data)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"{str(roll).capitalize()} is in stock.")
                return redirect(onward)
    context = {"form": form, "heading": heading, "onward": onward}
    return render(request, "inventory/production/receive.html", context, status=status)
