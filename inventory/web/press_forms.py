"""The forms of a press: what happened at it, its ink channels, its tasks."""

from __future__ import annotations

from typing import Any, cast

from django import forms

from inventory.models import (
    InkChannel,
    InkContainer,
    InkKind,
    MaintenanceTask,
    OverlayRoll,
    Press,
    PressEvent,
    SheetingRoll,
)
from inventory.web.form_fields import (
    MomentField,
    NumberField,
    PickField,
    RowField,
    TypedForm,
    WordsField,
)

Kind = PressEvent.Kind
EMPTY_IF_IDLE = "If it was in the middle of a run and you noted it."
FIELDS_OF_KIND: dict[str, tuple[str, ...]] = {
    Kind.ROLL_LOADED: ("roll",),
    Kind.ROLL_TAKEN_OFF: ("roll", "remaining_ft"),
    Kind.OVERLAY_LOADED: ("overlay", "after_face", "after_ft"),
    Kind.OVERLAY_TAKEN_OFF: ("overlay", "remaining_ft", "after_face", "after_ft"),
    Kind.INK_CHANGED: (
        "ink_channel",
        "container",
        "ink_color",
        "ink_lot",
        "after_face",
        "after_ft",
    ),
    Kind.INK_MEASURED: ("container", "remaining_ml"),
    Kind.MAINTENANCE_DONE: ("task",),
    Kind.CHECK_PASSED: ("check_kind",),
    Kind.CHECK_FAILED: ("check_kind",),
    Kind.DRYER_SET: ("dryer_f",),
    Kind.WITHDRAWN: (),
}


class CountField(NumberField):
    """A whole number, in figures."""

    def to_python(self, value: Any) -> Any:
        number = super().to_python(value)
        if number is None:
            return None
        if number != int(number) or number < 0:
            msg = f"'{value}' is not a whole number of {self.unit}; write it in figures."
            raise forms.ValidationError(msg)
        return int(number)


class PressEventForm(TypedForm):
    """What happened at a press; only the fields its kind needs."""

    happened_at = MomentField(label="When", missing="Say when it happened.")
    roll = RowField(
        label="Roll",
        queryset=SheetingRoll.objects.none(),
        empty_label="pick the roll",
        missing="Say which roll.",
    )
    overlay = RowField(
        label="Overlay roll",
        queryset=OverlayRoll.objects.none(),
        empty_label="pick the roll",
        missing="Say which overlay roll.",
    )
    task = RowField(
        label="What was done",
        queryset=MaintenanceTask.objects.none(),
        empty_label="something else, see the note",
    )
    check_kind = PickField(
        label="Which check",
        choices=PressEvent.Check.choices,
        empty_words="pick the check",
        missing="Say which check it was.",
    )
    dryer_f = NumberField(
        unit="degrees Fahrenheit",
        label="Dryer, °F",
        help_text="As its display shows.",
        missing="Say at what heat the dryer was set.",
    )
    ink_channel = WordsField(
        label="Channel", max_length=24, missing="Say in which channel the container went."
    )
    container = RowField(
        label="Container",
        queryset=InkContainer.objects.none(),
        empty_label="not in stock; type its colour and lot",
    )
    ink_color = WordsField(label="Ink colour", max_length=32)
    ink_lot = WordsField(
        label="Ink lot", max_length=40, missing="Type the lot from the container's label."
    )
    remaining_ft = NumberField(
        unit="feet", label="Left on the roll, feet", help_text="Leave empty if not measured."
    )
    remaining_ml = NumberField(
        unit="millilitres",
        label="Left in it, millilitres",
        missing="Say how much is left.",
    )
    after_face = CountField(
        unit="faces", label="Faces of the run printed by then", help_text=EMPTY_IF_IDLE
    )
    after_ft = NumberField(
        unit="feet",
        label="Or feet of the run printed by then",
        help_text="Counted from the start of the run.",
    )
    note = WordsField(label="Note", max_length=255)

    def __init__(self, *args: Any, kind: str, press: Press, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kept = ("happened_at", "note", *FIELDS_OF_KIND[kind])
        for name in [name for name in self.fields if name not in kept]:
            del self.fields[name]
        if kind == Kind.WITHDRAWN:
            del self.fields["happened_at"]
        for name, model in (
            ("roll", SheetingRoll),
            ("overlay", OverlayRoll),
            ("container", InkContainer),
        ):
            if name in self.fields:
                rows = model.objects.owned_by(press.organisation)
                cast("Any", self.fields[name]).queryset = rows
        if "container" in self.fields:
            cast("Any", self.fields["container"]).label_from_instance = _container_words
        if "task" in self.fields:
            tasks = MaintenanceTask.objects.filter(press=press, is_in_use=True)
            cast("Any", self.fields["task"]).queryset = tasks.order_by("name")
        if kind == Kind.INK_MEASURED:
            container = cast("Any", self.fields["container"])
            container.required, container.empty_label = True, "pick the container"
            container.error_messages["required"] = "Say which container."
        if kind == Kind.INK_CHANGED:
            self._fit_ink_to(press)

    def _fit_ink_to(self, press: Press) -> None:
        """Offer the channels of the press, and containers where the shop keeps some."""
        channels = list(InkChannel.objects.filter(press=press, is_in_use=True).order_by("name"))
        if channels:
            self.fields["ink_channel"] = PickField(
                label="Channel",
                choices=[(each.name, f"{each.name}, {each.color}") for each in channels],
                empty_words="pick the channel",
                missing="Say in which channel the container went.",
            )
        if InkContainer.objects.owned_by(press.organisation).exists():
            self.fields["ink_lot"].required = False
            self.fields["ink_color"].help_text = "Only if the container is not in stock."
        else:
            del self.fields["container"]


def _container_words(container: InkContainer) -> str:
    return f"{container.color}, {container.container_number}, lot {container.lot}"


class ChannelForm(TypedForm):
    """An ink channel of a press."""

    name = WordsField(
        label="Name", max_length=24, missing="Type the channel as the press calls it."
    )
    color = WordsField(label="Colour of its ink", max_length=32, missing="Say which colour.")
    kind = PickField(
        label="Kind of ink",
        choices=InkKind.choices,
        empty_words="pick the kind",
        missing="Say whether it is a spot colour or a process colour.",
    )
    ml_per_m2 = NumberField(
        unit="millilitres on a square metre",
        label="Ink on a full area, ml/m²",
        help_text="As you measured it where the ink covers all. Leave empty if not measured.",
    )
    cover_percent = NumberField(
        unit="per cent",
        label="Usual cover of a face, %",
        help_text="Of faces with this colour. Empty: estimates count them as covered whole.",
    )
    is_in_use = forms.BooleanField(label="In use", required=False)


class TaskForm(TypedForm):
    """A task that comes back at a press."""

    name = WordsField(label="Task", max_length=80, missing="Say what is to be done.")
    every_days = CountField(
        unit="days", label="Every so many days", help_text="1 is daily, 7 is weekly."
    )
    every_hours = NumberField(unit="hours", label="Or every so many hours of printing")
    note = WordsField(label="Note", max_length=255)
    is_in_use = forms.BooleanField(label="In use", required=False)


class SetUpForm(TypedForm):
    """How long a run takes to make ready."""

    setup_minutes = NumberField(
        unit="minutes", label="Set-up of a run, minutes", help_text="Empty: not stated."
    )
