"""Steps after the press, and blanks: the shop's list, what is next on a run's faces, stock."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import InventoryError
from inventory.models import Blank, BlankCount, LayoutFace, Role, ShopStep, Sign
from inventory.services.production.blanks import add_blanks, blanks_left, change_count
from inventory.services.production.steps import (
    done_on,
    mark_step,
    next_steps,
    set_step,
    withdraw_step,
)
from inventory.web.form_fields import (
    MomentField,
    NumberField,
    PickField,
    RowField,
    TypedForm,
    WordsField,
)
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.production import run_of

if TYPE_CHECKING:
    from django.http import HttpResponse

FACES_PER_PAGE = 100
COUNTS_PER_PAGE = 30


class StepForm(TypedForm):
    """One step of the shop's list."""

    name = WordsField(label="Name", max_length=60, missing="Give the step a name.")
    kind = PickField(
        label="What it is",
        choices=ShopStep.Kind.choices,
        empty_words="pick what it is",
        missing="Say what kind of step it is.",
    )
    place = NumberField(
        unit="a place", label="Place in the order", help_text="Empty: behind the others."
    )
    least_hours = NumberField(
        unit="hours",
        label="Hours since printing, at least",
        help_text="Such as the drying time before lamination, as the ink's maker states it. "
        "Empty: none.",
    )
    is_in_use = forms.BooleanField(label="In use", required=False)


class MarkForm(TypedForm):
    """A step that was done, and when."""

    step = RowField(
        label="Step",
        queryset=ShopStep.objects.none(),
        empty_label="pick the step",
        missing="Say which step was done.",
    )
    done_at = MomentField(label="Done", missing="Say when it was done.")
    blank = RowField(
        label="Blanks, where faces are put on them",
        queryset=Blank.objects.none(),
        empty_label="no blanks",
    )


class BlankForm(TypedForm):
    """Blanks that come in."""

    width_in = NumberField(unit="inches", label="Width, in", missing="Type the width.")
    height_in = NumberField(unit="inches", label="Height, in", missing="Type the height.")
    thickness_in = NumberField(
        unit="inches", label="Thickness, in", missing="Type the thickness, such as 0.080."
    )
    shape = WordsField(label="Shape", max_length=24, help_text="Empty: rectangle.")
    holes = WordsField(label="Holes", max_length=120)
    is_reclaimed = forms.BooleanField(label="Reclaimed", required=False)
    count = NumberField(unit="blanks", label="How many", missing="Say how many.")


class CountForm(TypedForm):
    """Blanks that came in or went out."""

    change = NumberField(
        unit="blanks",
        label="More or fewer",
        missing="Say how many more, or fewer with a minus.",
    )
    reason = WordsField(label="Why", max_length=120, missing="Say why.")


@require_safe
@role_required(Role.SHOP)
def step_list(request: MemberRequest) -> HttpResponse:
    steps = ShopStep.objects.owned_by(request.organisation).order_by("place", "pk")
    return render(request, "inventory/production/step_list.html", {"steps": steps})


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def step_set(request: MemberRequest, step_id: int | None = None) -> HttpResponse:
    """Add a step to the list, or change one."""
    step: ShopStep | None = None
    if step_id is not None:
        step = get_object_or_404(ShopStep.objects.owned_by(request.organisation), pk=step_id)
    names = ("name", "kind", "place", "least_hours", "is_in_use")
    initial = {name: getattr(step, name) for name in names} if step else {"is_in_use": True}
    form = StepForm(request.POST or None, initial=initial)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            data = form.cleaned_data
            place = data.pop("place")
            try:
                set_step(
                    shop=request.organisation,
                    step=step,
                    place=None if place is None else int(place),
                    by=request.user,
                    **data,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "The step is kept.")
                return redirect("step-list")
    context = {"form": form, "step": step}
    return render(request, "inventory/production/step_set.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def run_steps(request: MemberRequest, run_id: int) -> HttpResponse:
    """Show what is next on a run's faces, and record a step done on those that are ticked."""
    run = run_of(request, run_id)
    faces = LayoutFace.objects.filter(layout__print_run=run).select_related(
        "sign__print_run", "line"
    )
    page = page_of(request, faces.order_by("sign__print_number", "pk"), FACES_PER_PAGE)
    signs = [face.sign for face in page]
    following = next_steps(request.organisation, signs)
    done = done_on(signs)
    first = next((each for each in following.values() if each is not None), None)
    form = MarkForm(
        request.POST or None,
        initial={
            "step": first.step if first else None,
            "done_at": timezone.localtime().replace(second=0, microsecond=0),
        },
    )
    for name, rows in (
        ("step", ShopStep.objects.owned_by(request.organisation).filter(is_in_use=True)),
        ("blank", Blank.objects.owned_by(request.organisation)),
    ):
        field: Any = form.fields[name]
        field.queryset = rows
    picked = set(request.POST.getlist("faces"))
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                count = mark_step(
                    signs=[sign for sign in signs if str(sign.pk) in picked],
                    by=request.user,
                    **form.cleaned_data,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"The step is done on {count} faces.")
                return redirect("run-steps", run.pk)
    now = timezone.now()
    rows_shown = []
    for sign in signs:
        coming = following[sign.pk]
        may = sign.state == Sign.State.IN_STOCK and sign.owner_id is None
        waits = bool(coming and coming.not_before and coming.not_before > now)
        is_first = bool(coming and first and coming.step == first.step and not waits)
        ticked = str(sign.pk) in picked if form.is_bound else is_first
        rows_shown.append((sign, done[sign.pk].values(), coming, waits, may, ticked))
    context = {"run": run, "form": form, "page": page, "rows": rows_shown}
    return render(request, "inventory/production/run_steps.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def face_steps(request: MemberRequest, sign_id: int) -> HttpResponse:
    """Show the steps of one face, and withdraw one that was not done."""
    rows = Sign.objects.filter(maker=request.organisation, print_run__isnull=False)
    sign: Sign = get_object_or_404(rows.select_related("print_run"), pk=sign_id)
    error: InventoryError | None = None
    if request.method == "POST":
        steps = ShopStep.objects.owned_by(request.organisation)
        key = request.POST.get("step", "")
        step = get_object_or_404(steps, pk=int(key) if key.isdecimal() else 0)
        try:
            withdraw_step(
                sign=sign, step=step, reason=request.POST.get("reason", ""), by=request.user
            )
        except InventoryError as refused:
            error = refused
        else:
            messages.success(request, f"'{step}' is withdrawn.")
            return redirect("face-steps", sign.pk)
    context = {
        "sign": sign,
        "done": done_on([sign])[sign.pk].values(),
        "told": sign.steps.select_related("step", "recorded_by", "blank").order_by(
            "recorded_at", "pk"
        ),
        "error": error,
        "reason": request.POST.get("reason", ""),
    }
    return render(
        request,
        "inventory/production/face_steps.html",
        context,
        status=200 if error is None else 409,
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def stock_blanks(request: MemberRequest) -> HttpResponse:
    """Show the blanks in stock, and take some in."""
    form = BlankForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            data = form.cleaned_data
            try:
                add_blanks(
                    shop=request.organisation,
                    count=int(data.pop("count")),
                    by=request.user,
                    **data,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "The blanks are in stock.")
                return redirect("stock-blanks")
    kinds = Blank.objects.owned_by(request.organisation).order_by(
        "width_in", "height_in", "thickness_in", "pk"
    )
    page = page_of(request, kinds)
    left = blanks_left(page)
    context = {"form": form, "page": page, "rows": [(each, left[each.pk]) for each in page]}
    return render(request, "inventory/production/stock_blanks.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def blank_page(request: MemberRequest, blank_id: int) -> HttpResponse:
    """Show what came in and went out of blanks of one kind, and record a change."""
    blank = get_object_or_404(Blank.objects.owned_by(request.organisation), pk=blank_id)
    form = CountForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            data = form.cleaned_data
            try:
                change_count(
                    blank=blank,
                    change=int(data["change"]),
                    reason=data["reason"],
                    by=request.user,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "The number is changed.")
                return redirect("blank-page", blank.pk)
    counts = BlankCount.objects.filter(blank=blank).select_related("recorded_by")
    context = {
        "blank": blank,
        "left": blanks_left([blank])[blank.pk],
        "form": form,
        "page": page_of(request, counts.order_by("-happened_at", "-pk"), COUNTS_PER_PAGE),
    }
    return render(request, "inventory/production/blank_page.html", context, status=status)
