"""Lists that came from elsewhere: what each row said, and what became of it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from inventory.models.people import Organisation, User
from inventory.models.places import Position
from inventory.models.scope import Scoped


class ImportRun(Scoped):
    """One reading of one file; every one of its rows ends in exactly one of four counts."""

    class State(models.TextChoices):
        RUNNING = "running", "running"
        FINISHED = "finished", "finished"
        STOPPED = "stopped", "stopped before its end"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="import_runs"
    )
    source_name = models.CharField(max_length=80, help_text="The list the file is a state of.")
    file_name = models.CharField(max_length=255)
    file_sha256 = models.CharField(max_length=64)
    mapping_text = models.TextField()
    state = models.CharField(max_length=10, choices=State, default=State.RUNNING)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    started_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)
    row_count = models.PositiveIntegerField(default=0)
    rows_done = models.PositiveIntegerField(default=0, help_text="Where a stopped run goes on.")
    created_count = models.PositiveIntegerField(default=0)
    updated_count = models.PositiveIntegerField(default=0)
    unchanged_count = models.PositiveIntegerField(default=0)
    refused_count = models.PositiveIntegerField(default=0)
    support_count = models.PositiveIntegerField(default=0)
    face_count = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ("organisation", "-started_at", "-pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(
                    rows_done=models.F("created_count")
                    + models.F("updated_count")
                    + models.F("unchanged_count")
                    + models.F("refused_count")
                ),
                name="import_counts_add_up",
            ),
        )

    def __str__(self) -> str:
        return f"import of {self.file_name} at {self.started_at:%Y-%m-%d %H:%M}"


class SourceRecord(Scoped):
    """The latest state of one row of a source list, as it was read."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="source_records"
    )
    source_name = models.CharField(max_length=80)
    external_id = models.CharField(max_length=120)
    raw = models.JSONField()
    applied = models.JSONField(
        default=dict, help_text="The values this row gave to our records when last applied."
    )
    row_sha256 = models.CharField(max_length=64)
    first_run = models.ForeignKey(ImportRun, on_delete=models.PROTECT, related_name="+")
    last_run = models.ForeignKey(ImportRun, on_delete=models.PROTECT, related_name="records")
    changed_at = models.DateTimeField()
    positions: models.ManyToManyField[Position, SourceFace] = models.ManyToManyField(
        Position, related_name="source_records", through="SourceFace"
    )

    class Meta:
        ordering = ("organisation", "source_name", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "source_name", "external_id"), name="source_row_once"
            ),
        )

    def __str__(self) -> str:
        return f"{self.source_name} {self.external_id}"


class SourceFace(models.Model):
    """One of the faces a source row describes, and the position it became."""

    record = models.ForeignKey(SourceRecord, on_delete=models.CASCADE, related_name="faces")
    position = models.OneToOneField(
        Position, on_delete=models.PROTECT, related_name="source_face"
    )
    number = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ("record", "number")
        constraints = (
            models.UniqueConstraint(fields=("record", "number"), name="source_face_once"),
        )

    def __str__(self) -> str:
        return f"face {self.number} of {self.record_id}"


class ImportPart(Scoped):
    """Something an import found, readable by the organisation that imported."""

    reader_paths = {"owner": "run__organisation"}

    class Meta:
        abstract = True


class ImportRefusal(ImportPart):
    """A row that was not taken, with the reason in words; nothing of it is lost."""

    run = models.ForeignKey(ImportRun, on_delete=models.CASCADE, related_name="refusals")
    line = models.PositiveIntegerField()
    raw = models.JSONField()
    reason = models.TextField()

    class Meta:
        ordering = ("run", "line")

    def __str__(self) -> str:
        return f"line {self.line} refused"


class ImportMissing(ImportPart):
    """A row of an earlier file that the later file no longer holds; listed, never removed."""

    run = models.ForeignKey(ImportRun, on_delete=models.CASCADE, related_name="missing")
    record = models.ForeignKey(
        SourceRecord, on_delete=models.CASCADE, related_name="missing_in"
    )

    class Meta:
        ordering = ("run", "pk")
        constraints = (
            models.UniqueConstraint(fields=("run", "record"), name="missing_row_once"),
        )

    def __str__(self) -> str:
        return f"{self.record} missing"


class ImportSettlement(ImportPart):
    """A change in the source that is older than what a crew recorded; a person settles it."""

    class Outcome(models.TextChoices):
        OPEN = "open", "waits for a person"
        KEEP_OURS = "keep_ours", "our record kept"
        TAKE_SOURCE = "take_source", "source taken"

    run = models.ForeignKey(ImportRun, on_delete=models.CASCADE, related_name="settlements")
    record = models.ForeignKey(
        SourceRecord, on_delete=models.PROTECT, related_name="settlements"
    )
    changes = models.JSONField(help_text="Field → our value and the source's value.")
    reason = models.TextField()
    outcome = models.CharField(max_length=12, choices=Outcome, default=Outcome.OPEN)
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    class Meta:
        ordering = ("run", "pk")
        indexes = (models.Index(fields=("outcome", "run"), name="settlement_by_outcome"),)

    def __str__(self) -> str:
        return f"settlement for {self.record_id}: {self.outcome}"
