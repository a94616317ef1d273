"""The forms of the methods' pages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import forms
from django.utils import timezone

from inventory.engineering.standards.exclusions import exclusion_clauses
from inventory.engineering.standards.vocabulary import Edition
from inventory.models import MethodGroup
from inventory.services.method_coverage import KNOWN_WORDS
from inventory.services.methods import STEP_KINDS
from inventory.web.form_fields import DayField, PickField, TypedForm, WordsField

if TYPE_CHECKING:
    from typing import Any

MOST_MONTHS = 600
MOST_YEARS = 60


class WholeNumberField(forms.IntegerField):
    """A whole number that may be left out, refused in a sentence."""

    def __init__(self, *, unit: str, most: int, **kwargs: Any) -> None:
        super().__init__(
            required=False,
            min_value=1,
            max_value=most,
            widget=forms.TextInput(attrs={"inputmode": "numeric"}),
            error_messages={
                "invalid": f"Write a whole number of {unit}, in figures.",
                "min_value": f"At least 1 of {unit} is needed.",
                "max_value": f"At most {most} {unit} are taken; check the figure.",
            },
            **kwargs,
        )


class BeginForm(TypedForm):
    """A method for a group of signs, and the decision it rests on."""

    name = WordsField(
        label="Name of the group", max_length=120, missing="Give the group a name."
    )
    method = PickField(
        label="Method",
        choices=MethodGroup.Method.choices,
        empty_words="pick a method",
        missing="Pick the method by which these signs are kept at their level.",
    )
    started_on = DayField(label="From", missing="Say from which day the method is used.")
    interval_months = WholeNumberField(
        label="Every, months",
        unit="months",
        most=MOST_MONTHS,
        help_text="Measured, by night, blanket, control signs.",
    )
    expected_life_years = WholeNumberField(
        label="Life, years", unit="years", most=MOST_YEARS, help_text="Expected sign life."
    )
    exclusion_key = PickField(
        label="Clause",
        choices=sorted(
            {
                clause.key.value: clause.description
                for edition in (Edition.MUTCD_2009, Edition.MUTCD_11)
                for clause in exclusion_clauses(edition)
                if clause.may_exclude
            }.items()
        ),
        empty_words="none",
        help_text="Signs left out: the clause, which the rules have to name too.",
    )
    basis = WordsField(
        label="Basis",
        max_length=2000,
        missing="Say on which decision or study the method rests.",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="The decision or study, with its date.",
    )


class StepForm(TypedForm):
    """Something done to apply a method."""

    kind = PickField(
        label="What",
        choices=STEP_KINDS.items(),
        empty_words="pick what was done",
        missing="Say what was done.",
    )
    done_on = DayField(label="Day", missing="Say on which day it was done.")
    text = WordsField(
        label="In words",
        max_length=255,
        missing="Say in a few words what was done, and where.",
    )


class FromForm(TypedForm):
    """From which day places are under a method."""

    from_on = DayField(label="From", missing="Say from which day.")


class EndForm(TypedForm):
    """The day on which a method ends."""

    ended_on = DayField(label="Ended on", missing="Say on which day the method ended.")


class RecordForm(TypedForm):
    """Which day the record is of, and how it is known."""

    on = DayField(label="For the day", missing="Say which day the record is of.")
    known = PickField(
        label="Show it",
        choices=KNOWN_WORDS.items(),
        missing="Say whether to show it as known then or as known now.",
    )

    @classmethod
    def today(cls) -> dict[str, Any]:
        """Return what a record asks for when nothing was chosen."""
        return {"on": timezone.localdate().isoformat(), "known": "now"}
