"""Forms of warranty: what a supplier promises, and the steps of a claim."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any, cast

from django import forms

from inventory.engineering.production.warranty import PromiseStep
from inventory.engineering.standards.vocabulary import Color
from inventory.models import ColourArea, OrderLine, WarrantyTerm
from inventory.services.warranty.claims import CREDITED_ON
from inventory.services.warranty.terms import SHEETING_TYPES, TermContent, steps_of
from inventory.web.form_fields import (
    DayField,
    NumberField,
    PickField,
    RowField,
    TypedForm,
    WordsField,
)

if TYPE_CHECKING:
    from inventory.models import WarrantyClaim

_STEP = re.compile(r"\s*(\d+)\s*[,;:\s]\s*([\d.]+)\s*%\s*[,;:]?\s*(.*)")
_INITIAL = re.compile(r"\s*([A-Za-z][A-Za-z -]*?)\s*[,;:\s]\s*([\d.]+)\s*")
_COLOURINGS = [(value, label) for value, label in ColourArea.Colouring.choices if value]


class TermForm(TypedForm):
    """What a supplier promises of faces."""

    name = WordsField(
        label="Name",
        max_length=80,
        missing="Give the term a name.",
        help_text="The same name as before makes a new version of it.",
    )
    made_from_on = DayField(
        label="For faces made from", missing="Say from which day on faces have it."
    )
    sheeting_type = PickField(
        label="Sheeting type, ASTM D4956",
        choices=[(each, f"Type {each}") for each in SHEETING_TYPES],
        empty_words="pick the type",
        missing="Pick the sheeting type.",
    )
    colouring = PickField(
        label="What makes the colour",
        choices=[each for each in _COLOURINGS if each[0] != ColourArea.Colouring.OPAQUE],
        empty_words="pick what makes it",
        missing="Pick what makes the colour.",
    )
    overlay = PickField(
        label="Overlay",
        choices=WarrantyTerm.Overlay.choices,
        empty_words="pick the overlay",
        missing="Say whether the term asks for an overlay.",
    )
    starts = PickField(
        label="The years run from",
        choices=WarrantyTerm.Start.choices,
        empty_words="pick the day they run from",
        missing="Say what the years run from.",
    )
    initials = WordsField(
        label="Initial values, cd/lx/m² at 0.2° and −4.0°",
        widget=forms.Textarea(attrs={"rows": 4}),
        missing="Type the initial value of each colour.",
        help_text="A colour and its value on a line, such as “white 380”. A colour that is "
        "not here has no warranty by this term.",
    )
    initial_basis = WordsField(
        label="What these values are",
        max_length=255,
        missing="Say what the initial values are, as the supplier names them.",
    )
    steps = WordsField(
        label="What is promised",
        widget=forms.Textarea(attrs={"rows": 4}),
        missing="Type what is promised, a step on a line.",
        help_text="Until which year, the share kept and what is due otherwise, such as "
        "“7, 80 %, a new face put up”.",
    )
    must_be_upright = forms.BooleanField(label="The sign has to stand upright", required=False)
    storage_months = NumberField(
        unit="months",
        label="Sheeting is stored at most, months",
        help_text="From receipt to the making of the face. Empty: no limit.",
    )
    matched_components = WordsField(
        label="Ink and overlay it asks for",
        max_length=255,
        help_text="As the supplier names them. Empty: any.",
    )
    supplier_text = WordsField(
        label="The supplier's own text",
        widget=forms.Textarea(attrs={"rows": 8}),
        missing="Enter the supplier's own text, word for word.",
        help_text="Word for word: it goes before what is typed above.",
    )

    @staticmethod
    def from_term(term: WarrantyTerm) -> dict[str, Any]:
        """Return a term as it is typed, to start another version from."""
        names = (
            *("name", "made_from_on", "sheeting_type", "colouring", "overlay", "starts"),
            *("initial_basis", "must_be_upright", "storage_months", "matched_components"),
            "supplier_text",
        )
        initials = [
            f"{each.color} {each.ra_cd_lx_m2.normalize():f}" for each in term.initials.all()
        ]
        steps = [
            f"{each.until_years}, {each.share_words}, {each.remedy}" for each in steps_of(term)
        ]
        return {
            **{name: getattr(term, name) for name in names},
            "initials": "\n".join(initials),
            "steps": "\n".join(steps),
        }

    def clean_initials(self) -> dict[str, Decimal]:
        """Return the initial values by colour."""
        found: dict[str, Decimal] = {}
        for line in _lines(self.cleaned_data["initials"]):
            match = _INITIAL.fullmatch(line)
            name = match[1].strip().lower().replace(" ", "-") if match else ""
            if match is None or name not in set(Color):
                msg = f"“{line}” is no colour with its value; write it such as “white 380”."
                raise forms.ValidationError(msg)
            if name in found:
                msg = f"The {name} has two initial values; keep one."
                raise forms.ValidationError(msg)
            found[name] = _decimal(match[2], line)
        return found

    def clean_steps(self) -> list[PromiseStep]:
        """Return the steps in the order in which they were typed."""
        found = []
        for line in _lines(self.cleaned_data["steps"]):
            match = _STEP.fullmatch(line)
            if match is None:
                msg = f"“{line}” is no step; write it such as “7, 80 %, a new face put up”."
                raise forms.ValidationError(msg)
            share = _decimal(match[2], line) / 100
            found.append(PromiseStep(int(match[1]), share, match[3].strip()))
        return found

    def clean_storage_months(self) -> int | None:
        """Return whole months."""
        months: float | None = self.cleaned_data["storage_months"]
        if months is None:
            return None
        if months != int(months):
            msg = f"{months:g} is no whole number of months."
            raise forms.ValidationError(msg)
        return int(months)

    @property
    def content(self) -> TermContent:
        """Return what was typed, as it is entered."""
        return TermContent(**self.cleaned_data)


class NoteForm(TypedForm):
    """What the agency says with a claim."""

    note = WordsField(
        label="What the shop should know", widget=forms.Textarea(attrs={"rows": 3})
    )


class SendForm(TypedForm):
    """Until when an answer is expected."""

    answer_due_on = DayField(
        label="Answer by",
        missing="Say by which day you want an answer.",
        help_text="Until then its signs wait to be replaced, unless they are unsafe.",
    )
    words = WordsField(label="Words with it", widget=forms.Textarea(attrs={"rows": 3}))


class PassOnForm(TypedForm):
    """Under which number the supplier has it."""

    words = WordsField(
        label="To whom, and its number there",
        missing="Say to whom it went, and its number there.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class WithdrawForm(TypedForm):
    """Why a claim is withdrawn."""

    words = WordsField(
        label="Why", missing="Say why.", widget=forms.Textarea(attrs={"rows": 2})
    )


class ConditionForm(TypedForm):
    """What is known of a condition that the records do not show."""

    condition = PickField(
        label="Condition", choices=[], empty_words="pick", missing="Pick the condition."
    )
    is_met = PickField(
        label="It is",
        choices=[("yes", "met"), ("no", "not met")],
        empty_words="pick",
        missing="Say whether it is met.",
    )
    words = WordsField(
        label="How that is known", max_length=255, missing="Say how that is known."
    )

    def __init__(self, known: dict[str, str], *args: Any, **kwargs: Any) -> None:
        """Offer the conditions of the claim that are open."""
        super().__init__(*args, **kwargs)
        field = cast("PickField", self.fields["condition"])
        field.choices = [("", "pick"), *known.items()]


class AnswerForm(TypedForm):
    """What the supplier says of the whole claim."""

    words = WordsField(label="Words with it", widget=forms.Textarea(attrs={"rows": 2}))


class LineField(RowField):
    """A line of an order."""

    def label_from_instance(self, obj: OrderLine) -> str:
        """Return a line with its order's number."""
        return f"{obj.order.number}, line {obj.number}: {obj}"


class CreditForm(TypedForm):
    """What is credited, and on which line."""

    line = LineField(
        label="Order line",
        queryset=OrderLine.objects.none(),
        empty_label="pick the line",
        missing="Pick the line of an order.",
    )
    face_count = NumberField(unit="faces", label="Faces", missing="Say how many faces.")
    words = WordsField(
        label="What is credited",
        max_length=255,
        missing="Say what is credited, as the remedy names it.",
    )

    def __init__(self, claim: WarrantyClaim, *args: Any, **kwargs: Any) -> None:
        """Offer the newest lines between the two parties."""
        super().__init__(*args, **kwargs)
        field = cast("LineField", self.fields["line"])
        lines = OrderLine.objects.filter(
            order__agency=claim.agency,
            order__shop=claim.shop,
            order__state__in=CREDITED_ON,
            quantity__gt=0,
        )
        newest = lines.order_by("-order__released_at", "number").values("pk")[:200]
        field.queryset = OrderLine.objects.filter(pk__in=newest).select_related("order")

    def clean_face_count(self) -> int:
        """Return a whole number."""
        count: float = self.cleaned_data["face_count"]
        if count != int(count):
            msg = f"{count:g} is no whole number of faces."
            raise forms.ValidationError(msg)
        return int(count)


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def _decimal(text: str, line: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation:
        msg = f"“{text}” in “{line}” is no number."
        raise forms.ValidationError(msg) from None
