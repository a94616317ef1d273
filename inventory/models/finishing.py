"""What was found when a new face was checked at the shop."""

from django.db import models
from django.db.models import Q

from inventory.models.people import User
from inventory.models.scope import ALL_COLUMNS, Fact
from inventory.models.signs import Sign


class FaceCheck(Fact):
    """A new face looked at before it leaves the shop; checked again, the later one counts."""

    class Readings(models.TextChoices):
        MET = "met", "at or above the minimum of new sheeting"
        BELOW = "below", "below the minimum of new sheeting"
        NOT_KNOWN = "not_known", "no minimum to compare with"
        NONE = "none", "not read"

    sign = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="face_checks")
    is_look_right = models.BooleanField()
    is_size_right = models.BooleanField()
    is_legend_right = models.BooleanField()
    readings = models.CharField(max_length=9, choices=Readings)
    colors = models.JSONField(
        default=list, help_text="By colour: the mean, the minimum, its table, and the verdict."
    )
    is_passed = models.BooleanField()
    note = models.CharField(max_length=200, blank=True)
    lost_ft2 = models.FloatField(
        null=True, blank=True, help_text="Sheeting lost with a face that did not pass."
    )
    checked_at = models.DateTimeField()
    checked_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "sign__maker", "counterparty": "sign__owner"}
    reader_columns = {"owner": ALL_COLUMNS, "counterparty": ALL_COLUMNS}

    class Meta:
        ordering = ("sign", "checked_at", "pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(is_passed=False)
                | Q(is_look_right=True, is_size_right=True, is_legend_right=True)
                & ~Q(readings="below"),
                name="passed_face_has_no_fault",
            ),
            models.CheckConstraint(
                condition=Q(is_passed=True) | Q(lost_ft2__isnull=False),
                name="failed_face_says_what_is_lost",
            ),
        )

    def __str__(self) -> str:
        return f"check of {self.sign}: {'passed' if self.is_passed else 'failed'}"
