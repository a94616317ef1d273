"""Flagged readings and refused entries: what waits for an engineer, settled in one go."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import InventoryError
from inventory.models import FlagSettlement, RefusedEntry, Role
from inventory.services.doubts import (
    certificate_covers,
    check_history,
    flag_groups,
    flags_of_group,
    still_doubted,
)
from inventory.services.flags import settle_flags
from inventory.services.refusals import settle_refused
from inventory.services.sign_faces import local_types_of
from inventory.web.errors import status_of
from inventory.web.exchange import phone_tabs
from inventory.web.form_fields import PickField, TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.http import HttpResponse

    from inventory.models import InspectionFlag
    from inventory.services.doubts import FlagGroup

Outcome = FlagSettlement.Outcome
READINGS_PER_PAGE = 100
LATER_CHECK = "a good check recorded since lies between"
LATER_CERTIFICATE = "the certificate now on record covers the day"


class SettleForm(TypedForm):
    """Which readings, whether they count, and why."""

    outcome = PickField(
        label="These readings",
        choices=[
            (Outcome.JUDGE.value, "count: judge them"),
            (Outcome.SET_ASIDE.value, "are set aside: keep them, do not judge them"),
        ],
        widget=forms.RadioSelect,
        missing="Say whether the readings count or are set aside.",
    )
    reason = WordsField(
        label="Why",
        max_length=255,
        help_text="Shown beside the verdict of each sign.",
        widget=forms.Textarea(attrs={"rows": 2}),
        missing="Say why; an auditor reads the reason beside the verdict.",
    )
    is_every = forms.BooleanField(required=False)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def readings_to_settle(request: MemberRequest) -> HttpResponse:
    groups = flag_groups(request.organisation)
    asked = request.GET.get("group", "")
    chosen = next((each for each in groups if each.key == asked), None)
    form = SettleForm(request.POST or None)
    ticked = [int(text) for text in request.POST.getlist("flags") if text.isdecimal()]
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            data = form.cleaned_data
            waiting = flags_of_group(request.organisation, asked)
            try:
                made = settle_flags(
                    flags=waiting if data["is_every"] else waiting.filter(pk__in=ticked),
                    outcome=data["outcome"],
                    reason=data["reason"],
                    by=request.user,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                settled = "1 visit is" if len(made) == 1 else f"{len(made)} visits are"
                messages.success(
                    request, f"The readings of {settled} settled and their signs judged anew."
                )
                return redirect("readings-to-settle")
    chosen = chosen or next(iter(groups), None)
    context: dict[str, Any] = {
        "groups": groups,
        "chosen": chosen,
        "form": form,
        "ticked": set(ticked),
        "local_types": local_types_of(request.organisation),
    }
    if chosen is not None:
        page = _page_of_group(request, chosen)
        context |= {"page": page, "rows": _with_remarks(chosen, page.object_list)}
    return render(request, "inventory/instruments/to_settle.html", context, status=status)


@require_safe
@role_required(Role.ENGINEER)
def refused_list(request: MemberRequest) -> HttpResponse:
    return _show_refused(request)


@require_POST
@role_required(Role.ENGINEER)
def settle_entry(request: MemberRequest, entry_id: int) -> HttpResponse:
    entry = get_object_or_404(RefusedEntry.objects.owned_by(request.organisation), pk=entry_id)
    reason = request.POST.get("reason", "")
    try:
        settle_refused(entry=entry, reason=reason, by=request.user)
    except InventoryError as error:
        refused = {"entry_id": entry.pk, "sentence": str(error), "reason": reason}
        return _show_refused(request, refused, status=status_of(error))
    messages.success(request, "Settled. What was sent stays on record.")
    return redirect("refused-list")


def _show_refused(
    request: MemberRequest, refused: dict[str, Any] | None = None, status: int = 200
) -> HttpResponse:
    every = RefusedEntry.objects.owned_by(request.organisation)
    is_settled = request.GET.get("show") == "settled"
    rows = every.filter(settled_at__isnull=not is_settled).select_related(
        "sent_by", "settled_by"
    )
    page = page_of(request, rows.order_by("-received_at", "-pk"))
    context = {
        "tabs": phone_tabs(request.organisation, "refused-list"),
        "page": page,
        "rows": [(entry, _as_sent(entry)) for entry in page.object_list],
        "is_settled": is_settled,
        "refused": refused,
    }
    return render(request, "inventory/inspection/refused_list.html", context, status=status)


def _as_sent(entry: RefusedEntry) -> str:
    """Return what was sent as text to read, nothing left out."""
    return json.dumps(entry.payload, indent=2, ensure_ascii=False)


def _page_of_group(request: MemberRequest, group: FlagGroup) -> Any:
    rows = (
        flags_of_group(request.organisation, group.key)
        .select_related(
            "inspection__sign__position__support__road",
            "inspection__instrument__organisation",
            "inspection__inspector",
        )
        .prefetch_related("inspection__reading_sets__readings")
    )
    return page_of(request, rows, READINGS_PER_PAGE)


def _with_remarks(
    group: FlagGroup, flags: Sequence[InspectionFlag]
) -> list[tuple[InspectionFlag, str]]:
    """Return the flags, each with what has come on record since that speaks for the reading."""
    if group.check is not None:
        history = check_history(group.check.instrument)
        return [(flag, "" if still_doubted(flag, history) else LATER_CHECK) for flag in flags]
    covered = certificate_covers([flag.inspection for flag in flags])
    return [
        (flag, LATER_CERTIFICATE if flag.inspection_id in covered else "") for flag in flags
    ]
