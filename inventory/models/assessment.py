"""Verdicts on installed faces: stored once, never rewritten, reproducible from their facts."""

from django.db import models
from django.db.models import Q

from inventory.engineering.assessment.own_levels import AGENCY_LEVEL_TABLE
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.standards.vocabulary import Checked
from inventory.models.inspection import Inspection
from inventory.models.people import AgencyPolicy, Organisation, User
from inventory.models.places import Road
from inventory.models.scope import Fact, Scoped
from inventory.models.signs import Sign

VERDICT_CHOICES = [(verdict.value, verdict.value) for verdict in Verdict]


class Assessment(Fact):
    """The verdict on one sign from named facts, by one policy and method version."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="assessments"
    )
    sign = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="assessments")
    inspection = models.ForeignKey(
        Inspection,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="assessments",
        help_text="The inspection whose readings were judged; empty when there was none.",
    )
    policy = models.ForeignKey(
        AgencyPolicy, on_delete=models.PROTECT, related_name="assessments"
    )
    assessed_at = models.DateTimeField()
    method_version = models.CharField(max_length=24)
    edition = models.CharField(max_length=20)
    verdict = models.CharField(max_length=24, choices=VERDICT_CHOICES)
    probability_low = models.FloatField(
        null=True, help_text="Least probability that every deciding element meets its level."
    )
    probability_high = models.FloatField(null=True)
    reason = models.TextField()
    facts = models.JSONField(help_text="Every input as it was judged.")

    class Meta:
        ordering = ("sign", "-assessed_at", "-pk")
        indexes = (
            models.Index(fields=("sign", "-assessed_at"), name="assessment_by_sign_time"),
        )

    def __str__(self) -> str:
        return f"{self.verdict} for sign {self.sign_id} at {self.assessed_at:%Y-%m-%d}"


class ElementAssessment(Fact):
    """The verdict on one colour, or on the contrast of two, within an assessment."""

    class Kind(models.TextChoices):
        COLOR = "color", "colour"
        CONTRAST = "contrast", "contrast"

    assessment = models.ForeignKey(
        Assessment, on_delete=models.CASCADE, related_name="elements"
    )
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=10, choices=Kind)
    color = models.CharField(max_length=64)
    verdict = models.CharField(max_length=24, choices=VERDICT_CHOICES)
    value = models.DecimalField(
        max_digits=14, decimal_places=6, null=True, help_text="R_A in cd/lx/m², or a ratio."
    )
    level = models.DecimalField(max_digits=10, decimal_places=3, null=True)
    reading_count = models.PositiveSmallIntegerField(default=0)
    probability = models.FloatField(
        null=True, help_text="Probability that the true value is at or above the level."
    )
    expanded_uncertainty = models.FloatField(
        null=True, help_text="U of the 95 % interval value ± U of a colour. [cd/lx/m²]"
    )
    interval_low = models.FloatField(null=True, help_text="Of a contrast: Fieller's interval.")
    interval_high = models.FloatField(
        null=True, help_text="Empty beside a lower bound: there is no upper bound."
    )
    further_readings = models.SmallIntegerField(
        null=True,
        help_text="How many more would likely settle an undecided element; 31: more than 30, "
        "-1: no number would.",
    )
    flags = models.JSONField(default=list, help_text="What to mind about its readings.")
    table_id = models.CharField(max_length=60, blank=True)
    row_id = models.CharField(max_length=160, blank=True)
    checked = models.CharField(max_length=8, blank=True)
    reason = models.TextField()

    reader_paths = {"owner": "assessment__organisation"}

    class Meta:
        ordering = ("assessment", "number")
        constraints = (
            models.UniqueConstraint(fields=("assessment", "number"), name="element_once"),
        )

    def __str__(self) -> str:
        return f"{self.color}: {self.verdict}"

    @property
    def is_level_verified(self) -> bool:
        """Return whether the level was read in its source, or is the agency's own."""
        return self.table_id == AGENCY_LEVEL_TABLE or self.checked in ("", Checked.YES.value)


class Disposition(Fact):
    """What was decided about a sign that is below, undecided or damaged; never edited."""

    class Decision(models.TextChoices):
        REPLACE = "replace", "replace"
        REREAD = "reread", "read again"
        DEFER = "defer", "defer"
        CLAIM = "claim", "wait for a warranty claim"
        NOT_OURS = "not_ours", "not ours"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="dispositions"
    )
    sign = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="dispositions")
    decision = models.CharField(max_length=10, choices=Decision)
    reason = models.CharField(max_length=255, blank=True)
    defer_until_on = models.DateField(null=True, blank=True)
    decided_at = models.DateTimeField()
    decided_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    class Meta:
        ordering = ("sign", "-decided_at", "-pk")
        constraints = (
            models.CheckConstraint(
                condition=~Q(decision__in=("defer", "claim"))
                | (Q(defer_until_on__isnull=False) & ~Q(reason="")),
                name="deferral_has_date_and_reason",
            ),
        )

    def __str__(self) -> str:
        return f"{self.decision} sign {self.sign_id}"


class Standing(Scoped):
    """How one installed sign stands now; derived and rebuilt, read by maps and lists."""

    class Condition(models.IntegerChoices):
        NOT_SEEN = 0, "not inspected by eye"
        SOUND = 1, "sound"
        SLIGHT = 2, "slight"
        MODERATE = 3, "moderate"
        SEVERE = 4, "severe"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="standings"
    )
    sign = models.OneToOneField(Sign, on_delete=models.CASCADE, related_name="standing")
    assessment = models.ForeignKey(
        Assessment, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    verdict = models.CharField(max_length=24, choices=VERDICT_CHOICES)
    reason = models.TextField(blank=True)
    margin_ratio = models.FloatField(
        null=True, help_text="Least value ÷ level over the judged elements."
    )
    condition = models.PositiveSmallIntegerField(choices=Condition, default=Condition.NOT_SEEN)
    condition_text = models.CharField(max_length=120, blank=True)
    is_due = models.BooleanField(default=False)
    due_on = models.DateField(null=True, blank=True)
    due_reason = models.CharField(max_length=160, blank=True)
    is_due_soon = models.BooleanField(
        default=False, help_text="Forecast to be due within the months the agency set."
    )
    forecast_due_on = models.DateField(
        null=True, blank=True, help_text="Of its forecast; empty: none, or not within 30 years."
    )
    due_order = models.BigIntegerField(
        default=0, help_text="Sort key of the due list: safety class, then margin."
    )
    safety_class = models.PositiveSmallIntegerField()
    responsible = models.CharField(max_length=10)
    sign_code = models.CharField(max_length=24, blank=True)
    sign_name = models.CharField(max_length=160, blank=True)
    sheeting = models.CharField(max_length=40, blank=True)
    road = models.ForeignKey(
        Road, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    latitude_deg = models.FloatField()
    longitude_deg = models.FloatField()
    cell = models.BigIntegerField()
    last_inspected_on = models.DateField(null=True, blank=True)
    rebuilt_at = models.DateTimeField()

    class Meta:
        ordering = ("organisation_id", "-is_due", "due_order", "sign_id")
        indexes = (
            models.Index(
                fields=("organisation", "-is_due", "due_order", "sign"),
                name="standing_due_list",
            ),
            models.Index(fields=("organisation", "cell"), name="standing_by_cell"),
            models.Index(
                fields=("organisation", "verdict", "sign"), name="standing_by_verdict"
            ),
            models.Index(fields=("organisation", "sign_code", "sign"), name="standing_by_code"),
            models.Index(
                fields=("organisation", "safety_class", "sign"), name="standing_by_class"
            ),
            models.Index(
                fields=("organisation", "forecast_due_on", "sign"), name="standing_by_forecast"
            ),
        )

    def __str__(self) -> str:
        return f"sign {self.sign_id}: {self.verdict}"
