"""A list of signs as another system keeps it, read with the mapping of its owner."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.interchange.files import FileOptions, RawTable, read_table
from inventory.interchange.mapping_file import parse_toml, read_file_options
from inventory.interchange.mapping_reader import read_mapping
from inventory.interchange.points import FAR_M, find_far
from inventory.interchange.translation import translate
from inventory.services.importing.rows import SourceField, SourceList

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from pathlib import Path

    from inventory.interchange.mapping import ListMapping
    from inventory.services.importing.rows import SourceRow


@dataclass(frozen=True, slots=True)
class Look:
    """A file as it is, before any mapping: its columns, and what each of them holds."""

    table: RawTable
    words: dict[str, Counter[str]]


def look_at(path: Path, mapping_text: str = "") -> Look:
    """
    Return what a file holds, for a person who is to write its mapping.

    Only the [file] table of a mapping counts here, where one is given.

    Raises
    ------
    OutOfRangeError
        If the file cannot be read.
    """
    options = read_file_options(parse_toml(mapping_text)) if mapping_text else FileOptions()
    table = read_table(path, options)
    words: dict[str, Counter[str]] = {name: Counter() for name in table.columns}
    for row in table.rows:
        for name, cell in row.cells.items():
            text = " ".join(cell.split())
            if text and name in words:
                words[name][text] += 1
    return Look(table, words)


def read_sign_list(path: Path, mapping_text: str, *, today: date) -> SourceList:
    """
    Return every row of a list in our words, with what could not be taken as it stands.

    Parameters
    ----------
    path : Path
        A CSV file, or whatever pyogrio reads.
    mapping_text : str
        The mapping, as TOML.
    today : date
        A date after this day is no date of the past and is taken as not known.

    Raises
    ------
    OutOfRangeError
        If the file cannot be read or the mapping does not fit it; the message lists all slips.
    """
    data = parse_toml(mapping_text)
    options = read_file_options(data)
    table = read_table(path, options)
    mapping = read_mapping(data, options, table)
    rows, notebook = translate(table, mapping, today)
    remarks = [*table.remarks, *mapping.point.projector.remarks()]
    if "owner" not in data:
        remarks.append("There is no [owner]: every sign is taken as the organisation's own.")
    remarks += _place_remarks(rows, mapping)
    return SourceList(
        name=mapping.list_name,
        file_name=table.file_name,
        file_sha256=table.sha256,
        mapping_text=mapping_text,
        columns=table.columns,
        rows=rows,
        grouping_m=mapping.grouping_m,
        same_place_m=mapping.same_place_m,
        is_key_trusted=mapping.is_key_trusted,
        remarks=(*remarks, *mapping.bases()),
        notes=tuple(notebook.notes),
    )


def _place_remarks(rows: Sequence[SourceRow], mapping: ListMapping) -> list[str]:
    """Return what a person should know of where the rows put their signs."""
    remarks = []
    placed = [row for row in rows if not row.refusal and row.values[SourceField.POINT]]
    points = [tuple(row.values[SourceField.POINT]) for row in placed]
    if mapping.support_key is None and mapping.grouping_m is None:
        shared = len(points) - len(set(points))
        but = f", though {_rows(shared)} at the very point of an earlier one" if shared else ""
        remarks.append(
            f"There is no [support]: each row gets a support of its own{but}. Supports are "
            "chosen when a row is first taken; decide before --apply."
        )
    if points:
        (latitude, longitude), far = find_far(points)
        if far:
            first = placed[far[0]]
            at = points[far[0]]
            remarks.append(
                f"More than {FAR_M / 1000:g} km from the middle of the list (latitude "
                f"{latitude:.5f}, longitude {longitude:.5f}) {_rows(len(far))}, the first on "
                f"line {first.line} at latitude {at[0]:.5f}, longitude {at[1]:.5f}: perhaps "
                "a minus is missing, or latitude and longitude are exchanged. Give bounds in "
                "[point], so that such rows are refused."
            )
    return remarks


def _rows(number: int) -> str:
    return "1 row lies" if number == 1 else f"{number:,} rows lie"
