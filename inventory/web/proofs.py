"""Proofs of a line's legend: the shop sends them, the agency approves or sends them back."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, cast

from django import forms
from django.contrib import messages
from django.http import FileResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import InventoryError
from inventory.models import OrderLine, Organisation, Proof, Role
from inventory.services.ordering.proofs import decide_proof, send_proof, why_not_made
from inventory.services.sign_faces import local_types_of
from inventory.web.form_fields import TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.ordering import order_of

if TYPE_CHECKING:
    from django.core.files.uploadedfile import UploadedFile
    from django.http import HttpResponse, HttpResponseBase


class ProofForm(TypedForm):
    """What the shop means to print."""

    file = forms.FileField(
        label="Proof: PDF, PNG or JPEG",
        error_messages={"required": "Pick the file of the proof."},
    )
    legend_text = WordsField(
        label="The legend as the proof spells it",
        max_length=255,
        missing="Type the legend as the proof spells it, letter for letter.",
    )
    note = WordsField(label="Note", max_length=255)


class DecisionForm(TypedForm):
    """What the agency says of a proof."""

    words = WordsField(
        label="What is wrong, if it goes back", widget=forms.Textarea(attrs={"rows": 3})
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER, Role.SHOP)
def line_proofs(request: MemberRequest, order_id: int, line_id: int) -> HttpResponse:
    order = order_of(request, order_id)
    line = get_object_or_404(OrderLine, order=order, pk=line_id)
    is_shop = request.organisation.kind == Organisation.Kind.SHOP
    proofs = list(
        line.proofs.select_related("sent_by", "decision__decided_by").order_by("-number")
    )
    open_one = proofs[0] if proofs and getattr(proofs[0], "decision", None) is None else None
    form: TypedForm
    if is_shop:
        form = ProofForm(
            request.POST or None,
            request.FILES or None,
            initial={"legend_text": line.legend_text},
        )
    else:
        form = DecisionForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                words = _send(request, line, form) if is_shop else _decide(request, line, form)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, words)
                return redirect("line-proofs", order.pk, line.pk)
    context = {
        "order": order,
        "line": line,
        "proofs": proofs,
        "open_one": open_one,
        "form": form,
        "is_shop": is_shop,
        "why_not": why_not_made([line]).get(line.pk, ""),
        "local_types": local_types_of(order.agency),
    }
    return render(request, "inventory/ordering/line_proofs.html", context, status=status)


@require_safe
@role_required(Role.ENGINEER, Role.SHOP)
def proof_file(request: MemberRequest, proof_id: int) -> HttpResponseBase:
    """Send a proof to either party, as a file and never as a page."""
    proof: Proof = get_object_or_404(
        Proof.objects.readable_by(request.organisation).select_related("line__order"),
        pk=proof_id,
    )
    suffix = PurePath(proof.file.name).suffix
    answer = FileResponse(
        proof.file.open("rb"),
        as_attachment=True,
        filename=f"{proof.line.order.number}-line-{proof.line.number}-proof-{proof.number}{suffix}",
        content_type="application/octet-stream",
    )
    answer["X-Content-Type-Options"] = "nosniff"
    return answer


def _send(request: MemberRequest, line: OrderLine, form: TypedForm) -> str:
    data = form.cleaned_data
    file = cast("UploadedFile", data["file"])
    proof = send_proof(
        line=line,
        content=file.read(),
        file_name=file.name or "",
        legend_text=data["legend_text"],
        note=data["note"],
        by=request.user,
    )
    return f"Proof {proof.number} is sent."


def _decide(request: MemberRequest, line: OrderLine, form: TypedForm) -> str:
    key = request.POST.get("proof", "")
    proof = get_object_or_404(Proof, line=line, pk=int(key) if key.isdecimal() else 0)
    is_approved = request.POST.get("decision") == "approve"
    decide_proof(
        proof=proof,
        is_approved=is_approved,
        words=form.cleaned_data["words"],
        by=request.user,
    )
    return f"Proof {proof.number} is {'approved' if is_approved else 'sent back'}."
