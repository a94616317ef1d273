"""What other rules would change, shown before they are set; nothing is stored."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from inventory.engineering.assessment.assess import assess_faces
from inventory.models import Sign
from inventory.services.judging import gather
from inventory.services.own_levels import rules_on
from inventory.services.rules import build_policy
from inventory.services.standards import code_book
from inventory.services.standing import installed_in_steps, policy_or_none

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.engineering.assessment.face import Rules
    from inventory.engineering.standards.local import CodeBook
    from inventory.models import Organisation
    from inventory.services.standing import Progress

NOT_JUDGED = "not judged"  # before an agency has any rules


@dataclass(frozen=True, slots=True)
class ChangedSign:
    """One sign that would have another verdict, with the reason of the new one."""

    sign_id: int
    sign_code: str
    before: str
    after: str
    reason: str


@dataclass(slots=True)
class PolicyComparison:
    """An agency's installed signs by the rules in force and by proposed ones."""

    signs: int = 0
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    changed: list[ChangedSign] = field(default_factory=list)

    @property
    def before(self) -> Counter[str]:
        """Return how many signs have each verdict now."""
        return _summed((before, number) for (before, _), number in self.counts.items())

    @property
    def after(self) -> Counter[str]:
        """Return how many signs would have each verdict."""
        return _summed((after, number) for (_, after), number in self.counts.items())


def compare_policy(
    *,
    agency: Organisation,
    effective_on: date,
    edition: str,
    basis: str,
    now: datetime | None = None,
    progress: Progress | None = None,
    **fields: Any,
) -> PolicyComparison:
    """
    Return what proposed rules would change, on what is on record now; nothing is stored.

    Both sides are judged anew from the same facts and own levels of today, so that only the
    rules differ. Proposed rules that could not be set are refused as ``set_policy`` does.
    """
    now = now or timezone.now()
    today = agency.day_of(now)
    proposed = build_policy(
        agency=agency,
        version=0,
        effective_on=effective_on,
        edition=edition,
        basis=basis,
        recorded_at=now,
        **fields,
    )
    in_force = policy_or_none(agency, now)
    rules_after = rules_on(proposed, today)
    rules_before = None if in_force is None else rules_on(in_force, today)
    book = code_book(agency)
    comparison = PolicyComparison()
    for step in installed_in_steps(agency, progress):
        _compare_step(comparison, step, agency, book, rules_before, rules_after)
    return comparison


def _compare_step(
    comparison: PolicyComparison,
    sign_ids: list[int],
    agency: Organisation,
    book: CodeBook,
    rules_before: Rules | None,
    rules_after: Rules,
) -> None:
    signs = Sign.objects.filter(pk__in=sign_ids).select_related("position").order_by("pk")
    gathered = gather(list(signs), book, ZoneInfo(agency.time_zone))
    cases = [(each.face, each.readings) for each in gathered]
    after = assess_faces(cases, rules_after)
    before = (
        [NOT_JUDGED] * len(cases)
        if rules_before is None
        else [each.verdict.value for each in assess_faces(cases, rules_before)]
    )
    for one, old, new in zip(gathered, before, after, strict=True):
        comparison.signs += 1
        comparison.counts[old, new.verdict.value] += 1
        if old != new.verdict.value:
            comparison.changed.append(
                ChangedSign(one.sign.pk, one.sign.sign_code, old, new.verdict.value, new.reason)
            )


def _summed(numbers: Any) -> Counter[str]:
    total: Counter[str] = Counter()
    for word, number in numbers:
        total[word] += number
    return total
