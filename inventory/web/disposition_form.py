"""What an engineer decides about a sign that is below, undecided or damaged."""

from django import forms

from inventory.models import Disposition
from inventory.web.form_fields import DayField, PickField, TypedForm, WordsField


class DispositionForm(TypedForm):
    """Replace, read again, wait with a date and a reason, or not ours."""

    decision = PickField(
        label="Decision",
        choices=Disposition.Decision.choices,
        widget=forms.RadioSelect,
        missing="Nothing was decided; pick one of the decisions.",
    )
    defer_until_on = DayField(
        label="Wait until", help_text="Only when you defer, or wait for a warranty claim."
    )
    reason = WordsField(
        label="Reason",
        max_length=255,
        help_text="Needed when it waits (of a claim, its number); kept in the sign's history.",
    )
