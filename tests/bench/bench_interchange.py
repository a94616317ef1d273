"""How fast a list is taken in: by batches against row by row, and the same list again.

The peer stores the same records of the same rows the plain way: each saved by itself, each row
in a transaction of its own. No outside program is timed.
"""

from __future__ import annotations

import csv
import random
import tempfile
import time
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from django.db import connection, transaction

from inventory.engineering.places import cell_of
from inventory.interchange.sign_lists import read_sign_list
from inventory.models import (
    ColourArea,
    ImportRun,
    Organisation,
    Position,
    Sign,
    SourceFace,
    SourceRecord,
    Support,
)
from inventory.services.importing import import_signs
from inventory.services.importing.resolving import Resolver
from inventory.services.importing.rows import Notebook, SourceField
from inventory.services.people import create_organisation, set_policy
from inventory.services.standards import code_book
from tests.bench.database import temporary_database
from tests.bench.rows import Row

if TYPE_CHECKING:
    from inventory.services.importing.rows import SourceList

ROWS = 10_000
ROWS_ONE_BY_ONE = 1_000
SECONDS_AIM = 60.0  # the task's: 9,278 signs with their verdicts
SEED = 20260601
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
CODES = ("R1-1", "W1-2L", "W1-2R", "R2-1", "D3-1", "", "XX-9")
SHEETINGS = ("high grade prism", "beads", "", "shiny")
MAPPING = """
[list]
name = "bench"
[id]
columns = ["No"]
[point]
crs = "EPSG:3435"
x = "X"
y = "Y"
[support]
key_column = "Post"
[code]
column = "Code"
[size]
column = "Size"
unit = "in"
[facing]
column = "Dir"
convention = "front"
[sheeting]
column = "Sheeting"
values."high grade prism" = { type = "IV", optics = "prismatic" }
values."beads" = { type = "I", optics = "beaded" }
[installed]
column = "Up"
formats = ["%m/%d/%Y", "%Y"]
"""


def run() -> list[Row]:
    """Return the figures; the list stands in a temporary place, as its database does."""
    with tempfile.TemporaryDirectory() as folder, temporary_database():
        path = Path(folder) / "list.csv"
        _write_list(path)
        started = time.perf_counter()
        source = read_sign_list(path, MAPPING, today=date(2026, 6, 1))
        read_s = time.perf_counter() - started
        agency = _agency("Bench County")
        rows_s, whole_s = _import(agency, source)
        again_s, _ = _import(agency, source)
        alone_s = _one_by_one(_agency("Plain County"), source) / ROWS_ONE_BY_ONE
    ratio = alone_s / (rows_s / ROWS)
    return [
        Row(name="read a list and put it into our words", value=ROWS / read_s, unit="rows/s"),
        Row(
            name=f"take in {ROWS:,} rows",
            value=ROWS / rows_s,
            unit="rows/s",
            peer="the same records row by row",
            peer_value=1 / alone_s,
            ratio=ratio,
            target="≥ 2 × row by row",
            holds=ratio >= 2,
            note=f"{connection.vendor}; the peer on {ROWS_ONE_BY_ONE:,} rows",
        ),
        Row(
            name="the same list again",
            value=ROWS / again_s,
            unit="rows/s",
            peer="the first time",
            peer_value=ROWS / rows_s,
            ratio=rows_s / again_s,
        ),
        Row(
            name=f"{ROWS:,} rows with their verdicts and the due list",
            value=read_s + whole_s,
            unit="s",
            target=f"≤ {SECONDS_AIM:g} s",
            holds=read_s + whole_s <= SECONDS_AIM,
        ),
    ]


def _write_list(path: Path) -> None:
    """Write an invented list, about three signs on two posts."""
    dice = random.Random(SEED)  # noqa: S311 - an invented list, not a secret
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["No", "X", "Y", "Post", "Code", "Size", "Dir", "Sheeting", "Up"])
        for number in range(ROWS):
            post = number * 2 // 3
            writer.writerow(
                [
                    number + 1,
                    f"{984_250 + post % 100 * 150}",
                    f"{1_260_000 + post // 100 * 150}",
                    f"P{post}",
                    dice.choice(CODES),
                    dice.choice(['30" x 30"', '12" X 18"', '30" X 6"/ 30" X 6"', ""]),
                    dice.choice(["N", "E", "S", "W", ""]),
                    dice.choice(SHEETINGS),
                    dice.choice(["05/02/2014", "2016", ""]),
                ]
            )


def _agency(name: str) -> Organisation:
    agency = create_organisation(name=name, kind=Organisation.Kind.AGENCY)
    set_policy(
        agency=agency,
        effective_on=date(2020, 1, 1),
        edition="11th-2023",
        basis="for the benchmark",
        now=NOW,
    )
    return agency


def _import(agency: Organisation, source: SourceList) -> tuple[float, float]:
    """Return the seconds until the rows are stored, and until everything is done."""
    started = time.perf_counter()
    stored = [started]

    def progress(step: str, _done: int, _total: int) -> None:
        if step == "rows":
            stored[0] = time.perf_counter()

    import_signs(organisation=agency, source=source, dry_run=False, progress=progress, now=NOW)
    return stored[0] - started, time.perf_counter() - started


def _one_by_one(agency: Organisation, source: SourceList) -> float:
    """Store the records of some rows, each by itself; return the seconds."""
    resolver = Resolver(code_book(agency), Notebook())
    run = ImportRun.objects.create(
        organisation=agency, source_name="plain", file_name="", file_sha256="", started_at=NOW
    )
    started = time.perf_counter()
    for row in source.rows[:ROWS_ONE_BY_ONE]:
        given = resolver.given(row)
        with transaction.atomic():
            latitude_deg, longitude_deg = given[SourceField.POINT]
            support, _made = Support.objects.get_or_create(
                organisation=agency,
                external_key=given[SourceField.SUPPORT_KEY],
                defaults={
                    "latitude_deg": latitude_deg,
                    "longitude_deg": longitude_deg,
                    "cell": cell_of(latitude_deg, longitude_deg),
                },
            )
            record = SourceRecord.objects.create(
                organisation=agency,
                source_name="plain",
                external_id=row.external_id,
                raw=dict(row.raw),
                applied=given,
                row_sha256="",
                first_run=run,
                last_run=run,
                changed_at=NOW,
            )
            for number, size in enumerate(given[SourceField.SIZES] or [(None, None)], start=1):
                position = Position.objects.create(
                    organisation=agency,
                    support=support,
                    sign_code=given[SourceField.SIGN_CODE],
                    source_code=given[SourceField.SOURCE_CODE],
                    width_in=size[0],
                    height_in=size[1],
                    facing_deg=given[SourceField.FACING],
                )
                SourceFace.objects.create(record=record, position=position, number=number)
                sign = Sign.objects.create(
                    owner=agency,
                    position=position,
                    state=Sign.State.INSTALLED,
                    sign_code=position.sign_code,
                )
                for part, (kind, color) in enumerate(given[SourceField.COLORS], start=1):
                    ColourArea.objects.create(sign=sign, number=part, part=kind, color=color)
    return time.perf_counter() - started
