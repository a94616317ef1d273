"""How the shop builds its faces: the list of its rules, one added, changed, out of use."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inventory.engineering.production.builds import BuiltArea
from inventory.engineering.production.colouring import Colouring
from inventory.errors import InventoryError
from inventory.models import BuildRule, ColourArea, Role
from inventory.services.ordering.builds import (
    MOST_AREAS,
    BuildContent,
    areas_of,
    build_by,
    set_build_rule,
)
from inventory.web.form_fields import PickField, TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.order_lines import COLOUR_CHOICES
from inventory.web.paging import page_of
from inventory.web.shop_prices import DecimalField
from inventory.web.stock import COLOUR_CHOICES as BASE_CHOICES
from inventory.web.stock import TYPE_CHOICES

if TYPE_CHECKING:
    from django.http import HttpResponse

LEAST_ROWS = 4
SPARE_ROWS = 1
_COLOURINGS = [(value, label) for value, label in ColourArea.Colouring.choices if value]


class BuildForm(TypedForm):
    """A rule: its sheeting, overlay and blank, and a row for each colour."""

    sign_code = WordsField(
        label="Sign code", max_length=24, help_text="Such as R1-1. Empty: any code."
    )
    sheeting_type = PickField(
        label="Sheeting type (ASTM D4956)",
        choices=TYPE_CHOICES,
        empty_words="pick the type",
        missing="Say on which sheeting type.",
    )
    base_color = PickField(
        label="Colour of the base sheeting",
        choices=BASE_CHOICES,
        empty_words="pick the colour",
        missing="Say which colour the base sheeting has.",
    )
    overlay = PickField(
        label="Overlay film",
        choices=BuildRule.Overlay.choices,
        empty_words="pick one",
        missing="Say whether it gets overlay film.",
    )
    blank_thickness_in = DecimalField(
        unit="inches", label="Thickness of the blank, in", help_text="Empty: not stated."
    )
    blank_holes = WordsField(
        label="Holes of the blank", max_length=120, help_text="Empty: not stated."
    )
    is_in_use = forms.BooleanField(label="In use", required=False)

    def __init__(self, *args: Any, held: list[BuiltArea], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.count = min(MOST_AREAS, max(LEAST_ROWS, len(held) + SPARE_ROWS))
        for number in range(1, self.count + 1):
            area = held[number - 1] if number <= len(held) else None
            self.fields[f"color_{number}"] = PickField(
                label=f"Colour {number}",
                choices=COLOUR_CHOICES,
                empty_words="none",
                initial=area.color if area else None,
            )
            self.fields[f"part_{number}"] = PickField(
                label=f"Part with colour {number}",
                choices=ColourArea.Part.choices,
                empty_words="pick the part",
                initial=area.part if area else None,
            )
            self.fields[f"colouring_{number}"] = PickField(
                label=f"What makes colour {number}",
                choices=_COLOURINGS,
                empty_words="pick what makes it",
                initial=area.colouring.value if area else None,
            )

    @property
    def heads(self) -> list[Any]:
        """Return the fields of the whole face."""
        names = ("sign_code", "sheeting_type", "base_color", "overlay")
        return [self[name] for name in (*names, "blank_thickness_in", "blank_holes")]

    @property
    def rows(self) -> list[tuple[Any, Any, Any]]:
        """Return the three fields of each colour."""
        return [
            (self[f"color_{number}"], self[f"part_{number}"], self[f"colouring_{number}"])
            for number in range(1, self.count + 1)
        ]

    def clean(self) -> dict[str, Any]:
        """Refuse a colour without its part or what makes it."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        for number in range(1, self.count + 1):
            typed = {
                name: data.get(f"{name}_{number}") for name in ("color", "part", "colouring")
            }
            if any(typed.values()):
                for name, value in typed.items():
                    if not value and f"{name}_{number}" not in self.errors:
                        what = {"color": "the colour", "part": "the part"}
                        said = what.get(name, "what makes it")
                        self.add_error(f"{name}_{number}", f"Pick {said} of row {number}.")
        return data

    def content(self) -> BuildContent:
        """Return what was typed."""
        data = self.cleaned_data
        return BuildContent(
            sign_code=data["sign_code"],
            sheeting_type=data["sheeting_type"],
            base_color=data["base_color"],
            overlay=data["overlay"],
            blank_thickness_in=data["blank_thickness_in"],
            blank_holes=data["blank_holes"],
            areas=[
                BuiltArea(
                    data[f"part_{number}"],
                    data[f"color_{number}"],
                    Colouring(data[f"colouring_{number}"]),
                )
                for number in range(1, self.count + 1)
                if data[f"color_{number}"]
            ],
        )


@require_safe
@role_required(Role.SHOP)
def build_list(request: MemberRequest) -> HttpResponse:
    """Show the shop's rules, those in use first."""
    rules = BuildRule.objects.owned_by(request.organisation).prefetch_related("areas")
    page = page_of(request, rules.order_by("-is_in_use", "sign_code", "sheeting_type", "pk"))
    context = {"page": page, "rows": [(rule, build_by(rule, areas_of(rule))) for rule in page]}
    return render(request, "inventory/ordering/build_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def build_set(request: MemberRequest, build_id: int | None = None) -> HttpResponse:
    """Add a rule, change one, or take it out of use."""
    rule: BuildRule | None = None
    initial: dict[str, Any] = {"is_in_use": True}
    held: list[BuiltArea] = []
    if build_id is not None:
        rule = get_object_or_404(BuildRule.objects.owned_by(request.organisation), pk=build_id)
        held = areas_of(rule)
        names = ("sign_code", "sheeting_type", "base_color", "overlay", "blank_holes")
        initial = {name: getattr(rule, name) for name in (*names, "is_in_use")}
        initial["blank_thickness_in"] = build_by(rule, held).blank_thickness_in
    form = BuildForm(request.POST or None, held=held, initial=initial)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                kept = set_build_rule(
                    shop=request.organisation,
                    rule=rule,
                    content=form.content(),
                    is_in_use=form.cleaned_data["is_in_use"],
                    by=request.user,
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"The {kept} is kept.")
                return redirect("build-list")
    context = {"form": form, "rule": rule}
    return render(request, "inventory/ordering/build_set.html", context, status=status)
