"""How a shop builds its faces: rules for a code and a sheeting type, kept by order lines."""

from django.db import models
from django.db.models import Q

from inventory.models.people import Organisation
from inventory.models.scope import Scoped
from inventory.models.shop_prices import ShopSetting
from inventory.models.signs import ColourArea


class BuildRule(ShopSetting):
    """
    How faces of a code, or of any, are built on a sheeting type; one of a kind is in use.

    An order line keeps its own copy from the day the order was accepted.
    """

    class Overlay(models.TextChoices):
        WITH = "with", "with overlay"
        WITHOUT = "without", "without overlay"
        ASKED = "asked", "as asked"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="build_rules"
    )
    sign_code = models.CharField(max_length=24, blank=True, help_text="Empty: any code.")
    sheeting_type = models.CharField(max_length=8)
    base_color = models.CharField(max_length=32, help_text="Colour of the base sheeting.")
    overlay = models.CharField(max_length=8, choices=Overlay)
    blank_thickness_in = models.DecimalField(
        max_digits=6, decimal_places=4, null=True, blank=True, help_text="Empty: not stated."
    )
    blank_holes = models.CharField(
        max_length=120, blank=True, help_text="The pattern, in words; empty: not stated."
    )
    is_in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ("organisation", "-is_in_use", "sign_code", "sheeting_type", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "sign_code", "sheeting_type"),
                condition=Q(is_in_use=True),
                name="build_rule_once_in_use",
            ),
            models.CheckConstraint(
                condition=~Q(sheeting_type="") & ~Q(base_color=""),
                name="build_rule_has_a_base",
            ),
            models.CheckConstraint(
                condition=Q(blank_thickness_in__isnull=True) | Q(blank_thickness_in__gt=0),
                name="build_rule_thickness_positive",
            ),
        )

    def __str__(self) -> str:
        return f"build of {self.sign_code or 'any code'} on Type {self.sheeting_type}"


class BuildArea(Scoped):
    """What makes a colour of a part of a face by its rule."""

    rule = models.ForeignKey(BuildRule, on_delete=models.CASCADE, related_name="areas")
    part = models.CharField(max_length=12, choices=ColourArea.Part)
    color = models.CharField(max_length=32)
    colouring = models.CharField(max_length=16, choices=ColourArea.Colouring)

    reader_paths = {"owner": "rule__organisation"}

    class Meta:
        ordering = ("rule", "pk")
        constraints = (
            models.UniqueConstraint(fields=("rule", "part", "color"), name="build_area_once"),
            models.CheckConstraint(
                condition=~Q(color="") & ~Q(colouring=""), name="build_area_says_what"
            ),
        )

    def __str__(self) -> str:
        return f"{self.color} {self.part}: {self.get_colouring_display()}"
