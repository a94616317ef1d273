"""Warranty: what a supplier promises of faces, and claims made on it."""

from django.db import models
from django.db.models import F, Q

from inventory.models.ordering import OrderLine
from inventory.models.people import Organisation, User
from inventory.models.scope import ALL_COLUMNS, Fact, Scoped
from inventory.models.signs import ColourArea, Sign


class WarrantyTerm(Fact):
    """
    What a supplier promises of faces made from a day on, as the shop entered it.

    A version that takes the place of another names it; for faces made before it begins the
    earlier one goes on.
    """

    class Start(models.TextChoices):
        FABRICATED = "fabricated", "when it was fabricated"
        SHIPPED = "shipped", "when it was shipped"
        INSTALLED = "installed", "when it was installed"

    class Overlay(models.TextChoices):
        ANY = "any", "with or without overlay"
        WITH = "with", "with overlay"
        WITHOUT = "without", "without overlay"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="warranty_terms"
    )
    name = models.CharField(max_length=80)
    version = models.PositiveSmallIntegerField()
    made_from_on = models.DateField(help_text="It holds for faces made from this day on.")
    sheeting_type = models.CharField(max_length=8)
    colouring = models.CharField(max_length=16, choices=ColourArea.Colouring)
    overlay = models.CharField(max_length=8, choices=Overlay)
    starts = models.CharField(max_length=10, choices=Start)
    must_be_upright = models.BooleanField()
    storage_months = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="From receipt of the sheeting; empty: no limit."
    )
    matched_components = models.CharField(
        max_length=255, blank=True, help_text="Ink and overlay it asks for; empty: any."
    )
    initial_basis = models.CharField(
        max_length=255, help_text="What the initial values are, as the supplier names them."
    )
    supplier_text = models.TextField()
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    # Who has faces made by a shop may read what is promised of them.
    reader_paths = {
        "owner": "organisation",
        "counterparty": "organisation__customers__agency",
    }
    reader_columns = {"owner": ALL_COLUMNS, "counterparty": ALL_COLUMNS}
    reader_paths_repeat = True

    class Meta:
        ordering = ("organisation", "name", "version")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "name", "version"), name="warranty_version_once"
            ),
            models.CheckConstraint(
                condition=~Q(supplier_text="") & ~Q(initial_basis=""),
                name="warranty_has_its_text",
            ),
            models.CheckConstraint(
                condition=Q(storage_months__isnull=True) | Q(storage_months__gt=0),
                name="warranty_storage_positive",
            ),
        )

    def __str__(self) -> str:
        return f"{self.name}, version {self.version}"


class TermPart(Fact):
    """A part of a term, readable by whoever may read that."""

    reader_paths = {
        "owner": "term__organisation",
        "counterparty": "term__organisation__customers__agency",
    }
    reader_columns = {"owner": ALL_COLUMNS, "counterparty": ALL_COLUMNS}
    reader_paths_repeat = True

    class Meta:
        abstract = True


class WarrantyStep(TermPart):
    """Up to a number of years a share is kept; else the remedy is due."""

    term = models.ForeignKey(WarrantyTerm, on_delete=models.PROTECT, related_name="steps")
    until_years = models.PositiveSmallIntegerField()
    retained_share = models.DecimalField(max_digits=5, decimal_places=4)
    remedy = models.CharField(max_length=160)

    class Meta:
        ordering = ("term", "until_years")
        constraints = (
            models.UniqueConstraint(fields=("term", "until_years"), name="warranty_step_once"),
            models.CheckConstraint(
                condition=Q(retained_share__gt=0, retained_share__lte=1),
                name="warranty_share_is_a_share",
            ),
        )

    def __str__(self) -> str:
        return f"{self.share_words} until year {self.until_years}"

    @property
    def share_words(self) -> str:
        """Return the share in per cent, as exact as it is."""
        return f"{(self.retained_share * 100).normalize():f} %"


class WarrantyInitial(TermPart):
    """The initial value that a term names for a colour."""

    term = models.ForeignKey(WarrantyTerm, on_delete=models.PROTECT, related_name="initials")
    color = models.CharField(max_length=32)
    ra_cd_lx_m2 = models.DecimalField("R_A [cd/lx/m²]", max_digits=9, decimal_places=3)

    class Meta:
        ordering = ("term", "pk")
        constraints = (
            models.UniqueConstraint(fields=("term", "color"), name="warranty_colour_once"),
            models.CheckConstraint(
                condition=Q(ra_cd_lx_m2__gt=0), name="warranty_initial_positive"
            ),
        )

    def __str__(self) -> str:
        return f"{self.color} {self.ra_cd_lx_m2.normalize():f} cd/lx/m²"


class WarrantyClaim(Scoped):
    """Faces of one lot whose promise was not kept, claimed by the agency from the shop."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        SENT = "sent", "sent to the shop"
        PASSED_ON = "passed_on", "passed on to the supplier"
        ANSWERED = "answered", "answered"
        WITHDRAWN = "withdrawn", "withdrawn"

    agency = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="claims_made"
    )
    shop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="claims_received"
    )
    number = models.PositiveIntegerField(help_text="Counted within the agency, from 1.")
    lot = models.CharField(max_length=40, blank=True, help_text="Blank: not known.")
    note = models.TextField(blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    drafted_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    answer_due_on = models.DateField(
        null=True, blank=True, help_text="Until when its signs wait, unless they are unsafe."
    )

    reader_paths = {"owner": "agency", "counterparty": "shop"}
    reader_columns = {"owner": ALL_COLUMNS, "counterparty": ALL_COLUMNS}
    # Until it is sent it is the agency's own affair.
    reader_conditions = {"counterparty": Q(sent_at__isnull=False)}

    class Meta:
        ordering = ("agency", "-number")
        indexes = (
            models.Index(fields=("agency", "-number"), name="claim_by_agency"),
            models.Index(fields=("shop", "-sent_at", "-id"), name="claim_by_shop"),
        )
        constraints = (
            models.UniqueConstraint(fields=("agency", "number"), name="claim_number_once"),
            models.CheckConstraint(
                condition=~Q(agency=F("shop")), name="claim_has_two_parties"
            ),
            models.CheckConstraint(
                condition=Q(state__in=("draft", "withdrawn"))
                | Q(sent_at__isnull=False, answer_due_on__isnull=False),
                name="claim_sent_says_until_when",
            ),
        )

    def __str__(self) -> str:
        return f"claim {self.number}"


class ClaimPart(Fact):
    """A part of a claim, readable by its parties once it is sent."""

    reader_paths = {"owner": "claim__agency", "counterparty": "claim__shop"}
    reader_columns = {"owner": ALL_COLUMNS, "counterparty": ALL_COLUMNS}
    reader_conditions = {"counterparty": Q(claim__sent_at__isnull=False)}

    class Meta:
        abstract = True


class ClaimFace(ClaimPart):
    """A face of a claim, with everything the claim rests on as it was known then."""

    claim = models.ForeignKey(WarrantyClaim, on_delete=models.PROTECT, related_name="faces")
    sign = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="claims")
    color = models.CharField(max_length=32)
    term = models.ForeignKey(WarrantyTerm, on_delete=models.PROTECT, related_name="+")
    evidence = models.JSONField()

    class Meta:
        ordering = ("claim", "sign", "color")
        constraints = (
            models.UniqueConstraint(
                fields=("claim", "sign", "color"), name="claim_face_colour_once"
            ),
        )

    def __str__(self) -> str:
        return f"{self.color} of sign {self.sign_id}"


class ClaimStatement(ClaimPart):
    """What a party states of a condition that the records do not show."""

    claim = models.ForeignKey(
        WarrantyClaim, on_delete=models.PROTECT, related_name="statements"
    )
    condition = models.CharField(max_length=16)
    is_met = models.BooleanField()
    words = models.CharField(max_length=255)
    stated_at = models.DateTimeField()
    stated_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("claim", "stated_at", "pk")
        constraints = (
            models.CheckConstraint(condition=~Q(words=""), name="claim_statement_says_why"),
        )

    def __str__(self) -> str:
        return f"{self.condition}: {'met' if self.is_met else 'failed'}"


class ClaimStep(ClaimPart):
    """A step of a claim, by whom and when, with what was said."""

    claim = models.ForeignKey(WarrantyClaim, on_delete=models.PROTECT, related_name="steps")
    state = models.CharField(max_length=10, choices=WarrantyClaim.State)
    words = models.TextField(blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("claim", "made_at", "pk")
        constraints = (
            models.UniqueConstraint(fields=("claim", "state"), name="claim_step_once"),
            models.CheckConstraint(
                condition=~Q(state="withdrawn") | ~Q(words=""), name="claim_withdrawn_says_why"
            ),
        )

    def __str__(self) -> str:
        return f"{self.claim} {self.get_state_display()}"


class ClaimAnswer(ClaimPart):
    """What the supplier answers for one face."""

    reader_paths = {"owner": "face__claim__agency", "counterparty": "face__claim__shop"}
    reader_conditions = {"counterparty": Q(face__claim__sent_at__isnull=False)}

    face = models.OneToOneField(ClaimFace, on_delete=models.PROTECT, related_name="answer")
    is_accepted = models.BooleanField()
    words = models.CharField(max_length=255, blank=True)
    answered_at = models.DateTimeField()
    answered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("face",)
        constraints = (
            models.CheckConstraint(
                condition=Q(is_accepted=True) | ~Q(words=""), name="claim_refused_says_why"
            ),
        )

    def __str__(self) -> str:
        return f"{self.face}: {'accepted' if self.is_accepted else 'refused'}"


class ClaimCredit(ClaimPart):
    """Faces of an order line that the supplier stands for."""

    claim = models.ForeignKey(WarrantyClaim, on_delete=models.PROTECT, related_name="credits")
    line = models.ForeignKey(
        OrderLine, on_delete=models.PROTECT, related_name="warranty_credits"
    )
    face_count = models.PositiveSmallIntegerField()
    words = models.CharField(max_length=255, help_text="What is credited, by its remedy.")
    credited_at = models.DateTimeField()
    credited_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("claim", "credited_at", "pk")
        constraints = (
            models.CheckConstraint(condition=Q(face_count__gt=0), name="credit_has_faces"),
            models.CheckConstraint(condition=~Q(words=""), name="credit_says_what"),
        )

    def __str__(self) -> str:
        return f"{self.face_count} of {self.line}"
