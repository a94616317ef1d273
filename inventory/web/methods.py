"""Methods of record: the groups, what is under each, and the record of a day."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import OuterRef, Subquery
from django.http import FileResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.engineering.assessment.method_calendar import Applied
from inventory.engineering.standards.night_procedures import hit_rate_sentence
from inventory.errors import InventoryError, OutOfRangeError
from inventory.interchange.method_record_pdf import write_method_record
from inventory.models import MethodAssignment, MethodGroup, Position, Role
from inventory.services.method_record import groups_today, method_record
from inventory.services.methods import (
    assign,
    create_group,
    end_group,
    record_step,
    set_control_signs,
)
from inventory.services.sign_faces import local_types_of
from inventory.web.filters import standings_of
from inventory.web.membership import MemberRequest, role_required
from inventory.web.method_forms import BeginForm, EndForm, FromForm, RecordForm, StepForm
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.core.paginator import Page
    from django.http import HttpResponse
    from django.http.response import HttpResponseBase

    from inventory.services.method_record import GroupRecord, MethodRecord

MOST_TICKED = 500
KEPT_IN_MEMORY_BYTES = 2_000_000
ROWS_OF_THE_RECORD = 25


@dataclass(frozen=True)
class Part:
    """One page of one list among several on a page, and the addresses of its neighbours."""

    rows: Page[Any]
    before: str
    after: str


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def methods_page(request: MemberRequest) -> HttpResponse:
    form = BeginForm(request.POST or None, initial={"started_on": timezone.localdate()})
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                group = create_group(
                    organisation=request.organisation, by=request.user, **form.cleaned_data
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"'{group}' is begun; put signs under it now.")
                return redirect("method-group", group.pk)
    groups, covered = groups_today(organisation=request.organisation)
    context = {
        "groups": groups,
        "under_none_count": len(covered.under_none),
        "sign_count": len(covered.lines),
        "others_count": covered.others_count,
        "form": form,
        "record_form": RecordForm(initial=RecordForm.today()),
        "hit_rate": hit_rate_sentence(),
        "shows_hit_rate": any(
            each.group.method == MethodGroup.Method.VISUAL_NIGHT for each in groups
        ),
    }
    return render(request, "inventory/methods/methods.html", context, status=status)


@require_safe
@role_required(Role.ENGINEER)
def group_page(request: MemberRequest, group_id: int) -> HttpResponse:
    return _show_group(request, group_id)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def choose_signs(request: MemberRequest, group_id: int) -> HttpResponse:
    """Put the ticked signs, or all that pass the filters, under a group."""
    group = _group(request, group_id)
    form = FromForm(request.POST or None, initial={"from_on": timezone.localdate()})
    status = 200
    if request.method == "POST":
        status = 400
        positions = _chosen_positions(request)
        if not positions:
            form.add_error(
                None, "No sign is ticked; tick some, or take all that pass the filters."
            )
        elif form.is_valid():
            try:
                done = assign(
                    group=group,
                    positions=positions,
                    from_on=form.cleaned_data["from_on"],
                    by=request.user,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(
                    request,
                    f"{done.new + done.moved} signs put under '{group}', {done.moved} of them "
                    f"moved from another method; {done.unchanged} were under it already.",
                )
                return redirect("method-group", group.pk)
    chosen, standings = standings_of(request.organisation, request.GET)
    now_under = MethodAssignment.objects.filter(
        position=OuterRef("sign__position"), until_on__isnull=True
    )
    context = {
        "group": group,
        "filter": chosen,
        "page": page_of(
            request,
            standings.select_related("road").annotate(
                now_under=Subquery(now_under.values("group__name")[:1])
            ),
        ),
        "form": form,
        "ticked": set(_numbers(request, "signs")),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/methods/choose_signs.html", context, status=status)


@require_POST
@role_required(Role.ENGINEER)
def control_signs(request: MemberRequest, group_id: int) -> HttpResponse:
    """Make the ticked signs of this page control signs, and the others of it not."""
    group = _group(request, group_id)
    form = FromForm(request.POST)
    if not form.is_valid():
        return _show_group(request, group_id, control_form=form, status=400)
    shown, ticked = _numbers(request, "shown"), _numbers(request, "controls")
    under = MethodAssignment.objects.filter(group=group, until_on__isnull=True)
    elsewhere = under.filter(is_control_sign=True).exclude(position__in=shown)
    wanted = {*elsewhere.values_list("position", flat=True), *ticked}
    positions = Position.objects.owned_by(request.organisation).filter(pk__in=wanted)
    try:
        count = set_control_signs(
            group=group,
            positions=positions,
            from_on=form.cleaned_data["from_on"],
            by=request.user,
        )
    except InventoryError as error:
        status = int(form.refuse(error))
        return _show_group(request, group_id, control_form=form, status=status)
    messages.success(request, f"'{group}' has {count} control signs.")
    return redirect("method-group", group.pk)


@require_POST
@role_required(Role.ENGINEER)
def add_step(request: MemberRequest, group_id: int) -> HttpResponse:
    form = StepForm(request.POST)
    status = 400
    if form.is_valid():
        try:
            record_step(group=_group(request, group_id), by=request.user, **form.cleaned_data)
        except InventoryError as error:
            status = int(form.refuse(error))
        else:
            messages.success(request, "Recorded as done.")
            return redirect("method-group", group_id)
    return _show_group(request, group_id, step_form=form, status=status)


@require_POST
@role_required(Role.ENGINEER)
def end_method(request: MemberRequest, group_id: int) -> HttpResponse:
    form = EndForm(request.POST)
    status = 400
    if form.is_valid():
        try:
            group = end_group(
                group=_group(request, group_id), by=request.user, **form.cleaned_data
            )
        except InventoryError as error:
            status = int(form.refuse(error))
        else:
            messages.success(request, f"'{group}' is ended; its signs are under no method.")
            return redirect("methods")
    return _show_group(request, group_id, end_form=form, status=status)


@require_safe
@role_required(Role.ENGINEER)
def record_page(request: MemberRequest) -> HttpResponse:
    form = RecordForm(request.GET.dict() if "on" in request.GET else RecordForm.today())
    record, status = _record(request, form)
    context: dict[str, Any] = {"form": form, "record": record}
    if record is not None:
        context |= {
            "without": _part(request, record.without_decision, "without"),
            "decided": _part(request, record.decided, "decided"),
            "under_none": _part(request, record.under_none, "none"),
            "taken_down": _part(request, record.taken_down, "down"),
            "hit_rate": hit_rate_sentence(),
        }
    return render(request, "inventory/methods/record.html", context, status=status)


@require_safe
@role_required(Role.ENGINEER)
def record_pdf(request: MemberRequest) -> HttpResponseBase:
    form = RecordForm(request.GET.dict())
    record, status = _record(request, form)
    if record is None:
        context = {"form": form, "record": None}
        return render(request, "inventory/methods/record.html", context, status=status)
    # A long record goes to a file on disk and from there to the reader, part by part.
    stream = tempfile.SpooledTemporaryFile(max_size=KEPT_IN_MEMORY_BYTES)  # noqa: SIM115 - the answer closes it
    write_method_record(record, stream)
    stream.seek(0)
    name = f"method-record-{record.asked.on:%Y-%m-%d}-known-{record.asked.known}.pdf"
    return FileResponse(stream, content_type="application/pdf", filename=name)


def _record(request: MemberRequest, form: RecordForm) -> tuple[MethodRecord | None, int]:
    if not form.is_valid():
        return None, 400
    try:
        record = method_record(organisation=request.organisation, **form.cleaned_data)
    except OutOfRangeError as error:
        return None, int(form.refuse(error))
    return record, 200


def _part(request: MemberRequest, rows: Sequence[Any], key: str) -> Part:
    """Return one page of one of several lists, each with its own number in the address."""
    page = Paginator(rows, ROWS_OF_THE_RECORD).get_page(request.GET.get(key))

    def address(number: int) -> str:
        asked = request.GET.copy()
        asked[key] = str(number)
        return f"?{asked.urlencode()}#{key}"

    return Part(page, address(page.number - 1), address(page.number + 1))


def _show_group(
    request: MemberRequest, group_id: int, status: int = 200, **forms: Any
) -> HttpResponse:
    group = _group(request, group_id)
    records, _covered = groups_today(organisation=request.organisation)
    record = next((each for each in records if each.group.pk == group.pk), None)
    today = {"from_on": timezone.localdate(), "ended_on": timezone.localdate()}
    context = {
        "group": group,
        "record": record,
        "page": page_of(request, _rows(record)) if record else None,
        "local_types": local_types_of(request.organisation),
        "hit_rate": hit_rate_sentence(),
        "control_form": FromForm(initial=today),
        "step_form": StepForm(initial={"done_on": timezone.localdate()}),
        "end_form": EndForm(initial=today),
        **forms,
    }
    return render(request, "inventory/methods/group.html", context, status=status)


def _rows(record: GroupRecord) -> Any:
    """Return the signs of a group with their calendar: overdue, unknown, then by day."""
    first = {Applied.OVERDUE: 0, Applied.AGE_NOT_KNOWN: 1}
    covered = record.covered
    lines = {line.sign_id: line for line in covered.lines}
    entries = sorted(
        covered.calendar.entries,
        key=lambda entry: (
            first.get(entry.applied, 2),
            entry.due_on is None,
            entry.due_on or covered.group.started_on,
            entry.sign_id,
        ),
    )
    return [
        {
            "entry": entry,
            "line": lines[entry.sign_id],
            "is_control": entry.sign_id in covered.controls,
        }
        for entry in entries
    ]


def _group(request: MemberRequest, group_id: int) -> MethodGroup:
    groups = MethodGroup.objects.owned_by(request.organisation)
    found: MethodGroup = get_object_or_404(groups, pk=group_id)
    return found


def _chosen_positions(request: MemberRequest) -> list[Position]:
    """Return the places of the ticked signs, or of all that pass the filters."""
    own = Position.objects.owned_by(request.organisation)
    if "all" in request.POST:
        _chosen, standings = standings_of(request.organisation, request.GET)
        signs = standings.order_by().values("sign")
        return list(own.filter(signs__in=signs).order_by("pk"))
    ticked = _numbers(request, "signs")[:MOST_TICKED]
    return list(own.filter(signs__in=ticked).order_by("pk"))


def _numbers(request: MemberRequest, name: str) -> list[int]:
    return [int(text) for text in request.POST.getlist(name) if text.isdecimal()]
