"""What was found on each sign by a day, and what was decided about it."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db.models import Count, OuterRef, Subquery

from inventory.engineering.assessment.dispositions import (
    Decided,
    Decision,
    decision_stands,
)
from inventory.engineering.assessment.elements import ElementKind
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.inspection.condition import Observed, find_condition
from inventory.engineering.inspection.vocabulary import Severity
from inventory.engineering.standards.vocabulary import Checked
from inventory.models import (
    Assessment,
    Disposition,
    ElementAssessment,
    Inspection,
    Observation,
    Sign,
)
from inventory.services.damage_known import damage_looks_known
from inventory.services.judging import judge_unstored
from inventory.services.standards import code_book
from inventory.services.standing import in_steps

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date, datetime

    from inventory.models import AgencyPolicy
    from inventory.services.method_coverage import AsKnown, Coverage, SignLine

TO_BE_DECIDED = (Verdict.BELOW, Verdict.SHEETING_NOT_ALLOWED, Verdict.UNDECIDED)
DAMAGED = (Severity.MODERATE, Severity.SEVERE)


@dataclass(frozen=True, slots=True)
class SignVerdict:
    """The verdict on a sign, its reason, and when what it rests on was read."""

    verdict: Verdict
    reason: str
    read_at: datetime | None


@dataclass(slots=True)
class Verdicts:
    """
    The verdicts on all signs, and the unverified rows they rest on, with how often.

    ``values_of_controls`` is the mean of each judged colour of each control sign. [cd/lx/m²]
    """

    of_sign: dict[int, SignVerdict] = field(default_factory=dict)
    unverified: Counter[tuple[str, str]] = field(default_factory=Counter)
    values_of_controls: dict[int, dict[str, float]] = field(default_factory=dict)


@dataclass(slots=True)
class Finding:
    """
    One sign that is below, undecided or damaged, and what was done about it.

    ``found_at`` is when the oldest of what was found was read or seen; ``None`` where nothing
    was read. ``decision`` says what stands on the day, ``why_none`` why nothing does, and
    ``since_then`` what happened after the day, as far as it is known.
    """

    line: SignLine
    what: list[str]
    found_at: datetime | None
    group_name: str = ""
    decision: str = ""
    why_none: str = ""
    since_then: list[str] = field(default_factory=list)

    @property
    def what_words(self) -> str:
        """Return everything that was found, as sentences."""
        return " ".join(f"{each.rstrip('.')}." for each in self.what)

    @property
    def is_decided(self) -> bool:
        """Return whether a decision stands on the day."""
        return not self.why_none


def verdicts_on(asked: AsKnown, covered: Coverage, policy: AgencyPolicy | None) -> Verdicts:
    """Return the verdicts that were stored by then, or what the facts of the day say now."""
    if asked.is_then:
        found = _stored(asked)
        found.values_of_controls = _stored_values(asked, covered.controls)
        return found
    return _judged_anew(asked, covered, policy) if policy is not None else Verdicts()


def _newest(asked: AsKnown) -> Subquery:
    newest = (
        Assessment.objects.filter(asked.by_then("assessed_at"), sign=OuterRef("pk"))
        .order_by("-assessed_at", "-pk")
        .values("pk")[:1]
    )
    signs = Sign.objects.owned_by(asked.organisation).exclude(state=Sign.State.IN_STOCK)
    return Subquery(signs.annotate(newest=Subquery(newest)).values("newest"))


def _stored(asked: AsKnown) -> Verdicts:
    rows = Assessment.objects.filter(pk__in=_newest(asked))
    found = Verdicts()
    for sign_id, verdict, reason, read_at, assessed_at in rows.values_list(
        "sign_id", "verdict", "reason", "inspection__taken_at", "assessed_at"
    ):
        found.of_sign[sign_id] = SignVerdict(Verdict(verdict), reason, read_at or assessed_at)
    doubtful = (
        ElementAssessment.objects.filter(assessment__in=_newest(asked))
        .exclude(checked__in=("", Checked.YES.value))
        .order_by("table_id", "row_id")
        .values_list("table_id", "row_id")
        .annotate(count=Count("pk"))
    )
    for table_id, row_id, count in doubtful:
        found.unverified[table_id, row_id] = count
    return found


def _stored_values(asked: AsKnown, controls: set[int]) -> dict[int, dict[str, float]]:
    values: dict[int, dict[str, float]] = defaultdict(dict)
    rows = ElementAssessment.objects.filter(
        assessment__in=_newest(asked),
        assessment__sign__in=controls,
        kind=ElementAssessment.Kind.COLOR,
        value__isnull=False,
    )
    for sign_id, color, value in rows.values_list("assessment__sign_id", "color", "value"):
        values[sign_id][color] = float(value)
    return values


def _judged_anew(asked: AsKnown, covered: Coverage, policy: AgencyPolicy) -> Verdicts:
    book = code_book(asked.organisation)
    found = Verdicts()
    visits: dict[int, int] = {}
    for step in in_steps(sorted(covered.lines)):
        signs = list(
            Sign.objects.filter(pk__in=step)
            .select_related("owner", "position__support__road")
            .order_by("pk")
        )
        judged = judge_unstored(signs, policy=policy, book=book, before=asked.end)
        for sign_id, result in judged.items():
            found.of_sign[sign_id] = SignVerdict(result.verdict, result.reason, None)
            if result.visits:
                visits[sign_id] = result.visits[-1]
            if sign_id in covered.controls:
                found.values_of_controls[sign_id] = {
                    element.color: float(element.value)
                    for element in result.elements
                    if element.kind is ElementKind.COLOR and element.value is not None
                }
            for element in result.elements:
                if element.row_id and element.checked not in (None, Checked.YES):
                    found.unverified[element.table_id, element.row_id] += 1
    read_at = _read_at(
        visits[pk] for pk, each in found.of_sign.items() if pk in visits and _is_open(each)
    )
    for sign_id, visit in visits.items():
        if visit in read_at:
            each = found.of_sign[sign_id]
            found.of_sign[sign_id] = SignVerdict(each.verdict, each.reason, read_at[visit])
    return found


def _read_at(visits: Iterable[int]) -> dict[int, datetime]:
    found: dict[int, datetime] = {}
    for step in in_steps(sorted(visits)):
        rows = Inspection.objects.filter(pk__in=step).values_list("pk", "taken_at")
        found.update(rows)
    return found


def _is_open(each: SignVerdict) -> bool:
    return each.verdict in TO_BE_DECIDED


def seen_on(asked: AsKnown) -> dict[int, Observed]:
    """
    Return the worst damage that stands on each sign, as far as it counts.

    What was told at the desk counts as seen, and what was put right as found gone.
    """
    relinked = asked.relinked()
    observed: dict[int, list[Observed]] = defaultdict(list)
    rows = Observation.objects.filter(
        asked.facts("inspection__"), inspection__organisation=asked.organisation
    )
    for visit, sign_id, kind, severity, taken_at, recorded_at in rows.values_list(
        "inspection_id",
        "inspection__sign_id",
        "kind",
        "severity",
        "inspection__taken_at",
        "inspection__recorded_at",
    ):
        words = Observation.Kind(kind).label
        observed[relinked.get(visit, sign_id)].append(
            Observed(kind, Severity(severity), words, taken_at, recorded_at)
        )
    for sign_id, looks in damage_looks_known(asked).items():
        observed[sign_id] += looks
    seen: dict[int, Observed] = {}
    for sign_id, all_of_it in observed.items():
        worst = find_condition(all_of_it).worst
        if worst is not None and worst.severity in DAMAGED:
            seen[sign_id] = worst
    return seen


def findings_on(
    asked: AsKnown, covered: Coverage, verdicts: Verdicts, seen: Mapping[int, Observed]
) -> list[Finding]:
    """Return the agency's own signs that ask for a decision, oldest first."""
    found = [
        finding
        for line in covered.lines.values()
        if line.is_ours
        for finding in _finding(line, asked, covered, verdicts, seen)
    ]
    decisions = _decisions(asked, [each.line.sign_id for each in found])
    for each in found:
        _add_decision(each, asked, covered, decisions[each.line.sign_id])
    found.sort(key=_oldest_first)
    return found


def inadequate_at(sign_id: int, covered: Coverage) -> tuple[datetime, str] | None:
    """Return when a look by night found a sign not adequate, if it was not measured since."""
    rated = covered.looked.rated.get(sign_id)
    if rated is None or rated[1]:
        return None
    measured_at = covered.looked.measured_at.get(sign_id)
    if measured_at is not None and measured_at > rated[0]:
        return None
    return rated[0], rated[2]


def _finding(
    line: SignLine,
    asked: AsKnown,
    covered: Coverage,
    verdicts: Verdicts,
    seen: Mapping[int, Observed],
) -> list[Finding]:
    """Return what asks for a decision about one sign, in a list of one or none."""
    what: list[str] = []
    moments: list[datetime] = []
    verdict = verdicts.of_sign.get(line.sign_id)
    if verdict is not None and _is_open(verdict):
        what.append(_verdict_words(verdict))
        moments += [verdict.read_at] if verdict.read_at is not None else []
    worst = seen.get(line.sign_id)
    day_of = asked.organisation.day_of
    if worst is not None:
        what.append(
            f"{worst.severity.name.lower()}: {worst.words}, seen {day_of(worst.taken_at)}"
        )
        moments.append(worst.taken_at)
    rated = inadequate_at(line.sign_id, covered)
    if rated is not None:
        procedure = rated[1].replace("_", " ")
        what.append(f"not adequate by night ({procedure}), rated {day_of(rated[0])}")
        moments.append(rated[0])
    if not what:
        return []
    group = covered.group_of.get(line.sign_id)
    return [
        Finding(
            line,
            what,
            min(moments, default=None),
            group_name=group.group.name if group is not None else "",
        )
    ]


def _verdict_words(verdict: SignVerdict) -> str:
    """Return a verdict with its reason, the verdict's word once."""
    word = verdict.verdict.value
    reason = verdict.reason
    return reason if reason.lower().startswith(word) else f"{word}: {reason}"


def _decisions(asked: AsKnown, sign_ids: Sequence[int]) -> Mapping[int, list[Disposition]]:
    decided: dict[int, list[Disposition]] = defaultdict(list)
    wanted = set(sign_ids)
    rows = (
        Disposition.objects.owned_by(asked.organisation)
        .filter(asked.by_then("decided_at"))
        .select_related("decided_by")
        .order_by("decided_at", "pk")
    )
    for row in rows.iterator():
        if row.sign_id in wanted:
            decided[row.sign_id].append(row)
    return decided


def _add_decision(
    finding: Finding, asked: AsKnown, covered: Coverage, decided: Sequence[Disposition]
) -> None:
    by_then = [row for row in decided if row.decided_at < asked.end]
    state = decision_stands(
        [Decided(Decision(r.decision), r.decided_at, r.defer_until_on) for r in by_then],
        on=asked.on,
        last_seen_at=covered.looked.seen_at.get(finding.line.sign_id),
    )
    if by_then:
        finding.decision = _decision_words(by_then[-1], asked)
    if not state.stands:
        finding.why_none = state.why_not
    finding.since_then = [
        _decision_words(row, asked) for row in decided if row.decided_at >= asked.end
    ]
    if not asked.is_then and finding.line.removed_on is not None:
        finding.since_then.append(taken_down_words(finding.line))


def taken_down_words(line: SignLine) -> str:
    """Return when and why a face came down."""
    reason = Sign.RemovalReason(line.removal_reason).label if line.removal_reason else ""
    return f"taken down {line.removed_on}" + (f" ({reason})" if reason else "")


def _decision_words(row: Disposition, asked: AsKnown) -> str:
    until = f" until {row.defer_until_on}" if row.defer_until_on else ""
    by = f" by {row.decided_by}" if row.decided_by else ""
    reason = f": {row.reason}" if row.reason else ""
    day: date = asked.organisation.day_of(row.decided_at)
    return f"{row.get_decision_display()}{until}, decided {day}{by}{reason}"


def _oldest_first(finding: Finding) -> tuple[bool, float, int]:
    """Order by what was found first; what was never read comes last."""
    at = finding.found_at
    return (at is None, at.timestamp() if at is not None else 0.0, finding.line.sign_id)
