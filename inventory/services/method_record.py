"""The method record of an agency for a day: what complies is the method and its use."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils import timezone

from inventory.engineering.assessment.method_calendar import Applied, add_months
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.inspection.tolerance import MINIMUM_SAMPLE, lower_tolerance_limit
from inventory.engineering.standards.exclusions import exclusion_clauses
from inventory.engineering.standards.tables import find_table_source
from inventory.engineering.standards.vocabulary import Edition
from inventory.models import AgencyPolicy, LogbookEntry, MethodGroup, Sign, Standing
from inventory.services.method_coverage import NOW, CoveredGroup, SignLine, as_known, coverage
from inventory.services.method_findings import (
    Finding,
    findings_on,
    inadequate_at,
    seen_on,
    taken_down_words,
    verdicts_on,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date, datetime

    from inventory.engineering.inspection.condition import Observed
    from inventory.models import Organisation
    from inventory.services.method_coverage import AsKnown, Coverage
    from inventory.services.method_findings import Verdicts

MONTHS_LOOKED_BACK = 12
FAILING_REASONS = (
    Sign.RemovalReason.BELOW_LEVEL,
    Sign.RemovalReason.AGED,
    Sign.RemovalReason.DAMAGED,
    Sign.RemovalReason.KNOCKED_DOWN,
    Sign.RemovalReason.STOLEN,
    Sign.RemovalReason.FADED,
)


@dataclass(frozen=True, slots=True)
class GroupRecord:
    """One method on the day: what is under it, whether it is applied, what it found."""

    covered: CoveredGroup
    clause: str
    applied: str
    verdicts: Counter[str]
    damaged_count: int
    inadequate_count: int
    open_count: int
    undecided_about_count: int
    warnings: list[str]
    next_step: str

    @property
    def group(self) -> MethodGroup:
        """Return the group itself."""
        return self.covered.group

    @property
    def sign_count(self) -> int:
        """Return how many signs stand at its places."""
        return len(self.covered.lines)

    @property
    def verdict_words(self) -> str:
        """Return how many signs stand how, the worst first."""
        return ", ".join(
            f"{self.verdicts[verdict.value]} {verdict.value}"
            for verdict in Verdict
            if self.verdicts[verdict.value]
        )

    @property
    def seen_words(self) -> str:
        """Return what was seen by eye."""
        parts = []
        if self.damaged_count:
            parts.append(f"{self.damaged_count} damaged")
        if self.inadequate_count:
            parts.append(f"{self.inadequate_count} not adequate by night")
        return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class TakenDown:
    """A failing face that came down in the year up to the day, and what went up instead."""

    line: SignLine
    words: str
    replaced_on: date | None


@dataclass(frozen=True, slots=True)
class UnverifiedRow:
    """A row of a published table that was not compared with its source, and how often used."""

    table: str
    row_id: str
    count: int


@dataclass(frozen=True, slots=True)
class MethodRecord:
    """Everything an auditor asks of a day."""

    asked: AsKnown
    made_at: datetime
    policy: AgencyPolicy | None
    edition_words: str
    sign_count: int
    others_count: int
    groups: list[GroupRecord]
    under_none: list[SignLine]
    findings: list[Finding]
    taken_down: list[TakenDown]
    unverified: list[UnverifiedRow]
    verdicts: Counter[str]

    @property
    def organisation(self) -> Organisation:
        """Return whose record it is."""
        return self.asked.organisation

    @property
    def decided(self) -> list[Finding]:
        """Return the signs about which a decision stands."""
        return [each for each in self.findings if each.is_decided]

    @property
    def without_decision(self) -> list[Finding]:
        """Return the signs about which none stands, oldest first."""
        return [each for each in self.findings if not each.is_decided]

    @property
    def unjudged_count(self) -> int:
        """Return how many signs have no verdict for the day."""
        return self.sign_count - self.verdicts.total()

    @property
    def covered_count(self) -> int:
        """Return how many of the agency's own signs are under a method."""
        return self.sign_count - self.others_count - len(self.under_none)


def method_record(
    *, organisation: Organisation, on: date, known: str = NOW, now: datetime | None = None
) -> MethodRecord:
    """
    Return an agency's method record for a day, as it was known then or as it is known now.

    'then' shows the verdicts, decisions and methods recorded by the end of that day. 'now'
    judges everything read by that day again, with what was put right or recorded since.
    """
    now = now or timezone.now()
    asked = as_known(organisation, on, known, today=organisation.day_of(now))
    policy = policy_on(asked)
    covered = coverage(asked)
    verdicts = verdicts_on(asked, covered, policy)
    seen = seen_on(asked)
    findings = findings_on(asked, covered, verdicts, seen)
    edition = Edition(policy.edition) if policy is not None else None
    return MethodRecord(
        asked=asked,
        made_at=now,
        policy=policy,
        edition_words=edition.words if edition is not None else "no rules in force",
        sign_count=len(covered.lines),
        others_count=covered.others_count,
        groups=_group_records(covered, verdicts, seen, findings, edition),
        under_none=sorted(covered.under_none, key=lambda line: line.sign_id),
        findings=findings,
        taken_down=_taken_down(asked, covered),
        unverified=[
            UnverifiedRow(find_table_source(table_id).title, row_id, count)
            for (table_id, row_id), count in sorted(verdicts.unverified.items())
        ],
        verdicts=Counter(
            verdicts.of_sign[pk].verdict.value for pk in covered.lines if pk in verdicts.of_sign
        ),
    )


def policy_on(asked: AsKnown) -> AgencyPolicy | None:
    """Return the rules in force on the day, as far as they were recorded in time to count."""
    found: AgencyPolicy | None = (
        AgencyPolicy.objects.owned_by(asked.organisation)
        .filter(asked.by_then("recorded_at"), effective_on__lte=asked.on)
        .order_by("-effective_on", "-version")
        .first()
    )
    return found


def groups_today(
    *, organisation: Organisation, now: datetime | None = None
) -> tuple[list[GroupRecord], Coverage]:
    """Return every method as it stands today, by the standing of its signs; for a page."""
    now = now or timezone.now()
    today = organisation.day_of(now)
    asked = as_known(organisation, today, NOW, today=today)
    covered = coverage(asked)
    standings = Standing.objects.owned_by(organisation).values_list(
        "sign_id", "verdict", "condition"
    )
    of_sign = {sign_id: (verdict, condition) for sign_id, verdict, condition in standings}
    policy = policy_on(asked)
    edition = Edition(policy.edition) if policy is not None else None
    records = []
    for each in covered.groups:
        known = {
            line.sign_id: of_sign[line.sign_id]
            for line in each.lines
            if line.sign_id in of_sign
        }
        records.append(
            _group_record(
                each,
                covered,
                {pk: verdict for pk, (verdict, _condition) in known.items()},
                damaged_count=sum(
                    condition >= Standing.Condition.MODERATE
                    for _verdict, condition in known.values()
                ),
                findings=[],
                edition=edition,
            )
        )
    return records, covered


def _group_records(
    covered: Coverage,
    verdicts: Verdicts,
    seen: Mapping[int, Observed],
    findings: list[Finding],
    edition: Edition | None,
) -> list[GroupRecord]:
    return [
        _group_record(
            each,
            covered,
            {
                line.sign_id: verdicts.of_sign[line.sign_id].verdict.value
                for line in each.lines
                if line.sign_id in verdicts.of_sign
            },
            damaged_count=sum(line.sign_id in seen for line in each.lines),
            findings=[
                finding
                for finding in findings
                if covered.group_of.get(finding.line.sign_id) is each
            ],
            edition=edition,
            bounds=_what_controls_bound(each, verdicts.values_of_controls),
        )
        for each in covered.groups
    ]


def _group_record(
    covered: CoveredGroup,
    coverage_of_all: Coverage,
    verdicts: Mapping[int, str],
    *,
    damaged_count: int,
    findings: list[Finding],
    edition: Edition | None,
    bounds: Sequence[str] = (),
) -> GroupRecord:
    return GroupRecord(
        covered=covered,
        clause=_clause_words(covered.group, edition),
        applied=_applied_words(covered),
        verdicts=Counter(verdicts.values()),
        damaged_count=damaged_count,
        inadequate_count=sum(
            inadequate_at(line.sign_id, coverage_of_all) is not None for line in covered.lines
        ),
        open_count=len(findings),
        undecided_about_count=sum(not each.is_decided for each in findings),
        warnings=[
            *covered.calendar.warnings,
            *_failing_controls(covered, verdicts),
            *bounds,
        ],
        next_step=_next_step(covered),
    )


def _clause_words(group: MethodGroup, edition: Edition | None) -> str:
    """Return the clause an excluded group rests on, and whether the edition has it."""
    if group.method != MethodGroup.Method.EXCLUDED:
        return ""
    clauses = exclusion_clauses(edition) if edition is not None else ()
    clause = next((c for c in clauses if c.key.value == group.exclusion_key), None)
    if clause is None or edition is None:
        return f"'{group.exclusion_key}' is no clause of the edition in force"
    where = find_table_source(clause.table_id).published_table
    mark = "" if clause.is_verified else ", unverified"
    if not clause.may_exclude:
        return f"{clause.description}: the {edition.manual.value} edition dropped this clause"
    return f"{clause.description} ({edition.manual.value} edition, {where}{mark})"


def _applied_words(covered: CoveredGroup) -> str:
    """Return whether a method is being applied, as a share of its signs."""
    counts, total = covered.calendar.counts, len(covered.lines)
    if not total:
        return "no sign is under it"
    share = covered.calendar.share_in_time
    if share is None:
        return "left out: nothing is to be done"
    parts = [f"{counts[Applied.IN_TIME]} of {total} in time ({100 * share:.1f} %)"]
    if counts[Applied.OVERDUE]:
        parts.append(f"{counts[Applied.OVERDUE]} overdue")
    if counts[Applied.AGE_NOT_KNOWN]:
        parts.append(f"{counts[Applied.AGE_NOT_KNOWN]} of unknown age")
    return ", ".join(parts)


def _failing_controls(covered: CoveredGroup, verdicts: Mapping[int, str]) -> list[str]:
    """Return a sentence for each control sign that fails: what it stands for is to go."""
    failing = (Verdict.BELOW.value, Verdict.SHEETING_NOT_ALLOWED.value)
    return [
        f"Control sign {line.sign_id} ({line.words}) is {verdicts[line.sign_id]}: every sign "
        "it stands for is to be replaced."
        for line in covered.lines
        if line.sign_id in covered.controls and verdicts.get(line.sign_id) in failing
    ]


def _what_controls_bound(
    covered: CoveredGroup, values: Mapping[int, Mapping[str, float]]
) -> list[str]:
    """Return, by sheeting and colour, what control signs say of those they stand for."""
    samples: dict[tuple[str, str], list[float]] = defaultdict(list)
    for sign_id in sorted(covered.controls & values.keys()):
        for color, value in values[sign_id].items():
            samples[covered.sheetings.get(sign_id, ""), color].append(value)
    sentences = []
    for (sheeting, color), sample in sorted(samples.items()):
        if len(sample) < MINIMUM_SAMPLE:
            continue
        found = lower_tolerance_limit(sample)
        says = (
            f"nine in ten of the signs they stand for read {found.limit:.1f} or more"
            if found.limit > 0
            else "they are too few or differ too much to say what the others read"
        )
        sentences.append(
            f"{sheeting or 'Sheeting not known'}, {color}: {found.count} control signs read "
            f"{found.mean:.1f} cd/lx/m² on average; with {100 * found.confidence:.0f} % "
            f"confidence {says}, if they were chosen at random."
        )
    return sentences


def _next_step(covered: CoveredGroup) -> str:
    """Return what is to be done next to apply a method."""
    method = MethodGroup.Method(covered.group.method)
    if not covered.lines:
        return "put signs under it"
    verb = {
        MethodGroup.Method.MEASURED: "measure",
        MethodGroup.Method.VISUAL_NIGHT: "look by night at",
        MethodGroup.Method.EXPECTED_LIFE: "replace",
        MethodGroup.Method.BLANKET: "replace",
        MethodGroup.Method.CONTROL_SIGNS: "measure the control signs of",
    }.get(method)
    if verb is None:
        return "nothing"
    overdue = covered.calendar.counts[Applied.OVERDUE]
    if overdue:
        return f"{verb} {overdue} overdue {'sign' if overdue == 1 else 'signs'}"
    day = covered.calendar.next_due_on
    return (
        f"{verb} the next ones by {day}" if day is not None else "find out the age of its signs"
    )


def _taken_down(asked: AsKnown, covered: Coverage) -> list[TakenDown]:
    """Return the failing faces that came down in the year up to the day, the newest first."""
    since = add_months(asked.on, -MONTHS_LOOKED_BACK)
    faces = (
        Sign.objects.owned_by(asked.organisation)
        .filter(
            state=Sign.State.REMOVED,
            removed_on__gt=since,
            removed_on__lte=asked.on,
            removal_reason__in=FAILING_REASONS,
            responsible=Sign.Responsible.AGENCY,
            position__isnull=False,
        )
        .select_related("position__support__road")
        .order_by("-removed_on", "-pk")
    )
    if asked.is_then:
        late = LogbookEntry.objects.filter(
            organisation=asked.organisation, verb="remove sign", at__gte=asked.end
        )
        faces = faces.exclude(pk__in=late.values("sign"))
    up = {line.position_id: line for line in covered.lines.values()}
    found = []
    for face in faces:
        place = face.position
        if place is None or face.removed_on is None:
            continue
        line = SignLine(
            face.pk,
            place.pk,
            face.sign_code,
            face.variant,
            face.legend_text,
            place.support.road.name if place.support.road else "",
            face.responsible,
            face.installed_on,
            face.fabricated_on,
            face.removed_on,
            face.removal_reason,
            face.installed_precision,
            face.fabricated_precision,
        )
        new = up.get(place.pk)
        replaced_on = new.installed_on if new is not None else None
        found.append(TakenDown(line, taken_down_words(line), replaced_on))
    return found
