"""Work packages: choosing stops, their order, handing out, and what the crew said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.contrib import messages
from django.db.models import Sum
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.engineering.programme.tour_parts import clock_words
from inventory.errors import InventoryError
from inventory.models import (
    PackageStop,
    Position,
    Role,
    Standing,
    StopResult,
    User,
    WorkPackage,
)
from inventory.services.field.basics import NOT_DONE_REASONS
from inventory.services.people import has_role
from inventory.services.programme.material import material_of
from inventory.services.sign_faces import local_types_of
from inventory.services.work_packages import (
    MOST_STOPS,
    WantedStop,
    add_stops,
    close_package,
    crew_members,
    hand_out,
    left_over,
    make_package,
    progress_of,
    record_stop,
    remove_stop,
    set_package,
    set_stop,
    suggest_task,
    take_back,
    walk_order,
    with_outcome,
)
from inventory.web.crew_words import hours_words
from inventory.web.errors import status_of
from inventory.web.form_fields import DayField, PickField, RowField, TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from django.http import HttpResponse

State = WorkPackage.State
STEPS = {
    "hand-out": (hand_out, "The crew has it now: phones take it along."),
    "take-back": (take_back, "It is back at the desk and can be changed."),
    "close": (close_package, "Closed."),
    "walk": (walk_order, "Put in the order of a walk from its first stop."),
}
STOPS_PER_PAGE = 50


@dataclass(frozen=True)
class Row:
    """A place with how its sign stands, and what is or is to be done there."""

    position: Position
    standing: Standing | None
    stop: Any = None
    task: str = ""
    note: str = ""

    @property
    def arrives(self) -> str:
        """Return when work begins there, on a planned tour."""
        minute = getattr(self.stop, "arrive_minute", None)
        return "" if minute is None else clock_words(minute)


@dataclass(frozen=True)
class TourWords:
    """A package's day as it was planned."""

    leaves: str
    back: str
    minutes: str
    drive_mi: float

    @classmethod
    def of(cls, package: WorkPackage) -> TourWords | None:
        """Return the words of a planned day; nothing where the package has no tour."""
        if package.minutes is None or package.leave_minute is None:
            return None
        return cls(
            clock_words(package.leave_minute),
            clock_words(package.leave_minute + package.minutes),
            hours_words(package.minutes),
            package.drive_mi or 0.0,
        )


class PackageForm(TypedForm):
    """What a package is called, for which day and crew, and what to bring."""

    title = WordsField(
        label="Title", max_length=120, missing="Give the package a title, such as North round."
    )
    work_on = DayField(label="Day", missing="Say for which day it is.")
    crew = RowField(
        label="Crew", queryset=User.objects.none(), empty_label="any crew of the agency"
    )
    bring = WordsField(
        label="What to bring",
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, crew: Sequence[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = User.objects.filter(pk__in=[each.pk for each in crew])
        cast("forms.ModelChoiceField[Any]", self.fields["crew"]).queryset = people


class ResultForm(TypedForm):
    """What came of a stop."""

    outcome = PickField(
        label="It is",
        choices=StopResult.Outcome.choices,
        missing="Say whether the stop was done.",
    )
    reason = WordsField(label="Why not", max_length=255)


class StateForm(forms.Form):
    """Which packages are listed."""

    state = PickField(label="Which", choices=State.choices, empty_words="all packages")


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def package_list(request: MemberRequest) -> HttpResponse:
    chosen = StateForm(request.GET)
    rows = _packages_seen_by(request).order_by("-work_on", "-pk")
    rows = rows.select_related("crew", "team")
    if chosen.is_valid() and chosen.cleaned_data["state"]:
        rows = rows.filter(state=chosen.cleaned_data["state"])
    page = page_of(request, rows)
    progress = progress_of(page)
    context = {
        "filter": chosen,
        "page": page,
        "rows": [(each, progress[each.pk]) for each in page],
        "can_plan": _can_plan(request),
    }
    return render(request, "inventory/programme/package_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def package_new(request: MemberRequest) -> HttpResponse:
    """Show what was ticked with a task each; with ``save``, make a package of it."""
    rows = _rows_chosen(request)
    is_saving = "save" in request.POST
    into = _draft(request, request.POST.get("into")) if is_saving else None
    form = PackageForm(
        request.POST if is_saving else None,
        crew=crew_members(request.organisation),
        initial={"work_on": timezone.localdate()},
    )
    status = 200
    if is_saving:
        status, package = _save(request, form, rows, into)
        if package is not None:
            messages.success(request, f"'{package.title}' has {package.stops.count()} stops.")
            return redirect("package-page", package.pk)
    context = {
        "form": form,
        "can_plan": True,
        "rows": rows,
        "tasks": PackageStop.Task.choices,
        "into": request.POST.get("into", ""),
        "drafts": _packages_seen_by(request)
        .filter(state=State.DRAFT)
        .order_by("-work_on", "-pk")[:STOPS_PER_PAGE],
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/programme/package_new.html", context, status=status)


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def package_page(request: MemberRequest, package_id: int) -> HttpResponse:
    return _show(request, package_id)


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def package_print(request: MemberRequest, package_id: int) -> HttpResponse:
    package = _package(request, package_id)
    stops = with_outcome(_stops_of(package))
    context = {
        "package": package,
        "can_plan": _can_plan(request),
        "rows": _rows_of(list(stops)),
        "tour": TourWords.of(package),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/programme/package_print.html", context)


@require_POST
@role_required(Role.ENGINEER)
def package_change(request: MemberRequest, package_id: int) -> HttpResponse:
    package = _package(request, package_id)
    form = PackageForm(request.POST, crew=crew_members(request.organisation))
    status = 400
    if form.is_valid():
        try:
            set_package(package=package, by=request.user, **form.cleaned_data)
        except InventoryError as error:
            status = int(form.refuse(error))
        else:
            messages.success(request, "Saved.")
            return redirect("package-page", package_id)
    return _show(request, package_id, status=status, form=form)


@require_POST
@role_required(Role.ENGINEER)
def package_step(request: MemberRequest, package_id: int) -> HttpResponse:
    """Hand a package out, take it back, close it, or put its stops in walking order."""
    package = _package(request, package_id)
    step = STEPS.get(request.POST.get("step", ""))
    if step is None:
        return _show(request, package_id, status=400, refusal="No step was picked.")
    service, words = step
    try:
        if service is walk_order:
            walk_order(package=package)
        else:
            cast("Any", service)(package=package, by=request.user)
    except InventoryError as error:
        return _refused(request, package_id, error)
    messages.success(request, words)
    return redirect("package-page", package_id)


@require_POST
@role_required(Role.ENGINEER)
def package_stop(request: MemberRequest, package_id: int, stop_id: int) -> HttpResponse:
    """Change a stop of a draft: its task, its note, its place in the order; or take it out."""
    stop = _stop(request, package_id, stop_id)
    number = request.POST.get("number", "")
    try:
        if "remove" in request.POST:
            remove_stop(stop=stop)
            messages.success(request, f"Stop {stop.number} is taken out.")
        else:
            set_stop(
                stop=stop,
                task=request.POST.get("task", stop.task),
                note=request.POST.get("note", stop.note),
                number=int(number) if number.isdecimal() else None,
            )
    except InventoryError as error:
        return _refused(request, package_id, error, **_typed(request, stop))
    page = request.POST.get("page", "")
    query = f"?page={page}" if page.isdecimal() else ""
    answer = redirect("package-page", package_id)
    answer["Location"] += f"{query}#stops"
    return answer


@require_POST
@role_required(Role.CREW, Role.ENGINEER)
def stop_result(request: MemberRequest, package_id: int, stop_id: int) -> HttpResponse:
    """Record what came of a stop, for a crew without the field app."""
    stop = _stop(request, package_id, stop_id)
    form = ResultForm(request.POST)
    if not form.is_valid():
        sentence = " ".join(str(each) for errors in form.errors.values() for each in errors)
        return _show(request, package_id, status=400, refusal=sentence, **_typed(request, stop))
    try:
        record_stop(stop=stop, by=request.user, **form.cleaned_data)
    except InventoryError as error:
        return _refused(request, package_id, error, **_typed(request, stop))
    messages.success(request, f"Stop {stop.number}: {form.cleaned_data['outcome']}.")
    return redirect("package-page", package_id)


def _show(
    request: MemberRequest, package_id: int, status: int = 200, **more: Any
) -> HttpResponse:
    package = _package(request, package_id)
    page = page_of(request, with_outcome(_stops_of(package)), STOPS_PER_PAGE)
    can_plan = _can_plan(request)
    progress = progress_of([package])[package.pk]
    context = {
        "package": package,
        "page": page,
        "rows": _rows_of(list(page)),
        "tour": TourWords.of(package),
        "work_minutes": _work_minutes(package),
        "material": material_of(_stops_of(package)) if package.state != State.CLOSED else None,
        "progress": progress,
        "left_count": progress.stops - progress.done,
        "can_plan": can_plan,
        "is_draft": package.state == State.DRAFT,
        "tasks": PackageStop.Task.choices,
        "not_done_reasons": NOT_DONE_REASONS,
        "local_types": local_types_of(request.organisation),
        "form": PackageForm(
            crew=crew_members(request.organisation),
            initial={
                name: getattr(package, name) for name in ("title", "work_on", "crew", "bring")
            },
        )
        if can_plan and package.state != State.CLOSED
        else None,
        **more,
    }
    return render(request, "inventory/programme/package_page.html", context, status=status)


def _refused(
    request: MemberRequest, package_id: int, error: InventoryError, **more: Any
) -> HttpResponse:
    return _show(request, package_id, status=status_of(error), refusal=str(error), **more)


def _typed(request: MemberRequest, stop: PackageStop) -> dict[str, Any]:
    """Return what was typed for a stop, so that a refusal shows it again."""
    return {"typed": request.POST, "typed_stop": stop.pk}


def _save(
    request: MemberRequest,
    form: PackageForm,
    rows: Sequence[Row],
    into: WorkPackage | None,
) -> tuple[int, WorkPackage | None]:
    """Make a package of the rows, or add them to a draft; refused, the form keeps it all."""
    stops = [WantedStop(each.position, each.task, each.note) for each in rows]
    if not stops:
        form.add_error(None, "No sign is chosen; tick some on the list of signs first.")
    try:
        if into is not None and stops:
            return 200, add_stops(package=into, stops=stops, by=request.user)
        if form.is_valid():
            return 200, make_package(
                organisation=request.organisation,
                stops=stops,
                by=request.user,
                **form.cleaned_data,
            )
    except InventoryError as error:
        return int(form.refuse(error)), None
    return 400, None


def _rows_chosen(request: MemberRequest) -> list[Row]:
    """Return the places of the ticked signs, or what is left over of a package."""
    over = request.POST.get("over") or request.GET.get("over")
    tasks: dict[int, tuple[str, str]] = {}
    if over and over.isdecimal() and "save" not in request.POST:
        left = left_over(_package(request, int(over)))
        tasks = {each.position_id: (each.task, each.note) for each in left}
    own = Position.objects.owned_by(request.organisation).select_related("support__road")
    ticked = _numbers(request, "signs")[:MOST_STOPS]
    places = _numbers(request, "places")[:MOST_STOPS]
    if ticked:
        # In the order in which they were listed: the walk begins at the first of them.
        of_sign = dict(own.filter(signs__in=ticked).order_by("pk").values_list("signs", "pk"))
        places += [of_sign[sign] for sign in ticked if sign in of_sign]
    keys = list(dict.fromkeys([*places, *tasks]))
    positions = own.in_bulk(keys)
    found = [positions[key] for key in keys if key in positions]
    standings = _standings_at(found)
    return [
        _row_chosen(request, each, standings.get(each.pk), tasks.get(each.pk)) for each in found
    ]


def _row_chosen(
    request: MemberRequest,
    position: Position,
    standing: Standing | None,
    before: tuple[str, str] | None,
) -> Row:
    task, note = before or (suggest_task(position, standing), "")
    return Row(
        position,
        standing,
        task=request.POST.get(f"task_{position.pk}", task),
        note=request.POST.get(f"note_{position.pk}", note),
    )


def _rows_of(stops: Sequence[Any]) -> list[Row]:
    standings = _standings_at([each.position for each in stops])
    return [Row(each.position, standings.get(each.position_id), stop=each) for each in stops]


def _standings_at(positions: Iterable[Position]) -> dict[int, Standing]:
    """Return how the sign in each place stands, in one query."""
    rows = Standing.objects.filter(sign__position__in=list(positions)).select_related("sign")
    return {each.sign.position_id: each for each in rows if each.sign.position_id}


def _stops_of(package: WorkPackage) -> Any:
    return (
        PackageStop.objects.filter(package=package)
        .select_related("position__support__road", "face", "added_by")
        .order_by("number")
    )


def _work_minutes(package: WorkPackage) -> str:
    """Return how long the stops' work takes; nothing where no stop says so."""
    total = PackageStop.objects.filter(package=package).aggregate(n=Sum("service_minutes"))["n"]
    return "" if total is None else hours_words(total)


def _packages_seen_by(request: MemberRequest) -> Any:
    """Return the agency's packages; the crew does not see what is still put together."""
    rows = WorkPackage.objects.owned_by(request.organisation)
    return rows if _can_plan(request) else rows.exclude(state=State.DRAFT)


def _package(request: MemberRequest, package_id: int) -> WorkPackage:
    rows = _packages_seen_by(request).select_related("crew", "made_by", "team", "programme")
    found: WorkPackage = get_object_or_404(rows, pk=package_id)
    return found


def _draft(request: MemberRequest, text: str | None) -> WorkPackage | None:
    return _package(request, int(text)) if text and text.isdecimal() else None


def _stop(request: MemberRequest, package_id: int, stop_id: int) -> PackageStop:
    package = _package(request, package_id)
    found: PackageStop = get_object_or_404(
        PackageStop.objects.filter(package=package).select_related("package"), pk=stop_id
    )
    return found


def _can_plan(request: MemberRequest) -> bool:
    return has_role(request.membership, (Role.ENGINEER,))


def _numbers(request: MemberRequest, name: str) -> list[int]:
    return [int(text) for text in request.POST.getlist(name) if text.isdecimal()]
