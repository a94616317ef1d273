"""The crew's pages: what is near, one sign, putting a face up and taking one down."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.contrib import messages
from django.db.models import Q
from django.http import HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.engineering.production.labels import read_label
from inventory.errors import InventoryError, NoPublishedValueError
from inventory.models import Position, Role, Sign
from inventory.services.installation import faces_fitting, install_sign, remove_sign
from inventory.services.nearby import find_signs, nearby
from inventory.services.sign_faces import local_types_of
from inventory.services.sign_record import sign_record
from inventory.web.form_fields import (
    DayField,
    NumberField,
    PickField,
    RowField,
    TypedForm,
    WordsField,
)
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.road_safety import after_safety_reminder, own_address
from inventory.web.sign_answer import answer, open_damage_of

if TYPE_CHECKING:
    from django.http import HttpResponse

THEMES = ("day", "night")
THEME_COOKIE = "field_theme"
THEME_KEPT_SECONDS = 365 * 24 * 3600
MOST_WAITING = 20


class WhereForm(forms.Form):
    """Where the person stands, as the phone says or as typed."""

    use_required_attribute = False
    latitude = NumberField(
        unit="degrees north, such as 43.0731",
        label="Latitude",
        min_value=-90,
        max_value=90,
        missing="Type the latitude as well.",
    )
    longitude = NumberField(
        unit="degrees, west of Greenwich with a minus sign, such as -89.4012",
        label="Longitude",
        min_value=-180,
        max_value=180,
        missing="Type the longitude as well.",
    )
    accuracy_m = NumberField(
        unit="metres", label="Good to about, metres", min_value=0, max_value=100_000
    )


class InstallForm(TypedForm):
    """The face in hand, and what becomes of the one it takes the place of."""

    replaces = RowField(queryset=Sign.objects.none(), widget=forms.HiddenInput)
    label_id = WordsField(
        label="Label id on the back of the new face",
        missing="Type the label id from the back of the new face, such as 001-0JK.",
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )
    installed_on = DayField(label="Put up on", missing="Say on which day it was put up.")
    removal_reason = PickField(
        label="Why the old face came down",
        choices=Sign.RemovalReason.choices,
        empty_words="pick the reason",
    )
    removed_note = WordsField(
        label="Note on the old face",
        max_length=255,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, faces_here: Any, has_old_face: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast("Any", self.fields["replaces"]).queryset = faces_here
        if has_old_face:
            reason = self.fields["removal_reason"]
            reason.required = True
            reason.error_messages["required"] = "Say why the old face came down."
        else:
            del self.fields["removal_reason"], self.fields["removed_note"]


class RemoveForm(TypedForm):
    """Why and when a face came down with nothing put in its place."""

    reason = PickField(
        label="Why it came down",
        choices=Sign.RemovalReason.choices,
        empty_words="pick the reason",
        missing="Say why the face came down.",
    )
    removed_on = DayField(label="Taken down on", missing="Say on which day it came down.")
    note = WordsField(label="Note", max_length=255, widget=forms.Textarea(attrs={"rows": 2}))


@require_safe
@role_required(Role.CREW, Role.ENGINEER)
def near_me(request: MemberRequest) -> HttpResponse:
    where = WhereForm(request.GET if "latitude" in request.GET else None)
    words = request.GET.get("q", "").strip()
    found = None
    if where.is_bound and where.is_valid():
        data = where.cleaned_data
        found = nearby(
            organisation=request.organisation,
            latitude_deg=data["latitude"],
            longitude_deg=data["longitude"],
            accuracy_m=data["accuracy_m"],
        )
    page = None
    if words:
        page = page_of(request, find_signs(organisation=request.organisation, text=words))
    context = {
        "where": where,
        "words": words,
        "found": found,
        "page": page,
        "local_types": local_types_of(request.organisation),
    }
    status = 400 if where.errors else 200
    return render(request, "inventory/crew/near_me.html", context, status=status)


@require_safe
@role_required(Role.CREW, Role.ENGINEER)
def crew_sign(request: MemberRequest, sign_id: int) -> HttpResponse:
    sign = get_object_or_404(_own_signs(request), pk=sign_id)
    record = sign_record(sign=sign, organisation=request.organisation)
    context = {
        "sign": sign,
        "record": record,
        "answer": answer(record),
        "damage": open_damage_of(record),
        "last_inspection": record.inspections[0] if record.inspections else None,
        "face_now": _face_now(sign),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/crew/crew_sign.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.CREW, Role.ENGINEER)
@after_safety_reminder
def install_face(request: MemberRequest, position_id: int) -> HttpResponse:
    position: Position = get_object_or_404(
        Position.objects.owned_by(request.organisation).select_related("support__road"),
        pk=position_id,
    )
    faces_here = _own_signs(request).filter(position=position)
    old = faces_here.filter(state=Sign.State.INSTALLED).first()
    # What the person saw when the page came counts, not what has become of it since.
    seen = request.POST.get("replaces", old)
    form = InstallForm(
        request.POST or None,
        faces_here=faces_here,
        has_old_face=bool(seen),
        initial={"installed_on": timezone.localdate(), "replaces": old},
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            data = form.cleaned_data
            try:
                sign = install_sign(
                    sign=_face_in_hand(request, data["label_id"]),
                    position=position,
                    installed_on=data["installed_on"],
                    by=request.user,
                    replaces=data["replaces"],
                    removal_reason=data.get("removal_reason") or None,
                    removed_note=data.get("removed_note", ""),
                )
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, f"Face {sign.label_id} is up.")
                return redirect("crew-sign", sign.pk)
    context = {
        "position": position,
        "old": old,
        "form": form,
        "waiting": faces_fitting(position)[:MOST_WAITING],
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/crew/install_face.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.CREW, Role.ENGINEER)
@after_safety_reminder
def remove_face(request: MemberRequest, sign_id: int) -> HttpResponse:
    sign = get_object_or_404(_own_signs(request), pk=sign_id)
    form = RemoveForm(request.POST or None, initial={"removed_on": timezone.localdate()})
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                remove_sign(sign=sign, by=request.user, **form.cleaned_data)
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                messages.success(request, "Taken down. Its place is kept for the next face.")
                return redirect("crew-sign", sign.pk)
    context = {
        "sign": sign,
        "form": form,
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/crew/remove_face.html", context, status=status)


@require_POST
def field_theme(request: MemberRequest) -> HttpResponse:
    """Keep the colours a person wants in the field."""
    wanted = request.POST.get("theme", "")
    answered = HttpResponseRedirect(own_address(request, request.POST.get("next", "")))
    answered.set_cookie(
        THEME_COOKIE,
        wanted if wanted in THEMES else THEMES[0],
        max_age=THEME_KEPT_SECONDS,
        secure=request.is_secure(),
        httponly=True,
        samesite="Lax",
    )
    return answered


def _own_signs(request: MemberRequest) -> Any:
    return (
        Sign.objects.owned_by(request.organisation)
        .select_related("position__support__road", "owner", "maker", "print_run")
        .prefetch_related("colour_areas")
    )


def _face_now(sign: Sign) -> Sign | None:
    """Return the face that stands where a removed one stood."""
    if sign.state != Sign.State.REMOVED or sign.position_id is None:
        return None
    found: Sign | None = Sign.objects.filter(
        position=sign.position_id, state=Sign.State.INSTALLED
    ).first()
    return found


def _face_in_hand(request: MemberRequest, typed: str) -> Sign:
    """Return the face with a label, among those the agency owns or a shop made for it."""
    label = read_label(typed)
    agency = request.organisation
    face: Sign | None = Sign.objects.filter(
        Q(owner=agency)
        | Q(layout_face__line__order__agency=agency)
        | Q(owner=None, layout_face=None, maker__customers__agency=agency),
        label_id=label,
    ).first()
    if face is None:
        msg = (
            f"No face with the label {label} was made for {agency}. Compare it "
            "with the label on the back; if it is right, ask the shop whose face it is."
        )
        raise NoPublishedValueError(msg)
    return face
