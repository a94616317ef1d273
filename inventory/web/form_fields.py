"""Form fields that refuse in a full sentence and keep what was typed."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError

from inventory.errors import InventoryError
from inventory.web.errors import status_of

if TYPE_CHECKING:
    from collections.abc import Iterable
    from http import HTTPStatus

    ChoiceOfRows = forms.ModelChoiceField[Any]
else:
    ChoiceOfRows = forms.ModelChoiceField  # generic in the type stubs only

MOMENT_FORMAT = "%Y-%m-%dT%H:%M"
MOMENT_FORMATS = (MOMENT_FORMAT, "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M")
DAY_FORMAT = "%Y-%m-%d"
LONGEST_SHOWN = 40


class TypedForm(forms.Form):
    """A form of which a refusal by a service becomes one more sentence at its head."""

    use_required_attribute = False

    def refuse(self, error: InventoryError | ValidationError) -> HTTPStatus | int:
        """Show a service's refusal and return the status of the page."""
        if isinstance(error, InventoryError):
            self.add_error(None, str(error))
            return status_of(error)
        self.add_error(None, error.messages)
        return 400


class DayField(forms.DateField):
    """A calendar day."""

    def __init__(self, *, missing: str = "", **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput(format=DAY_FORMAT, attrs={"type": "date"}))
        super().__init__(
            input_formats=(DAY_FORMAT,), required=bool(missing), **_said(missing), **kwargs
        )

    def to_python(self, value: Any) -> date | None:
        try:
            return super().to_python(value)
        except ValidationError as error:
            msg = f"'{_shown(value)}' is not a calendar date; write it like 2026-11-25."
            raise ValidationError(msg) from error


class MomentField(forms.DateTimeField):
    """A date and time of day in the organisation's time zone."""

    def __init__(self, *, missing: str = "", **kwargs: Any) -> None:
        kwargs.setdefault(
            "widget",
            forms.DateTimeInput(format=MOMENT_FORMAT, attrs={"type": "datetime-local"}),
        )
        super().__init__(
            input_formats=MOMENT_FORMATS, required=bool(missing), **_said(missing), **kwargs
        )

    def to_python(self, value: Any) -> datetime | None:
        try:
            return super().to_python(value)
        except ValidationError as error:
            if "may be ambiguous" in str(error):
                raise
            msg = f"'{_shown(value)}' is not a date and time; write it like 2026-11-25 14:30."
            raise ValidationError(msg) from error


class NumberField(forms.FloatField):
    """A number in a stated unit, in figures, perhaps within bounds."""

    def __init__(self, *, unit: str, missing: str = "", **kwargs: Any) -> None:
        self.unit = unit
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal"}))
        super().__init__(required=bool(missing), **_said(missing), **kwargs)

    def to_python(self, value: Any) -> Any:
        text = value.replace("\N{MINUS SIGN}", "-") if isinstance(value, str) else value
        try:
            return super().to_python(text)
        except ValidationError as error:
            msg = (
                f"'{_shown(value)}' is not a number; write it in figures with a decimal "
                f"point, in {self.unit}."
            )
            raise ValidationError(msg) from error


def figure_field(
    label: str,
    unit: str,
    *,
    missing: str = "",
    hint: str = "",
    bounds: tuple[float | None, float | None] = (None, None),
) -> NumberField:
    """Return a number that has to be typed, from the first bound to the second."""
    least, most = bounds
    return NumberField(
        label=label,
        unit=unit,
        missing=missing or f"{label}: no figure was typed.",
        help_text=hint,
        min_value=least,
        max_value=most,
    )


class WordsField(forms.CharField):
    """Some words; blanks around them do not count."""

    def __init__(self, *, missing: str = "", **kwargs: Any) -> None:
        super().__init__(required=bool(missing), **_said(missing), **kwargs)


class PickField(forms.ChoiceField):
    """One of some choices; nothing is picked beforehand unless the page says so."""

    def __init__(
        self, *, choices: Iterable[Any], missing: str = "", empty_words: str = "", **kwargs: Any
    ) -> None:
        shown = [("", empty_words), *choices] if empty_words else list(choices)
        super().__init__(choices=shown, required=bool(missing), **_said(missing), **kwargs)
        self.error_messages["invalid_choice"] = (
            "'%(value)s' is not one of the choices; pick one from the list."
        )


class RowField(ChoiceOfRows):
    """One row the organisation may see."""

    def __init__(self, *, missing: str = "", unknown: str = "", **kwargs: Any) -> None:
        super().__init__(required=bool(missing), **_said(missing), **kwargs)
        self.error_messages["invalid_choice"] = (
            unknown or "What was picked is not in the list any more; pick another."
        )


def _said(missing: str) -> dict[str, Any]:
    return {"error_messages": {"required": missing}} if missing else {}


def _shown(value: object) -> str:
    text = str(value)
    return text if len(text) <= LONGEST_SHOWN else text[:LONGEST_SHOWN] + "…"
