"""Instruments: the register, checks against the standard, and certificates."""

from __future__ import annotations

import uuid
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Count, OuterRef, Q, Subquery
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import InventoryError
from inventory.models import EarlierCertificate, Instrument, InstrumentCheck, RefusedEntry, Role
from inventory.services.doubts import flag_groups
from inventory.services.instruments import (
    bring_back_instrument,
    record_check,
    register_instrument,
    retire_instrument,
    set_certificate,
    set_tolerance,
)
from inventory.services.refusals import keep_refused
from inventory.web.check_plot import draw_checks
from inventory.web.form_fields import (
    DayField,
    MomentField,
    PickField,
    RowField,
    TypedForm,
    WordsField,
)
from inventory.web.membership import MemberRequest, role_required
from inventory.web.numbers import plain
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.db.models import QuerySet
    from django.http import HttpResponse

CHECKS_PER_PAGE = 20
CHECKS_DRAWN = 60
PERCENT = 100
FIGURES = {"inputmode": "decimal", "autocomplete": "off"}


class PercentField(WordsField):
    """A share typed in per cent, kept as the decimal it says."""

    def clean(self, value: Any) -> float | None:
        text = super().clean(value).removesuffix("%").strip()
        if not text:
            return None
        try:
            share = Decimal(text)
        except InvalidOperation:
            share = Decimal("NaN")
        if not share.is_finite():
            msg = f"'{text[:40]}' is not a number of per cent; write it in figures, such as 5."
            raise ValidationError(msg)
        return float(share / PERCENT)


class InstrumentField(RowField):
    """An instrument to pick, each with whether its certificate holds."""

    def label_from_instance(self, obj: Any) -> str:
        return instrument_words(obj)


class CertificateForm(TypedForm):
    """From when and until when an instrument's certificate holds."""

    certificate_on = DayField(
        label="Given on", missing="Type the day on which the certificate was given."
    )
    certificate_due_on = DayField(
        label="Due on", missing="Type the day until which the certificate holds."
    )


class ToleranceForm(TypedForm):
    """By how much a check may be off."""

    tolerance_pct = PercentField(
        label="A check may be off by, %",
        widget=forms.TextInput(attrs=FIGURES),
        help_text="Of the reference standard's value; the instrument's instructions say it.",
        missing="Type by how many per cent a check may be off.",
    )


class RegisterForm(TypedForm):
    """An instrument; what is not known stays empty."""

    serial = WordsField(
        label="Serial number", max_length=40, missing="Type the serial number on its plate."
    )
    observation_angle_deg = WordsField(
        label="Observation angle, degrees",
        missing="Type the observation angle; it is printed on the instrument.",
        widget=forms.TextInput(attrs=FIGURES),
    )
    entrance_angle_deg = WordsField(
        label="Entrance angle, degrees",
        missing="Type the entrance angle; it is printed on the instrument.",
    )
    receiver = PickField(
        label="Receiver", choices=Instrument.Receiver.choices[1:], empty_words="not known"
    )
    certificate_on = DayField(label="Certificate given on")
    certificate_due_on = DayField(
        label="Certificate due on", help_text="Leave what you do not know empty."
    )
    tolerance_pct = PercentField(
        label="A check may be off by, %",
        widget=forms.TextInput(attrs=FIGURES),
        help_text="From the instrument's instructions; needed before a check can be recorded.",
    )


class CheckForm(TypedForm):
    """What an instrument showed on its reference standard."""

    client_uuid = forms.UUIDField(widget=forms.HiddenInput, required=False)
    moment = PickField(
        label="Checked",
        choices=InstrumentCheck.Moment.choices,
        widget=forms.RadioSelect,
        missing="Say whether the check was before or after the readings.",
    )
    reference = WordsField(
        label="Reference standard, cd/lx/m²",
        help_text="As on the standard's own certificate.",
        widget=forms.TextInput(attrs=FIGURES),
        missing="Type the value of the reference standard.",
    )
    shown = WordsField(
        label="Shown by the instrument, cd/lx/m²",
        widget=forms.TextInput(attrs=FIGURES),
        missing="Type what the instrument showed.",
    )
    checked_at = MomentField(label="When", missing="Say when it was checked.")

    def clean_client_uuid(self) -> uuid.UUID:
        """Give a record whose key was lost a new one."""
        return self.cleaned_data["client_uuid"] or uuid.uuid4()


class RetireForm(TypedForm):
    """Why an instrument is taken out of use."""

    reason = WordsField(label="Why", max_length=255, missing="Say why it is taken out of use.")


@require_safe
@role_required(Role.CREW, Role.ENGINEER)
def instrument_list(request: MemberRequest) -> HttpResponse:
    newest = InstrumentCheck.objects.filter(instrument=OuterRef("pk")).order_by(
        "-checked_at", "-pk"
    )
    waiting = Q(
        inspections__flags__isnull=False,
        inspections__flags__settlement__isnull=True,
        inspections__corrections__isnull=True,
    )
    rows = (
        Instrument.objects.owned_by(request.organisation)
        .annotate(
            last_checked_at=Subquery(newest.values("checked_at")[:1]),
            last_check_is_good=Subquery(newest.values("is_within_tolerance")[:1]),
            open_count=Count("inspections__flags", filter=waiting, distinct=True),
        )
        .order_by("is_retired", "serial", "pk")
    )
    context = {"page": page_of(request, rows), "today": timezone.localdate()}
    return render(request, "inventory/instruments/instrument_list.html", context)


@require_safe
@role_required(Role.CREW, Role.ENGINEER)
def instrument_page(request: MemberRequest, instrument_id: int) -> HttpResponse:
    instrument = _instrument(request, instrument_id)
    checks = (
        InstrumentCheck.objects.filter(instrument=instrument)
        .select_related("checked_by")
        .annotate(flag_count=Count("flags"))
        .order_by("-checked_at", "-pk")
    )
    context = {
        "instrument": instrument,
        "page": page_of(request, checks, CHECKS_PER_PAGE),
        "plot": draw_checks(list(checks[:CHECKS_DRAWN])),
        "groups": flag_groups(request.organisation, instrument),
        "earlier_certificates": EarlierCertificate.objects.filter(
            instrument=instrument
        ).order_by("-replaced_at", "-pk"),
        "today": timezone.localdate(),
    }
    return render(request, "inventory/instruments/instrument_page.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def instrument_register(request: MemberRequest) -> HttpResponse:
    form = RegisterForm(
        request.POST or None,
        initial={"observation_angle_deg": "0.2", "entrance_angle_deg": "\N{MINUS SIGN}4.0"},
    )

    def store(data: dict[str, Any]) -> Instrument:
        return register_instrument(
            organisation=request.organisation,
            check_tolerance_rel=data.pop("tolerance_pct"),
            by=request.user,
            **data,
        )

    words = {"heading": "Register an instrument", "button": "Register instrument"}
    return _step(request, form, None, words, store, "The instrument is registered.")


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.CREW, Role.ENGINEER)
def instrument_check(request: MemberRequest, instrument_id: int) -> HttpResponse:
    instrument = _instrument(request, instrument_id)
    last = (
        InstrumentCheck.objects.filter(instrument=instrument)
        .order_by("-checked_at", "-pk")
        .first()
    )
    form = CheckForm(
        request.POST or None,
        initial={
            "client_uuid": uuid.uuid4(),
            "checked_at": timezone.localtime(),
            "reference": plain(last.reference_ra_cd_lx_m2) if last else "",
        },
    )

    def store(data: dict[str, Any]) -> InstrumentCheck:
        return record_check(instrument=instrument, by=request.user, **data)

    words = {
        "heading": f"Check instrument {instrument.serial}",
        "button": "Store check",
        "note": "Outside its tolerance, the readings since its last good check are not judged "
        "until an engineer has looked at them.",
    }
    answer = _step(
        request,
        form,
        instrument,
        words,
        store,
        template="inventory/instruments/record_check.html",
    )
    if request.method == "POST" and answer.status_code != 302:
        _keep_typed(request, form)
    return answer


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def instrument_certificate(request: MemberRequest, instrument_id: int) -> HttpResponse:
    instrument = _instrument(request, instrument_id)

    def store(data: dict[str, Any]) -> Instrument:
        return set_certificate(instrument=instrument, by=request.user, **data)

    words = {
        "heading": f"Certificate of instrument {instrument.serial}",
        "button": "Store certificate",
        "note": "The dates that were there before stay on record. To put the present "
        "certificate right, keep the day it was given. Readings the certificates leave out of "
        "date are flagged; readings that are flagged already stay so until you settle them.",
    }
    form = CertificateForm(
        request.POST or None,
        initial={
            "certificate_on": instrument.certificate_on,
            "certificate_due_on": instrument.certificate_due_on,
        },
    )
    return _step(request, form, instrument, words, store, "The certificate is stored.")


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def instrument_tolerance(request: MemberRequest, instrument_id: int) -> HttpResponse:
    instrument = _instrument(request, instrument_id)

    def store(data: dict[str, Any]) -> Instrument:
        return set_tolerance(
            instrument=instrument, check_tolerance_rel=data["tolerance_pct"], by=request.user
        )

    words = {
        "heading": f"Tolerance of instrument {instrument.serial}",
        "button": "Store tolerance",
        "note": "It holds for checks from now on; earlier checks keep the one they had.",
    }
    known = instrument.check_tolerance_rel
    form = ToleranceForm(
        request.POST or None,
        initial={"tolerance_pct": "" if known is None else f"{known * PERCENT:g}"},
    )
    return _step(request, form, instrument, words, store, "The tolerance is stored.")


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ENGINEER)
def instrument_retire(request: MemberRequest, instrument_id: int) -> HttpResponse:
    instrument = _instrument(request, instrument_id)

    def store(data: dict[str, Any]) -> Instrument:
        return retire_instrument(instrument=instrument, by=request.user, **data)

    words = {
        "heading": f"Take instrument {instrument.serial} out of use",
        "button": "Take out of use",
        "note": "It is offered no more when readings are recorded. Its readings and checks "
        "stay, and it can be brought back.",
    }
    form = RetireForm(request.POST or None)
    return _step(request, form, instrument, words, store, "It is out of use.")


@require_POST
@role_required(Role.ENGINEER)
def instrument_bring_back(request: MemberRequest, instrument_id: int) -> HttpResponse:
    instrument = _instrument(request, instrument_id)
    bring_back_instrument(instrument=instrument, by=request.user)
    messages.success(request, f"Instrument {instrument.serial} is back in use.")
    return redirect("instrument-page", instrument.pk)


def instruments_in_use(request: MemberRequest, also: int | None = None) -> QuerySet[Instrument]:
    """Return the instruments to pick from, and one that may be out of use by now."""
    rows: QuerySet[Instrument] = Instrument.objects.owned_by(request.organisation).filter(
        Q(is_retired=False) | Q(pk=also)
    )
    return rows.order_by("serial", "pk")


def instrument_words(instrument: Instrument) -> str:
    """Return an instrument as it is picked: its number, and whether its certificate holds."""
    due = instrument.certificate_due_on
    if due is None:
        return f"{instrument.serial}, certificate not known"
    state = "out of date since" if due < timezone.localdate() else "due"
    return f"{instrument.serial}, certificate {state} {due:%Y-%m-%d}"


def _step(
    request: MemberRequest,
    form: TypedForm,
    instrument: Instrument | None,
    words: dict[str, str],
    store: Callable[[dict[str, Any]], Instrument | InstrumentCheck],
    done: str = "",
    template: str = "inventory/instruments/step.html",
) -> HttpResponse:
    """Answer a page of one form about an instrument."""
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                stored = store(dict(form.cleaned_data))
            except InventoryError as error:
                status = int(form.refuse(error))
            else:
                if isinstance(stored, InstrumentCheck):
                    _tell_of_check(request, stored)
                else:
                    messages.success(request, done)
                key = stored.instrument_id if isinstance(stored, InstrumentCheck) else stored.pk
                return redirect("instrument-page", key)
    context = {"form": form, "instrument": instrument, "words": words}
    return render(request, template, context, status=status)


def _tell_of_check(request: MemberRequest, check: InstrumentCheck) -> None:
    if check.is_within_tolerance:
        messages.success(request, "Check stored: within its tolerance.")
        return
    count = check.flags.count()
    visits = "1 visit" if count == 1 else f"{count} visits"
    messages.warning(
        request,
        f"Check stored: outside its tolerance. Flagged: the readings of {visits}; they are not "
        "judged until an engineer settles them. Do not read on with this instrument before a "
        "good check.",
    )


def _keep_typed(request: MemberRequest, form: TypedForm) -> None:
    keep_refused(
        organisation=request.organisation,
        channel=RefusedEntry.Channel.FORM,
        kind=RefusedEntry.Kind.CHECK,
        payload={
            "page": request.path,
            "typed": {n: request.POST.getlist(n) for n in form.fields if n in request.POST},
        },
        sentence=" ".join(str(each) for errors in form.errors.values() for each in errors),
        by=request.user,
        client_uuid=form.cleaned_data.get("client_uuid"),
    )


def _instrument(request: MemberRequest, instrument_id: int) -> Instrument:
    rows = Instrument.objects.owned_by(request.organisation)
    found: Instrument = get_object_or_404(rows, pk=instrument_id)
    return found
