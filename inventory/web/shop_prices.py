"""What a shop pays for its material, and its rule for the thickness of blanks."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from inventory.engineering.ordering.costs import ThicknessStep
from inventory.engineering.standards.substrate import published_thicknesses
from inventory.errors import InventoryError
from inventory.models import BlankPrice, Role, SheetingPrice, ShopPrices
from inventory.services.ordering.shop_prices import (
    MOST_ROWS,
    adopt_published_rule,
    currency_of,
    set_blank_price,
    set_sheeting_price,
    set_shop_prices,
    set_thickness_rule,
    thickness_rule_of,
)
from inventory.web.form_fields import PickField, TypedForm, WordsField
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.stock import COLOUR_CHOICES, TYPE_CHOICES

if TYPE_CHECKING:
    from django.http import HttpResponse

LONGEST_NUMBER = 24
SPARE_ROWS = 2
LEAST_ROWS = 4


class DecimalField(forms.DecimalField):
    """A number kept as it was typed, in a stated unit."""

    def __init__(self, *, unit: str, missing: str = "", **kwargs: Any) -> None:
        self.unit = unit
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal"}))
        if missing:
            kwargs["error_messages"] = {"required": missing}
        super().__init__(required=bool(missing), **kwargs)

    def to_python(self, value: Any) -> Any:
        told = str(value or "").strip()
        if len(told) > LONGEST_NUMBER:
            msg = f"'{told[:LONGEST_NUMBER]}…' is too long; {LONGEST_NUMBER} figures will do."
            raise ValidationError(msg)
        try:
            return super().to_python(value)
        except ValidationError as error:
            msg = (
                f"'{told}' is not a number; write it in figures with a decimal point, in "
                f"{self.unit}."
            )
            raise ValidationError(msg) from error


class GeneralForm(TypedForm):
    """The currency and the price of overlay film."""

    currency = WordsField(
        label="Currency", max_length=12, missing="Type the currency, such as $."
    )
    overlay_price_ft2 = DecimalField(
        unit="money a ft²", label="Overlay film, a ft²", help_text="Empty: not entered."
    )


class SheetingForm(TypedForm):
    """The price of one sheeting."""

    sheeting_type = PickField(
        label="Sheeting type (ASTM D4956)",
        choices=TYPE_CHOICES,
        empty_words="pick the type",
        missing="Say which type of sheeting it is.",
    )
    color = PickField(label="Colour", choices=[("", "every other colour"), *COLOUR_CHOICES])
    price_ft2 = DecimalField(
        unit="money a ft²",
        label="Price a ft²",
        help_text="Empty: the price that is there is taken off.",
    )


class BlankPriceForm(TypedForm):
    """The price of blanks of one thickness."""

    thickness_in = DecimalField(
        unit="inches", label="Thickness, in", missing="Type the thickness, such as 0.080."
    )
    width_in = DecimalField(
        unit="inches", label="Width, in", help_text="Both sides empty: a price by the ft²."
    )
    height_in = DecimalField(unit="inches", label="Height, in")
    price = DecimalField(
        unit="money",
        label="Price of a blank, or of a ft²",
        help_text="Empty: the price that is there is taken off.",
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def shop_prices(request: MemberRequest) -> HttpResponse:
    """Show what the shop pays, and change one price at a time."""
    shop = request.organisation
    general = ShopPrices.objects.owned_by(shop).first()
    act = request.POST.get("act", "")
    given = {name: request.POST if name == act else None for name in _FORMS}
    forms_shown: dict[str, TypedForm] = {
        "general": GeneralForm(
            given["general"],
            prefix="general",
            initial={
                "currency": general.currency if general else "$",
                "overlay_price_ft2": _plain(general.overlay_price_ft2) if general else None,
            },
        ),
        "sheeting": SheetingForm(given["sheeting"], prefix="sheeting"),
        "blank": BlankPriceForm(given["blank"], prefix="blank"),
    }
    status = 200
    if request.method == "POST":
        status = 400
        form = forms_shown.get(act)
        if form is not None and form.is_valid():
            try:
                before = currency_of(shop)
                _FORMS[act](shop=shop, by=request.user, **form.cleaned_data)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "The price is kept.")
                if currency_of(shop) != before:
                    words = "The figures are not changed: look at each price."
                    messages.warning(request, f"Prices are in {currency_of(shop)} now. {words}")
                return redirect("shop-prices")
    context = {
        "general": general,
        "currency": currency_of(shop),
        "sheeting": SheetingPrice.objects.owned_by(shop).order_by("sheeting_type", "color"),
        "page": page_of(
            request,
            BlankPrice.objects.owned_by(shop).order_by(
                "thickness_in", "long_in", "short_in", "pk"
            ),
        ),
        "forms": forms_shown,
        "form": forms_shown.get(act),
    }
    return render(request, "inventory/ordering/shop_prices.html", context, status=status)


_FORMS: dict[str, Any] = {
    "general": set_shop_prices,
    "sheeting": set_sheeting_price,
    "blank": set_blank_price,
}


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.SHOP)
def thickness_rule(request: MemberRequest) -> HttpResponse:
    """Show the rule for the thickness of blanks; adopt the published one, or change it."""
    shop = request.organisation
    rule = thickness_rule_of(shop)
    form = RuleForm(
        request.POST if request.POST.get("act") == "set" else None,
        held=[(row.up_to_in, row.thickness_in) for row in rule],
        initial={"basis": rule[0].basis if rule else ""},
    )
    status = 200
    if request.method == "POST":
        status = 400
        try:
            if request.POST.get("act") == "adopt":
                adopt_published_rule(shop=shop, by=request.user)
                messages.success(request, "The published rule is the shop's own now.")
                return redirect("thickness-rule")
            if form.is_valid():
                set_thickness_rule(
                    shop=shop,
                    rows=form.steps(),
                    basis=form.cleaned_data["basis"],
                    by=request.user,
                )
                messages.success(request, "The rule is kept.")
                return redirect("thickness-rule")
        except InventoryError as error:
            status = int(form.refuse(error))
    context = {"rule": rule, "published": published_thicknesses(), "form": form}
    return render(request, "inventory/ordering/thickness_rule.html", context, status=status)


class RuleForm(TypedForm):
    """The rows of the rule, with some to spare, and where it comes from."""

    basis = WordsField(
        label="Where it comes from",
        max_length=255,
        help_text="Such as a specification, a contract or your own practice.",
    )

    def __init__(
        self, *args: Any, held: list[tuple[Decimal | None, Decimal]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.count = min(MOST_ROWS, max(LEAST_ROWS, len(held) + SPARE_ROWS))
        for number in range(1, self.count + 1):
            has = number <= len(held)
            up_to_in, thickness_in = held[number - 1] if has else (None, None)
            self.fields[f"up_to_{number}"] = DecimalField(
                unit="inches", label=f"Row {number}: up to, in", initial=_plain(up_to_in)
            )
            self.fields[f"thickness_{number}"] = DecimalField(
                unit="inches", label="Thickness, in", initial=_plain(thickness_in, 3)
            )
        self.order_fields([name for name in self.fields if name != "basis"])

    def rows(self) -> list[tuple[Any, Any]]:
        """Return the two fields of each row."""
        return [
            (self[f"up_to_{number}"], self[f"thickness_{number}"])
            for number in range(1, self.count + 1)
        ]

    def clean(self) -> dict[str, Any]:
        """Refuse a size without its thickness."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        for number in range(1, self.count + 1):
            up_to, thickness = data.get(f"up_to_{number}"), data.get(f"thickness_{number}")
            if up_to is not None and thickness is None:
                self.add_error(
                    f"thickness_{number}", f"Type the thickness of sides up to {up_to} in."
                )
        return data

    def steps(self) -> list[ThicknessStep]:
        """Return the rows that are filled."""
        data = self.cleaned_data
        return [
            ThicknessStep(
                up_to_in=data[f"up_to_{number}"], thickness_in=data[f"thickness_{number}"]
            )
            for number in range(1, self.count + 1)
            if data[f"thickness_{number}"] is not None
        ]


def _plain(value: Decimal | None, places: int = 0) -> str | None:
    """Return a decimal as one would type it, with at least so many places."""
    if value is None:
        return None
    whole, _point, rest = f"{value:f}".partition(".")
    rest = rest.rstrip("0").ljust(places, "0")
    return f"{whole}.{rest}" if rest else whole
