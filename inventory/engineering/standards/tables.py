"""
Reading the table files: every row with its source and how far it was checked.

A file has a ``[source]`` block, ``[[row]]`` tables (or the name of a CSV file that holds them)
and, where many rows share one, ``[basis.<key>]`` blocks that a row names. An empty cell of the
source is a missing key. Numbers are read as decimals, so that ``0.10`` stays ``0.10``.
"""

import csv
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import cache
from pathlib import Path
from typing import Any, TypedDict

from inventory.engineering.standards.vocabulary import Checked
from inventory.errors import OutOfRangeError

TABLES_DIRECTORY = Path(__file__).parent / "tables"


class PublishedFields(TypedDict):
    """What every published row carries beside its own figures."""

    table_id: str
    row_id: str
    checked: Checked
    source: str
    verification: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedRow:
    """One row of a published table: where it stands and how far it was checked."""

    table_id: str
    row_id: str
    checked: Checked
    source: str
    verification: str

    @property
    def is_verified(self) -> bool:
        """Return whether the row was read in the source named beside it."""
        return self.checked.is_verified


@dataclass(frozen=True, slots=True)
class TableSource:
    """What a table file says of itself; angles only where the whole table has one geometry."""

    table_id: str
    title: str
    edition: str
    published_table: str
    checked: Checked
    file_name: str
    observation_angle_deg: Decimal | None = None
    entrance_angle_deg: Decimal | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row as it stands in its file, read key by key."""

    file_name: str
    table_id: str
    cells: Mapping[str, Any]
    bases: Mapping[str, Mapping[str, str]]

    def text(self, key: str) -> str:
        """Return a text cell; a missing one is an error in the file."""
        value = self.cells.get(key)
        if not isinstance(value, str) or not value:
            raise OutOfRangeError(self._complaint(key, "a text"))
        return value

    def optional_text(self, key: str) -> str:
        """Return a text cell, empty where the source prints none."""
        return self.text(key) if key in self.cells else ""

    def decimal(self, key: str) -> Decimal:
        """Return a number cell exactly as printed; a missing one is an error in the file."""
        if key not in self.cells:
            raise OutOfRangeError(self._complaint(key, "a number"))
        return exact_decimal(self.cells[key], f"{self.file_name}: {key}")

    def optional_decimal(self, key: str) -> Decimal | None:
        """Return a number cell, ``None`` where the source prints none."""
        return self.decimal(key) if key in self.cells else None

    def flag(self, key: str) -> bool:
        """Return a true/false cell; a missing one is an error in the file."""
        value = self.cells.get(key)
        if value in (True, "true"):
            return True
        if value in (False, "false"):
            return False
        raise OutOfRangeError(self._complaint(key, "true or false"))

    def _complaint(self, key: str, wanted: str) -> str:
        row_id = self.cells.get("row_id", "without row_id")
        return f"Table file {self.file_name}, row {row_id}: '{key}' must hold {wanted}."

    def published(self) -> PublishedFields:
        """Return the fields that every published row carries."""
        if "basis" in self.cells:
            basis = self.bases[self.text("basis")]
            source, verification = basis["source"], basis["verification"]
        else:
            source = self.optional_text("source")
            verification = self.optional_text("verification")
        return PublishedFields(
            table_id=self.table_id,
            row_id=self.text("row_id"),
            checked=Checked(self.text("checked")),
            source=source,
            verification=verification,
        )


@dataclass(frozen=True, slots=True)
class Table:
    """A table file: its source block and its rows, in printed order."""

    source: TableSource
    rows: tuple[TableRow, ...]
    head: Mapping[str, Any]
    bases: Mapping[str, Mapping[str, str]]


def exact_decimal(value: Decimal | float | str, name: str) -> Decimal:
    """
    Return a number as the decimal it was written as.

    Parameters
    ----------
    value : Decimal, int, float or str
        A finite number; a float stands for its shortest decimal text.
    name : str
        What the number is, for the error message.

    Raises
    ------
    OutOfRangeError
        If the value is not a finite number.

    Examples
    --------
    >>> exact_decimal(0.2, "observation angle")
    Decimal('0.2')
    """
    try:
        result = value if isinstance(value, Decimal) else Decimal(str(value))
    except InvalidOperation:
        result = Decimal("NaN")
    if isinstance(value, bool) or not result.is_finite():
        msg = f"{value!r} is not a number ({name}); write it in figures."
        raise OutOfRangeError(msg)
    return result


@cache
def read_table(file_name: str) -> Table:
    """
    Return one table file, read once.

    Parameters
    ----------
    file_name : str
        Name of a ``.toml`` file in ``tables/``.

    Raises
    ------
    OutOfRangeError
        If the file is no table of this package.

    Examples
    --------
    >>> read_table("minimum_levels_2009.toml").source.table_id
    'mutcd-2009-2a-3'
    """
    if file_name not in table_file_names():
        known = ", ".join(table_file_names())
        msg = f"There is no table file '{file_name}'; the files are {known}."
        raise OutOfRangeError(msg)
    with (TABLES_DIRECTORY / file_name).open("rb") as handle:
        content = tomllib.load(handle, parse_float=Decimal)
    head: dict[str, Any] = content["source"]
    source = TableSource(
        table_id=head["table_id"],
        title=head["title"],
        edition=head["edition"],
        published_table=head["published_table"],
        checked=Checked(head["checked"]),
        file_name=file_name,
        observation_angle_deg=head.get("observation_angle_deg"),
        entrance_angle_deg=head.get("entrance_angle_deg"),
        note=head.get("note", ""),
    )
    cells = _csv_rows(head["rows_file"]) if "rows_file" in head else content["row"]
    bases: dict[str, dict[str, str]] = content.get("basis", {})
    rows = tuple(TableRow(file_name, source.table_id, each, bases) for each in cells)
    return Table(source, rows, head, bases)


def _csv_rows(file_name: str) -> list[dict[str, str]]:
    """Return the rows of a CSV file without their blank cells; the code is the identifier."""
    with (TABLES_DIRECTORY / file_name).open(encoding="utf-8", newline="") as handle:
        return [
            {"row_id": line["code"], **{key: text for key, text in line.items() if text}}
            for line in csv.DictReader(handle)
        ]


@cache
def table_file_names() -> tuple[str, ...]:
    """Return the names of all table files, sorted."""
    return tuple(sorted(path.name for path in TABLES_DIRECTORY.glob("*.toml")))


def table_sources() -> tuple[TableSource, ...]:
    """
    Return the source block of every table, for the page that lists them.

    Examples
    --------
    >>> "fhwa-memo-2012-04-05" in {source.table_id for source in table_sources()}
    True
    """
    return tuple(read_table(name).source for name in table_file_names())


def find_table_source(table_id: str) -> TableSource:
    """
    Return the source block of one table, given the identifier that results store.

    Parameters
    ----------
    table_id : str
        For example ``"mutcd-11-2a-5"``.

    Raises
    ------
    OutOfRangeError
        If no table has that identifier.

    Examples
    --------
    >>> find_table_source("mutcd-11-2a-5").observation_angle_deg
    Decimal('0.2')
    """
    for source in table_sources():
        if source.table_id == table_id:
            return source
    known = ", ".join(source.table_id for source in table_sources())
    msg = f"'{table_id}' is no table of this project; the tables are {known}."
    raise OutOfRangeError(msg)
