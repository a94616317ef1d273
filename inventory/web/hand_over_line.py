"""What an engineer decides about the next face of one place before it is ordered."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from inventory.errors import InventoryError
from inventory.models import Position, Role, Standing, StockReservation
from inventory.services.ordering.face_choices import (
    choose_sheeting,
    leave_out,
    set_asked_face,
    take_in,
)
from inventory.services.ordering.from_programme import of_position
from inventory.services.ordering.hand_over import draft_hand_over
from inventory.services.ordering.reservations import free_face
from inventory.services.sign_faces import local_types_of
from inventory.services.standards import code_book
from inventory.web.form_fields import NumberField, PickField, TypedForm, WordsField
from inventory.web.hand_over import OPTICS_CHOICES, TYPE_CHOICES, HowForm
from inventory.web.membership import MemberRequest, role_required
from inventory.web.road_safety import own_address

if TYPE_CHECKING:
    from django.http import HttpResponse


class AskForm(TypedForm):
    """Which sign the place asks for from now on, and how large."""

    sign_code = WordsField(
        label="Code", max_length=24, missing="Type the sign's code, such as R1-1."
    )
    variant = WordsField(label="Variant, such as L or R", max_length=24)
    width_in = NumberField(unit="inches", label="Width, inches")
    height_in = NumberField(unit="inches", label="Height, inches")
    size_reason = WordsField(label="Why not the standard size", max_length=255)


class SheetingForm(TypedForm):
    """The sheeting of this one face."""

    sheeting_type = PickField(
        label="Sheeting", choices=TYPE_CHOICES, empty_words="as for the other faces"
    )
    optics = PickField(
        label="Optics", choices=OPTICS_CHOICES, empty_words="as the type has them"
    )


class LeaveForm(TypedForm):
    """Why nothing is ordered."""

    reason = WordsField(
        label="Why nothing is ordered",
        max_length=160,
        missing="Say in a few words why nothing is ordered for this place.",
    )


class FreeForm(TypedForm):
    """Why a face in stock is set free."""

    reason = WordsField(
        label="Why it is set free", max_length=160, missing="Say why the face is set free."
    )


class NoForm(TypedForm):
    """A step that needs no words."""


FORMS: dict[str, type[TypedForm]] = {
    "ask": AskForm,
    "sheeting": SheetingForm,
    "leave": LeaveForm,
    "take-in": NoForm,
    "free": FreeForm,
}
DONE = {
    "ask": "The place asks for that face from now on.",
    "sheeting": "The sheeting is chosen.",
    "leave": "Left out, with the reason.",
    "take-in": "It is ordered again.",
    "free": "The face in stock is free again.",
}


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def hand_over_line(request: MemberRequest, position_id: int) -> HttpResponse:
    rows = Position.objects.owned_by(request.organisation).select_related(
        "support__road", "organisation"
    )
    position: Position = get_object_or_404(rows, pk=position_id)
    wanted = request.POST.get("next") or request.GET.get("next") or reverse("order-list")
    onward = own_address(request, wanted)
    step = request.POST.get("step", "")
    typed: dict[str, TypedForm] = {}
    status = 200
    if request.method == "POST":
        form = FORMS.get(step, NoForm)(request.POST)
        typed[step] = form
        status = 400
        if step not in FORMS:
            form.add_error(None, "It is not known what to change; use a button of this page.")
        elif form.is_valid():
            try:
                _take(step, position, request, form.cleaned_data)
            except (InventoryError, ValidationError) as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, DONE[step])
                return redirect(onward)
    return _show(request, position, typed, onward, status)


def _take(step: str, position: Position, request: MemberRequest, said: dict[str, Any]) -> None:
    """Take one step of this page."""
    who: dict[str, Any] = {
        "position": position,
        "agency": request.organisation,
        "by": request.user,
    }
    if step == "ask":
        set_asked_face(**who, **said)
    elif step == "sheeting":
        choose_sheeting(**who, **said)
    elif step == "leave":
        leave_out(**who, **said)
    elif step == "take-in":
        take_in(**who)
    else:
        kept = StockReservation.objects.filter(position=position, ended_at=None).first()
        if kept is not None:
            free_face(reservation=kept, by=request.user, **said)


def _show(
    request: MemberRequest,
    position: Position,
    typed: dict[str, TypedForm],
    onward: str,
    status: int,
) -> HttpResponse:
    names = ("sheeting_type", "optics")
    how = HowForm({"step": "all", **{name: request.GET.get(name, "") for name in names}})
    chosen = how.cleaned_data if how.is_valid() else {"step": "all"}
    source = of_position(position=position, book=code_book(request.organisation))
    (line,) = draft_hand_over(source=source, **chosen).lines
    choice = line.choice
    context = {
        "position": position,
        "line": line,
        "standing": Standing.objects.filter(sign=line.asked.standing).first(),
        "next": onward,
        "how_query": request.GET.urlencode(),
        "forms": {
            "ask": typed.get("ask") or AskForm(initial=_asked(position)),
            "sheeting": typed.get("sheeting")
            or SheetingForm(
                initial={
                    "sheeting_type": choice.sheeting_type if choice else "",
                    "optics": choice.optics if choice else "",
                }
            ),
            "leave": typed.get("leave") or LeaveForm(),
            "free": typed.get("free") or FreeForm(),
        },
        "refused": next(iter(typed.values()), None),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/ordering/hand_over_line.html", context, status=status)


def _asked(position: Position) -> dict[str, Any]:
    """Return what the place asks for now, as it is typed."""
    return {
        "sign_code": position.sign_code,
        "variant": position.variant,
        "width_in": "" if position.width_in is None else f"{position.width_in:g}",
        "height_in": "" if position.height_in is None else f"{position.height_in:g}",
        "size_reason": position.size_override_reason,
    }
