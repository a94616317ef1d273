"""What a phone sent as a form in plain words, so that it can be put right and sent again."""

from __future__ import annotations

import copy
import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.core.exceptions import ValidationError

from inventory.engineering.standards.vocabulary import Color, SheetingType
from inventory.models import (
    ColourArea,
    Inspection,
    Instrument,
    InstrumentCheck,
    Observation,
    PackageStop,
    Position,
    Sign,
    StopResult,
    WrongDataFlag,
)
from inventory.models.places import Mount
from inventory.services.exchange.settling import LONGEST_REASON
from inventory.services.wrong_data import SAID_BY_A_PERSON
from inventory.web.form_fields import DayField, NumberField, PickField, TypedForm, WordsField
from inventory.web.instruments import instrument_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from inventory.models import Organisation

Path = tuple[str | int, ...]
BETWEEN_VALUES = re.compile(r"[\s,;]+")
YES_NO = [("yes", "adequate"), ("no", "not adequate")]
IDS_PUT_RIGHT = "right_%s"  # the page has a second form that asks why
FIGURES = {"inputmode": "decimal", "autocomplete": "off"}


@dataclass(frozen=True)
class Line:
    """One field of the form, and where its value stands in the payload."""

    path: Path
    field: forms.Field
    shown: Callable[[Any], Any] = lambda value: value
    sent: Callable[[Any], Any] = lambda value: value

    @property
    def name(self) -> str:
        """Return the field's name in the form."""
        return "_".join(str(step) for step in self.path)


class NumberOfSign(forms.IntegerField):
    """The number of a sign, as its page shows it."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "numeric"}))
        super().__init__(required=False, min_value=1, **kwargs)
        self.error_messages["invalid"] = (
            "This is not the number of a sign; it is the whole number its page shows."
        )


class ReasonForm(TypedForm):
    """Why something was decided as it was."""

    why = WordsField(
        label="Why",
        max_length=LONGEST_REASON,
        widget=forms.Textarea(attrs={"rows": 2}),
        missing="Say in a few words why; it is kept with the entry.",
    )


class PutRightForm(ReasonForm):
    """The payload of one operation, field by field."""

    def __init__(
        self,
        *args: Any,
        kind: str,
        payload: Mapping[str, Any],
        organisation: Organisation,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = IDS_PUT_RIGHT
        self.fields["why"].label = "Why you change it"
        self._original = payload
        self._referred: dict[str, int] = {}
        self._organisation = organisation
        self.lines = _lines_of(kind, payload, organisation)
        for line in self.lines:
            self.fields[line.name] = line.field
            self.initial[line.name] = line.shown(_at(payload, line.path))
        self.order_fields([*[line.name for line in self.lines], "why"])

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        self._refer(data, "position", "the_place_of")
        self._refer(data, "support", "the_support_of")
        return data

    def payload(self) -> dict[str, Any]:
        """Return the payload with what was typed; what no field shows stays as it was sent."""
        changed: dict[str, Any] = copy.deepcopy(dict(self._original))
        for line in self.lines:
            value = line.sent(self.cleaned_data.get(line.name))
            if value is not _KEPT:
                _put(changed, line.path, value)
        for name, key in self._referred.items():
            changed[name] = {"id": key}
        if isinstance(changed.get("reading_sets"), list):
            changed["reading_sets"] = [s for s in changed["reading_sets"] if s["values"]]
        return changed

    def _refer(self, data: Mapping[str, Any], name: str, by: str) -> None:
        """Find the place, or the support, of the sign that was named by its number."""
        number = data.get(by)
        if not number:
            return
        place = (
            Position.objects.owned_by(self._organisation)
            .filter(signs=number)
            .values_list("pk", "support_id")
            .first()
        )
        if place is None:
            self.add_error(by, f"There is no sign {number} of yours that stands anywhere.")
            return
        self._referred[name] = place[0] if name == "position" else place[1]


class AsDataForm(ReasonForm):
    """A payload of a kind, or of a shape, that has no fields of its own here."""

    as_data = forms.CharField(
        label="What was sent, as data",
        widget=forms.Textarea(attrs={"rows": 12, "spellcheck": "false"}),
        error_messages={"required": "Leave what was sent here, put right."},
    )
    field_order = ("as_data", "why")

    def __init__(self, *args: Any, payload: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = IDS_PUT_RIGHT
        self.fields["why"].label = "Why you change it"
        self.initial["as_data"] = json.dumps(payload, indent=2, ensure_ascii=False)

    def clean_as_data(self) -> dict[str, Any]:
        """Read the data; what is not of its form is told where it breaks off."""
        try:
            data = json.loads(self.cleaned_data["as_data"])
        except ValueError as error:
            msg = f"This is not data as phones send it: {error}."
            raise ValidationError(msg) from error
        if not isinstance(data, dict):
            msg = "The whole must stand in curly braces, with its fields by name."
            raise ValidationError(msg)
        return data

    def payload(self) -> dict[str, Any]:
        """Return what was typed."""
        data: dict[str, Any] = self.cleaned_data["as_data"]
        return data


def put_right_form(
    data: Any, *, kind: str, payload: Mapping[str, Any], organisation: Organisation
) -> PutRightForm | AsDataForm:
    """Return the form of an operation: in plain words where its kind and shape are known."""
    try:
        return PutRightForm(data, kind=kind, payload=payload, organisation=organisation)
    except (AttributeError, IndexError, KeyError, TypeError, ValueError):
        # Of another shape than its kind has, which is why it was refused.
        return AsDataForm(data, payload=payload)


# --- the fields of each kind ----------------------------------------------------------------


def _lines_of(kind: str, payload: Mapping[str, Any], organisation: Organisation) -> list[Line]:
    return list(_LINES_OF[kind](payload, organisation))


def _inspection(payload: Mapping[str, Any], organisation: Organisation) -> Iterator[Line]:
    yield _sign(payload)
    yield _pick(("how",), "How it was looked at", Inspection.How.choices)
    surfaces = [each for each in Inspection.SurfaceState.choices if each[0]]
    yield _pick(("surface_state",), "The face was", surfaces, empty="not recorded")
    yield _instrument(organisation, empty="not recorded")
    for number, each in enumerate(payload.get("reading_sets") or []):
        color = str(each["color"]).replace("-", " ").capitalize()
        path: Path = ("reading_sets", number)
        yield Line(
            (*path, "values"),
            WordsField(label=f"{color} readings, cd/lx/m²", widget=_figures()),
            shown=lambda values: ", ".join(str(value) for value in values or []),
            sent=lambda typed: [value for value in BETWEEN_VALUES.split(typed or "") if value],
        )
        yield _words((*path, "observation_angle_deg"), f"{color}: observation angle, degrees")
        yield _words((*path, "entrance_angle_deg"), f"{color}: entrance angle, degrees")
    for number, _each in enumerate(payload.get("observations") or []):
        seen: Path = ("observations", number)
        yield _pick((*seen, "kind"), "What was seen", Observation.Kind.choices)
        yield _pick(
            (*seen, "severity"), "How bad", Observation.Severity.choices, as_number=True
        )
        yield _words((*seen, "note"), "Said about it", 255)
    if payload.get("visual_rating"):
        yield Line(
            ("visual_rating", "is_adequate"),
            PickField(label="By night the sign was", choices=YES_NO),
            shown=lambda value: "yes" if value else "no",
            sent=lambda picked: picked == "yes",
        )
    yield _words(("note",), "Note", 2000, rows=2)
    if payload.get("reading_sets"):
        yield Line(
            ("is_confirmed",),
            forms.BooleanField(
                label="Unlikely values are so: keep them as typed, with a note", required=False
            ),
            shown=bool,
        )


def _check(payload: Mapping[str, Any], organisation: Organisation) -> Iterator[Line]:
    yield _instrument(organisation)
    yield _pick(("moment",), "When", InstrumentCheck.Moment.choices)
    yield _words(("reference_ra_cd_lx_m2",), "Reference standard, cd/lx/m²")
    yield _words(("shown_ra_cd_lx_m2",), "Shown by the instrument, cd/lx/m²")


def _install(payload: Mapping[str, Any], organisation: Organisation) -> Iterator[Line]:
    yield _of_sign("the_place_of", "In another place: that of sign number")
    yield Line(
        ("face",),
        WordsField(label="Label of the face", help_text=_as_sent(payload["face"])),
        shown=lambda face: (face or {}).get("label", ""),
        sent=lambda label: {"label": label} if label else _KEPT,
    )
    yield _day(("installed_on",), "Put up on")
    yield _pick(
        ("removal_reason",),
        "Why the old face came down",
        Sign.RemovalReason.choices,
        empty="no old face",
    )
    yield _words(("removed_note",), "Note on the old face", 255)


def _remove(payload: Mapping[str, Any], organisation: Organisation) -> Iterator[Line]:
    yield _sign(payload)
    yield _day(("removed_on",), "Taken down on")
    yield _pick(("reason",), "Why it came down", Sign.RemovalReason.choices)
    yield _words(("note",), "Note", 255)


def _move_support(payload: Mapping[str, Any], organisation: Organisation) -> Iterator[Line]:
    yield _of_sign("the_support_of", "Another support: that of sign number")
    yield from _point(())
    yield _words(("reason",), "Why it was moved", 255)


def _add_sign(payload: Mapping[str, Any], organisation: Organisation) -> Iterator[Line]:
    if "new" in payload["support"]:
        yield from _point(("support", "new"))
        yield _words(("support", "new", "side"), "Side of the road", 24)
    yield _of_sign("the_support_of", "On the support of sign number")
    yield _words(("sign_code",), "Code", 24)
    yield _words(("variant",), "Variant", 24)
    yield _words(("legend_text",), "Legend", 255)
    yield _number(("width_in",), "Width, in", "inches")
    yield _number(("height_in",), "Height, in", "inches")
    yield _number(("facing_deg",), "Front looks towards, degrees", "degrees from north")
    yield _pick(
        ("mount",), "Mount", [each for each in Mount.choices if each[0]], empty="not known"
    )
    colours = [(color.value, color.words) for color in Color]
    types = [(kind.value, f"Type {kind.value}") for kind in SheetingType]
    for number, each in enumerate(payload.get("colours") or []):
        part = dict(ColourArea.Part.choices).get(each["part"], each["part"]).capitalize()
        path: Path = ("colours", number)
        yield _pick((*path, "color"), part, colours, empty="not known")
        yield _pick((*path, "sheeting_type"), f"{part}: sheeting", types, empty="not known")
    yield _words(("label_id",), "Label", 40)
    yield _words(("note",), "Note", 255)


def _flag_record(payload: Mapping[str, Any], organisation: Organisation) -> Iterator[Line]:
    yield _sign(payload)
    choices = [(each.value, WrongDataFlag.Field(each).label) for each in SAID_BY_A_PERSON]
    yield _pick(("field",), "What is wrong", choices)
    yield _words(("said",), "What was said", 255)


def _stop(payload: Mapping[str, Any], organisation: Organisation) -> Iterator[Line]:
    yield _pick(("outcome",), "What came of it", StopResult.Outcome.choices)
    yield _words(("reason",), "Why it was not done", 255)


def _add_work(payload: Mapping[str, Any], organisation: Organisation) -> Iterator[Line]:
    yield _pick(("task",), "Work", PackageStop.Task.choices)
    yield _words(("note",), "Note", 255)
    if payload.get("outcome"):
        yield _pick(("outcome",), "What came of it", StopResult.Outcome.choices)
        yield _words(("reason",), "Why it was not done", 255)


_LINES_OF: dict[str, Callable[[Mapping[str, Any], Organisation], Iterator[Line]]] = {
    "inspection": _inspection,
    "check": _check,
    "install": _install,
    "remove": _remove,
    "move_support": _move_support,
    "add_sign": _add_sign,
    "flag_record": _flag_record,
    "stop": _stop,
    "add_work": _add_work,
}


# --- single lines ---------------------------------------------------------------------------


def _sign(payload: Mapping[str, Any]) -> Line:
    """Return the number of a sign; of one that another entry adds, nothing is shown."""
    is_added = "operation" in (payload.get("sign") or {})
    return Line(
        ("sign",),
        NumberOfSign(
            label="Sign number",
            help_text="Leave empty for the sign that the entry before adds."
            if is_added
            else "",
        ),
        shown=lambda ref: (ref or {}).get("id"),
        sent=lambda number: {"id": number} if number else _KEPT,
    )


def _of_sign(name: str, label: str) -> Line:
    field = NumberOfSign(label=label, help_text="Leave empty to keep it as sent.")
    return Line((name,), field, sent=lambda _number: _KEPT)


def _instrument(organisation: Organisation, empty: str = "") -> Line:
    rows = Instrument.objects.owned_by(organisation).order_by("serial")
    choices = [(each.pk, instrument_words(each)) for each in rows]
    return Line(
        ("instrument_id",),
        PickField(label="Instrument", choices=choices, empty_words=empty),
        sent=lambda picked: int(picked) if picked else None,
    )


def _point(path: Path) -> Iterator[Line]:
    for name, label, unit in (
        ("latitude_deg", "Latitude, degrees", "degrees north"),
        ("longitude_deg", "Longitude, degrees", "degrees, west of Greenwich with a minus sign"),
        ("accuracy_m", "Good to about, metres", "metres"),
    ):
        yield _number((*path, name), label, unit)


def _number(path: Path, label: str, unit: str) -> Line:
    return Line(path, NumberField(unit=unit, label=label))


def _day(path: Path, label: str) -> Line:
    field = DayField(label=label, missing="Say on which day.")
    return Line(path, field, sent=lambda day: day.isoformat() if day else "")


def _words(path: Path, label: str, most: int = 40, rows: int = 0) -> Line:
    widget = forms.Textarea(attrs={"rows": rows}) if rows else forms.TextInput()
    field = WordsField(label=label, max_length=most, widget=widget)
    return Line(path, field, sent=lambda typed: typed or "")


def _pick(
    path: Path, label: str, choices: Any, *, empty: str = "", as_number: bool = False
) -> Line:
    field = PickField(label=label, choices=choices, empty_words=empty)
    if as_number:
        return Line(path, field, sent=lambda picked: int(picked) if picked else None)
    return Line(path, field, sent=lambda picked: picked or "")


def _figures() -> forms.TextInput:
    return forms.TextInput(attrs=FIGURES)


def _as_sent(face: Mapping[str, Any]) -> str:
    return "" if "label" in face else f"Sent as face number {face.get('id', 'not known')}."


_KEPT: Any = object()  # what the form leaves as it was sent


def _at(payload: Mapping[str, Any], path: Path) -> Any:
    value: Any = payload
    for step in path:
        if isinstance(value, dict):
            value = value.get(cast("str", step))
        elif isinstance(value, list) and isinstance(step, int):
            value = value[step]
        else:
            return None
    return value


def _put(payload: dict[str, Any], path: Path, value: Any) -> None:
    place: Any = payload
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
