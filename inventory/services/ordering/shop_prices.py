"""What a shop pays for its material and how thick its blanks are, as it enters them."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from inventory.engineering.ordering.costs import Prices, ThicknessStep
from inventory.engineering.standards.substrate import published_thicknesses
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    BlankPrice,
    Organisation,
    SheetingPrice,
    ShopPrices,
    ThicknessRow,
)
from inventory.services.logbook import log

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.models import User

MOST_PRICE = Decimal(100_000)
MOST_SIDE_IN = Decimal(240)
MOST_THICKNESS_IN = Decimal(1)
MOST_ROWS = 12
FINEST_PRICE = Decimal("0.0001")


@transaction.atomic
def set_shop_prices(
    *,
    shop: Organisation,
    currency: str,
    overlay_price_ft2: Decimal | None,
    by: User | None = None,
    now: datetime | None = None,
) -> ShopPrices:
    """Set the shop's currency and what a ft² of overlay film costs; none: not entered."""
    now = now or timezone.now()
    _lock(shop)
    currency = currency.strip()
    if not 0 < len(currency) <= 12:
        msg = f"'{currency}' is no currency; type one such as $, up to 12 characters."
        raise OutOfRangeError(msg)
    if overlay_price_ft2 is not None:
        _check_price(overlay_price_ft2)
    prices, _ = ShopPrices.objects.update_or_create(
        organisation=shop,
        defaults={
            "currency": currency,
            "overlay_price_ft2": overlay_price_ft2,
            "set_at": now,
            "set_by": by,
        },
    )
    words = "not entered" if overlay_price_ft2 is None else f"{overlay_price_ft2} a ft²"
    _log(shop, by, f"Prices are in {currency}; overlay film: {words}.", now)
    return prices


@transaction.atomic
def set_sheeting_price(
    *,
    shop: Organisation,
    sheeting_type: str,
    color: str = "",
    price_ft2: Decimal | None,
    by: User | None = None,
    now: datetime | None = None,
) -> SheetingPrice | None:
    """Set what a ft² of a sheeting costs, of one colour or every other; none takes it off."""
    now = now or timezone.now()
    _lock(shop)
    key: dict[str, Any] = {"organisation": shop, "sheeting_type": sheeting_type, "color": color}
    words = f"Type {sheeting_type}, {color or 'every other colour'}"
    if price_ft2 is None:
        if SheetingPrice.objects.filter(**key).delete()[0]:
            _log(shop, by, f"{words}: the price is taken off.", now)
        return None
    _check_price(price_ft2)
    price, _ = SheetingPrice.objects.update_or_create(
        **key, defaults={"price_ft2": price_ft2, "set_at": now, "set_by": by}
    )
    _log(shop, by, f"{words}: {price_ft2} a ft².", now)
    return price


@transaction.atomic
def set_blank_price(
    *,
    shop: Organisation,
    thickness_in: Decimal,
    price: Decimal | None,
    width_in: Decimal | None = None,
    height_in: Decimal | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> BlankPrice | None:
    """Set what a blank of a size costs, or without a size a ft² of it; none takes it off."""
    now = now or timezone.now()
    _lock(shop)
    _check_length(thickness_in, MOST_THICKNESS_IN, "thickness")
    short_in = long_in = None
    if width_in is not None and height_in is not None:
        short_in, long_in = sorted((width_in, height_in))
        for side in (short_in, long_in):
            _check_length(side, MOST_SIDE_IN, "side")
    elif width_in is not None or height_in is not None:
        msg = "Type both sides of the blank, or none for a price by the ft²."
        raise OutOfRangeError(msg)
    key: dict[str, Any] = {
        "organisation": shop,
        "thickness_in": thickness_in,
        "short_in": short_in,
        "long_in": long_in,
    }
    # None as a value finds nothing: it has to be asked for as such.
    asked = {
        name if value is not None else f"{name}__isnull": True if value is None else value
        for name, value in key.items()
    }
    found = BlankPrice.objects.filter(**asked).first()
    words = f"Blanks of {thickness_in} in"
    words += ", by the ft²" if short_in is None else f", {short_in} × {long_in} in, each"
    if price is None:
        if found is not None:
            found.delete()
            _log(shop, by, f"{words}: the price is taken off.", now)
        return None
    _check_price(price)
    if found is None:
        found = BlankPrice.objects.create(**key, price=price, set_at=now, set_by=by)
    else:
        found.price, found.set_at, found.set_by = price, now, by
        found.save(update_fields=["price", "set_at", "set_by"])
    _log(shop, by, f"{words}: {price}.", now)
    return found


@transaction.atomic
def set_thickness_rule(
    *,
    shop: Organisation,
    rows: Sequence[ThicknessStep],
    basis: str,
    by: User | None = None,
    now: datetime | None = None,
) -> list[ThicknessRow]:
    """Put a rule for the thickness of blanks in the place of the one before; no row: none."""
    now = now or timezone.now()
    _lock(shop)
    basis = basis.strip()
    if rows and not basis:
        msg = "Say where the rule comes from, such as a specification or your own practice."
        raise OutOfRangeError(msg)
    if len(rows) > MOST_ROWS:
        msg = f"{len(rows)} rows are too many; a rule has up to {MOST_ROWS}."
        raise OutOfRangeError(msg)
    sizes = [row.up_to_in for row in rows]
    for size in sizes:
        if sizes.count(size) > 1:
            words = "all longer sides" if size is None else f"{size} in"
            msg = f"The rule has {words} twice; give each size one thickness."
            raise OutOfRangeError(msg)
    for row in rows:
        _check_length(row.thickness_in, MOST_THICKNESS_IN, "thickness")
        if row.up_to_in is not None:
            _check_length(row.up_to_in, MOST_SIDE_IN, "side")
    ThicknessRow.objects.filter(organisation=shop).delete()
    made = [
        ThicknessRow.objects.create(
            organisation=shop,
            up_to_in=row.up_to_in,
            thickness_in=row.thickness_in,
            basis=basis[:255],
            set_at=now,
            set_by=by,
        )
        for row in rows
    ]
    words = "; ".join(str(row) for row in made)
    text = f"Thickness of blanks: {words}. {basis}" if made else "No rule for thickness holds."
    _log(shop, by, text, now)
    return made


def adopt_published_rule(
    *, shop: Organisation, by: User | None = None, now: datetime | None = None
) -> list[ThicknessRow]:
    """Make the published rule for the thickness the shop's own, its source beside it."""
    published = published_thicknesses()
    return set_thickness_rule(
        shop=shop,
        rows=[
            ThicknessStep(up_to_in=row.up_to_in, thickness_in=row.thickness_in)
            for row in published
        ],
        basis=published[0].source,
        by=by,
        now=now,
    )


def currency_of(shop: Organisation) -> str:
    """Return the currency a shop's prices are in."""
    found = ShopPrices.objects.filter(organisation=shop).values_list("currency", flat=True)
    return str(found.first() or "$")


def prices_of(shop: Organisation) -> Prices:
    """Return what a shop pays, as costs are reckoned from it."""
    general = ShopPrices.objects.filter(organisation=shop).first()
    blanks = list(BlankPrice.objects.filter(organisation=shop))
    return Prices(
        sheeting={
            (each.sheeting_type, each.color): each.price_ft2
            for each in SheetingPrice.objects.filter(organisation=shop)
        },
        overlay_ft2=general.overlay_price_ft2 if general else None,
        blank_ft2={each.thickness_in: each.price for each in blanks if each.short_in is None},
        blank_each={
            (each.thickness_in, each.short_in, each.long_in): each.price
            for each in blanks
            if each.short_in is not None and each.long_in is not None
        },
    )


def thickness_rule_of(shop: Organisation) -> list[ThicknessRow]:
    """Return a shop's rule for the thickness of blanks, smallest first; empty: it has none."""
    return list(ThicknessRow.objects.filter(organisation=shop))


def _lock(shop: Organisation) -> None:
    Organisation.objects.select_for_update().get(pk=shop.pk)
    if shop.kind != Organisation.Kind.SHOP:
        msg = f"{shop} is a {shop.get_kind_display()}; only a sign shop enters its prices."
        raise StateConflictError(msg)


def _check_price(price: Decimal) -> None:
    if not (price.is_finite() and 0 <= price <= MOST_PRICE):
        msg = f"A price of {price} is out of range; it is 0 to {MOST_PRICE:,}."
        raise OutOfRangeError(msg)
    if price != price.quantize(FINEST_PRICE):
        msg = f"A price of {price} is too fine; it has up to four decimals."
        raise OutOfRangeError(msg)


def _check_length(length_in: Decimal, most_in: Decimal, what: str) -> None:
    if not (length_in.is_finite() and 0 < length_in <= most_in):
        msg = f"A {what} of {length_in} in is out of range; it is over 0, to {most_in} in."
        raise OutOfRangeError(msg)
    places = 4 if what == "thickness" else 3
    if round(length_in, places) != length_in:
        msg = f"A {what} of {length_in} in is too fine; it has up to {places} decimals."
        raise OutOfRangeError(msg)


def _log(shop: Organisation, by: User | None, text: str, now: datetime) -> None:
    log(organisation=shop, actor=by, verb="set prices", text=text, at=now)
