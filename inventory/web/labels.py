"""Labels for the backs of faces: sheets, what is printed, and the page a label leads to."""

from __future__ import annotations

import tempfile
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db.models import Count
from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inventory.engineering.production.labels import read_label
from inventory.errors import InventoryError
from inventory.interchange.labels_pdf import code_side_in, left_out, write_labels
from inventory.models import LabelBatch, LabelSheet, LayoutFace, Organisation, Role, Sign
from inventory.services.production.face_labels import (
    MOST_LABELS,
    Measures,
    add_sheet,
    label_counts,
    make_batch,
    words_of,
)
from inventory.web.form_fields import NumberField, RowField, TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.production import run_of

if TYPE_CHECKING:
    from django.http import HttpResponse, HttpResponseBase

BATCHES_PER_PAGE = 30
FACES_PER_PAGE = MOST_LABELS
KEPT_IN_MEMORY_BYTES = 2_000_000


def _length(label: str, hint: str = "") -> NumberField:
    return NumberField(
        unit="inches", label=label, missing=f"{label}: no figure was typed.", help_text=hint
    )


class SheetForm(TypedForm):
    """The measures of a sheet of labels, as its box says."""

    name = WordsField(label="Name", max_length=60, missing="Give the sheet a name.")
    page_width_in = _length("Page width, in", "For single labels on a roll: the label's own.")
    page_height_in = _length("Page height, in")
    columns = NumberField(unit="labels", label="Labels side by side", missing="How many?")
    rows = NumberField(unit="labels", label="Labels one below the other", missing="How many?")
    label_width_in = _length("Label width, in")
    label_height_in = _length("Label height, in")
    left_in = _length("Left edge to the first label, in")
    top_in = _length("Top edge to the first label, in")
    gap_across_in = _length("Gap side by side, in")
    gap_down_in = _length("Gap one below the other, in")

    def measures(self) -> Measures:
        """Return what was typed."""
        data = self.cleaned_data
        lengths = {name: data[name] for name in Measures.__dataclass_fields__}
        counts = {name: int(data[name]) for name in ("columns", "rows")}
        return Measures(**lengths | counts)


class BatchForm(TypedForm):
    """On which sheet, from which place on."""

    sheet = RowField(
        label="Sheet",
        queryset=LabelSheet.objects.none(),
        empty_label="pick the sheet",
        missing="Say on which sheet.",
    )
    first_place = NumberField(
        unit="labels",
        label="First free label of the first sheet",
        missing="Say from which label on; 1 for a new sheet.",
        help_text="Counted from the left, row by row.",
    )


@require_safe
@role_required(Role.SHOP)
def label_list(request: MemberRequest) -> HttpResponse:
    rows = (
        LabelBatch.objects.owned_by(request.organisation)
        .select_related("sheet", "made_by")
        .annotate(count=Count("labels"))
        .order_by("-made_at", "-pk")
    )
    context = {
        "page": page_of(request, rows, BATCHES_PER_PAGE),
        "sheets": LabelSheet.objects.owned_by(request.organisation).order_by("name"),
    }
    return render(request, "inventory/production/label_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def label_sheet_add(request: MemberRequest) -> HttpResponse:
    form = SheetForm(request.POST or None, initial={"gap_across_in": 0, "gap_down_in": 0})
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                code_side_in(form.measures())
                sheet = add_sheet(
                    shop=request.organisation,
                    name=form.cleaned_data["name"],
                    measures=form.measures(),
                    by=request.user,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"'{sheet}' is kept.")
                return redirect("label-list")
    context = {"form": form}
    return render(request, "inventory/production/label_sheet.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def run_labels(request: MemberRequest, run_id: int) -> HttpResponse:
    """Make the labels of a run's faces."""
    run = run_of(request, run_id)
    faces = (
        LayoutFace.objects.filter(layout__print_run=run)
        .select_related("sign", "line")
        .order_by("sign__print_number", "pk")
    )
    page = page_of(request, faces, FACES_PER_PAGE)
    signs = [face.sign for face in page]
    sheets = LabelSheet.objects.owned_by(request.organisation).order_by("name")
    counts = label_counts(signs)
    form = BatchForm(
        request.POST or None,
        initial={"first_place": 1, "sheet": sheets.first() if len(sheets) == 1 else None},
    )
    field: Any = form.fields["sheet"]
    field.queryset = sheets
    picked = set(request.POST.getlist("faces"))
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                batch = make_batch(
                    shop=request.organisation,
                    sheet=form.cleaned_data["sheet"],
                    signs=[sign for sign in signs if str(sign.pk) in picked],
                    first_place=int(form.cleaned_data["first_place"]),
                    by=request.user,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                return redirect("label-batch", batch.pk)
    context = {
        "run": run,
        "form": form,
        "sheets": sheets,
        "page": page,
        "rows": [
            (
                sign,
                counts.get(sign.pk, 0),
                str(sign.pk) in picked
                if form.is_bound
                else not counts.get(sign.pk) and sign.state == Sign.State.IN_STOCK,
            )
            for sign in signs
        ],
    }
    return render(request, "inventory/production/run_labels.html", context, status=status)


@require_safe
@role_required(Role.SHOP)
def label_batch(request: MemberRequest, batch_id: int) -> HttpResponse:
    batch = _batch_of(request, batch_id)
    measures = Measures(**batch.measures)
    words = words_of(_signs_of(batch))
    lacking = sorted({line for each in words for line in _kinds_left_out(each, measures)})
    context = {"batch": batch, "words": words, "lacking": lacking, "measures": measures}
    return render(request, "inventory/production/label_batch.html", context)


@require_safe
@role_required(Role.SHOP)
def label_batch_pdf(request: MemberRequest, batch_id: int) -> HttpResponseBase:
    batch = _batch_of(request, batch_id)
    stream = tempfile.SpooledTemporaryFile(max_size=KEPT_IN_MEMORY_BYTES)  # noqa: SIM115
    write_labels(
        stream,
        words_of(_signs_of(batch)),
        measures=Measures(**batch.measures),
        first_place=batch.first_place,
        title=f"Labels {batch.pk}",
        author=str(batch.organisation),
    )
    stream.seek(0)
    return FileResponse(
        stream, filename=f"labels-{batch.pk}.pdf", content_type="application/pdf"
    )


@require_safe
@role_required(Role.CREW, Role.ENGINEER, Role.SHOP)
def label_found(request: MemberRequest, label: str) -> HttpResponse:
    """Go where a label's code leads a phone's own camera: to the face's page for who asks."""
    try:
        label_id = read_label(label)
    except InventoryError as error:
        raise Http404(str(error)) from error
    is_shop = request.organisation.kind == Organisation.Kind.SHOP
    sign: Sign = get_object_or_404(
        Sign.objects.readable_by(request.organisation), label_id=label_id
    )
    if is_shop and sign.print_run_id is not None:
        return redirect("run-page", sign.print_run_id)
    if is_shop:
        return redirect("stock-faces")
    return redirect("crew-sign", sign.pk)


def _batch_of(request: MemberRequest, batch_id: int) -> LabelBatch:
    rows = LabelBatch.objects.owned_by(request.organisation).select_related(
        "sheet", "made_by", "organisation"
    )
    batch: LabelBatch = get_object_or_404(rows, pk=batch_id)
    return batch


def _signs_of(batch: LabelBatch) -> list[Sign]:
    return [label.sign for label in batch.labels.select_related("sign").order_by("number")]


def _kinds_left_out(words: Any, measures: Measures) -> list[str]:
    names = {
        f"made {words.made}": "month and year made",
        words.sheeting: "sheeting and lot",
        f"overlay {words.overlay}": "overlay",
        f"{words.agency}, order {words.order}": "agency and order",
        f"“{words.legend}”": "legend",
    }
    return [names.get(line, "day of installation") for line in left_out(words, measures)]
