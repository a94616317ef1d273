"""Forms of the next version of an agency's rules and of its own levels."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms

from inventory.engineering.standards.vocabulary import Color, Edition, ExclusionKey
from inventory.models import AgencyPolicy
from inventory.web.form_fields import DayField, NumberField, PickField, TypedForm, WordsField

if TYPE_CHECKING:
    from inventory.models import AgencyPolicy as Policy

LONG = forms.Textarea(attrs={"rows": 2})
COLORS = [(color.value, color.words) for color in Color]
SHARE = "a share of the reading, so that 5 % is 0.05"


class PolicyForm(TypedForm):
    """What the next version of the rules says; it starts from the version in force."""

    edition = PickField(
        label="Edition whose levels bind",
        choices=[(each.value, each.words) for each in Edition if each.manual is each],
        widget=forms.RadioSelect,
        missing="No edition was picked; pick the one whose levels bind the agency.",
    )
    effective_on = DayField(
        label="In force from", missing="No day was given from which the rules hold; type it."
    )
    uses_recommended_levels = forms.BooleanField(
        required=False,
        label="Judge blue and brown by the 2012 recommendation where the edition binds nothing",
    )
    decision_rule = PickField(
        label="Decision rule",
        choices=AgencyPolicy.DecisionRule.choices,
        widget=forms.RadioSelect,
        missing="No decision rule was picked; pick one.",
    )
    guard_probability = NumberField(
        label="Guard",
        unit="a probability such as 0.95",
        missing="No probability was typed for the guard; 0.95 is usual.",
        help_text="How probable a guarded verdict has to be, one-sided; 0.95 is 95 %.",
    )
    instrument_repeatability_rel = NumberField(
        label="Repeatability",
        unit=SHARE,
        missing="No repeatability was typed.",
        help_text="Of one reading on one spot, as a share of it: 0.03 is 3 %.",
    )
    instrument_common_rel = NumberField(
        label="Common part",
        unit=SHARE,
        missing="No common part was typed.",
        help_text="Shared by all readings of one instrument and session, as a share.",
    )
    single_reading_scatter_rel = NumberField(
        label="Scatter of a single reading",
        unit=SHARE,
        missing="No scatter was typed.",
        help_text="Taken where one reading shows none, as a share.",
    )
    uncertainty_basis = WordsField(
        label="Where these three figures come from",
        widget=LONG,
        missing="The instrument figures have no basis; say where they come from.",
    )
    fluorescent_yellow_basis = WordsField(
        label="Why fluorescent yellow is judged by the yellow row",
        widget=LONG,
        help_text="Empty: not decided, and such signs have no level.",
    )
    fluorescent_orange_basis = WordsField(
        label="Why fluorescent orange is judged by the orange row",
        widget=LONG,
        help_text="Empty: not decided, and such signs have no level.",
    )
    excluded_groups = forms.MultipleChoiceField(
        required=False,
        label="Left out",
        choices=[(key.value, key.value.replace("-", " ")) for key in ExclusionKey],
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "invalid_choice": "'%(value)s' is not an exclusion clause; pick from the list."
        },
    )
    due_probability = NumberField(
        label="Due at",
        unit="a probability such as 0.2",
        missing="No probability was typed at which a sign is due; 0.2 is shipped.",
        help_text="A sign is due when it is this probable to have fallen below its level.",
    )
    due_soon_months = NumberField(
        label="Due soon within",
        unit="months",
        missing="No number of months was typed; 12 is shipped.",
        help_text="Months; signs due by then carry the mark 'due soon'.",
    )
    press_rate_ft2_per_h = NumberField(
        label="Press rate",
        unit="ft²/h",
        missing="No press rate was typed.",
        help_text="ft²/h, for estimates of press time.",
    )
    basis = WordsField(
        label="Why these rules",
        widget=LONG,
        missing="The rules have no basis; say what decision they rest on.",
        help_text="The decision they rest on, and by whom.",
    )

    @classmethod
    def initial_of(cls, policy: Policy | None) -> dict[str, Any]:
        """Return what the form shows before anything is typed: the rules in force."""
        source = policy or AgencyPolicy()
        unsaid = ("effective_on", "basis")
        return {name: getattr(source, name) for name in cls.base_fields if name not in unsaid}


class OwnLevelForm(TypedForm):
    """A level of the agency's own for one colour of a pair."""

    background = PickField(
        label="Background", choices=COLORS, missing="Pick the background.", empty_words="pick"
    )
    legend = PickField(
        label="Legend", choices=COLORS, missing="Pick the legend.", empty_words="pick"
    )
    color = PickField(
        label="Colour the level is for",
        choices=COLORS,
        missing="Pick the colour that the level is for.",
        empty_words="pick",
    )
    minimum = WordsField(
        label="Minimum, cd/lx/m²",
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        help_text="Empty: the level in force is withdrawn.",
    )
    approved_by = WordsField(
        label="Approved by", missing="Nobody is named who approved the level; name them."
    )
    approved_on = DayField(label="Approved on", missing="Give the day it was approved.")
    effective_on = DayField(label="In force from", missing="Give the day it begins.")
    basis = WordsField(
        label="What it rests on",
        widget=LONG,
        missing="The level has no basis; say in words what it rests on.",
    )
