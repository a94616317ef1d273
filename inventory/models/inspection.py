"""What people saw and measured at the roadside: facts, corrected by a new row, never edited."""

import uuid

from django.db import models
from django.db.models import F, Q

from inventory.models.people import Organisation, User
from inventory.models.scope import ALL_COLUMNS, Fact, Scoped
from inventory.models.signs import Sign


class Instrument(Scoped):
    """A portable retroreflectometer."""

    class Receiver(models.TextChoices):
        UNKNOWN = "", "not known"
        ANNULAR = "annular", "annular"
        POINT = "point", "point"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="instruments"
    )
    serial = models.CharField(max_length=40)
    observation_angle_deg = models.DecimalField(max_digits=4, decimal_places=2)
    entrance_angle_deg = models.DecimalField(max_digits=5, decimal_places=2)
    receiver = models.CharField(max_length=8, choices=Receiver, blank=True, default="")
    certificate_on = models.DateField(null=True, blank=True)
    certificate_due_on = models.DateField(null=True, blank=True)
    check_tolerance_rel = models.FloatField(
        null=True,
        blank=True,
        help_text="Largest relative difference from the reference that a check may show; "
        "from the instrument's instructions. Empty: not known.",
    )
    is_retired = models.BooleanField(default=False)

    class Meta:
        ordering = ("organisation", "serial")
        constraints = (
            models.UniqueConstraint(fields=("organisation", "serial"), name="instrument_once"),
            models.CheckConstraint(
                condition=Q(certificate_on__isnull=True)
                | Q(certificate_due_on__isnull=True)
                | Q(certificate_on__lte=F("certificate_due_on")),
                name="certificate_dates_in_order",
            ),
        )

    def __str__(self) -> str:
        return f"instrument {self.serial}"


class EarlierCertificate(Fact):
    """A certificate an instrument had before, or the present one as first written down."""

    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, related_name="earlier_certificates"
    )
    certificate_on = models.DateField(null=True, blank=True)
    certificate_due_on = models.DateField(null=True, blank=True)
    replaced_at = models.DateTimeField()
    replaced_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    reader_paths = {"owner": "instrument__organisation"}

    class Meta:
        ordering = ("instrument", "replaced_at", "pk")

    def __str__(self) -> str:
        return f"earlier certificate of {self.instrument}, due {self.certificate_due_on}"


class InstrumentCheck(Fact):
    """A check of an instrument against its reference standard."""

    class Moment(models.TextChoices):
        BEFORE = "before", "before a session"
        AFTER = "after", "after a session"

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="checks")
    client_uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    moment = models.CharField(max_length=6, choices=Moment)
    tolerance_rel = models.FloatField(help_text="The tolerance in force when it was checked.")
    is_within_tolerance = models.BooleanField()
    checked_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    reference_ra_cd_lx_m2 = models.DecimalField(max_digits=9, decimal_places=3)
    shown_ra_cd_lx_m2 = models.DecimalField(max_digits=9, decimal_places=3)
    checked_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    reader_paths = {"owner": "instrument__organisation"}

    class Meta:
        ordering = ("instrument", "checked_at", "pk")

    def __str__(self) -> str:
        return f"check of {self.instrument} at {self.checked_at:%Y-%m-%d %H:%M}"


class InspectionFlag(Fact):
    """A doubt about the readings of one inspection; they are not judged until it is settled."""

    class Reason(models.TextChoices):
        CHECK_FAILED = "check_failed", "a later instrument check was outside its tolerance"
        CERTIFICATE_EXPIRED = (
            "certificate_expired",
            "the instrument's certificate was out of date",
        )

    inspection = models.ForeignKey(
        "inventory.Inspection", on_delete=models.PROTECT, related_name="flags"
    )
    reason = models.CharField(max_length=20, choices=Reason)
    check_made = models.ForeignKey(
        InstrumentCheck, null=True, blank=True, on_delete=models.PROTECT, related_name="flags"
    )
    raised_at = models.DateTimeField()

    reader_paths = {"owner": "inspection__organisation"}

    class Meta:
        ordering = ("raised_at", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("inspection", "reason", "check_made"), name="flag_once_per_check"
            ),
            models.UniqueConstraint(
                fields=("inspection", "reason"),
                condition=Q(check_made__isnull=True),
                name="flag_once_without_check",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_reason_display()}: inspection {self.inspection_id}"


class FlagSettlement(Fact):
    """What a person decided about flagged readings."""

    class Outcome(models.TextChoices):
        JUDGE = "judge", "the readings are good and are judged"
        SET_ASIDE = "set_aside", "the readings are kept and not judged"

    flag = models.OneToOneField(
        InspectionFlag, on_delete=models.PROTECT, related_name="settlement"
    )
    outcome = models.CharField(max_length=10, choices=Outcome)
    reason = models.CharField(max_length=255)
    settled_at = models.DateTimeField()
    settled_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    reader_paths = {"owner": "flag__inspection__organisation"}

    class Meta:
        ordering = ("settled_at", "pk")
        constraints = (
            models.CheckConstraint(condition=~Q(reason=""), name="flag_settled_with_reason"),
        )

    def __str__(self) -> str:
        return f"{self.outcome} for flag {self.flag_id}"


class Inspection(Fact):
    """One visit of one person to one sign."""

    class How(models.TextChoices):
        HAND_HELD = "hand_held", "hand-held instrument"
        MOBILE = "mobile", "instrument in a moving vehicle"
        VISUAL_NIGHT = "visual_night", "looked at by night"
        VISUAL_DAY = "visual_day", "looked at by day"

    class SurfaceState(models.TextChoices):
        UNKNOWN = "", "not recorded"
        DRY = "dry", "dry"
        CLEANED = "cleaned", "cleaned before reading"
        DIRTY = "dirty", "dirty"
        DAMP = "damp", "damp"
        DEW = "dew", "dew"
        FROST = "frost", "frost"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="inspections"
    )
    client_uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sign = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="inspections")
    taken_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    device_offset_minutes = models.SmallIntegerField(
        default=0, help_text="Offset of the recording device's clock from UTC."
    )
    inspector = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="inspections"
    )
    how = models.CharField(max_length=14, choices=How)
    surface_state = models.CharField(max_length=8, choices=SurfaceState, blank=True, default="")
    instrument = models.ForeignKey(
        Instrument, null=True, blank=True, on_delete=models.PROTECT, related_name="inspections"
    )
    note = models.TextField(blank=True)
    corrects = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrections"
    )

    reader_paths = {"owner": "organisation", "maker": "sign__maker"}
    # The maker stands behind the face: it sees when and how what was found on it was found.
    reader_columns = {
        "owner": ALL_COLUMNS,
        "maker": ("sign_id", "taken_at", "recorded_at", "how", "surface_state", "corrects_id"),
    }

    class Meta:
        ordering = ("sign", "-taken_at", "-pk")
        indexes = (
            models.Index(fields=("sign", "-taken_at"), name="inspection_by_sign_time"),
            models.Index(fields=("organisation", "-taken_at"), name="inspection_by_org_time"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(corrects__isnull=True) | ~Q(corrects=F("id")),
                name="inspection_corrects_another",
            ),
        )

    def __str__(self) -> str:
        return f"inspection of {self.sign_id} at {self.taken_at:%Y-%m-%d}"


class InspectionPart(Fact):
    """A fact that belongs to an inspection and is readable by whoever may read that."""

    reader_paths = {
        "owner": "inspection__organisation",
        "maker": "inspection__sign__maker",
    }
    # The maker stands behind the face: it may see what was found on it.
    reader_columns = {"owner": ALL_COLUMNS, "maker": ALL_COLUMNS}

    class Meta:
        abstract = True


class ReadingSet(InspectionPart):
    """The readings of one colour at one geometry during one inspection."""

    inspection = models.ForeignKey(
        Inspection, on_delete=models.PROTECT, related_name="reading_sets"
    )
    number = models.PositiveSmallIntegerField()
    color = models.CharField(max_length=32)
    observation_angle_deg = models.DecimalField(max_digits=4, decimal_places=2)
    entrance_angle_deg = models.DecimalField(max_digits=5, decimal_places=2)
    rotation_angle_deg = models.DecimalField(
        max_digits=5, decimal_places=2, null=True, blank=True
    )

    class Meta:
        ordering = ("inspection", "number")
        constraints = (
            models.UniqueConstraint(fields=("inspection", "number"), name="reading_set_once"),
        )

    def __str__(self) -> str:
        return f"{self.color} readings of inspection {self.inspection_id}"


class Reading(Fact):
    """One measured R_A of one colour of one face; never edited once saved."""

    reading_set = models.ForeignKey(
        ReadingSet, on_delete=models.PROTECT, related_name="readings"
    )
    number = models.PositiveSmallIntegerField()
    typed = models.CharField(max_length=24, help_text="The decimal as it was typed.")
    ra_cd_lx_m2 = models.DecimalField("R_A [cd/lx/m²]", max_digits=9, decimal_places=3)
    place_on_face = models.CharField(max_length=24, blank=True)

    reader_paths = {
        "owner": "reading_set__inspection__organisation",
        "maker": "reading_set__inspection__sign__maker",
    }
    reader_columns = {"owner": ALL_COLUMNS, "maker": ALL_COLUMNS}

    class Meta:
        ordering = ("reading_set", "number")
        constraints = (
            models.UniqueConstraint(fields=("reading_set", "number"), name="reading_once"),
            models.CheckConstraint(
                condition=Q(ra_cd_lx_m2__gte=0), name="reading_ra_not_negative"
            ),
        )

    def __str__(self) -> str:
        return f"{self.typed} cd/lx/m²"


class Observation(InspectionPart):
    """Something seen by eye: damage, a lean, an obstruction."""

    class Kind(models.TextChoices):
        DAMAGED = "damaged", "damaged"
        BENT = "bent", "bent"
        LEANING = "leaning", "leaning"
        TURNED = "turned", "turned away"
        OBSTRUCTED = "obstructed", "hidden by growth or objects"
        VANDALISED = "vandalised", "defaced or shot at"
        FADED = "faded", "colour faded"
        DELAMINATED = "delaminated", "sheeting or film coming off"
        MISSING = "missing", "missing"
        KNOCKED_DOWN = "knocked_down", "knocked down"
        WRONG_SIGN = "wrong_sign", "not the sign on record"
        GENERAL = "general", "general condition"

    class Severity(models.IntegerChoices):
        NONE = 0, "sound"
        SLIGHT = 1, "slight: still reads well"
        MODERATE = 2, "moderate: replace in due course"
        SEVERE = 3, "severe: cannot be relied on"

    inspection = models.ForeignKey(
        Inspection, on_delete=models.PROTECT, related_name="observations"
    )
    kind = models.CharField(max_length=14, choices=Kind)
    severity = models.PositiveSmallIntegerField(choices=Severity)
    note = models.CharField(max_length=255, blank=True)

    class Meta:
        ordering = ("inspection", "pk")

    def __str__(self) -> str:
        return f"{self.get_kind_display()} ({self.get_severity_display()})"


class VisualRating(InspectionPart):
    """A trained inspector's judgement at night: a graded observation, not a measured value."""

    class Procedure(models.TextChoices):
        CALIBRATION_SIGNS = "calibration_signs", "calibration signs"
        COMPARISON_PANELS = "comparison_panels", "comparison panels"
        CONSISTENT_PARAMETERS = "consistent_parameters", "consistent parameters"

    inspection = models.ForeignKey(
        Inspection, on_delete=models.PROTECT, related_name="visual_ratings"
    )
    procedure = models.CharField(max_length=24, choices=Procedure)
    is_adequate = models.BooleanField()
    evidence = models.JSONField(default=dict)

    class Meta:
        ordering = ("inspection", "pk")

    def __str__(self) -> str:
        return f"{'adequate' if self.is_adequate else 'not adequate'} by {self.procedure}"


class Photo(Scoped):
    """A picture of a sign; re-encoded on arrival, never trusted as sent."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="photos"
    )
    client_uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sign = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="photos")
    inspection = models.ForeignKey(
        Inspection, null=True, blank=True, on_delete=models.PROTECT, related_name="photos"
    )
    image = models.ImageField(upload_to="photos/%Y/%m/")
    sha256 = models.CharField(max_length=64, help_text="Of the bytes as they were sent.")
    taken_at = models.DateTimeField(null=True, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)
    caption = models.CharField(max_length=255, blank=True)
    is_drawn = models.BooleanField(
        default=False, help_text="Drawn by code for an invented scenario, not photographed."
    )

    class Meta:
        ordering = ("sign", "-recorded_at", "-pk")

    def __str__(self) -> str:
        return f"photo {self.pk} of sign {self.sign_id}"


class RefusedEntry(Scoped):
    """What was sent and refused, as it was sent, until a person settles it."""

    class Channel(models.TextChoices):
        FORM = "form", "typed on a page"
        API = "api", "sent by a device"
        IMPORT = "import", "row of a file"

    class Kind(models.TextChoices):
        INSPECTION = "inspection", "inspection"
        CHECK = "check", "instrument check"
        OPERATION = "operation", "what a phone sent"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="refused_entries"
    )
    channel = models.CharField(max_length=6, choices=Channel)
    kind = models.CharField(max_length=10, choices=Kind)
    client_uuid = models.UUIDField(null=True, blank=True)
    payload = models.JSONField(help_text="As it was sent; never changed.")
    fingerprint = models.CharField(max_length=64, help_text="SHA-256 of what was sent.")
    sentence = models.TextField(help_text="Why it was refused.")
    received_at = models.DateTimeField()
    sent_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_reason = models.CharField(max_length=255, blank=True, default="")

    class Meta:
        ordering = ("organisation", "-received_at", "-pk")
        indexes = (
            models.Index(
                fields=("organisation", "-received_at", "-id"), name="refused_by_org_time"
            ),
            models.Index(
                fields=("client_uuid",),
                condition=Q(settled_at__isnull=True),
                name="refused_open_by_key",
            ),
        )
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "channel", "kind", "fingerprint"),
                condition=Q(settled_at__isnull=True),
                name="refused_once_while_open",
            ),
            models.CheckConstraint(
                condition=Q(settled_at__isnull=True, settled_reason="")
                | (Q(settled_at__isnull=False) & ~Q(settled_reason="")),
                name="refused_settled_with_reason",
            ),
        )

    def __str__(self) -> str:
        return f"refused {self.get_kind_display()} of {self.received_at:%Y-%m-%d %H:%M}"
