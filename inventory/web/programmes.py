"""Replacement programmes: the list, what one leaves and costs, and a year of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.db.models import Count, Q
from django.http import JsonResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.errors import OutOfRangeError
from inventory.models import PlannedReplacement, Programme, Road, Role, Standing
from inventory.services.programme.pool import State, in_state, state_of, with_state
from inventory.services.programme.work_bases import find_work_basis
from inventory.services.sign_faces import local_types_of
from inventory.web.form_fields import PickField, RowField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.programme_forms import CLASS_WORDS
from inventory.web.programme_progress import newest_run
from inventory.web.programme_result import ResultWords, span_words

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpResponse

    from inventory.models import Organisation, ScopedQuerySet

PROGRAMMES_PER_PAGE = 20
NO_YEAR = 0  # in the address: in none of the programme's years
OTHERS_SHOWN = 20


class YearFilter(forms.Form):
    """Which of a year's replacements are listed."""

    safety_class = PickField(
        label="Class",
        choices=[(str(number), f"{number}: {words}") for number, words in CLASS_WORDS.items()],
        empty_words="every class",
    )
    road = RowField(label="Road", queryset=Road.objects.none(), empty_label="every road")
    locked = PickField(
        label="Locked", choices=[("yes", "locked ones")], empty_words="locked or not"
    )
    state = PickField(label="State", choices=State.choices, empty_words="in every state")

    def __init__(self, *args: Any, agency: Organisation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        road: Any = self.fields["road"]
        road.queryset = Road.objects.owned_by(agency).order_by("name", "pk")


@require_safe
@role_required(Role.ENGINEER)
def programme_list(request: MemberRequest) -> HttpResponse:
    rows = programmes_of(request).select_related("made_by", "work_basis")
    rows = rows.order_by("-made_at", "-pk")
    page = page_of(request, rows, PROGRAMMES_PER_PAGE)
    context = {
        "page": page,
        "lines": [(each, span_words(each), ResultWords.of(each)) for each in page],
        "basis": find_work_basis(request.organisation, timezone.localdate()),
    }
    return render(request, "inventory/programme/programme_list.html", context)


@require_safe
@role_required(Role.ENGINEER)
def programme_page(request: MemberRequest, programme_id: int) -> HttpResponse:
    return show_programme(request, programme_of(request, programme_id))


@require_safe
@role_required(Role.ENGINEER)
def programme_progress(request: MemberRequest, programme_id: int) -> JsonResponse:
    """Say how far the choosing of years is, for the page's script."""
    run = newest_run(programme_of(request, programme_id), timezone.now())
    is_open = run is not None and run.is_open
    answer = JsonResponse({"is_open": is_open, "words": run.words if run else ""})
    answer["Cache-Control"] = "no-store"
    return answer


def show_programme(
    request: MemberRequest, programme: Programme, status: int = 200, **more: Any
) -> HttpResponse:
    """Show what a programme leaves, what it takes, and what stands beside it."""
    result = ResultWords.of(programme)
    counts = PlannedReplacement.objects.filter(programme=programme).aggregate(
        locked=Count("pk", filter=Q(is_locked=True)),
        unplanned=Count("pk", filter=Q(year=None)),
    )
    missed = replacements_of(programme).filter(position__in=result.missed if result else [])
    context: dict[str, Any] = {
        "programme": programme,
        "span": span_words(programme),
        "result": result,
        "run": newest_run(programme, timezone.now()),
        "counts": counts,
        "work_year": _work_year(programme),
        "page": page_of(request, missed.order_by("must_by_year", "safety_class", "position")),
        "others": programmes_of(request)
        .exclude(pk=programme.pk)
        .exclude(solved_at=None)
        .order_by("-made_at", "-pk")[:OTHERS_SHOWN],
        **more,
    }
    return render(request, "inventory/programme/programme_page.html", context, status=status)


def _work_year(programme: Programme) -> int | None:
    """Return the year whose work comes next of the programme the agency works by."""
    year = max(programme.first_year, timezone.localdate().year)
    is_over = year >= programme.first_year + programme.years
    is_adopted = programme.state == Programme.State.ADOPTED
    return year if is_adopted and not is_over else None


@require_safe
@role_required(Role.ENGINEER)
def programme_year(request: MemberRequest, programme_id: int, year: int) -> HttpResponse:
    return show_year(request, programme_of(request, programme_id), year)


def show_year(
    request: MemberRequest, programme: Programme, year: int, status: int = 200, **more: Any
) -> HttpResponse:
    """Show what is replaced in a year of a programme, or in none of its years."""
    check_year(programme, year)
    chosen = YearFilter(request.GET, agency=request.organisation)
    rows = with_state(replacements_of(programme).filter(year=year or None))
    if chosen.is_valid():
        fields = chosen.cleaned_data
        if fields["safety_class"]:
            rows = rows.filter(safety_class=int(fields["safety_class"]))
        if fields["road"]:
            rows = rows.filter(position__support__road=fields["road"])
        if fields["locked"]:
            rows = rows.filter(is_locked=True)
        if fields["state"]:
            rows = in_state(rows, fields["state"])
    page = page_of(request, rows.order_by("safety_class", "position"))
    standings = {
        each.sign_id: each
        for each in Standing.objects.filter(sign__in=[row.sign_id for row in page])
    }
    context: dict[str, Any] = {
        "programme": programme,
        "year": year,
        "years": years_of(programme),
        "filter": chosen,
        "page": page,
        "rows": [
            {
                "planned": each,
                "state": state_of(each) if year else None,
                "position": each.position,
                "standing": standings.get(each.sign_id),
            }
            for each in page
        ],
        "can_plan": True,
        "can_change": programme.state == Programme.State.DRAFT,
        "local_types": local_types_of(request.organisation),
        **more,
    }
    return render(request, "inventory/programme/programme_year.html", context, status=status)


def programmes_of(request: MemberRequest) -> QuerySet[Programme]:
    """Return the programmes of the agency one acts for."""
    rows: QuerySet[Programme] = Programme.objects.owned_by(request.organisation)
    return rows


def programme_of(request: MemberRequest, programme_id: int) -> Programme:
    """Return one programme of the agency, or answer that there is none."""
    rows = programmes_of(request).select_related("work_basis", "made_by", "began_from")
    found: Programme = get_object_or_404(rows, pk=programme_id)
    return found


def replacements_of(programme: Programme) -> ScopedQuerySet:
    """Return what a programme says of its positions, with where they are."""
    rows: ScopedQuerySet = PlannedReplacement.objects.filter(programme=programme)
    return rows.select_related("position__support__road")


def years_of(programme: Programme) -> list[int]:
    """Return the calendar years of a programme."""
    return list(range(programme.first_year, programme.first_year + programme.years))


def check_year(programme: Programme, year: int) -> None:
    """Refuse a year that the programme does not have."""
    if year != NO_YEAR and year not in years_of(programme):
        last = programme.first_year + programme.years - 1
        msg = (
            f"{programme.name} has no year {year}; it runs from {programme.first_year} to "
            f"{last}. Pick one of these."
        )
        raise OutOfRangeError(msg)
