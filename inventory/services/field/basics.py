"""What a phone needs to know before any sign: rules, instruments, packages and words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.db.models import F, Window
from django.db.models.functions import RowNumber

from inventory.engineering.assessment.carried import carry_rules
from inventory.engineering.inspection.instruments import (
    CertificateState,
    certificate_doubt,
    certificate_state,
    check_doubt,
)
from inventory.engineering.inspection.readings import (
    MAXIMUM_DECIMALS,
    MAXIMUM_RA_CD_LX_M2,
    RECOMMENDED_READING_COUNT,
)
from inventory.engineering.programme.tour_parts import clock_words
from inventory.engineering.standards.catalogue import sign_types
from inventory.engineering.standards.night_procedures import (
    EvidenceItem,
    NightProcedure,
    decision_of,
    evidence_items,
    hit_rate_sentence,
)
from inventory.engineering.standards.supports import support_types
from inventory.engineering.standards.vocabulary import Color, Optics, SheetingType
from inventory.models import (
    ColourArea,
    Inspection,
    Instrument,
    InstrumentCheck,
    LocalSignType,
    Observation,
    PackageStop,
    Sign,
)
from inventory.models.places import Mount
from inventory.services.damage_lists import carry_damage
from inventory.services.exchange.epochs import current_epoch
from inventory.services.field.area import bounds_of
from inventory.services.own_levels import rules_on
from inventory.services.standing import policy_or_none
from inventory.services.work_packages import Progress, handed_out, progress_of
from inventory.services.wrong_data import SAID_BY_A_PERSON

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from inventory.models import Organisation, User, WorkPackage

MOST_PACKAGES = 100
# What crews give as reasons; any other can be typed (common practice, no source).
NOT_DONE_REASONS = (
    "could not find it",
    "not safe to stop there",
    "no time left",
    "part or face not on the truck",
    "weather",
    "cannot be reached: parked cars, works, growth",
)


def field_basics(*, organisation: Organisation, person: User, now: datetime) -> dict[str, Any]:
    """Return what every screen of the phone leans on; a fixed number of queries."""
    policy, scatter_rel = _policy(organisation, now)
    return {
        "server_time": now.isoformat(),
        "epoch": str(current_epoch(now=now)),
        "user": {"id": person.pk, "name": str(person)},
        "organisation": {
            "id": organisation.pk,
            "name": organisation.name,
            "time_zone": organisation.time_zone,
            "is_invented": organisation.is_invented,
        },
        "policy": policy,
        "instruments": _instruments(organisation, now),
        "packages": _packages(organisation, person),
        "damage": carry_damage(organisation),
        "words": _words(),
        "night_procedures": [_procedure(each) for each in NightProcedure],
        "hit_rate": hit_rate_sentence(),
        "codes": _codes(organisation),
        "support_types": [[each.key, each.name] for each in support_types()],
        "colours": [[each.value, each.words] for each in Color if each is not Color.BLACK],
        "all_colours": [[each.value, each.words] for each in Color],
        "sheeting_types": [[each.value, f"Type {each.value}"] for each in SheetingType],
        "optics": [[each.value, each.value] for each in Optics if each is not Optics.UNKNOWN],
        "mounts": _pairs(Mount.choices),
        "parts": _pairs(ColourArea.Part.choices),
        "reading": {
            "least_wanted": RECOMMENDED_READING_COUNT,
            "spread_warning_rel": scatter_rel,
            "highest_cd_lx_m2": MAXIMUM_RA_CD_LX_M2,
            "most_decimals": MAXIMUM_DECIMALS,
        },
    }


def _policy(
    organisation: Organisation, now: datetime
) -> tuple[dict[str, Any] | None, float | None]:
    """Return the rules in force, and the scatter of one reading they assume."""
    policy = policy_or_none(organisation, now)
    if policy is None:
        return None, None
    rules = rules_on(policy, organisation.day_of(now))
    return (
        carry_rules(rules) | {"version": policy.version},
        policy.single_reading_scatter_rel,
    )


def _instruments(organisation: Organisation, now: datetime) -> list[dict[str, Any]]:
    rows = Instrument.objects.owned_by(organisation).filter(is_retired=False)
    instruments = list(rows.order_by("serial"))
    newest = Window(
        RowNumber(),
        partition_by=F("instrument"),
        order_by=(F("checked_at").desc(), F("pk").desc()),
    )
    checks = InstrumentCheck.objects.filter(instrument__in=instruments).annotate(rank=newest)
    last = {each.instrument_id: each for each in checks.filter(rank=1)}
    return [_instrument(each, last.get(each.pk), organisation, now) for each in instruments]


def _instrument(
    instrument: Instrument,
    last: InstrumentCheck | None,
    organisation: Organisation,
    now: datetime,
) -> dict[str, Any]:
    return {
        "id": instrument.pk,
        "serial": instrument.serial,
        "observation_angle_deg": str(instrument.observation_angle_deg),
        "entrance_angle_deg": str(instrument.entrance_angle_deg),
        "receiver": instrument.receiver,
        "certificate_due_on": _iso(instrument.certificate_due_on),
        "check_tolerance_rel": instrument.check_tolerance_rel,
        "last_check": last
        and {
            "checked_at": last.checked_at.isoformat(),
            "is_within_tolerance": last.is_within_tolerance,
        },
        "doubt": _doubt(instrument, last, organisation, now),
    }


def _doubt(
    instrument: Instrument,
    last: InstrumentCheck | None,
    organisation: Organisation,
    now: datetime,
) -> str:
    """Return what would be held against a reading taken with an instrument today."""
    certificate = (instrument.certificate_on, instrument.certificate_due_on)
    said = []
    if certificate_state([certificate], organisation.day_of(now)) is CertificateState.EXPIRED:
        said.append(certificate_doubt())
    if last is not None and not last.is_within_tolerance:
        said.append(check_doubt(last.checked_at.astimezone(ZoneInfo(organisation.time_zone))))
    return " and ".join(said)


def _packages(organisation: Organisation, person: User) -> list[dict[str, Any]]:
    """Return the packages that are with a crew, and how far each is."""
    rows = handed_out(organisation).select_related("team").order_by("-work_on", "-pk")
    packages = list(rows[:MOST_PACKAGES])
    bounds = bounds_of(PackageStop.objects.filter(package__in=packages))
    progress = progress_of(packages)
    return [_package(each, person, progress[each.pk], bounds.get(each.pk)) for each in packages]


def _package(
    package: WorkPackage,
    person: User,
    progress: Progress,
    bounds: dict[str, float] | None,
) -> dict[str, Any]:
    return {
        "id": package.pk,
        "title": package.title,
        "work_on": package.work_on.isoformat(),
        "bring": package.bring,
        "team": package.team.name if package.team else "",
        "leave_at": _clock(package.leave_minute),
        "back_at": _back_at(package),
        "drive_mi": package.drive_mi,
        "crew_is_me": package.crew_id == person.pk,
        "crew_is_any": package.crew_id is None,
        "stop_count": progress.stops,
        "done_count": progress.done,
        "not_done_count": progress.not_done,
        "bounds": bounds,
    }


def _clock(minute: int | None) -> str | None:
    return None if minute is None else clock_words(minute)


def _back_at(package: WorkPackage) -> str | None:
    """Return when the day is over as planned; the day of a hand-made package is not planned."""
    if package.leave_minute is None or package.minutes is None:
        return None
    return clock_words(package.leave_minute + package.minutes)


def _words() -> dict[str, Any]:
    return {
        "observation_kinds": _pairs(Observation.Kind.choices),
        "severities": _pairs(Observation.Severity.choices),
        "removal_reasons": _pairs(Sign.RemovalReason.choices),
        "surface_states": _pairs(Inspection.SurfaceState.choices),
        "wrong_data_fields": [[each.value, each.label] for each in SAID_BY_A_PERSON],
        "check_moments": _pairs(InstrumentCheck.Moment.choices),
        "tasks": _pairs(PackageStop.Task.choices),
        "not_done_reasons": list(NOT_DONE_REASONS),
    }


def _procedure(procedure: NightProcedure) -> dict[str, Any]:
    items, decision = evidence_items(procedure), decision_of(procedure)
    return {
        "key": procedure.value,
        "name": procedure.words,
        "decision": decision.words,
        "is_unverified": not all(each.is_verified for each in items),
        "fields": [_field(each) for each in items],
    }


def _field(item: EvidenceItem) -> dict[str, Any]:
    return {
        "name": item.key,
        "label": item.label,
        "kind": item.kind.value,
        "choices": list(item.choices),
        "unit": item.unit,
        "per_color": item.per_color,
        "minimum": None if item.minimum is None else str(item.minimum),
        "exact": None if item.exact is None else str(item.exact),
        "must_be_same_night": item.must_be_same_night,
        "must_reach_level": item.must_reach_level,
        "help": _bound_words(item),
    }


def _bound_words(item: EvidenceItem) -> str:
    """Return what an answer has to keep to, in words."""
    said = []
    if item.minimum is not None:
        said.append(f"at least {item.minimum} {item.unit}".strip())
    if item.exact is not None:
        said.append(f"exactly {item.exact} {item.unit}".strip())
    if item.must_be_same_night:
        said.append("the same night")
    if item.must_reach_level:
        said.append("at or above the level of the colour")
    return ", ".join(said)


def _codes(organisation: Organisation) -> list[list[Any]]:
    """Return the codes a sign can have, the agency's own first: code, name, colours."""
    own = LocalSignType.objects.owned_by(organisation).order_by("code")
    return [
        *(
            [each.code, each.name, _known([each.background_color, each.legend_color])]
            for each in own
        ),
        *(
            [each.code, each.name, _known([each.background, each.legend])]
            for each in sign_types()
        ),
    ]


def _known(colors: Iterable[str | None]) -> list[str]:
    return [str(each) for each in colors if each]


def _pairs(choices: Iterable[Any]) -> list[list[Any]]:
    return [[value, str(words)] for value, words in choices]


def _iso(day: Any) -> str | None:
    return None if day is None else day.isoformat()
