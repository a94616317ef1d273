"""A row of each record of what a shop pays for its material."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.models import BlankPrice, SheetingPrice, ShopPrices, ThicknessRow
from tests.factories import NOW

if TYPE_CHECKING:
    from inventory.models import Organisation


def fill_shop_prices(shop: Organisation) -> None:
    """Enter a price of each material, by size and by area, and a rule for the thickness."""
    if ShopPrices.objects.filter(organisation=shop).exists():
        return
    ShopPrices.objects.create(organisation=shop, overlay_price_ft2=Decimal("0.90"), set_at=NOW)
    SheetingPrice.objects.create(
        organisation=shop, sheeting_type="XI", price_ft2=Decimal("4.25"), set_at=NOW
    )
    for size in (None, Decimal(30)):
        BlankPrice.objects.create(
            organisation=shop,
            thickness_in=Decimal("0.080"),
            short_in=size,
            long_in=size,
            price=Decimal("3.10"),
            set_at=NOW,
        )
    for up_to_in, thickness in ((Decimal(36), "0.080"), (None, "0.125")):
        ThicknessRow.objects.create(
            organisation=shop,
            up_to_in=up_to_in,
            thickness_in=Decimal(thickness),
            basis="the shop's own",
            set_at=NOW,
        )
