"""Layouts of an order's faces on rolls: begun, looked at, changed, frozen, printed from."""

from __future__ import annotations

import tempfile
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import FileResponse, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import InventoryError, OutOfRangeError
from inventory.interchange.layout_drawing import (
    DrawnCut,
    DrawnFace,
    LayoutDrawing,
    layout_pdf,
    layout_svg,
)
from inventory.models import LayoutPlan, PlannedFace, Role
from inventory.services.ordering.layouts.changing import (
    drop_plan,
    keep_in_place,
    leave_out,
    set_rank,
)
from inventory.services.ordering.layouts.costing import costs_of
from inventory.services.ordering.layouts.estimating import estimate_of
from inventory.services.ordering.layouts.freezing import freeze_plan, take_freeze_back
from inventory.services.ordering.layouts.looking import views_of
from inventory.services.ordering.layouts.making import (
    find_turns,
    fitting_rolls,
    free_lines,
    make_plan,
    set_rules,
)
from inventory.services.ordering.layouts.solving import (
    SILENT_FOR,
    ask_to_stop,
    start_solving,
)
from inventory.services.production import record_print_run
from inventory.services.production.roll_lengths import IN_PER_FT, rolls_left
from inventory.services.sign_faces import local_types_of
from inventory.web.layout_forms import (
    IN_ORDER,
    MIXED,
    LoadRunForm,
    NewLayoutForm,
    RulesForm,
)
from inventory.web.membership import MemberRequest, role_required
from inventory.web.ordering import orders_seen_by
from inventory.web.paging import page_of
from inventory.web.presses import presses_of

if TYPE_CHECKING:
    from django.http import HttpResponseBase

    from inventory.engineering.ordering.layout.drawing_figures import Cut
    from inventory.models import PlanLoad, PrintOrder
    from inventory.services.ordering.layouts.looking import LoadView

LAYOUTS_PER_PAGE = 30
FACES_PER_PAGE = 60
KEPT_IN_MEMORY_BYTES = 2_000_000


@require_safe
@role_required(Role.SHOP)
def layout_list(request: MemberRequest) -> HttpResponse:
    rows = (
        LayoutPlan.objects.owned_by(request.organisation)
        .select_related("order__agency", "press", "made_by")
        .order_by("-made_at", "-pk")
    )
    context = {"page": page_of(request, rows, LAYOUTS_PER_PAGE)}
    return render(request, "inventory/layouts/layout_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def layout_new(request: MemberRequest, order_id: int) -> HttpResponse:
    orders = orders_seen_by(request.organisation).select_related("agency", "shop")
    order: PrintOrder = get_object_or_404(orders, pk=order_id)
    kind: dict[str, Any] = {
        name: request.GET.get(name, "") for name in ("sheeting_type", "optics", "base_color")
    }
    lines = free_lines(order, **kind)
    rolls = fitting_rolls(request.organisation, **kind)
    left = rolls_left(rolls)
    presses = presses_of(request)
    form = NewLayoutForm(
        request.POST or None,
        presses=presses,
        lines=lines,
        rolls=rolls,
        left=left,
        picked=[roll.pk for roll in rolls if left[roll.pk].free_ft > 0],
        initial=_last_rules(request)
        | ({"press": presses.first()} if presses.count() == 1 else {}),
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                plan = make_plan(
                    order=order,
                    press=form.cleaned_data["press"],
                    rolls=form.picked_rolls(),
                    rules=form.rules(),
                    asked=form.asked(),
                    by=request.user,
                    **kind,
                )
                start_solving(plan=plan, by=request.user)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                return redirect("layout-page", plan.pk)
    context = {
        "order": order,
        "kind": kind,
        "form": form,
        "turns": find_turns(request.organisation, kind["sheeting_type"], kind["optics"]),
        "local_types": local_types_of(order.agency),
    }
    return render(request, "inventory/layouts/layout_new.html", context, status=status)


@require_safe
@role_required(Role.SHOP)
def layout_page(request: MemberRequest, plan_id: int) -> HttpResponse:
    return _show(request, _plan_of(request, plan_id))


@require_safe
@role_required(Role.SHOP)
def layout_progress(request: MemberRequest, plan_id: int) -> JsonResponse:
    """Say how far the search is, for the page's script."""
    run = _newest_run(_plan_of(request, plan_id))
    answer = JsonResponse(
        {"is_open": bool(run and run["is_open"]), "words": run["words"] if run else ""}
    )
    answer["Cache-Control"] = "no-store"
    return answer


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def layout_again(request: MemberRequest, plan_id: int) -> HttpResponse:
    """Lay out again, perhaps by other rules; faces kept in place stay."""
    plan = _plan_of(request, plan_id)
    rolls = fitting_rolls(
        request.organisation,
        sheeting_type=plan.sheeting_type,
        optics=plan.optics,
        base_color=plan.base_color,
    )
    form = RulesForm(
        request.POST or None,
        rolls=rolls,
        left=rolls_left(rolls),
        picked=list(plan.rolls.order_by("pk").values_list("pk", flat=True)),
        initial=_rules_of(plan),
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                set_rules(plan=plan, rules=form.rules(), rolls=form.picked_rolls())
                start_solving(plan=plan, by=request.user)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                return redirect("layout-page", plan.pk)
    context = {
        "plan": plan,
        "form": form,
        "turns": find_turns(request.organisation, plan.sheeting_type, plan.optics),
    }
    return render(request, "inventory/layouts/layout_again.html", context, status=status)


@require_POST
@role_required(Role.SHOP)
def layout_faces(request: MemberRequest, plan_id: int) -> HttpResponse:
    """Do something with the faces that are ticked."""
    plan = _plan_of(request, plan_id)
    numbers = [int(each) for each in request.POST.getlist("faces") if each.isdecimal()]
    act = request.POST.get("act", "")
    try:
        words = _act(plan, act, numbers, request.POST.get("due_rank", ""))
    except InventoryError as error:
        return _show(request, plan, error=error)
    messages.success(request, words)
    return redirect("layout-page", plan.pk)


def _act(plan: LayoutPlan, act: str, numbers: list[int], rank: str) -> str:
    if act == "keep":
        count = keep_in_place(plan=plan, numbers=numbers)
        return f"{count} faces are kept where they lie."
    if act == "free":
        count = keep_in_place(plan=plan, numbers=numbers, is_kept=False)
        return f"{count} faces may be laid elsewhere again."
    if act == "out":
        count = leave_out(plan=plan, numbers=numbers)
        return f"{count} faces are left out. Lay out again to close the gaps."
    if act == "in":
        count = leave_out(plan=plan, numbers=numbers, is_out=False)
        return f"{count} faces are taken in again. Lay out again to give them a place."
    if act == "rank":
        if not (rank.isascii() and rank.isdecimal()):
            msg = f"'{rank}' is no urgency; write 1 (first) to 9 (last)."
            raise OutOfRangeError(msg)
        count = set_rank(plan=plan, numbers=numbers, due_rank=int(rank))
        return f"{count} faces have urgency {rank} now. Lay out again for it to count."
    msg = "Say what is to be done with the faces."
    raise OutOfRangeError(msg)


@require_POST
@role_required(Role.SHOP)
def layout_stop(request: MemberRequest, plan_id: int) -> HttpResponse:
    plan = _plan_of(request, plan_id)
    run = plan.runs.filter(finished_at__isnull=True).first()
    if run is not None:
        ask_to_stop(run=run)
    return redirect("layout-page", plan.pk)


@require_POST
@role_required(Role.SHOP)
def layout_freeze(request: MemberRequest, plan_id: int) -> HttpResponse:
    plan = _plan_of(request, plan_id)
    try:
        freeze_plan(plan=plan, by=request.user)
    except InventoryError as error:
        return _show(request, plan, error=error)
    messages.success(request, "The layout is frozen; it is what is printed.")
    return redirect("layout-page", plan.pk)


@require_POST
@role_required(Role.SHOP)
def layout_open(request: MemberRequest, plan_id: int) -> HttpResponse:
    """Take a freeze back."""
    plan = _plan_of(request, plan_id)
    try:
        take_freeze_back(plan=plan, reason=request.POST.get("reason", ""), by=request.user)
    except InventoryError as error:
        return _show(request, plan, error=error)
    messages.success(request, "The freeze is taken back; the layout can be changed.")
    return redirect("layout-page", plan.pk)


@require_POST
@role_required(Role.SHOP)
def layout_drop(request: MemberRequest, plan_id: int) -> HttpResponse:
    plan = _plan_of(request, plan_id)
    try:
        drop_plan(plan=plan, by=request.user)
    except InventoryError as error:
        return _show(request, plan, error=error)
    messages.success(request, "The layout is dropped.")
    return redirect("order-page", plan.order_id)


@require_safe
@role_required(Role.SHOP)
def layout_drawing_pdf(request: MemberRequest, plan_id: int) -> HttpResponseBase:
    plan = _plan_of(request, plan_id)
    stream = tempfile.SpooledTemporaryFile(max_size=KEPT_IN_MEMORY_BYTES)  # noqa: SIM115
    layout_pdf(
        stream,
        [drawing_of(view) for view in views_of(plan)],
        title=f"Order {plan.order.number}: layout {plan.pk}",
        author=str(plan.organisation),
        foot=f"Layout {plan.pk}, {plan.get_state_display()}, "
        f"{plan.organisation.clock_words(timezone.now())}",
    )
    stream.seek(0)
    name = f"layout-{plan.pk}.pdf"
    return FileResponse(stream, filename=name, content_type="application/pdf")


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def layout_run(request: MemberRequest, plan_id: int, number: int) -> HttpResponse:
    """Record the run that printed a load of a frozen layout."""
    plan = _plan_of(request, plan_id)
    load: PlanLoad = get_object_or_404(
        plan.loads.select_related("roll", "plan", "printed__layout"), number=number
    )
    form = LoadRunForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 400
        not_printed = [
            int(each) for each in request.POST.getlist("not_printed") if each.isdecimal()
        ]
        if form.is_valid():
            data = form.cleaned_data
            try:
                run = record_print_run(
                    order=plan.order,
                    press=plan.press,
                    started_at=data["started_at"],
                    finished_at=data["finished_at"],
                    roll_length_used_ft=data["roll_length_used_ft"],
                    note=data["note"],
                    operator=request.user,
                    load=load,
                    not_printed=not_printed,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"Run {run.run_number} is recorded.")
                return redirect("run-page", run.pk)
    faces = PlannedFace.objects.filter(load=load).select_related("line").order_by("number")
    context = {
        "plan": plan,
        "load": load,
        "form": form,
        "faces": faces,
        "ticked": set(request.POST.getlist("not_printed")),
        "local_types": local_types_of(plan.order.agency),
    }
    return render(request, "inventory/layouts/layout_run.html", context, status=status)


def drawing_of(view: LoadView) -> LayoutDrawing:
    """Return a load as it is drawn: along the roll from left to right."""
    load, figures = view.load, view.figures
    edge = (load.roll.width_in - load.usable_width_in) / 2
    return LayoutDrawing(
        title=f"{load.number}. {load.roll}, {load.roll.width_in:g} in wide",
        roll_width_in=load.roll.width_in,
        taken_in=load.taken_in,
        lead_in_in=load.plan.lead_in_in,
        tail_in=load.plan.tail_in,
        edge_in=edge,
        faces=tuple(
            DrawnFace(
                name=str(piece.face.number)
                + (f"{'ab'[piece.part - 1]}" if piece.parts == 2 else ""),
                words=f"{piece.face.line.sign_code}{piece.face.line.variant}, line "
                f"{piece.face.line.number}, {piece.face.line.width_in:g} × "
                f"{piece.face.line.height_in:g} in",
                corners=tuple((along, across) for across, along in piece.corners_in),
                is_kept=piece.is_pinned,
            )
            for piece in view.pieces
        ),
        cuts=tuple(_drawn(cut) for cut in figures.cuts),
        figures=(
            ("roll taken", f"{figures.taken_in / IN_PER_FT:.2f} ft"),
            ("left on it", f"{figures.left_in / IN_PER_FT:.1f} ft"),
            ("waste", f"{figures.waste_percent:.1f} %, {figures.waste_ft2:.1f} ft²"),
            ("faces take", f"{figures.length_in:.2f} in"),
            ("by area alone at least", f"{figures.area_bound_in:.2f} in"),
            ("proven at least", f"{figures.bound_in:.2f} in"),
        ),
    )


def _drawn(cut: Cut) -> DrawnCut:
    if cut.direction == "across":
        return DrawnCut((cut.at_in, cut.from_in), (cut.at_in, cut.to_in))
    return DrawnCut((cut.from_in, cut.at_in), (cut.to_in, cut.at_in))


def _show(
    request: MemberRequest, plan: LayoutPlan, error: InventoryError | None = None
) -> HttpResponse:
    views = views_of(plan)
    faces = plan.faces.select_related("line", "load__roll").order_by("number")
    drawings = [drawing_of(view) for view in views]
    context: dict[str, Any] = {
        "plan": plan,
        "run": _newest_run(plan),
        # The drawing is built by an XML library, which writes what is typed as text.
        "drawn": [
            (view, drawing, mark_safe(layout_svg(drawing)))  # noqa: S308
            for view, drawing in zip(views, drawings, strict=True)
        ],
        "laid_count": sum(len({p.face_id for p in view.pieces}) for view in views),
        "not_laid": faces.filter(load__isnull=True)[:FACES_PER_PAGE],
        "not_laid_count": faces.filter(load__isnull=True).count(),
        "page": page_of(request, faces, FACES_PER_PAGE),
        "estimate": estimate_of(plan.press, views),
        "costs": costs_of(plan, views),
        "taken_ft": sum(view.load.taken_in for view in views) / IN_PER_FT,
        "other_ft": None if plan.other_length_in is None else plan.other_length_in / IN_PER_FT,
        "error": error,
        "local_types": local_types_of(plan.order.agency),
    }
    return render(
        request,
        "inventory/layouts/layout_page.html",
        context,
        status=200 if error is None else 409,
    )


def _plan_of(request: MemberRequest, plan_id: int) -> LayoutPlan:
    rows = LayoutPlan.objects.owned_by(request.organisation).select_related(
        "order__agency", "order__shop", "press", "organisation", "frozen_by", "made_by"
    )
    plan: LayoutPlan = get_object_or_404(rows, pk=plan_id)
    return plan


def _newest_run(plan: LayoutPlan) -> dict[str, Any] | None:
    run = plan.runs.order_by("-started_at", "-pk").first()
    if run is None:
        return None
    is_unfinished = run.finished_at is None
    is_silent = is_unfinished and timezone.now() - run.seen_at > SILENT_FOR
    return {
        "is_open": is_unfinished and not is_silent,
        "is_silent": is_silent,
        "started_at": run.started_at,
        "words": run.words,
        "error": run.error,
    }


def _rules_of(plan: LayoutPlan) -> dict[str, Any]:
    return {
        "cutter": plan.cutter,
        "gap_in": plan.gap_in,
        "edge_margin_in": plan.edge_margin_in,
        "bleed_in": plan.bleed_in,
        "overlap_in": plan.overlap_in,
        "is_to_the_edge": plan.is_to_the_edge,
        "order_of_faces": IN_ORDER if plan.is_in_order else MIXED,
        "seconds": str(plan.seconds),
    }


def _last_rules(request: MemberRequest) -> dict[str, Any]:
    """Return the rules of the shop's last layout: they seldom change."""
    last = LayoutPlan.objects.owned_by(request.organisation).order_by("-made_at", "-pk").first()
    return _rules_of(last) if last is not None else {}
