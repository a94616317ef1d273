"""Forms of what work costs, of a new programme, and of a decision about one replacement."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError

from inventory.engineering.programme.risk import CLASSES, ClassWeights
from inventory.engineering.standards.supports import support_types
from inventory.models import Programme, WorkBasis
from inventory.services.programme.making import MOST_YEARS
from inventory.web.form_fields import (
    DayField,
    NumberField,
    RowField,
    TypedForm,
    WordsField,
    figure_field,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.forms import BoundField

    from inventory.models import Organisation

THOUSANDS = re.compile(r"\d{1,3}(,\d{3})+(\.\d+)?")
LONG = forms.Textarea(attrs={"rows": 2})
CLASS_WORDS = {
    1: "Stop, Yield, Do Not Enter, Wrong Way",
    2: "other regulatory, critical warning",
    3: "other warning",
    4: "guide",
}
PRICES = ("face_price", "face_price_per_ft2", "crew_price_per_h")
TIMES = (
    "face_hours",
    "face_hours_per_ft2",
    "support_hours",
    "stretch_hours",
    "read_minutes",
    "look_minutes",
    "lead_days",
)
WAYS = ("stretch_mi", "detour_factor", "speed_mi_per_h")


def _figure(label: str, unit: str, hint: str) -> NumberField:
    return figure_field(label, unit, hint=hint)


class WorkBasisForm(TypedForm):
    """The next version of what work costs and takes; it starts from the one in force."""

    currency = WordsField(
        label="Currency", max_length=12, missing="Type the currency, such as $."
    )
    face_price = _figure("A face", "money", "money for one face, whatever its size")
    face_price_per_ft2 = _figure("For its size", "money per ft²", "money per ft², added")
    crew_price_per_h = _figure("A crew", "money per hour", "money per hour, with its truck")
    face_hours = _figure("To change one face", "hours", "hours, once the crew stands there")
    face_hours_per_ft2 = _figure("More for its size", "hours per ft²", "hours per ft², added")
    support_hours = _figure(
        "To set up at a support", "hours", "hours, once for all faces changed there in a year"
    )
    stretch_hours = _figure(
        "To drive to a stretch of road",
        "hours",
        "hours, once for all supports done there in a year",
    )
    read_minutes = _figure("To read one face", "minutes", "minutes")
    look_minutes = _figure("To look at one face by night", "minutes", "minutes")
    lead_days = forms.IntegerField(
        label="Lead time",
        min_value=0,
        help_text="days from ordering a face to having it on its post",
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        error_messages={
            "required": "No lead time was typed; give whole days.",
            "invalid": "The lead time is not a whole number of days; type one in figures.",
            "min_value": "The lead time is under 0 days; type 0 or more.",
        },
    )
    stretch_mi = _figure("A stretch of road is", "miles", "miles long")
    detour_factor = _figure(
        "Way by road",
        "times the straight distance",
        "times the straight distance; 1.3 is an assumption",
    )
    speed_mi_per_h = _figure("Speed between stops", "miles per hour", "miles per hour")
    effective_on = DayField(
        label="In force from", missing="No day was given from which this holds; type it."
    )
    basis = WordsField(
        label="Where these figures come from",
        widget=LONG,
        missing="The figures have no basis; say where they come from.",
        help_text="Accounts, a contract, time sheets: which, of when. Or that you assume them.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number in CLASSES:
            self.fields[f"weight_{number}"] = _figure(
                f"Class {number}", "a weight over 0", CLASS_WORDS[number]
            )
        for each in support_types():
            self.fields[f"at_{each.key}"] = NumberField(
                label=each.name, unit="hours", help_text="hours added; empty: none"
            )

    @classmethod
    def initial_of(cls, basis: WorkBasis | None) -> dict[str, Any]:
        """Return what the form shows before anything is typed: the version in force."""
        source = basis or WorkBasis()
        unsaid = ("effective_on", "basis")
        shown = {name: getattr(source, name) for name in cls.base_fields if name not in unsaid}
        weights = basis.class_weights if basis else ClassWeights().by_class
        shown |= {f"weight_{number}": weights[number - 1] for number in CLASSES}
        shown |= {f"at_{key}": hours for key, hours in source.hours_by_support.items()}
        return {
            name: f"{each:g}" if isinstance(each, float) else each
            for name, each in shown.items()
        }

    @property
    def figures(self) -> dict[str, Any]:
        """Return what was typed as the service takes it."""
        fields = self.cleaned_data
        return {name: fields[name] for name in self.base_fields} | {
            "class_weights": [fields[f"weight_{number}"] for number in CLASSES],
            "hours_by_support": {
                each.key: fields[f"at_{each.key}"]
                for each in support_types()
                if fields[f"at_{each.key}"]
            },
        }

    def _bound(self, names: Sequence[str]) -> list[BoundField]:
        return [self[name] for name in names]

    @property
    def prices(self) -> list[BoundField]:
        """Return what money is asked for."""
        return self._bound(("currency", *PRICES))

    @property
    def times(self) -> list[BoundField]:
        """Return how long things take."""
        return self._bound(TIMES)

    @property
    def ways(self) -> list[BoundField]:
        """Return how far and how fast crews drive."""
        return self._bound(WAYS)

    @property
    def weights(self) -> list[BoundField]:
        """Return what a sign of each class weighs."""
        return self._bound([f"weight_{number}" for number in CLASSES])

    @property
    def supports(self) -> list[BoundField]:
        """Return the hours added for types of support."""
        return self._bound([f"at_{each.key}" for each in support_types()])


class FiguresField(forms.CharField):
    """One figure for all years, or a figure a year, apart by blanks or new lines."""

    def __init__(self, *, name: str, **kwargs: Any) -> None:
        self.name = name
        super().__init__(
            widget=forms.Textarea(attrs={"rows": 2, "inputmode": "decimal"}),
            error_messages={"required": f"No {name} was typed; give a figure in figures."},
            **kwargs,
        )

    def clean(self, value: Any) -> list[float]:
        """Return the figures that were typed."""
        figures = []
        for word in re.split(r"[\s;]+", super().clean(value)):
            text = word.replace(",", "") if THOUSANDS.fullmatch(word) else word
            try:
                figure = float(text)
            except ValueError:
                figure = math.nan
            if not math.isfinite(figure) or figure < 0:
                msg = (
                    f"'{word}' is not a figure of {self.name}; type figures of 0 or more, with "
                    "a decimal point, apart by blanks or new lines."
                )
                raise ValidationError(msg)
            figures.append(figure)
        return figures


class ProgrammeForm(TypedForm):
    """A programme that is yet to be solved."""

    name = WordsField(
        label="Name", max_length=120, missing="Give the programme a name, such as Ten years."
    )
    first_year = forms.IntegerField(
        label="First year",
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        error_messages={
            "required": "No first year was typed.",
            "invalid": "The first year is not a year in figures, such as 2027.",
        },
    )
    years = forms.IntegerField(
        label="Years",
        min_value=1,
        max_value=MOST_YEARS,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        help_text=f"1 to {MOST_YEARS}",
        error_messages={
            "required": "No number of years was typed.",
            "invalid": "Type the number of years in figures.",
            "min_value": f"A programme has 1 to {MOST_YEARS} years.",
            "max_value": f"A programme has 1 to {MOST_YEARS} years.",
        },
    )
    budget = FiguresField(
        name="money",
        label="Money each year",
        help_text="one figure for all years, or one a year",
    )
    crew_hours = FiguresField(
        name="crew hours",
        label="Crew hours each year",
        help_text="one figure for all years, or one a year",
    )
    began_from = RowField(
        label="Start from",
        queryset=Programme.objects.none(),
        empty_label="nothing",
        help_text="An earlier plan to begin with and to better.",
    )
    keeps_class_1_legal = forms.BooleanField(
        required=False,
        initial=True,
        label="Replace every class 1 sign before its due date, whatever it is worth",
    )

    def __init__(self, *args: Any, agency: Organisation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        earlier: Any = self.fields["began_from"]
        earlier.queryset = Programme.objects.owned_by(agency).exclude(solved_at=None)

    def clean(self) -> dict[str, Any]:
        """Give one figure to all years, and refuse too many or too few."""
        fields = super().clean() or self.cleaned_data
        years = fields.get("years")
        for name in ("budget", "crew_hours"):
            figures = fields.get(name)
            if years is None or figures is None:
                continue
            if len(figures) == 1:
                fields[name] = figures * years
            elif len(figures) != years:
                self.add_error(
                    name,
                    f"There are {len(figures)} figures for {years} years; type one for all of "
                    "them, or one a year.",
                )
        return fields
