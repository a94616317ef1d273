"""Verdicts on signs, the due list that follows from them, and what is decided about a sign."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Disposition, Sign
from inventory.services.judging import Judged, judge_and_store
from inventory.services.logbook import entry, log, log_many
from inventory.services.people import policy_at
from inventory.services.standards import code_book
from inventory.services.standing import (
    DueSummary,
    drop_standing,
    in_steps,
    installed_in_steps,
    lock_signs,
    mark_due,
    rebuild,
    refresh_standing,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date, datetime

    from inventory.models import AgencyPolicy, Assessment, Organisation, User
    from inventory.services.standing import Progress

__all__ = [
    "AssessmentCounts",
    "DueSummary",
    "assess_sign",
    "assess_signs",
    "decide_disposition",
    "mark_due",
    "refresh_standing",
]


@dataclass(slots=True)
class AssessmentCounts:
    """What a round of judging came to: ``unchanged`` ones keep the assessment they had."""

    signs: int = 0
    new: int = 0
    unchanged: int = 0
    verdicts: Counter[str] = field(default_factory=Counter)


@transaction.atomic
def assess_sign(
    *, sign: Sign, by: User | None = None, now: datetime | None = None
) -> Assessment:
    """
    Judge one sign and refresh its standing; unchanged facts keep the assessment they have.

    A sign that is not installed may be judged for the record; shop stock has no rules.
    """
    now = now or timezone.now()
    locked = lock_signs([sign.pk])
    owner = locked[0].owner if locked else None
    if owner is None:
        msg = f"Sign {sign.pk} is shop stock; it is judged once an agency owns it."
        raise StateConflictError(msg)
    judged = judge_locked(
        locked,
        owner=owner,
        policy=policy_at(owner, owner.day_of(now)),
        by={sign.pk: by},
        now=now,
    )
    return judged.assessments[sign.pk]


def assess_signs(
    *,
    organisation: Organisation,
    signs: Iterable[Sign] | None = None,
    by: User | None = None,
    now: datetime | None = None,
    progress: Progress | None = None,
) -> AssessmentCounts:
    """
    Judge many signs of an agency, all installed ones unless told which, and their standing.

    Each step of 500 signs is a transaction of its own, and unchanged signs keep their
    assessment: a job that was broken off is simply run again.
    """
    now = now or timezone.now()
    policy = policy_at(organisation, organisation.day_of(now))
    book = code_book(organisation)
    counts = AssessmentCounts()
    steps = (
        installed_in_steps(organisation, progress)
        if signs is None
        else in_steps(_ids_of(signs, organisation), progress)
    )
    for step in steps:
        with transaction.atomic():
            locked = lock_signs(step)
            judged = judge_and_store(locked, policy=policy, book=book, now=now)
            installed = [each for each in locked if each.state == Sign.State.INSTALLED]
            rebuild(installed, policy=policy, book=book, now=now, judged=judged)
        counts.signs += len(locked)
        counts.new += len(judged.new)
        counts.unchanged += len(locked) - len(judged.new)
        counts.verdicts.update(judged.verdicts)
    with transaction.atomic():
        log(
            organisation=organisation,
            actor=by,
            verb="judge signs",
            text=(
                f"{counts.signs} signs judged by rules version {policy.version}: {counts.new} "
                f"new assessments, {counts.unchanged} unchanged."
            ),
            at=now,
            detail={"verdicts": dict(counts.verdicts)},
        )
    return counts


def judge_locked(
    signs: Sequence[Sign],
    *,
    owner: Organisation,
    policy: AgencyPolicy | None,
    by: Mapping[int, User | None],
    now: datetime,
) -> Judged:
    """
    Judge locked signs of one agency and rebuild how they stand; the caller's transaction.

    ``by`` names who gave rise to it, by sign: each new verdict goes into the logbook. Without
    a policy nothing is judged; a sign that is not installed stands nowhere.
    """
    book = code_book(owner)
    judged = Judged()
    if policy is not None:
        judged = judge_and_store(signs, policy=policy, book=book, now=now)
        log_many(
            entry(
                organisation=owner,
                actor=by[each.sign_id],
                verb="judge sign",
                text=f"Verdict: {each.verdict}. {each.reason}",
                at=now,
                sign=each.sign,
            )
            for each in judged.new
        )
    installed = [each for each in signs if each.state == Sign.State.INSTALLED]
    gone = [each.pk for each in signs if each.state != Sign.State.INSTALLED]
    if gone:
        drop_standing(gone)
    if installed:
        rebuild(
            installed,
            policy=policy,
            book=book,
            now=now,
            judged=judged if policy is not None else None,
        )
    return judged


@transaction.atomic
def decide_disposition(
    *,
    sign: Sign,
    decision: str,
    by: User | None,
    reason: str = "",
    defer_until_on: date | None = None,
    now: datetime | None = None,
) -> Disposition:
    """Record what was decided about a sign; a later decision is a new row, none is undone."""
    now = now or timezone.now()
    locked = lock_signs([sign.pk])[0]
    owner = locked.owner
    if owner is None:
        msg = f"Sign {sign.pk} is shop stock; only an agency decides about a sign."
        raise StateConflictError(msg)
    if decision not in Disposition.Decision.values:
        allowed = ", ".join(Disposition.Decision.values)
        msg = f"'{decision}' is not a decision about a sign; use one of {allowed}."
        raise OutOfRangeError(msg)
    reason = reason.strip()
    most = Disposition._meta.get_field("reason").max_length or 0
    if len(reason) > most:
        msg = f"The reason has {len(reason)} characters; at most {most} are kept. Shorten it."
        raise OutOfRangeError(msg)
    if decision in (Disposition.Decision.DEFER, Disposition.Decision.CLAIM):
        _check_deferral(reason, defer_until_on, owner.day_of(now))
    elif defer_until_on is not None:
        msg = (
            f"A date ({defer_until_on:%Y-%m-%d}) belongs to a decision to defer or to wait for "
            f"a claim, not to '{Disposition.Decision(decision).label}'; leave it out or choose "
            "one of those."
        )
        raise OutOfRangeError(msg)
    disposition: Disposition = Disposition.objects.create(
        organisation=owner,
        sign=locked,
        decision=decision,
        reason=reason,
        defer_until_on=defer_until_on,
        decided_at=now,
        decided_by=by,
    )
    until = f" until {defer_until_on:%Y-%m-%d}" if defer_until_on is not None else ""
    log(
        organisation=owner,
        actor=by,
        verb="decide about sign",
        text=(
            f"Decided: {disposition.get_decision_display()}{until}."
            + (f" {reason}" if reason else "")
        ),
        at=now,
        sign=locked,
    )
    return disposition


def _check_deferral(reason: str, until: date | None, today: date) -> None:
    if not reason or until is None:
        msg = (
            "A decision to defer or to wait for a claim needs a reason and the date until "
            "when; give both."
        )
        raise OutOfRangeError(msg)
    if until <= today:
        msg = (
            f"The date to wait until, {until:%Y-%m-%d}, has passed (today is "
            f"{today:%Y-%m-%d}); choose a later day or another decision."
        )
        raise OutOfRangeError(msg)


def _ids_of(signs: Iterable[Sign], organisation: Organisation) -> list[int]:
    """Return the signs that belong to the agency; another's are refused."""
    chosen = list(signs)
    foreign = [sign for sign in chosen if sign.owner_id != organisation.pk]
    if foreign:
        msg = (
            f"Sign {foreign[0].pk} does not belong to {organisation}; an agency judges its own "
            "signs."
        )
        raise StateConflictError(msg)
    return sorted({sign.pk for sign in chosen})
