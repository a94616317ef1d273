"""Faces: the blank they sit on, what they are made of, and where they are in their life."""

from django.db import models
from django.db.models import F, Q

from inventory.models.people import Organisation
from inventory.models.places import Position
from inventory.models.scope import ALL_COLUMNS, Scoped


class Panel(Scoped):
    """The blank; it carries one sign, or two back to back."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="panels"
    )
    width_in = models.FloatField(null=True, blank=True)
    height_in = models.FloatField(null=True, blank=True)
    thickness_in = models.FloatField(null=True, blank=True)
    material = models.CharField(max_length=60, blank=True)
    holes = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ("organisation", "pk")

    def __str__(self) -> str:
        return f"panel {self.pk}"


class DatePrecision(models.TextChoices):
    """How much of a calendar date is known (ISO 8601 reduced precision)."""

    DAY = "day", "day"
    MONTH = "month", "month"
    YEAR = "year", "year"


class Sign(Scoped):
    """One physical face, from the press to the scrap bin; 'face' in prose."""

    class State(models.TextChoices):
        IN_STOCK = "in_stock", "in stock"
        INSTALLED = "installed", "installed"
        REMOVED = "removed", "removed"

    class Responsible(models.TextChoices):
        AGENCY = "agency", "the agency"
        NEIGHBOUR = "neighbour", "a neighbouring agency"
        STATE = "state", "the state"
        PRIVATE = "private", "a private owner"

    class RemovalReason(models.TextChoices):
        BELOW_LEVEL = "below_level", "below its level"
        AGED = "aged", "end of expected life"
        DAMAGED = "damaged", "damaged"
        KNOCKED_DOWN = "knocked_down", "knocked down"
        STOLEN = "stolen", "missing or stolen"
        FADED = "faded", "colour faded"
        OUTDATED = "outdated", "no longer the standard sign"
        NOT_NEEDED = "not_needed", "no longer needed"
        WARRANTY = "warranty", "returned under warranty"
        DUPLICATE = "duplicate", "recorded twice"
        OTHER = "other", "another reason"

    maker = models.ForeignKey(
        Organisation,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="signs_made",
        help_text="Empty: not known.",
    )
    owner = models.ForeignKey(
        Organisation,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="signs_owned",
        help_text="Empty while it is shop stock.",
    )
    responsible = models.CharField(
        max_length=10, choices=Responsible, default=Responsible.AGENCY
    )
    panel = models.ForeignKey(
        Panel, null=True, blank=True, on_delete=models.PROTECT, related_name="signs"
    )
    position = models.ForeignKey(
        Position, null=True, blank=True, on_delete=models.PROTECT, related_name="signs"
    )
    state = models.CharField(max_length=10, choices=State)
    label_id = models.CharField(max_length=24, unique=True, null=True, blank=True)
    sign_code = models.CharField(max_length=24, blank=True)
    variant = models.CharField(max_length=24, blank=True)
    legend_text = models.CharField(max_length=255, blank=True)
    width_in = models.FloatField(null=True, blank=True)
    height_in = models.FloatField(null=True, blank=True)
    fabricated_on = models.DateField(null=True, blank=True)
    fabricated_precision = models.CharField(
        max_length=5, choices=DatePrecision, default=DatePrecision.DAY
    )
    installed_on = models.DateField(null=True, blank=True)
    installed_precision = models.CharField(
        max_length=5, choices=DatePrecision, default=DatePrecision.DAY
    )
    removed_on = models.DateField(null=True, blank=True)
    removal_reason = models.CharField(max_length=16, choices=RemovalReason, blank=True)
    planned_replacement_year = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="As the agency's own list says; not a forecast."
    )
    print_run = models.ForeignKey(
        "inventory.PrintRun",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="signs",
    )
    print_number = models.PositiveIntegerField(
        null=True, blank=True, help_text="Order in which the run printed its faces, from 1."
    )
    is_reconstructed = models.BooleanField(
        default=False, help_text="Entered from a list, not seen at its making."
    )

    reader_paths = {"owner": "owner", "maker": "maker"}
    reader_columns = {
        "owner": ALL_COLUMNS,
        # A shop stands behind what it made: it sees the face and its life, not the
        # agency's plans for it.
        "maker": (
            "maker_id",
            "owner_id",
            "state",
            "label_id",
            "sign_code",
            "variant",
            "legend_text",
            "width_in",
            "height_in",
            "fabricated_on",
            "fabricated_precision",
            "installed_on",
            "installed_precision",
            "removed_on",
            "removal_reason",
            "print_run_id",
            "print_number",
        ),
    }

    class Meta:
        ordering = ("pk",)
        indexes = (
            models.Index(
                fields=("owner", "state", "sign_code"), name="sign_by_owner_state_code"
            ),
            models.Index(fields=("maker", "state"), name="sign_by_maker_state"),
        )
        constraints = (
            models.UniqueConstraint(
                fields=("position",),
                condition=Q(state="installed"),
                name="one_installed_sign_per_position",
            ),
            models.CheckConstraint(
                condition=(
                    Q(state="in_stock", position__isnull=True, removed_on__isnull=True)
                    | Q(
                        state="installed",
                        position__isnull=False,
                        owner__isnull=False,
                        removed_on__isnull=True,
                    )
                    | Q(state="removed")
                ),
                name="sign_state_fits_its_place",
            ),
            models.CheckConstraint(
                condition=~Q(state="removed") | ~Q(removal_reason=""),
                name="removed_sign_says_why",
            ),
            models.CheckConstraint(
                condition=(
                    Q(fabricated_on__isnull=True)
                    | Q(installed_on__isnull=True)
                    | ~Q(fabricated_precision="day")
                    | ~Q(installed_precision="day")
                    | Q(fabricated_on__lte=F("installed_on"))
                ),
                name="sign_fabricated_before_installed",
            ),
            models.CheckConstraint(
                condition=(
                    Q(installed_on__isnull=True)
                    | Q(removed_on__isnull=True)
                    | Q(installed_on__lte=F("removed_on"))
                ),
                name="sign_installed_before_removed",
            ),
            models.CheckConstraint(
                condition=Q(owner__isnull=False) | Q(maker__isnull=False),
                name="sign_has_owner_or_maker",
            ),
            models.CheckConstraint(
                condition=Q(width_in__isnull=True) | Q(width_in__gt=0),
                name="sign_width_positive",
            ),
            models.CheckConstraint(
                condition=Q(height_in__isnull=True) | Q(height_in__gt=0),
                name="sign_height_positive",
            ),
        )

    def __str__(self) -> str:
        code = f"{self.sign_code}{self.variant}" if self.sign_code else "unknown code"
        return f"sign {self.pk} ({code})"


class ColourArea(Scoped):
    """One colour of a face and what makes that colour; unknown is allowed, a guess is not."""

    class Part(models.TextChoices):
        BACKGROUND = "background", "background"
        LEGEND = "legend", "legend and border"
        SECONDARY = "secondary", "secondary colour"

    class Optics(models.TextChoices):
        UNKNOWN = "unknown", "not known"
        BEADED = "beaded", "beaded"
        PRISMATIC = "prismatic", "prismatic"

    class Colouring(models.TextChoices):
        UNKNOWN = "", "not known"
        SHEETING = "sheeting", "colour of the sheeting"
        PRINTED_SPOT = "printed_spot", "printed, spot colour"
        PRINTED_MIXED = "printed_mixed", "printed, mixed colour"
        FILM = "film", "coloured film"
        OPAQUE = "opaque", "opaque (not retroreflective)"

    sign = models.ForeignKey(Sign, on_delete=models.CASCADE, related_name="colour_areas")
    number = models.PositiveSmallIntegerField()
    part = models.CharField(max_length=12, choices=Part)
    color = models.CharField(max_length=32, blank=True, help_text="Blank: not known.")
    sheeting_type = models.CharField(
        max_length=8, blank=True, help_text="ASTM D4956 type; blank: not known."
    )
    optics = models.CharField(max_length=10, choices=Optics, default=Optics.UNKNOWN)
    colouring = models.CharField(max_length=16, choices=Colouring, blank=True, default="")

    reader_paths = {"owner": "sign__owner", "maker": "sign__maker"}
    reader_columns = {"owner": ALL_COLUMNS, "maker": ALL_COLUMNS}

    class Meta:
        ordering = ("sign", "number")
        constraints = (
            models.UniqueConstraint(fields=("sign", "number"), name="colour_number_once"),
        )

    def __str__(self) -> str:
        return f"{self.color} {self.part} of sign {self.sign_id}"
