"""The due list, drafting an order from it, and what else is decided about a sign."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import OuterRef, Subquery
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from inventory.engineering.standards.vocabulary import Optics, SheetingType
from inventory.errors import InventoryError, OutOfRangeError
from inventory.models import OrderLine, Organisation, Role, Sign
from inventory.services.assessment import decide_disposition
from inventory.services.ordering import draft_order
from inventory.services.sign_faces import local_types_of
from inventory.services.sign_record import OPEN_ORDER_STATES
from inventory.web.disposition_form import DispositionForm
from inventory.web.filters import standings_of
from inventory.web.form_fields import DayField, PickField, RowField, TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from typing import Any

    from django.db.models import QuerySet
    from django.http import HttpResponse

    from inventory.services.ordering import DraftResult

MOST_SIGNS_AT_ONCE = 500
LONGEST_TITLE = 120


class DraftOrderForm(TypedForm):
    """Which shop prints, and what the order is called."""

    shop = RowField(
        label="Shop",
        queryset=Organisation.objects.none(),
        empty_label=None,
        missing="No shop prints for this agency yet; your administrator can add one.",
    )
    title = WordsField(label="Title", max_length=LONGEST_TITLE)
    needed_by_on = DayField(label="Needed by")
    sheeting_type = PickField(
        label="Sheeting",
        choices=[(each.value, f"Type {each.value}") for each in SheetingType],
        empty_words="as the old face",
    )
    optics = PickField(
        label="Optics",
        choices=[(each.value, each.value) for each in Optics if each is not Optics.UNKNOWN],
        empty_words="as the type has them",
    )

    def __init__(self, *args: Any, agency: Organisation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        shops = Organisation.objects.filter(customers__agency=agency).order_by("name")
        self.fields["shop"].queryset = shops  # type: ignore[attr-defined]  # a RowField


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def due_list(request: MemberRequest) -> HttpResponse:
    if request.method != "POST":
        return _show_due_list(request, DraftOrderForm(agency=request.organisation))
    form = DraftOrderForm(request.POST, agency=request.organisation)
    try:
        signs = chosen_signs(request)
    except OutOfRangeError as error:
        return _show_due_list(request, form, status=form.refuse(error))
    if not signs:
        form.add_error(None, "No sign is ticked; tick those that go on the order.")
    if not form.is_valid():
        return _show_due_list(request, form, status=400)
    try:
        drafted = draft_order(
            agency=request.organisation,
            signs=signs,
            by=request.user,
            **form.cleaned_data,
        )
    except (InventoryError, ValidationError) as error:
        return _show_due_list(request, form, status=form.refuse(error))
    return _show_drafted(request, drafted)


@require_POST
@role_required(Role.ENGINEER)
def decide(request: MemberRequest, sign_id: int) -> HttpResponse:
    sign = get_object_or_404(Sign.objects.owned_by(request.organisation), pk=sign_id)
    form = DispositionForm(request.POST)
    status = 400
    if form.is_valid():
        try:
            decide_disposition(sign=sign, by=request.user, **form.cleaned_data)
        except InventoryError as error:
            status = int(form.refuse(error))
        else:
            messages.success(request, "The decision is stored in the sign's history.")
            return redirect("sign-page", sign_id)
    context = {"sign": sign, "decision_form": form}
    return render(request, "inventory/assessment/decide.html", context, status=status)


def chosen_signs(request: MemberRequest) -> list[Sign]:
    """Return the ticked signs, its own only; more than are taken at once is refused."""
    ticked = {int(text) for text in request.POST.getlist("signs") if text.isdecimal()}
    if len(ticked) > MOST_SIGNS_AT_ONCE:
        msg = (
            f"{len(ticked)} signs are ticked; at most {MOST_SIGNS_AT_ONCE} are taken at once. "
            "Untick some, and take these in a second step."
        )
        raise OutOfRangeError(msg)
    own = Sign.objects.owned_by(request.organisation).filter(pk__in=ticked)
    return list(own.order_by("pk"))


def due_signs(request: MemberRequest) -> tuple[Any, QuerySet[Any]]:
    """Return the filter and the due signs that pass it, each with its open order."""
    chosen, rows = standings_of(request.organisation, request.GET)
    on_order = OrderLine.objects.owned_by(request.organisation).filter(
        position=OuterRef("sign__position"),
        order__state__in=OPEN_ORDER_STATES,
        quantity__gt=0,
    )
    on_order = on_order.order_by("pk")  # not by the parties' names, which would join them
    due = (
        rows.filter(is_due=True)
        .select_related("road")
        .annotate(
            open_order_id=Subquery(on_order.values("order_id")[:1]),
            open_order_number=Subquery(on_order.values("order__number")[:1]),
        )
        .order_by("-is_due", "due_order", "sign_id")
    )
    return chosen, due


def _show_due_list(
    request: MemberRequest, form: DraftOrderForm, status: int = 200
) -> HttpResponse:
    chosen, rows = due_signs(request)
    context = {
        "filter": chosen,
        "page": page_of(request, rows),
        "form": form,
        "ticked": {int(t) for t in request.POST.getlist("signs") if t.isdecimal()},
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/assessment/due_list.html", context, status=status)


def _show_drafted(request: MemberRequest, drafted: DraftResult) -> HttpResponse:
    count = drafted.order.lines.count()
    if not drafted.refusals and not drafted.warned:
        messages.success(
            request, f"Order {drafted.order.number} is drafted with {count} faces."
        )
        return redirect("order-page", drafted.order.pk)
    context = {"drafted": drafted, "line_count": count}
    return render(request, "inventory/assessment/order_drafted.html", context)
