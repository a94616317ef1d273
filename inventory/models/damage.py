"""Damage the agency was told of: when it was seen, known, and put right."""

import uuid

from django.db import models
from django.db.models import F, Q

from inventory.models.inspection import Inspection, Observation
from inventory.models.people import Organisation, User
from inventory.models.places import Position
from inventory.models.scope import Fact, Scoped
from inventory.models.signs import Sign


class ClockPrecision(models.TextChoices):
    """How well a moment is known: a letter has a day, a telephone call a time too."""

    UNKNOWN = "", "not known"
    DAY = "day", "the day"
    MINUTE = "minute", "day and time"


def _known_with_precision(name: str) -> Q:
    """Return that a moment is there together with how well it is known, or neither."""
    unknown = Q(**{f"{name}_at__isnull": True, f"{name}_precision": ""})
    return unknown | (Q(**{f"{name}_at__isnull": False}) & ~Q(**{f"{name}_precision": ""}))


class DamageReport(Fact):
    """
    One report of damage: when it was first seen, and when the agency knew of it.

    The two may come in any order: a phone's clock may run ahead. A correction is a new report
    that names the one it corrects.
    """

    class Channel(models.TextChoices):
        VISIT = "visit", "seen on a visit"
        CALL = "call", "told by telephone"
        LETTER = "letter", "told by letter or message"
        POLICE = "police", "told by the police"
        DESK = "desk", "found at the desk"
        RECORD = "record", "on record before damage was followed here"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="damage_reports"
    )
    client_uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    position = models.ForeignKey(
        Position, on_delete=models.PROTECT, related_name="damage_reports"
    )
    sign = models.ForeignKey(
        Sign,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="damage_reports",
        help_text="The face it was seen on; empty where none is on record.",
    )
    observation = models.OneToOneField(
        Observation,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="damage_report",
        help_text="What was seen, where it was seen on a visit.",
    )
    corrects = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="correction"
    )
    channel = models.CharField(max_length=8, choices=Channel)
    kind = models.CharField(max_length=14, choices=Observation.Kind)
    severity = models.PositiveSmallIntegerField(
        choices=Observation.Severity,
        help_text="As the clock runs by: what is missing or down is always severe.",
    )
    description = models.CharField(max_length=255, blank=True)
    told_by = models.CharField(max_length=120, blank=True, help_text="Who told of it.")
    reported_at = models.DateTimeField(
        null=True, blank=True, help_text="When it was first seen; empty: not known."
    )
    reported_precision = models.CharField(
        max_length=6, choices=ClockPrecision, blank=True, default=""
    )
    notified_at = models.DateTimeField(
        null=True, blank=True, help_text="When the agency came to know of it; empty: not known."
    )
    notified_precision = models.CharField(
        max_length=6, choices=ClockPrecision, blank=True, default=""
    )
    entered_at = models.DateTimeField(help_text="When it was written down here.")
    entered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("organisation", "-entered_at", "-pk")
        constraints = (
            models.CheckConstraint(
                condition=_known_with_precision("reported"), name="damage_seen_as_well_as_known"
            ),
            models.CheckConstraint(
                condition=_known_with_precision("notified"), name="damage_told_as_well_as_known"
            ),
            models.CheckConstraint(
                condition=Q(severity__in=(2, 3)), name="damage_moderate_or_severe"
            ),
            models.CheckConstraint(
                condition=~Q(channel__in=("call", "letter", "police")) | ~Q(told_by=""),
                name="damage_told_says_who",
            ),
            models.CheckConstraint(
                condition=Q(corrects__isnull=True) | ~Q(corrects=F("id")),
                name="damage_corrects_another",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.position_id}"


class DamageClosure(Fact):
    """That reported damage is over: when, and how it was put right."""

    class Way(models.TextChoices):
        NEW_FACE = "new_face", "a new face was put up"
        REPAIRED = "repaired", "repaired or straightened"
        FOUND_SOUND = "found_sound", "found in order on a later visit"
        NOTHING = "nothing", "nothing to do"
        SAME = "same", "told of twice"

    report = models.ForeignKey(DamageReport, on_delete=models.PROTECT, related_name="closures")
    client_uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    way = models.CharField(max_length=12, choices=Way)
    done_at = models.DateTimeField(
        null=True, blank=True, help_text="When it was put right; empty: not known."
    )
    done_precision = models.CharField(
        max_length=6, choices=ClockPrecision, blank=True, default=""
    )
    recorded_at = models.DateTimeField()
    done_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    new_sign = models.ForeignKey(
        Sign, null=True, blank=True, on_delete=models.PROTECT, related_name="closed_damage"
    )
    inspection = models.ForeignKey(
        Inspection,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="closed_damage",
        help_text="The visit on which it was found in order.",
    )
    same_as = models.ForeignKey(
        DamageReport,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="told_again",
        help_text="The report that goes on, where it was told of twice.",
    )
    note = models.CharField(max_length=255, blank=True)

    reader_paths = {"owner": "report__organisation"}

    class Meta:
        ordering = ("report", "-recorded_at", "-pk")
        constraints = (
            models.CheckConstraint(
                condition=_known_with_precision("done"), name="damage_done_as_well_as_known"
            ),
            models.CheckConstraint(
                condition=~Q(way="nothing") | ~Q(note=""), name="damage_nothing_to_do_says_why"
            ),
            models.CheckConstraint(
                condition=Q(way="same", same_as__isnull=False)
                | (~Q(way="same") & Q(same_as__isnull=True)),
                name="damage_told_twice_names_other",
            ),
            models.CheckConstraint(
                condition=~Q(way="new_face") | Q(new_sign__isnull=False),
                name="damage_new_face_is_named",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_way_display()}: damage {self.report_id}"


class DamageReopening(Fact):
    """A closure taken back: the damage is there still, and its clocks run on as before."""

    closure = models.OneToOneField(
        DamageClosure, on_delete=models.PROTECT, related_name="reopening"
    )
    reason = models.CharField(max_length=255)
    reopened_at = models.DateTimeField()
    reopened_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "closure__report__organisation"}

    class Meta:
        ordering = ("reopened_at", "pk")
        constraints = (
            models.CheckConstraint(condition=~Q(reason=""), name="damage_reopened_with_reason"),
        )

    def __str__(self) -> str:
        return f"taken back: closure {self.closure_id}"


class DamageStanding(Scoped):
    """
    How one report stands now: derived from the facts, for lists; one row a report.

    A report that was corrected has none: the one that corrects it has.
    """

    report = models.OneToOneField(
        DamageReport, primary_key=True, on_delete=models.CASCADE, related_name="standing"
    )
    organisation = models.ForeignKey(
        Organisation, on_delete=models.CASCADE, related_name="damage_standings"
    )
    position = models.ForeignKey(
        Position, on_delete=models.CASCADE, related_name="damage_standings"
    )
    sign = models.ForeignKey(
        Sign,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="damage_standings",
        help_text="The face it counts for: of two records of one face, the one kept.",
    )
    kind = models.CharField(max_length=14, choices=Observation.Kind)
    severity = models.PositiveSmallIntegerField(choices=Observation.Severity)
    safety_class = models.PositiveSmallIntegerField()
    is_open = models.BooleanField()
    way = models.CharField(max_length=12, choices=DamageClosure.Way, blank=True, default="")
    notified_on = models.DateField(null=True, blank=True)
    counted_from_on = models.DateField(help_text="The day its time counts from.")
    due_on = models.DateField(
        null=True,
        blank=True,
        help_text="Last day of the agency's time; empty: no time set.",
    )
    sort_on = models.DateField(help_text="The last day, or the day counted from.")
    done_on = models.DateField(null=True, blank=True)
    over_at = models.DateTimeField(
        null=True,
        blank=True,
        help_text="From when what was seen on the face is gone; empty where it is not, or the "
        "face is.",
    )
    rebuilt_at = models.DateTimeField()

    class Meta:
        ordering = ("organisation", "-is_open", "sort_on", "safety_class", "report")
        indexes = (
            models.Index(
                fields=("organisation", "is_open", "sort_on", "safety_class", "report"),
                name="damage_by_clock",
            ),
            models.Index(
                fields=("organisation", "is_open", "safety_class", "sort_on", "report"),
                name="damage_by_class",
            ),
            models.Index(fields=("organisation", "is_open", "due_on"), name="damage_by_target"),
            models.Index(
                fields=("organisation", "counted_from_on"), name="damage_by_day_counted"
            ),
            models.Index(fields=("position", "is_open"), name="damage_by_position"),
            models.Index(fields=("sign", "is_open"), name="damage_by_sign"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(is_open=True, way="") | (Q(is_open=False) & ~Q(way="")),
                name="damage_over_says_how",
            ),
        )

    def __str__(self) -> str:
        return f"damage {self.report_id}: {self.get_way_display() or 'open'}"
