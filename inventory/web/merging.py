"""Two records of one sign or of one support: side by side, put together, taken apart again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db.models import Count
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.engineering.places import distance_m
from inventory.errors import InventoryError
from inventory.models import Role, Sign, SignMerge, Support, SupportMerge
from inventory.services.merging import (
    merge_signs,
    merge_supports,
    undo_sign_merge,
    undo_support_merge,
)
from inventory.services.possible_duplicates import NEAR_M, neighbours_of
from inventory.services.sign_faces import local_types_of
from inventory.web.errors import status_of
from inventory.web.exchange import phone_tabs
from inventory.web.exchange_forms import ReasonForm
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpResponse

MERGES_PER_PAGE = 25


@require_safe
@role_required(Role.ENGINEER)
def same_sign(request: MemberRequest, sign_id: int) -> HttpResponse:
    """Show what stands near a sign, to say which of them is the same one."""
    sign = get_object_or_404(_signs(request), pk=sign_id)
    context = {
        "sign": sign,
        "neighbours": neighbours_of([sign], request.organisation)[sign.pk],
        "near_m": NEAR_M,
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/exchange/same_sign.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def merge_signs_page(request: MemberRequest, kept_id: int, duplicate_id: int) -> HttpResponse:
    kept = get_object_or_404(_signs(request), pk=kept_id)
    duplicate = get_object_or_404(_signs(request), pk=duplicate_id)
    form = ReasonForm(request.POST or None)
    status, is_done = _try(
        request,
        form,
        lambda why: merge_signs(kept=kept, duplicate=duplicate, reason=why, by=request.user),
    )
    if is_done:
        messages.success(
            request, f"Merged: what was recorded on sign {duplicate.pk} counts for this one."
        )
        return redirect("sign-page", kept.pk)
    supports = [each.position.support if each.position else None for each in (kept, duplicate)]
    context = {
        "kept": kept,
        "duplicate": duplicate,
        "form": form,
        "supports": supports,
        "apart_m": _apart_m(*supports),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/exchange/merge_signs.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def merge_supports_page(
    request: MemberRequest, kept_id: int, duplicate_id: int
) -> HttpResponse:
    supports = (
        Support.objects.owned_by(request.organisation)
        .select_related("road", "organisation")
        .prefetch_related("positions__signs__colour_areas")
    )
    kept = get_object_or_404(supports, pk=kept_id)
    duplicate = get_object_or_404(supports, pk=duplicate_id)
    form = ReasonForm(request.POST or None)
    status, is_done = _try(
        request,
        form,
        lambda why: merge_supports(kept=kept, duplicate=duplicate, reason=why, by=request.user),
    )
    if is_done:
        messages.success(request, "Merged: all signs of the two hang on one support now.")
        return redirect("merge-list")
    context = {
        "kept": kept,
        "duplicate": duplicate,
        "sides": [
            (heading, each, _standing_on(each))
            for heading, each in (("Kept", kept), ("Merged into it", duplicate))
        ],
        "form": form,
        "apart_m": _apart_m(kept, duplicate),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/exchange/merge_supports.html", context, status=status)


@require_safe
@role_required(Role.ENGINEER)
def merge_list(request: MemberRequest) -> HttpResponse:
    return _show_merges(request)


@require_POST
@role_required(Role.ENGINEER)
def undo_merge_of_signs(request: MemberRequest, merge_id: int) -> HttpResponse:
    merge = get_object_or_404(SignMerge.objects.owned_by(request.organisation), pk=merge_id)
    return _undo(
        request,
        merge.pk,
        lambda why: undo_sign_merge(merge=merge, reason=why, by=request.user),
        is_of_supports=False,
    )


@require_POST
@role_required(Role.ENGINEER)
def undo_merge_of_supports(request: MemberRequest, merge_id: int) -> HttpResponse:
    merge = get_object_or_404(SupportMerge.objects.owned_by(request.organisation), pk=merge_id)
    return _undo(
        request,
        merge.pk,
        lambda why: undo_support_merge(merge=merge, reason=why, by=request.user),
        is_of_supports=True,
    )


def _undo(
    request: MemberRequest,
    merge_id: int,
    step: Callable[[str], object],
    *,
    is_of_supports: bool,
) -> HttpResponse:
    reason = request.POST.get("reason", "")
    try:
        step(reason)
    except InventoryError as error:
        refused = {"merge_id": merge_id, "sentence": str(error), "reason": reason}
        return _show_merges(request, refused, status_of(error), is_of_supports=is_of_supports)
    messages.success(request, "Undone: the two are apart again, and each has its own.")
    answer = redirect("merge-list")
    if is_of_supports:
        answer["Location"] += "?show=supports"
    return answer


def _show_merges(
    request: MemberRequest,
    refused: dict[str, Any] | None = None,
    status: int = 200,
    *,
    is_of_supports: bool | None = None,
) -> HttpResponse:
    if is_of_supports is None:
        is_of_supports = request.GET.get("show") == "supports"
    model = SupportMerge if is_of_supports else SignMerge
    rows = (
        model.objects.owned_by(request.organisation)
        .select_related("kept", "duplicate", "merged_by", "undo__undone_by")
        .annotate(moved_count=Count("positions" if is_of_supports else "inspections"))
        .order_by("-merged_at", "-pk")
    )
    context = {
        "tabs": phone_tabs(request.organisation, "merge-list"),
        "page": page_of(request, rows, MERGES_PER_PAGE),
        "is_of_supports": is_of_supports,
        "refused": refused,
    }
    return render(request, "inventory/exchange/merge_list.html", context, status=status)


def _try(
    request: MemberRequest, form: ReasonForm, step: Callable[[str], object]
) -> tuple[int, bool]:
    """Take a step where a form was sent; return the page's status, and whether it was done."""
    if request.method != "POST":
        return 200, False
    if not form.is_valid():
        return 400, False
    try:
        step(form.cleaned_data["why"])
    except InventoryError as error:
        return int(form.refuse(error)), False
    return 302, True


def _signs(request: MemberRequest) -> Any:
    return (
        Sign.objects.owned_by(request.organisation)
        .select_related("position__support__road", "owner", "standing")
        .prefetch_related("colour_areas")
        .annotate(visit_count=Count("inspections", distinct=True))
    )


def _standing_on(support: Support) -> list[Sign]:
    return [
        sign
        for position in support.positions.all()
        for sign in position.signs.all()
        if sign.state == Sign.State.INSTALLED
    ]


def _apart_m(one: Support | None, other: Support | None) -> float | None:
    """Return how far two supports are apart; nothing where they are one or none."""
    if one is None or other is None or one == other:
        return None
    return float(
        distance_m(one.latitude_deg, one.longitude_deg, other.latitude_deg, other.longitude_deg)
    )
