"""Two records of one thing put together, by new rows, so that it can be undone."""

from django.db import models
from django.db.models import F, Q

from inventory.models.inspection import Inspection
from inventory.models.people import Organisation, User
from inventory.models.places import Position, Support
from inventory.models.scope import Fact
from inventory.models.signs import Sign


class SupportMerge(Fact):
    """Two supports on record that are one post."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="support_merges"
    )
    kept = models.ForeignKey(Support, on_delete=models.PROTECT, related_name="merges_kept")
    duplicate = models.ForeignKey(
        Support, on_delete=models.PROTECT, related_name="merges_as_duplicate"
    )
    reason = models.CharField(max_length=255)
    merged_at = models.DateTimeField()
    merged_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("organisation", "-merged_at", "-pk")
        indexes = (
            models.Index(
                fields=("organisation", "-merged_at", "-id"), name="support_merge_by_org_time"
            ),
        )
        constraints = (
            models.CheckConstraint(
                condition=~Q(kept=F("duplicate")), name="support_merge_of_two"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="support_merge_has_reason"),
        )

    def __str__(self) -> str:
        return f"{self.duplicate} is {self.kept}"


class MovedPosition(Fact):
    """A position that went from the duplicate support to the kept one."""

    merge = models.ForeignKey(SupportMerge, on_delete=models.PROTECT, related_name="positions")
    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="moves")

    reader_paths = {"owner": "merge__organisation"}

    class Meta:
        ordering = ("merge", "pk")
        constraints = (
            models.UniqueConstraint(fields=("merge", "position"), name="moved_position_once"),
        )

    def __str__(self) -> str:
        return f"position {self.position_id} moved by merge {self.merge_id}"


class SupportMergeUndo(Fact):
    """A merge of supports taken back."""

    merge = models.OneToOneField(SupportMerge, on_delete=models.PROTECT, related_name="undo")
    reason = models.CharField(max_length=255)
    undone_at = models.DateTimeField()
    undone_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "merge__organisation"}

    class Meta:
        ordering = ("undone_at", "pk")

    def __str__(self) -> str:
        return f"undone: {self.merge}"


class SignMerge(Fact):
    """Two signs on record that are one face; the duplicate's facts count for the kept one."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="sign_merges"
    )
    kept = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="merges_kept")
    duplicate = models.ForeignKey(
        Sign, on_delete=models.PROTECT, related_name="merges_as_duplicate"
    )
    duplicate_state = models.CharField(
        max_length=10, choices=Sign.State, help_text="What it was before; undoing restores it."
    )
    retired_position = models.ForeignKey(
        Position,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The duplicate's position, where the merge retired it.",
    )
    reason = models.CharField(max_length=255)
    merged_at = models.DateTimeField()
    merged_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("organisation", "-merged_at", "-pk")
        indexes = (
            models.Index(
                fields=("organisation", "-merged_at", "-id"), name="sign_merge_by_org_time"
            ),
        )
        constraints = (
            models.CheckConstraint(condition=~Q(kept=F("duplicate")), name="sign_merge_of_two"),
            models.CheckConstraint(condition=~Q(reason=""), name="sign_merge_has_reason"),
        )

    def __str__(self) -> str:
        return f"{self.duplicate} is {self.kept}"


class RelinkedInspection(Fact):
    """An inspection of the duplicate that counts for the kept sign while the merge stands."""

    merge = models.ForeignKey(SignMerge, on_delete=models.PROTECT, related_name="inspections")
    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="relinks")
    sign = models.ForeignKey(
        Sign, on_delete=models.PROTECT, related_name="relinked_inspections"
    )

    reader_paths = {"owner": "merge__organisation"}

    class Meta:
        ordering = ("merge", "pk")
        constraints = (
            models.UniqueConstraint(fields=("merge", "inspection"), name="relink_once"),
        )

    def __str__(self) -> str:
        return f"inspection {self.inspection_id} counts for sign {self.sign_id}"


class SignMergeUndo(Fact):
    """A merge of signs taken back."""

    merge = models.OneToOneField(SignMerge, on_delete=models.PROTECT, related_name="undo")
    reason = models.CharField(max_length=255)
    undone_at = models.DateTimeField()
    undone_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "merge__organisation"}

    class Meta:
        ordering = ("undone_at", "pk")

    def __str__(self) -> str:
        return f"undone: {self.merge}"
