"""Finds the benchmark of each stage, runs it, prints its table and keeps the figures."""

from __future__ import annotations

import importlib
import importlib.util
import json
from dataclasses import asdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from tests.bench.rows import Row

STAGES = (
    "assessment",
    "exchange",
    "forecast",
    "programme",
    "ordering",
    "map",
    "interchange",
    "soak",
)
HEADINGS = ("figure", "value", "unit", "peer", "peer's", "ratio", "aim", "reached")
NUMBERS = ("value", "peer's", "ratio")


def stages_written(package: str = "tests.bench") -> list[str]:
    """Return the stages that have a benchmark, in the order of the work."""
    return [
        stage
        for stage in STAGES
        if importlib.util.find_spec(f"{package}.bench_{stage}") is not None
    ]


def run_stage(stage: str, folder: Path, *, package: str = "tests.bench") -> list[Row]:
    """Run one stage's benchmark, print its table and write ``<folder>/<stage>.json``."""
    rows: list[Row] = importlib.import_module(f"{package}.bench_{stage}").run()
    print(f"\n{stage}")
    print(table(rows))
    folder.mkdir(parents=True, exist_ok=True)
    text = json.dumps([asdict(row) for row in rows], indent=1, ensure_ascii=False)
    (folder / f"{stage}.json").write_text(text + "\n", encoding="utf-8")
    return rows


def table(rows: Sequence[Row]) -> str:
    """Return the rows as aligned text, numbers to the right."""
    cells = [HEADINGS, *(_cells(row) for row in rows)]
    widths = [max(len(line[column]) for line in cells) for column in range(len(HEADINGS))]
    lines = []
    for line in cells:
        fitted = [
            text.rjust(width) if heading in NUMBERS else text.ljust(width)
            for heading, text, width in zip(HEADINGS, line, widths, strict=True)
        ]
        lines.append("  " + "  ".join(fitted).rstrip())
    notes = [f"  {row.name}: {row.note}" for row in rows if row.note]
    return "\n".join([*lines, *notes])


def all_reached(rows: Sequence[Row]) -> bool:
    """Return whether no row missed its aim."""
    return all(row.holds is not False for row in rows)


def _cells(row: Row) -> tuple[str, ...]:
    """Return one row as the texts of its columns."""
    reached = {True: "yes", False: "NO", None: "-"}[row.holds]
    return (
        row.name,
        _number(row.value),
        row.unit,
        row.peer or "-",
        _number(row.peer_value),
        _number(row.ratio),
        row.target or "-",
        reached,
    )


def _number(value: float | None) -> str:
    """Return a figure with four digits that count, or a dash."""
    if value is None:
        return "-"
    if float(value).is_integer() and abs(value) < 1e12:
        return f"{int(value):,}"
    return f"{value:,.4g}" if abs(value) < 1_000 else f"{value:,.0f}"
