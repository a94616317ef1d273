"""Invented lists and mappings for the tests of the exchange."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from inventory.interchange.sign_lists import read_sign_list

if TYPE_CHECKING:
    from inventory.services.importing.rows import SourceList

TODAY = date(2026, 6, 1)

MINIMAL = """
[list]
name = "signs"

[id]
columns = ["No"]

[point]
crs = "EPSG:4326"
x = "Lon"
y = "Lat"
"""


def write(folder: Path, content: str | bytes, name: str = "list.csv") -> Path:
    """Write a file and return where it is."""
    path = folder / name
    if isinstance(content, str):
        content = content.encode()
    path.write_bytes(content)
    return path


def read(folder: Path, content: str | bytes, mapping: str = MINIMAL) -> SourceList:
    """Read a list written down here."""
    return read_sign_list(write(folder, content), mapping, today=TODAY)
