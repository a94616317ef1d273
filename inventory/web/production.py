"""The shop's board, and its print runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.engineering.production.press_log import loaded_during
from inventory.errors import InventoryError
from inventory.models import (
    LayoutFace,
    Press,
    PrintOrder,
    PrintRun,
    Role,
)
from inventory.services.ordering import LineProgress, order_progress
from inventory.services.production import (
    loaded_at,
    record_print_run,
)
from inventory.services.production.build_doubts import run_doubts
from inventory.services.production.faces import fits_roll
from inventory.services.production.maintenance import checks_around_run
from inventory.services.production.press_needs import press_needs
from inventory.services.production.print_positions import spans_of_run, stretch_words
from inventory.services.production.what_was_on import logged_events
from inventory.services.shop_board import board
from inventory.services.sign_faces import local_types_of
from inventory.web.form_fields import (
    MomentField,
    NumberField,
    RowField,
    TypedForm,
    WordsField,
)
from inventory.web.membership import MemberRequest, role_required
from inventory.web.ordering import orders_seen_by
from inventory.web.paging import page_of
from inventory.web.presses import presses_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from django.http import HttpResponse

    from inventory.services.production import LoadedState

FACES_PER_PAGE = 60
MOST_QUANTITY_DIGITS = 5
MOST_LINES_OF_A_RUN = 200


class RunForm(TypedForm):
    """One stretch of printing for an order."""

    press = RowField(
        label="Press",
        queryset=Press.objects.none(),
        empty_label="pick the press",
        missing="Say on which press it was printed.",
    )
    started_at = MomentField(label="Started", missing="Say when printing started.")
    finished_at = MomentField(label="Finished", missing="Say when printing finished.")
    run_number = WordsField(
        label="Run number", max_length=40, help_text="Leave empty for the next number."
    )
    printed_area_ft2 = NumberField(
        unit="square feet",
        label="Printed area, ft²",
        help_text="As the press counted it. Leave empty to take the area of the faces.",
    )
    roll_length_used_ft = NumberField(
        unit="feet",
        label="Roll used, feet",
        help_text="As the press counted it. Leave empty if not known.",
    )
    note = WordsField(label="Note", max_length=255)

    def __init__(
        self, *args: Any, presses: Any, progress: Sequence[LineProgress], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        cast("Any", self.fields["press"]).queryset = presses
        still_open = sorted(
            (each for each in progress if each.counts.outstanding), key=_by_sheeting
        )
        self.progress = still_open[:MOST_LINES_OF_A_RUN]
        self.left_out = len(still_open) - len(self.progress)
        for each in self.progress:
            self.fields[_quantity_name(each)] = WordsField(
                label=f"Faces printed of line {each.line.number}",
                max_length=MOST_QUANTITY_DIGITS,
                widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
            )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        for each in self.progress:
            name = _quantity_name(each)
            typed = data.get(name) or "0"
            if not (typed.isascii() and typed.isdecimal()):
                self.add_error(
                    name, f"'{typed}' is not a number of faces; write it in figures, 0 or more."
                )
        return data

    def line_quantities(self) -> dict[int, int]:
        """Return how many faces were printed of each line, by the line's key."""
        typed = {e.line.pk: self.cleaned_data.get(_quantity_name(e)) for e in self.progress}
        return {key: int(text) for key, text in typed.items() if text and int(text)}

    def line_fields(self) -> list[tuple[LineProgress, forms.BoundField]]:
        """Return the open lines with their fields, as the page lays them out."""
        return [(each, self[_quantity_name(each)]) for each in self.progress]


@require_safe
@role_required(Role.SHOP)
def board_page(request: MemberRequest) -> HttpResponse:
    now = timezone.now()
    context = {
        "board": board(shop=request.organisation, today=timezone.localdate()),
        "presses": [
            (press, loaded_at(press, now), press_needs(press, now))
            for press in presses_of(request)
        ],
    }
    return render(request, "inventory/production/board.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def order_run(request: MemberRequest, order_id: int) -> HttpResponse:
    orders = orders_seen_by(request.organisation).select_related("agency", "shop")
    order: PrintOrder = get_object_or_404(orders, pk=order_id)
    progress = order_progress(order)
    presses = presses_of(request)
    only = presses.first() if presses.count() == 1 else None
    form = RunForm(
        request.POST or None,
        presses=presses,
        progress=progress,
        initial={"press": only} | _quantities_on_roll(only, progress),
    )
    status = 200
    if request.method == "POST" and "look" not in request.POST:
        status = 400
        if form.is_valid():
            run = _same_run(order, form)
            if run is not None:
                # The second tap of a double tap: it is recorded already.
                return redirect("run-page", run.pk)
            try:
                run = _record(request, order, form)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"Run {run.run_number} is recorded.")
                return redirect("run-page", run.pk)
    context = {
        "order": order,
        "form": form,
        "is_looking": "look" in request.POST,
        "spans": _spans(form) if form.is_bound else [],
        "local_types": local_types_of(order.agency),
    }
    return render(request, "inventory/production/order_run.html", context, status=status)


@require_safe
@role_required(Role.SHOP)
def run_loaded(request: MemberRequest) -> HttpResponse:
    """Answer with what was loaded on a press during typed times, as a piece of a page."""
    form = RunForm(request.GET, presses=presses_of(request), progress=[])
    return render(request, "inventory/production/loaded_during.html", {"spans": _spans(form)})


@require_safe
@role_required(Role.SHOP)
def run_page(request: MemberRequest, run_id: int) -> HttpResponse:
    run = run_of(request, run_id)
    faces = (
        LayoutFace.objects.filter(layout__print_run=run)
        .select_related("sign", "line")
        .prefetch_related("sign__colour_areas")
        .order_by("sign__print_number", "pk")
    )
    spans = _loaded_spans(run.press, run.started_at, run.finished_at)
    split = spans_of_run(run, [span for span, _loaded in spans]) if len(spans) > 1 else {}
    context = {
        "run": run,
        "layout": run.layout,
        "spans": spans,
        "stretches": stretch_words(list(split.values()), len(spans)) if split else [],
        "is_split_estimated": any(each.is_estimated for each in split.values()),
        "checks": checks_around_run(run),
        "build_doubts": run_doubts(run, run.layout.roll, [span for span, _loaded in spans]),
        "page": page_of(request, faces, FACES_PER_PAGE),
        "local_types": local_types_of(run.layout.order.agency),
    }
    return render(request, "inventory/production/run_page.html", context)


def run_of(request: MemberRequest, run_id: int) -> PrintRun:
    """Return a run of the shop that printed faces, or answer that there is none."""
    runs = (
        PrintRun.objects.owned_by(request.organisation)
        .filter(layout__isnull=False)
        .select_related("press", "operator", "layout__order__agency", "layout__roll")
    )
    run: PrintRun = get_object_or_404(runs, pk=run_id)
    return run


def _same_run(order: PrintOrder, form: RunForm) -> PrintRun | None:
    data = form.cleaned_data
    found: PrintRun | None = PrintRun.objects.filter(
        press=data["press"],
        started_at=data["started_at"],
        finished_at=data["finished_at"],
        layout__order=order,
    ).first()
    return found


def _record(request: MemberRequest, order: PrintOrder, form: RunForm) -> PrintRun:
    data = form.cleaned_data
    return record_print_run(
        order=order,
        press=data["press"],
        started_at=data["started_at"],
        finished_at=data["finished_at"],
        line_quantities=form.line_quantities(),
        run_number=data["run_number"] or None,
        operator=request.user,
        printed_area_ft2=data["printed_area_ft2"],
        roll_length_used_ft=data["roll_length_used_ft"],
        note=data["note"],
    )


def _quantities_on_roll(
    press: Press | None, progress: Sequence[LineProgress]
) -> dict[str, int]:
    """Return what is left of the lines that fit the roll on the press now."""
    if press is None:
        return {}
    roll = loaded_at(press, timezone.now()).roll
    return {
        _quantity_name(each): each.counts.outstanding
        for each in progress
        if roll is not None and each.counts.outstanding and fits_roll(each.line, roll)
    }


def _by_sheeting(progress: LineProgress) -> tuple[str, str, str, int]:
    line = progress.line
    return (line.sheeting_type, line.optics, line.base_color, line.number)


def _quantity_name(progress: LineProgress) -> str:
    return f"line_{progress.line.pk}"


def _spans(form: RunForm) -> list[tuple[Any, LoadedState]]:
    """Return what was loaded during the typed times; nothing while they make no sense."""
    form.is_valid()
    data = form.cleaned_data
    press, start, finish = (data.get(n) for n in ("press", "started_at", "finished_at"))
    if press is None or start is None or finish is None or not start < finish:
        return []
    return _loaded_spans(press, start, finish)


def _loaded_spans(
    press: Press, started_at: datetime, finished_at: datetime
) -> list[tuple[Any, LoadedState]]:
    spans = loaded_during(logged_events(press), started_at, finished_at)
    return [(span, loaded_at(press, span.started_at)) for span in spans]
