"""Work handed to a crew: a package of stops in order, and what came of each."""

import uuid

from django.db import models
from django.db.models import Q

from inventory.models.people import Organisation, User
from inventory.models.places import Position
from inventory.models.scope import Fact, Scoped


class WorkPackage(Scoped):
    """A crew's stops of one day, in order."""

    class State(models.TextChoices):
        DRAFT = "draft", "being put together"
        HANDED_OUT = "handed_out", "with the crew"
        CLOSED = "closed", "closed"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="work_packages"
    )
    title = models.CharField(max_length=120)
    crew = models.ForeignKey(
        User,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="work_packages",
        help_text="Empty: any crew of the agency may take it.",
    )
    work_on = models.DateField()
    bring = models.TextField(blank=True, help_text="What to have on the truck.")
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("organisation", "-work_on", "-pk")
        indexes = (
            models.Index(
                fields=("organisation", "state", "-work_on", "-id"), name="package_by_state_day"
            ),
            models.Index(fields=("organisation", "-work_on", "-id"), name="package_by_day"),
        )

    def __str__(self) -> str:
        return f"{self.title}, {self.work_on:%Y-%m-%d}"


class PackageStop(Scoped):
    """One stop: a position, and what is to be done there."""

    class Task(models.TextChoices):
        READ = "read", "take readings"
        LOOK = "look", "look at it by night"
        REPLACE = "replace", "replace the face"
        REPAIR = "repair", "repair or straighten"
        INSTALL = "install", "put a face up"
        REMOVE = "remove", "take it down"
        CHECK = "check", "check what is on record"

    package = models.ForeignKey(WorkPackage, on_delete=models.CASCADE, related_name="stops")
    number = models.PositiveIntegerField(help_text="Order of the stops, from 1.")
    position = models.ForeignKey(
        Position, on_delete=models.PROTECT, related_name="package_stops"
    )
    task = models.CharField(max_length=8, choices=Task)
    note = models.CharField(max_length=255, blank=True)

    reader_paths = {"owner": "package__organisation"}

    class Meta:
        ordering = ("package", "number")
        constraints = (
            models.UniqueConstraint(fields=("package", "number"), name="stop_number_once"),
        )

    def __str__(self) -> str:
        return f"stop {self.number} of package {self.package_id}"


class StopResult(Fact):
    """What came of a stop; the newest counts."""

    class Outcome(models.TextChoices):
        DONE = "done", "done"
        NOT_DONE = "not_done", "not done"

    client_uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    stop = models.ForeignKey(PackageStop, on_delete=models.PROTECT, related_name="results")
    outcome = models.CharField(max_length=8, choices=Outcome)
    reason = models.CharField(max_length=255, blank=True)
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    person = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "stop__package__organisation"}

    class Meta:
        ordering = ("stop", "-recorded_at", "-pk")
        constraints = (
            models.CheckConstraint(
                condition=~Q(outcome="not_done") | ~Q(reason=""), name="not_done_has_reason"
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_outcome_display()}: stop {self.stop_id}"
