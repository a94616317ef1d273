"""What is typed about a layout: rules, rolls, faces, turns, and a press's own losses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from django import forms

from inventory.models import LayoutPlan, Press
from inventory.services.ordering.layouts.making import (
    MOST_RANK,
    MOST_SECONDS,
    Asked,
    Rules,
)
from inventory.web.form_fields import (
    MomentField,
    NumberField,
    PickField,
    RowField,
    TypedForm,
    WordsField,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.http import QueryDict

    from inventory.models import SheetingRoll
    from inventory.services.ordering.layouts.making import FreeLine
    from inventory.services.production.roll_lengths import RollLeft

SECONDS = (
    ("10", "10 seconds"),
    ("30", "half a minute"),
    ("60", "a minute"),
    ("300", "5 minutes"),
)
IN_ORDER, MIXED = "in_order", "mixed"


class RulesForm(TypedForm):
    """How faces are laid, and on which rolls."""

    cutter = PickField(
        label="Cut by",
        choices=LayoutPlan.Cutter.choices,
        empty_words="pick how faces are cut",
        missing="Say how faces are cut off the roll.",
    )
    gap_in = NumberField(
        unit="inches",
        label="Gap between cut lines, in",
        missing="Type the gap between two cut lines, 0 if they may touch.",
        min_value=0,
    )
    edge_margin_in = NumberField(
        unit="inches",
        label="Margin at the roll's edges, in",
        missing="Type the margin at the edges of the roll, 0 if there is none.",
        min_value=0,
    )
    bleed_in = NumberField(
        unit="inches",
        label="Bleed beyond a cut line, in",
        missing="Type the bleed, 0 if nothing is printed beyond a cut line.",
        min_value=0,
    )
    overlap_in = NumberField(
        unit="inches",
        label="Overlap of a splice, in",
        help_text="0 for a butt splice. Empty: faces wider than the roll are not spliced.",
        min_value=0,
    )
    is_to_the_edge = forms.BooleanField(
        label="A face may be as wide as the roll, without a margin", required=False
    )
    order_of_faces = PickField(
        label="What comes off first",
        choices=[(IN_ORDER, "urgent faces first"), (MIXED, "mixed, as it is shortest")],
    )
    seconds = PickField(label="Time to search", choices=SECONDS)

    def __init__(
        self,
        *args: Any,
        rolls: Sequence[SheetingRoll],
        left: dict[int, RollLeft],
        picked: Sequence[int] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.rolls, self.left = rolls, left
        self.picked = {str(key) for key in picked}
        if self.is_bound:
            self.picked = set(cast("QueryDict", self.data).getlist("rolls"))

    def roll_rows(self) -> list[tuple[SheetingRoll, RollLeft, bool]]:
        """Return each roll with what is left of it, and whether it is picked."""
        return [(roll, self.left[roll.pk], str(roll.pk) in self.picked) for roll in self.rolls]

    def picked_rolls(self) -> list[SheetingRoll]:
        """Return the rolls that are picked."""
        return [roll for roll in self.rolls if str(roll.pk) in self.picked]

    def rules(self) -> Rules:
        """Return the rules that were typed."""
        data = self.cleaned_data
        return Rules(
            cutter=data["cutter"],
            gap_in=data["gap_in"],
            edge_margin_in=data["edge_margin_in"],
            bleed_in=data["bleed_in"],
            overlap_in=data["overlap_in"],
            is_to_the_edge=data["is_to_the_edge"],
            is_in_order=data["order_of_faces"] == IN_ORDER,
            seconds=min(int(data["seconds"] or SECONDS[0][0]), MOST_SECONDS),
        )


class NewLayoutForm(RulesForm):
    """A layout to begin: the press, and how many faces of which line."""

    press = RowField(
        label="Press",
        queryset=Press.objects.none(),
        empty_label="pick the press",
        missing="Say on which press it is to be printed.",
    )

    field_order = ("press",)

    def __init__(
        self, *args: Any, presses: Any, lines: Sequence[FreeLine], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["press"]
        field.queryset = presses
        self.lines = lines
        for each in lines:
            key = each.line.pk
            figures = {"inputmode": "numeric", "autocomplete": "off"}
            self.fields[f"count_{key}"] = WordsField(
                label=f"Faces of line {each.line.number} to lay out",
                max_length=5,
                initial="0" if each.why_not else str(each.free),
                widget=forms.TextInput(attrs=figures),
            )
            self.fields[f"rank_{key}"] = WordsField(
                label=f"Urgency of line {each.line.number}",
                max_length=1,
                initial=str(each.due_rank),
                widget=forms.TextInput(attrs=figures),
            )

    def line_fields(self) -> list[tuple[FreeLine, forms.BoundField, forms.BoundField]]:
        """Return the lines with their two fields, as the page lays them out."""
        return [
            (each, self[f"count_{each.line.pk}"], self[f"rank_{each.line.pk}"])
            for each in self.lines
        ]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        for each in self.lines:
            for name, words in (
                (f"count_{each.line.pk}", "a number of faces; write it in figures, 0 or more"),
                (f"rank_{each.line.pk}", f"an urgency; write 1 (first) to {MOST_RANK} (last)"),
            ):
                typed = data.get(name) or ""
                if typed and not (typed.isascii() and typed.isdecimal()):
                    self.add_error(name, f"'{typed}' is not {words}.")
        return data

    def asked(self) -> dict[int, Asked]:
        """Return how many faces of each line, and how urgent."""
        data = self.cleaned_data
        return {
            each.line.pk: Asked(
                int(data.get(f"count_{each.line.pk}") or 0),
                int(data.get(f"rank_{each.line.pk}") or 1),
            )
            for each in self.lines
        }


class TurnsForm(TypedForm):
    """In which turns a sheeting may be laid, and on what grounds."""

    may_turn_45 = forms.BooleanField(label="on its corner: 45°", required=False)
    may_turn_90 = forms.BooleanField(label="on its side: 90°", required=False)
    may_turn_180 = forms.BooleanField(label="upside down: 180°", required=False)
    basis = WordsField(
        label="On what grounds",
        max_length=255,
        missing="Write on what grounds: what the sheeting's maker writes, or a test of yours.",
        help_text="Such as the number and date of the maker's bulletin. With no turn ticked it "
        "is laid as it is hung.",
    )


class PressMeasuresForm(TypedForm):
    """What a press prints of its width and loses at the ends of a roll."""

    printable_width_in = NumberField(
        unit="inches",
        label="It prints of its width, in",
        missing="Type how much of its width the press prints.",
    )
    lead_in_in = NumberField(
        unit="inches",
        label="Lost before the first face, in",
        missing="Type what is lost before the first face, 0 if nothing is.",
        min_value=0,
        help_text="From the end of the roll to the first place that can be printed.",
    )
    tail_in = NumberField(
        unit="inches",
        label="Lost behind the last face, in",
        missing="Type what is lost behind the last face, 0 if nothing is.",
        min_value=0,
        help_text="Between the last print and where the roll is cut off.",
    )


class LoadRunForm(TypedForm):
    """A run that printed a load: when, and what it did not print."""

    started_at = MomentField(label="Started", missing="Say when printing started.")
    finished_at = MomentField(label="Finished", missing="Say when printing finished.")
    roll_length_used_ft = NumberField(
        unit="feet",
        label="Roll used, feet",
        help_text="As the press counted it. Left empty, it is what the layout takes.",
    )
    note = WordsField(label="Note", max_length=255)
