"""What is forecast of the signs: the fits of cohorts, due dates, lots, and how well it went."""

from django.db import models
from django.db.models import F, Q

from inventory.models.inspection import Inspection
from inventory.models.people import Organisation, User
from inventory.models.scope import ALL_COLUMNS, Fact, Scoped
from inventory.models.signs import ColourArea, Sign


class Overlay(models.TextChoices):
    """Whether a face has a protective film over its print."""

    UNKNOWN = "unknown", "overlay not known"
    NONE = "none", "no overlay"
    FILM = "film", "under an overlay film"


class CohortFit(Scoped):
    """
    What the readings of one cohort said together at one time; never changed.

    The newest fit of a cohort is the one without a time it was succeeded at; earlier ones stay,
    because forecasts were told by them.
    """

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="cohort_fits"
    )
    key = models.CharField(max_length=120, help_text="All of the cohort in one word.")
    sheeting_type = models.CharField(max_length=8, blank=True, help_text="Blank: not known.")
    optics = models.CharField(max_length=10, choices=ColourArea.Optics)
    color = models.CharField(max_length=32)
    colouring = models.CharField(max_length=16, choices=ColourArea.Colouring, blank=True)
    overlay = models.CharField(max_length=8, choices=Overlay)
    how = models.CharField(max_length=14, choices=Inspection.How)
    method_version = models.CharField(max_length=24)
    fingerprint = models.CharField(max_length=64, help_text="Of everything that was fitted.")
    fitted_at = models.DateTimeField()
    succeeded_at = models.DateTimeField(null=True, blank=True)
    newest_reading_on = models.DateField()
    sign_count = models.PositiveIntegerField(help_text="Signs that were read.")
    unknown_age_count = models.PositiveIntegerField(default=0)
    visit_count = models.PositiveIntegerField()
    oldest_age_years = models.FloatField()
    scale = models.CharField(max_length=8)
    shape = models.CharField(max_length=8)
    parameters = models.JSONField(help_text="Coefficients, their covariance, and the spread.")
    scores = models.JSONField(help_text="What each model tried scored, and why this was kept.")
    left_out = models.JSONField(default=dict, help_text="Readings left out, by reason.")
    life = models.JSONField(default=dict, help_text="Expected life against a usual level.")
    cloud = models.JSONField(
        default=dict,
        help_text="Readings against age to draw, thinned; only the newest fit keeps it.",
    )

    class Meta:
        ordering = ("organisation", "key", "-fitted_at", "-pk")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "key"),
                condition=Q(succeeded_at__isnull=True),
                name="one_newest_fit_per_cohort",
            ),
        )

    def __str__(self) -> str:
        return f"{self.key}, {self.sign_count} signs"


class SignForecast(Scoped):
    """What is forecast of one installed sign; derived, and made again when its facts change."""

    class Basis(models.TextChoices):
        OWN_READINGS = "own_readings", "its own readings and its cohort"
        COHORT = "cohort", "its cohort, not read itself"
        AGENCY_LIFE = "agency_life", "the agency's expected life"
        NONE = "none", "nothing to go by"

    class End(models.TextChoices):
        LEVEL = "level", "below its level"
        FADE = "fade", "colour faded"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="sign_forecasts"
    )
    sign = models.OneToOneField(Sign, on_delete=models.CASCADE, related_name="forecast")
    made_at = models.DateTimeField()
    as_of_on = models.DateField(help_text="The day that 'now' stands for.")
    method_version = models.CharField(max_length=24)
    fingerprint = models.CharField(max_length=64)
    basis = models.CharField(max_length=14, choices=Basis)
    end = models.CharField(
        max_length=6, choices=End, blank=True, help_text="Which end comes first."
    )
    color = models.CharField(max_length=32, blank=True, help_text="The governing colour.")
    fit = models.ForeignKey(
        CohortFit, null=True, blank=True, on_delete=models.PROTECT, related_name="forecasts"
    )
    level_cd_lx_m2 = models.FloatField(null=True, blank=True)
    ra_cd_lx_m2 = models.FloatField(null=True, blank=True)
    ra_low_cd_lx_m2 = models.FloatField(null=True, blank=True)
    ra_high_cd_lx_m2 = models.FloatField(null=True, blank=True)
    probability_below = models.FloatField(
        null=True, blank=True, help_text="That the governing colour is below its level now."
    )
    probabilities_below = models.JSONField(
        default=list, help_text="Of the whole sign, at the end of each year from this one on."
    )
    due_on = models.DateField(
        null=True, blank=True, help_text="Empty: not within 30 years, or nothing to go by."
    )
    due_early_on = models.DateField(null=True, blank=True, help_text="5 % are due before.")
    due_late_on = models.DateField(
        null=True, blank=True, help_text="5 % are due after; empty: after 30 years or more."
    )
    is_extrapolated = models.BooleanField(default=False)
    sentence = models.CharField(max_length=400)
    colors = models.JSONField(default=list, help_text="Each colour's figures, for its page.")
    safety_class = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ("organisation", "due_on", "sign_id")
        indexes = (
            models.Index(
                fields=("organisation", "due_on", "safety_class", "sign"),
                name="forecast_by_due_day",
            ),
            models.Index(
                fields=("organisation", "basis", "end", "due_on", "safety_class", "sign"),
                name="forecast_by_basis",
            ),
            models.Index(fields=("fit", "due_on", "sign"), name="forecast_by_fit"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(due_early_on__isnull=True)
                | Q(due_on__isnull=True)
                | Q(due_early_on__lte=F("due_on")),
                name="forecast_early_before_due",
            ),
        )

    def __str__(self) -> str:
        return f"sign {self.sign_id}: {self.sentence}"


class ExpectedLife(Fact):
    """How long an agency expects faces to last, where readings do not say; with its basis."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="expected_lives"
    )
    end = models.CharField(max_length=6, choices=SignForecast.End)
    sheeting_type = models.CharField(max_length=8, blank=True, help_text="Blank: any.")
    optics = models.CharField(
        max_length=10, choices=ColourArea.Optics, blank=True, help_text="Blank: any."
    )
    color = models.CharField(max_length=32, blank=True, help_text="Blank: any.")
    years = models.FloatField(
        null=True, blank=True, help_text="Empty: withdrawn from this day on."
    )
    basis = models.TextField()
    approved_by = models.CharField(max_length=120)
    effective_on = models.DateField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    class Meta:
        ordering = ("organisation", "end", "sheeting_type", "optics", "color", "-effective_on")
        constraints = (
            models.CheckConstraint(
                condition=Q(years__isnull=True) | Q(years__gt=0, years__lte=60),
                name="expected_life_over_0_to_60",
            ),
            models.CheckConstraint(
                condition=~Q(basis="") & ~Q(approved_by=""), name="expected_life_has_basis"
            ),
        )

    def __str__(self) -> str:
        return f"{self.organisation}: {self.color or 'any colour'}, {self.years} years"


class LotFinding(Scoped):
    """
    What the readings say of one lot, or of several that always occur together; derived.

    ``members`` names each as {"kind", "name"}: they cannot be told apart.
    """

    class Kind(models.TextChoices):
        SHEETING = "sheeting", "sheeting lot"
        INK = "ink", "ink lot"
        OVERLAY = "overlay", "overlay lot"
        RUN = "run", "print run"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="lot_findings"
    )
    maker = models.ForeignKey(
        Organisation,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="lot_findings_made",
    )
    key = models.CharField(max_length=64, help_text="Of its members; kept from find to find.")
    kind = models.CharField(max_length=8, choices=Kind, help_text="Of its first member.")
    name = models.CharField(max_length=80, help_text="Of its first member.")
    members = models.JSONField()
    found_at = models.DateTimeField()
    method_version = models.CharField(max_length=24)
    sign_count = models.PositiveIntegerField(help_text="Signs that were read.")
    visit_count = models.PositiveIntegerField()
    effect_per_year = models.FloatField(
        help_text="Yearly change less that of its cohorts, as a share of R_A."
    )
    effect_low_per_year = models.FloatField()
    effect_high_per_year = models.FloatField()
    cohort_change_per_year = models.FloatField(help_text="Of its cohorts, as a share of R_A.")
    p_value = models.FloatField()
    q_value = models.FloatField()
    is_suspect = models.BooleanField()
    told_apart_by = models.TextField(
        blank=True, help_text="Which readings would separate them."
    )
    detail = models.JSONField(default=dict)

    reader_paths = {"owner": "organisation", "maker": "maker"}
    reader_columns = {"owner": ALL_COLUMNS, "maker": ALL_COLUMNS}

    class Meta:
        ordering = ("organisation", "-is_suspect", "q_value", "key")
        indexes = (
            models.Index(
                fields=("organisation", "-is_suspect", "q_value", "key"),
                name="lot_finding_list",
            ),
            models.Index(
                fields=("maker", "-is_suspect", "q_value", "key"), name="lot_finding_by_maker"
            ),
        )
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "key"), name="lot_finding_once_per_agency"
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.name}"


class BackTest(Scoped):
    """How forecasts from earlier years would have gone; its rows grow until it is finished."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="back_tests"
    )
    method_version = models.CharField(max_length=24)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    cut_offs = models.JSONField(help_text="The days forecasts were made from.")
    rows = models.JSONField(default=list, help_text="One per cut-off, cohort and rival.")
    summary = models.JSONField(default=list)

    class Meta:
        ordering = ("organisation", "-started_at", "-pk")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation",),
                condition=Q(finished_at__isnull=True),
                name="one_back_test_under_way",
            ),
        )

    def __str__(self) -> str:
        return f"back-test of {self.organisation}, {self.started_at:%Y-%m-%d}"


class ForecastRun(Scoped):
    """One round of forecasting: how far it is, and what it came to."""

    class Stage(models.TextChoices):
        GATHERING = "gathering", "gathering readings"
        FITTING = "fitting", "fitting cohorts"
        SIGNS = "signs", "forecasting signs"
        LOTS = "lots", "comparing lots"
        DONE = "done", "done"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="forecast_runs"
    )
    started_at = models.DateTimeField()
    seen_at = models.DateTimeField(help_text="When it last said how far it is.")
    finished_at = models.DateTimeField(null=True, blank=True)
    stage = models.CharField(max_length=10, choices=Stage, default=Stage.GATHERING)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    counts = models.JSONField(default=dict)
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    class Meta:
        ordering = ("organisation", "-started_at", "-pk")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation",),
                condition=Q(finished_at__isnull=True),
                name="one_forecast_under_way",
            ),
        )

    def __str__(self) -> str:
        return f"forecast of {self.organisation}, {self.started_at:%Y-%m-%d %H:%M}"
