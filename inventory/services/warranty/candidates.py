"""Which standing faces read less than was promised of them, while the promise holds."""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple
from zlib import crc32
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q

from inventory.engineering.assessment.face import Colouring
from inventory.engineering.forecast.cohorts import Overlay
from inventory.engineering.forecast.observations import UNKNOWN
from inventory.engineering.inspection.condition import find_condition
from inventory.engineering.inspection.instrument_uncertainty import ASSUMED_UNCERTAINTY
from inventory.engineering.inspection.instruments import CertificateState, certificate_state
from inventory.engineering.inspection.readings import decimal_words
from inventory.engineering.inspection.uncertainty import reduce_color
from inventory.engineering.inspection.vocabulary import How, Severity, SurfaceState
from inventory.engineering.production.warranty import (
    Condition,
    Days,
    Promise,
    Shortfall,
    Shown,
    promise_on,
    shortfall_of,
    stored_long,
)
from inventory.models import (
    EarlierCertificate,
    ElementAssessment,
    Instrument,
    Observation,
    SheetingRoll,
    ShipmentFace,
    Sign,
    WarrantyTerm,
)
from inventory.services.forecast.press_lots import NOT_PRINTED_HERE, PressLots, press_lots
from inventory.services.judging import Gathered, gather
from inventory.services.rules import rules_of
from inventory.services.seen import observed_on
from inventory.services.standards import code_book
from inventory.services.standing import policy_or_none
from inventory.services.warranty.terms import steps_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from datetime import datetime

    from inventory.engineering.assessment.face import FaceArea, ReadingSet
    from inventory.engineering.inspection.condition import Observed
    from inventory.engineering.inspection.instrument_uncertainty import InstrumentUncertainty
    from inventory.models import Organisation, ScopedQuerySet

SIGNS_AT_ONCE = 500
# What is seen on a face that no supplier stands for; fading and film coming off are not here.
DAMAGE = frozenset(
    {
        Observation.Kind.DAMAGED.value,
        Observation.Kind.BENT.value,
        Observation.Kind.VANDALISED.value,
        Observation.Kind.MISSING.value,
        Observation.Kind.KNOCKED_DOWN.value,
    }
)
LEAN = frozenset({Observation.Kind.LEANING.value})
CLEAN = (SurfaceState.DRY, SurfaceState.CLEANED)
MONTHS_OF_A_YEAR = 12


@dataclass(frozen=True, slots=True)
class Candidate:
    """One colour of a face that reads less than was promised; ``lot`` is empty if not known."""

    sign: Sign
    area: FaceArea
    term: WarrantyTerm
    initial_ra: Decimal
    lot: str
    started: Days
    reading: ReadingSet
    shortfall: Shortfall
    conditions: tuple[Condition, ...]

    @property
    def color(self) -> str:
        """Return the colour by its name."""
        return "" if self.area.color is None else self.area.color.value

    @property
    def mean_words(self) -> str:
        """Return the mean of the readings in figures."""
        return decimal_words(self.shortfall.mean_ra, 1)

    @property
    def failed(self) -> tuple[Condition, ...]:
        """Return the conditions that are shown not to be met; a claim would fail on them."""
        return tuple(each for each in self.conditions if each.shown is Shown.FAILED)

    @property
    def open_ones(self) -> tuple[Condition, ...]:
        """Return the conditions that the records do not show."""
        return tuple(each for each in self.conditions if each.shown is Shown.UNKNOWN)


@dataclass(slots=True)
class Found:
    """Candidates by sign and colour; what could not be looked at is counted with its reason."""

    candidates: list[Candidate]
    looked_at: int = 0
    no_start: int = 0


def find_candidates(
    agency: Organisation, *, now: datetime, signs: Iterable[int] | None = None
) -> Found:
    """
    Return the standing faces of an agency that fall short of a promise still in force.

    The newest readings that can be judged decide, by hand-held instrument; they must have been
    taken inside the term. ``signs`` narrows to some. Queries do not grow with the faces but
    for one round of look-ups for each 500 of them.
    """
    found = Found([])
    terms = _terms_for(agency)
    if not terms:
        return found
    keys = list(_under_any_promise(agency, terms, signs).values_list("pk", flat=True))
    found.looked_at = len(keys)
    if not keys:
        return found
    policy = policy_or_none(agency, now)
    world = _World(
        agency=agency,
        terms=terms,
        lots=press_lots(agency),
        received=_received_on({term.organisation_id for term in terms}),
        uncertainty=ASSUMED_UNCERTAINTY if policy is None else rules_of(policy).uncertainty,
        certificates=certificates_of(agency),
    )
    book = code_book(agency)
    zone = ZoneInfo(agency.time_zone)
    for start in range(0, len(keys), SIGNS_AT_ONCE):
        some = list(
            Sign.objects.filter(pk__in=keys[start : start + SIGNS_AT_ONCE])
            .select_related(
                "position__support", "maker", "panel", "print_run__press__organisation"
            )
            .order_by("pk")
        )
        seen = observed_on([sign.pk for sign in some])
        shipped = _shipped_on(some)
        for each in gather(some, book, zone):
            seen_here = seen.get(each.sign.pk, [])
            found.candidates += world.of_sign(each, seen_here, shipped, found)
    return found


def _terms_for(agency: Organisation) -> list[WarrantyTerm]:
    """Return the terms of the shops that print for an agency, newest version first."""
    return list(
        WarrantyTerm.objects.filter(organisation__customers__agency=agency)
        .prefetch_related("steps", "initials")
        .order_by("organisation", "name", "-version")
    )


def _under_any_promise(
    agency: Organisation, terms: Sequence[WarrantyTerm], signs: Iterable[int] | None
) -> ScopedQuerySet:
    """Return the faces with a colour judged to read less than the most promised of it."""
    highest: dict[str, Decimal] = {}
    for term in terms:
        share = steps_of(term)[0].retained_share
        for initial in term.initials.all():
            promised = initial.ra_cd_lx_m2 * share
            highest[initial.color] = max(highest.get(initial.color, promised), promised)
    under = Q()
    for color, promised in sorted(highest.items()):
        under |= Q(color=color, value__lt=promised)
    elements = ElementAssessment.objects.filter(
        under,
        assessment=OuterRef("standing__assessment"),
        kind=ElementAssessment.Kind.COLOR,
    )
    rows = Sign.objects.owned_by(agency).filter(
        Exists(elements),
        state=Sign.State.INSTALLED,
        maker__in={term.organisation_id for term in terms},
    )
    if signs is not None:
        rows = rows.filter(pk__in=list(signs))
    chosen: ScopedQuerySet = rows.order_by("pk")
    return chosen


def _received_on(shops: set[int]) -> dict[tuple[int, str], date | None]:
    """Return when each lot came in, by its oldest roll; ``None`` if one has no day."""
    found: dict[tuple[int, str], date | None] = {}
    rows = SheetingRoll.objects.filter(organisation__in=shops).order_by("pk")
    for shop, lot, received_on in rows.values_list("organisation_id", "lot", "received_on"):
        before = found.get((shop, lot), received_on)
        known = before is not None and received_on is not None
        found[shop, lot] = min(before, received_on) if known else None
    return found


def _shipped_on(signs: Sequence[Sign]) -> dict[int, date]:
    rows = ShipmentFace.objects.filter(sign__in=signs).select_related("shipment__order__shop")
    return {
        row.sign_id: row.shipment.order.shop.day_of(row.shipment.shipped_at) for row in rows
    }


def certificates_of(
    agency: Organisation,
) -> dict[int, list[tuple[date | None, date | None]]]:
    """Return the certificates of each instrument of an agency, the newest statement last."""
    found: dict[int, list[tuple[date | None, date | None]]] = {}
    earlier = EarlierCertificate.objects.filter(instrument__organisation=agency)
    for key, start, due in earlier.order_by("replaced_at", "pk").values_list(
        "instrument_id", "certificate_on", "certificate_due_on"
    ):
        found.setdefault(key, []).append((start, due))
    for key, start, due in (
        Instrument.objects.owned_by(agency)
        .order_by("pk")
        .values_list("pk", "certificate_on", "certificate_due_on")
    ):
        found.setdefault(key, []).append((start, due))
    return found


class _May(NamedTuple):
    """A term that may hold for a colour of a face, and what of that is known."""

    term: WarrantyTerm
    initial_ra: Decimal
    is_overlay_known: bool
    is_version_known: bool


class _Held(NamedTuple):
    """A term that may hold, when it began, and what it promises on the day of a reading."""

    may: _May
    started: Days
    promise: Promise


@dataclass(frozen=True)
class _World:
    """What is asked of every face alike."""

    agency: Organisation
    terms: Sequence[WarrantyTerm]
    lots: PressLots
    received: Mapping[tuple[int, str], date | None]
    uncertainty: InstrumentUncertainty
    certificates: Mapping[int, list[tuple[date | None, date | None]]]

    def of_sign(
        self,
        gathered: Gathered,
        seen: Sequence[Observed],
        shipped: Mapping[int, date],
        found: Found,
    ) -> Iterator[Candidate]:
        """Return the colours of a face that fall short, each by the least promise."""
        sign = gathered.sign
        run = self.lots.of_run.get(sign.print_run_id or 0, NOT_PRINTED_HERE)
        lot = "" if run.sheeting == UNKNOWN else self.lots.sheeting.names[run.sheeting]
        lacks_start = says_something = False
        for area in gathered.face.areas:
            reading = _newest(gathered.readings, area)
            if reading is None:
                continue
            held: list[_Held] = []
            for may in self._terms_of(sign, area, run.overlay):
                started = _started(may.term, sign, shipped)
                if started is None:
                    lacks_start = True
                    continue
                day = reading.taken_at.date()
                promise = promise_on(steps_of(may.term), may.initial_ra, started, day)
                if promise is not None:
                    held.append(_Held(may, started, promise))
            if not held:
                continue
            least = min(held, key=lambda one: one.promise.promised_ra)
            result = reduce_color(reading.values, self.uncertainty)
            shortfall = shortfall_of(
                result.mean, result.expanded_uncertainty_cd_lx_m2, least.promise
            )
            if shortfall is not None:
                says_something = True
                may, started = least.may, least.started
                each = Candidate(
                    *(
                        sign,
                        area,
                        may.term,
                        may.initial_ra,
                        lot,
                        started,
                        reading,
                        shortfall,
                        (),
                    )
                )
                yield replace(each, conditions=self._conditions(each, seen, may))
        found.no_start += lacks_start and not says_something

    def _terms_of(self, sign: Sign, area: FaceArea, overlay: Overlay) -> Iterator[_May]:
        """Return the terms that may hold for a colour, with each version that may."""
        made = _span(sign.fabricated_on, sign.fabricated_precision)
        if area.color is None or area.colouring is Colouring.UNKNOWN or made is None:
            return
        newer: set[str] = set()  # names of which a newer version may hold
        settled: set[str] = set()  # names of which a version holds for certain, if none newer
        for term in self.terms:  # newest version of a name first
            if term.organisation_id != sign.maker_id or term.name in settled:
                continue
            if term.made_from_on > made.last:
                continue
            is_certain = term.made_from_on <= made.first
            is_version_known = is_certain and term.name not in newer
            newer.add(term.name)
            if is_certain:
                settled.add(term.name)
            if (term.sheeting_type, term.colouring) != (area.sheeting_type, area.colouring):
                continue
            with_film = {Overlay.FILM: "with", Overlay.NONE: "without"}.get(overlay, "")
            if term.overlay != WarrantyTerm.Overlay.ANY and with_film not in ("", term.overlay):
                continue
            is_overlay_known = term.overlay == WarrantyTerm.Overlay.ANY or bool(with_film)
            for initial in term.initials.all():
                if initial.color == area.color.value:
                    yield _May(term, initial.ra_cd_lx_m2, is_overlay_known, is_version_known)

    def _conditions(
        self, each: Candidate, seen: Sequence[Observed], may: _May
    ) -> tuple[Condition, ...]:
        term, reading = each.term, each.reading
        day_of = self.agency.day_of
        conditions = [
            _inside(each),
            _read_clean(reading),
            self._certified(reading),
            _sound(seen, day_of),
        ]
        if term.must_be_upright:
            conditions.append(_upright(seen, day_of))
        if term.storage_months is not None:
            conditions.append(self._stored(each, term.storage_months))
        if not may.is_version_known:
            conditions.append(
                Condition(
                    "version",
                    "made while this version of the term held",
                    Shown.UNKNOWN,
                    "the day it was made is not known well enough to tell versions apart",
                )
            )
        if not may.is_overlay_known:
            conditions.append(
                Condition(
                    f"overlay {term.overlay}",
                    f"made {term.get_overlay_display()}",
                    Shown.UNKNOWN,
                    "the press log does not show whether it has an overlay",
                )
            )
        if term.matched_components:
            conditions.append(
                Condition(
                    f"parts {crc32(term.matched_components.encode()):08x}",
                    f"ink and overlay: {term.matched_components}",
                    Shown.UNKNOWN,
                    "their lots are in the production record; the shop states whether they are",
                )
            )
        return tuple(conditions)

    def _certified(self, reading: ReadingSet) -> Condition:
        words = "read with an instrument whose certificate was in date"
        known = self.certificates.get(reading.instrument or 0, [])
        state = certificate_state(known, reading.taken_at.date())
        shown, why = {
            CertificateState.VALID: (Shown.MET, "in date on the day"),
            CertificateState.EXPIRED: (Shown.FAILED, "out of date on the day"),
            CertificateState.UNKNOWN: (Shown.UNKNOWN, "no certificate on record for the day"),
        }[state]
        return Condition("certificate", words, shown, why)

    def _stored(self, each: Candidate, months: int) -> Condition:
        key = f"storage {months}"
        words = f"made within {months} months of the receipt of its sheeting"
        made = _span(each.sign.fabricated_on, each.sign.fabricated_precision)
        received = self.received.get((each.sign.maker_id or 0, each.lot)) if each.lot else None
        if made is None or received is None:
            why = "the receipt of its lot is not known"
            return Condition(key, words, Shown.UNKNOWN, why)
        why = f"lot {each.lot} received {received:%Y-%m-%d}"
        return Condition(key, words, stored_long(received, made, months), why)


def _newest(readings: Sequence[ReadingSet], area: FaceArea) -> ReadingSet | None:
    usable = [
        each
        for each in readings
        if each.color is area.color and each.how is How.HAND_HELD and not each.reason_not_judged
    ]
    return max(usable, key=lambda each: (each.taken_at, each.visit), default=None)


def _started(term: WarrantyTerm, sign: Sign, shipped: Mapping[int, date]) -> Days | None:
    if term.starts == WarrantyTerm.Start.FABRICATED:
        return _span(sign.fabricated_on, sign.fabricated_precision)
    if term.starts == WarrantyTerm.Start.INSTALLED:
        return _span(sign.installed_on, sign.installed_precision)
    day = shipped.get(sign.pk)
    return None if day is None else Days(day, day)


def _span(day: date | None, precision: str) -> Days | None:
    """Return the days that a date of reduced precision may be."""
    if day is None:
        return None
    if precision == "year":
        return Days(date(day.year, 1, 1), date(day.year, MONTHS_OF_A_YEAR, 31))
    if precision == "month":
        return Days(day.replace(day=1), day.replace(day=monthrange(day.year, day.month)[1]))
    return Days(day, day)


def _inside(each: Candidate) -> Condition:
    words = f"read inside the term, which runs from {each.term.get_starts_display()}"
    first, last = each.started.first, each.started.last
    if each.shortfall.promise.is_certain:
        since = f"{first:%Y-%m-%d}" if first == last else f"{first:%Y-%m-%d} at the earliest"
        return Condition("inside", words, Shown.MET, f"since {since}")
    why = f"it began between {first:%Y-%m-%d} and {last:%Y-%m-%d}; the day decides"
    return Condition("inside", words, Shown.UNKNOWN, why)


def _read_clean(reading: ReadingSet) -> Condition:
    words = "read dry, clean or cleaned"
    if reading.surface_state in CLEAN:
        return Condition("clean", words, Shown.MET, reading.surface_state.value)
    if reading.surface_state is SurfaceState.UNKNOWN:
        return Condition(
            "clean", words, Shown.UNKNOWN, "the state of the face was not recorded"
        )
    return Condition("clean", words, Shown.FAILED, reading.surface_state.value)


def _sound(seen: Sequence[Observed], day_of: Callable[[datetime], date]) -> Condition:
    words = "not damaged"
    worst = _standing_of(seen, DAMAGE)
    if not seen:
        return Condition("sound", words, Shown.UNKNOWN, "nobody has looked at it")
    if worst is None:
        newest = day_of(max(each.taken_at for each in seen))
        return Condition("sound", words, Shown.MET, f"none on record up to {newest:%Y-%m-%d}")
    return Condition("sound", words, Shown.FAILED, _seen_words(worst, day_of))


def _upright(seen: Sequence[Observed], day_of: Callable[[datetime], date]) -> Condition:
    words = "stands upright"
    lean = _standing_of(seen, LEAN)
    if lean is not None:
        return Condition(
            "upright", words, Shown.FAILED, f"{lean.words} {lean.taken_at:%Y-%m-%d}"
        )
    return Condition("upright", words, Shown.UNKNOWN, "no lean was noted; state it")


def _seen_words(each: Observed, day_of: Callable[[datetime], date]) -> str:
    return f"{each.words}, seen {day_of(each.taken_at):%Y-%m-%d}"


def _standing_of(seen: Sequence[Observed], kinds: frozenset[str]) -> Observed | None:
    """Return the worst of some kinds that still stands."""
    standing = [
        each
        for each in find_condition(seen).standing
        if each.kind in kinds and each.severity is not Severity.NONE
    ]
    return max(standing, key=lambda each: (each.severity, each.taken_at), default=None)
