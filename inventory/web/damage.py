"""Damage now: the list by its clock, a report, what was told at the desk, how it ended."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.engineering.assessment.due import read_damage_days
from inventory.engineering.standards.response_times import published_responses
from inventory.errors import InventoryError, UnlikelyError
from inventory.models import (
    DamageClosure,
    DamageReport,
    DamageStanding,
    Photo,
    Position,
    Role,
    Sign,
    WorkPackage,
)
from inventory.services.damage import (
    close_damage,
    correct_damage,
    others_open,
    reopen_damage,
    report_damage,
)
from inventory.services.damage_lists import (
    Clock,
    Order,
    Shown,
    clock_of,
    damage_list,
    packages_of,
)
from inventory.services.damage_packages import put_into_package
from inventory.services.damage_times import damage_times, set_damage_days
from inventory.services.nearby import find_signs
from inventory.services.ordering.stock_matching import fitting_stock
from inventory.services.people import has_role
from inventory.services.sign_faces import local_types_of
from inventory.services.standing import policy_or_none
from inventory.web.damage_forms import (
    CloseForm,
    CorrectForm,
    IntoPackageForm,
    ListForm,
    TimesForm,
    ToldForm,
    initial_of,
)
from inventory.web.errors import status_of
from inventory.web.filters import SAFETY_CLASSES
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.http import HttpResponse

    from inventory.models import PackageStop

MONTHS_SHOWN = 12
ROWS_PER_PAGE = 50
FOUND_PER_PAGE = 20
MOST_STOCK = 5
MOST_PHOTOS = 6
DRAFTS_OFFERED = 50


@dataclass(frozen=True)
class Line:
    """One report as the list shows it."""

    row: DamageStanding
    clock: Clock
    stops: Sequence[PackageStop]


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def list_page(request: MemberRequest) -> HttpResponse:
    today = timezone.localdate()
    form = ListForm(
        {"show": Shown.OPEN.value, "order": Order.PRESSING.value} | request.GET.dict()
    )
    chosen = form.cleaned_data if form.is_valid() else {}
    rows = damage_list(
        request.organisation,
        shown=Shown(chosen.get("show") or Shown.OPEN),
        order=Order(chosen.get("order") or Order.PRESSING),
        safety_class=int(chosen["safety_class"]) if chosen.get("safety_class") else None,
        today=today,
    )
    page = page_of(request, rows, ROWS_PER_PAGE)
    stops = packages_of(page)
    policy = policy_or_none(request.organisation, timezone.now())
    context = {
        "form": form,
        "is_narrowed": any(name in request.GET for name in form.fields),
        "page": page,
        "lines": [Line(each, clock_of(each, today), stops[each.position_id]) for each in page],
        "times": damage_times(
            request.organisation, since=_months_before(today, MONTHS_SHOWN - 1), today=today
        ),
        "classes": dict(SAFETY_CLASSES),
        "has_times_set": policy is not None and bool(read_damage_days(policy.damage_days)),
        "can_plan": _can_plan(request),
        "local_types": local_types_of(request.organisation),
    }
    status = 200 if form.is_valid() else 400
    return render(request, "inventory/damage/damage_list.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER, Role.CREW)
def new_page(request: MemberRequest) -> HttpResponse:
    """Find the place, then write down what was told; a refusal keeps what was typed."""
    position = _position_asked_for(request)
    words = request.GET.get("q", "").strip()
    context: dict[str, Any] = {
        "words": words,
        "position": position,
        "local_types": local_types_of(request.organisation),
    }
    if position is None:
        found = find_signs(organisation=request.organisation, text=words) if words else None
        context["page"] = page_of(request, found, FOUND_PER_PAGE) if found is not None else None
        return render(request, "inventory/damage/damage_find.html", context)
    now = timezone.localtime()
    form = ToldForm(
        request.POST or None,
        initial={"notified_on": now.date(), "notified_time": now.time()},
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                report = report_damage(
                    position=position,
                    told=form.told(),
                    by=request.user,
                    client_uuid=form.cleaned_data["client_uuid"],
                    is_confirmed=form.cleaned_data["is_confirmed"],
                )
            except InventoryError as error:
                form.is_unlikely = isinstance(error, UnlikelyError)
                status = int(form.refuse(error))
            else:
                messages.success(request, "Reported. Its clock runs.")
                return redirect("damage-page", report.pk)
    context |= {
        "form": form,
        "sign": Sign.objects.filter(position=position, state=Sign.State.INSTALLED)
        .prefetch_related("colour_areas")
        .first(),
        "open_here": [
            (each, clock_of(each, now.date()))
            for each in DamageStanding.objects.owned_by(request.organisation)
            .filter(position=position, is_open=True)
            .order_by("sort_on", "report")
        ],
    }
    return render(request, "inventory/damage/damage_new.html", context, status=status)


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def damage_page(request: MemberRequest, damage_id: int) -> HttpResponse:
    return _show(request, damage_id)


@require_POST
@role_required(Role.ENGINEER, Role.CREW)
def close(request: MemberRequest, damage_id: int) -> HttpResponse:
    report = _report(request, damage_id)
    form = CloseForm(request.POST, others=others_open(report))
    status = 400
    if form.is_valid():
        try:
            close_damage(report=report, by=request.user, **form.closing())
        except InventoryError as error:
            status = int(form.refuse(error))
        else:
            messages.success(request, "Closed.")
            return redirect("damage-page", damage_id)
    return _show(request, damage_id, status=status, close_form=form)


@require_POST
@role_required(Role.ENGINEER)
def reopen(request: MemberRequest, damage_id: int) -> HttpResponse:
    report = _report(request, damage_id)
    reason = request.POST.get("reason", "")
    try:
        reopen_damage(report=report, reason=reason, by=request.user)
    except InventoryError as error:
        return _show(
            request, damage_id, status=status_of(error), refusal=str(error), reason=reason
        )
    messages.success(request, "Open again; its clock runs on as before.")
    return redirect("damage-page", damage_id)


@require_POST
@role_required(Role.ENGINEER)
def into_package(request: MemberRequest, damage_id: int) -> HttpResponse:
    report = _report(request, damage_id)
    form = IntoPackageForm(request.POST, drafts=_drafts(request))
    status = 400
    if form.is_valid():
        try:
            package = put_into_package(report=report, by=request.user, **form.cleaned_data)
        except InventoryError as error:
            status = int(form.refuse(error))
        else:
            messages.success(request, f"It is in the work package '{package.title}'.")
            return redirect("package-page", package.pk)
    return _show(request, damage_id, status=status, package_form=form)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def correct(request: MemberRequest, damage_id: int) -> HttpResponse:
    """Write down the report anew as it should have been; the first one stays on record."""
    report = _report(request, damage_id)
    form = CorrectForm(request.POST or None, report=report, initial=initial_of(report))
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                corrected = correct_damage(
                    report=report,
                    told=form.told(),
                    reason=form.cleaned_data["reason"],
                    by=request.user,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "Corrected. The first report stays on record.")
                return redirect("damage-page", corrected.pk)
    context = {
        "report": report,
        "position": report.position,
        "sign": report.sign,
        "form": form,
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/damage/damage_correct.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def times_page(request: MemberRequest) -> HttpResponse:
    """Show and set within how many days damage is put right."""
    policy = policy_or_none(request.organisation, timezone.now())
    stated = policy.damage_days if policy is not None else {}
    form = TimesForm(
        request.POST or None,
        initial=TimesForm.initial_of(stated) | {"effective_on": timezone.localdate()},
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                set_damage_days(
                    agency=request.organisation,
                    days=form.days(),
                    effective_on=form.cleaned_data["effective_on"],
                    basis=form.cleaned_data["basis"],
                    by=request.user,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "The times are set; open damage goes by them.")
                return redirect("damage-list")
    context = {"form": form, "policy": policy, "published": published_responses()}
    return render(request, "inventory/damage/damage_times.html", context, status=status)


def _show(
    request: MemberRequest, damage_id: int, status: int = 200, **more: Any
) -> HttpResponse:
    report = _report(request, damage_id)
    row = (
        DamageStanding.objects.filter(report=report)
        .select_related("sign", "position__support__road")
        .first()
    )
    place = row.position if row is not None else report.position
    sign = row.sign if row is not None else report.sign
    is_open = row is not None and row.is_open
    others = others_open(report) if is_open else []
    context = {
        "report": report,
        "row": row,
        "clock": clock_of(row, timezone.localdate()) if row is not None else None,
        "class_words": dict(SAFETY_CLASSES)[row.safety_class] if row is not None else "",
        "place": place,
        "sign": sign,
        "correction": DamageReport.objects.filter(corrects=report).first(),
        "closures": DamageClosure.objects.filter(report=report)
        .select_related("done_by", "new_sign", "same_as", "reopening__reopened_by")
        .order_by("recorded_at", "pk"),
        "others": others,
        "photos": _photos_of(report),
        "can_plan": _can_plan(request),
        "local_types": local_types_of(request.organisation),
    }
    if row is not None and is_open:
        stock = fitting_stock(place, any_sheeting=True)
        today = timezone.localdate()
        context |= {
            "stock": stock[:MOST_STOCK],
            "stock_count": len(stock),
            "stops": packages_of([row])[place.pk],
            "close_form": CloseForm(others=others, initial={"done_on": today}),
            "package_form": IntoPackageForm(
                drafts=_drafts(request), initial={"work_on": today}
            ),
        }
    else:
        # Closed meanwhile: its forms are gone, what they would have said is not.
        context["refusal"] = " ".join(
            str(sentence)
            for form in (more.get("close_form"), more.get("package_form"))
            if form is not None
            for sentence in form.non_field_errors()
        )
    context |= more
    return render(request, "inventory/damage/damage_page.html", context, status=status)


def _photos_of(report: DamageReport) -> list[Photo]:
    """Return the photos of the visit it was seen on, also where the report was corrected."""
    seen = report
    while seen.observation is None and seen.corrects is not None:
        seen = seen.corrects
    if seen.observation is None:
        return []
    rows = Photo.objects.filter(inspection=seen.observation.inspection_id)
    return list(rows.order_by("pk")[:MOST_PHOTOS])


def _report(request: MemberRequest, damage_id: int) -> DamageReport:
    rows = DamageReport.objects.owned_by(request.organisation).select_related(
        "organisation",
        "position__support__road",
        "sign",
        "corrects",
        "entered_by",
        "observation",
    )
    found: DamageReport = get_object_or_404(rows, pk=damage_id)
    return found


def _position_asked_for(request: MemberRequest) -> Position | None:
    """Return the place that is named by its number, or by a sign that stands or stood there."""
    rows = Position.objects.owned_by(request.organisation).select_related(
        "organisation", "support__road"
    )
    place, sign = request.GET.get("position", ""), request.GET.get("sign", "")
    if place.isdecimal():
        found: Position = get_object_or_404(rows, pk=int(place))
        return found
    if sign.isdecimal():
        own = Sign.objects.owned_by(request.organisation).filter(position__isnull=False)
        of_sign: Position = get_object_or_404(
            rows, pk=get_object_or_404(own, pk=int(sign)).position_id
        )
        return of_sign
    return None


def _drafts(request: MemberRequest) -> Any:
    return (
        WorkPackage.objects.owned_by(request.organisation)
        .filter(state=WorkPackage.State.DRAFT)
        .order_by("-work_on", "-pk")
    )


def _can_plan(request: MemberRequest) -> bool:
    return has_role(request.membership, (Role.ENGINEER,))


def _months_before(day: date, months: int) -> date:
    """Return the first day of the month so many months before a day's."""
    number = day.year * 12 + day.month - 1 - months
    return date(number // 12, number % 12 + 1, 1)
