"""Proofs: what a legend of its own will look like, sent by the shop, decided by the agency."""

from django.db import models
from django.db.models import Q

from inventory.models.order_life import OrderFact
from inventory.models.ordering import OrderLine
from inventory.models.people import User


class Proof(OrderFact):
    """What the shop means to print for a line; its very bytes are what is decided about."""

    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="proofs")
    number = models.PositiveSmallIntegerField(help_text="Counted within the line, from 1.")
    file = models.FileField(upload_to="proofs/")
    file_name = models.CharField(max_length=120)
    sha256 = models.CharField(max_length=64)
    legend_text = models.CharField(max_length=255, help_text="The legend it spells out.")
    note = models.CharField(max_length=255, blank=True)
    sent_at = models.DateTimeField()
    sent_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "line__order__agency", "counterparty": "line__order__shop"}

    class Meta:
        ordering = ("line", "number")
        constraints = (
            models.UniqueConstraint(fields=("line", "number"), name="proof_number_once"),
            models.CheckConstraint(condition=~Q(legend_text=""), name="proof_spells_a_legend"),
        )

    def __str__(self) -> str:
        return f"proof {self.number} of line {self.line_id}"


class ProofDecision(OrderFact):
    """The agency's word on a proof: approved, or sent back with what is wrong."""

    proof = models.OneToOneField(Proof, on_delete=models.PROTECT, related_name="decision")
    is_approved = models.BooleanField()
    words = models.TextField(blank=True)
    decided_at = models.DateTimeField()
    decided_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {
        "owner": "proof__line__order__agency",
        "counterparty": "proof__line__order__shop",
    }

    class Meta:
        ordering = ("proof",)
        constraints = (
            models.CheckConstraint(
                condition=Q(is_approved=True) | ~Q(words=""), name="proof_sent_back_says_why"
            ),
        )

    def __str__(self) -> str:
        return f"{self.proof}: {'approved' if self.is_approved else 'sent back'}"
