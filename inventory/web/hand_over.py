"""Hand-over to the shop of a year, a package or chosen signs: the draft, and its orders."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from inventory.engineering.standards.vocabulary import Optics, SheetingType
from inventory.errors import InventoryError, OutOfRangeError
from inventory.models import Organisation, Role, WorkPackage
from inventory.services.ordering.from_programme import (
    MOST_SIGNS,
    of_package,
    of_signs,
    of_year,
)
from inventory.services.ordering.hand_over import (
    LineState,
    Step,
    draft_hand_over,
    make_orders,
)
from inventory.services.sign_faces import local_types_of
from inventory.services.standards import code_book
from inventory.web.filters import standings_of
from inventory.web.form_fields import DayField, PickField, RowField, TypedForm
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.programmes import programme_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpResponse

    from inventory.services.ordering.from_programme import Source
    from inventory.services.ordering.hand_over import DraftLine, HandedOver, HandOver

# What the list can be narrowed to, in the words of its links.
SHOWN: tuple[tuple[str, str, Callable[[DraftLine], bool]], ...] = (
    ("all", "all", lambda _line: True),
    ("warns", "to look at", lambda line: line.warns),
    ("refused", "cannot be ordered yet", lambda line: line.state is LineState.REFUSED),
    ("order", "to order", lambda line: line.state is LineState.ORDER),
    (
        "stock",
        "from stock",
        lambda line: line.state in (LineState.STOCK, LineState.KEPT),
    ),
    ("on_order", "on order already", lambda line: line.state is LineState.ON_ORDER),
    ("left_out", "left out", lambda line: line.state is LineState.LEFT_OUT),
)
STEP_CHOICES = [
    (Step.MONTH.value, "one for each month"),
    (Step.QUARTER.value, "one for each quarter"),
    (Step.ALL.value, "one for all"),
]
TYPE_CHOICES = [(each.value, f"Type {each.value}") for each in SheetingType]
OPTICS_CHOICES = [(each.value, each.value) for each in Optics if each is not Optics.UNKNOWN]


class HowForm(TypedForm):
    """How the draft is made: on which sheeting, and how many orders."""

    sheeting_type = PickField(
        label="Sheeting", choices=TYPE_CHOICES, empty_words="as the old face"
    )
    optics = PickField(
        label="Optics", choices=OPTICS_CHOICES, empty_words="as the type has them"
    )
    step = PickField(label="Orders", choices=STEP_CHOICES)


class MakeForm(TypedForm):
    """Which shop prints, and by when what has no date is needed."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    shop = RowField(
        label="Shop",
        queryset=Organisation.objects.none(),
        empty_label=None,
        missing="No shop prints for this agency yet; your administrator can add one.",
    )
    undated_by = DayField(label="Needed by, where no date is known")

    def __init__(self, *args: Any, agency: Organisation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        shops = Organisation.objects.filter(customers__agency=agency).order_by("name")
        self.fields["shop"].queryset = shops  # type: ignore[attr-defined]  # a RowField


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def programme_order(request: MemberRequest, programme_id: int, year: int) -> HttpResponse:
    programme = programme_of(request, programme_id)
    return _hand_over(
        request,
        lambda: of_year(programme=programme, year=year, book=code_book(request.organisation)),
        back=(
            f"{programme.name}, {year}",
            reverse("programme-year", args=[programme.pk, year]),
        ),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def package_order(request: MemberRequest, package_id: int) -> HttpResponse:
    rows = WorkPackage.objects.owned_by(request.organisation).select_related("organisation")
    package: WorkPackage = get_object_or_404(rows, pk=package_id)
    return _hand_over(
        request,
        lambda: of_package(package=package, book=code_book(request.organisation)),
        back=(f"Package {package.title}", reverse("package-page", args=[package.pk])),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def selection_order(request: MemberRequest) -> HttpResponse:
    """Hand over ticked signs, or with ``all`` every sign that passes the list's filters."""
    if request.method == "POST" and "seen" not in request.POST:
        ticked = [each for each in request.POST.getlist("signs") if each.isdecimal()]
        if not ticked:
            messages.error(request, "No sign is ticked; tick those that need a new face.")
            return redirect("sign-list")
        query = urlencode({"signs": ".".join(ticked)})
        return redirect(f"{reverse('selection-order')}?{query}")
    title, keys = _selected(request)
    return _hand_over(
        request,
        lambda: of_signs(
            agency=request.organisation,
            signs=keys,
            book=code_book(request.organisation),
            title=title,
        ),
        back=("Signs", reverse("sign-list")),
    )


def _selected(request: MemberRequest) -> tuple[str, list[int]]:
    """Return what was selected, in words, and the keys of its signs."""
    if "all" not in request.GET:
        keys = [
            int(each) for each in request.GET.get("signs", "").split(".") if each.isdecimal()
        ]
        return "Chosen signs", keys
    chosen, rows = standings_of(request.organisation, request.GET)
    found = list(rows.order_by("sign_id").values_list("sign_id", flat=True)[: MOST_SIGNS + 1])
    if len(found) > MOST_SIGNS:
        msg = (
            f"More than {MOST_SIGNS:,} signs pass these filters; at most {MOST_SIGNS:,} are "
            "handed over at once. Narrow them, for example by road or class."
        )
        raise OutOfRangeError(msg)
    words = chosen.chosen_words
    return (f"Signs: {words}" if words else "All signs"), found


def _hand_over(
    request: MemberRequest, gather: Callable[[], Source], *, back: tuple[str, str]
) -> HttpResponse:
    """Show the draft of a hand-over, or make its orders."""
    how = HowForm(request.GET if "step" in request.GET else {"step": Step.MONTH.value})
    chosen = how.cleaned_data if how.is_valid() else {"step": Step.MONTH.value}
    making = request.method == "POST"
    form = MakeForm(request.POST if making else None, agency=request.organisation)
    status = 200
    if making:
        status = 400
        if form.is_valid():
            try:
                made = make_orders(
                    gather=gather,
                    agency=request.organisation,
                    by=request.user,
                    **form.cleaned_data,
                    **chosen,
                )
            except (InventoryError, ValidationError) as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, _made_words(made))
                return redirect(request.get_full_path())
    draft = draft_hand_over(source=gather(), **chosen)
    return _show(request, draft, how, form, back, status)


def _show(
    request: MemberRequest,
    draft: HandOver,
    how: HowForm,
    form: MakeForm,
    back: tuple[str, str],
    status: int,
) -> HttpResponse:
    lines = draft.lines
    shown = request.GET.get("show", "all")
    tabs = [
        {"key": key, "words": words, "count": sum(1 for each in lines if keeps(each))}
        for key, words, keeps in SHOWN
    ]
    keeps = next((keeps for key, _words, keeps in SHOWN if key == shown), SHOWN[0][2])
    names = {id(line): group.words for group in draft.groups for line in group.lines}
    page = page_of(request, [each for each in lines if keeps(each)])
    own = {each.ordered.order.pk: each.ordered.order for each in lines if each.ordered}
    how_words = {
        name: request.GET[name] for name in ("sheeting_type", "optics") if request.GET.get(name)
    }
    context = {
        "draft": draft,
        "source": draft.source,
        "how": how,
        "form": form,
        "back_words": back[0],
        "back_url": back[1],
        "kept_query": [
            (key, value)
            for key, values in request.GET.lists()
            for value in values
            if key not in ("sheeting_type", "optics", "step", "page", "show")
        ],
        "line_query": urlencode({**how_words, "next": request.get_full_path()}),
        "page": page,
        "rows": [(line, names[id(line)]) for line in page],
        "tabs": [tab for tab in tabs if tab["count"] or tab["key"] in ("all", shown)],
        "shown": shown,
        "order_count": sum(1 for group in draft.groups if group.to_order),
        "face_count": draft.count(LineState.ORDER),
        "stock_count": draft.count(LineState.STOCK),
        "kept_count": draft.count(LineState.KEPT),
        "refused_count": draft.count(LineState.REFUSED),
        "warn_count": sum(1 for each in lines if each.warns),
        "has_undated": any(
            group.needed_by is None and group.to_order for group in draft.groups
        ),
        "orders": sorted(own.values(), key=lambda each: each.number),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/ordering/hand_over.html", context, status=status)


def _made_words(made: HandedOver) -> str:
    """Return what came of it in a sentence."""
    parts = []
    if made.orders:
        many = "draft order" if len(made.orders) == 1 else "draft orders"
        faces = "1 face" if made.faces == 1 else f"{made.faces:,} faces"
        numbers = ", ".join(each.number for each in made.orders)
        parts.append(
            f"{faces} on {len(made.orders)} {many}: {numbers}. Release each when ready."
        )
    if made.kept:
        faces = "1 face in stock is" if made.kept == 1 else f"{made.kept:,} faces in stock are"
        parts.append(f"{faces} kept for these places.")
    return " ".join(parts)
