"""The first look at a mapping: its tables, and how it says the list itself is to be read."""

from __future__ import annotations

import tomllib
from typing import Any

from inventory.errors import OutOfRangeError
from inventory.interchange.files import DELIMITERS, FileOptions
from inventory.interchange.mapping_table import MappingTable, Problems
from inventory.interchange.texts import NumberFormat


def parse_toml(text: str) -> dict[str, Any]:
    """
    Return the tables of a mapping.

    Raises
    ------
    OutOfRangeError
        If the text is not TOML.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        msg = f"The mapping is not a TOML file: {error}."
        raise OutOfRangeError(msg) from None


def read_file_options(data: dict[str, Any]) -> FileOptions:
    """
    Return how the mapping says the file is to be read.

    Raises
    ------
    OutOfRangeError
        If something in its [file] table is wrong.
    """
    problems = Problems(())
    table = MappingTable("file", data.get("file"), problems)
    encoding = table.text("encoding")
    if encoding:
        try:
            "".encode(encoding)
        except LookupError:
            table.problem(f"encoding = '{encoding}' is not known; use utf-8, cp1252, utf-16 ….")
    delimiter = str(data.get("file", {}).get("delimiter", "")) if table.has("delimiter") else ""
    if delimiter and delimiter not in DELIMITERS:
        table.problem(f"delimiter = {delimiter!r} must be one of ',', ';', '|' or a tab (\\t).")
    skip = table.number("skip_lines") or 0
    if skip < 0 or skip != int(skip):
        table.problem(f"skip_lines = {skip:g} must be a whole number, zero or more.")
    decimal = table.choice("decimal", (".", ","))
    thousands = str(data.get("file", {}).get("thousands", "")) if table.has("thousands") else ""
    if thousands not in ("", ".", ",", "'", " ") or (thousands and thousands == decimal):
        table.problem(
            "thousands must be one of '.', ',', an apostrophe or a blank, not decimal."
        )
    layer = table.text("layer")
    table.text("time_zone")
    table.finish()
    problems.raise_all()
    return FileOptions(
        encoding=encoding,
        delimiter=delimiter,
        layer=layer,
        skip_lines=int(skip),
        numbers=NumberFormat(decimal, thousands),
    )
