"""What the crew records at the roadside: readings, damage, and signs that are gone."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.engineering.assessment.own_levels import AGENCY_LEVEL_TABLE
from inventory.engineering.inspection.usability import (
    JUDGED_ENTRANCE_ANGLE_DEG,
    JUDGED_OBSERVATION_ANGLE_DEG,
)
from inventory.engineering.standards.vocabulary import Color
from inventory.errors import InventoryError, UnlikelyError
from inventory.models import (
    ElementAssessment,
    Inspection,
    Instrument,
    Observation,
    RefusedEntry,
    Role,
    Sign,
)
from inventory.services.inspection import (
    ObservationInput,
    PhotoInput,
    ReadingSetInput,
    record_inspection,
)
from inventory.services.kept_photos import drop_kept_photo, keep_photo, kept_photo
from inventory.services.refusals import keep_refused
from inventory.services.relinks import counts_for, relinked_to
from inventory.services.sign_faces import local_types_of, looks_of_sign
from inventory.web.form_fields import MomentField, PickField, RowField, TypedForm, WordsField
from inventory.web.instruments import InstrumentField, instruments_in_use
from inventory.web.membership import MemberRequest, role_required
from inventory.web.numbers import fixed, plain
from inventory.web.road_safety import after_safety_reminder

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from django.http import HttpResponse

VALUES_PER_COLOUR = 4  # as many as are usually taken; more fit below
MOST_VALUES_PER_COLOUR = 8
ROWS_OF_AN_UNKNOWN_FACE = 2
SECONDS_PER_MINUTE = 60
INSTRUMENT_KEY = "last_instrument_id"
COLOUR_CHOICES = [(color.value, color.words) for color in Color if color is not Color.BLACK]
SURFACE_CHOICES = [
    choice
    for choice in Inspection.SurfaceState.choices
    if choice[0] != Inspection.SurfaceState.UNKNOWN
]
HOW_SEEN_CHOICES = [
    (Inspection.How.VISUAL_DAY.value, "by day"),
    (Inspection.How.VISUAL_NIGHT.value, "by night"),
]
SEVERITY_CHOICES = [
    choice for choice in Observation.Severity.choices if choice[0] != Observation.Severity.NONE
]


@dataclass(frozen=True)
class ColourRow:
    """One colour to read; no name where the face's colours are not known."""

    number: int
    color: str
    part: str
    level: str
    is_own_level: bool
    is_verified: bool


class RoadsideForm(TypedForm):
    """What every record made at the roadside has: its own key, when, a note and a photo."""

    client_uuid = forms.UUIDField(widget=forms.HiddenInput, required=False)
    taken_at = MomentField(label="When", missing="Say when you looked at the sign.")
    note = WordsField(label="Note", max_length=2000, widget=forms.Textarea(attrs={"rows": 2}))
    photo = forms.FileField(
        label="Photo", required=False, widget=forms.FileInput(attrs={"accept": "image/*"})
    )
    leave_photo_out = forms.BooleanField(label="Leave this photo out", required=False)
    is_confirmed = forms.BooleanField(
        label="It is so: keep it as typed, with a note", required=False
    )
    is_unlikely = False  # whether the page asks for that

    def clean_client_uuid(self) -> uuid.UUID:
        """Give a record whose key was lost a new one."""
        return self.cleaned_data["client_uuid"] or uuid.uuid4()


class ReadingsForm(RoadsideForm):
    """The values of each colour of one face, as the instrument showed them."""

    instrument = InstrumentField(
        label="Instrument",
        queryset=Instrument.objects.none(),
        empty_label="not recorded",
        unknown="That instrument is not in your agency's register; pick one of the list, or "
        "ask the engineer to register it.",
    )
    surface_state = PickField(
        label="The face was", choices=SURFACE_CHOICES, widget=forms.RadioSelect
    )
    observation_angle_deg = WordsField(
        label="Observation angle, degrees",
        missing="Say at which observation angle the instrument reads; it is printed on it.",
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
    )
    entrance_angle_deg = WordsField(
        label="Entrance angle, degrees",
        missing="Say at which entrance angle the instrument reads; it is printed on it.",
    )
    corrects = RowField(queryset=Inspection.objects.none(), widget=forms.HiddenInput)

    def __init__(
        self,
        *args: Any,
        rows: Sequence[ColourRow],
        instruments: Any,
        inspections: Any,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.rows = rows
        cast("forms.ModelChoiceField[Any]", self.fields["instrument"]).queryset = instruments
        cast("forms.ModelChoiceField[Any]", self.fields["corrects"]).queryset = inspections
        for row in rows:
            if not row.color:
                self.fields[f"color_{row.number}"] = PickField(
                    label="Colour", choices=COLOUR_CHOICES, empty_words="pick the colour"
                )
            for place in range(MOST_VALUES_PER_COLOUR):
                self.fields[f"value_{row.number}_{place}"] = WordsField(
                    label=f"{row.color or 'colour'} value {place + 1}",
                    widget=forms.TextInput(
                        attrs={"inputmode": "decimal", "autocomplete": "off"}
                    ),
                )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not any(self._values(row) for row in self.rows):
            msg = (
                "No reading was typed. Type at least one value, or use 'Report damage or "
                "missing' if the sign could not be measured."
            )
            raise ValidationError(msg)
        for row in self.rows:
            if not row.color and self._values(row) and not data.get(f"color_{row.number}"):
                self.add_error(
                    f"color_{row.number}", "Say which colour these values were read on."
                )
        return data

    def reading_sets(self) -> list[ReadingSetInput]:
        """Return the values that were typed, colour by colour."""
        return [
            ReadingSetInput(
                color=row.color or self.cleaned_data[f"color_{row.number}"],
                values=self._values(row),
                observation_angle_deg=self.cleaned_data["observation_angle_deg"],
                entrance_angle_deg=self.cleaned_data["entrance_angle_deg"],
            )
            for row in self.rows
            if self._values(row)
        ]

    def clean_entrance_angle_deg(self) -> str:
        """Take the true minus sign the page shows for the one of the keyboard."""
        return str(self.cleaned_data["entrance_angle_deg"]).replace("\N{MINUS SIGN}", "-")

    def colour_fields(self) -> list[dict[str, Any]]:
        """Return the rows as the page lays them out."""
        return [
            {
                "row": row,
                "color": None if row.color else self[f"color_{row.number}"],
                "first": [self[f"value_{row.number}_{n}"] for n in range(VALUES_PER_COLOUR)],
                "more": [
                    self[f"value_{row.number}_{n}"]
                    for n in range(VALUES_PER_COLOUR, MOST_VALUES_PER_COLOUR)
                ],
            }
            for row in self.rows
        ]

    def _values(self, row: ColourRow) -> list[str]:
        typed = (
            self.cleaned_data.get(f"value_{row.number}_{n}", "")
            for n in range(MOST_VALUES_PER_COLOUR)
        )
        return [text for text in typed if text]


class DamageForm(RoadsideForm):
    """What was seen by eye on one sign."""

    kind = PickField(
        label="What is wrong",
        choices=Observation.Kind.choices,
        empty_words="pick what you see",
        missing="Say what is wrong with the sign.",
    )
    severity = PickField(
        label="How bad",
        choices=SEVERITY_CHOICES,
        widget=forms.RadioSelect,
        missing="Say how bad it is.",
    )
    how = PickField(
        label="Looked at",
        choices=HOW_SEEN_CHOICES,
        widget=forms.RadioSelect,
        missing="Say whether you looked at it by day or by night.",
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.CREW, Role.ENGINEER)
@after_safety_reminder
def record_readings(request: MemberRequest, sign_id: int) -> HttpResponse:
    sign = own_sign(request, sign_id)
    elements = last_elements(sign)
    # Those of a duplicate too: while it is merged into this sign, they are put right here.
    counting = counts_for([sign.pk], relinked_to([sign.pk]))
    inspections = Inspection.objects.owned_by(request.organisation).filter(counting)
    corrected = inspections.filter(pk=_number(request.GET.get("corrects"))).first()
    instruments = instruments_in_use(
        request, also=corrected.instrument_id if corrected is not None else None
    )
    last_used = instruments.filter(pk=request.session.get(INSTRUMENT_KEY, 0)).first()
    form = ReadingsForm(
        request.POST or None,
        request.FILES or None,
        rows=colour_rows(sign, elements),
        instruments=instruments,
        inspections=inspections,
        initial=new_record()
        | {"instrument": last_used}
        | _geometry(
            last_used.observation_angle_deg if last_used else JUDGED_OBSERVATION_ANGLE_DEG,
            last_used.entrance_angle_deg if last_used else JUDGED_ENTRANCE_ANGLE_DEG,
        )
        | _as_typed(corrected, sign, elements),
    )
    status = 200
    if request.method == "POST":
        status, done = store_visit(
            request,
            sign,
            form,
            lambda data: {
                "how": Inspection.How.HAND_HELD,
                "instrument": data["instrument"],
                "surface_state": data["surface_state"],
                "reading_sets": form.reading_sets(),
                "corrects": data["corrects"],
            },
        )
        if done:
            if form.cleaned_data["instrument"]:
                request.session[INSTRUMENT_KEY] = form.cleaned_data["instrument"].pk
            messages.success(request, "Readings stored.")
            return redirect("crew-sign", sign.pk)
    context = {
        "sign": sign,
        "form": form,
        "kept_photo": photo_kept_for(request, form),
        "corrected": corrected,
        "contrast": next((e for e in elements if e.kind == "contrast" and e.level), None),
        "geometries": {
            str(each.pk): _geometry(each.observation_angle_deg, each.entrance_angle_deg)
            for each in instruments
        },
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/inspection/record_readings.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.CREW, Role.ENGINEER)
@after_safety_reminder
def report_damage(request: MemberRequest, sign_id: int) -> HttpResponse:
    sign = own_sign(request, sign_id)
    form = DamageForm(request.POST or None, request.FILES or None, initial=new_record())
    status = 200
    if request.method == "POST":
        status, done = store_visit(
            request,
            sign,
            form,
            lambda data: {
                "how": data["how"],
                "observations": [
                    ObservationInput(kind=data["kind"], severity=int(data["severity"]))
                ],
            },
        )
        if done:
            messages.success(request, "Report stored.")
            return redirect("crew-sign", sign.pk)
    context = {
        "sign": sign,
        "form": form,
        "kept_photo": photo_kept_for(request, form),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/inspection/report_damage.html", context, status=status)


def colour_rows(sign: Sign, elements: Sequence[ElementAssessment]) -> list[ColourRow]:
    """Return the colours of a face that return light, in its order, with their levels."""
    levelled = [
        element
        for element in elements
        if element.kind == ElementAssessment.Kind.COLOR and element.level is not None
    ]
    levels = {element.color: plain(element.level) for element in levelled if element.level}
    own = {each.color for each in levelled if each.table_id == AGENCY_LEVEL_TABLE}
    unverified = {each.color for each in levelled if not each.is_level_verified}
    areas = [(area.color, area.get_part_display()) for area in sign.colour_areas.all()]
    if not areas:
        looks = looks_of_sign(sign, local_types_of(sign.owner) if sign.owner else None)
        areas = [
            (looks.background_color, "background, as the code has it"),
            (looks.legend_color, "legend, as the code has it"),
        ]
    known = [(c, part) for c, part in areas if c and c != Color.BLACK.value]
    rows = known or [("", "")] * ROWS_OF_AN_UNKNOWN_FACE
    return [
        ColourRow(
            number=number,
            color=color,
            part=part,
            level=levels.get(color, ""),
            is_own_level=color in own,
            is_verified=color not in unverified,
        )
        for number, (color, part) in enumerate(rows)
    ]


def store_visit(
    request: MemberRequest, sign: Sign, form: RoadsideForm, content: Any
) -> tuple[int, bool]:
    """Record what the form says; on a refusal the form keeps it all, the photo too."""
    form.is_valid()
    _keep_photo(request, form)
    if form.errors:
        _keep_typed(request, form)
        return 400, False
    data = form.cleaned_data
    key = data["client_uuid"]
    photo = kept_photo(by=request.user, client_uuid=key)
    try:
        stored = record_inspection(
            sign=sign,
            taken_at=data["taken_at"],
            inspector=request.user,
            client_uuid=key,
            note=data["note"],
            photos=[PhotoInput(content=photo.read(), client_uuid=uuid.uuid5(key, "photo"))]
            if photo
            else [],
            device_offset_minutes=_offset_minutes(data["taken_at"]),
            is_confirmed=data["is_confirmed"],
            **content(data),
        )
    except InventoryError as error:
        form.is_unlikely = isinstance(error, UnlikelyError)
        status = int(form.refuse(error))
        _keep_typed(request, form)
        return status, False
    drop_kept_photo(by=request.user, client_uuid=key)
    for flag in stored.flags.all():
        messages.warning(
            request,
            f"The readings are not judged yet: {flag.get_reason_display()}. Your engineer "
            "settles them.",
        )
    return 302, True


def _keep_typed(request: MemberRequest, form: RoadsideForm) -> None:
    """Keep a refused form for the engineer too: the person may walk away from it."""
    typed = {name: request.POST.getlist(name) for name in form.fields if name in request.POST}
    keep_refused(
        organisation=request.organisation,
        channel=RefusedEntry.Channel.FORM,
        kind=RefusedEntry.Kind.INSPECTION,
        payload={"page": request.path, "typed": typed},
        sentence=" ".join(str(each) for errors in form.errors.values() for each in errors),
        by=request.user,
        client_uuid=_uuid(form.data.get("client_uuid")),
    )


def _keep_photo(request: MemberRequest, form: RoadsideForm) -> None:
    """Keep what was sent, or drop what was kept before when that was asked for."""
    key = form.cleaned_data.get("client_uuid")
    sent = form.cleaned_data.get("photo")
    if key is None:
        return
    if sent is not None:
        try:
            keep_photo(
                by=request.user, client_uuid=key, content=sent.read(), now=timezone.now()
            )
        except InventoryError as error:
            form.refuse(error)
    elif form.cleaned_data.get("leave_photo_out"):
        drop_kept_photo(by=request.user, client_uuid=key)


def photo_kept_for(request: MemberRequest, form: RoadsideForm) -> Any:
    key = _uuid(form.data.get("client_uuid"))
    return key and kept_photo(by=request.user, client_uuid=key)


def own_sign(request: MemberRequest, sign_id: int) -> Sign:
    rows = Sign.objects.owned_by(request.organisation).select_related(
        "position__support__road", "owner"
    )
    sign: Sign = get_object_or_404(rows.prefetch_related("colour_areas"), pk=sign_id)
    return sign


def last_elements(sign: Sign) -> list[ElementAssessment]:
    newest = sign.assessments.order_by("-assessed_at", "-pk").first()
    return list(newest.elements.order_by("number")) if newest else []


def new_record() -> dict[str, Any]:
    return {"client_uuid": uuid.uuid4(), "taken_at": timezone.localtime()}


def _as_typed(
    inspection: Inspection | None, sign: Sign, elements: Sequence[ElementAssessment]
) -> dict[str, Any]:
    """Return an earlier record as it was typed, to be put right in a new one."""
    if inspection is None:
        return {}
    typed: dict[str, Any] = {
        "corrects": inspection.pk,
        "taken_at": timezone.localtime(inspection.taken_at),
        "instrument": inspection.instrument_id,
        "surface_state": inspection.surface_state,
        "note": inspection.note,
    }
    number_of = {row.color: row.number for row in colour_rows(sign, elements)}
    for reading_set in inspection.reading_sets.prefetch_related("readings"):
        if reading_set.color in number_of:
            number = number_of[reading_set.color]
            for place, reading in enumerate(reading_set.readings.all()):
                typed[f"value_{number}_{place}"] = reading.typed
        typed |= _geometry(reading_set.observation_angle_deg, reading_set.entrance_angle_deg)
    return typed


def _geometry(observation_angle_deg: Decimal, entrance_angle_deg: Decimal) -> dict[str, str]:
    """Return the two angles as they are written on instruments: at least one decimal."""
    angles = (observation_angle_deg, entrance_angle_deg)
    words = [fixed(each, max(1, -int(each.normalize().as_tuple().exponent))) for each in angles]
    return {"observation_angle_deg": words[0], "entrance_angle_deg": words[1]}


def _offset_minutes(moment: Any) -> int:
    offset = timezone.localtime(moment).utcoffset()
    return int(offset.total_seconds() // SECONDS_PER_MINUTE) if offset else 0


def _uuid(text: object) -> uuid.UUID | None:
    try:
        return uuid.UUID(str(text))
    except ValueError:
        return None


def _number(text: str | None) -> int | None:
    return int(text) if text and text.isdecimal() else None
