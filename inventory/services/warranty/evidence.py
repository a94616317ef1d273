"""What a claim rests on, for one colour of one face, frozen when the claim is drafted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.engineering.inspection.readings import decimal_words
from inventory.engineering.inspection.usability import geometry_words
from inventory.models import ColourArea, Inspection, Photo
from inventory.services.production.after_press import NOT_KNOWN
from inventory.services.production.records import production_record

if TYPE_CHECKING:
    from inventory.models import Organisation
    from inventory.services.warranty.candidates import Candidate

MOST_PHOTOS = 4


def evidence_of(candidate: Candidate, agency: Organisation) -> dict[str, Any]:
    """
    Return what a claim says of one colour of a face, in plain words and figures.

    The instrument and its certificate are written out, since the shop cannot read the
    agency's instruments; photos are named by their SHA-256.
    """
    sign, reading, short = candidate.sign, candidate.reading, candidate.shortfall
    promise = short.promise
    visit = Inspection.objects.select_related("instrument", "inspector").get(pk=reading.visit)
    photos = (
        Photo.objects.filter(sign=sign)
        .order_by("-recorded_at", "-pk")
        .values_list("pk", "sha256")
    )
    started = candidate.started
    began = f"{started.first:%Y-%m-%d}"
    if started.first != started.last:
        began += f" to {started.last:%Y-%m-%d}, not known closer"
    mean = decimal_words(short.mean_ra)
    rows = [
        ("sign", _named(candidate)),
        ("place", _place(candidate)),
        ("colour", candidate.color.replace("-", " ")),
        ("sheeting", f"Type {candidate.area.sheeting_type}, {_colouring(candidate)}"),
        ("term", str(candidate.term)),
        ("runs from", f"{candidate.term.get_starts_display()}: {began}"),
        ("initial value", f"{candidate.initial_ra.normalize():f} cd/lx/m²"),
        ("kept until year", f"{promise.step.until_years}: {promise.step.share_words}"),
        ("promised", f"{promise.promised_ra.normalize():f} cd/lx/m²"),
        ("read", f"{mean} cd/lx/m², mean of {len(reading.values)}"),
        ("uncertainty", f"± {short.uncertainty_ra:.1f} cd/lx/m² (95 %)"),
        ("readings", ", ".join(f"{value:f}" for value in reading.values)),
        (
            "geometry",
            geometry_words(reading.observation_angle_deg, reading.entrance_angle_deg),
        ),
        ("read at", agency.clock_words(reading.taken_at)),
        ("read by", str(visit.inspector) if visit.inspector else NOT_KNOWN),
        ("state of the face", reading.surface_state.value or "not recorded"),
        *_instrument(visit),
        ("remedy", promise.step.remedy),
    ]
    return {
        "rows": [list(row) for row in rows],
        "production": [list(row) for row in production_record(sign).rows],
        "conditions": [
            {"key": each.key, "words": each.words, "shown": each.shown.value, "why": each.why}
            for each in candidate.conditions
        ],
        "figures": {
            "mean_ra_cd_lx_m2": mean,
            "uncertainty_cd_lx_m2": round(short.uncertainty_ra, 3),
            "promised_ra_cd_lx_m2": f"{promise.promised_ra.normalize():f}",
            "initial_ra_cd_lx_m2": f"{candidate.initial_ra.normalize():f}",
            "retained_share": f"{promise.step.retained_share.normalize():f}",
            "until_years": promise.step.until_years,
            "read_on": f"{agency.day_of(reading.taken_at):%Y-%m-%d}",
            "is_clear": short.is_clear,
        },
        "photos": [[each.pk, each.sha256] for each in photos[:MOST_PHOTOS]],
    }


def _colouring(candidate: Candidate) -> str:
    return str(ColourArea.Colouring(candidate.area.colouring.value).label)


def _named(candidate: Candidate) -> str:
    sign = candidate.sign
    size = (
        f", {sign.width_in:g} × {sign.height_in:g} in"
        if sign.width_in and sign.height_in
        else ""
    )
    label = f", label {sign.label_id}" if sign.label_id else ""
    return f"{sign.sign_code}{sign.variant}{size}{label}, no. {sign.pk}"


def _place(candidate: Candidate) -> str:
    position = candidate.sign.position
    if position is None:
        return NOT_KNOWN
    support = position.support
    return f"{support.latitude_deg:.6f}, {support.longitude_deg:.6f}"


def _instrument(visit: Inspection) -> list[tuple[str, str]]:
    known = visit.instrument
    if known is None:
        return [("instrument", NOT_KNOWN)]
    due = known.certificate_due_on
    certificate = f"in date until {due:%Y-%m-%d}" if due else NOT_KNOWN
    if known.certificate_on and due:
        certificate = f"of {known.certificate_on:%Y-%m-%d}, {certificate}"
    check = (
        known.checks.filter(checked_at__lte=visit.taken_at)
        .order_by("-checked_at", "-pk")
        .first()
    )
    words = NOT_KNOWN
    if check is not None:
        outcome = "within" if check.is_within_tolerance else "outside"
        wanted, shown = check.reference_ra_cd_lx_m2, check.shown_ra_cd_lx_m2
        words = (
            f"{check.checked_at:%Y-%m-%d}: reference {wanted.normalize():f}, shown "
            f"{shown.normalize():f} cd/lx/m², {outcome} its tolerance"
        )
    return [
        ("instrument", known.serial),
        ("certificate as now", certificate),
        ("last check before", words),
    ]
