"""What crews say is wrong on record, and the signs they added: looked at and settled."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from inventory.errors import InventoryError
from inventory.models import Role, WrongDataFlag
from inventory.services.possible_duplicates import NEAR_M, neighbours_of
from inventory.services.sign_faces import local_types_of
from inventory.services.wrong_data import open_added, open_wrong_data, settle_wrong_data
from inventory.web.errors import status_of
from inventory.web.exchange import phone_tabs
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse

ADDED_PER_PAGE = 20
FLAGS_PER_PAGE = 25
NEIGHBOURS_SHOWN = 4  # those of the same code come first


@require_safe
@role_required(Role.ENGINEER)
def wrong_data(request: MemberRequest) -> HttpResponse:
    return _show_wrong(request)


@require_safe
@role_required(Role.ENGINEER)
def added_signs(request: MemberRequest) -> HttpResponse:
    return _show_added(request)


@require_POST
@role_required(Role.ENGINEER)
def settle_flag(request: MemberRequest, flag_id: int) -> HttpResponse:
    flag = get_object_or_404(WrongDataFlag.objects.owned_by(request.organisation), pk=flag_id)
    reason = request.POST.get("reason", "")
    is_added = flag.field == WrongDataFlag.Field.ADDED
    try:
        settle_wrong_data(flag=flag, reason=reason, by=request.user)
    except InventoryError as error:
        refused = {"flag_id": flag.pk, "sentence": str(error), "reason": reason}
        show = _show_added if is_added else _show_wrong
        return show(request, refused, status_of(error))
    messages.success(request, "Settled. What the crew said stays on record.")
    return redirect("added-signs" if is_added else "wrong-data")


def _show_wrong(
    request: MemberRequest, refused: dict[str, Any] | None = None, status: int = 200
) -> HttpResponse:
    is_settled = request.GET.get("show") == "settled"
    rows = (
        WrongDataFlag.objects.owned_by(request.organisation)
        .filter(settlement__isnull=False)
        .exclude(field=WrongDataFlag.Field.ADDED)
        .order_by("-recorded_at", "-pk")
        if is_settled
        else open_wrong_data(request.organisation)
    )
    rows = rows.select_related(
        "sign__position__support__road", "raised_by", "settlement__settled_by"
    )
    context = {
        "tabs": phone_tabs(request.organisation, "wrong-data"),
        "page": page_of(request, rows.prefetch_related("sign__colour_areas"), FLAGS_PER_PAGE),
        "is_settled": is_settled,
        "refused": refused,
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/exchange/wrong_data.html", context, status=status)


def _show_added(
    request: MemberRequest, refused: dict[str, Any] | None = None, status: int = 200
) -> HttpResponse:
    rows = open_added(request.organisation).select_related(
        "sign__position__support__road", "raised_by"
    )
    page = page_of(request, rows.prefetch_related("sign__colour_areas"), ADDED_PER_PAGE)
    flags = list(page.object_list)
    near = neighbours_of([flag.sign for flag in flags], request.organisation)
    context = {
        "tabs": phone_tabs(request.organisation, "added-signs"),
        "page": page,
        "rows": [
            (
                flag,
                near[flag.sign_id][:NEIGHBOURS_SHOWN],
                max(0, len(near[flag.sign_id]) - NEIGHBOURS_SHOWN),
            )
            for flag in flags
        ],
        "near_m": NEAR_M,
        "refused": refused,
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/exchange/added_signs.html", context, status=status)
