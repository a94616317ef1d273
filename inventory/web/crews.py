"""Crews of an agency: the list, and each with when it works and what it has to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.contrib import messages
from django.db.models import Count, Q
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import InventoryError
from inventory.models import Crew, Role, WorkPackage
from inventory.services.crews import (
    MINUTES_A_DAY,
    WEEKDAYS,
    add_crew,
    change_crew,
    crews_of,
    set_active,
)
from inventory.services.work_packages import crew_members
from inventory.web.crew_forms import CrewForm, clock
from inventory.web.errors import status_of
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse

CREWS_PER_PAGE = 50
SHORT = {words: words[:3] for words in WEEKDAYS}


@dataclass(frozen=True)
class CrewWords:
    """When a crew works and what it can do, in words."""

    days: str
    shift: str
    skills: str

    @classmethod
    def of(cls, crew: Crew) -> CrewWords:
        """Return the words of a crew."""
        numbers = [int(each) for each in crew.weekdays]
        days = [SHORT[WEEKDAYS[number - 1]] for number in numbers]
        is_run = len(numbers) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1))
        ends = crew.day_starts_minute + crew.shift_minutes
        next_day = " the next day" if ends >= MINUTES_A_DAY else ""
        labels = [str(Crew.Skill(each).label) for each in crew.skills if each in Crew.Skill]
        return cls(
            f"{days[0]} to {days[-1]}" if is_run else ", ".join(days),
            f"{clock(crew.day_starts_minute)} to {clock(ends)}{next_day}",
            ", ".join(labels),
        )


@require_safe
@role_required(Role.ENGINEER)
def crew_list(request: MemberRequest) -> HttpResponse:
    rows = crews_of(request.organisation, active_only=False).select_related("person")
    rows = rows.annotate(
        open_packages=Count(
            "packages",
            filter=~Q(packages__state=WorkPackage.State.CLOSED) & Q(packages__isnull=False),
        )
    ).order_by("-is_active", "name", "pk")
    page = page_of(request, rows, CREWS_PER_PAGE)
    context = {"page": page, "rows": [(each, CrewWords.of(each)) for each in page]}
    return render(request, "inventory/programme/crew_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def crew_new(request: MemberRequest) -> HttpResponse:
    return _form_page(request, None)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def crew_page(request: MemberRequest, crew_id: int) -> HttpResponse:
    return _form_page(request, _crew(request, crew_id))


@require_POST
@role_required(Role.ENGINEER)
def crew_step(request: MemberRequest, crew_id: int) -> HttpResponse:
    """Take a crew out of planning, or back into it."""
    crew = _crew(request, crew_id)
    is_active = request.POST.get("step") == "back"
    try:
        set_active(crew=crew, is_active=is_active, by=request.user)
    except InventoryError as error:
        return _form_page(request, crew, status=int(status_of(error)), refusal=str(error))
    words = "goes out again" if is_active else "goes out no more; its packages stay"
    messages.success(request, f"'{crew}' {words}.")
    return redirect("crew-list")


def _form_page(
    request: MemberRequest, crew: Crew | None, status: int = 200, refusal: str = ""
) -> HttpResponse:
    people = crew_members(request.organisation)
    form = CrewForm(initial=CrewForm.initial_of(crew), people=people)
    if request.method == "POST" and not refusal:
        form, status = CrewForm(request.POST, people=people), 400
        if form.is_valid():
            try:
                saved = _save(request, crew, form)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"'{saved}' is saved.")
                return redirect("crew-list")
    context = {"crew": crew, "form": form, "refusal": refusal}
    return render(request, "inventory/programme/crew_page.html", context, status=status)


def _save(request: MemberRequest, crew: Crew | None, form: CrewForm) -> Crew:
    if crew is None:
        return add_crew(organisation=request.organisation, by=request.user, **form.crew_fields)
    return change_crew(crew=crew, by=request.user, **form.crew_fields)


def _crew(request: MemberRequest, crew_id: int) -> Crew:
    rows = Crew.objects.owned_by(request.organisation)
    found: Crew = get_object_or_404(rows.select_related("person"), pk=crew_id)
    return found
