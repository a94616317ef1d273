"""What a source list gives to an import: its rows, in our words, before anything is decided."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date


class SourceField(StrEnum):
    """
    What a row of a list can say; the value is JSON, ``None`` where the row does not know.

    A field that the mapping does not name is absent from a row's values.
    """

    POINT = "point"  # [latitude_deg, longitude_deg], WGS 84
    SUPPORT_KEY = "support key"
    SUPPORT_TYPE = "support type"
    POST_COUNT = "post count"
    SIDE = "side"
    DISTRICT = "district"
    MILEPOINT = "milepoint"  # miles
    ROAD = "road"
    CODE = "code"  # as the source wrote it, or translated by the mapping
    VARIANT = "variant"
    LEGEND = "legend"
    SIZES = "size"  # [[width_in, height_in], …], one pair for each face
    FACING = "facing"  # true bearing the front looks towards
    MOUNT = "mount"
    MOUNTING_HEIGHT = "mounting height"  # inches
    ORDER = "order"
    SHEETING = "sheeting"  # [ASTM type or "", optics]
    BACKGROUND = "background colour"
    LEGEND_COLOR = "legend colour"
    SECONDARY_COLOR = "secondary colour"
    FABRICATED = "fabricated"  # [ISO date, precision]
    INSTALLED = "installed"
    REMOVED = "removed"
    STATUS = "status"
    REPLACEMENT_YEAR = "replacement year"
    OWNER = "owner"
    CONDITION = "condition"  # [ISO date, kind, severity, the source's word]
    # What the import itself makes of code and colours, in place of the four above:
    SIGN_CODE = "sign code"  # of the catalogue or the agency's own; blank: not known
    SOURCE_CODE = "source code"
    COLORS = "colours"  # [[part, colour], …]


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceRow:
    """One row of a source list; ``refusal`` says why it cannot be taken, if so."""

    line: int
    external_id: str
    raw: Mapping[str, str]
    values: Mapping[str, Any]
    refusal: str = ""
    changed_on: date | None = None  # the day the source itself last changed the row


@dataclass(frozen=True, slots=True)
class ValueNote:
    """A word of the list that could not be taken as it stands, and what was done instead."""

    field: str
    text: str
    count: int
    first_line: int
    sentence: str

    def __str__(self) -> str:
        rows = "1 row" if self.count == 1 else f"{self.count:,} rows"
        return (
            f"{self.field} '{self.text}', {rows} (first on line {self.first_line}): "
            f"{self.sentence}"
        )


class Notebook:
    """Counts what could not be taken as it stands, by field, word and reason."""

    def __init__(self, notes: Iterable[ValueNote] = ()) -> None:
        self._seen: dict[tuple[str, str, str], list[int]] = {}
        for note in notes:
            self._seen[(note.field, note.text, note.sentence)] = [note.count, note.first_line]

    def note(self, name: str, text: str, sentence: str, line: int) -> None:
        """Count one row."""
        entry = self._seen.setdefault((name, text, sentence), [0, line])
        entry[0] += 1

    @property
    def notes(self) -> list[ValueNote]:
        """The notes, the most frequent of each field first."""
        notes = [
            ValueNote(name, text, count, line, sentence)
            for (name, text, sentence), (count, line) in self._seen.items()
        ]
        return sorted(notes, key=lambda n: (n.field, -n.count, n.first_line))


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceList:
    """A whole list as it was read; every row of the file is in ``rows``, refused or not."""

    name: str
    file_name: str
    file_sha256: str
    mapping_text: str
    columns: tuple[str, ...]
    rows: Sequence[SourceRow]
    grouping_m: float | None = None
    same_place_m: float = 30.0  # how far apart rows of one support key may put it
    is_key_trusted: bool = True  # where key and coordinates contradict each other
    remarks: tuple[str, ...] = ()
    notes: tuple[ValueNote, ...] = field(default=())
