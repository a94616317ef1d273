"""Lists of readings: one row a colour and visit, under a fixed header."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from inventory.errors import OutOfRangeError
from inventory.interchange.files import FileOptions, read_table
from inventory.services.reading_import import ReadingRow

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path
    from zoneinfo import ZoneInfo

SIGN_COLUMNS = ("sign_id", "label_id", "external_id")
NEEDED_COLUMNS = ("taken_at", "how", "color")
OTHER_COLUMNS = (
    "source_name",
    "surface_state",
    "instrument_serial",
    "observation_angle_deg",
    "entrance_angle_deg",
    "note",
    "is_confirmed",
)
KNOWN_COLUMNS = (*SIGN_COLUMNS, *NEEDED_COLUMNS, *OTHER_COLUMNS)
YES_WORDS = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}

_VALUE_COLUMN = re.compile(r"ra_([1-9][0-9]?)_cd_lx_m2")


@dataclass(frozen=True, slots=True)
class ReadingList:
    """A file of readings as it was understood, every row of it."""

    file_name: str
    columns: tuple[str, ...]
    rows: tuple[ReadingRow, ...]
    remarks: tuple[str, ...] = ()


def read_reading_list(path: Path, zone: ZoneInfo) -> ReadingList:
    """
    Return every row of a list of readings; times without an offset are of the given zone.

    Raises
    ------
    OutOfRangeError
        If the file cannot be read, or its header is not the one a list of readings has.
    """
    table = read_table(path, FileOptions())
    _check_header(table.columns)
    numbered = sorted(
        (int(match[1]), name)
        for name in table.columns
        if (match := _VALUE_COLUMN.fullmatch(name)) is not None
    )
    value_columns = [name for _number, name in numbered]
    return ReadingList(
        file_name=table.file_name,
        columns=table.columns,
        rows=tuple(
            _row(raw.line, raw.cells, raw.problem, value_columns, zone) for raw in table.rows
        ),
        remarks=table.remarks,
    )


def _check_header(columns: Sequence[str]) -> None:
    """Refuse a header with a column nobody reads, or without one that is needed."""
    unknown = [
        name
        for name in columns
        if name not in KNOWN_COLUMNS and not _VALUE_COLUMN.fullmatch(name)
    ]
    if unknown:
        named = ", ".join(f"'{name}'" for name in unknown)
        msg = (
            f"The list has columns that a list of readings does not have: {named}. Rename them "
            f"or take them out; it may have {', '.join(KNOWN_COLUMNS)} and ra_1_cd_lx_m2, "
            "ra_2_cd_lx_m2 and so on."
        )
        raise OutOfRangeError(msg)
    missing = [name for name in NEEDED_COLUMNS if name not in columns]
    if not any(name in columns for name in SIGN_COLUMNS):
        missing.append(" or ".join(SIGN_COLUMNS))
    if not any(_VALUE_COLUMN.fullmatch(name) for name in columns):
        missing.append("ra_1_cd_lx_m2")
    if missing:
        msg = f"The list has no column {', no column '.join(missing)}; add it to the header."
        raise OutOfRangeError(msg)


def _row(
    line: int,
    cells: Mapping[str, str],
    problem: str,
    value_columns: Sequence[str],
    zone: ZoneInfo,
) -> ReadingRow:
    raw = dict(cells)
    if problem:
        return ReadingRow(line=line, raw=raw, refusal=problem)
    said = {name: cell.strip() for name, cell in cells.items()}
    try:
        return ReadingRow(
            line=line,
            raw=raw,
            sign_id=_sign_id(said.get("sign_id", "")),
            label_id=said.get("label_id", ""),
            external_id=said.get("external_id", ""),
            source_name=said.get("source_name", ""),
            taken_at=parse_moment(said["taken_at"], zone),
            how=said["how"].lower(),
            surface_state=said.get("surface_state", "").lower(),
            instrument_serial=said.get("instrument_serial", ""),
            color=said["color"].lower(),
            values=tuple(said[name] for name in value_columns if said.get(name)),
            observation_angle_deg=said.get("observation_angle_deg", ""),
            entrance_angle_deg=said.get("entrance_angle_deg", ""),
            note=said.get("note", ""),
            is_confirmed=_yes(said.get("is_confirmed", "")),
        )
    except OutOfRangeError as error:
        return ReadingRow(line=line, raw=raw, refusal=str(error))


def _sign_id(text: str) -> int | None:
    if not text:
        return None
    if not (text.isascii() and text.isdecimal()):
        msg = f"'{text}' is not a sign's number (sign_id); write it in figures."
        raise OutOfRangeError(msg)
    return int(text)


def _yes(text: str) -> bool:
    if not text:
        return False
    found = YES_WORDS.get(text.lower())
    if found is None:
        msg = f"'{text}' in is_confirmed is neither yes nor no."
        raise OutOfRangeError(msg)
    return found


def parse_moment(text: str, zone: ZoneInfo) -> datetime:
    """
    Return a date and time of day as written, of the given zone unless it names its offset.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> parse_moment("2026-05-28 14:30", ZoneInfo("America/Chicago")).isoformat()
    '2026-05-28T14:30:00-05:00'
    >>> parse_moment("2026-05-28", ZoneInfo("UTC"))
    Traceback (most recent call last):
    ...
    inventory.errors.OutOfRangeError: '2026-05-28' is not a date with a time of day (taken_at);
    write it like 2026-05-28 14:30.
    """
    try:
        moment = datetime.fromisoformat(text) if ":" in text else None
    except ValueError:
        moment = None
    if moment is None:
        msg = (
            f"'{text}' is not a date with a time of day (taken_at); write it like "
            "2026-05-28 14:30."
        )
        raise OutOfRangeError(msg)
    if moment.tzinfo is not None:
        return moment
    first, second = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() != second.utcoffset():
        # Equal clock times mean two moments when clocks go back, and none when they go forward.
        is_real = first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == moment
        what = "comes twice" if is_real else "does not come at all"
        msg = (
            f"'{text}' {what} on the clocks of {zone.key}, since they change that night; write "
            f"its offset from UTC, such as {first.isoformat(sep=' ')}."
        )
        raise OutOfRangeError(msg)
    return first
