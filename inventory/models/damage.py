"""Damage the agency was told of: when it was seen, known, and put right."""

import uuid

from django.db import models
from django.db.models import F, Q

from inventory.models.inspection import Inspection, Observation
from inventory.models.people import Organisation, User
from inventory.models.places import Position
from inventory.models.scope import Fact
from inventory.models.signs import Sign


class DamageReport(Fact):
    """One report of damage; its three times are kept apart, and none is ever changed."""

    class Channel(models.TextChoices):
        PHONE_APP = "phone_app", "by a crew's phone"
        DESK = "desk", "found at the desk"
        CALL = "call", "told by telephone or letter"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="damage_reports"
    )
    client_uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    position = models.ForeignKey(
        Position, on_delete=models.PROTECT, related_name="damage_reports"
    )
    sign = models.ForeignKey(
        Sign, null=True, blank=True, on_delete=models.PROTECT, related_name="damage_reports"
    )
    inspection = models.OneToOneField(
        Inspection,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="damage_report",
        help_text="The visit on which it was seen, where a crew saw it.",
    )
    channel = models.CharField(max_length=10, choices=Channel)
    kind = models.CharField(max_length=14, choices=Observation.Kind)
    severity = models.PositiveSmallIntegerField(choices=Observation.Severity)
    description = models.CharField(max_length=255, blank=True)
    told_by = models.CharField(max_length=120, blank=True, help_text="Who told of it.")
    reported_at = models.DateTimeField(help_text="When it was first seen or told.")
    notified_at = models.DateTimeField(help_text="When the agency came to know of it.")
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    class Meta:
        ordering = ("organisation", "-notified_at", "-pk")
        indexes = (
            models.Index(
                fields=("organisation", "-notified_at", "-id"), name="damage_by_notified"
            ),
            models.Index(fields=("sign", "-notified_at"), name="damage_by_sign"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(reported_at__lte=F("notified_at")),
                name="damage_reported_before_notified",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.position_id}"


class DamageClosure(Fact):
    """That reported damage was put right, when and how."""

    class Way(models.TextChoices):
        NEW_FACE = "new_face", "a new face was put up"
        REPAIRED = "repaired", "repaired or straightened"
        NOTHING = "nothing", "nothing to do"
        SAME = "same", "told of twice"

    report = models.OneToOneField(
        DamageReport, on_delete=models.PROTECT, related_name="closure"
    )
    way = models.CharField(max_length=10, choices=Way)
    done_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    done_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)
    new_sign = models.ForeignKey(
        Sign, null=True, blank=True, on_delete=models.PROTECT, related_name="closed_damage"
    )
    note = models.CharField(max_length=255, blank=True)

    reader_paths = {"owner": "report__organisation"}

    class Meta:
        ordering = ("report", "pk")
        constraints = (
            models.CheckConstraint(
                condition=~Q(way="nothing") | ~Q(note=""), name="damage_nothing_to_do_says_why"
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_way_display()}, {self.done_at:%Y-%m-%d}"
