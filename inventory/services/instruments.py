"""Instruments: the register, their certificates, and their checks against a standard."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.utils import timezone

from inventory.engineering.inspection.instruments import (
    check_tolerance,
    is_within_tolerance,
    relative_difference,
)
from inventory.engineering.inspection.readings import check_taken_at, parse_reading
from inventory.engineering.inspection.usability import check_geometry
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import EarlierCertificate, Instrument, InstrumentCheck
from inventory.services.fields import check_fields
from inventory.services.flags import (
    flag_around,
    flag_out_of_date,
    judge_signs_of,
    lock_instrument,
)
from inventory.services.inspection_input import parse_angle
from inventory.services.logbook import log
from inventory.services.refusals import settle_answered

if TYPE_CHECKING:
    from datetime import date, datetime
    from decimal import Decimal

    from inventory.models import InspectionFlag, Organisation, User


@transaction.atomic
def register_instrument(
    *,
    organisation: Organisation,
    serial: str,
    observation_angle_deg: str | Decimal,
    entrance_angle_deg: str | Decimal,
    receiver: str = "",
    certificate_on: date | None = None,
    certificate_due_on: date | None = None,
    check_tolerance_rel: float | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> Instrument:
    """Put an instrument into the register; what is not known of it stays empty."""
    now = now or timezone.now()
    serial = serial.strip()
    known = Instrument.objects.filter(organisation=organisation, serial__iexact=serial)
    if serial and known.exists():
        msg = (
            f"There is an instrument with the serial number {serial} already; open it in the "
            "list instead."
        )
        raise StateConflictError(msg)
    observation = parse_angle(observation_angle_deg, "observation angle")
    entrance = parse_angle(entrance_angle_deg, "entrance angle")
    check_geometry(observation, entrance)
    if check_tolerance_rel is not None:
        check_tolerance(check_tolerance_rel)
    instrument = Instrument(
        organisation=organisation,
        serial=serial,
        observation_angle_deg=observation,
        entrance_angle_deg=entrance,
        receiver=receiver,
        certificate_on=certificate_on,
        certificate_due_on=certificate_due_on,
        check_tolerance_rel=check_tolerance_rel,
    )
    check_fields(instrument, exclude=["organisation"])
    _check_certificate(organisation, certificate_on, certificate_due_on, now)
    instrument.save()
    log(
        organisation=organisation,
        actor=by,
        verb="register instrument",
        text=f"Instrument {serial} registered.",
        at=now,
        detail={"instrument": instrument.pk},
    )
    return instrument


@transaction.atomic
def set_certificate(
    *,
    instrument: Instrument,
    certificate_on: date,
    certificate_due_on: date,
    by: User | None = None,
    now: datetime | None = None,
) -> Instrument:
    """
    Write down a new certificate, or put the dates of the present one right.

    Readings that the certificates now on record leave out of date are flagged. Flags that were
    raised before stay until a person settles them, also where the new dates cover them.
    """
    now = now or timezone.now()
    locked = lock_instrument(instrument)
    owner = locked.organisation
    _check_certificate(owner, certificate_on, certificate_due_on, now)
    before = (locked.certificate_on, locked.certificate_due_on)
    after = (certificate_on, certificate_due_on)
    if before == after:
        return locked
    if before != (None, None):
        EarlierCertificate.objects.create(
            instrument=locked,
            certificate_on=before[0],
            certificate_due_on=before[1],
            replaced_at=now,
            replaced_by=by,
        )
    locked.certificate_on, locked.certificate_due_on = after
    locked.save(update_fields=["certificate_on", "certificate_due_on"])
    flags = flag_out_of_date(instrument=locked, now=now)
    log(
        organisation=owner,
        actor=by,
        verb="set certificate",
        text=(
            f"Certificate of instrument {locked.serial}: {_dates(*after)}; before, "
            f"{_dates(*before)}.{_flagged(flags)}"
        ),
        at=now,
        detail={
            "instrument": locked.pk,
            "before": [each and each.isoformat() for each in before],
            "after": [each.isoformat() for each in after],
            "flags": [flag.pk for flag in flags],
        },
    )
    judge_signs_of([flag.inspection for flag in flags], owner=owner, by=by, now=now)
    return locked


@transaction.atomic
def set_tolerance(
    *,
    instrument: Instrument,
    check_tolerance_rel: float,
    by: User | None = None,
    now: datetime | None = None,
) -> Instrument:
    """Set by how much later checks may be off; earlier ones keep the tolerance they had."""
    now = now or timezone.now()
    check_tolerance(check_tolerance_rel)
    locked = lock_instrument(instrument)
    before = locked.check_tolerance_rel
    if before == check_tolerance_rel:
        return locked
    locked.check_tolerance_rel = check_tolerance_rel
    locked.save(update_fields=["check_tolerance_rel"])
    was = "not known" if before is None else f"{before * 100:g} %"
    log(
        organisation=locked.organisation,
        actor=by,
        verb="set check tolerance",
        text=(
            f"Tolerance of checks of instrument {locked.serial}: "
            f"{check_tolerance_rel * 100:g} %; before, {was}."
        ),
        at=now,
        detail={"instrument": locked.pk, "before": before, "after": check_tolerance_rel},
    )
    return locked


@transaction.atomic
def retire_instrument(
    *, instrument: Instrument, reason: str, by: User | None = None, now: datetime | None = None
) -> Instrument:
    """Take an instrument out of use: it is offered no more, its readings and checks stay."""
    reason = reason.strip()
    if not reason:
        msg = f"Say why {instrument} is taken out of use."
        raise OutOfRangeError(msg)
    return _set_retired(instrument, True, f"taken out of use. {reason}", by, now)


@transaction.atomic
def bring_back_instrument(
    *, instrument: Instrument, by: User | None = None, now: datetime | None = None
) -> Instrument:
    """Offer an instrument again that was taken out of use."""
    return _set_retired(instrument, False, "back in use.", by, now)


@transaction.atomic
def record_check(
    *,
    instrument: Instrument,
    moment: str,
    reference: str,
    shown: str,
    checked_at: datetime,
    by: User | None = None,
    client_uuid: uuid.UUID | None = None,
    now: datetime | None = None,
) -> InstrumentCheck:
    """
    Store one check against the reference standard; sent twice, it is stored once.

    ``reference`` and ``shown`` are R_A in cd/lx/m² as typed. Outside the tolerance, every
    reading since the last good check, and up to the next one, is flagged and its sign judged
    anew. A check may arrive late: it counts from the moment it was made.
    """
    now = now or timezone.now()
    locked = lock_instrument(instrument)
    owner = locked.organisation
    if locked.check_tolerance_rel is None:
        msg = (
            f"It is not known by how much {locked} may be off in a check, so the check cannot "
            "be judged. Set its tolerance first, from the instrument's instructions."
        )
        raise OutOfRangeError(msg)
    if timezone.is_naive(checked_at):
        msg = (
            f"The time {checked_at:%Y-%m-%d %H:%M} has no time zone; send its offset from UTC."
        )
        raise OutOfRangeError(msg)
    zone = ZoneInfo(owner.time_zone)
    check_taken_at(checked_at.astimezone(zone), now.astimezone(zone), "check")
    reference_ra = _value(reference, "Reference standard")
    shown_ra = _value(shown, "Shown by the instrument")
    check = InstrumentCheck(
        instrument=locked,
        client_uuid=client_uuid or uuid.uuid4(),
        moment=moment,
        tolerance_rel=locked.check_tolerance_rel,
        is_within_tolerance=is_within_tolerance(
            reference_ra, shown_ra, locked.check_tolerance_rel
        ),
        checked_at=checked_at,
        recorded_at=now,
        reference_ra_cd_lx_m2=reference_ra,
        shown_ra_cd_lx_m2=shown_ra,
        checked_by=by,
    )
    known = _known(check)
    if known is not None:
        return known
    check_fields(check, exclude=["instrument", "checked_by"])
    try:
        with transaction.atomic():
            check.save()
    except IntegrityError:
        # A request for another instrument stored the same key in the meantime.
        known = _known(check)
        if known is None:
            raise
        return known
    flags = [] if check.is_within_tolerance else flag_around(check=check, now=now)
    log(
        organisation=owner,
        actor=by,
        verb="check instrument",
        text=_words(check) + _flagged(flags),
        at=now,
        detail={"instrument": locked.pk, "check": check.pk, "flags": [f.pk for f in flags]},
    )
    settle_answered(organisation=owner, stored_by={check.client_uuid: by}, now=now)
    judge_signs_of([flag.inspection for flag in flags], owner=owner, by=by, now=now)
    return check


def _set_retired(
    instrument: Instrument,
    is_retired: bool,
    words: str,
    by: User | None,
    now: datetime | None,
) -> Instrument:
    locked = lock_instrument(instrument)
    if locked.is_retired == is_retired:
        return locked
    locked.is_retired = is_retired
    locked.save(update_fields=["is_retired"])
    log(
        organisation=locked.organisation,
        actor=by,
        verb="retire instrument" if is_retired else "bring instrument back",
        text=f"Instrument {locked.serial} {words}",
        at=now or timezone.now(),
        detail={"instrument": locked.pk},
    )
    return locked


def _known(check: InstrumentCheck) -> InstrumentCheck | None:
    """Return the check already stored under this key; other content is refused."""
    known: InstrumentCheck | None = (
        InstrumentCheck.objects.filter(client_uuid=check.client_uuid)
        .select_related("instrument__organisation")
        .first()
    )
    if known is None:
        return None
    if _content(known) != _content(check):
        when = known.instrument.organisation.clock_words(known.checked_at)
        msg = (
            f"A check with other content was already stored under the key {check.client_uuid} "
            f"({known.instrument}, {when}); it stays as it is. Send this one under a key of "
            "its own."
        )
        raise StateConflictError(msg)
    return known


def _content(check: InstrumentCheck) -> tuple[Any, ...]:
    return (
        check.instrument_id,
        str(check.moment),
        check.checked_at,
        check.reference_ra_cd_lx_m2,
        check.shown_ra_cd_lx_m2,
    )


def _value(typed: str, name: str) -> Decimal:
    try:
        return parse_reading(typed)
    except OutOfRangeError as error:
        msg = f"{name}: {error}"
        raise OutOfRangeError(msg) from error


def _check_certificate(
    owner: Organisation, certificate_on: date | None, due_on: date | None, now: datetime
) -> None:
    if certificate_on is not None and certificate_on > owner.day_of(now):
        msg = (
            f"The certificate is dated {certificate_on:%Y-%m-%d}, which is still to come; type "
            "the day it was given."
        )
        raise OutOfRangeError(msg)
    if certificate_on is not None and due_on is not None and due_on < certificate_on:
        msg = (
            f"The certificate would be due on {due_on:%Y-%m-%d}, before it was given "
            f"({certificate_on:%Y-%m-%d}); check the two dates."
        )
        raise OutOfRangeError(msg)


def _words(check: InstrumentCheck) -> str:
    share = relative_difference(check.reference_ra_cd_lx_m2, check.shown_ra_cd_lx_m2)
    found = "within" if check.is_within_tolerance else "outside"
    return (
        f"Instrument {check.instrument.serial} checked "
        f"{InstrumentCheck.Moment(check.moment).label}: {check.shown_ra_cd_lx_m2} shown on "
        f"{check.reference_ra_cd_lx_m2} cd/lx/m², {float(share) * 100:.2f} % off, {found} its "
        f"tolerance of {check.tolerance_rel * 100:g} %."
    )


def _flagged(flags: list[InspectionFlag]) -> str:
    if not flags:
        return ""
    return f" Readings flagged, to be settled: {len(flags)}."


def _dates(certificate_on: date | None, due_on: date | None) -> str:
    given = "day not known" if certificate_on is None else f"of {certificate_on:%Y-%m-%d}"
    due = "due day not known" if due_on is None else f"due {due_on:%Y-%m-%d}"
    return f"{given}, {due}"
