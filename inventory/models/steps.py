"""Steps after the press, as the shop lists them, and the blanks faces are put on."""

from django.db import models
from django.db.models import Q

from inventory.models.people import Organisation, User
from inventory.models.scope import ALL_COLUMNS, Fact, Scoped
from inventory.models.signs import Sign


class ShopStep(Scoped):
    """One step of a shop's own list, between the press and the truck."""

    class Kind(models.TextChoices):
        DRIED = "dried", "dried"
        LAMINATED = "laminated", "laminated"
        CUT = "cut", "cut"
        APPLIED = "applied", "applied to its blank"
        OTHER = "other", "another step"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="shop_steps"
    )
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=10, choices=Kind)
    place = models.PositiveSmallIntegerField(help_text="In the order of the steps, from 1.")
    least_hours = models.FloatField(
        null=True, blank=True, help_text="Since printing ended; empty: no time is asked for."
    )
    is_in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ("organisation", "place", "pk")
        constraints = (
            models.UniqueConstraint(fields=("organisation", "name"), name="shop_step_once"),
            models.CheckConstraint(condition=Q(place__gte=1), name="shop_step_place_from_1"),
            models.CheckConstraint(
                condition=Q(least_hours__isnull=True) | Q(least_hours__gte=0),
                name="shop_step_hours_not_negative",
            ),
        )

    def __str__(self) -> str:
        return self.name


class Blank(Scoped):
    """Blanks of one kind in stock; how many there are follows from what went in and out."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="blanks"
    )
    shape = models.CharField(max_length=24, blank=True, help_text="Empty: rectangle.")
    width_in = models.FloatField()
    height_in = models.FloatField()
    thickness_in = models.FloatField()
    holes = models.CharField(max_length=120, blank=True, help_text="The pattern, in words.")
    is_reclaimed = models.BooleanField(default=False)

    class Meta:
        ordering = ("organisation", "width_in", "height_in", "thickness_in", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=(
                    "organisation",
                    "shape",
                    "width_in",
                    "height_in",
                    "thickness_in",
                    "holes",
                    "is_reclaimed",
                ),
                name="blank_once",
            ),
            models.CheckConstraint(
                condition=Q(width_in__gt=0, height_in__gt=0, thickness_in__gt=0),
                name="blank_size_positive",
            ),
        )

    def __str__(self) -> str:
        kind = "reclaimed blank" if self.is_reclaimed else "blank"
        return f"{kind} {self.width_in:g} × {self.height_in:g} × {self.thickness_in:g} in"


class FaceStep(Fact):
    """A step done on a face, or one withdrawn: it did not happen."""

    sign = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="steps")
    step = models.ForeignKey(ShopStep, on_delete=models.PROTECT, related_name="done")
    is_withdrawn = models.BooleanField(default=False)
    blank = models.ForeignKey(
        Blank, null=True, blank=True, on_delete=models.PROTECT, related_name="faces"
    )
    note = models.CharField(max_length=200, blank=True)
    done_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "sign__maker", "counterparty": "sign__owner"}
    reader_columns = {"owner": ALL_COLUMNS, "counterparty": ALL_COLUMNS}

    class Meta:
        ordering = ("sign", "recorded_at", "pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(is_withdrawn=False) | ~Q(note=""), name="withdrawn_step_says_why"
            ),
        )

    def __str__(self) -> str:
        return f"{self.step} of {self.sign}"


class BlankCount(Fact):
    """Blanks that came in or went out other than under a face: received, scrapped, counted."""

    blank = models.ForeignKey(Blank, on_delete=models.PROTECT, related_name="counts")
    change = models.IntegerField(help_text="More than 0: came in.")
    reason = models.CharField(max_length=120)
    happened_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "blank__organisation"}

    class Meta:
        ordering = ("blank", "happened_at", "pk")
        constraints = (
            models.CheckConstraint(condition=~Q(change=0), name="blank_count_changes"),
            models.CheckConstraint(condition=~Q(reason=""), name="blank_count_says_why"),
        )

    def __str__(self) -> str:
        return f"{self.change:+d} {self.blank}"
