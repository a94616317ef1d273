"""New faces checked at the shop: many that are right at once, or one with its readings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from inventory.errors import InventoryError
from inventory.models import FaceCheck, LayoutFace, Role, Sign
from inventory.services.production.quality import Seen, check_face, newest_checks, pass_faces
from inventory.services.sign_faces import local_types_of
from inventory.web.form_fields import TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.production import run_of

if TYPE_CHECKING:
    from django.http import HttpResponse

FACES_PER_PAGE = 100


class CheckForm(TypedForm):
    """What was found of a face; one field of readings for each of its colours."""

    is_look_right = forms.BooleanField(
        label="Looks right: colour even, no bubbles, streaks or scratches", required=False
    )
    is_size_right = forms.BooleanField(label="Size is right", required=False)
    is_legend_right = forms.BooleanField(
        label="Legend is right, letter for letter", required=False
    )
    note = WordsField(
        label="Note",
        max_length=200,
        help_text="What is wrong, if something is: the face is then printed again.",
    )

    def __init__(self, *args: Any, colors: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.colors = colors
        for color in colors:
            self.fields[f"readings_{color}"] = WordsField(
                label=f"Readings of {color.replace('-', ' ')}, cd/lx/m²",
                max_length=120,
                help_text="As shown, at 0.2° and −4.0°, blanks between. Empty: not read.",
            )

    def readings(self) -> dict[str, list[str]]:
        """Return what was typed, by colour."""
        return {
            color: (self.cleaned_data.get(f"readings_{color}") or "").split()
            for color in self.colors
        }


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def run_checks(request: MemberRequest, run_id: int) -> HttpResponse:
    """Pass faces of a run that were looked at, or go to one that is read or wrong."""
    run = run_of(request, run_id)
    faces = LayoutFace.objects.filter(layout__print_run=run).select_related("sign", "line")
    page = page_of(request, faces.order_by("sign__print_number", "pk"), FACES_PER_PAGE)
    signs = [face.sign for face in page]
    checks = newest_checks(signs)
    picked = set(request.POST.getlist("faces"))
    error: InventoryError | None = None
    if request.method == "POST":
        try:
            count = pass_faces(
                signs=[sign for sign in signs if str(sign.pk) in picked], by=request.user
            )
        except InventoryError as refused:
            error = refused
        else:
            messages.success(request, f"{count} faces are passed.")
            return redirect("run-checks", run.pk)
    rows = [
        (
            sign,
            checks.get(sign.pk),
            sign.state == Sign.State.IN_STOCK and sign.owner_id is None,
        )
        for sign in signs
    ]
    context = {
        "run": run,
        "page": page,
        "rows": rows,
        "open": sum(may and check is None for _sign, check, may in rows),
        "picked": picked,
        "error": error,
        "local_types": local_types_of(run.layout.order.agency),
    }
    return render(
        request,
        "inventory/production/run_checks.html",
        context,
        status=200 if error is None else 409,
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def face_check(request: MemberRequest, sign_id: int) -> HttpResponse:
    """Check one face, with readings if it was read."""
    rows = Sign.objects.filter(maker=request.organisation, print_run__isnull=False)
    sign: Sign = get_object_or_404(rows.select_related("print_run"), pk=sign_id)
    colors = list(
        dict.fromkeys(sign.colour_areas.order_by("number").values_list("color", flat=True))
    )
    form = CheckForm(
        request.POST or None,
        colors=[color for color in colors if color and color != "black"],
        initial={"is_look_right": True, "is_size_right": True, "is_legend_right": True},
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            data = form.cleaned_data
            seen = Seen(
                data["is_look_right"],
                data["is_size_right"],
                data["is_legend_right"],
                data["note"],
            )
            try:
                check = check_face(
                    sign=sign, seen=seen, readings=form.readings(), by=request.user
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(
                    request,
                    f"Face {sign.label_id} is passed."
                    if check.is_passed
                    else f"Face {sign.label_id} did not pass; it is printed again.",
                )
                return redirect("run-checks", sign.print_run_id)
    context = {
        "sign": sign,
        "form": form,
        "checks": FaceCheck.objects.filter(sign=sign)
        .select_related("checked_by")
        .order_by("-checked_at", "-pk"),
    }
    return render(request, "inventory/production/face_check.html", context, status=status)
