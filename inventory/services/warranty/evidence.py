"""What a claim rests on, for one colour of one face, frozen when the claim is drafted."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any, NamedTuple

from inventory.engineering.inspection.instruments import certificate_on
from inventory.engineering.inspection.readings import decimal_words
from inventory.engineering.inspection.usability import geometry_words
from inventory.models import ColourArea, Inspection, InstrumentCheck, Photo
from inventory.services.production.after_press import NOT_KNOWN
from inventory.services.production.records import production_record
from inventory.services.production.what_was_on import logged_events
from inventory.services.warranty.candidates import certificates_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import date

    from inventory.engineering.production.press_log import LoggedEvent
    from inventory.models import Organisation
    from inventory.services.warranty.candidates import Candidate

MOST_PHOTOS = 4


class _Gathered(NamedTuple):
    """What several candidates rest on: visits, photos by sign, checks and certificates."""

    visits: Mapping[int, Inspection]
    photos: Mapping[int, list[Photo]]
    checks: Mapping[int, list[InstrumentCheck]]
    certificates: Mapping[int, list[tuple[date | None, date | None]]]
    made: Mapping[int, list[tuple[str, str]]]


def evidence_of(
    candidates: Sequence[Candidate], agency: Organisation
) -> Iterator[dict[str, Any]]:
    """
    Return for each candidate what a claim says of it, in plain words and figures.

    The instrument and its certificate are written out, since the shop cannot read the
    agency's instruments; photos are named by their SHA-256. Look-ups go by the signs, for
    their production records alone; press logs are read once.
    """
    gathered = _gather(candidates, agency)
    for each in candidates:
        yield _evidence(each, agency, gathered)


def _gather(candidates: Sequence[Candidate], agency: Organisation) -> _Gathered:
    signs = {each.sign.pk: each.sign for each in candidates}
    visits = Inspection.objects.select_related("instrument", "inspector").in_bulk(
        {each.reading.visit for each in candidates}
    )
    photos: dict[int, list[Photo]] = defaultdict(list)
    for photo in Photo.objects.filter(sign__in=signs).order_by("-recorded_at", "-pk"):
        photos[photo.sign_id].append(photo)
    checks: dict[int, list[InstrumentCheck]] = defaultdict(list)
    instruments = {visit.instrument_id for visit in visits.values()} - {None}
    for check in InstrumentCheck.objects.filter(instrument__in=instruments).order_by(
        "checked_at", "pk"
    ):
        checks[check.instrument_id].append(check)
    logs: dict[int, list[LoggedEvent]] = {}
    made: dict[int, list[tuple[str, str]]] = {}
    for sign in signs.values():
        log = None
        if sign.print_run is not None:
            press = sign.print_run.press
            log = logs[press.pk] = logs.get(press.pk) or logged_events(press)
        made[sign.pk] = production_record(sign, log).rows
    return _Gathered(visits, photos, checks, certificates_of(agency), made)


def _evidence(
    candidate: Candidate, agency: Organisation, gathered: _Gathered
) -> dict[str, Any]:
    sign, reading, short = candidate.sign, candidate.reading, candidate.shortfall
    promise = short.promise
    visit = gathered.visits[reading.visit]
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
        *_instrument(visit, agency, gathered),
        ("remedy", promise.step.remedy),
    ]
    return {
        "rows": [list(row) for row in rows],
        "production": [list(row) for row in gathered.made[sign.pk]],
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
        "photos": [[each.pk, each.sha256] for each in gathered.photos[sign.pk][:MOST_PHOTOS]],
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


def _instrument(
    visit: Inspection, agency: Organisation, gathered: _Gathered
) -> list[tuple[str, str]]:
    """Return the instrument, its certificate on the day of the visit, and its last check."""
    known = visit.instrument
    if known is None:
        return [("instrument", NOT_KNOWN)]
    held = certificate_on(
        gathered.certificates.get(known.pk, []), agency.day_of(visit.taken_at)
    )
    certificate = NOT_KNOWN
    if held is not None:
        start, due = held
        certificate = f"of {start:%Y-%m-%d}, " if start else ""
        certificate += f"in date until {due:%Y-%m-%d}"
    before = [each for each in gathered.checks[known.pk] if each.checked_at <= visit.taken_at]
    words = NOT_KNOWN
    if before:
        check = before[-1]
        outcome = "within" if check.is_within_tolerance else "outside"
        wanted, shown = check.reference_ra_cd_lx_m2, check.shown_ra_cd_lx_m2
        words = (
            f"{agency.day_of(check.checked_at):%Y-%m-%d}: reference {wanted.normalize():f}, "
            f"shown {shown.normalize():f} cd/lx/m², {outcome} its tolerance"
        )
    return [
        ("instrument", known.serial),
        ("certificate on the day", certificate),
        ("last check before", words),
    ]
