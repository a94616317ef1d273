"""What passes between agency and shop about an order: questions, shipments, what arrived."""

from django.db import models
from django.db.models import Q

from inventory.models.ordering import OrderPart, PrintOrder
from inventory.models.people import User
from inventory.models.scope import ALL_COLUMNS, Fact
from inventory.models.signs import Sign


class OrderFact(Fact):
    """A fact about a released order, readable by both of its parties."""

    reader_paths = {"owner": "order__agency", "counterparty": "order__shop"}
    reader_columns = {"owner": ALL_COLUMNS, "counterparty": ALL_COLUMNS}

    class Meta:
        abstract = True


class OrderQuestion(OrderFact):
    """What the shop asks before it accepts, or the agency afterwards."""

    order = models.ForeignKey(PrintOrder, on_delete=models.PROTECT, related_name="questions")
    text = models.TextField()
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    is_by_shop = models.BooleanField()

    class Meta:
        ordering = ("order", "asked_at", "pk")
        constraints = (
            models.CheckConstraint(condition=~Q(text=""), name="question_says_something"),
        )

    def __str__(self) -> str:
        return f"question about {self.order}"


class OrderAnswer(OrderFact):
    """The other party's answer; one to a question."""

    question = models.OneToOneField(
        OrderQuestion, on_delete=models.PROTECT, related_name="answer"
    )
    text = models.TextField()
    answered_at = models.DateTimeField()
    answered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "question__order__agency", "counterparty": "question__order__shop"}

    class Meta:
        ordering = ("question",)
        constraints = (
            models.CheckConstraint(condition=~Q(text=""), name="answer_says_something"),
        )

    def __str__(self) -> str:
        return f"answer to {self.question}"


class Shipment(OrderPart):
    """Faces that leave the shop together, with one packing list."""

    order = models.ForeignKey(PrintOrder, on_delete=models.PROTECT, related_name="shipments")
    number = models.PositiveSmallIntegerField(help_text="Counted within the order, from 1.")
    shipped_at = models.DateTimeField()
    shipped_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    note = models.CharField(max_length=255, blank=True)

    class Meta:
        ordering = ("order", "number")
        constraints = (
            models.UniqueConstraint(fields=("order", "number"), name="shipment_number_once"),
        )

    def __str__(self) -> str:
        return f"shipment {self.number} of {self.order}"


class ShipmentFace(OrderFact):
    """A face on a packing list; a face is shipped once."""

    shipment = models.ForeignKey(Shipment, on_delete=models.PROTECT, related_name="faces")
    sign = models.OneToOneField(Sign, on_delete=models.PROTECT, related_name="shipment_face")

    reader_paths = {"owner": "shipment__order__agency", "counterparty": "shipment__order__shop"}

    class Meta:
        ordering = ("shipment", "pk")

    def __str__(self) -> str:
        return f"{self.sign} in {self.shipment}"


class FaceReceipt(OrderFact):
    """What the agency found when a face arrived."""

    class Outcome(models.TextChoices):
        WHOLE = "whole", "whole"
        BROKEN = "broken", "broken"
        MISSING = "missing", "not there"

    face = models.OneToOneField(ShipmentFace, on_delete=models.PROTECT, related_name="receipt")
    outcome = models.CharField(max_length=8, choices=Outcome)
    note = models.CharField(max_length=200, blank=True)
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {
        "owner": "face__shipment__order__agency",
        "counterparty": "face__shipment__order__shop",
    }

    class Meta:
        ordering = ("face",)
        constraints = (
            models.CheckConstraint(
                condition=Q(outcome="whole") | ~Q(note=""), name="receipt_of_a_loss_says_why"
            ),
        )

    def __str__(self) -> str:
        return f"{self.face}: {self.get_outcome_display()}"
