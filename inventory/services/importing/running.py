"""Taking a list in, batch by batch: dry first, and again from where it was stopped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import StateConflictError
from inventory.models import (
    ImportMissing,
    ImportRun,
    ImportSettlement,
    Organisation,
    Sign,
    SourceRecord,
)
from inventory.services.assessment import assess_signs, mark_due
from inventory.services.importing.planning import Outcome, Planner, RowPlan
from inventory.services.importing.reports import ImportReport, Refusal, Waiting
from inventory.services.importing.resolving import Resolver, faces_of
from inventory.services.importing.rows import Notebook, SourceList
from inventory.services.importing.writing import RoadBook, Writer
from inventory.services.logbook import log
from inventory.services.standards import code_book
from inventory.services.standing import policy_or_none
from inventory.services.statistics import refresh_statistics

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from inventory.models import User
    from inventory.services.importing.reports import Progress
    from inventory.services.importing.rows import SourceRow

BATCH_ROWS = 1000


def import_signs(
    *,
    organisation: Organisation,
    source: SourceList,
    dry_run: bool = True,
    by: User | None = None,
    progress: Progress | None = None,
    now: datetime | None = None,
) -> ImportReport:
    """
    Take a list in, and return what became of each of its rows.

    A dry run plans the same rows the same way and writes nothing. Each batch is one
    transaction that also keeps how far the import is: the same file and mapping given again
    after a stop go on from there. Rows, faces and inspections made here carry the moment the
    run started.
    """
    now = now or timezone.now()
    if organisation.kind != Organisation.Kind.AGENCY:
        msg = f"{organisation} is a sign shop; a list of signs belongs to an agency."
        raise StateConflictError(msg)
    report = ImportReport(len(source.rows), dry_run, remarks=list(source.remarks))
    notebook = Notebook(source.notes)
    resolver = Resolver(code_book(organisation), notebook)
    if policy_or_none(organisation, now) is None:
        report.remarks.append(
            f"{organisation} has no rules in force, so no verdicts are given; set them with "
            "manage.py set_policy, then run manage.py mark_due."
        )
    if not dry_run:
        report.run = _start_or_resume(organisation, source, by, now)
        _recall(report, report.run)
    planner = Planner(organisation, source, resolver)
    for row in source.rows[: report.resumed_at_row]:
        if not row.refusal:
            resolver.given(row)  # for its notes alone: the row itself is done
    for start in range(report.resumed_at_row, len(source.rows), BATCH_ROWS):
        batch = source.rows[start : start + BATCH_ROWS]
        if report.run is None:
            plans = planner.plan(batch, is_writing=False)
            report.faces_made += _faces_to_make(plans)
        else:
            report.run, plans = _write_batch(report, report.run, planner, batch)
        report.add(plans)
        if progress is not None:
            progress("rows", start + len(batch), len(source.rows))
    report.supports_made += planner.book.made
    report.contradicting_keys = planner.key_places.contradictions()
    if report.contradicting_keys:
        report.remarks.append(_contradiction(report.contradicting_keys, source))
    report.notes = notebook.notes
    report.missing = _missing(organisation, source)
    if report.run is not None:
        _finish(report, report.run, source, by, progress, now)
    return report


def _contradiction(keys: Sequence[tuple[str, int, float]], source: SourceList) -> str:
    """Return what is to be known of support keys that the list puts in several places."""
    rows = sum(elsewhere for _, elsewhere, _ in keys)
    come = "support key comes" if len(keys) == 1 else "support keys come"
    of_rows = "1 row" if rows == 1 else f"{rows:,} rows"
    key, _, metres = max(keys, key=lambda each: each[2])
    found = (
        f"The list contradicts itself: {len(keys):,} {come} with coordinates more "
        f"than {source.same_place_m:g} m apart (most: '{key}', {metres:,.0f} m). "
    )
    if source.is_key_trusted:
        return found + (
            "The keys are trusted: each support stands where most of its rows put it (of "
            "equals, where the first does), and the "
            f"coordinates of {of_rows} are kept with the row only. If the coordinates are "
            'right and the keys wrong, write trust = "point" in [support].'
        )
    return found + (
        "The coordinates are trusted: each place has its own support, its key marked (2), (3) …"
    )


def _faces_to_make(plans: Sequence[RowPlan]) -> int:
    made = 0
    for plan in plans:
        if plan.outcome is Outcome.CREATED:
            made += faces_of(plan.given)
        elif plan.outcome is Outcome.UPDATED and plan.ours is not None:
            made += max(0, faces_of(plan.given) - len(plan.ours.positions))
    return made


# Runs ----------------------------------------------------------------------------------------


@transaction.atomic
def _start_or_resume(
    organisation: Organisation, source: SourceList, by: User | None, now: datetime
) -> ImportRun:
    """Return the run of this file that was stopped, or a new one."""
    Organisation.objects.select_for_update().get(pk=organisation.pk)
    open_runs = ImportRun.objects.owned_by(organisation).filter(
        source_name=source.name, state=ImportRun.State.RUNNING
    )
    for run in open_runs:
        if run.file_sha256 == source.file_sha256 and run.mapping_text == source.mapping_text:
            found: ImportRun = run
            return found
        run.state = ImportRun.State.STOPPED
        run.finished_at = now
        run.save(update_fields=("state", "finished_at"))
        log(
            organisation=organisation,
            actor=by,
            verb="stop import",
            text=f"The import of {run.file_name} ended after {run.rows_done:,} of "
            f"{run.row_count:,} rows: another file or mapping of '{source.name}' was given.",
            at=now,
            detail={"import_run": run.pk},
        )
    return ImportRun.objects.create(
        organisation=organisation,
        source_name=source.name,
        file_name=source.file_name[-255:],
        file_sha256=source.file_sha256,
        mapping_text=source.mapping_text,
        started_at=now,
        started_by=by,
        row_count=len(source.rows),
    )


def _recall(report: ImportReport, run: ImportRun) -> None:
    """Put into a report what the run did before it was stopped."""
    report.resumed_at_row = run.rows_done
    report.counts = {
        Outcome.CREATED: run.created_count,
        Outcome.UPDATED: run.updated_count,
        Outcome.UNCHANGED: run.unchanged_count,
        Outcome.REFUSED: run.refused_count,
    }
    report.supports_made = run.support_count
    report.faces_made = run.face_count
    report.refusals = [Refusal(r.line, r.raw, r.reason) for r in run.refusals.all()]
    waiting = run.settlements.filter(outcome=ImportSettlement.Outcome.OPEN)
    report.waiting = [
        Waiting(each.record.external_id, each.reason, each.changes)
        for each in waiting.select_related("record")
    ]


@transaction.atomic
def _write_batch(
    report: ImportReport, run: ImportRun, planner: Planner, batch: Sequence[SourceRow]
) -> tuple[ImportRun, list[RowPlan]]:
    """Plan and write some rows, and keep that they are done."""
    start = run.rows_done
    run = ImportRun.objects.select_for_update().get(pk=run.pk)
    if run.rows_done != start or run.state != ImportRun.State.RUNNING:
        msg = (
            f"The import of {run.file_name} is being done by another process, which is at row "
            f"{run.rows_done:,}; wait until it has ended."
        )
        raise StateConflictError(msg)
    supports_before = planner.book.made
    plans = planner.plan(batch, is_writing=True)
    writer = Writer(run, planner.book, RoadBook(run.organisation))
    faces = writer.write(plans)
    report.faces_made += faces
    run.face_count += faces
    run.support_count += planner.book.made - supports_before
    run.rows_done += len(batch)
    for plan in plans:
        name = f"{plan.outcome.value}_count"
        setattr(run, name, getattr(run, name) + 1)
    run.save()
    return run, plans


def _missing(organisation: Organisation, source: SourceList) -> list[str]:
    """Return the rows of earlier files that this one does not hold; they are not removed."""
    here = {row.external_id for row in source.rows}
    known = SourceRecord.objects.owned_by(organisation).filter(source_name=source.name)
    return [each for each in known.values_list("external_id", flat=True) if each not in here]


def _finish(
    report: ImportReport,
    run: ImportRun,
    source: SourceList,
    by: User | None,
    progress: Progress | None,
    now: datetime,
) -> None:
    """Judge what changed, list what is missing, and close the run."""
    _judge(report, run, by, progress, now)
    with transaction.atomic():
        gone = set(report.missing)
        records = SourceRecord.objects.owned_by(run.organisation).filter(
            source_name=source.name
        )
        ImportMissing.objects.bulk_create(
            [
                ImportMissing(run=run, record=each)
                for each in records
                if each.external_id in gone
            ],
            ignore_conflicts=True,
            batch_size=BATCH_ROWS,
        )
        run.state = ImportRun.State.FINISHED
        run.finished_at = now
        run.save(update_fields=("state", "finished_at"))
        log(
            organisation=run.organisation,
            actor=by,
            verb="import signs",
            text=f"{run.file_name}: of {run.row_count:,} rows {run.created_count:,} created, "
            f"{run.updated_count:,} updated, {run.unchanged_count:,} unchanged, "
            f"{run.refused_count:,} refused; {len(report.waiting):,} wait to be settled.",
            at=now,
            detail={"import_run": run.pk},
        )


def _judge(
    report: ImportReport,
    run: ImportRun,
    by: User | None,
    progress: Progress | None,
    now: datetime,
) -> None:
    """Give a verdict on each face the run made or changed, and build the due list again."""
    if run.created_count + run.updated_count == 0:
        return
    refresh_statistics()
    organisation = run.organisation
    changed = Sign.objects.owned_by(organisation).filter(
        position__source_face__record__last_run=run,
        position__source_face__record__changed_at=run.started_at,
        state=Sign.State.INSTALLED,
    )
    if policy_or_none(organisation, now) is not None:
        report.verdicts = assess_signs(
            organisation=organisation,
            signs=changed.only("owner"),
            by=by,
            now=now,
            progress=_step(progress, "verdicts"),
        )
    report.due = mark_due(
        organisation=organisation, by=by, now=now, progress=_step(progress, "due list")
    )


def _step(progress: Progress | None, step: str) -> Callable[[int, int], None] | None:
    """Return a progress of one step, as the services of other stages take it."""
    if progress is None:
        return None
    return lambda done, total: progress(step, done, total)
