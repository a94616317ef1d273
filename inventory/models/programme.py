"""Which sign in which year, and the work handed to a crew with what came of it."""

import uuid

from django.db import models
from django.db.models import F, Q

from inventory.models.people import Organisation, User
from inventory.models.places import Position
from inventory.models.scope import Fact, Scoped
from inventory.models.signs import Sign


class WorkBasis(Fact):
    """What replacing costs an agency and how long it takes, from a date on; only succeeded."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="work_bases"
    )
    version = models.PositiveIntegerField()
    effective_on = models.DateField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)
    face_price = models.FloatField(help_text="Of one face, whatever its size. [money]")
    face_price_per_ft2 = models.FloatField(help_text="Added for its size. [money/ft²]")
    crew_price_per_h = models.FloatField(help_text="Of a crew with its truck. [money/h]")
    face_hours = models.FloatField(help_text="To change one face at a support. [h]")
    face_hours_per_ft2 = models.FloatField(default=0.0, help_text="Added for its size. [h/ft²]")
    hours_by_support = models.JSONField(
        default=dict, help_text="Hours added for a support of a type, by type. [h]"
    )
    support_hours = models.FloatField(
        help_text="To set up at a support, once for all faces changed there in a year. [h]"
    )
    stretch_hours = models.FloatField(
        help_text="To drive to a stretch of road, once for all supports there in a year. [h]"
    )
    stretch_mi = models.FloatField(default=2.0, help_text="Length of a stretch of road. [mi]")
    read_minutes = models.FloatField(default=6.0, help_text="To take readings of one face.")
    look_minutes = models.FloatField(default=2.0, help_text="To look at one face by night.")
    detour_factor = models.FloatField(
        default=1.3, help_text="Way by road ÷ straight distance; an assumption."
    )
    speed_mi_per_h = models.FloatField(default=30.0, help_text="Between stops. [mi/h]")
    lead_days = models.PositiveSmallIntegerField(
        help_text="From ordering a face to having it on its post. [d]"
    )
    class_weights = models.JSONField(help_text="Of safety classes 1 to 4, none after heavier.")
    currency = models.CharField(max_length=12, default="$")
    basis = models.TextField(help_text="Where these figures come from.")

    class Meta:
        ordering = ("organisation", "-effective_on", "-version")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "version"), name="work_basis_version_once"
            ),
            models.CheckConstraint(
                condition=Q(
                    face_price__gte=0,
                    face_price_per_ft2__gte=0,
                    crew_price_per_h__gte=0,
                    face_hours__gte=0,
                    face_hours_per_ft2__gte=0,
                    support_hours__gte=0,
                    stretch_hours__gte=0,
                    read_minutes__gte=0,
                    look_minutes__gte=0,
                ),
                name="work_basis_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(stretch_mi__gt=0, detour_factor__gte=1, speed_mi_per_h__gt=0),
                name="work_basis_travel_positive",
            ),
            models.CheckConstraint(condition=~Q(basis=""), name="work_basis_has_basis"),
        )

    def __str__(self) -> str:
        return f"{self.organisation}, work basis {self.version} from {self.effective_on}"


class Programme(Scoped):
    """Replacements over some years within money and crew hours; one of an agency is adopted."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        ADOPTED = "adopted", "adopted"
        ENDED = "ended", "succeeded by another"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="programmes"
    )
    name = models.CharField(max_length=120)
    state = models.CharField(max_length=8, choices=State, default=State.DRAFT)
    first_year = models.PositiveSmallIntegerField()
    years = models.PositiveSmallIntegerField(help_text="1 to 15.")
    budget = models.JSONField(help_text="Money of each year.")
    crew_hours = models.JSONField(help_text="Crew hours of each year. [h]")
    work_basis = models.ForeignKey(
        WorkBasis, on_delete=models.PROTECT, related_name="programmes"
    )
    keeps_class_1_legal = models.BooleanField(
        default=True, help_text="Class 1 is replaced before its due date, whatever it is worth."
    )
    began_from = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="went_on_as"
    )
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)
    adopted_at = models.DateTimeField(null=True, blank=True)
    solved_at = models.DateTimeField(null=True, blank=True)
    result = models.JSONField(
        default=dict,
        help_text="Certificate, risk and cost by year, and the plain rules' beside.",
    )

    class Meta:
        ordering = ("organisation", "-made_at", "-pk")
        indexes = (
            models.Index(fields=("organisation", "-made_at", "-id"), name="programme_list"),
        )
        constraints = (
            models.UniqueConstraint(
                fields=("organisation",),
                condition=Q(state="adopted"),
                name="one_adopted_programme_per_agency",
            ),
            models.UniqueConstraint(
                fields=("organisation", "name"), name="programme_name_once"
            ),
            models.CheckConstraint(
                condition=Q(years__gte=1, years__lte=15), name="programme_1_to_15_years"
            ),
        )

    def __str__(self) -> str:
        return f"{self.name}, {self.first_year} to {self.first_year + self.years - 1}"


class ProgrammeRun(Scoped):
    """One solving of a programme: how far it is, and whether somebody asked it to stop."""

    programme = models.ForeignKey(Programme, on_delete=models.CASCADE, related_name="runs")
    started_at = models.DateTimeField()
    seen_at = models.DateTimeField(help_text="Last sign of life.")
    finished_at = models.DateTimeField(null=True, blank=True)
    stop_asked_at = models.DateTimeField(null=True, blank=True)
    words = models.CharField(max_length=200, blank=True, help_text="What it is doing.")
    error = models.TextField(blank=True)
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    reader_paths = {"owner": "programme__organisation"}

    class Meta:
        ordering = ("programme", "-started_at", "-pk")
        constraints = (
            models.UniqueConstraint(
                fields=("programme",),
                condition=Q(finished_at__isnull=True),
                name="one_run_of_a_programme_at_a_time",
            ),
        )

    def __str__(self) -> str:
        return f"solving {self.programme_id} from {self.started_at:%Y-%m-%d %H:%M}"


class PlannedReplacement(Scoped):
    """What a programme says of one position: a year, or none, and why."""

    programme = models.ForeignKey(
        Programme, on_delete=models.CASCADE, related_name="replacements"
    )
    position = models.ForeignKey(
        Position, on_delete=models.PROTECT, related_name="planned_replacements"
    )
    sign = models.ForeignKey(
        Sign,
        on_delete=models.PROTECT,
        related_name="planned_replacements",
        help_text="The face that stood when it was planned.",
    )
    year = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Calendar year; empty: in none of the programme."
    )
    is_locked = models.BooleanField(default=False)
    lock_reason = models.CharField(max_length=160, blank=True)
    must_by_year = models.PositiveSmallIntegerField(null=True, blank=True)
    reason = models.CharField(max_length=200, help_text="Why this year, in words.")
    cost = models.FloatField(help_text="Face and work, without the shared trips. [money]")
    crew_hours = models.FloatField(help_text="Without the shared trips. [h]")
    due_on = models.DateField(null=True, blank=True)
    safety_class = models.PositiveSmallIntegerField()
    risk_left = models.FloatField(help_text="Weighted, over the years, under the programme.")

    reader_paths = {"owner": "programme__organisation"}

    class Meta:
        ordering = ("programme", F("year").asc(nulls_last=True), "safety_class", "position")
        indexes = (
            models.Index(
                fields=("programme", "year", "safety_class", "position"), name="planned_by_year"
            ),
            models.Index(fields=("position", "programme"), name="planned_by_position"),
        )
        constraints = (
            models.UniqueConstraint(
                fields=("programme", "position"), name="position_planned_once"
            ),
        )

    def __str__(self) -> str:
        return f"{self.position_id}: {self.year or 'not planned'}"


class WorkPackage(Scoped):
    """A crew's stops of one day, in order."""

    class State(models.TextChoices):
        DRAFT = "draft", "being put together"
        HANDED_OUT = "handed_out", "with the crew"
        CLOSED = "closed", "closed"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="work_packages"
    )
    title = models.CharField(max_length=120)
    crew = models.ForeignKey(
        User,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="work_packages",
        help_text="Empty: any crew of the agency may take it.",
    )
    work_on = models.DateField()
    team = models.ForeignKey(
        "inventory.Crew",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="packages",
        help_text="The crew whose day it is; empty: put together by hand.",
    )
    programme = models.ForeignKey(
        Programme,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="packages",
        help_text="The programme whose work it was split from.",
    )
    leave_minute = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="When to leave, in minutes of the day."
    )
    minutes = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="From leaving to being back, as planned."
    )
    drive_mi = models.FloatField(null=True, blank=True, help_text="As planned. [mi]")
    bring = models.TextField(blank=True, help_text="What to have on the truck.")
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("organisation", "-work_on", "-pk")
        indexes = (
            models.Index(
                fields=("organisation", "state", "-work_on", "-id"), name="package_by_state_day"
            ),
            models.Index(fields=("organisation", "-work_on", "-id"), name="package_by_day"),
        )

    def __str__(self) -> str:
        return f"{self.title}, {self.work_on:%Y-%m-%d}"


class PackageStop(Scoped):
    """One stop: a position, and what is to be done there."""

    class Task(models.TextChoices):
        READ = "read", "take readings"
        LOOK = "look", "look at it by night"
        REPLACE = "replace", "replace the face"
        REPAIR = "repair", "repair or straighten"
        INSTALL = "install", "put a face up"
        REMOVE = "remove", "take it down"
        CHECK = "check", "check what is on record"

    package = models.ForeignKey(WorkPackage, on_delete=models.CASCADE, related_name="stops")
    number = models.PositiveIntegerField(help_text="Order of the stops, from 1.")
    position = models.ForeignKey(
        Position, on_delete=models.PROTECT, related_name="package_stops"
    )
    task = models.CharField(max_length=8, choices=Task)
    note = models.CharField(max_length=255, blank=True)
    planned = models.ForeignKey(
        PlannedReplacement,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="stops",
        help_text="What the programme says of it, where it was split from one.",
    )
    face = models.ForeignKey(
        Sign,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="brought_to_stops",
        help_text="The face in stock to bring.",
    )
    arrive_minute = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        help_text="When work begins there, in minutes of the day; over 1440 after midnight.",
    )
    service_minutes = models.FloatField(null=True, blank=True, help_text="Of work. [min]")
    added_by = models.ForeignKey(
        User,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Who of the crew added it on the road; empty: planned at the desk.",
    )
    added_uuid = models.UUIDField(
        null=True, blank=True, unique=True, help_text="Of the adding; sent twice, added once."
    )

    reader_paths = {"owner": "package__organisation"}

    class Meta:
        ordering = ("package", "number")
        indexes = (models.Index(fields=("position", "task"), name="stop_by_position_task"),)
        constraints = (
            models.UniqueConstraint(fields=("package", "number"), name="stop_number_once"),
        )

    def __str__(self) -> str:
        return f"stop {self.number} of package {self.package_id}"


class StopResult(Fact):
    """What came of a stop; the newest counts."""

    class Outcome(models.TextChoices):
        DONE = "done", "done"
        NOT_DONE = "not_done", "not done"

    client_uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    stop = models.ForeignKey(PackageStop, on_delete=models.PROTECT, related_name="results")
    outcome = models.CharField(max_length=8, choices=Outcome)
    reason = models.CharField(max_length=255, blank=True)
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    person = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "stop__package__organisation"}

    class Meta:
        ordering = ("stop", "-recorded_at", "-pk")
        constraints = (
            models.CheckConstraint(
                condition=~Q(outcome="not_done") | ~Q(reason=""), name="not_done_has_reason"
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_outcome_display()}: stop {self.stop_id}"
