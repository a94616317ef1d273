"""Forms of damage: what was told, how it was put right, the agency's own times."""

from __future__ import annotations

import uuid
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from inventory.engineering.inspection.damage import GONE
from inventory.models import DamageReport, Observation, WorkPackage
from inventory.models.damage import ClockPrecision
from inventory.services.damage import DESK_CHANNELS, HAND_WAYS, Told, Way
from inventory.services.damage_lists import Order, Shown
from inventory.web.filters import SAFETY_CLASSES
from inventory.web.form_fields import DayField, PickField, RowField, TypedForm, WordsField

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from inventory.models import DamageStanding

SHOWN_CHOICES = (
    (Shown.OPEN.value, "open"),
    (Shown.LATE.value, "overdue"),
    (Shown.OVER.value, "put right or closed"),
)
ORDER_CHOICES = (
    (Order.PRESSING.value, "class, severe first"),
    (Order.CLOCK.value, "by the clock alone"),
)
SEVERITY_CHOICES = (
    (Observation.Severity.MODERATE.value, "moderate: it still works, put it right soon"),
    (Observation.Severity.SEVERE.value, "severe: it cannot be relied on"),
)
KIND_CHOICES = [
    *((kind, label) for kind, label in Observation.Kind.choices if kind in GONE),
    *((kind, label) for kind, label in Observation.Kind.choices if kind not in GONE),
]
WAY_WORDS = {
    Way.REPAIRED: "Repaired, straightened or put back",
    Way.NOTHING: "Nothing to do: say why",
    Way.SAME: "Told of twice: another report goes on",
}
SEVERITIES = ("severe", "moderate")
MOST_DAYS = 3650
LONGEST_NOTE = 255


class ListForm(forms.Form):
    """Which damage is listed, and in which order."""

    use_required_attribute = False
    show = PickField(label="Which", choices=SHOWN_CHOICES)
    safety_class = PickField(label="Safety class", choices=SAFETY_CLASSES, empty_words="any")
    order = PickField(label="Order", choices=ORDER_CHOICES)


class TimeOfDayField(forms.TimeField):
    """A time of day; empty where only the day is known."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TimeInput(format="%H:%M", attrs={"type": "time"}))
        super().__init__(input_formats=("%H:%M", "%H:%M:%S"), required=False, **kwargs)

    def to_python(self, value: Any) -> time | None:
        try:
            return super().to_python(value)
        except ValidationError as error:
            msg = f"'{str(value)[:40]}' is not a time of day; write it like 14:30."
            raise ValidationError(msg) from error


class ToldForm(TypedForm):
    """What was told of damage at the desk."""

    client_uuid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    kind = PickField(
        label="What is wrong",
        choices=KIND_CHOICES,
        empty_words="pick what it is",
        missing="Say what is wrong with the sign.",
    )
    severity = PickField(
        label="How bad",
        choices=SEVERITY_CHOICES,
        widget=forms.RadioSelect,
        help_text="Missing or knocked down is always severe; nothing need be picked.",
    )
    channel = PickField(
        label="How the agency was told",
        choices=[(each.value, each.label) for each in DESK_CHANNELS],
        widget=forms.RadioSelect,
        missing="Say how the agency was told.",
    )
    told_by = WordsField(
        label="Who told of it",
        max_length=120,
        help_text="A name, a patrol, a school; “gave no name” where somebody gave none.",
    )
    reported_on = DayField(label="First seen, day", help_text="Empty: not known.")
    reported_time = TimeOfDayField(label="First seen, time")
    notified_on = DayField(label="The agency was told, day", help_text="Empty: not known.")
    notified_time = TimeOfDayField(label="The agency was told, time")
    description = WordsField(
        label="In their words",
        max_length=LONGEST_NOTE,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    is_confirmed = forms.BooleanField(required=False, label="It is another one; keep it too.")

    is_unlikely = False

    def clean(self) -> dict[str, Any]:
        """Refuse a time of day without its day."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        for name in ("reported", "notified"):
            if data.get(f"{name}_time") and not data.get(f"{name}_on"):
                self.add_error(f"{name}_on", "A time was given without its day; give the day.")
        return data

    def told(self, channel: str | None = None) -> Told:
        """Return what was told, a moment as far as it is known."""
        data = self.cleaned_data
        return Told(
            kind=data["kind"],
            channel=channel or data["channel"],
            severity=int(data["severity"]) if data["severity"] else None,
            reported_at=moment_of(data["reported_on"], data["reported_time"]),
            notified_at=moment_of(data["notified_on"], data["notified_time"]),
            told_by=data["told_by"],
            description=data["description"],
        )


class CorrectForm(ToldForm):
    """A report put right, with the reason."""

    reason = WordsField(
        label="Why it is corrected",
        max_length=LONGEST_NOTE,
        missing="Say why the report is corrected.",
    )

    def __init__(self, *args: Any, report: DamageReport, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["is_confirmed"]
        channel = cast("Any", self.fields["channel"])
        if report.channel not in DESK_CHANNELS:
            channel.choices = [(report.channel, report.get_channel_display())]


class CloseForm(TypedForm):
    """How and when damage was put right by hand."""

    client_uuid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    way = PickField(
        label="What was done",
        choices=[(way.value, WAY_WORDS[way]) for way in HAND_WAYS],
        widget=forms.RadioSelect,
        missing="Say what was done.",
    )
    done_on = DayField(label="On which day", help_text="Empty: not known.")
    done_time = TimeOfDayField(label="At what time")
    same_as = RowField(
        label="The report that goes on",
        queryset=DamageReport.objects.none(),
        empty_label="pick it where it was told of twice",
    )
    note = WordsField(
        label="Note", max_length=LONGEST_NOTE, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, others: Sequence[DamageStanding], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if others:
            rows = DamageReport.objects.filter(pk__in=[each.pk for each in others])
            field = cast("forms.ModelChoiceField[Any]", self.fields["same_as"])
            field.queryset = rows.order_by("pk")
            cast("Any", field).label_from_instance = report_words
        else:
            del self.fields["same_as"]
            way = cast("Any", self.fields["way"])
            way.choices = [each for each in way.choices if each[0] != Way.SAME]

    def clean(self) -> dict[str, Any]:
        """Refuse a time of day without its day."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        if data.get("done_time") and not data.get("done_on"):
            self.add_error("done_on", "A time was given without its day; give the day.")
        return data

    def closing(self) -> dict[str, Any]:
        """Return what closing takes."""
        data = self.cleaned_data
        return {
            "way": data["way"],
            "done_at": moment_of(data["done_on"], data["done_time"]),
            "note": data["note"],
            "same_as": data.get("same_as"),
            "client_uuid": data["client_uuid"],
        }


class IntoPackageForm(TypedForm):
    """Which package damage goes into; none: a new one for a day, with the crew at once."""

    package = RowField(
        label="Work package",
        queryset=WorkPackage.objects.none(),
        empty_label="a new one, with the crew at once",
    )
    work_on = DayField(label="Day of a new one", missing="Say for which day it is.")

    def __init__(self, *args: Any, drafts: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = cast("forms.ModelChoiceField[Any]", self.fields["package"])
        field.queryset = drafts


class TimesForm(TypedForm):
    """Within how many days damage is put right, by severity and class; empty: no time set."""

    effective_on = DayField(
        label="In force from", missing="No day was given from which the times hold; type it."
    )
    basis = WordsField(
        label="Why these times",
        max_length=500,
        missing="The times have no basis; say what decision they rest on.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for severity in SEVERITIES:
            for number, _words in SAFETY_CLASSES:
                self.fields[f"{severity}_{number}"] = forms.IntegerField(
                    required=False,
                    min_value=0,
                    max_value=MOST_DAYS,
                    label=f"{severity}, class {number}, days",
                    widget=forms.TextInput(attrs={"inputmode": "numeric", "class": "short"}),
                    error_messages={
                        "invalid": "Days are whole numbers from 0; write 1 for the next day.",
                        "min_value": "Days are whole numbers from 0; write 0 for the same day.",
                        "max_value": f"At most {MOST_DAYS} days can be set; leave it empty for "
                        "no time.",
                    },
                )

    def lines(self) -> list[dict[str, Any]]:
        """Return the times as a table: a line a class, a column a severity."""
        return [
            {"words": words, "fields": [self[f"{each}_{number}"] for each in SEVERITIES]}
            for number, words in SAFETY_CLASSES
        ]

    def days(self) -> dict[str, dict[str, int]]:
        """Return the times as rules keep them."""
        data = self.cleaned_data
        return {
            severity: {
                str(number): data[f"{severity}_{number}"]
                for number, _words in SAFETY_CLASSES
                if data[f"{severity}_{number}"] is not None
            }
            for severity in SEVERITIES
        }

    @staticmethod
    def initial_of(stated: Mapping[str, Mapping[str, int]]) -> dict[str, Any]:
        """Return what the form shows first: the times in force."""
        return {
            f"{severity}_{number}": days
            for severity, by_class in stated.items()
            for number, days in by_class.items()
        }


def moment_of(day: date | None, at: time | None) -> datetime | date | None:
    """Return a moment as far as it is known, in the organisation's time."""
    if day is None or at is None:
        return day
    return timezone.make_aware(datetime.combine(day, at))


def report_words(report: DamageReport) -> str:
    """Return a report as a list of choices shows it."""
    return f"damage {report.pk}: {report.get_kind_display()}"


def initial_of(report: DamageReport) -> dict[str, Any]:
    """Return a report as it was told, to be corrected."""
    reported_on, reported_time = _day_and_time(report.reported_at, report.reported_precision)
    notified_on, notified_time = _day_and_time(report.notified_at, report.notified_precision)
    return {
        "kind": report.kind,
        "severity": report.severity,
        "channel": report.channel,
        "told_by": report.told_by,
        "reported_on": reported_on,
        "reported_time": reported_time,
        "notified_on": notified_on,
        "notified_time": notified_time,
        "description": report.description,
    }


def _day_and_time(at: datetime | None, precision: str) -> tuple[date | None, time | None]:
    """Return a stored moment as two fields show it: no time where only the day is known."""
    if at is None:
        return None, None
    local = timezone.localtime(at)
    return local.date(), local.time() if precision == ClockPrecision.MINUTE else None
