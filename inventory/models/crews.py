"""Crews with their trucks, and crew days thought out before they become work packages."""

from django.db import models
from django.db.models import Q

from inventory.models.people import Organisation, User
from inventory.models.places import Position
from inventory.models.programme import (
    PackageStop,
    PlannedReplacement,
    Programme,
    WorkPackage,
)
from inventory.models.scope import Scoped
from inventory.models.signs import Sign


class Crew(Scoped):
    """People with a truck: where they start from, what they can do, and when they work."""

    class Skill(models.TextChoices):
        NIGHT_READING = "night_reading", "night reading"
        BUCKET_TRUCK = "bucket_truck", "bucket truck"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="crews"
    )
    name = models.CharField(max_length=60)
    depot_name = models.CharField(max_length=80, help_text="Where the truck starts from.")
    depot_latitude_deg = models.FloatField()
    depot_longitude_deg = models.FloatField()
    skills = models.JSONField(default=list, help_text="Keys of what the crew can do.")
    day_starts_minute = models.PositiveSmallIntegerField(
        default=420, help_text="When the shift begins, in minutes of the day."
    )
    shift_minutes = models.PositiveSmallIntegerField(
        default=480, help_text="From leaving the depot to being back."
    )
    weekdays = models.CharField(
        max_length=7, default="12345", help_text="Working days by number, 1 is Monday."
    )
    person = models.ForeignKey(
        User,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="crews",
        help_text="Whose phone gets the packages; empty: any of the agency's crew.",
    )
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ("organisation", "name")
        constraints = (
            models.UniqueConstraint(fields=("organisation", "name"), name="crew_name_once"),
            models.CheckConstraint(
                condition=Q(
                    depot_latitude_deg__gte=-90,
                    depot_latitude_deg__lte=90,
                    depot_longitude_deg__gte=-180,
                    depot_longitude_deg__lte=180,
                ),
                name="crew_depot_on_globe",
            ),
            models.CheckConstraint(
                condition=Q(
                    day_starts_minute__lt=1440, shift_minutes__gte=30, shift_minutes__lte=960
                ),
                name="crew_shift_half_to_16_hours",
            ),
            models.CheckConstraint(condition=~Q(weekdays=""), name="crew_works_some_day"),
        )

    def __str__(self) -> str:
        return self.name


class CrewPlan(Scoped):
    """Work of a programme year split into crew days: looked at, then made into packages."""

    programme = models.ForeignKey(
        Programme, on_delete=models.CASCADE, related_name="crew_plans"
    )
    year = models.PositiveSmallIntegerField()
    first_on = models.DateField(help_text="First day crews may go out.")
    last_on = models.DateField()
    asked = models.JSONField(help_text="Which crews and work, hours, and how long to search.")
    started_at = models.DateTimeField()
    seen_at = models.DateTimeField(help_text="Last sign of life of the planning.")
    finished_at = models.DateTimeField(null=True, blank=True)
    words = models.CharField(max_length=200, blank=True, help_text="What it is doing.")
    error = models.TextField(blank=True)
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)
    result = models.JSONField(default=dict, help_text="Counts, and what was assumed.")
    packages_made_at = models.DateTimeField(null=True, blank=True)
    packages_made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "programme__organisation"}

    class Meta:
        ordering = ("programme", "year", "-started_at", "-pk")
        indexes = (
            models.Index(
                fields=("programme", "year", "-started_at", "-id"), name="crew_plan_by_year"
            ),
        )
        constraints = (
            models.UniqueConstraint(
                fields=("programme",),
                condition=Q(finished_at__isnull=True),
                name="one_crew_planning_at_a_time",
            ),
            models.CheckConstraint(
                condition=Q(last_on__gte=models.F("first_on")), name="crew_plan_days_in_order"
            ),
        )

    def __str__(self) -> str:
        return f"crew days of {self.year}, {self.first_on} to {self.last_on}"


class PlannedDay(Scoped):
    """One day of one crew, as thought out; with its package once that is made."""

    plan = models.ForeignKey(CrewPlan, on_delete=models.CASCADE, related_name="days")
    number = models.PositiveIntegerField(help_text="Order of the days, from 1.")
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="planned_days")
    work_on = models.DateField()
    leave_minute = models.PositiveSmallIntegerField(
        help_text="When to leave, in minutes of the day."
    )
    minutes = models.PositiveSmallIntegerField(help_text="From leaving to being back.")
    drive_mi = models.FloatField()
    package = models.ForeignKey(
        WorkPackage,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="planned_days",
    )

    reader_paths = {"owner": "plan__programme__organisation"}

    class Meta:
        ordering = ("plan", "number")
        constraints = (
            models.UniqueConstraint(fields=("plan", "number"), name="planned_day_number_once"),
            models.UniqueConstraint(
                fields=("plan", "crew", "work_on"), name="crew_goes_out_once_a_day"
            ),
        )

    def __str__(self) -> str:
        return f"crew day {self.number}, {self.work_on:%Y-%m-%d}"


class PlannedStop(Scoped):
    """What is to be done at a place: on a crew day, or on none, with the reason."""

    class Source(models.TextChoices):
        PROGRAMME = "programme", "of the programme"
        DAMAGE = "damage", "damage"
        LEFT_OVER = "left_over", "left over or added by a crew"
        CHOSEN = "chosen", "chosen at the desk"

    plan = models.ForeignKey(CrewPlan, on_delete=models.CASCADE, related_name="stops")
    day = models.ForeignKey(
        PlannedDay, null=True, blank=True, on_delete=models.CASCADE, related_name="stops"
    )
    number = models.PositiveIntegerField(
        null=True, blank=True, help_text="Order on its day, from 1."
    )
    position = models.ForeignKey(
        Position, on_delete=models.PROTECT, related_name="planned_stops"
    )
    task = models.CharField(max_length=8, choices=PackageStop.Task)
    note = models.CharField(max_length=255, blank=True)
    source = models.CharField(max_length=9, choices=Source)
    planned = models.ForeignKey(
        PlannedReplacement,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="planned_stops",
    )
    taken_from = models.ForeignKey(
        PackageStop,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="planned_again",
        help_text="The stop of another package it is taken over from.",
    )
    face = models.ForeignKey(
        Sign,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="planned_stops",
        help_text="The face in stock to bring; empty: none fits.",
    )
    arrive_minute = models.PositiveSmallIntegerField(null=True, blank=True)
    service_minutes = models.FloatField(help_text="Its work there, set-up shared. [min]")
    reason = models.CharField(max_length=255, blank=True, help_text="Why on no day.")

    reader_paths = {"owner": "plan__programme__organisation"}

    class Meta:
        ordering = ("plan", models.F("day__number").asc(nulls_last=True), "number", "pk")
        indexes = (models.Index(fields=("plan", "day", "number"), name="planned_stop_by_day"),)
        constraints = (
            models.UniqueConstraint(
                fields=("plan", "position", "task"), name="work_planned_once"
            ),
            models.UniqueConstraint(fields=("day", "number"), name="planned_stop_number_once"),
            models.CheckConstraint(
                condition=Q(day__isnull=True, number__isnull=True) & ~Q(reason="")
                | Q(day__isnull=False, number__isnull=False, reason=""),
                name="on_a_day_or_says_why_not",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_task_display()} at {self.position_id}"
