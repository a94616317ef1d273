"""Lists of readings: each visit once, each refused row kept with its sentence."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from inventory.errors import StateConflictError
from inventory.models import (
    Assessment,
    ImportRun,
    Inspection,
    InspectionFlag,
    LogbookEntry,
    Organisation,
    Reading,
    RefusedEntry,
    Sign,
    SourceFace,
    SourceRecord,
    Standing,
)
from inventory.services import reading_import
from inventory.services.instruments import record_check
from inventory.services.reading_import import ReadingReport, ReadingRow, import_readings
from tests.bad_readings import BAD_READINGS, NAMES
from tests.factories import (
    NOW,
    make_agency,
    make_instrument,
    make_person,
    make_shop,
    make_sign,
    position_of,
)

pytestmark = pytest.mark.django_db

TAKEN = NOW - timedelta(days=3)


def row(line: int, sign: Sign | None = None, color: str = "white", **fields: Any) -> ReadingRow:
    values = {"white": ("60", "61", "59", "60"), "red": ("12", "12", "12.5", "11.5")}
    defaults: dict[str, Any] = {
        "raw": {"line": str(line), "color": color},
        "sign_id": sign.pk if sign is not None else None,
        "taken_at": TAKEN,
        "how": "hand_held",
        "surface_state": "dry",
        "color": color,
        "values": values.get(color, ("1",)),
        "observation_angle_deg": "0.2",
        "entrance_angle_deg": "-4.0",
    }
    return ReadingRow(line=line, **defaults | fields)


def visit(line: int, sign: Sign, **fields: Any) -> list[ReadingRow]:
    """Return both colours of a Stop sign that meets its levels."""
    return [row(line, sign, **fields), row(line + 1, sign, "red", **fields)]


def take(agency: Organisation, rows: list[ReadingRow], **fields: Any) -> ReadingReport:
    defaults: dict[str, Any] = {"file_name": "readings.csv", "dry_run": False, "now": NOW}
    return import_readings(organisation=agency, rows=rows, **defaults | fields)


def numbers(report: ReadingReport) -> tuple[int, int, int]:
    counts = (report.stored_rows, report.unchanged_rows, len(report.refusals))
    assert sum(counts) == report.row_count
    return counts


def reasons(report: ReadingReport) -> list[str]:
    return [each.reason for each in report.refusals]


@pytest.fixture
def agency():
    return make_agency()


def test_the_rows_of_a_visit_become_one_inspection_and_the_sign_is_judged(agency):
    sign, engineer = make_sign(agency), make_person(agency)
    report = take(agency, visit(2, sign), by=engineer)
    assert numbers(report) == (2, 0, 0)
    stored = Inspection.objects.get()
    assert (stored.sign, stored.taken_at, stored.inspector) == (sign, TAKEN, engineer)
    assert [each.color for each in stored.reading_sets.order_by("number")] == ["white", "red"]
    assert Standing.objects.get(sign=sign).verdict == "meets"
    assert Assessment.objects.count() == 1
    assert LogbookEntry.objects.get(verb="import readings").text == (
        "readings.csv: of 2 rows 2 stored, 0 unchanged, 0 refused. Visits stored: 1, of which "
        "flagged: 0."
    )


def test_a_dry_run_says_the_same_and_writes_nothing(agency):
    rows = [*visit(2, make_sign(agency)), row(4, make_sign(agency), values=("-1",))]
    dry = take(agency, rows, dry_run=True)
    for model in (Inspection, RefusedEntry, Reading, Assessment):
        assert not model.objects.exists()
    assert not LogbookEntry.objects.filter(verb="import readings").exists()
    applied = take(agency, rows)
    assert numbers(dry) == numbers(applied) == (2, 0, 1)
    assert reasons(dry) == reasons(applied)


def test_the_same_list_again_stores_nothing_twice(agency):
    rows = [each for n in range(3) for each in visit(2 * n, make_sign(agency))]
    assert numbers(take(agency, rows)) == (6, 0, 0)
    assert numbers(take(agency, rows)) == (0, 6, 0)
    assert Inspection.objects.count() == 3
    assert Assessment.objects.count() == 3


def test_a_list_that_was_broken_off_goes_on_where_it_was(agency, monkeypatch):
    monkeypatch.setattr(reading_import, "VISITS_PER_STEP", 2)
    rows = [each for n in range(5) for each in visit(2 * n, make_sign(agency))]

    class PowerCutError(Exception):
        """The power goes."""

    def cut(_step: str, done: int, _total: int) -> None:
        if done >= 4:
            raise PowerCutError

    with pytest.raises(PowerCutError):
        take(agency, rows, progress=cut)
    assert Inspection.objects.count() == 2
    assert numbers(take(agency, rows)) == (6, 4, 0)
    assert Inspection.objects.count() == 5


def test_progress_is_told_after_each_step(agency, monkeypatch):
    monkeypatch.setattr(reading_import, "VISITS_PER_STEP", 2)
    told: list[tuple[str, int, int]] = []
    rows = [each for n in range(3) for each in visit(2 * n, make_sign(agency))]
    take(agency, rows, progress=lambda *each: told.append(each))
    assert told == [("rows", 4, 6), ("rows", 6, 6)]


def test_a_visit_that_changed_in_the_list_is_refused_and_what_was_stored_stays(agency):
    sign = make_sign(agency)
    take(agency, visit(2, sign))
    report = take(agency, visit(2, sign, note="second thoughts"))
    assert numbers(report) == (0, 0, 2)
    assert all("it stays as it is" in each for each in reasons(report))
    assert Inspection.objects.get().note == ""


def test_a_visit_is_stored_whole_or_not_at_all(agency):
    sign = make_sign(agency)
    report = take(agency, [row(2, sign), row(3, sign, "red", values=("12", "-12"))])
    assert numbers(report) == (0, 0, 2)
    assert reasons(report)[0] == reasons(report)[1]
    assert reasons(report)[0] == (
        "Red: The reading -12 cd/lx/m² is negative; a face cannot return less than no light "
        "(0). Zero the instrument and read again. (One visit: line 2, 3.)"
    )
    assert not Inspection.objects.exists()


def test_one_bad_visit_leaves_the_others(agency):
    bad, good = make_sign(agency), make_sign(agency)
    report = take(agency, [row(2, bad, values=("x",)), *visit(3, good)])
    assert numbers(report) == (2, 0, 1)
    assert Inspection.objects.get().sign == good


@pytest.mark.parametrize("bad", BAD_READINGS, ids=NAMES)
def test_bad_readings_are_refused_in_a_sentence_and_kept(agency, bad):
    sign, instrument = make_sign(agency), make_instrument(agency)
    fields = {
        "taken_at": NOW + timedelta(hours=bad.hours_ahead - 1),
        "observation_angle_deg": bad.observation_angle_deg,
        "entrance_angle_deg": bad.entrance_angle_deg,
        "instrument_serial": "XX-0" if bad.is_instrument_unknown else instrument.serial,
    }
    rows = [
        row(2, sign, values=bad.white, **fields),
        row(3, sign, "red", values=bad.red, **fields),
    ]
    report = take(agency, rows)
    assert numbers(report) == (0, 0, 2)
    assert all(bad.words_on("import") in each for each in reasons(report))
    assert not Inspection.objects.exists()
    kept = RefusedEntry.objects.get()
    assert (kept.channel, kept.kind) == ("import", "inspection")
    assert kept.payload == {
        "file": "readings.csv",
        "rows": [{"line": each.line, "cells": dict(each.raw)} for each in rows],
    }
    assert bad.words_on("import") in kept.sentence
    if bad.is_unlikely:
        again = [row(2, sign, values=bad.white, is_confirmed=True, **fields), rows[1]]
        assert numbers(take(agency, again)) == (2, 0, 0)
        assert bad.words in Inspection.objects.get().note
        kept.refresh_from_db()
        assert kept.settled_at == NOW


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"refusal": "Line 2 cannot be read."}, "Line 2 cannot be read."),
        ({"taken_at": None}, "has no time"),
        ({"how": ""}, "does not say how it was read"),
        ({"how": "by ear"}, "cannot be saved"),
        ({"surface_state": "sticky"}, "cannot be saved"),
        ({"sign_id": None}, "names no sign"),
        ({"sign_id": 999999}, "There is no sign 999999"),
        ({"sign_id": None, "label_id": "001-0JM"}, "is not a label id"),
        ({"sign_id": None, "label_id": "001-0JK"}, "no sign with label 001-0JK"),
        ({"sign_id": None, "external_id": "A-1"}, "no row 'A-1' of an imported list"),
        ({"color": "puce"}, "'puce' is not a colour"),
        ({"values": ()}, "No value was typed"),
        ({"observation_angle_deg": ""}, "neither its angles nor an instrument"),
    ],
)
def test_a_row_that_says_too_little_or_too_much_is_refused_in_a_sentence(agency, fields, words):
    report = take(agency, [row(2, make_sign(agency), **fields)])
    assert numbers(report) == (0, 0, 1)
    assert words in reasons(report)[0]
    assert RefusedEntry.objects.get().payload["rows"][0]["line"] == 2


def test_rows_of_a_visit_that_contradict_each_other_are_refused(agency):
    sign = make_sign(agency)
    states = [row(2, sign), row(3, sign, "red", surface_state="dew")]
    twice = [row(2, sign), row(3, sign)]
    assert "different surface states ('dew', 'dry')" in reasons(take(agency, states))[0]
    assert "Lines 2 and 3 both give white" in reasons(take(agency, twice))[0]


def test_another_agencys_sign_is_not_there(agency):
    report = take(agency, [row(2, make_sign(make_agency()))])
    assert "among the records of this agency" in reasons(report)[0]


def test_a_shop_imports_no_readings(agency):
    with pytest.raises(StateConflictError, match="is a sign shop"):
        take(make_shop(), [])


def test_empty_angles_are_those_of_the_instrument(agency):
    instrument = make_instrument(agency, observation_angle_deg="0.5")
    angles = {"observation_angle_deg": "", "entrance_angle_deg": ""}
    sign = make_sign(agency)
    serial = instrument.serial.lower()
    take(agency, [row(2, sign, instrument_serial=serial, **angles)])
    stored = Inspection.objects.get()
    assert stored.instrument == instrument
    assert [str(each.observation_angle_deg) for each in stored.reading_sets.all()] == ["0.50"]


def test_readings_by_an_instrument_in_doubt_are_stored_flagged_and_counted(agency):
    instrument = make_instrument(agency)
    record_check(
        instrument=instrument,
        moment="after",
        reference="250",
        shown="200",
        checked_at=TAKEN + timedelta(hours=1),
        now=NOW,
    )
    sign = make_sign(agency)
    report = take(agency, visit(2, sign, instrument_serial=instrument.serial))
    assert (report.stored_visits, report.flagged_visits) == (1, 1)
    assert InspectionFlag.objects.count() == 1
    assert Standing.objects.get(sign=sign).verdict == "no usable reading"


# --- which sign ---------------------------------------------------------------------------


def source_row(
    agency: Organisation, sign: Sign, external_id: str, source: str = "list"
) -> None:
    run, _ = ImportRun.objects.get_or_create(
        organisation=agency,
        source_name=source,
        file_name="list.csv",
        file_sha256="0" * 64,
        mapping_text="",
        started_at=NOW,
    )
    record, _ = SourceRecord.objects.get_or_create(
        organisation=agency,
        source_name=source,
        external_id=external_id,
        defaults={
            "raw": {},
            "row_sha256": "0" * 64,
            "first_run": run,
            "last_run": run,
            "changed_at": NOW,
        },
    )
    SourceFace.objects.create(
        record=record, position=position_of(sign), number=record.faces.count() + 1
    )


def named(**names: Any) -> ReadingRow:
    return row(2, None, **names)


def test_a_sign_is_found_by_the_label_on_its_back(agency):
    sign = make_sign(agency, label_id="001-0JK")
    take(agency, [named(label_id="oo1 ojk")])
    assert Inspection.objects.get().sign == sign


def test_an_external_id_means_the_face_that_stood_there_on_the_day(agency):
    new = make_sign(agency, installed_on=date(2026, 5, 20))
    old = make_sign(
        agency,
        position=position_of(new),
        state=Sign.State.REMOVED,
        installed_on=date(2010, 5, 1),
        removed_on=date(2026, 5, 20),
        removal_reason="below_level",
    )
    source_row(agency, new, "A-1")
    before, after = (datetime(2026, 5, day, 12, tzinfo=UTC) for day in (10, 25))
    take(agency, [named(external_id="A-1", taken_at=before)])
    take(agency, [named(external_id="A-1", taken_at=after)])
    assert list(Inspection.objects.order_by("taken_at").values_list("sign", flat=True)) == [
        old.pk,
        new.pk,
    ]
    changed = named(external_id="A-1", taken_at=datetime(2026, 5, 20, 12, tzinfo=UTC))
    assert "more than one face that stood on 2026-05-20" in reasons(take(agency, [changed]))[0]


def test_an_external_id_that_could_mean_several_signs_is_refused(agency):
    first, second = make_sign(agency), make_sign(agency)
    source_row(agency, first, "A-1")
    source_row(agency, second, "A-1", "another list")
    assert (
        "name the list in source_name" in reasons(take(agency, [named(external_id="A-1")]))[0]
    )
    take(agency, [named(external_id="A-1", source_name="another list")])
    assert Inspection.objects.get().sign == second
    source_row(agency, make_sign(agency), "A-1")
    both = named(external_id="A-1", source_name="list")
    assert "describes several signs" in reasons(take(agency, [both]))[0]


def test_names_of_different_signs_are_refused(agency):
    labelled, other = make_sign(agency, label_id="001-0JK"), make_sign(agency)
    report = take(agency, [named(label_id="001-0JK", sign_id=other.pk)])
    assert f"label 001-0JK is sign {labelled.pk}" in reasons(report)[0]
