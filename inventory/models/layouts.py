"""How faces of an order are to lie on rolls: planned, looked at, frozen, and printed from."""

from django.db import models
from django.db.models import F, Q

from inventory.models.ordering import LayoutFace, OrderLine, PrintOrder, RollLayout
from inventory.models.people import Organisation, User
from inventory.models.production import Press, SheetingRoll
from inventory.models.scope import Scoped


class SheetingTurns(Scoped):
    """The turns in which a shop lays a sheeting, and on what grounds; else as it is hung."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="sheeting_turns"
    )
    sheeting_type = models.CharField(max_length=8)
    optics = models.CharField(max_length=10)
    may_turn_45 = models.BooleanField(default=False)
    may_turn_90 = models.BooleanField(default=False)
    may_turn_180 = models.BooleanField(default=False)
    basis = models.CharField(
        max_length=255,
        help_text="On what grounds, such as what the maker writes.",
    )
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("organisation", "sheeting_type", "optics")
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "sheeting_type", "optics"), name="turns_once"
            ),
            models.CheckConstraint(condition=~Q(basis=""), name="turns_have_a_basis"),
        )

    def __str__(self) -> str:
        return f"turns of Type {self.sheeting_type} ({self.optics})"

    @property
    def angles_deg(self) -> tuple[int, ...]:
        """Return the turns allowed in degrees, as hung first."""
        allowed = ((45, self.may_turn_45), (90, self.may_turn_90), (180, self.may_turn_180))
        return (0, *(angle for angle, may in allowed if may))


class LayoutPlan(Scoped):
    """Faces of one base sheeting of an order on rolls in stock, and the rules of it."""

    class State(models.TextChoices):
        DRAFT = "draft", "being made"
        FROZEN = "frozen", "frozen"
        DROPPED = "dropped", "dropped"

    class Cutter(models.TextChoices):
        STRAIGHT = "straight", "straight cuts from edge to edge"
        CONTOUR = "contour", "a cutter that follows the outline"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="layout_plans"
    )
    order = models.ForeignKey(PrintOrder, on_delete=models.PROTECT, related_name="plans")
    sheeting_type = models.CharField(max_length=8)
    optics = models.CharField(max_length=10)
    base_color = models.CharField(max_length=32)
    press = models.ForeignKey(Press, on_delete=models.PROTECT, related_name="layout_plans")
    rolls = models.ManyToManyField(SheetingRoll, related_name="layout_plans")
    cutter = models.CharField(max_length=8, choices=Cutter)
    gap_in = models.FloatField(help_text="Least distance of two cut lines.")
    edge_margin_in = models.FloatField(
        help_text="Least distance of a cut line from the roll's edge."
    )
    bleed_in = models.FloatField(help_text="What is printed beyond a cut line.")
    is_to_the_edge = models.BooleanField(
        default=False, help_text="A face may be as wide as the roll."
    )
    overlap_in = models.FloatField(
        null=True, blank=True, help_text="Of a splice, 0 for a butt splice; empty: no splices."
    )
    angles_deg = models.JSONField(default=list, help_text="Turns allowed, as they were then.")
    turns_basis = models.CharField(max_length=255, blank=True)
    printable_width_in = models.FloatField(help_text="Of the press, as it was then.")
    lead_in_in = models.FloatField()
    tail_in = models.FloatField()
    is_in_order = models.BooleanField(
        default=True, help_text="The most urgent faces come off first; else they are mixed."
    )
    seconds = models.PositiveSmallIntegerField(default=10, help_text="Time to search.")
    state = models.CharField(max_length=8, choices=State, default=State.DRAFT)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    solved_at = models.DateTimeField(null=True, blank=True)
    frozen_at = models.DateTimeField(null=True, blank=True)
    frozen_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    other_length_in = models.FloatField(
        null=True, blank=True, help_text="What the other way, mixed or in order, takes."
    )

    # How a shop lays faces out is its own affair; the agency sees how far its order is.
    class Meta:
        ordering = ("organisation", "-made_at", "-pk")
        indexes = (
            models.Index(fields=("organisation", "-made_at", "-id"), name="layout_list"),
            models.Index(fields=("order", "state"), name="layout_by_order_state"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(gap_in__gte=0, edge_margin_in__gte=0, bleed_in__gte=0)
                & Q(lead_in_in__gte=0, tail_in__gte=0, printable_width_in__gt=0),
                name="layout_rules_not_negative",
            ),
            models.CheckConstraint(
                condition=~Q(state="frozen")
                | Q(frozen_at__isnull=False, solved_at__isnull=False),
                name="frozen_layout_says_when",
            ),
        )

    def __str__(self) -> str:
        return f"layout {self.pk} of {self.order}"


class LayoutRun(Scoped):
    """A search for a layout, in a process of its own: how far it is, or what went wrong."""

    plan = models.ForeignKey(LayoutPlan, on_delete=models.CASCADE, related_name="runs")
    started_at = models.DateTimeField()
    seen_at = models.DateTimeField(help_text="Last sign of life.")
    words = models.CharField(max_length=120, blank=True)
    stop_asked_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    error = models.CharField(max_length=500, blank=True)
    by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "plan__organisation"}

    class Meta:
        ordering = ("plan", "-started_at", "-pk")
        constraints = (
            models.UniqueConstraint(
                fields=("plan",),
                condition=Q(finished_at__isnull=True),
                name="one_open_run_per_layout",
            ),
        )

    def __str__(self) -> str:
        return f"search for {self.plan}, {self.started_at:%Y-%m-%d %H:%M}"


class PlanLoad(Scoped):
    """What lies on one roll, loaded once."""

    plan = models.ForeignKey(LayoutPlan, on_delete=models.CASCADE, related_name="loads")
    number = models.PositiveSmallIntegerField(help_text="Order in which they are printed.")
    roll = models.ForeignKey(SheetingRoll, on_delete=models.PROTECT, related_name="loads")
    roll_left_in = models.FloatField(help_text="What was left of the roll then.")
    usable_width_in = models.FloatField()
    length_in = models.FloatField(help_text="What the faces take.")
    bound_in = models.FloatField(help_text="What they do not go under on this roll.")
    taken_in = models.FloatField(help_text="With lead-in, bleed and tail.")
    is_straight = models.BooleanField()

    reader_paths = {"owner": "plan__organisation"}

    class Meta:
        ordering = ("plan", "number")
        constraints = (
            models.UniqueConstraint(fields=("plan", "number"), name="load_number_once"),
            models.UniqueConstraint(fields=("plan", "roll"), name="roll_loaded_once_a_plan"),
            models.CheckConstraint(
                condition=Q(taken_in__gt=0) & Q(taken_in__lte=F("roll_left_in") + 0.001),
                name="load_fits_its_roll",
            ),
        )

    def __str__(self) -> str:
        return f"load {self.number} of {self.plan}"

    @property
    def left_in(self) -> float:
        """Return what is left of the roll after it, in inches."""
        return self.roll_left_in - self.taken_in


class PlannedFace(Scoped):
    """One face that a layout is to hold: which line asked for it, and how urgent it is."""

    plan = models.ForeignKey(LayoutPlan, on_delete=models.CASCADE, related_name="faces")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="planned_faces")
    number = models.PositiveIntegerField(help_text="Counted within the plan, from 1.")
    due_rank = models.PositiveSmallIntegerField(default=1, help_text="1 comes off first.")
    is_left_out = models.BooleanField(default=False)
    load = models.ForeignKey(
        PlanLoad, null=True, blank=True, on_delete=models.SET_NULL, related_name="faces"
    )
    not_laid_reason = models.CharField(max_length=500, blank=True)
    printed_as = models.OneToOneField(
        LayoutFace,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="planned_face",
        help_text="Empty: not printed.",
    )

    reader_paths = {"owner": "plan__organisation"}

    class Meta:
        ordering = ("plan", "number")
        constraints = (
            models.UniqueConstraint(fields=("plan", "number"), name="planned_face_once"),
            models.CheckConstraint(condition=Q(due_rank__gte=1), name="due_rank_from_1"),
        )

    def __str__(self) -> str:
        return f"face {self.number} of {self.plan}"


class LaidPiece(Scoped):
    """Where a piece lies: a whole face, a blade of a crossbuck, or a half of a splice."""

    face = models.ForeignKey(PlannedFace, on_delete=models.CASCADE, related_name="pieces")
    load = models.ForeignKey(PlanLoad, on_delete=models.CASCADE, related_name="pieces")
    part = models.PositiveSmallIntegerField(default=1)
    parts = models.PositiveSmallIntegerField(default=1)
    corners_in = models.JSONField(help_text="Across and along, from the roll's edge and start.")
    across_in = models.FloatField()
    along_in = models.FloatField()
    angle_deg = models.FloatField()
    is_pinned = models.BooleanField(default=False)

    reader_paths = {"owner": "face__plan__organisation"}

    class Meta:
        ordering = ("load", "along_in", "across_in", "pk")
        constraints = (
            models.UniqueConstraint(fields=("face", "part"), name="piece_laid_once"),
        )

    def __str__(self) -> str:
        return f"part {self.part} of {self.face}"


class PrintedLoad(Scoped):
    """The run that printed a load; faces it did not print are free to be laid out again."""

    load = models.OneToOneField(PlanLoad, on_delete=models.PROTECT, related_name="printed")
    layout = models.OneToOneField(
        RollLayout, on_delete=models.PROTECT, related_name="printed_load"
    )

    reader_paths = {"owner": "load__plan__organisation"}

    class Meta:
        ordering = ("load",)

    def __str__(self) -> str:
        return f"{self.load} as printed"
