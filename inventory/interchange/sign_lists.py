"""A list of signs as another system keeps it, read with the mapping of its owner."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.interchange.files import FileOptions, RawTable, read_table
from inventory.interchange.mapping_file import parse_toml, read_file_options
from inventory.interchange.mapping_reader import read_mapping
from inventory.interchange.translation import translate
from inventory.services.importing.rows import SourceList

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path


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
