"""Readings from a list: each visit stored once, each refused row kept with its sentence."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import UTC
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from inventory.engineering.production.labels import read_label
from inventory.errors import InventoryError, OutOfRangeError, StateConflictError
from inventory.models import (
    Inspection,
    InspectionFlag,
    Instrument,
    Organisation,
    RefusedEntry,
    Sign,
    SourceRecord,
)
from inventory.services.flags import judge_signs_of, lock_instrument
from inventory.services.importing.reports import Refusal
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.logbook import log
from inventory.services.refusals import keep_refused
from inventory.services.standing import lock_signs

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import date, datetime

    from django.db.models import QuerySet

    from inventory.models import User

    Progress = Callable[[str, int, int], None]

VISITS_PER_STEP = 100
# Names the visits of imported lists; never to be changed, or lists are stored again.
NAMESPACE = uuid.UUID("5f1d3a52-6a0f-4c55-9c0e-9f0d4a7c1b11")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRow:
    """One row: the values of one colour on one visit; ``refusal`` if not understood."""

    line: int
    raw: Mapping[str, str]
    refusal: str = ""
    sign_id: int | None = None
    label_id: str = ""
    external_id: str = ""
    source_name: str = ""
    taken_at: datetime | None = None
    how: str = ""
    surface_state: str = ""
    instrument_serial: str = ""
    color: str = ""
    values: tuple[str, ...] = ()
    observation_angle_deg: str = ""
    entrance_angle_deg: str = ""
    note: str = ""
    is_confirmed: bool = False

    @property
    def visit_key(self) -> tuple[object, ...]:
        """Return what the rows of one visit have in common."""
        return (
            self.sign_id,
            self.label_id,
            self.external_id,
            self.source_name,
            self.taken_at,
            self.how,
            self.instrument_serial.casefold(),
        )


@dataclass(slots=True)
class ReadingReport:
    """What became of every row of a list; the three counts add up to its rows."""

    row_count: int
    is_dry_run: bool
    stored_rows: int = 0
    unchanged_rows: int = 0
    stored_visits: int = 0
    unchanged_visits: int = 0
    flagged_visits: int = 0
    refusals: list[Refusal] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Visit:
    """The rows of one visit, with the sign and the instrument they name."""

    rows: tuple[ReadingRow, ...]
    sign: Sign
    instrument: Instrument | None
    taken_at: datetime
    client_uuid: uuid.UUID


def import_readings(
    *,
    organisation: Organisation,
    file_name: str,
    rows: Sequence[ReadingRow],
    dry_run: bool = True,
    by: User | None = None,
    progress: Progress | None = None,
    now: datetime | None = None,
) -> ReadingReport:
    """
    Store the visits of a list, and return what became of each of its rows.

    Rows of one sign, moment, way and instrument are one visit, stored whole or not at all. A
    visit has its key from these: the same list again stores nothing twice, so a job that was
    broken off is simply run again. A dry run does the same work and takes it back.
    """
    now = now or timezone.now()
    if organisation.kind != Organisation.Kind.AGENCY:
        msg = f"{organisation} is a sign shop; readings of signs belong to an agency."
        raise StateConflictError(msg)
    report = ReadingReport(len(rows), dry_run)
    job = _Job(organisation, file_name, by, now, report)
    groups: dict[tuple[object, ...], list[ReadingRow]] = {}
    for row in rows:
        # A row that was not understood is of no visit.
        key = (row.line,) if row.refusal else row.visit_key
        groups.setdefault(key, []).append(row)
    every = list(groups.values())
    done = 0
    for start in range(0, len(every), VISITS_PER_STEP):
        step = every[start : start + VISITS_PER_STEP]
        with transaction.atomic():
            job.take(step)
            if dry_run:
                transaction.set_rollback(True)
        done += sum(len(each) for each in step)
        if progress is not None:
            progress("rows", done, len(rows))
    report.refusals.sort(key=lambda each: each.line)
    if not dry_run:
        job.write_down()
    return report


@dataclass(frozen=True, slots=True)
class _Job:
    """One list being taken in; within the caller's transactions."""

    organisation: Organisation
    file_name: str
    by: User | None
    now: datetime
    report: ReadingReport

    def take(self, groups: Sequence[Sequence[ReadingRow]]) -> None:
        """Store some visits, and judge their signs once for all of them."""
        visits: list[_Visit] = []
        for group in groups:
            try:
                visits.append(_visit(tuple(group), self.organisation))
            except InventoryError as error:
                self._refuse(group, str(error))
        # Everything that the visits lock one by one, in the one order that all use.
        instruments = {
            v.instrument.pk: v.instrument for v in visits if v.instrument is not None
        }
        for key in sorted(instruments):
            lock_instrument(instruments[key])
        lock_signs(sorted({visit.sign.pk for visit in visits}))
        keys = [visit.client_uuid for visit in visits]
        known = set(
            Inspection.objects.filter(client_uuid__in=keys).values_list(
                "client_uuid", flat=True
            )
        )
        stored: list[Inspection] = []
        for visit in visits:
            try:
                inspection = self._record(visit)
            except InventoryError as error:
                self._refuse(visit.rows, str(error), visit.client_uuid)
                continue
            if visit.client_uuid in known:
                self.report.unchanged_visits += 1
                self.report.unchanged_rows += len(visit.rows)
            else:
                known.add(visit.client_uuid)
                stored.append(inspection)
                self.report.stored_rows += len(visit.rows)
        self.report.stored_visits += len(stored)
        flagged = InspectionFlag.objects.filter(inspection__in=stored)
        self.report.flagged_visits += flagged.values("inspection").distinct().count()
        judge_signs_of(stored, owner=self.organisation, by=self.by, now=self.now)

    def write_down(self) -> None:
        """Write into the logbook what the list came to."""
        report = self.report
        log(
            organisation=self.organisation,
            actor=self.by,
            verb="import readings",
            text=(
                f"{self.file_name}: of {report.row_count} rows {report.stored_rows} stored, "
                f"{report.unchanged_rows} unchanged, {len(report.refusals)} refused. Visits "
                f"stored: {report.stored_visits}, of which flagged: {report.flagged_visits}."
            ),
            at=self.now,
        )

    def _record(self, visit: _Visit) -> Inspection:
        first = visit.rows[0]
        return record_inspection(
            sign=visit.sign,
            taken_at=visit.taken_at,
            how=first.how,
            inspector=self.by,
            client_uuid=visit.client_uuid,
            surface_state=first.surface_state,
            instrument=visit.instrument,
            reading_sets=[_reading_set(row, visit.instrument) for row in visit.rows],
            note="\n".join(dict.fromkeys(row.note for row in visit.rows if row.note)),
            is_confirmed=any(row.is_confirmed for row in visit.rows),
            is_judged_later=True,
            now=self.now,
        )

    def _refuse(
        self, rows: Sequence[ReadingRow], sentence: str, key: uuid.UUID | None = None
    ) -> None:
        """Refuse the rows of one visit; unless it is a dry run, keep them for the engineer."""
        told = sentence if len(rows) == 1 else f"{sentence} (One visit: {_lines(rows)}.)"
        self.report.refusals += [Refusal(row.line, row.raw, told) for row in rows]
        if not self.report.is_dry_run:
            keep_refused(
                organisation=self.organisation,
                channel=RefusedEntry.Channel.IMPORT,
                kind=RefusedEntry.Kind.INSPECTION,
                payload={
                    "file": self.file_name,
                    "rows": [{"line": row.line, "cells": dict(row.raw)} for row in rows],
                },
                sentence=sentence,
                by=self.by,
                client_uuid=key,
                now=self.now,
            )


def _visit(rows: tuple[ReadingRow, ...], organisation: Organisation) -> _Visit:
    first = rows[0]
    if first.refusal:
        raise OutOfRangeError(first.refusal)
    if first.taken_at is None:
        msg = "The row has no time; write it like 2026-05-28 14:30."
        raise OutOfRangeError(msg)
    if not first.how:
        msg = "The row does not say how it was read; write hand_held or mobile."
        raise OutOfRangeError(msg)
    _check_agree(rows)
    sign = _sign(first, organisation.day_of(first.taken_at), organisation)
    instrument = _instrument(first.instrument_serial, organisation)
    key = (
        organisation.pk,
        sign.pk,
        first.taken_at.astimezone(UTC).isoformat(),
        first.how,
        "" if instrument is None else instrument.pk,
    )
    return _Visit(
        rows=rows,
        sign=sign,
        instrument=instrument,
        taken_at=first.taken_at,
        client_uuid=uuid.uuid5(NAMESPACE, "|".join(map(str, key))),
    )


def _check_agree(rows: Sequence[ReadingRow]) -> None:
    """Refuse a visit whose rows contradict each other."""
    states = {row.surface_state for row in rows}
    if len(states) > 1:
        named = ", ".join(f"'{state}'" for state in sorted(states))
        msg = f"The rows name different surface states ({named}); a face was in one state."
        raise OutOfRangeError(msg)
    seen: dict[tuple[str, str, str], int] = {}
    for row in rows:
        key = (row.color, row.observation_angle_deg, row.entrance_angle_deg)
        if key in seen:
            msg = (
                f"Lines {seen[key]} and {row.line} both give {row.color} of the same visit; "
                "put all values of a colour on one row."
            )
            raise OutOfRangeError(msg)
        seen[key] = row.line


def _sign(row: ReadingRow, day: date, organisation: Organisation) -> Sign:
    """Return the one face that a row names, by any of its three names, which must agree."""
    found: dict[str, Sign] = {}
    own = Sign.objects.owned_by(organisation)
    if row.sign_id is not None:
        found[f"sign {row.sign_id}"] = _one(own.filter(pk=row.sign_id), f"sign {row.sign_id}")
    if row.label_id:
        label = read_label(row.label_id)
        found[f"label {label}"] = _one(own.filter(label_id=label), f"sign with label {label}")
    if row.external_id:
        found[f"row {row.external_id}"] = _sign_of_source(row, day, organisation)
    if not found:
        msg = "The row names no sign; fill in sign_id, label_id or external_id."
        raise OutOfRangeError(msg)
    if len({sign.pk for sign in found.values()}) > 1:
        told = ", ".join(f"{name} is sign {sign.pk}" for name, sign in found.items())
        msg = f"The row names different signs: {told}. Keep the right one."
        raise OutOfRangeError(msg)
    return next(iter(found.values()))


def _sign_of_source(row: ReadingRow, day: date, organisation: Organisation) -> Sign:
    """Return the face that stood on a day where a row of an imported list has its sign."""
    records = SourceRecord.objects.owned_by(organisation).filter(external_id=row.external_id)
    if row.source_name:
        records = records.filter(source_name=row.source_name)
    name = f"row '{row.external_id}' of an imported list"
    record = _one(records, name, "name the list in source_name")
    faces = list(record.faces.order_by("number")[:2])
    if len(faces) != 1:
        told = "no sign" if not faces else "several signs"
        msg = f"The {name} describes {told}; name the sign by sign_id or label_id."
        raise OutOfRangeError(msg)
    standing = Sign.objects.owned_by(organisation).filter(
        Q(installed_on__isnull=True) | Q(installed_on__lte=day),
        Q(removed_on__isnull=True) | Q(removed_on__gte=day),
        position=faces[0].position_id,
    )
    found: Sign = _one(
        standing,
        f"face that stood on {day:%Y-%m-%d} in the place of the {name}",
        "name the face by sign_id or label_id",
    )
    return found


def _instrument(serial: str, organisation: Organisation) -> Instrument | None:
    if not serial:
        return None
    rows = Instrument.objects.owned_by(organisation).filter(serial__iexact=serial)
    found: Instrument | None = rows.first()
    if found is None:
        msg = (
            f"There is no instrument '{serial}' in the register of {organisation}; register "
            "it, or correct the serial number."
        )
        raise OutOfRangeError(msg)
    return found


def _one(rows: QuerySet[Any], name: str, otherwise: str = "") -> Any:
    """Return the one row there is, or say that there is none or that there are several."""
    found = list(rows.order_by("pk")[:2])
    if not found:
        msg = f"There is no {name} among the records of this agency; check it."
        raise OutOfRangeError(msg)
    if len(found) > 1:
        msg = f"There is more than one {name}; {otherwise or 'name it otherwise'}."
        raise OutOfRangeError(msg)
    return found[0]


def _reading_set(row: ReadingRow, instrument: Instrument | None) -> ReadingSetInput:
    """Return the values of a row; angles it leaves empty are its instrument's."""
    observation, entrance = row.observation_angle_deg, row.entrance_angle_deg
    if instrument is not None:
        observation = observation or str(instrument.observation_angle_deg)
        entrance = entrance or str(instrument.entrance_angle_deg)
    if not observation or not entrance:
        msg = (
            f"Line {row.line} names neither its angles nor an instrument; fill in "
            "observation_angle_deg and entrance_angle_deg, or instrument_serial."
        )
        raise OutOfRangeError(msg)
    return ReadingSetInput(
        color=row.color,
        values=row.values,
        observation_angle_deg=observation,
        entrance_angle_deg=entrance,
    )


def _lines(rows: Sequence[ReadingRow]) -> str:
    return "line " + ", ".join(str(row.line) for row in rows)
