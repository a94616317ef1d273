"""The lines of a draft: changed, added for stock, and their artwork."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inventory.engineering.standards.vocabulary import Color, SheetingType
from inventory.errors import InventoryError
from inventory.models import ColourArea, OrderLine, PrintOrder, Role
from inventory.services.ordering import add_line, set_line
from inventory.services.ordering.line_changes import change_line
from inventory.services.ordering.standard_checks import warnings_of_draft
from inventory.services.sign_faces import local_types_of
from inventory.web.form_fields import NumberField, PickField, TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.ordering import order_of

if TYPE_CHECKING:
    from django.http import HttpResponse, HttpResponseBase

COLOUR_CHOICES = [(color.value, color.words) for color in Color]
TYPE_CHOICES = [(each.value, f"Type {each.value}") for each in SheetingType]
OPTICS_CHOICES = ColourArea.Optics.choices
MAXIMUM_ARTWORK_BYTES = 20_000_000
BYTES_PER_MEGABYTE = 1_000_000


class LineForm(TypedForm):
    """What a line of a draft asks for."""

    variant = WordsField(label="Variant, such as L or R", max_length=24)
    legend_text = WordsField(label="Legend, word for word", max_length=255)
    is_custom_legend = forms.BooleanField(
        label="A legend of its own, not the standard's", required=False
    )
    artwork = forms.FileField(label="Artwork file for the shop", required=False)
    width_in = NumberField(unit="inches", label="Width, inches", missing="Say how wide it is.")
    height_in = NumberField(
        unit="inches", label="Height, inches", missing="Say how high it is."
    )
    quantity = forms.IntegerField(
        label="Faces",
        error_messages={
            "required": "Say how many faces.",
            "invalid": "Write the number of faces in figures, 1 or more.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    sheeting_type = PickField(
        label="Sheeting type (ASTM D4956)",
        choices=TYPE_CHOICES,
        empty_words="pick the type",
        missing="Say on which sheeting type it is to be printed.",
    )
    optics = PickField(label="Optics", choices=OPTICS_CHOICES, missing="Say which optics.")
    background_color = PickField(
        label="Background", choices=COLOUR_CHOICES, missing="Say the background colour."
    )
    legend_color = PickField(
        label="Legend and border", choices=COLOUR_CHOICES, missing="Say the legend colour."
    )
    reason = WordsField(label="Why it is ordered", max_length=255)

    def __init__(self, *args: Any, has_position: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if has_position:
            # A place holds one face.
            del self.fields["quantity"]

    def clean_artwork(self) -> Any:
        """Refuse a file larger than is taken."""
        file = self.cleaned_data["artwork"]
        if file is not None and file.size > MAXIMUM_ARTWORK_BYTES:
            msg = (
                f"The artwork has {file.size / BYTES_PER_MEGABYTE:.1f} MB; at most "
                f"{MAXIMUM_ARTWORK_BYTES // BYTES_PER_MEGABYTE} MB are taken."
            )
            raise ValidationError(msg)
        return file


class StockLineForm(TypedForm):
    """Faces of one code that no place waits for."""

    sign_code = WordsField(
        label="Code", max_length=24, missing="Type the sign's code, such as R1-1."
    )
    quantity = forms.IntegerField(
        label="Faces",
        initial=1,
        error_messages={
            "required": "Say how many faces.",
            "invalid": "Write the number of faces in figures, 1 or more.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    sheeting_type = PickField(
        label="Sheeting type (ASTM D4956)",
        choices=TYPE_CHOICES,
        empty_words="pick the type",
        missing="Say on which sheeting type it is to be printed.",
    )
    optics = PickField(label="Optics", choices=OPTICS_CHOICES, missing="Say which optics.")
    legend_text = WordsField(label="Legend, word for word", max_length=255)
    width_in = NumberField(
        unit="inches",
        label="Width, inches",
        help_text="Leave empty where one size is printed for all roads.",
    )
    height_in = NumberField(
        unit="inches",
        label="Height, inches",
        help_text="Leave empty where one size is printed for all roads.",
    )
    reason = WordsField(label="Why it is ordered", max_length=255)


class LineChangeForm(TypedForm):
    """Another number of faces of a released line."""

    quantity = forms.IntegerField(
        label="Faces",
        min_value=0,
        error_messages={
            "required": "Say how many faces; 0 cancels the line.",
            "invalid": "Write the number of faces in figures; 0 cancels the line.",
            "min_value": "Write 0 or more; 0 cancels the line.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        help_text="0 cancels the line. Printed faces and those in a frozen layout stay.",
    )
    reason = WordsField(label="Why", max_length=255, missing="Say why.")


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def order_line_change(request: MemberRequest, order_id: int, line_id: int) -> HttpResponse:
    """Change how many faces of a line a released order asks for."""
    order = order_of(request, order_id)
    line: OrderLine = get_object_or_404(OrderLine, order=order, pk=line_id)
    form = LineChangeForm(request.POST or None, initial={"quantity": line.quantity})
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                change_line(line=line, by=request.user, **form.cleaned_data)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"Line {line.number} is changed; the shop sees it.")
                return redirect("order-page", order.pk)
    context = {"order": order, "line": line, "form": form}
    return render(request, "inventory/ordering/order_line_change.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def order_line(request: MemberRequest, order_id: int, line_id: int) -> HttpResponse:
    order = order_of(request, order_id)
    line: OrderLine = get_object_or_404(OrderLine, order=order, pk=line_id)
    has_position = line.position_id is not None
    form = LineForm(
        request.POST or None,
        request.FILES or None,
        has_position=has_position,
        initial={name: getattr(line, name) for name in LineForm.base_fields}
        | {"width_in": f"{line.width_in:g}", "height_in": f"{line.height_in:g}"},
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            changes = dict(form.cleaned_data)
            if changes["artwork"] is None:
                del changes["artwork"]
            try:
                set_line(line=line, by=request.user, **changes)
            except (InventoryError, ValidationError) as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"Line {line.number} is changed.")
                _tell_warnings(request, order, line)
                return redirect("order-page", order.pk)
    context = {
        "order": order,
        "line": line,
        "form": form,
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/ordering/order_line.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def order_line_add(request: MemberRequest, order_id: int) -> HttpResponse:
    order = order_of(request, order_id)
    form = StockLineForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                line = add_line(order=order, by=request.user, **form.cleaned_data)
            except (InventoryError, ValidationError) as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"Line {line.number} is on the order.")
                _tell_warnings(request, order, line)
                return redirect("order-page", order.pk)
    context = {"order": order, "form": form}
    return render(request, "inventory/ordering/order_line_add.html", context, status=status)


def _tell_warnings(request: MemberRequest, order: PrintOrder, line: OrderLine) -> None:
    """Say what warns of a line as it is stored now."""
    stored = OrderLine.objects.select_related("position__support__road").get(pk=line.pk)
    for warning in warnings_of_draft(order, [stored]).get(stored.pk, []):
        if warning.is_open:
            messages.warning(request, warning.sentence)


@require_safe
@role_required(Role.SHOP, Role.ENGINEER)
def order_artwork(request: MemberRequest, order_id: int, line_id: int) -> HttpResponseBase:
    """Send a line's artwork to either party, as a file and never as a page."""
    order: PrintOrder = order_of(request, order_id)
    line: OrderLine = get_object_or_404(OrderLine, order=order, pk=line_id)
    if not line.artwork:
        msg = f"Line {line.number} has no artwork."
        raise Http404(msg)
    suffix = PurePath(line.artwork.name).suffix
    answer = FileResponse(
        line.artwork.open("rb"),
        as_attachment=True,
        filename=f"{order.number}-line-{line.number}{suffix}",
        content_type="application/octet-stream",
    )
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
