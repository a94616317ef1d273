"""What was on the press, and when; the root of every later answer about a face."""

from django.db import models
from django.db.models import F, Q

from inventory.models.people import Organisation, User
from inventory.models.scope import ALL_COLUMNS, Fact, Scoped
from inventory.models.signs import Sign


class SheetingRoll(Scoped):
    """A roll of retroreflective sheeting as received."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="sheeting_rolls"
    )
    roll_number = models.CharField(max_length=40)
    lot = models.CharField(max_length=40)
    sheeting_type = models.CharField(max_length=8)
    optics = models.CharField(max_length=10)
    color = models.CharField(max_length=32)
    width_in = models.FloatField()
    length_ft = models.FloatField()
    received_on = models.DateField(null=True, blank=True)
    opened_on = models.DateField(
        null=True, blank=True, help_text="Empty: when it was first loaded, by the press log."
    )
    use_by_on = models.DateField(
        null=True, blank=True, help_text="As on its label; empty: by the shop's shelf life."
    )

    class Meta:
        ordering = ("organisation", "-received_on", "roll_number")
        constraints = (
            models.UniqueConstraint(fields=("organisation", "roll_number"), name="roll_once"),
            models.CheckConstraint(condition=Q(width_in__gt=0), name="roll_width_positive"),
            models.CheckConstraint(condition=Q(length_ft__gt=0), name="roll_length_positive"),
        )

    def __str__(self) -> str:
        return f"roll {self.roll_number} (lot {self.lot})"


class OverlayRoll(Scoped):
    """A roll of protective overlay film as received."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="overlay_rolls"
    )
    roll_number = models.CharField(max_length=40)
    lot = models.CharField(max_length=40)
    width_in = models.FloatField()
    length_ft = models.FloatField()
    received_on = models.DateField(null=True, blank=True)
    opened_on = models.DateField(
        null=True, blank=True, help_text="Empty: when it was first loaded, by the press log."
    )
    use_by_on = models.DateField(
        null=True, blank=True, help_text="As on its label; empty: by the shop's shelf life."
    )

    class Meta:
        ordering = ("organisation", "-received_on", "roll_number")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "roll_number"), name="overlay_once"
            ),
            models.CheckConstraint(condition=Q(width_in__gt=0), name="overlay_width_positive"),
        )

    def __str__(self) -> str:
        return f"overlay {self.roll_number} (lot {self.lot})"


class Press(Scoped):
    """A digital press of the shop."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="presses"
    )
    name = models.CharField(max_length=60)
    width_in = models.FloatField()
    rate_ft2_per_h = models.FloatField()
    printable_width_in = models.FloatField(
        null=True, blank=True, help_text="What it prints of its width; empty: not stated."
    )
    lead_in_in = models.FloatField(
        null=True,
        blank=True,
        help_text="Lost before the first face; empty: not stated.",
    )
    tail_in = models.FloatField(
        null=True,
        blank=True,
        help_text="Lost behind the last face; empty: not stated.",
    )
    setup_minutes = models.FloatField(
        null=True, blank=True, help_text="To make a run ready; empty: not stated."
    )

    class Meta:
        ordering = ("organisation", "name")
        constraints = (
            models.UniqueConstraint(fields=("organisation", "name"), name="press_once"),
            models.CheckConstraint(condition=Q(width_in__gt=0), name="press_width_positive"),
            models.CheckConstraint(
                condition=Q(rate_ft2_per_h__gt=0), name="press_rate_positive"
            ),
            models.CheckConstraint(
                condition=(
                    Q(printable_width_in__isnull=True)
                    | Q(printable_width_in__gt=0, printable_width_in__lte=F("width_in"))
                ),
                name="press_prints_within_its_width",
            ),
            models.CheckConstraint(
                condition=(Q(lead_in_in__isnull=True) | Q(lead_in_in__gte=0))
                & (Q(tail_in__isnull=True) | Q(tail_in__gte=0)),
                name="press_losses_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(setup_minutes__isnull=True) | Q(setup_minutes__gte=0),
                name="press_setup_not_negative",
            ),
        )

    def __str__(self) -> str:
        return self.name


class InkKind(models.TextChoices):
    """How an ink makes a colour of a face."""

    SPOT = "spot", "spot colour"
    PROCESS = "process", "process colour, for mixing"


class InkChannel(Scoped):
    """A place for a container on a press, and the ink it takes; two may take one colour."""

    press = models.ForeignKey(Press, on_delete=models.PROTECT, related_name="ink_channels")
    name = models.CharField(max_length=24)
    color = models.CharField(max_length=32)
    kind = models.CharField(max_length=8, choices=InkKind)
    ml_per_m2 = models.FloatField(
        null=True,
        blank=True,
        help_text="Ink on a square metre it covers whole, as measured; empty: not measured.",
    )
    cover_share = models.FloatField(
        null=True,
        blank=True,
        help_text="Share of a face it usually covers, over 0 to 1; empty: not stated.",
    )
    is_in_use = models.BooleanField(default=True)

    reader_paths = {"owner": "press__organisation"}

    class Meta:
        ordering = ("press", "name")
        constraints = (
            models.UniqueConstraint(fields=("press", "name"), name="ink_channel_once"),
            models.CheckConstraint(
                condition=Q(kind__in=("spot", "process")), name="ink_channel_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(ml_per_m2__isnull=True) | Q(ml_per_m2__gt=0),
                name="ink_per_area_positive",
            ),
            models.CheckConstraint(
                condition=Q(cover_share__isnull=True)
                | Q(cover_share__gt=0, cover_share__lte=1),
                name="ink_cover_is_a_share",
            ),
        )

    def __str__(self) -> str:
        return f"channel {self.name}"


class InkContainer(Scoped):
    """A container of ink as received."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="ink_containers"
    )
    container_number = models.CharField(max_length=40)
    lot = models.CharField(max_length=40)
    color = models.CharField(max_length=32)
    kind = models.CharField(max_length=8, choices=InkKind)
    volume_ml = models.FloatField(null=True, blank=True, help_text="Empty: not known.")
    received_on = models.DateField(null=True, blank=True)
    opened_on = models.DateField(
        null=True, blank=True, help_text="Empty: when it was first put in, by the press log."
    )
    use_by_on = models.DateField(
        null=True, blank=True, help_text="As on its label; empty: by the shop's shelf life."
    )

    class Meta:
        ordering = ("organisation", "-received_on", "container_number")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "container_number"), name="ink_container_once"
            ),
            models.CheckConstraint(
                condition=Q(kind__in=("spot", "process")), name="ink_container_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(volume_ml__isnull=True) | Q(volume_ml__gt=0),
                name="ink_volume_positive",
            ),
        )

    def __str__(self) -> str:
        return f"container {self.container_number} (lot {self.lot})"


class ShopRule(Scoped):
    """How long a shop keeps what it prints with, in months from receipt; none is shipped."""

    organisation = models.OneToOneField(
        Organisation, on_delete=models.PROTECT, related_name="shop_rule"
    )
    sheeting_months = models.PositiveSmallIntegerField(null=True, blank=True)
    overlay_months = models.PositiveSmallIntegerField(null=True, blank=True)
    ink_months = models.PositiveSmallIntegerField(null=True, blank=True)
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("organisation",)
        constraints = (
            models.CheckConstraint(
                condition=(Q(sheeting_months__isnull=True) | Q(sheeting_months__gt=0))
                & (Q(overlay_months__isnull=True) | Q(overlay_months__gt=0))
                & (Q(ink_months__isnull=True) | Q(ink_months__gt=0)),
                name="shelf_life_positive",
            ),
        )

    def __str__(self) -> str:
        return f"shelf lives of {self.organisation}"


class MaintenanceTask(Scoped):
    """What a press needs again and again: every so many days, or hours of printing."""

    press = models.ForeignKey(Press, on_delete=models.PROTECT, related_name="tasks")
    name = models.CharField(max_length=80)
    every_days = models.PositiveSmallIntegerField(null=True, blank=True)
    every_hours = models.FloatField(null=True, blank=True)
    note = models.CharField(max_length=255, blank=True)
    is_in_use = models.BooleanField(default=True)

    reader_paths = {"owner": "press__organisation"}

    class Meta:
        ordering = ("press", "name")
        constraints = (
            models.UniqueConstraint(fields=("press", "name"), name="maintenance_task_once"),
            models.CheckConstraint(
                condition=Q(
                    every_days__isnull=False, every_days__gt=0, every_hours__isnull=True
                )
                | Q(every_days__isnull=True, every_hours__isnull=False, every_hours__gt=0),
                name="maintenance_by_days_or_hours",
            ),
        )

    def __str__(self) -> str:
        return self.name


class PressEvent(Fact):
    """Something that happened at the press; what is loaded follows from these, by time."""

    class Kind(models.TextChoices):
        ROLL_LOADED = "roll_loaded", "roll loaded"
        ROLL_TAKEN_OFF = "roll_taken_off", "roll taken off"
        OVERLAY_LOADED = "overlay_loaded", "overlay film loaded"
        OVERLAY_TAKEN_OFF = "overlay_taken_off", "overlay film taken off"
        INK_CHANGED = "ink_changed", "ink container changed"
        MAINTENANCE_DONE = "maintenance_done", "maintenance done"
        CHECK_PASSED = "check_passed", "print check passed"
        CHECK_FAILED = "check_failed", "print check failed"
        DRYER_SET = "dryer_set", "dryer set"
        INK_MEASURED = "ink_measured", "ink left measured"
        WITHDRAWN = "withdrawn", "withdrawn: did not happen"

    class Check(models.TextChoices):
        NOZZLE = "nozzle", "nozzle check"
        DENSITY = "density", "density check"

    press = models.ForeignKey(Press, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=20, choices=Kind)
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)
    roll = models.ForeignKey(
        SheetingRoll, null=True, blank=True, on_delete=models.PROTECT, related_name="events"
    )
    overlay = models.ForeignKey(
        OverlayRoll, null=True, blank=True, on_delete=models.PROTECT, related_name="events"
    )
    ink_channel = models.CharField(max_length=24, blank=True)
    ink_color = models.CharField(max_length=32, blank=True)
    ink_lot = models.CharField(max_length=40, blank=True)
    ink_kind = models.CharField(max_length=8, blank=True, choices=InkKind)
    container = models.ForeignKey(
        InkContainer, null=True, blank=True, on_delete=models.PROTECT, related_name="events"
    )
    remaining_ft = models.FloatField(null=True, blank=True)
    remaining_ml = models.FloatField(null=True, blank=True)
    after_face = models.PositiveIntegerField(
        null=True, blank=True, help_text="Faces of the run printed before it; empty: not noted."
    )
    after_ft = models.FloatField(
        null=True, blank=True, help_text="Length of the run before it; empty: not noted."
    )
    task = models.ForeignKey(
        MaintenanceTask, null=True, blank=True, on_delete=models.PROTECT, related_name="events"
    )
    check_kind = models.CharField(max_length=8, blank=True, choices=Check)
    dryer_f = models.FloatField("dryer [°F]", null=True, blank=True)
    note = models.CharField(max_length=255, blank=True)
    corrects = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrections"
    )

    reader_paths = {"owner": "press__organisation"}

    class Meta:
        ordering = ("press", "happened_at", "pk")
        indexes = (models.Index(fields=("press", "happened_at"), name="press_event_by_time"),)
        constraints = (
            models.CheckConstraint(
                condition=~Q(kind__in=("roll_loaded", "roll_taken_off"))
                | Q(roll__isnull=False),
                name="roll_event_names_roll",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=("overlay_loaded", "overlay_taken_off"))
                | Q(overlay__isnull=False),
                name="overlay_event_names_roll",
            ),
            models.CheckConstraint(
                condition=~Q(kind="ink_changed") | (~Q(ink_channel="") & ~Q(ink_lot="")),
                name="ink_event_names_lot",
            ),
            models.CheckConstraint(
                condition=~Q(kind="dryer_set") | Q(dryer_f__isnull=False),
                name="dryer_event_names_heat",
            ),
            models.CheckConstraint(
                condition=~Q(kind="ink_measured")
                | Q(container__isnull=False, remaining_ml__isnull=False),
                name="ink_measured_names_amount",
            ),
            models.CheckConstraint(
                condition=(Q(remaining_ml__isnull=True) | Q(remaining_ml__gte=0))
                & (Q(after_ft__isnull=True) | Q(after_ft__gte=0)),
                name="press_event_not_negative",
            ),
            models.CheckConstraint(
                condition=~Q(kind="withdrawn") | Q(corrects__isnull=False),
                name="withdrawal_names_event",
            ),
            models.CheckConstraint(
                condition=Q(corrects__isnull=True) | ~Q(corrects=F("id")),
                name="press_event_corrects_another",
            ),
            models.UniqueConstraint(
                fields=("corrects",),
                condition=Q(corrects__isnull=False),
                name="press_event_corrected_once",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {self.press} at {self.happened_at:%Y-%m-%d %H:%M}"


class PrintRun(Scoped):
    """One stretch of printing; it knows no order, and what was loaded follows from events."""

    press = models.ForeignKey(Press, on_delete=models.PROTECT, related_name="runs")
    run_number = models.CharField(max_length=40)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField()
    printed_area_ft2 = models.FloatField()
    roll_length_used_ft = models.FloatField(null=True, blank=True)
    operator = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)
    note = models.CharField(max_length=255, blank=True)

    reader_paths = {"owner": "press__organisation", "counterparty": "signs__owner"}
    reader_columns = {
        "owner": ALL_COLUMNS,
        "counterparty": ("run_number", "started_at", "finished_at"),
    }
    reader_paths_repeat = True

    class Meta:
        ordering = ("press", "-started_at", "pk")
        indexes = (models.Index(fields=("press", "started_at"), name="run_by_time"),)
        constraints = (
            models.UniqueConstraint(fields=("press", "run_number"), name="run_number_once"),
            models.CheckConstraint(
                condition=Q(started_at__lt=F("finished_at")), name="run_starts_before_it_ends"
            ),
            models.CheckConstraint(
                condition=Q(printed_area_ft2__gt=0), name="run_area_positive"
            ),
        )

    def __str__(self) -> str:
        return f"run {self.run_number}"


class QualityReading(Fact):
    """A reading of a new face at the shop, against the new-sheeting minimum; never edited."""

    sign = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="quality_readings")
    color = models.CharField(max_length=32)
    typed = models.CharField(max_length=24)
    ra_cd_lx_m2 = models.DecimalField("R_A [cd/lx/m²]", max_digits=9, decimal_places=3)
    observation_angle_deg = models.DecimalField(max_digits=4, decimal_places=2)
    entrance_angle_deg = models.DecimalField(max_digits=5, decimal_places=2)
    taken_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    reader_paths = {"owner": "sign__maker", "counterparty": "sign__owner"}
    reader_columns = {"owner": ALL_COLUMNS, "counterparty": ALL_COLUMNS}

    class Meta:
        ordering = ("sign", "taken_at", "pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(ra_cd_lx_m2__gte=0), name="quality_reading_not_negative"
            ),
        )

    def __str__(self) -> str:
        return f"{self.typed} cd/lx/m² {self.color}"
