"""Crew days of a programme year: asked for, looked at, made into work packages."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db.models import Count, Q
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from inventory.engineering.programme.tour_parts import clock_words
from inventory.errors import InventoryError, OutOfRangeError, StateConflictError
from inventory.models import (
    CrewPlan,
    PlannedDay,
    PlannedStop,
    Programme,
    Role,
    Standing,
    WorkPackage,
)
from inventory.services.crews import crews_of
from inventory.services.programme.crew_days import (
    SILENT_FOR,
    give_up,
    newest_plan,
    start_planning,
)
from inventory.services.programme.crew_days_asked import CrewDaysAsked
from inventory.services.programme.crew_packages import (
    day_words,
    make_packages,
    packages_of,
    withdraw_packages,
)
from inventory.services.programme.crew_work import drafts_of
from inventory.services.programme.material import material_of
from inventory.services.programme.pool import NEW_FACE_TASKS, State, counts_of
from inventory.services.sign_faces import local_types_of
from inventory.web.crew_day_map import TourLine, tour_map
from inventory.web.crew_forms import CrewDaysForm
from inventory.web.crew_words import hours_words
from inventory.web.errors import status_of
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.programmes import check_year, programme_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from inventory.models import Crew

DAYS_PER_PAGE = 20
LEFT_OUT_PER_PAGE = 50
DRAFTS_SHOWN = 50
STATE_WORDS = {
    State.TO_DO: "to do",
    State.NOT_DONE: "not done, to do again",
    State.IN_PACKAGE: "in packages",
    State.SAID_DONE: "said to be done, no new face on record",
    State.DONE: "done",
}


@dataclass(frozen=True)
class DayRow:
    """A crew day as the list shows it."""

    day: PlannedDay
    when: str
    leaves: str
    back: str
    hours: str
    stops: int
    faces: int
    missing: int


@dataclass(frozen=True)
class StopRow:
    """A stop of a crew day, or one on no day, with how its sign stands."""

    stop: PlannedStop
    standing: Standing | None
    arrives: str

    @property
    def position(self) -> Any:
        """Return where it is."""
        return self.stop.position


@require_safe
@role_required(Role.ENGINEER)
def crew_days(request: MemberRequest, programme_id: int, year: int) -> HttpResponse:
    programme = _programme(request, programme_id, year)
    return _show(request, programme, year)


@require_POST
@role_required(Role.ENGINEER)
def crew_days_plan(request: MemberRequest, programme_id: int, year: int) -> HttpResponse:
    """Begin to plan crew days, in a process of its own."""
    programme = _programme(request, programme_id, year)
    form = _form(request, programme, year, request.POST)
    if not form.is_valid():
        return _show(request, programme, year, status=400, form=form)
    try:
        start_planning(
            programme=programme,
            year=year,
            first_on=form.cleaned_data["first_on"],
            last_on=form.cleaned_data["last_on"],
            asked=form.asked,
            by=request.user,
        )
    except InventoryError as error:
        status = int(form.refuse(error))
        # Where no form is shown, since there is nothing to plan for, it is said at the head.
        is_shown = programme.state == Programme.State.ADOPTED
        refusal = "" if is_shown else str(error)
        return _show(request, programme, year, status=status, form=form, refusal=refusal)
    return redirect("crew-days", programme.pk, year)


@require_POST
@role_required(Role.ENGINEER)
def crew_days_step(request: MemberRequest, programme_id: int, year: int) -> HttpResponse:
    """Make packages of the crew days one looked at, or give their planning up."""
    programme = _programme(request, programme_id, year)
    step, text = request.POST.get("step", ""), request.POST.get("plan", "")
    rows = CrewPlan.objects.filter(programme=programme, year=year)
    plan = rows.filter(pk=int(text)).first() if text.isdecimal() else None
    try:
        if step not in ("hand-out", "make", "withdraw", "give-up"):
            msg = f"'{step}' is nothing that is done with crew days; use the buttons."
            raise OutOfRangeError(msg)
        if plan is None:
            msg = (
                "The crew days you looked at were planned anew meanwhile and are gone; look "
                "at the new ones below."
            )
            raise StateConflictError(msg)
        if step == "give-up":
            give_up(plan=plan)
            messages.success(request, "Given up: nothing of it is kept.")
            return redirect("crew-days", programme.pk, year)
        if step == "withdraw":
            count, begun = withdraw_packages(plan=plan, by=request.user)
            stay = f"; {begun} stay, since their crews have begun" if begun else ""
            messages.success(request, f"Withdrawn: {count}{stay}. Their work is to do again.")
            return redirect("crew-days", programme.pk, year)
        made = make_packages(plan=plan, is_handed_out=step == "hand-out", by=request.user)
    except InventoryError as error:
        return _show(request, programme, year, status=int(status_of(error)), refusal=str(error))
    words = "handed out" if step == "hand-out" else "made; they are still at the desk"
    plural = "packages are" if len(made) > 1 else "package is"
    messages.success(request, f"{len(made)} {plural} {words}.")
    return redirect("crew-days", programme.pk, year)


@require_safe
@role_required(Role.ENGINEER)
def crew_days_progress(request: MemberRequest, programme_id: int, year: int) -> JsonResponse:
    """Say how far the planning is, for the page's script."""
    plan = newest_plan(programme=_programme(request, programme_id, year), year=year)
    is_open = plan is not None and _is_running(plan)
    answer = JsonResponse({"is_open": is_open, "words": plan.words if plan else ""})
    answer["Cache-Control"] = "no-store"
    return answer


@require_safe
@role_required(Role.ENGINEER)
def crew_day_page(
    request: MemberRequest, programme_id: int, year: int, number: int
) -> HttpResponse:
    """Show one crew day: its stops in order, what to bring, and a map."""
    programme = _programme(request, programme_id, year)
    plan = _ready_plan(programme, year)
    rows = PlannedDay.objects.filter(plan=plan).select_related("crew", "package")
    day: PlannedDay = get_object_or_404(rows, number=number)
    stops = list(
        day.stops.select_related("position__support__road", "face", "planned").order_by(
            "number"
        )
    )
    line = TourLine("", _depot(day.crew), [_place(each) for each in stops])
    context = {
        "programme": programme,
        "year": year,
        "day": _day_row(day, stops),
        "rows": _stop_rows(stops),
        "material": material_of(stops),
        "map": tour_map(request.organisation, [line], with_numbers=True),
        "last": plan.days.count(),
        "can_plan": True,
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/programme/crew_day_page.html", context)


@require_safe
@role_required(Role.ENGINEER)
def crew_days_left(request: MemberRequest, programme_id: int, year: int) -> HttpResponse:
    """Show what is on no crew day, each with its reason."""
    programme = _programme(request, programme_id, year)
    plan = _ready_plan(programme, year)
    rows = PlannedStop.objects.filter(plan=plan, day__isnull=True).select_related(
        "position__support__road", "planned"
    )
    reason = request.GET.get("reason", "")
    if reason:
        rows = rows.filter(reason=reason)
    page = page_of(request, rows.order_by("pk"), LEFT_OUT_PER_PAGE)
    context = {
        "programme": programme,
        "year": year,
        "plan": plan,
        "page": page,
        "rows": _stop_rows(list(page)),
        "reasons": plan.result.get("reasons", {}),
        "reason": reason,
        "can_plan": True,
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/programme/crew_days_left.html", context)


def _show(
    request: MemberRequest, programme: Programme, year: int, status: int = 200, **more: Any
) -> HttpResponse:
    plan = newest_plan(programme=programme, year=year)
    is_running = plan is not None and _is_running(plan)
    is_ready = plan is not None and plan.finished_at is not None and not plan.error
    days = PlannedDay.objects.filter(plan=plan).select_related("crew", "package")
    days = days.annotate(
        stop_count=Count("stops"),
        face_count=Count("stops", filter=Q(stops__task__in=NEW_FACE_TASKS)),
        stock_count=Count("stops", filter=Q(stops__face__isnull=False)),
    )
    page = page_of(request, days.order_by("number"), DAYS_PER_PAGE)
    shown = list(page) if is_ready else []
    counts = counts_of(programme=programme, year=year)
    context: dict[str, Any] = {
        "programme": programme,
        "year": year,
        "plan": plan,
        "is_running": is_running,
        "is_silent": plan is not None and plan.finished_at is None and not is_running,
        "is_ready": is_ready,
        "result": plan.result if plan and is_ready else None,
        "hours": hours_words(plan.result.get("minutes", 0)) if plan and is_ready else "",
        "assumed": _assumed(plan) if plan and is_ready else [],
        "page": page,
        "rows": [
            _row(each, each.stop_count, each.face_count, each.stock_count) for each in shown
        ],
        "map": tour_map(request.organisation, _lines(shown)) if shown else None,
        "states": [
            (state.value, words, counts[state])
            for state, words in STATE_WORDS.items()
            if counts[state]
        ],
        "open_packages": _open_packages(plan),
        "can_go_out": programme.state == Programme.State.ADOPTED,
        **more,
    }
    if "form" not in context:
        context["form"] = _form(request, programme, year, None)
    context["has_crews"] = bool(context["form"].fields["crews"].choices)
    return render(request, "inventory/programme/crew_days.html", context, status=status)


def _open_packages(plan: CrewPlan | None) -> int:
    """Return how many packages made of a plan are not closed."""
    if plan is None or plan.packages_made_at is None:
        return 0
    return packages_of(plan).exclude(state=WorkPackage.State.CLOSED).count()


def _form(request: MemberRequest, programme: Programme, year: int, typed: Any) -> CrewDaysForm:
    crews = list(crews_of(request.organisation))
    drafts = list(drafts_of(request.organisation).annotate(count=Count("stops"))[:DRAFTS_SHOWN])
    today = timezone.localdate()
    first_on = max(date(year, 1, 1), today)
    last_on = date(year, 12, 31)
    if first_on <= last_on:
        last_on = min(last_on, first_on + timedelta(days=30))
    return CrewDaysForm(
        typed,
        crews=crews,
        drafts=drafts,
        drafts_words={
            each.pk: f"{each.title}, {each.work_on:%Y-%m-%d} ({each.count} stops)"
            for each in drafts
        },
        initial=CrewDaysForm.initial_of(crews, first_on, last_on),
    )


def _programme(request: MemberRequest, programme_id: int, year: int) -> Programme:
    programme = programme_of(request, programme_id)
    if not year:
        msg = "Crew days are of a year of the programme; open them from that year's page."
        raise OutOfRangeError(msg)
    check_year(programme, year)
    return programme


def _ready_plan(programme: Programme, year: int) -> CrewPlan:
    plan = newest_plan(programme=programme, year=year)
    if plan is None or plan.finished_at is None or plan.error:
        msg = "There are no crew days of this year to look at."
        raise Http404(msg)
    return plan


def _is_running(plan: CrewPlan) -> bool:
    return plan.finished_at is None and timezone.now() - plan.seen_at <= SILENT_FOR


def _day_row(day: PlannedDay, stops: Sequence[PlannedStop]) -> DayRow:
    faces = [each for each in stops if each.task in NEW_FACE_TASKS]
    in_stock = sum(each.face_id is not None for each in faces)
    return _row(day, len(stops), len(faces), in_stock)


def _row(day: PlannedDay, stops: int, faces: int, in_stock: int) -> DayRow:
    return DayRow(
        day,
        day_words(day.work_on),
        clock_words(day.leave_minute),
        clock_words(day.leave_minute + day.minutes),
        hours_words(day.minutes),
        stops,
        faces,
        faces - in_stock,
    )


def _stop_rows(stops: Iterable[PlannedStop]) -> list[StopRow]:
    some = list(stops)
    rows = Standing.objects.filter(sign__position__in=[each.position_id for each in some])
    standings = {each.sign.position_id: each for each in rows.select_related("sign")}
    return [
        StopRow(
            each,
            standings.get(each.position_id),
            "" if each.arrive_minute is None else clock_words(each.arrive_minute),
        )
        for each in some
    ]


def _lines(days: Sequence[PlannedDay]) -> list[TourLine]:
    """Return the ways of some days, in one query."""
    places: dict[int, list[tuple[float, float]]] = {each.pk: [] for each in days}
    rows = PlannedStop.objects.filter(day__in=days).order_by("day", "number")
    support = "position__support__"
    columns = ("day", f"{support}latitude_deg", f"{support}longitude_deg")
    for day, latitude, longitude in rows.values_list(*columns):
        places[day].append((latitude, longitude))
    return [TourLine(str(each.number), _depot(each.crew), places[each.pk]) for each in days]


def _depot(crew: Crew) -> tuple[float, float]:
    return crew.depot_latitude_deg, crew.depot_longitude_deg


def _place(stop: PlannedStop) -> tuple[float, float]:
    support = stop.position.support
    return support.latitude_deg, support.longitude_deg


def _assumed(plan: CrewPlan) -> list[str]:
    """Return what the times rest on, in sentences."""
    result, asked = plan.result, CrewDaysAsked.of_json(plan.asked)
    unknown = result.get("unknown_sizes", 0)
    by_day, by_night = (
        [clock_words(each) for each in some] for some in (asked.by_day, asked.by_night)
    )
    sentences = [
        f"A way is the straight line times {result.get('detour_factor', 1):g}, driven at "
        f"{result.get('speed_mi_per_h', 0):g} mi/h; no road map is asked.",
        f"Work begins from {by_day[0]} to {by_day[1]}; looks by night from {by_night[0]} to "
        f"{by_night[1]}.",
        "Repairing and taking down a face are taken to last as long as changing one.",
    ]
    if unknown:
        sentences.append(
            f"{unknown} faces without a size on record are reckoned as 30 × 30 in."
        )
    return sentences
