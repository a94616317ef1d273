"""Who did what, when; written by services, never edited."""

from django.db import models

from inventory.models.people import Organisation, User
from inventory.models.scope import Fact


class LogbookEntry(Fact):
    """One step a person took, in words."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="logbook"
    )
    at = models.DateTimeField()
    actor = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT)
    verb = models.CharField(max_length=40)
    text = models.CharField(max_length=400)
    sign = models.ForeignKey(
        "inventory.Sign",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="logbook",
    )
    order = models.ForeignKey(
        "inventory.PrintOrder",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="logbook",
    )
    detail = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ("organisation", "-at", "-pk")
        indexes = (
            models.Index(fields=("organisation", "-at", "-id"), name="logbook_by_time"),
            models.Index(fields=("sign", "-at"), name="logbook_by_sign"),
            models.Index(fields=("order", "-at"), name="logbook_by_order"),
        )

    def __str__(self) -> str:
        return self.text
