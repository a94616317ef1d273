"""Forms of a crew, and of what crew days are asked for."""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError

from inventory.models import Crew, User
from inventory.services.crews import MINUTES_A_DAY, WEEKDAYS
from inventory.services.programme.crew_days_asked import (
    BY_DAY,
    BY_NIGHT,
    LEAST_SECONDS,
    MOST_SECONDS,
    CrewDaysAsked,
)
from inventory.web.form_fields import (
    DayField,
    NumberField,
    PickField,
    RowField,
    TypedForm,
    WordsField,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from inventory.models import WorkPackage

CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")
MINUTES_PER_HOUR = 60
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
SECONDS = ((10, "10 seconds"), (20, "20 seconds"), (40, "40 seconds"), (60, "a minute"))


def clock(minute: int) -> str:
    """Return a minute of the day as a clock shows it."""
    hour, minutes = divmod(minute % MINUTES_A_DAY, MINUTES_PER_HOUR)
    return f"{hour:02d}:{minutes:02d}"


class ClockField(forms.CharField):
    """A time of day, in minutes from midnight."""

    def __init__(self, *, missing: str, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TimeInput(attrs={"type": "time"}))
        super().__init__(error_messages={"required": missing}, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        """Show minutes as a clock does."""
        return clock(value) if isinstance(value, int) else value

    def clean(self, value: Any) -> int:
        """Return the minutes that were typed."""
        text = super().clean(value)
        found = CLOCK.fullmatch(text.strip())
        if found is None:
            msg = f"'{text[:20]}' is not a time of day; write it like 07:00."
            raise ValidationError(msg)
        return int(found[1]) * MINUTES_PER_HOUR + int(found[2])


class TicksField(forms.MultipleChoiceField):
    """Some of several choices."""

    def __init__(
        self, *, choices: Iterable[Any] = (), missing: str = "", **kwargs: Any
    ) -> None:
        super().__init__(
            choices=choices,
            required=bool(missing),
            widget=forms.CheckboxSelectMultiple,
            **kwargs,
        )
        self.error_messages["required"] = missing
        self.error_messages["invalid_choice"] = (
            "What was ticked is not in the list any more; look at it again."
        )


class CrewForm(TypedForm):
    """A crew: where it starts from, what it can do, when it works."""

    name = WordsField(
        label="Name", max_length=60, missing="Give the crew a name, such as North crew."
    )
    person = RowField(
        label="Whose phone gets the packages",
        queryset=User.objects.none(),
        empty_label="any of the agency's crew",
    )
    depot_name = WordsField(
        label="Starts from", max_length=80, missing="Say where the truck starts from."
    )
    depot_latitude_deg = NumberField(
        label="Latitude",
        unit="degrees",
        missing="The depot's latitude was not typed; give it in degrees, such as 43.0125.",
        help_text="degrees north, such as 43.0125",
    )
    depot_longitude_deg = NumberField(
        label="Longitude",
        unit="degrees",
        missing="The depot's longitude was not typed; give it in degrees, such as −89.5.",
        help_text="degrees east; west is less than 0, such as −89.5",
    )
    day_starts_minute = ClockField(
        label="Shift starts", missing="Say when the shift starts, such as 07:00."
    )
    shift_hours = NumberField(
        label="Shift lasts",
        unit="hours",
        missing="Say how long the shift is, in hours, such as 8.",
        help_text="hours, from leaving the depot to being back",
    )
    weekdays = TicksField(
        label="Working days",
        choices=[(str(number), words) for number, words in enumerate(WEEKDAYS, start=1)],
        missing="Tick the days of the week on which the crew works.",
    )
    skills = TicksField(
        label="It can do",
        choices=[
            (Crew.Skill.BUCKET_TRUCK, "Work from a bucket truck: signs over the road"),
            (Crew.Skill.NIGHT_READING, "Read signs by night: looks from the road in the dark"),
        ],
    )

    def __init__(self, *args: Any, people: list[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        person: Any = self.fields["person"]
        person.queryset = User.objects.filter(pk__in=[each.pk for each in people])

    @classmethod
    def initial_of(cls, crew: Crew | None) -> dict[str, Any]:
        """Return what the form shows of a crew, or of a new one."""
        shown = crew or Crew()
        unknown = {} if crew else {"depot_latitude_deg": None, "depot_longitude_deg": None}
        return {
            "name": shown.name,
            "person": shown.person_id,
            "depot_name": shown.depot_name,
            "depot_latitude_deg": shown.depot_latitude_deg,
            "depot_longitude_deg": shown.depot_longitude_deg,
            "day_starts_minute": shown.day_starts_minute,
            "shift_hours": f"{shown.shift_minutes / MINUTES_PER_HOUR:g}",
            "weekdays": list(shown.weekdays),
            "skills": shown.skills,
        } | unknown

    @property
    def crew_fields(self) -> dict[str, Any]:
        """Return what was typed as the service takes it."""
        fields = dict(self.cleaned_data)
        fields["shift_minutes"] = round(fields.pop("shift_hours") * MINUTES_PER_HOUR)
        fields["weekdays"] = "".join(fields["weekdays"])
        return fields


class CrewDaysForm(TypedForm):
    """Which crews go out on which days, and what for."""

    first_on = DayField(label="First day", missing="Say the first day crews can go out.")
    last_on = DayField(label="Last day", missing="Say the last day crews can go out.")
    days_off = forms.CharField(
        label="Days nobody works",
        required=False,
        help_text="such as 2027-07-05 2027-09-06, apart by blanks",
    )
    crews = TicksField(label="Crews", missing="No crew is ticked; tick the crews that go out.")
    takes_damage = forms.BooleanField(
        label="Open damage, severe damage before all else", required=False
    )
    takes_planned = forms.BooleanField(
        label="What the programme replaces this year", required=False
    )
    month = PickField(
        label="Of the programme",
        choices=[
            (number, f"due by the end of {words}, or without a due date")
            for number, words in enumerate(MONTHS, start=1)
        ],
        empty_words="all of this year's",
    )
    takes_left_over = forms.BooleanField(
        label="What crews left undone or added on the road", required=False
    )
    packages = TicksField(label="Stops of packages being put together")
    day_from = ClockField(label="By day from", missing="Say when work by day may begin.")
    day_until = ClockField(label="until", missing="Say until when work by day may begin.")
    night_from = ClockField(label="By night from", missing="Say when looks by night may begin.")
    night_until = ClockField(label="until", missing="Say until when looks by night may begin.")
    seconds = PickField(
        label="Search the tours for",
        choices=SECONDS,
        missing="Pick how long to search.",
        help_text="longer finds shorter tours",
    )

    def __init__(
        self,
        *args: Any,
        crews: list[Crew],
        drafts: list[WorkPackage],
        drafts_words: dict[int, str],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        ticks: Any = self.fields["crews"]
        ticks.choices = [(str(each.pk), each.name) for each in crews]
        chosen: Any = self.fields["packages"]
        chosen.choices = [(str(each.pk), drafts_words[each.pk]) for each in drafts]

    @classmethod
    def initial_of(cls, crews: list[Crew], first_on: date, last_on: date) -> dict[str, Any]:
        """Return what the form shows before anything is typed."""
        return {
            "first_on": first_on,
            "last_on": last_on,
            "crews": [str(each.pk) for each in crews],
            "takes_damage": True,
            "takes_planned": True,
            "takes_left_over": True,
            "day_from": BY_DAY[0],
            "day_until": BY_DAY[1],
            "night_from": BY_NIGHT[0],
            "night_until": BY_NIGHT[1],
            "seconds": CrewDaysAsked.__dataclass_fields__["seconds"].default,
        }

    def clean_days_off(self) -> tuple[date, ...]:
        """Return the days, each once."""
        found = []
        for word in re.split(r"[\s,;]+", self.cleaned_data["days_off"].strip()):
            if not word:
                continue
            try:
                found.append(date.fromisoformat(word))
            except ValueError:
                msg = f"'{word[:20]}' is not a calendar date; write it like 2027-07-05."
                raise ValidationError(msg) from None
        return tuple(sorted(set(found)))

    @property
    def asked(self) -> CrewDaysAsked:
        """Return what was typed as the service takes it."""
        fields = self.cleaned_data
        return CrewDaysAsked(
            tuple(int(each) for each in fields["crews"]),
            takes_planned=fields["takes_planned"],
            takes_damage=fields["takes_damage"],
            takes_left_over=fields["takes_left_over"],
            packages=tuple(int(each) for each in fields["packages"]),
            month=int(fields["month"]) if fields["month"] else None,
            by_day=_span(fields["day_from"], fields["day_until"]),
            by_night=_span(fields["night_from"], fields["night_until"]),
            days_off=fields["days_off"],
            seconds=min(max(int(fields["seconds"]), LEAST_SECONDS), MOST_SECONDS),
        )


def _span(begin: int, end: int) -> tuple[int, int]:
    """Return a span of a day; one that ends before it begins runs over midnight."""
    return begin, end if end > begin else end + MINUTES_A_DAY
