"""Forms of expected lives, replacing a group whole, and control signs."""

from __future__ import annotations

from django import forms

from inventory.engineering.standards.method_rules import least_control_signs
from inventory.engineering.standards.vocabulary import Color, SheetingType
from inventory.models import SignForecast
from inventory.services.forecast.control_signs import (
    LONGEST_LEAD_MONTHS,
    MOST_PER_SHEETING,
    USUAL_LEAD_MONTHS,
)
from inventory.web.form_fields import DayField, NumberField, PickField, TypedForm, WordsField

LONG = forms.Textarea(attrs={"rows": 2})
TYPES = [(each.value, f"Type {each.value}") for each in SheetingType]
COLORS = [(each.value, each.words) for each in Color if each is not Color.BLACK]
OPTICS = [("beaded", "beaded"), ("prismatic", "prismatic")]
ENDS = [
    (SignForecast.End.LEVEL.value, "falls below its level"),
    (SignForecast.End.FADE.value, "fades in colour"),
]


class ExpectedLifeForm(TypedForm):
    """How long the agency expects some faces to last."""

    end = PickField(
        label="Until it", choices=ENDS, missing="Pick what ends the life.", empty_words="pick"
    )
    sheeting_type = PickField(label="Sheeting type", choices=TYPES, empty_words="any")
    optics = PickField(
        label="Optics",
        choices=OPTICS,
        empty_words="any",
        help_text="Leave at any where a colour fades.",
    )
    color = PickField(label="Colour", choices=COLORS, empty_words="any")
    years = NumberField(
        label="Years", unit="years", help_text="Empty: the life in force is withdrawn."
    )
    effective_on = DayField(label="In force from", missing="Give the day it begins.")
    approved_by = WordsField(
        label="Approved by", missing="Nobody is named who approved the life; name them."
    )
    basis = WordsField(
        label="What it rests on",
        widget=LONG,
        missing="The life has no basis; say in words what it rests on.",
        help_text="Signs taken down, a test deck, a warranty, another agency: which, how many.",
    )


class GroupForm(TypedForm):
    """Which cohorts are replaced together, and the share to keep above its level until then."""

    sheeting_type = PickField(label="Sheeting type", choices=TYPES, empty_words="any")
    optics = PickField(label="Optics", choices=OPTICS, empty_words="any")
    color = PickField(label="Colour", choices=COLORS, empty_words="any")
    share_kept = NumberField(
        label="Keep above their level",
        unit="% of the signs",
        min_value=50,
        max_value=99.9,
        missing="No share was typed; 95 is a start.",
        help_text="% of the signs, until all are replaced: your choice.",
    )
    share_kept.error_messages |= {
        "min_value": "The share to keep is 50 to 99.9 %%; type one in between.",
        "max_value": "The share to keep is 50 to 99.9 %%; type one in between.",
    }


class ControlForm(TypedForm):
    """How control signs are timed and how many are wanted."""

    lead_months = forms.IntegerField(
        label="Replacing takes",
        min_value=0,
        max_value=LONGEST_LEAD_MONTHS,
        help_text="months, from a control sign near its level to the others replaced",
        error_messages={
            "required": f"No number of months was typed; {USUAL_LEAD_MONTHS} is a start.",
            "invalid": "Type whole months in figures.",
            "min_value": f"Type 0 to {LONGEST_LEAD_MONTHS} months.",
            "max_value": f"Type 0 to {LONGEST_LEAD_MONTHS} months.",
        },
    )
    per_sheeting = forms.IntegerField(
        label="Control signs per sheeting",
        max_value=MOST_PER_SHEETING,
        help_text="at least three are asked for; more say more",
        error_messages={
            "required": "No number of control signs was typed; three is the least.",
            "invalid": "Type a whole number in figures.",
            "max_value": f"More than {MOST_PER_SHEETING} per sheeting are not proposed here.",
        },
    )

    @classmethod
    def usual(cls) -> dict[str, int]:
        """Return what the form shows before anything is typed."""
        return {
            "lead_months": USUAL_LEAD_MONTHS,
            "per_sheeting": least_control_signs().count,
        }
