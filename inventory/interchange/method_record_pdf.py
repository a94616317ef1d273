"""The method record of a day as a PDF, for a file or an auditor's desk."""

from __future__ import annotations

from typing import IO, TYPE_CHECKING

from reportlab.platypus import Paragraph, Spacer

from inventory.engineering.standards.night_procedures import hit_rate_sentence
from inventory.interchange.pdf_pages import head, shown, style, table, tables, text, write_pdf
from inventory.models import MethodGroup

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reportlab.platypus import Flowable

    from inventory.services.method_coverage import SignLine
    from inventory.services.method_findings import Finding
    from inventory.services.method_record import GroupRecord, MethodRecord

SHOWN_OVERDUE = 500


def write_method_record(record: MethodRecord, stream: IO[bytes]) -> None:
    """Write a method record as a PDF to a stream that can be sought."""
    title = f"Method record, {record.organisation.name}, {record.asked.on:%Y-%m-%d}"
    write_pdf(
        stream,
        _story(record),
        title=title,
        author=record.organisation.name,
        subject=record.asked.words,
        foot=f"{title}, {record.asked.words}",
    )


def _story(record: MethodRecord) -> Iterator[Flowable]:
    yield from _top(record)
    yield from _methods(record)
    yield from _steps(record)
    yield from _found(record)
    yield from _without(record)
    yield from _decided(record)
    yield from _taken_down(record)
    yield from _overdue(record)
    yield from _under_none(record)
    yield from _notes(record)


def _top(record: MethodRecord) -> Iterator[Flowable]:
    asked, organisation = record.asked, record.organisation
    yield Paragraph("Method record", style(20, bold=True))
    invented = " (an invented agency: demo data)" if organisation.is_invented else ""
    yield Paragraph(shown(f"{organisation.name}{invented}"), style(12, bold=True))
    meaning = (
        "Only what was recorded by the end of that day is shown."
        if asked.is_then
        else "What was recorded or put right since is included."
    )
    policy = record.policy
    rows = [
        ["For the day", f"{asked.on:%Y-%m-%d}, {asked.words}. {meaning}"],
        ["Made", organisation.clock_words(record.made_at)],
        [
            "Rules",
            f"version {policy.version}, in force from {policy.effective_on:%Y-%m-%d}: "
            f"{record.edition_words}. Basis: {policy.basis}"
            if policy is not None
            else "No rules were in force on that day, so nothing could be judged.",
        ],
        [
            "Signs",
            f"{record.sign_count:,} signs up: {record.covered_count:,} under a method, "
            f"{len(record.under_none):,} under none, {record.others_count:,} of others.",
        ],
    ]
    yield Spacer(1, 6)
    yield table([], rows, (1.1, 5.9), bold_first=True)
    yield Spacer(1, 6)
    yield text(
        "An agency complies by having a method designed to keep its signs at or above the "
        "minimum levels, and by using it; one sign below its level on a given day does not "
        "break that (MUTCD 11th edition section 2A.22, read in a state manual that adopts "
        "it). This record shows the methods, whether they were applied, what they found, and "
        "what was done.",
        soft=True,
    )


def _methods(record: MethodRecord) -> Iterator[Flowable]:
    yield from head("Methods, and whether each is applied")
    if not record.groups:
        yield text("No method is on record for this day.")
        return
    rows = [
        [
            f"{each.group.name}",
            _terms(each),
            f"{each.sign_count:,}",
            each.applied,
            each.next_step,
        ]
        for each in record.groups
    ]
    yield from tables(
        ["Group", "Method and basis", "Signs", "Applied", "Next step"],
        rows,
        (1.5, 2.5, 0.5, 1.4, 1.1),
        right=(2,),
    )
    yield Spacer(1, 6)
    for each in record.groups:
        for warning in each.warnings:
            yield text(f"{each.group.name}. {warning}")


def _terms(each: GroupRecord) -> str:
    group = each.group
    words = [f"{group.get_method_display().capitalize()}, since {group.started_on:%Y-%m-%d}"]
    if group.interval_months:
        words.append(f"every {group.interval_months} months")
    if group.expected_life_years:
        words.append(f"life {group.expected_life_years} years")
    if each.clause:
        words.append(each.clause)
    return f"{', '.join(words)}. {group.basis}"


def _steps(record: MethodRecord) -> Iterator[Flowable]:
    steps = [
        [f"{step.done_on:%Y-%m-%d}", each.group.name, step.text]
        for each in record.groups
        for step in each.covered.steps
    ]
    if steps:
        yield from head("What was done to apply them")
        yield from tables(["Day", "Group", "What"], steps, (0.9, 2.6, 3.5))


def _overdue(record: MethodRecord) -> Iterator[Flowable]:
    late = [
        (entry, each, each.covered)
        for each in record.groups
        for entry in each.covered.calendar.overdue
    ]
    if not late:
        return
    late.sort(key=lambda one: (one[0].due_on or record.asked.on, one[0].sign_id))
    yield from head(f"Overdue on their method's calendar ({len(late):,})")
    lines = {line.sign_id: line for _entry, _each, covered in late for line in covered.lines}
    yield from tables(
        ["Due", "Sign", "Group", "Because"],
        (
            [
                f"{entry.due_on:%Y-%m-%d}" if entry.due_on else "not known",
                _sign(lines[entry.sign_id]),
                each.group.name,
                entry.words,
            ]
            for entry, each, _covered in late[:SHOWN_OVERDUE]
        ),
        (0.8, 2.4, 1.9, 1.9),
    )
    if len(late) > SHOWN_OVERDUE:
        yield text(
            f"{len(late) - SHOWN_OVERDUE:,} more are overdue; the longest overdue are listed."
        )


def _found(record: MethodRecord) -> Iterator[Flowable]:
    yield from head("What each method found")
    rows = [
        [
            each.group.name,
            each.verdict_words or "no verdict",
            each.seen_words or "nothing",
            f"{each.open_count:,}",
            f"{each.undecided_about_count:,}",
        ]
        for each in record.groups
    ]
    yield from tables(
        ["Group", "Verdicts", "Seen", "Below, undecided or damaged", "Without a decision"],
        rows,
        (1.6, 2.5, 1.1, 1.0, 0.8),
        right=(3, 4),
    )
    if record.unjudged_count:
        yield text(f"{record.unjudged_count:,} signs had no verdict on record for this day.")


def _without(record: MethodRecord) -> Iterator[Flowable]:
    found = record.without_decision
    yield from head(f"Below, undecided or damaged, without a decision ({len(found):,})")
    if not found:
        yield text("None: a decision stands about every such sign.")
        return
    yield text("Oldest first.", soft=True)
    yield from tables(
        ["Since", "Sign", "What was found", "Decision"],
        (
            [_since(each, record), _sign(each.line), each.what_words, _none(each)]
            for each in found
        ),
        (0.8, 1.9, 2.8, 1.5),
    )


def _decided(record: MethodRecord) -> Iterator[Flowable]:
    found = record.decided
    yield from head(f"Below, undecided or damaged, and decided about ({len(found):,})")
    if not found:
        yield text("None.")
        return
    yield from tables(
        ["Since", "Sign", "What was found", "What was done"],
        (
            [_since(each, record), _sign(each.line), each.what_words, _done(each)]
            for each in found
        ),
        (0.8, 1.9, 2.8, 1.5),
    )


def _taken_down(record: MethodRecord) -> Iterator[Flowable]:
    found = record.taken_down
    yield from head(f"Failing faces taken down in the year before ({len(found):,})")
    if not found:
        yield text("None.")
        return
    yield from tables(
        ["Sign", "Taken down", "New face"],
        (
            [
                _sign(each.line),
                each.words,
                f"put up {each.replaced_on:%Y-%m-%d}" if each.replaced_on else "none on record",
            ]
            for each in found
        ),
        (3.0, 2.5, 1.5),
    )


def _under_none(record: MethodRecord) -> Iterator[Flowable]:
    found = record.under_none
    yield from head(f"Under no method ({len(found):,})")
    if not found:
        yield text("None: every sign of the agency is under a method.")
        return
    pairs = [found[start : start + 2] for start in range(0, len(found), 2)]
    yield from tables(
        [],
        ([_sign(line) for line in pair] + [""] * (2 - len(pair)) for pair in pairs),
        (3.5, 3.5),
    )


def _notes(record: MethodRecord) -> Iterator[Flowable]:
    yield from head("Notes")
    methods = {each.group.method for each in record.groups}
    if MethodGroup.Method.VISUAL_NIGHT in methods:
        yield text(f"Looking by night. {hit_rate_sentence()}")
    if record.asked.is_then:
        yield text(
            "As known then: verdicts, decisions, methods and rules recorded by the end of the "
            "day. What a face is made of, and where it stands, is as recorded today."
        )
    else:
        yield text(
            "As known now: everything read by that day was judged again by the rules in force "
            "on it, with readings as they were put right since."
        )
    if not record.unverified:
        yield text("Every row used was compared with its source.")
        return
    yield text(
        "Unverified: these rows of published tables, or what chose them, were not compared "
        "with the source. A verdict that rests on one is as sure as the row."
    )
    yield from tables(
        ["Table", "Row", "Verdicts"],
        ([each.table, each.row_id, f"{each.count:,}"] for each in record.unverified),
        (3.2, 3.1, 0.7),
        right=(2,),
    )


def _since(finding: Finding, record: MethodRecord) -> str:
    if finding.found_at is None:
        return "not read"
    return f"{record.organisation.day_of(finding.found_at):%Y-%m-%d}"


def _none(finding: Finding) -> str:
    words = [finding.why_none]
    if finding.decision and finding.why_none != "nothing decided":
        words.append(f"last: {finding.decision}")
    return "; ".join([*words, *(f"since then: {each}" for each in finding.since_then)])


def _done(finding: Finding) -> str:
    return "; ".join(
        [finding.decision, *(f"since then: {each}" for each in finding.since_then)]
    )


def _sign(line: SignLine) -> str:
    return f"{line.sign_id}: {line.words}"
