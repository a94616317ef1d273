"""What is held against stored readings: open flags, and those a person set aside."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Max, Min

from inventory.engineering.inspection.instruments import (
    CertificateState,
    Check,
    CheckHistory,
    certificate_doubt,
    certificate_state,
    check_doubt,
    set_aside_words,
)
from inventory.models import (
    EarlierCertificate,
    FlagSettlement,
    InspectionFlag,
    InstrumentCheck,
)
from inventory.services.relinks import counts_for

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import date
    from zoneinfo import ZoneInfo

    from django.db.models import QuerySet

    from inventory.models import Inspection, Instrument, Organisation


@dataclass(frozen=True, slots=True)
class FlagGroup:
    """Open flags that one failed check, or one instrument's certificate, gave rise to."""

    key: str
    instrument_serial: str
    check: InstrumentCheck | None
    count: int
    first_taken_at: Any
    last_taken_at: Any


def doubts_of(
    sign_ids: Sequence[int], zone: ZoneInfo, relinked: dict[int, int]
) -> dict[int, str]:
    """
    Return why inspections that count for these signs are not judged, in one query.

    ``relinked`` are those that count for them through a merge; see ``relinks.relinked_to``.
    """
    rows = (
        InspectionFlag.objects.filter(counts_for(sign_ids, relinked, "inspection__"))
        .order_by("raised_at", "pk")
        .values_list(
            "inspection_id",
            "reason",
            "check_made__checked_at",
            "settlement__outcome",
            "settlement__reason",
            "settlement__settled_at",
        )
    )
    aside: dict[int, str] = {}
    still_open: dict[int, dict[str, None]] = defaultdict(dict)
    for inspection_id, reason, checked_at, outcome, why, settled_at in rows:
        if outcome == FlagSettlement.Outcome.SET_ASIDE:
            settled_on = settled_at.astimezone(zone).date()
            aside[inspection_id] = set_aside_words(settled_on, why)
        elif outcome is None and reason == InspectionFlag.Reason.CHECK_FAILED:
            still_open[inspection_id][check_doubt(checked_at.astimezone(zone))] = None
        elif outcome is None:
            still_open[inspection_id][certificate_doubt()] = None
    return {key: " and ".join(words) for key, words in still_open.items()} | aside


def open_flags(organisation: Organisation) -> QuerySet[InspectionFlag]:
    """Return what waits to be settled; readings that were put right since do not."""
    rows: QuerySet[InspectionFlag] = InspectionFlag.objects.owned_by(organisation).filter(
        settlement__isnull=True, inspection__corrections__isnull=True
    )
    return rows


def flags_of_group(organisation: Organisation, key: str) -> QuerySet[InspectionFlag]:
    """Return the open flags of one group, oldest reading first; none for an unknown key."""
    kind, _, number = key.partition("-")
    rows = open_flags(organisation)
    if not (number.isascii() and number.isdecimal()) or kind not in ("check", "certificate"):
        return rows.none()
    if kind == "check":
        rows = rows.filter(check_made=int(number))
    else:
        rows = rows.filter(
            reason=InspectionFlag.Reason.CERTIFICATE_EXPIRED,
            inspection__instrument=int(number),
        )
    return rows.order_by("inspection__taken_at", "pk")


def flag_groups(
    organisation: Organisation, instrument: Instrument | None = None
) -> list[FlagGroup]:
    """Return the open flags by what gave rise to them, the newest failed check first."""
    rows = open_flags(organisation)
    if instrument is not None:
        rows = rows.filter(inspection__instrument=instrument)
    found: list[tuple[Any, ...]] = list(
        rows.order_by()
        .values("reason", "check_made", "inspection__instrument")
        .annotate(
            count=Count("pk"),
            first=Min("inspection__taken_at"),
            last=Max("inspection__taken_at"),
        )
        .values_list(
            "check_made",
            "inspection__instrument",
            "inspection__instrument__serial",
            "count",
            "first",
            "last",
        )
        .order_by("-last", "check_made", "inspection__instrument")
    )
    checks = InstrumentCheck.objects.select_related("instrument").in_bulk(
        [check for check, *_rest in found if check is not None]
    )
    return [
        FlagGroup(
            key=f"certificate-{instrument_id}" if check is None else f"check-{check}",
            instrument_serial=serial,
            check=None if check is None else checks[check],
            count=count,
            first_taken_at=first,
            last_taken_at=last,
        )
        for check, instrument_id, serial, count, first, last in found
    ]


def check_history(instrument: Instrument) -> CheckHistory:
    """Return every check of an instrument as the method takes them."""
    return check_histories([instrument])[instrument.pk]


def check_histories(instruments: Collection[Instrument]) -> dict[int, CheckHistory]:
    """Return every check of several instruments as the method takes them, in one query."""
    checks: dict[int, list[Check]] = {each.pk: [] for each in instruments}
    if checks:
        for row in InstrumentCheck.objects.filter(instrument__in=list(checks)).order_by("pk"):
            checks[row.instrument_id].append(as_check(row))
    return {key: CheckHistory(each) for key, each in checks.items()}


def as_check(row: InstrumentCheck) -> Check:
    """Return a stored check as the method takes it."""
    is_before = row.moment == InstrumentCheck.Moment.BEFORE
    return Check(row.checked_at, is_before, row.is_within_tolerance, row.pk)


def still_doubted(flag: InspectionFlag, history: CheckHistory) -> bool:
    """Return whether the checks on record now still leave the reading of a flag in doubt."""
    taken_at = flag.inspection.taken_at
    return any(each.number == flag.check_made_id for each in history.failed_around(taken_at))


def certificates_of(instrument: Instrument) -> list[tuple[date | None, date | None]]:
    """Return the certificates an instrument had and has, the present one last."""
    return certificates_of_each([instrument])[instrument.pk]


def certificates_of_each(
    instruments: Collection[Instrument],
) -> dict[int, list[tuple[date | None, date | None]]]:
    """Return the certificates that several instruments had and have, in one query."""
    found: dict[int, list[tuple[date | None, date | None]]] = {
        each.pk: [] for each in instruments
    }
    if found:
        earlier = EarlierCertificate.objects.filter(instrument__in=list(found))
        for key, made_on, due_on in earlier.order_by("replaced_at", "pk").values_list(
            "instrument_id", "certificate_on", "certificate_due_on"
        ):
            found[key].append((made_on, due_on))
    for each in instruments:
        found[each.pk].append((each.certificate_on, each.certificate_due_on))
    return found


def certificate_covers(inspections: Sequence[Inspection]) -> set[int]:
    """Return which inspections by one instrument its certificates on record now cover."""
    if not inspections or inspections[0].instrument is None:
        return set()
    instrument = inspections[0].instrument
    certificates, owner = certificates_of(instrument), instrument.organisation
    return {
        each.pk
        for each in inspections
        if certificate_state(certificates, owner.day_of(each.taken_at))
        is CertificateState.VALID
    }
