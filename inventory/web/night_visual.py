"""A look at a sign by night: one of three procedures, each with the evidence it asks for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.engineering.inspection.visual import COLORS_KEY
from inventory.engineering.standards.night_procedures import (
    EvidenceKind,
    NightProcedure,
    decision_of,
    evidence_items,
    hit_rate_sentence,
)
from inventory.models import Inspection, Role
from inventory.services.inspection import VisualRatingInput
from inventory.services.sign_faces import local_types_of
from inventory.web.form_fields import DayField, PickField, WordsField
from inventory.web.inspection import (
    COLOUR_CHOICES,
    RoadsideForm,
    colour_rows,
    last_elements,
    new_record,
    own_sign,
    photo_kept_for,
    store_visit,
)
from inventory.web.membership import MemberRequest, role_required
from inventory.web.road_safety import after_safety_reminder

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.http import HttpResponse

    from inventory.engineering.standards.night_procedures import EvidenceItem
    from inventory.web.inspection import ColourRow

ADEQUATE, NOT_ADEQUATE = "adequate", "not_adequate"
SESSION_KEY = "night_evidence"


@dataclass(frozen=True)
class NightPage:
    """What the page of one procedure asks for."""

    procedure: NightProcedure
    rows: Sequence[ColourRow]

    @property
    def for_all(self) -> list[EvidenceItem]:
        """Return what is stated once."""
        return [item for item in evidence_items(self.procedure) if not item.per_color]

    @property
    def for_each(self) -> list[EvidenceItem]:
        """Return what is stated for each colour."""
        return [item for item in evidence_items(self.procedure) if item.per_color]


class NightForm(RoadsideForm):
    """What an inspector saw by night, and the evidence of one procedure."""

    answer = PickField(
        label="The sign is",
        choices=[(ADEQUATE, "adequate: keep it"), (NOT_ADEQUATE, "not adequate: replace it")],
        widget=forms.RadioSelect,
        missing="Say whether the sign is adequate by night.",
    )

    def __init__(self, *args: Any, asked: NightPage, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.asked = asked
        for item in asked.for_all:
            self.fields[item.key] = field_for(item)
        for row in asked.rows if asked.for_each else ():
            if not row.color:
                self.fields[f"color_{row.number}"] = PickField(
                    label="Colour", choices=COLOUR_CHOICES, empty_words="pick the colour"
                )
            for item in asked.for_each:
                self.fields[f"{item.key}_{row.number}"] = field_for(item)

    def evidence(self) -> dict[str, Any]:
        """Return what was stated, by the keys of the procedure."""
        stated = {item.key: self._stated(item, item.key) for item in self.asked.for_all}
        if self.asked.for_each:
            stated[COLORS_KEY] = [
                found for row in self.asked.rows if (found := self._of_color(row))
            ]
        return stated

    def colour_fields(self) -> list[dict[str, Any]]:
        """Return the rows of what is stated for each colour, as the page lays them out."""
        if not self.asked.for_each:
            return []
        return [
            {
                "row": row,
                "color": None if row.color else self[f"color_{row.number}"],
                "fields": [self[f"{item.key}_{row.number}"] for item in self.asked.for_each],
            }
            for row in self.asked.rows
        ]

    def fields_for_all(self) -> list[Any]:
        """Return what is stated once; what is only confirmed comes last."""
        items = sorted(self.asked.for_all, key=lambda i: i.kind is EvidenceKind.CONFIRM)
        return [
            {"field": self[item.key], "is_tick": item.kind is EvidenceKind.CONFIRM}
            for item in items
        ]

    def _of_color(self, row: ColourRow) -> dict[str, Any]:
        """Return what was stated of one colour; nothing where all of it was left empty."""
        stated = {
            item.key: self._stated(item, f"{item.key}_{row.number}")
            for item in self.asked.for_each
        }
        if not any(stated.values()):
            return {}
        color = row.color or self.cleaned_data.get(f"color_{row.number}", "")
        return {"color": color, **stated}

    def _stated(self, item: EvidenceItem, name: str) -> Any:
        value = self.cleaned_data.get(name)
        if item.kind is EvidenceKind.DATE:
            return value.isoformat() if value is not None else ""
        return value


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.CREW, Role.ENGINEER)
@after_safety_reminder
def record_night_visual(request: MemberRequest, sign_id: int) -> HttpResponse:
    sign = own_sign(request, sign_id)
    asked = NightPage(_procedure(request), colour_rows(sign, last_elements(sign)))
    form = NightForm(
        request.POST or None,
        request.FILES or None,
        asked=asked,
        initial=new_record() | _stated_before(request, asked),
    )
    status = 200
    if request.method == "POST":
        status, done = store_visit(
            request,
            sign,
            form,
            lambda data: {
                "how": Inspection.How.VISUAL_NIGHT,
                "visual_rating": VisualRatingInput(
                    procedure=asked.procedure.value,
                    is_adequate=data["answer"] == ADEQUATE,
                    evidence=form.evidence(),
                ),
            },
        )
        if done:
            _keep_stated(request, form)
            messages.success(request, "Rating by night stored.")
            return redirect("crew-sign", sign.pk)
    context = {
        "sign": sign,
        "form": form,
        "procedure": asked.procedure,
        "procedures": list(NightProcedure),
        "decision": decision_of(asked.procedure).words,
        "is_unverified": any(not item.is_verified for item in evidence_items(asked.procedure)),
        "hit_rate": hit_rate_sentence(),
        "kept_photo": photo_kept_for(request, form),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/inspection/night_visual.html", context, status=status)


def field_for(item: EvidenceItem) -> forms.Field:
    """Return the field that asks for one piece of evidence; the service says if it will do."""
    label = item.label[0].upper() + item.label[1:]
    if item.kind is EvidenceKind.CONFIRM:
        return forms.BooleanField(label=label, required=False)
    if item.kind is EvidenceKind.DATE:
        return DayField(label=label)
    if item.kind is EvidenceKind.CHOICE:
        return PickField(
            label=label, choices=[(each, each) for each in item.choices], empty_words="pick it"
        )
    unit = f", {item.unit}" if item.unit else ""
    is_number = item.kind is EvidenceKind.NUMBER
    attributes = {"inputmode": "decimal", "autocomplete": "off"} if is_number else {}
    return WordsField(
        label=f"{label}{unit}", max_length=60, widget=forms.TextInput(attrs=attributes)
    )


def _procedure(request: MemberRequest) -> NightProcedure:
    """Return the procedure that is asked for, or the one used last."""
    wanted = request.POST.get("procedure") or request.GET.get("procedure")
    last = request.session.get(SESSION_KEY, {}).get("procedure")
    known = {each.value for each in NightProcedure}
    for each in (wanted, last):
        if each in known:
            return NightProcedure(each)
    return NightProcedure.CONSISTENT_PARAMETERS


def _stated_before(request: MemberRequest, asked: NightPage) -> dict[str, Any]:
    """Return what was stated for the last sign of the same day; ticks are made anew."""
    kept = request.session.get(SESSION_KEY, {})
    is_todays = kept.get("day") == timezone.localdate().isoformat()
    if not is_todays or kept.get("procedure") != asked.procedure.value:
        return {}
    return dict(kept["stated"])


def _keep_stated(request: MemberRequest, form: NightForm) -> None:
    items = [i for i in form.asked.for_all if i.kind is not EvidenceKind.CONFIRM]
    evidence = form.evidence()
    request.session[SESSION_KEY] = {
        "day": timezone.localdate().isoformat(),
        "procedure": form.asked.procedure.value,
        "stated": {item.key: evidence[item.key] for item in items},
    }
