"""What passes between agency and shop about an order: accepted, asked, shipped, received."""

from __future__ import annotations

import tempfile
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.http import FileResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import InventoryError
from inventory.interchange.packing_list_pdf import write_packing_list
from inventory.models import (
    FaceReceipt,
    OrderQuestion,
    Organisation,
    Role,
    Shipment,
    ShipmentFace,
)
from inventory.services.ordering.accepting import accept_order, answer_question, ask_about
from inventory.services.ordering.shipping import (
    Found,
    faces_to_ship,
    receive_faces,
    ship_faces,
)
from inventory.services.sign_faces import local_types_of
from inventory.web.form_fields import DayField, TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.ordering import order_of
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse, HttpResponseBase

FACES_PER_PAGE = 200
KEPT_IN_MEMORY_BYTES = 2_000_000


class AcceptForm(TypedForm):
    """For which day the shop accepts an order."""

    promised_on = DayField(
        label="The last face leaves the shop by", missing="Say by which day it is done."
    )


class TextForm(TypedForm):
    """A question or an answer."""

    text = WordsField(label="In words", widget=forms.Textarea(attrs={"rows": 3}))


class ShipForm(TypedForm):
    """Who takes the faces, and what else is to be known."""

    note = WordsField(
        label="Note",
        max_length=255,
        help_text="Such as who drives, or how it is packed.",
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def order_accept(request: MemberRequest, order_id: int) -> HttpResponse:
    order = order_of(request, order_id)
    form = AcceptForm(
        request.POST or None,
        initial={"promised_on": order.promised_on or order.needed_by_on},
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                accept_order(order=order, by=request.user, **form.cleaned_data)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"Order {order.number} is accepted.")
                return redirect("order-page", order.pk)
    context = {"order": order, "form": form}
    return render(request, "inventory/ordering/order_accept.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER, Role.SHOP)
def order_ask(request: MemberRequest, order_id: int) -> HttpResponse:
    order = order_of(request, order_id)
    form = TextForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                ask_about(
                    order=order,
                    asker=request.organisation,
                    by=request.user,
                    **form.cleaned_data,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "The question is sent.")
                return redirect("order-page", order.pk)
    context = {"order": order, "form": form, "question": None}
    return render(request, "inventory/ordering/order_ask.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER, Role.SHOP)
def order_answer(request: MemberRequest, order_id: int, question_id: int) -> HttpResponse:
    order = order_of(request, order_id)
    question = get_object_or_404(OrderQuestion, order=order, pk=question_id)
    form = TextForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                answer_question(
                    question=question,
                    answerer=request.organisation,
                    by=request.user,
                    **form.cleaned_data,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "The answer is sent.")
                return redirect("order-page", order.pk)
    context = {"order": order, "form": form, "question": question}
    return render(request, "inventory/ordering/order_ask.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def order_ship(request: MemberRequest, order_id: int) -> HttpResponse:
    order = order_of(request, order_id)
    form = ShipForm(request.POST or None)
    page = page_of(request, faces_to_ship(order), FACES_PER_PAGE)
    picked = set(request.POST.getlist("faces"))
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                shipment = ship_faces(
                    order=order,
                    signs=[int(each) for each in picked if each.isdecimal()],
                    by=request.user,
                    **form.cleaned_data,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                return redirect("shipment-page", shipment.pk)
    context = {
        "order": order,
        "form": form,
        "page": page,
        "rows": [(sign, not form.is_bound or str(sign.pk) in picked) for sign in page],
        "local_types": local_types_of(order.agency),
    }
    return render(request, "inventory/ordering/order_ship.html", context, status=status)


@require_safe
@role_required(Role.ENGINEER, Role.CREW, Role.SHOP)
def shipment_page(request: MemberRequest, shipment_id: int) -> HttpResponse:
    return _shipment_page(request, _shipment_of(request, shipment_id))


@require_POST
@role_required(Role.ENGINEER, Role.CREW)
def shipment_receive(request: MemberRequest, shipment_id: int) -> HttpResponse:
    """Record what was found of the faces on the page that are not received yet."""
    shipment = _shipment_of(request, shipment_id)
    found = {}
    for key in request.POST.getlist("faces"):
        if key.isdecimal():
            outcome = request.POST.get(f"outcome_{key}", "")
            found[int(key)] = Found(outcome, request.POST.get(f"note_{key}", ""))
    try:
        whole = receive_faces(shipment=shipment, found=found, by=request.user)
    except InventoryError as error:
        return _shipment_page(request, shipment, error=error)
    messages.success(request, f"{whole} faces are in your stock.")
    return redirect("shipment-page", shipment.pk)


@require_safe
@role_required(Role.ENGINEER, Role.CREW, Role.SHOP)
def shipment_pdf(request: MemberRequest, shipment_id: int) -> HttpResponseBase:
    shipment = _shipment_of(request, shipment_id)
    stream = tempfile.SpooledTemporaryFile(max_size=KEPT_IN_MEMORY_BYTES)  # noqa: SIM115
    faces = [each.sign for each in _faces_of(shipment)]
    name = f"{shipment.order.number}-{shipment.number}"
    foot = f"Packing list {name}, {request.organisation.clock_words(timezone.now())}"
    write_packing_list(stream, shipment, faces, foot=foot)
    stream.seek(0)
    return FileResponse(
        stream, filename=f"packing-list-{name}.pdf", content_type="application/pdf"
    )


def _shipment_page(
    request: MemberRequest, shipment: Shipment, error: InventoryError | None = None
) -> HttpResponse:
    page = page_of(request, _faces_of(shipment), FACES_PER_PAGE)
    is_agency = request.organisation.kind != Organisation.Kind.SHOP
    rows = []
    for face in page:
        receipt = getattr(face, "receipt", None)
        typed = request.POST.get(f"outcome_{face.sign_id}", FaceReceipt.Outcome.WHOLE)
        rows.append((face, receipt, typed, request.POST.get(f"note_{face.sign_id}", "")))
    context: dict[str, Any] = {
        "shipment": shipment,
        "order": shipment.order,
        "page": page,
        "rows": rows,
        "open": sum(receipt is None for _face, receipt, _typed, _note in rows),
        "is_agency": is_agency,
        "outcomes": FaceReceipt.Outcome.choices,
        "error": error,
        "local_types": local_types_of(shipment.order.agency),
    }
    return render(
        request,
        "inventory/ordering/shipment_page.html",
        context,
        status=200 if error is None else 409,
    )


def _faces_of(shipment: Shipment) -> Any:
    return (
        ShipmentFace.objects.filter(shipment=shipment)
        .select_related("sign__layout_face__line", "receipt__received_by")
        .order_by("sign__layout_face__line__number", "pk")
    )


def _shipment_of(request: MemberRequest, shipment_id: int) -> Shipment:
    rows = Shipment.objects.readable_by(request.organisation).select_related(
        "order__agency", "order__shop", "shipped_by"
    )
    shipment: Shipment = get_object_or_404(rows, pk=shipment_id)
    return shipment
