"""An agency's own sign types and its own words for published ones."""

from django.db import models
from django.db.models import Q

from inventory.models.people import Organisation
from inventory.models.scope import Scoped


class LocalSignType(Scoped):
    """A sign type the agency uses that the published catalogue does not hold."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="local_sign_types"
    )
    code = models.CharField(max_length=24)
    name = models.CharField(max_length=120)
    series = models.CharField(max_length=16, help_text="Decides the safety class.")
    shape = models.CharField(max_length=24, blank=True, help_text="Blank: not known.")
    background_color = models.CharField(max_length=32, blank=True)
    legend_color = models.CharField(max_length=32, blank=True)
    symbol_class = models.CharField(max_length=8, blank=True)
    width_in = models.FloatField(null=True, blank=True)
    height_in = models.FloatField(null=True, blank=True)
    is_plaque = models.BooleanField(default=False)

    class Meta:
        ordering = ("organisation", "code")
        constraints = (
            models.UniqueConstraint(fields=("organisation", "code"), name="local_code_once"),
            models.CheckConstraint(
                condition=Q(width_in__isnull=True) | Q(width_in__gt=0),
                name="local_width_positive",
            ),
            models.CheckConstraint(
                condition=Q(height_in__isnull=True) | Q(height_in__gt=0),
                name="local_height_positive",
            ),
        )

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class CodeAlias(Scoped):
    """An agency's word for a code of the catalogue or of its own list."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="code_aliases"
    )
    alias = models.CharField(max_length=48)
    code = models.CharField(max_length=24)

    class Meta:
        ordering = ("organisation", "alias")
        constraints = (
            models.UniqueConstraint(fields=("organisation", "alias"), name="alias_once"),
        )

    def __str__(self) -> str:
        return f"{self.alias} means {self.code}"
