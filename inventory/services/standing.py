"""How each installed sign stands now, and which are due: derived rows that lists read."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.assessment.due import (
    NO_TARGET,
    DamageDays,
    due_order,
    find_causes,
    find_due,
    put_right_by,
    read_damage_days,
)
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.inspection.vocabulary import Severity
from inventory.engineering.standards.safety import remaining_class, safety_class
from inventory.errors import StateConflictError
from inventory.models import (
    Assessment,
    ColourArea,
    ElementAssessment,
    Sign,
    SignForecast,
    Standing,
)
from inventory.services.damage_standing import rebuild_open_damage
from inventory.services.forecast.due_soon import DUE_SOON_MONTHS, is_soon
from inventory.services.judging import (
    Judged,
    judge_and_store,
    latest_assessments,
    sign_type_of,
)
from inventory.services.logbook import log
from inventory.services.method_ages import replacement_by_age
from inventory.services.people import policy_at
from inventory.services.seen import seen_on
from inventory.services.standards import code_book

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import date, datetime

    from inventory.engineering.assessment.due import Cause
    from inventory.engineering.inspection.condition import Observed
    from inventory.engineering.standards.local import CodeBook
    from inventory.models import AgencyPolicy, Organisation, User
    from inventory.services.seen import Seen

    Progress = Callable[[int, int], None]

SIGNS_PER_STEP = 500
_DERIVED_FIELDS = [
    field.name for field in Standing._meta.concrete_fields if field.name not in ("id", "sign")
]
_CONDITION_LENGTH = Standing._meta.get_field("condition_text").max_length or 0
_DUE_REASON_LENGTH = Standing._meta.get_field("due_reason").max_length or 0
_SHEETING_LENGTH = Standing._meta.get_field("sheeting").max_length or 0
_CONDITION_OF_SEVERITY = {
    None: Standing.Condition.NOT_SEEN,
    Severity.NONE: Standing.Condition.SOUND,
    Severity.SLIGHT: Standing.Condition.SLIGHT,
    Severity.MODERATE: Standing.Condition.MODERATE,
    Severity.SEVERE: Standing.Condition.SEVERE,
}


@dataclass(slots=True)
class DueSummary:
    """What a rebuild of an agency's standing found."""

    signs: int = 0
    due: int = 0
    not_ours: int = 0
    dropped: int = 0
    due_of_class: Counter[int] = field(default_factory=Counter)
    verdicts: Counter[str] = field(default_factory=Counter)


def mark_due(
    *,
    organisation: Organisation,
    by: User | None = None,
    now: datetime | None = None,
    progress: Progress | None = None,
) -> DueSummary:
    """
    Rebuild the standing of every installed sign of an agency, and with it the due list.

    Signs that were never judged are judged first, and open damage gets the times now in force.
    Each step of 500 signs is a transaction of its own: a job that was broken off is simply run
    again.
    """
    now = now or timezone.now()
    book, policy = code_book(organisation), policy_or_none(organisation, now)
    summary = DueSummary()
    for steps in installed_in_steps(organisation, progress):
        with transaction.atomic():
            rows = rebuild(lock_signs(steps), policy=policy, book=book, now=now)
        _count(summary, rows)
    rebuild_open_damage(organisation, now=now)
    with transaction.atomic():
        installed = Sign.objects.owned_by(organisation).filter(state=Sign.State.INSTALLED)
        standing = Standing.objects.owned_by(organisation).values_list("sign_id", flat=True)
        gone = set(standing.order_by()) - set(installed.order_by().values_list("pk", flat=True))
        summary.dropped = sum(drop_standing(step) for step in in_steps(sorted(gone)))
        log(
            organisation=organisation,
            actor=by,
            verb="rebuild due list",
            text=(
                f"Due list rebuilt: {summary.due} of {summary.signs} installed signs are due; "
                f"{summary.not_ours} signs of others are kept and never due."
            ),
            at=now,
            detail={"verdicts": dict(summary.verdicts)},
        )
    return summary


@transaction.atomic
def refresh_standing(*, sign: Sign, now: datetime | None = None) -> Standing | None:
    """
    Rebuild the standing of one sign; a sign that is not installed any more loses its row.

    A derived row, not a step anybody took: the logbook keeps no entry of it.
    """
    now = now or timezone.now()
    locked = lock_signs([sign.pk])
    if not locked or locked[0].state != Sign.State.INSTALLED or locked[0].owner is None:
        drop_standing([sign.pk])
        return None
    owner = locked[0].owner
    rebuild(locked, policy=policy_or_none(owner, now), book=code_book(owner), now=now)
    standing: Standing = Standing.objects.get(sign=sign.pk)
    return standing


def rebuild(
    signs: Sequence[Sign],
    *,
    policy: AgencyPolicy | None,
    book: CodeBook,
    now: datetime,
    judged: Judged | None = None,
) -> list[Standing]:
    """
    Write the standing of locked, installed signs of one agency; the caller's transaction.

    ``judged`` is what the caller just judged them to be; signs without a verdict get one.
    """
    ids = [sign.pk for sign in signs]
    judged = Judged(latest_assessments(ids)) if judged is None else judged
    unjudged = [sign for sign in signs if sign.pk not in judged.assessments]
    if unjudged and policy is not None:
        judged.add(judge_and_store(unjudged, policy=policy, book=book, now=now))
    assessments = {pk: judged.assessments[pk] for pk in ids if pk in judged.assessments}
    elements = _elements_of(assessments, judged.new_elements)
    sheetings = _sheetings_of(ids)
    seen = seen_on(ids, {pk: judged.read_at(pk) for pk in ids})
    damage_days = read_damage_days(policy.damage_days) if policy is not None else {}
    ages = _ages_of(signs, now)
    forecasts = _forecast_due(ids)
    rows = [
        _standing(
            sign,
            assessments.get(sign.pk),
            elements[sign.pk],
            seen[sign.pk],
            read_at=judged.read_at(sign.pk),
            sheeting=sheetings[sign.pk],
            book=book,
            damage_days=damage_days,
            age=ages.get(sign.pk),
            forecast_due_on=forecasts.get(sign.pk),
            due_soon_months=DUE_SOON_MONTHS if policy is None else policy.due_soon_months,
            now=now,
        )
        for sign in signs
    ]
    Standing.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["sign"], update_fields=_DERIVED_FIELDS
    )
    return rows


def drop_standing(sign_ids: Sequence[int]) -> int:
    """Drop how signs stand that are not installed any more, and what is forecast of them."""
    SignForecast.objects.filter(sign__in=sign_ids).delete()
    return int(Standing.objects.filter(sign__in=sign_ids).delete()[0])


def lock_signs(sign_ids: Sequence[int]) -> list[Sign]:
    """Lock signs in a fixed order and return them with what the method asks of their places."""
    return list(
        Sign.objects.select_for_update(of=("self",))
        .filter(pk__in=sign_ids)
        .select_related("position__support__road")
        .prefetch_related("owner")  # one or two of them for any number of signs
        .order_by("pk")
    )


def installed_in_steps(
    organisation: Organisation, progress: Progress | None = None
) -> Iterator[list[int]]:
    """Give the installed signs of an agency in steps, saying after each how far it is."""
    installed = Sign.objects.owned_by(organisation).filter(state=Sign.State.INSTALLED)
    ids = list(installed.order_by("pk").values_list("pk", flat=True))
    yield from in_steps(ids, progress)


def in_steps(sign_ids: Sequence[int], progress: Progress | None = None) -> Iterator[list[int]]:
    """Give signs in steps of 500, saying after each how far it is."""
    for start in range(0, len(sign_ids), SIGNS_PER_STEP):
        step = list(sign_ids[start : start + SIGNS_PER_STEP])
        yield step
        if progress is not None:
            progress(start + len(step), len(sign_ids))


def policy_or_none(organisation: Organisation, now: datetime) -> AgencyPolicy | None:
    """Return the rules in force; an agency that has set none yet still has its due list."""
    try:
        return policy_at(organisation, organisation.day_of(now))
    except StateConflictError:
        return None


def _standing(
    sign: Sign,
    assessment: Assessment | None,
    elements: Sequence[ElementAssessment],
    seen: Seen,
    *,
    read_at: datetime | None,
    sheeting: str,
    book: CodeBook,
    damage_days: DamageDays,
    age: Cause | None,
    forecast_due_on: date | None,
    due_soon_months: int,
    now: datetime,
) -> Standing:
    owner, position = sign.owner, sign.position
    if owner is None or position is None:
        msg = f"Sign {sign.pk} is not installed; it has no standing."
        raise StateConflictError(msg)
    sign_type = sign_type_of(sign.sign_code, book)
    placed = safety_class(sign_type) if sign_type is not None else remaining_class()
    verdict = Verdict(assessment.verdict) if assessment is not None else Verdict.NO_LEVEL
    margin = _margin_ratio(elements)
    worst = seen.condition.worst
    put_right_by_on, target_words = _put_right_by(owner, seen, placed.number, damage_days)
    due = find_due(
        find_causes(
            verdict=verdict,
            verdict_words=_failing_words(verdict, elements),
            judged_on=_judged_on(owner, assessment, read_at, now),
            severity=seen.condition.severity,
            condition_words=_condition_words(worst) + target_words,
            put_right_by_on=put_right_by_on,
            seen_on=owner.day_of(worst.taken_at) if worst is not None else None,
            inadequate_on=owner.day_of(seen.inadequate_at) if seen.inadequate_at else None,
            planned_year=sign.planned_replacement_year,
            age=age,
        ),
        today=owner.day_of(now),
        is_ours=sign.responsible == Sign.Responsible.AGENCY,
    )
    return Standing(
        organisation=owner,
        sign=sign,
        assessment=assessment,
        verdict=verdict.value,
        reason=assessment.reason if assessment is not None else _no_rules_words(owner),
        margin_ratio=margin,
        condition=_CONDITION_OF_SEVERITY[seen.condition.severity],
        condition_text=_short(_dated_condition_words(owner, worst), _CONDITION_LENGTH),
        is_due=due.is_due,
        due_on=due.due_on,
        due_reason=_short(due.reason, _DUE_REASON_LENGTH),
        forecast_due_on=forecast_due_on,
        is_due_soon=sign.responsible == Sign.Responsible.AGENCY
        and is_soon(forecast_due_on, owner.day_of(now), due_soon_months),
        due_order=due_order(
            safety_class=placed.number,
            severity=seen.condition.severity,
            margin_ratio=margin,
        ),
        safety_class=placed.number,
        responsible=sign.responsible,
        sign_code=sign_type.code if sign_type is not None else sign.sign_code,
        sign_name=sign_type.name if sign_type is not None else "",
        sheeting=_short(sheeting, _SHEETING_LENGTH),
        road=position.support.road,
        latitude_deg=position.support.latitude_deg,
        longitude_deg=position.support.longitude_deg,
        cell=position.support.cell,
        last_inspected_on=(
            owner.day_of(seen.last_inspected_at) if seen.last_inspected_at else None
        ),
        rebuilt_at=now,
    )


def _forecast_due(sign_ids: Sequence[int]) -> dict[int, date]:
    """Return when signs are forecast to be due, of those that are within thirty years."""
    rows = SignForecast.objects.filter(sign__in=sign_ids, due_on__isnull=False)
    return dict(rows.order_by("sign").values_list("sign_id", "due_on"))


def _ages_of(signs: Sequence[Sign], now: datetime) -> dict[int, Cause]:
    """Return when the method of record replaces signs by age; they are all of one agency."""
    if not signs or signs[0].owner is None:
        return {}
    return replacement_by_age(signs, today=signs[0].owner.day_of(now))


def _no_rules_words(owner: Organisation) -> str:
    return (
        f"{owner} has no rules in force yet, so there is no level to judge by; set its edition "
        "and rules with manage.py set_policy."
    )


def _judged_on(
    owner: Organisation,
    assessment: Assessment | None,
    read_at: datetime | None,
    now: datetime,
) -> date:
    """Return the day of the judged readings, or of the judgement where none were needed."""
    if assessment is None:
        return owner.day_of(now)
    return owner.day_of(assessment.assessed_at if read_at is None else read_at)


def _margin_ratio(elements: Sequence[ElementAssessment]) -> float | None:
    """Return the least value over level; only an element that decides has a level."""
    ratios = [
        each.value / each.level for each in elements if each.value is not None and each.level
    ]
    return float(min(ratios)) if ratios else None


def _failing_words(verdict: Verdict, elements: Sequence[ElementAssessment]) -> str:
    """Return what fails in few words, with the mark of a level not read in its source."""
    if verdict is Verdict.SHEETING_NOT_ALLOWED:
        colors = [each.color for each in elements if each.verdict == verdict.value]
        return f"sheeting not allowed for {' and '.join(colors)}"
    failing = [each for each in elements if each.verdict == Verdict.BELOW.value]
    clauses = [each.reason.partition(". ")[0].rstrip(".") for each in failing]
    words = ", ".join(clause[0].lower() + clause[1:] for clause in clauses)
    if all(each.is_level_verified for each in failing):
        return words
    return f"{words} ({'level' if len(failing) == 1 else 'levels'} unverified)"


def _put_right_by(
    owner: Organisation, seen: Seen, safety_class: int, damage_days: DamageDays
) -> tuple[date | None, str]:
    """Return by when the damage that is to be put right first has to be, and in words."""
    by_when = [
        put_right_by(
            severity=each.severity,
            safety_class=safety_class,
            seen_on=owner.day_of(each.taken_at),
            notified_on=owner.day_of(each.notified_at) if each.notified_at else None,
            damage_days=damage_days,
        )
        for each in seen.condition.standing
        if each.severity in (Severity.MODERATE, Severity.SEVERE)
    ]
    if not by_when:
        return None, ""
    day, words = min(by_when)
    # Where the agency set no time, its rules page says so; a list need not on every row.
    return day, "" if words == NO_TARGET else f" ({words})"


def _condition_words(worst: Observed | None) -> str:
    return "" if worst is None else f"{worst.severity.name.lower()}: {worst.words}"


def _dated_condition_words(owner: Organisation, worst: Observed | None) -> str:
    if worst is None:
        return ""
    if worst.severity is Severity.NONE:
        return f"sound, seen {owner.day_of(worst.taken_at):%Y-%m-%d}"
    return f"{_condition_words(worst)}, seen {owner.day_of(worst.taken_at):%Y-%m-%d}"


def _short(text: str, most: int) -> str:
    """Return a text cut to its column; the whole is with the assessment or the inspection."""
    return text if len(text) <= most else text[: most - 1] + "…"


def _elements_of(
    assessments: dict[int, Assessment], at_hand: dict[int, list[ElementAssessment]]
) -> dict[int, list[ElementAssessment]]:
    """Return the elements of each sign's assessment; those not at hand are looked up."""
    found: dict[int, list[ElementAssessment]] = defaultdict(list, at_hand)
    sign_of = {
        assessment.pk: sign_id
        for sign_id, assessment in assessments.items()
        if sign_id not in at_hand
    }
    rows = ElementAssessment.objects.filter(assessment__in=list(sign_of))
    for row in rows.order_by("assessment", "number"):
        found[sign_of[row.assessment_id]].append(row)
    return found


def _sheetings_of(sign_ids: Sequence[int]) -> dict[int, str]:
    """Return each sign's sheeting in words, empty where none of it is known."""
    words: dict[int, dict[str, None]] = defaultdict(dict)
    rows = ColourArea.objects.filter(sign__in=sign_ids).order_by("sign", "number")
    for sign_id, sheeting_type, optics in rows.values_list(
        "sign_id", "sheeting_type", "optics"
    ):
        known = [sheeting_type, "" if optics == ColourArea.Optics.UNKNOWN else optics]
        words[sign_id][" ".join(filter(None, known))] = None
    return defaultdict(
        str, {sign_id: " / ".join(filter(None, each)) for sign_id, each in words.items()}
    )


def _count(summary: DueSummary, rows: Sequence[Standing]) -> None:
    summary.signs += len(rows)
    for row in rows:
        summary.verdicts[row.verdict] += 1
        summary.not_ours += row.responsible != Sign.Responsible.AGENCY
        if row.is_due:
            summary.due += 1
            summary.due_of_class[row.safety_class] += 1
