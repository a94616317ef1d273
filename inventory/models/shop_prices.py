"""What a shop pays for its material, and how thick its blanks are: its own, none is shipped."""

from django.db import models
from django.db.models import F, Q

from inventory.models.people import Organisation, User
from inventory.models.scope import Scoped


class ShopSetting(Scoped):
    """Something a shop entered, when and who; its logbook tells what it was before."""

    set_at = models.DateTimeField()
    set_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        abstract = True


class ShopPrices(ShopSetting):
    """A shop's currency, and its price of overlay film."""

    organisation = models.OneToOneField(
        Organisation, on_delete=models.PROTECT, related_name="shop_prices"
    )
    currency = models.CharField(max_length=12, default="$")
    overlay_price_ft2 = models.DecimalField(
        max_digits=10, decimal_places=4, null=True, blank=True, help_text="[money/ft²]"
    )

    class Meta:
        ordering = ("organisation",)
        constraints = (
            models.CheckConstraint(condition=~Q(currency=""), name="shop_prices_have_currency"),
            models.CheckConstraint(
                condition=Q(overlay_price_ft2__isnull=True) | Q(overlay_price_ft2__gte=0),
                name="overlay_price_not_negative",
            ),
        )

    def __str__(self) -> str:
        return f"prices of {self.organisation}"


class SheetingPrice(ShopSetting):
    """What a square foot of a sheeting costs, of one colour or of every other one."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="sheeting_prices"
    )
    sheeting_type = models.CharField(max_length=8)
    color = models.CharField(max_length=32, blank=True, help_text="Empty: every other colour.")
    price_ft2 = models.DecimalField(max_digits=10, decimal_places=4, help_text="[money/ft²]")

    class Meta:
        ordering = ("organisation", "sheeting_type", "color")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "sheeting_type", "color"), name="sheeting_price_once"
            ),
            models.CheckConstraint(
                condition=Q(price_ft2__gte=0), name="sheeting_price_not_negative"
            ),
        )

    def __str__(self) -> str:
        return f"price of Type {self.sheeting_type} {self.color or 'of every other colour'}"


class BlankPrice(ShopSetting):
    """What a blank of a size costs, or, without a size, a square foot of its thickness."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="blank_prices"
    )
    thickness_in = models.DecimalField(max_digits=6, decimal_places=4)
    short_in = models.DecimalField(
        max_digits=7, decimal_places=3, null=True, blank=True, help_text="Empty: by the ft²."
    )
    long_in = models.DecimalField(max_digits=7, decimal_places=3, null=True, blank=True)
    price = models.DecimalField(
        max_digits=10, decimal_places=4, help_text="[money], or [money/ft²] without a size."
    )

    class Meta:
        ordering = ("organisation", "thickness_in", "long_in", "short_in", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "thickness_in", "short_in", "long_in"),
                name="blank_price_once_a_size",
            ),
            models.UniqueConstraint(
                fields=("organisation", "thickness_in"),
                condition=Q(short_in__isnull=True),
                name="blank_price_once_by_area",
            ),
            models.CheckConstraint(
                condition=Q(thickness_in__gt=0, price__gte=0), name="blank_price_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(short_in__isnull=True, long_in__isnull=True)
                | Q(
                    short_in__isnull=False,
                    long_in__isnull=False,
                    short_in__gt=0,
                    long_in__gte=F("short_in"),
                ),
                name="blank_price_has_a_size",
            ),
        )

    def __str__(self) -> str:
        size = "" if self.short_in is None else f", {self.short_in} × {self.long_in} in"
        return f"price of blanks of {self.thickness_in} in{size}"


class ThicknessRow(ShopSetting):
    """A row of a shop's rule: up to this longest side a blank is so thick, on what grounds."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="thickness_rows"
    )
    up_to_in = models.DecimalField(
        max_digits=7,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="The longest side; empty: all longer ones.",
    )
    thickness_in = models.DecimalField(max_digits=6, decimal_places=4)
    basis = models.CharField(max_length=255, help_text="Where the rule comes from.")

    class Meta:
        ordering = ("organisation", F("up_to_in").asc(nulls_last=True), "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "up_to_in"), name="thickness_once_a_size"
            ),
            models.UniqueConstraint(
                fields=("organisation",),
                condition=Q(up_to_in__isnull=True),
                name="thickness_once_for_longer",
            ),
            models.CheckConstraint(
                condition=Q(thickness_in__gt=0)
                & (Q(up_to_in__isnull=True) | Q(up_to_in__gt=0)),
                name="thickness_row_positive",
            ),
            models.CheckConstraint(condition=~Q(basis=""), name="thickness_row_has_a_basis"),
        )

    def __str__(self) -> str:
        size = "longer" if self.up_to_in is None else f"up to {self.up_to_in.normalize():f} in"
        return f"{size}: {self.thickness_in.normalize():f} in"
