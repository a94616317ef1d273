"""Organisations, the people who act for them, and the agency's own rules."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from inventory.engineering.inspection.instrument_uncertainty import ASSUMED_UNCERTAINTY
from inventory.models.scope import Fact, Scoped


class User(AbstractUser):
    """A person who signs in; what they may do comes from their memberships."""

    class Meta:
        ordering = ("username",)

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class Organisation(models.Model):
    """A road agency or a sign shop."""

    class Kind(models.TextChoices):
        AGENCY = "agency", "road agency"
        SHOP = "shop", "sign shop"

    name = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=10, choices=Kind)
    initials = models.CharField(
        max_length=8, blank=True, help_text="As marked on a sign's back."
    )
    time_zone = models.CharField(max_length=40, default="UTC")
    is_invented = models.BooleanField(
        default=False, help_text="Part of an invented demo scenario; pages say so."
    )

    class Meta:
        ordering = ("name", "pk")

    def __str__(self) -> str:
        return self.name

    def day_of(self, moment: datetime) -> date:
        """Return the calendar day of a moment where the organisation is."""
        return moment.astimezone(ZoneInfo(self.time_zone)).date()

    def clock_words(self, moment: datetime) -> str:
        """Return a moment as a clock where the organisation is shows it, with its zone."""
        return f"{moment.astimezone(ZoneInfo(self.time_zone)):%Y-%m-%d %H:%M %Z}"


class Role(models.TextChoices):
    """What a person does for an organisation."""

    CREW = "crew", "field crew"
    SHOP = "shop", "sign shop"
    ENGINEER = "engineer", "agency engineer"
    ADMINISTRATOR = "administrator", "administrator"


class Membership(Scoped):
    """One role of one person in one organisation."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="memberships"
    )
    role = models.CharField(max_length=16, choices=Role)

    class Meta:
        ordering = ("organisation", "role", "user", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("user", "organisation", "role"), name="membership_once_per_role"
            ),
        )

    def __str__(self) -> str:
        return f"{self.user}, {self.get_role_display()} at {self.organisation}"


class AgencyPolicy(Fact):
    """The rules an agency judges by, from a date on; never changed, only succeeded."""

    class DecisionRule(models.TextChoices):
        SIMPLE_ACCEPTANCE = "simple_acceptance", "simple acceptance: the mean against the level"
        GUARDED = "guarded", "guarded: the level with a guard for the reading's uncertainty"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="policies"
    )
    version = models.PositiveIntegerField()
    effective_on = models.DateField()
    recorded_at = models.DateTimeField(default=timezone.now)
    edition = models.CharField(max_length=20, help_text="Edition whose levels bind the agency.")
    uses_recommended_levels = models.BooleanField(
        default=False,
        help_text="Judge blue and brown signs by the 2012 recommendation where the edition has "
        "no level of its own.",
    )
    decision_rule = models.CharField(
        max_length=24, choices=DecisionRule, default=DecisionRule.SIMPLE_ACCEPTANCE
    )
    guard_probability = models.FloatField(
        default=0.95,
        help_text="Probability of being right that a guarded verdict asks for, one-sided.",
    )
    instrument_repeatability_rel = models.FloatField(
        default=ASSUMED_UNCERTAINTY.repeatability_rel,
        help_text="Relative standard uncertainty of repeating one reading.",
    )
    instrument_common_rel = models.FloatField(
        default=ASSUMED_UNCERTAINTY.common_rel,
        help_text="Relative standard uncertainty shared by all readings of one instrument and "
        "session; more readings do not make it smaller.",
    )
    single_reading_scatter_rel = models.FloatField(
        default=ASSUMED_UNCERTAINTY.single_scatter_rel,
        help_text="Relative scatter over a face assumed for a single reading.",
    )
    uncertainty_basis = models.TextField(
        default=ASSUMED_UNCERTAINTY.basis, help_text="Where the three figures come from."
    )
    fluorescent_yellow_basis = models.TextField(
        blank=True,
        help_text="Why fluorescent yellow is judged by the yellow row; empty: not decided.",
    )
    fluorescent_orange_basis = models.TextField(
        blank=True,
        help_text="Why fluorescent orange is judged by the orange row; empty: not decided.",
    )
    damage_days = models.JSONField(
        default=dict,
        blank=True,
        help_text="Days within which damage is put right, by severity (moderate, severe) and "
        "safety class (1 to 4); the agency's own targets, none by default.",
    )
    excluded_groups = models.JSONField(
        default=list,
        blank=True,
        help_text="Keys of the exclusion clauses the agency applies.",
    )
    due_probability = models.FloatField(
        default=0.2,
        help_text="A sign is due when it is this probable to have crossed its level; an "
        "assumption until the agency sets its own.",
    )
    due_soon_months = models.PositiveSmallIntegerField(
        default=12, help_text="A sign due within so many months is marked due soon."
    )
    press_rate_ft2_per_h = models.FloatField(
        default=162.0,
        help_text="Rate used for press-time estimates (common practice, no source).",
    )
    basis = models.TextField(help_text="Why these rules: the decision they rest on.")

    class Meta:
        ordering = ("organisation", "-effective_on", "-version")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "version"), name="policy_version_once"
            ),
            models.CheckConstraint(
                condition=Q(press_rate_ft2_per_h__gt=0), name="policy_press_rate_positive"
            ),
            models.CheckConstraint(
                condition=Q(due_probability__gte=0.05, due_probability__lte=0.95),
                name="policy_due_probability_005_to_095",
            ),
            models.CheckConstraint(
                condition=Q(guard_probability__gt=0.5, guard_probability__lt=1),
                name="policy_guard_over_half",
            ),
            models.CheckConstraint(
                condition=Q(
                    instrument_repeatability_rel__gte=0,
                    instrument_common_rel__gte=0,
                    single_reading_scatter_rel__gte=0,
                ),
                name="policy_uncertainty_not_negative",
            ),
            models.CheckConstraint(
                condition=~Q(uncertainty_basis=""), name="policy_uncertainty_has_basis"
            ),
        )

    def __str__(self) -> str:
        return f"{self.organisation}, rules version {self.version} from {self.effective_on}"


class ShopCustomer(Scoped):
    """An agency a shop prints for; what makes the two each other's counterparty."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="customers"
    )
    agency = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="shops")

    reader_paths = {"owner": "organisation", "counterparty": "agency"}
    reader_columns = {"owner": ("*",), "counterparty": ("organisation_id", "agency_id")}

    class Meta:
        ordering = ("organisation", "agency")
        constraints = (
            models.UniqueConstraint(fields=("organisation", "agency"), name="customer_once"),
            models.CheckConstraint(
                condition=~Q(organisation=F("agency")), name="customer_is_another"
            ),
        )

    def __str__(self) -> str:
        return f"{self.organisation} prints for {self.agency}"


class AgencyLevel(Fact):
    """A level the agency set itself for a colour no published table has a row for."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="own_levels"
    )
    background_color = models.CharField(max_length=32)
    legend_color = models.CharField(max_length=32)
    color = models.CharField(max_length=32, help_text="The colour the level is for.")
    minimum_ra_cd_lx_m2 = models.DecimalField(
        max_digits=9,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="Empty: the level is withdrawn from this day on.",
    )
    basis = models.TextField()
    approved_by = models.CharField(max_length=120)
    approved_on = models.DateField()
    effective_on = models.DateField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    class Meta:
        ordering = (
            "organisation",
            "background_color",
            "legend_color",
            "color",
            "-recorded_at",
            "-pk",
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(minimum_ra_cd_lx_m2__isnull=True) | Q(minimum_ra_cd_lx_m2__gt=0),
                name="own_level_positive",
            ),
            models.CheckConstraint(
                condition=~Q(basis="") & ~Q(approved_by=""), name="own_level_has_basis"
            ),
        )

    def __str__(self) -> str:
        return f"{self.organisation}'s own level for {self.color}"
