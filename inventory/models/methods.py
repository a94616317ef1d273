"""Which method keeps which signs at their level, since when, and what supports it."""

from django.db import models
from django.db.models import F, Q

from inventory.models.people import Organisation, User
from inventory.models.places import Position
from inventory.models.scope import Fact, Scoped


class MethodGroup(Scoped):
    """Signs that an agency keeps at their level by one method, for a stretch of time."""

    class Method(models.TextChoices):
        MEASURED = "measured", "measured retroreflectivity"
        VISUAL_NIGHT = "visual_night", "visual inspection at night"
        EXPECTED_LIFE = "expected_life", "expected sign life"
        BLANKET = "blanket", "blanket replacement"
        CONTROL_SIGNS = "control_signs", "control signs"
        EXCLUDED = "excluded", "left out under a clause"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="method_groups"
    )
    name = models.CharField(max_length=120)
    method = models.CharField(max_length=16, choices=Method)
    started_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    recorded_at = models.DateTimeField()
    ended_recorded_at = models.DateTimeField(null=True, blank=True)
    basis = models.TextField(help_text="The decision or study the method rests on.")
    interval_months = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How often signs are inspected, or all replaced."
    )
    expected_life_years = models.PositiveSmallIntegerField(null=True, blank=True)
    exclusion_key = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ("organisation", "name", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "name"), name="method_group_name_once"
            ),
            models.CheckConstraint(condition=~Q(basis=""), name="method_group_has_basis"),
            models.CheckConstraint(
                condition=Q(ended_on__isnull=True) | Q(ended_on__gte=F("started_on")),
                name="method_group_ends_after_start",
            ),
            models.CheckConstraint(
                condition=~Q(method="excluded") | ~Q(exclusion_key=""),
                name="excluded_group_names_clause",
            ),
            models.CheckConstraint(
                condition=~Q(method="expected_life") | Q(expected_life_years__gt=0),
                name="life_group_has_years",
            ),
            models.CheckConstraint(
                condition=~Q(
                    method__in=("measured", "visual_night", "blanket", "control_signs")
                )
                | Q(interval_months__gt=0),
                name="method_group_has_interval",
            ),
        )

    def __str__(self) -> str:
        return self.name


class MethodAssignment(Scoped):
    """One place under one method group, from a day on, until another day when it has ended."""

    group = models.ForeignKey(MethodGroup, on_delete=models.PROTECT, related_name="assignments")
    position = models.ForeignKey(
        Position, on_delete=models.PROTECT, related_name="method_assignments"
    )
    is_control_sign = models.BooleanField(
        default=False, help_text="Measured to stand for the others of its group."
    )
    from_on = models.DateField()
    until_on = models.DateField(null=True, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)
    ended_recorded_at = models.DateTimeField(null=True, blank=True)

    reader_paths = {"owner": "group__organisation"}

    class Meta:
        ordering = ("group", "position", "from_on", "pk")
        indexes = (
            models.Index(fields=("position", "from_on"), name="assignment_by_position"),
            models.Index(fields=("group", "until_on"), name="assignment_by_group"),
        )
        constraints = (
            models.UniqueConstraint(
                fields=("position",),
                condition=Q(until_on__isnull=True),
                name="position_under_one_method",
            ),
            models.CheckConstraint(
                condition=Q(until_on__isnull=True) | Q(until_on__gte=F("from_on")),
                name="assignment_ends_after_start",
            ),
        )

    def __str__(self) -> str:
        return f"{self.position_id} under {self.group}"


class MethodStep(Fact):
    """Something done to apply a method: a night run, a measuring round, a replacement."""

    group = models.ForeignKey(MethodGroup, on_delete=models.PROTECT, related_name="steps")
    done_on = models.DateField()
    text = models.CharField(max_length=255)
    evidence = models.JSONField(default=dict, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    reader_paths = {"owner": "group__organisation"}

    class Meta:
        ordering = ("group", "-done_on", "-pk")

    def __str__(self) -> str:
        return f"{self.done_on}: {self.text}"
