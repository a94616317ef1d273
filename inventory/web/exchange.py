"""What phones sent and an engineer decides about: held, refused, or against the record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import InventoryError
from inventory.models import DeviceOperation, RefusedEntry, Role
from inventory.services.exchange.settling import (
    APPLY,
    DISCARD,
    open_operations,
    settle_operation,
    to_decide,
    waiting_for_another,
)
from inventory.services.exchange.showing import show, versions_of
from inventory.services.photo_uploads import refused_photos
from inventory.services.wrong_data import open_added, open_wrong_data
from inventory.web.exchange_forms import ReasonForm, put_right_form
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpResponse

    from inventory.models import Organisation
    from inventory.services.exchange.showing import Shown

SEND = "send"
ROWS_PER_PAGE = 25
LISTS = (("", "To decide"), ("waiting", "Waiting for one of these"), ("settled", "Settled"))
DONE_WORDS = {
    APPLY: "Applied as it was sent.",
    SEND: "Put right and applied; what the phone sent stays on record.",
    DISCARD: "Discarded; what the phone sent stays on record.",
}


@dataclass(frozen=True)
class Tab:
    """One of the pages about what comes from the roadside, and how much waits there."""

    address: str
    words: str
    count: int | None
    is_current: bool


def phone_tabs(organisation: Organisation, current: str) -> list[Tab]:
    """Return the pages that belong together, with what waits on each."""
    waiting: list[tuple[str, str, QuerySet[Any] | None]] = [
        ("from-phones", "To decide", to_decide(organisation)),
        ("wrong-data", "Said to be wrong", open_wrong_data(organisation)),
        ("added-signs", "Signs added", open_added(organisation)),
        (
            "refused-list",
            "Typed or imported",
            RefusedEntry.objects.owned_by(organisation).filter(settled_at__isnull=True),
        ),
        ("refused-photos", "Photos refused", refused_photos(organisation)),
        ("merge-list", "Recorded twice", None),
        ("phone-list", "Phones", None),
    ]
    return [
        Tab(reverse(name), words, rows if rows is None else rows.count(), name == current)
        for name, words, rows in waiting
    ]


@require_safe
@role_required(Role.ENGINEER)
def from_phones(request: MemberRequest) -> HttpResponse:
    organisation = request.organisation
    asked = request.GET.get("show", "")
    rows: QuerySet[DeviceOperation]
    if asked == "settled":
        rows = DeviceOperation.objects.owned_by(organisation).filter(settled_at__isnull=False)
        rows = rows.order_by("-settled_at", "-pk")
    elif asked == "waiting":
        rows = waiting_for_another(organisation).order_by("-received_at", "-pk")
    else:
        asked = ""
        rows = to_decide(organisation).order_by("-received_at", "-pk")
    rows = rows.select_related("device", "person", "settled_by", "organisation")
    page = page_of(request, rows, ROWS_PER_PAGE)
    context = {
        "tabs": phone_tabs(organisation, "from-phones"),
        "lists": LISTS,
        "asked": asked,
        "page": page,
        "rows": show(list(page.object_list), organisation),
    }
    return render(request, "inventory/exchange/from_phones.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def operation_page(request: MemberRequest, operation_id: int) -> HttpResponse:
    operation = get_object_or_404(
        DeviceOperation.objects.owned_by(request.organisation).select_related(
            "device", "person", "settled_by", "organisation", "batch"
        ),
        pk=operation_id,
    )
    (shown,) = show([operation], request.organisation)
    decision = request.POST.get("decision", "")
    is_sent = request.method == "POST"
    reason_form = ReasonForm(request.POST if is_sent and decision != SEND else None)
    form = put_right_form(
        request.POST if is_sent and decision == SEND else None,
        kind=operation.kind,
        payload=shown.payload,
        organisation=request.organisation,
    )
    status = 200
    if is_sent:
        status = 400
        chosen = form if decision == SEND else reason_form
        if chosen.is_valid():
            try:
                settle_operation(
                    operation=operation,
                    decision=APPLY if decision == SEND else decision,
                    reason=chosen.cleaned_data["why"],
                    by=request.user,
                    content=form.payload() if decision == SEND else None,
                )
            except InventoryError as error:
                status = int(chosen.refuse(error))
            else:
                messages.success(request, DONE_WORDS[decision])
                return redirect("from-phones")
    needs = _needed_by(shown, request.organisation)
    context = {
        "shown": shown,
        "operation": operation,
        "is_stuck": any(n.operation.state == DeviceOperation.State.DISCARDED for n in needs),
        "versions": versions_of(shown, request.organisation),
        "is_open": open_operations(request.organisation).filter(pk=operation.pk).exists(),
        "reason_form": reason_form,
        "form": form,
        "tried": form if decision == SEND else reason_form,
        "needs": needs,
        "replaced": _replaced_and_replacing(operation),
    }
    return render(request, "inventory/exchange/operation.html", context, status=status)


def _needed_by(shown: Shown, organisation: Organisation) -> list[Shown]:
    """Return the operations one waits for, those that are here."""
    wanted = shown.operation.needs.values("needed_uuid")
    rows = DeviceOperation.objects.owned_by(organisation).filter(client_uuid__in=wanted)
    rows = rows.select_related("device", "person", "organisation").order_by("pk")
    return show(list(rows), organisation)


def _replaced_and_replacing(operation: DeviceOperation) -> list[tuple[str, DeviceOperation]]:
    """Return the entry one was sent again for, and those sent again for it."""
    rows = DeviceOperation.objects.owned_by(operation.organisation)
    found = [
        ("Sent again for", each)
        for each in rows.filter(client_uuid=operation.replaces_uuid)
        if operation.replaces_uuid is not None
    ]
    again = rows.filter(replaces_uuid=operation.client_uuid).order_by("pk")
    return found + [("Sent again as", each) for each in again]
