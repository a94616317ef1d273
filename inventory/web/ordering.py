"""Orders as both parties see them; each sees its own next step."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from inventory.errors import InventoryError
from inventory.models import (
    ClaimCredit,
    LayoutPlan,
    LogbookEntry,
    OrderAmendment,
    OrderLine,
    Organisation,
    PrintOrder,
    Role,
)
from inventory.services.ordering import (
    OrderCounts,
    amend_order,
    cancel_order,
    order_counts,
    order_groups,
    order_progress,
    release_order,
    remove_line,
)
from inventory.services.ordering.shipping import faces_to_ship
from inventory.services.ordering.standard_checks import warnings_of_draft
from inventory.services.sign_faces import local_types_of
from inventory.web.form_fields import PickField, TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.http import HttpResponse

LINES_PER_PAGE = 50
MOST_ENTRIES = 30
LONGEST_AMENDMENT = 2000
LONGEST_REASON = 255


class OrderFilter(forms.Form):
    """Narrow the list of orders."""

    state = PickField(label="State", choices=PrintOrder.State.choices, empty_words="any")
    party = forms.ModelChoiceField(
        label="Agency or shop",
        queryset=Organisation.objects.none(),
        empty_label="any",
        required=False,
    )

    def __init__(self, data: Any, *, organisation: Organisation) -> None:
        super().__init__(data)
        party = self.fields["party"]
        assert isinstance(party, forms.ModelChoiceField)  # noqa: S101 - tells the type
        if organisation.kind == Organisation.Kind.SHOP:
            party.label = "Agency"
            party.queryset = Organisation.objects.filter(shops__organisation=organisation)
            self.fields["state"].choices = [  # type: ignore[attr-defined]  # a ChoiceField
                ("", "any"),
                *(c for c in PrintOrder.State.choices if c[0] != PrintOrder.State.DRAFT),
            ]
        else:
            party.label = "Shop"
            party.queryset = Organisation.objects.filter(customers__agency=organisation)


class AmendForm(TypedForm):
    """What is to change of a released order."""

    text = WordsField(
        label="What is to change",
        max_length=LONGEST_AMENDMENT,
        missing="Write what is to change.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class CancelForm(TypedForm):
    """Why an order is cancelled."""

    reason = WordsField(
        label="Why it is cancelled",
        max_length=LONGEST_REASON,
        missing="Say why the order is cancelled.",
    )


@require_safe
@role_required(Role.SHOP, Role.ENGINEER)
def order_list(request: MemberRequest) -> HttpResponse:
    chosen = OrderFilter(request.GET, organisation=request.organisation)
    rows = orders_seen_by(request.organisation).select_related("agency", "shop")
    if chosen.is_valid():
        if chosen.cleaned_data["state"]:
            rows = rows.filter(state=chosen.cleaned_data["state"])
        if chosen.cleaned_data["party"]:
            party = chosen.cleaned_data["party"]
            rows = rows.filter(shop=party) if _is_agency(request) else rows.filter(agency=party)
    page = page_of(request, rows.order_by("-drafted_at", "-pk"))
    counts = order_counts(page.object_list)
    context = {
        "filter": chosen,
        "page": page,
        "rows": [(order, counts[order.pk]) for order in page],
        "is_agency": _is_agency(request),
        "today": timezone.localdate(),
    }
    return render(request, "inventory/ordering/order_list.html", context)


@require_safe
@role_required(Role.SHOP, Role.ENGINEER)
def order_page(request: MemberRequest, order_id: int) -> HttpResponse:
    return _order_page(request, order_of(request, order_id))


@require_POST
@role_required(Role.ENGINEER)
def order_release(request: MemberRequest, order_id: int) -> HttpResponse:
    order = order_of(request, order_id)
    if order.state == PrintOrder.State.RELEASED and order.released_by == request.user:
        # The second tap of a double tap: it is released already.
        return redirect("order-page", order.pk)
    try:
        release_order(order=order, by=request.user)
    except InventoryError as error:
        form = TypedForm({})
        return _order_page(request, order, refused=form, status=int(form.refuse(error)))
    messages.success(request, f"Order {order.number} is released to {order.shop}.")
    return redirect("order-page", order.pk)


@require_POST
@role_required(Role.ENGINEER)
def order_amend(request: MemberRequest, order_id: int) -> HttpResponse:
    order = order_of(request, order_id)
    form = AmendForm(request.POST)
    status = 400
    if form.is_valid():
        text = form.cleaned_data["text"]
        last = OrderAmendment.objects.filter(order=order).order_by("-amended_at", "-pk").first()
        if last is not None and last.text == text and last.amended_by == request.user:
            # The second tap of a double tap: it is written already.
            return redirect("order-page", order.pk)
        try:
            amend_order(order=order, text=text, by=request.user)
        except InventoryError as error:
            status = int(form.refuse(error))
        else:
            messages.success(request, "Amendment written; the shop sees it.")
            return redirect("order-page", order.pk)
    return _order_page(request, order, amend_form=form, refused=form, status=status)


@require_POST
@role_required(Role.ENGINEER)
def order_cancel(request: MemberRequest, order_id: int) -> HttpResponse:
    order = order_of(request, order_id)
    form = CancelForm(request.POST)
    status = 400
    if form.is_valid():
        if order.state == PrintOrder.State.CANCELLED:
            # The second tap of a double tap: it is cancelled already.
            return redirect("order-page", order.pk)
        try:
            cancel_order(order=order, reason=form.cleaned_data["reason"], by=request.user)
        except InventoryError as error:
            status = int(form.refuse(error))
        else:
            messages.success(request, f"Order {order.number} is cancelled.")
            return redirect("order-page", order.pk)
    return _order_page(request, order, cancel_form=form, refused=form, status=status)


@require_POST
@role_required(Role.ENGINEER)
def order_line_remove(request: MemberRequest, order_id: int, line_id: int) -> HttpResponse:
    order = order_of(request, order_id)
    line = OrderLine.objects.filter(order=order, pk=line_id).first()
    if line is not None:
        try:
            remove_line(line=line, by=request.user)
        except InventoryError as error:
            form = TypedForm({})
            return _order_page(request, order, refused=form, status=int(form.refuse(error)))
        messages.success(request, f"Line {line.number} is off the order.")
    return redirect("order-page", order.pk)


def orders_seen_by(organisation: Organisation) -> Any:
    """Return an agency's orders, or those released to a shop: it never sees a draft."""
    if organisation.kind == Organisation.Kind.SHOP:
        return PrintOrder.objects.filter(shop=organisation, released_at__isnull=False)
    return PrintOrder.objects.filter(agency=organisation)


def order_of(request: MemberRequest, order_id: int) -> PrintOrder:
    """Return an order the person's organisation may see, or answer that there is none."""
    rows = orders_seen_by(request.organisation).select_related(
        "agency", "shop", "drafted_by", "released_by"
    )
    order: PrintOrder = get_object_or_404(rows, pk=order_id)
    return order


def _order_page(
    request: MemberRequest,
    order: PrintOrder,
    *,
    refused: forms.Form | None = None,
    amend_form: AmendForm | None = None,
    cancel_form: CancelForm | None = None,
    status: int = 200,
) -> HttpResponse:
    progress = order_progress(order)
    lines = Paginator(progress, LINES_PER_PAGE).get_page(request.GET.get("page"))
    groups = order_groups(order)
    is_shop = not _is_agency(request)
    told = (
        warnings_of_draft(order, [each.line for each in lines]) if _is_agency(request) else {}
    )
    context = {
        "order": order,
        "is_agency": _is_agency(request),
        "is_late": order.state == PrintOrder.State.RELEASED
        and order.needed_by_on is not None
        and order.needed_by_on < timezone.localdate(),
        "is_past_promise": order.state == PrintOrder.State.RELEASED
        and order.promised_on is not None
        and order.promised_on < timezone.localdate(),
        "counts": total_counts(each.counts for each in progress),
        "page": lines,
        "rows": [(each, told.get(each.line.pk, [])) for each in lines],
        "groups": groups,
        "area_ft2": sum(group.area_ft2 for group in groups),
        "press_minutes": sum(group.press_minutes for group in groups),
        "amendments": order.amendments.select_related("amended_by").order_by("amended_at"),
        "questions": order.questions.select_related("asked_by", "answer__answered_by").order_by(
            "asked_at", "pk"
        ),
        "shipments": order.shipments.annotate(
            faces_count=Count("faces"), received_count=Count("faces__receipt")
        ).order_by("number"),
        "credits": ClaimCredit.objects.filter(line__order=order)
        .select_related("claim", "line")
        .order_by("credited_at", "pk"),
        "may_ship": is_shop and faces_to_ship(order).exists(),
        "layouts": order.layouts.select_related("print_run", "roll").order_by("pk"),
        "may_lay_out": is_shop and order.state == PrintOrder.State.RELEASED,
        "plans": order.plans.exclude(state=LayoutPlan.State.DROPPED).order_by("-made_at", "-pk")
        if is_shop
        else (),
        "entries": LogbookEntry.objects.owned_by(request.organisation)
        .filter(order=order)
        .select_related("actor")
        .order_by("-at", "-pk")[:MOST_ENTRIES],
        "refused": refused,
        "amend_form": amend_form or AmendForm(),
        "cancel_form": cancel_form or CancelForm(),
        "local_types": local_types_of(order.agency),
    }
    return render(request, "inventory/ordering/order_page.html", context, status=status)


def total_counts(counts: Iterable[OrderCounts]) -> OrderCounts:
    """Return how far an order is from how far its lines are."""
    each = list(counts)
    return OrderCounts(
        ordered=sum(c.ordered for c in each),
        printed=sum(c.printed for c in each),
        in_stock=sum(c.in_stock for c in each),
        checked=sum(c.checked for c in each),
        labelled=sum(c.labelled for c in each),
        shipped=sum(c.shipped for c in each),
        received=sum(c.received for c in each),
        installed=sum(c.installed for c in each),
        lost=sum(c.lost for c in each),
    )


def _is_agency(request: MemberRequest) -> bool:
    return request.organisation.kind == Organisation.Kind.AGENCY
