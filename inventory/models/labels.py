"""Labels for the backs of faces: the sheets they are printed on, and which were printed."""

from django.db import models
from django.db.models import Q

from inventory.models.people import Organisation, User
from inventory.models.scope import Fact, Scoped
from inventory.models.signs import Sign


class LabelSheet(Scoped):
    """A sheet of labels, or a roll of single ones, as its maker states it."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="label_sheets"
    )
    name = models.CharField(max_length=60)
    page_width_in = models.FloatField()
    page_height_in = models.FloatField()
    left_in = models.FloatField(help_text="From the page's edge to the first label.")
    top_in = models.FloatField(help_text="From the page's top to the first label.")
    columns = models.PositiveSmallIntegerField()
    rows = models.PositiveSmallIntegerField()
    label_width_in = models.FloatField()
    label_height_in = models.FloatField()
    gap_across_in = models.FloatField(default=0.0)
    gap_down_in = models.FloatField(default=0.0)

    class Meta:
        ordering = ("organisation", "name")
        constraints = (
            models.UniqueConstraint(fields=("organisation", "name"), name="label_sheet_once"),
            models.CheckConstraint(
                condition=Q(columns__gte=1, rows__gte=1)
                & Q(label_width_in__gt=0, label_height_in__gt=0)
                & Q(page_width_in__gt=0, page_height_in__gt=0),
                name="label_sheet_holds_a_label",
            ),
            models.CheckConstraint(
                condition=Q(left_in__gte=0, top_in__gte=0)
                & Q(gap_across_in__gte=0, gap_down_in__gte=0),
                name="label_sheet_not_negative",
            ),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def places(self) -> int:
        """Return how many labels a page holds."""
        return self.columns * self.rows


class LabelBatch(Fact):
    """Labels that were made to be printed together; made anew they are another batch."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="label_batches"
    )
    sheet = models.ForeignKey(LabelSheet, on_delete=models.PROTECT, related_name="batches")
    measures = models.JSONField(help_text="The sheet as it was then.")
    first_place = models.PositiveSmallIntegerField(
        default=1, help_text="Of the first page, from 1: a sheet begun before."
    )
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("organisation", "-made_at", "-pk")
        indexes = (
            models.Index(fields=("organisation", "-made_at", "-id"), name="label_batch_list"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(first_place__gte=1), name="label_first_place_from_1"
            ),
        )

    def __str__(self) -> str:
        return f"labels of {self.made_at:%Y-%m-%d %H:%M}"


class FaceLabel(Fact):
    """A face whose label is in a batch."""

    batch = models.ForeignKey(LabelBatch, on_delete=models.PROTECT, related_name="labels")
    sign = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="labels")
    number = models.PositiveIntegerField(help_text="Counted within the batch, from 1.")

    reader_paths = {"owner": "batch__organisation"}

    class Meta:
        ordering = ("batch", "number")
        constraints = (
            models.UniqueConstraint(fields=("batch", "number"), name="label_number_once"),
            models.UniqueConstraint(fields=("batch", "sign"), name="face_once_a_batch"),
        )

    def __str__(self) -> str:
        return f"label {self.number} of {self.batch}"
