"""Readings that an instrument puts in doubt: flagged, and settled by a person."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from inventory.engineering.inspection.instruments import (
    CertificateState,
    certificate_state,
)
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    FlagSettlement,
    Inspection,
    InspectionFlag,
    Instrument,
    InstrumentCheck,
    ReadingSet,
    Sign,
)
from inventory.services.assessment import assess_signs
from inventory.services.doubts import (
    as_check,
    certificates_of,
    certificates_of_each,
    check_histories,
    check_history,
)
from inventory.services.logbook import log
from inventory.services.standing import policy_or_none

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from django.db.models import QuerySet

    from inventory.models import Organisation, User

Reason = InspectionFlag.Reason
Outcome = FlagSettlement.Outcome
LONGEST_REASON = FlagSettlement._meta.get_field("reason").max_length or 0


def lock_instrument(instrument: Instrument) -> Instrument:
    """Lock an instrument, so that a check and a reading by it know of each other."""
    return lock_instruments([instrument.pk])[0]


def lock_instruments(instrument_ids: Iterable[int]) -> list[Instrument]:
    """
    Lock instruments in a fixed order, those of the numbers that there are.

    Instruments are locked before signs, everywhere.
    """
    return list(
        Instrument.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .filter(pk__in=set(instrument_ids))
        .order_by("pk")
    )


def flag_inspections(
    *, inspections: Iterable[Inspection], now: datetime
) -> list[InspectionFlag]:
    """Flag new readings that their instruments, locked by the caller, put in doubt."""
    read = [(each, each.instrument) for each in inspections if each.instrument is not None]
    instruments = {instrument.pk: instrument for _, instrument in read}
    certificates = certificates_of_each(instruments.values())
    histories = check_histories(instruments.values())
    flags = []
    for inspection, instrument in read:
        day = inspection.organisation.day_of(inspection.taken_at)
        if certificate_state(certificates[instrument.pk], day) is CertificateState.EXPIRED:
            flags.append(
                InspectionFlag(
                    inspection=inspection, reason=Reason.CERTIFICATE_EXPIRED, raised_at=now
                )
            )
        failed = histories[instrument.pk].failed_around(inspection.taken_at)
        if failed:
            flags.append(
                InspectionFlag(
                    inspection=inspection,
                    reason=Reason.CHECK_FAILED,
                    check_made_id=failed[0].number,
                    raised_at=now,
                )
            )
    return _stored(flags)


def flag_around(*, check: InstrumentCheck, now: datetime) -> list[InspectionFlag]:
    """
    Flag the readings a failed check puts in doubt; the caller locked the instrument.

    Readings that another failed check keeps in doubt already, or that were set aside, get no
    second flag; readings that a person let count before do: the check is new evidence.
    """
    history, this = check_history(check.instrument), as_check(check)
    before, after = history.last_good_before(this), history.first_good_after(this)
    around = _read_by(check.instrument)
    if before is not None:
        around = around.filter(taken_at__gte=before.checked_at)
    if after is not None:
        around = around.filter(taken_at__lte=after.checked_at)
    doubted_already = InspectionFlag.objects.filter(
        Q(settlement__isnull=True) | Q(settlement__outcome=Outcome.SET_ASIDE),
        inspection=OuterRef("pk"),
        reason=Reason.CHECK_FAILED,
    )
    return _stored(
        [
            InspectionFlag(
                inspection=inspection,
                reason=Reason.CHECK_FAILED,
                check_made=check,
                raised_at=now,
            )
            for inspection in around.filter(~Exists(doubted_already)).order_by("pk")
            if this in history.failed_around(inspection.taken_at)
        ]
    )


def flag_out_of_date(*, instrument: Instrument, now: datetime) -> list[InspectionFlag]:
    """Flag earlier readings that an instrument's certificates, as now on record, leave out."""
    flagged = InspectionFlag.objects.filter(
        inspection=OuterRef("pk"), reason=Reason.CERTIFICATE_EXPIRED
    )
    certificates = certificates_of(instrument)
    return _stored(
        [
            InspectionFlag(
                inspection=inspection, reason=Reason.CERTIFICATE_EXPIRED, raised_at=now
            )
            for inspection in _read_by(instrument).filter(~Exists(flagged)).order_by("pk")
            if certificate_state(
                certificates, instrument.organisation.day_of(inspection.taken_at)
            )
            is CertificateState.EXPIRED
        ]
    )


@transaction.atomic
def settle_flags(
    *,
    flags: Iterable[InspectionFlag],
    outcome: str,
    reason: str,
    by: User | None,
    now: datetime | None = None,
) -> list[FlagSettlement]:
    """
    Record what a person decided about flagged readings, many in one go, and judge anew.

    All of them are settled or none: one that somebody else settled meanwhile is told.
    """
    now = now or timezone.now()
    reason = reason.strip()
    _check_settlement(outcome, reason)
    locked = list(
        InspectionFlag.objects.select_for_update(of=("self",))
        .filter(pk__in=[flag.pk for flag in flags])
        .select_related("inspection__organisation")
        .order_by("pk")
    )
    if not locked:
        msg = "No reading is ticked; tick those that you want to settle."
        raise OutOfRangeError(msg)
    owners = {flag.inspection.organisation for flag in locked}
    if len(owners) > 1:
        msg = "The readings belong to several agencies; settle those of one agency at a time."
        raise StateConflictError(msg)
    owner = owners.pop()
    # Asked only now: a settlement joined to the locked rows could be from before the lock.
    settled = list(FlagSettlement.objects.filter(flag__in=locked).order_by("settled_at", "pk"))
    if settled:
        when = owner.clock_words(settled[0].settled_at)
        msg = (
            f"{len(settled)} of the {len(locked)} ticked readings were settled meanwhile (the "
            f"first at {when}); nothing was changed. Load the page again and settle the rest."
        )
        raise StateConflictError(msg)
    made: list[FlagSettlement] = FlagSettlement.objects.bulk_create(
        FlagSettlement(flag=flag, outcome=outcome, reason=reason, settled_at=now, settled_by=by)
        for flag in locked
    )
    log(
        organisation=owner,
        actor=by,
        verb="settle readings",
        text=f"{_visits(len(locked))} settled: {Outcome(outcome).label}. {reason}",
        at=now,
        detail={"flags": [flag.pk for flag in locked]},
    )
    judge_signs_of([flag.inspection for flag in locked], owner=owner, by=by, now=now)
    return made


def judge_signs_of(
    inspections: Iterable[Inspection], *, owner: Organisation, by: User | None, now: datetime
) -> None:
    """Judge anew the signs that inspections are of, those the agency still has."""
    sign_ids = {inspection.sign_id for inspection in inspections}
    if sign_ids and policy_or_none(owner, now) is not None:
        signs = Sign.objects.owned_by(owner).filter(pk__in=sign_ids)
        assess_signs(organisation=owner, signs=signs, by=by, now=now)


def _read_by(instrument: Instrument) -> QuerySet[Inspection]:
    """Return the inspections of which an instrument's readings may be judged."""
    read = ReadingSet.objects.filter(inspection=OuterRef("pk"))
    rows: QuerySet[Inspection] = Inspection.objects.filter(
        Exists(read), instrument=instrument, corrections__isnull=True
    )
    return rows


def _stored(flags: Sequence[InspectionFlag]) -> list[InspectionFlag]:
    made: list[InspectionFlag] = InspectionFlag.objects.bulk_create(flags)
    return made


def _check_settlement(outcome: str, reason: str) -> None:
    if outcome not in Outcome.values:
        allowed = ", ".join(Outcome.values)
        msg = f"'{outcome}' does not settle a reading; use one of {allowed}."
        raise OutOfRangeError(msg)
    if not reason:
        msg = (
            "Say why the readings count or do not; an auditor reads the reason beside the "
            "verdict."
        )
        raise OutOfRangeError(msg)
    if len(reason) > LONGEST_REASON:
        msg = (
            f"The reason has {len(reason)} characters; at most {LONGEST_REASON} are kept. "
            "Shorten it."
        )
        raise OutOfRangeError(msg)


def _visits(count: int) -> str:
    return "The readings of one visit" if count == 1 else f"The readings of {count} visits"
