"""Which lots lose faster, to the agency that reads them and the shop that made them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.db.models import Count, F
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from inventory.engineering.forecast.cohorts import CohortKey
from inventory.models import CohortFit, LotFinding, Organisation, Role, Sign, Standing
from inventory.services.forecast.lots import position_under_warranty, signs_of_finding
from inventory.services.marks import MARKS, mark_of
from inventory.services.sign_faces import local_types_of
from inventory.services.sign_map import extent
from inventory.web.form_fields import PickField, WordsField
from inventory.web.lot_plots import FindingWords, plot_of_page, plot_of_rivals
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.places import map_settings

if TYPE_CHECKING:
    from django.http import HttpResponse

LOTS_PER_PAGE = 25
SIGNS_PER_PAGE = 25
UNREAD_FIRST = "unread"
# What a shop may see of a face it made, as Sign.reader_columns has it.
SHOPS_COLUMNS = Sign.reader_columns["maker"]


class LotForm(forms.Form):
    """Which lots are listed."""

    kind = PickField(label="Kind", choices=LotFinding.Kind.choices, empty_words="any")
    name = WordsField(label="Name begins with", max_length=80)


@require_safe
@role_required(Role.ENGINEER, Role.SHOP)
def lot_list(request: MemberRequest) -> HttpResponse:
    form = LotForm(request.GET)
    every = LotFinding.objects.readable_by(request.organisation)
    rows = every.select_related("organisation", "maker")
    if form.is_valid():
        if form.cleaned_data["kind"]:
            rows = rows.filter(kind=form.cleaned_data["kind"])
        if form.cleaned_data["name"]:
            rows = rows.filter(name__istartswith=form.cleaned_data["name"])
    page = page_of(request, rows.order_by("-is_suspect", "q_value", "key", "pk"), LOTS_PER_PAGE)
    lines = [FindingWords(each) for each in page]
    context = {
        "form": form,
        "page": page,
        "lines": lines,
        "suspects": [each for each in lines if each.finding.is_suspect],
        "others": [each for each in lines if not each.finding.is_suspect],
        "plot": plot_of_page(lines) if lines else None,
        "suspect_count": every.filter(is_suspect=True).count(),
        "is_shop": _is_shop(request.organisation),
    }
    return render(request, "inventory/forecast/lot_list.html", context)


@require_safe
@role_required(Role.ENGINEER, Role.SHOP)
def lot_page(request: MemberRequest, finding_id: int) -> HttpResponse:
    readable = LotFinding.objects.readable_by(request.organisation)
    finding = get_object_or_404(readable.select_related("organisation", "maker"), pk=finding_id)
    words = FindingWords(finding)
    is_shop = _is_shop(request.organisation)
    rivals = readable.filter(organisation=finding.organisation_id, kind=finding.kind)
    context = {
        "finding": finding,
        "words": words,
        "plot": plot_of_rivals(words, rivals),
        "explained_by": readable.filter(
            organisation=finding.organisation_id,
            key=finding.detail.get("explained_by_key", ""),
        ).first(),
        "warranty": position_under_warranty(finding),
        "is_shop": is_shop,
        "local_types": local_types_of(finding.organisation),
        **(_faces(request, finding) if is_shop else _signs(request, finding)),
    }
    return render(request, "inventory/forecast/lot_page.html", context)


def _signs(request: MemberRequest, finding: LotFinding) -> dict[str, Any]:
    """Return where the installed signs of a lot are and how they stand, for their engineer."""
    rows = Standing.objects.owned_by(request.organisation).filter(
        sign__in=signs_of_finding(finding).order_by().values("pk")
    )
    unread_first = request.GET.get("order") == UNREAD_FIRST
    order = (
        (F("last_inspected_on").asc(nulls_first=True), "sign_id")
        if unread_first
        else (F("forecast_due_on").asc(nulls_last=True), "sign_id")
    )
    listed = rows.select_related("road", "sign__forecast").order_by(*order)
    fits = CohortFit.objects.owned_by(request.organisation).filter(
        succeeded_at__isnull=True, key__in=finding.detail.get("cohorts", ())
    )
    return {
        "cohorts": [
            (pk, CohortKey.read(key).words)
            for pk, key in fits.order_by("key").values_list("pk", "key")
        ],
        "page": page_of(request, listed, SIGNS_PER_PAGE),
        "unread_first": unread_first,
        "standing_counts": [
            (mark_of(verdict), count)
            for verdict, count in rows.order_by("verdict")
            .values_list("verdict")
            .annotate(count=Count("pk"))
        ],
        "map": map_settings(extent(rows)),
        "map_query": f"lot={finding.pk}",
        "marks": MARKS,
    }


def _faces(request: MemberRequest, finding: LotFinding) -> dict[str, Any]:
    """Return the faces of a lot that a shop made, with what it may know of them."""
    faces = (
        signs_of_finding(finding)
        .filter(maker=request.organisation)
        .order_by("-fabricated_on", "pk")
        .values("pk", *SHOPS_COLUMNS, "print_run__run_number")
    )
    return {"page": page_of(request, faces, SIGNS_PER_PAGE)}


def _is_shop(organisation: Organisation) -> bool:
    return organisation.kind == Organisation.Kind.SHOP
