"""The invented county's methods of record: which signs are kept at their level by which."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.models import (
    ColourArea,
    Disposition,
    MethodGroup,
    Position,
    Sign,
    Standing,
)
from inventory.services.demo.press_history import moment
from inventory.services.demo.words import words
from inventory.services.dispositions import decide_about_signs
from inventory.services.judging import sign_type_of
from inventory.services.methods import (
    assign,
    create_group,
    record_step,
    set_control_signs,
)
from inventory.services.standards import code_book

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from inventory.models import Organisation, User
    from inventory.services.demo.job import Job

DESK_H = 10
DEFERRED_DAYS = 120
REREAD_COUNT = 12
DEFERRED_COUNT = 3
CONTROL_SIGNS_OF_EACH = 3


def store_methods(agency: Organisation, engineer: User) -> None:
    """Store the groups, what is under each, and what was done to apply them."""
    clause_of = _clauses(agency)
    for each in words("methods")["groups"]:
        from_on = each["started_on"]
        now = moment(from_on, DESK_H)
        group = create_group(
            organisation=agency,
            name=each["name"],
            method=each["method"],
            started_on=from_on,
            basis=each["basis"],
            interval_months=each.get("interval_months"),
            expected_life_years=each.get("expected_life_years"),
            exclusion_key=each.get("exclusion_key", ""),
            by=engineer,
            now=now,
        )
        codes = [code for code in clause_of if _is_meant(code, clause_of[code], each)]
        for code in codes:
            del clause_of[code]
        places = list(
            Position.objects.owned_by(agency)
            .filter(
                sign_code__in=codes,
                signs__state=Sign.State.INSTALLED,
                signs__responsible=Sign.Responsible.AGENCY,
            )
            .order_by("pk")
        )
        assign(group=group, positions=places, from_on=from_on, by=engineer, now=now)
        if group.method == MethodGroup.Method.CONTROL_SIGNS:
            controls = _controls(group, places)
            set_control_signs(
                group=group, positions=controls, from_on=from_on, by=engineer, now=now
            )
        for step in each.get("steps", ()):
            record_step(
                group=group,
                done_on=step["done_on"],
                text=step["text"],
                kind=step["kind"],
                by=engineer,
                now=moment(step["done_on"] + timedelta(days=1), DESK_H),
            )


def _clauses(agency: Organisation) -> dict[str, str]:
    """Return each known code in the county with the clause that leaves it out, if one does."""
    book = code_book(agency)
    codes = Position.objects.owned_by(agency).order_by().values_list("sign_code", flat=True)
    found: dict[str, str] = {}
    for code in sorted(set(codes) - {""}):
        sign_type = sign_type_of(code, book)
        key = sign_type.exclusion_key if sign_type is not None else None
        is_sure = sign_type is not None and not sign_type.exclusion_needs_confirmation
        found[code] = key.value if key is not None and is_sure else ""
    return found


def _is_meant(code: str, clause: str, each: Mapping[str, Any]) -> bool:
    if each["method"] == MethodGroup.Method.EXCLUDED:
        return bool(clause == each["exclusion_key"])
    prefixes: list[str] = each["codes"]
    return code.startswith(tuple(prefixes))


def _controls(group: MethodGroup, places: list[Position]) -> list[Position]:
    """Return the first few places of each sheeting as control signs."""
    of_sheeting: dict[str, list[int]] = {}
    faces = ColourArea.objects.filter(
        sign__position__method_assignments__group=group,
        sign__state=Sign.State.INSTALLED,
        part=ColourArea.Part.BACKGROUND,
    ).order_by("sign__position")
    for place, sheeting_type in faces.values_list("sign__position", "sheeting_type"):
        if sheeting_type:
            of_sheeting.setdefault(sheeting_type, []).append(place)
    chosen = {
        place for found in of_sheeting.values() for place in found[:CONTROL_SIGNS_OF_EACH]
    }
    return [place for place in places if place.pk in chosen]


def decide_some(job: Job) -> None:
    """Decide about a few signs that were not ordered; done once."""
    waiting = (Disposition.Decision.REREAD, Disposition.Decision.DEFER)
    if Disposition.objects.owned_by(job.agency).filter(decision__in=waiting).exists():
        return
    undecided = Standing.objects.filter(
        organisation=job.agency,
        verdict=Verdict.UNDECIDED.value,
        condition__lt=Standing.Condition.MODERATE,
        responsible=Sign.Responsible.AGENCY,
        sign__dispositions__isnull=True,
    )
    rows = undecided.select_related("sign").order_by("due_order", "sign")
    signs = [row.sign for row in rows[: REREAD_COUNT + DEFERRED_COUNT]]
    _decide(job, signs[:REREAD_COUNT], "reread", "")
    until = job.agency.day_of(job.desk) + timedelta(days=DEFERRED_DAYS)
    _decide(job, signs[REREAD_COUNT:], "defer", "Bridge works until spring.", until)


def _decide(
    job: Job, signs: list[Sign], decision: str, reason: str, until: date | None = None
) -> None:
    decide_about_signs(
        signs=signs,
        decision=decision,
        by=job.engineer,
        reason=reason,
        defer_until_on=until,
        now=job.desk,
    )
