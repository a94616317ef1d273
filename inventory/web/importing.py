"""What became of each row of the lists that were taken in, and what a person has to settle."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.db.models import BooleanField, Count, ExpressionWrapper, Prefetch, Q
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from inventory.models import (
    ImportMissing,
    ImportRefusal,
    ImportRun,
    ImportSettlement,
    Role,
    Sign,
)
from inventory.services.importing import settle
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpResponse

SECTION_WORDS = (
    ("settle", "To settle"),
    ("refused", "Refused rows"),
    ("missing", "No longer in the list"),
)


@require_safe
@role_required(Role.ENGINEER)
def import_list(request: MemberRequest) -> HttpResponse:
    waiting = Count("settlements", filter=Q(settlements__outcome=ImportSettlement.Outcome.OPEN))
    runs = (
        ImportRun.objects.owned_by(request.organisation)
        .select_related("started_by")
        .annotate(waiting_count=waiting)
        .order_by("-started_at", "-pk")
    )
    return render(
        request, "inventory/importing/import_list.html", {"page": page_of(request, runs)}
    )


@require_safe
@role_required(Role.ENGINEER)
def import_page(request: MemberRequest, run_id: int) -> HttpResponse:
    run = get_object_or_404(
        ImportRun.objects.owned_by(request.organisation).select_related("started_by"),
        pk=run_id,
    )
    rows = {
        "settle": _settlements(request, run),
        "refused": ImportRefusal.objects.owned_by(request.organisation)
        .filter(run=run)
        .order_by("line"),
        "missing": ImportMissing.objects.owned_by(request.organisation)
        .filter(run=run)
        .select_related("record")
        .order_by("pk"),
    }
    counts = {name: found.count() for name, found in rows.items()}
    shown = request.GET.get("show", "")
    if shown not in rows:
        shown = next((name for name, count in counts.items() if count), "settle")
    context = {
        "run": run,
        "shown": shown,
        "sections": [(name, words, counts[name]) for name, words in SECTION_WORDS],
        "page": page_of(request, rows[shown]),
    }
    return render(request, "inventory/importing/import_page.html", context)


@require_POST
@role_required(Role.ENGINEER)
def settle_change(request: MemberRequest, run_id: int, settlement_id: int) -> HttpResponse:
    settlement = get_object_or_404(
        ImportSettlement.objects.owned_by(request.organisation).filter(run=run_id),
        pk=settlement_id,
    )
    settled = settle(
        settlement=settlement, outcome=request.POST.get("outcome", ""), by=request.user
    )
    messages.success(request, f"Settled: {settled.get_outcome_display()}.")
    return redirect("import-page", run_id)


def _settlements(request: MemberRequest, run: ImportRun) -> QuerySet[ImportSettlement]:
    installed = Sign.objects.filter(state=Sign.State.INSTALLED)
    is_open = Q(outcome=ImportSettlement.Outcome.OPEN)
    rows: QuerySet[ImportSettlement] = (
        ImportSettlement.objects.owned_by(request.organisation)
        .filter(run=run)
        .select_related("record", "settled_by")
        .prefetch_related(Prefetch("record__faces__position__signs", queryset=installed))
        .annotate(is_open=ExpressionWrapper(is_open, output_field=BooleanField()))
        .order_by("-is_open", "pk")
    )
    return rows
