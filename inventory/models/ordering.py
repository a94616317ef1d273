"""Orders between an agency and a shop, what a run printed of them, and faces kept in stock."""

from django.db import models
from django.db.models import F, Q

from inventory.models.people import Organisation, User
from inventory.models.places import Position
from inventory.models.production import PrintRun, SheetingRoll
from inventory.models.scope import ALL_COLUMNS, Fact, Scoped
from inventory.models.signs import Sign


class PrintOrder(Scoped):
    """An agency's order for faces; frozen once released."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        RELEASED = "released", "released"
        PRINTED = "printed", "printed"
        CLOSED = "closed", "every face installed"
        CANCELLED = "cancelled", "cancelled"

    agency = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="orders_placed"
    )
    shop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="orders_taken"
    )
    number = models.CharField(max_length=24)
    title = models.CharField(max_length=120, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    drafted_at = models.DateTimeField()
    drafted_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    needed_by_on = models.DateField(null=True, blank=True)
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    press_rate_ft2_per_h = models.FloatField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    promised_on = models.DateField(
        null=True, blank=True, help_text="The shop's day for the last face to leave it."
    )

    reader_paths = {"owner": "agency", "counterparty": "shop"}
    reader_columns = {
        "owner": ALL_COLUMNS,
        "counterparty": (
            "agency_id",
            "shop_id",
            "number",
            "title",
            "state",
            "needed_by_on",
            "released_at",
            "press_rate_ft2_per_h",
            "accepted_at",
            "accepted_by_id",
            "promised_on",
        ),
    }
    # A draft is the agency's own affair; so is one that was cancelled before its release.
    reader_conditions = {"counterparty": Q(released_at__isnull=False)}

    class Meta:
        ordering = ("agency_id", "-drafted_at", "-pk")
        indexes = (
            models.Index(fields=("agency", "-drafted_at", "-id"), name="order_by_agency"),
            models.Index(fields=("shop", "-drafted_at", "-id"), name="order_by_shop"),
            models.Index(fields=("shop", "state", "-drafted_at"), name="order_by_shop_state"),
            models.Index(
                fields=("agency", "state", "-drafted_at"), name="order_by_agency_state"
            ),
        )
        constraints = (
            models.UniqueConstraint(fields=("agency", "number"), name="order_number_once"),
            models.CheckConstraint(
                condition=~Q(agency=F("shop")), name="order_has_two_parties"
            ),
            models.CheckConstraint(
                condition=Q(state__in=("draft", "cancelled")) | Q(released_at__isnull=False),
                name="released_order_says_when",
            ),
            models.CheckConstraint(
                condition=Q(press_rate_ft2_per_h__gt=0), name="order_press_rate_positive"
            ),
            models.CheckConstraint(
                condition=Q(accepted_at__isnull=True)
                | Q(promised_on__isnull=False, released_at__isnull=False),
                name="accepted_order_promises_a_day",
            ),
        )

    def __str__(self) -> str:
        return f"order {self.number}"


class OrderPart(Scoped):
    """A part of an order, readable by both of its parties."""

    reader_paths = {"owner": "order__agency", "counterparty": "order__shop"}
    reader_columns = {"owner": ALL_COLUMNS, "counterparty": ALL_COLUMNS}
    reader_conditions = {"counterparty": Q(order__released_at__isnull=False)}

    class Meta:
        abstract = True


class OrderLine(OrderPart):
    """Faces of one kind, for one position or for stock."""

    order = models.ForeignKey(PrintOrder, on_delete=models.PROTECT, related_name="lines")
    number = models.PositiveIntegerField()
    position = models.ForeignKey(
        Position, null=True, blank=True, on_delete=models.PROTECT, related_name="order_lines"
    )
    replaces = models.ForeignKey(
        Sign, null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by_lines"
    )
    sign_code = models.CharField(max_length=24)
    variant = models.CharField(max_length=24, blank=True)
    legend_text = models.CharField(max_length=255, blank=True)
    is_custom_legend = models.BooleanField(default=False)
    artwork = models.FileField(upload_to="artwork/", blank=True)
    shape = models.CharField(
        max_length=24, blank=True, help_text="Outline of the blank; blank: not known."
    )
    width_in = models.FloatField()
    height_in = models.FloatField()
    quantity = models.PositiveIntegerField(
        default=1, help_text="0: cancelled after the order was released."
    )
    sheeting_type = models.CharField(max_length=8)
    optics = models.CharField(max_length=10)
    base_color = models.CharField(max_length=32, help_text="Colour of the base sheeting.")
    background_color = models.CharField(max_length=32)
    legend_color = models.CharField(max_length=32)
    secondary_color = models.CharField(max_length=32, blank=True)
    reason = models.CharField(max_length=255, blank=True)
    build = models.JSONField(
        null=True,
        blank=True,
        help_text="How it is built, by the shop's rule when it accepted; empty: not stated.",
    )

    class Meta:
        ordering = ("order", "number")
        constraints = (
            models.UniqueConstraint(fields=("order", "number"), name="order_line_once"),
            models.UniqueConstraint(
                fields=("order", "position"),
                condition=Q(position__isnull=False),
                name="position_once_per_order",
            ),
            models.CheckConstraint(
                condition=Q(position__isnull=True) | Q(quantity__lte=1),
                name="line_for_a_position_is_one_face",
            ),
            models.CheckConstraint(
                condition=Q(width_in__gt=0, height_in__gt=0), name="line_size_positive"
            ),
        )

    def __str__(self) -> str:
        return f"{self.quantity} × {self.sign_code}{self.variant}"


class OrderAmendment(OrderPart):
    """A change to a released order, seen by both parties."""

    order = models.ForeignKey(PrintOrder, on_delete=models.PROTECT, related_name="amendments")
    text = models.TextField()
    amended_at = models.DateTimeField()
    amended_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)

    class Meta:
        ordering = ("order", "amended_at", "pk")

    def __str__(self) -> str:
        return f"amendment of {self.order} at {self.amended_at:%Y-%m-%d}"


class LineChange(Fact):
    """How many faces of a line an amendment asks for instead; 0 cancels the line."""

    amendment = models.OneToOneField(
        OrderAmendment, on_delete=models.PROTECT, related_name="line_change"
    )
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="changes")
    quantity_before = models.PositiveIntegerField()
    quantity_after = models.PositiveIntegerField()

    reader_paths = {"owner": "line__order__agency", "counterparty": "line__order__shop"}
    reader_columns = {"owner": ALL_COLUMNS, "counterparty": ALL_COLUMNS}

    class Meta:
        ordering = ("amendment",)
        constraints = (
            models.CheckConstraint(
                condition=~Q(quantity_before=F("quantity_after")), name="line_change_changes"
            ),
        )

    def __str__(self) -> str:
        return f"{self.quantity_after} instead of {self.quantity_before}"


class RollLayout(OrderPart):
    """The faces of an order that lie on one roll and are printed in one run."""

    order = models.ForeignKey(PrintOrder, on_delete=models.PROTECT, related_name="layouts")
    roll = models.ForeignKey(SheetingRoll, on_delete=models.PROTECT, related_name="layouts")
    print_run = models.OneToOneField(PrintRun, on_delete=models.PROTECT, related_name="layout")

    class Meta:
        ordering = ("order", "pk")

    def __str__(self) -> str:
        return f"layout of {self.order} on {self.roll}"


class LayoutFace(Scoped):
    """One face of a layout: the line that asked for it and the sign that came of it."""

    layout = models.ForeignKey(RollLayout, on_delete=models.PROTECT, related_name="faces")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="faces")
    sign = models.OneToOneField(Sign, on_delete=models.PROTECT, related_name="layout_face")

    reader_paths = {"owner": "layout__order__agency", "counterparty": "layout__order__shop"}
    reader_columns = {"owner": ALL_COLUMNS, "counterparty": ALL_COLUMNS}

    class Meta:
        ordering = ("layout", "pk")

    def __str__(self) -> str:
        return f"face {self.sign_id} for {self.line}"


class FaceChoice(Scoped):
    """How an engineer wants the next face of a position ordered, or why none is."""

    position = models.OneToOneField(
        Position, on_delete=models.PROTECT, related_name="face_choice"
    )
    replaces = models.ForeignKey(
        Sign,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The face it was decided about; with another one up it no longer holds.",
    )
    sheeting_type = models.CharField(
        max_length=8, blank=True, help_text="Blank: as for the other faces."
    )
    optics = models.CharField(max_length=10, blank=True)
    left_out_reason = models.CharField(
        max_length=160, blank=True, help_text="Blank: it is ordered."
    )
    decided_at = models.DateTimeField()
    decided_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "position__organisation"}

    class Meta:
        ordering = ("position",)
        constraints = (
            models.CheckConstraint(
                condition=~Q(sheeting_type="", left_out_reason=""),
                name="face_choice_says_something",
            ),
        )

    def __str__(self) -> str:
        return f"choice for position {self.position_id}"


class StockReservation(Scoped):
    """A face in stock kept for a position until it goes up or is set free."""

    position = models.ForeignKey(
        Position, on_delete=models.PROTECT, related_name="stock_reservations"
    )
    sign = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="stock_reservations")
    reason = models.CharField(max_length=200, help_text="What it is kept for, in words.")
    reserved_at = models.DateTimeField()
    reserved_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    end_reason = models.CharField(max_length=200, blank=True)

    reader_paths = {"owner": "position__organisation"}

    class Meta:
        ordering = ("position", "-reserved_at", "-pk")
        constraints = (
            models.UniqueConstraint(
                fields=("sign",),
                condition=Q(ended_at__isnull=True),
                name="face_reserved_once",
            ),
            models.UniqueConstraint(
                fields=("position",),
                condition=Q(ended_at__isnull=True),
                name="position_has_one_face_reserved",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | ~Q(end_reason=""),
                name="reservation_end_says_why",
            ),
        )

    def __str__(self) -> str:
        return f"sign {self.sign_id} kept for position {self.position_id}"
