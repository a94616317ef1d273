"""From the rows of a file to rows in our words; what cannot be taken as it stands is noted."""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from inventory.engineering.standards.supports import find_support_type
from inventory.errors import OutOfRangeError
from inventory.interchange.dates import PartialDate, read_date
from inventory.interchange.facings import read_facing
from inventory.interchange.mapping import (
    REFUSE,
    ConditionRule,
    DateRule,
    FacingRule,
    ListMapping,
    NumberRule,
    SizeRule,
    WordsRule,
)
from inventory.interchange.points import is_nowhere, read_pair, rounded
from inventory.interchange.sizes import is_one_length, read_length_in, read_sizes_in
from inventory.interchange.texts import normal_word
from inventory.models import Position, Road, SourceRecord, Support
from inventory.services.importing.rows import Notebook, SourceField, SourceRow

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from inventory.interchange.files import RawRow, RawTable
    from inventory.interchange.sizes import SizeOrder

KILOMETRES_PER_MILE = 1.609344  # exact: 5280 ft of 0.3048 m (NIST SP 811, appendix B.8)
FIRST_YEAR, LAST_YEAR = 1950, 2150
MAXIMUM_COUNT = 99
AS_UNKNOWN = "taken as not known."
ID_JOINT = " / "
_LEGEND_JOINT = re.compile(r"[/;&+|]")
HINTED_POINTS = 100  # a whole list in the wrong unit needs no more


def _longest(model: type[Any], name: str) -> int:
    return int(model._meta.get_field(name).max_length)


LONGEST_TEXT = {
    SourceField.CODE: _longest(Position, "source_code"),
    SourceField.VARIANT: _longest(Position, "variant"),
    SourceField.LEGEND: _longest(Position, "legend_text"),
    SourceField.ROAD: _longest(Road, "name"),
    SourceField.SIDE: _longest(Support, "side"),
    SourceField.DISTRICT: _longest(Support, "district"),
    SourceField.SUPPORT_KEY: _longest(Support, "external_key") - len(" (999)"),
}
LONGEST_ID = _longest(SourceRecord, "external_id")


def translate(
    file: RawTable, mapping: ListMapping, today: date
) -> tuple[list[SourceRow], Notebook]:
    """Return every row of a file in our words, refused ones included, and the notes."""
    notebook = Notebook()
    translator = _Translator(mapping, notebook, today)
    points = _points(file, mapping)
    rows = []
    first_lines: dict[str, int] = {}
    for raw, point in zip(file.rows, points, strict=True):
        row = translator.row(raw, point)
        if row.external_id and not row.refusal:
            first = first_lines.setdefault(row.external_id, row.line)
            if first != row.line:
                row = _refused(
                    raw,
                    f"The identifier '{row.external_id}' is already on line {first}; the first "
                    "is taken. Correct one of the two, or name more columns in [id].",
                    row.external_id,
                )
        rows.append(row)
    return rows, notebook


def _refused(raw: RawRow, reason: str, external_id: str = "") -> SourceRow:
    return SourceRow(
        line=raw.line, external_id=external_id, raw=raw.cells, values={}, refusal=reason
    )


# Points --------------------------------------------------------------------------------------


def _points(file: RawTable, mapping: ListMapping) -> list[tuple[float, float] | str]:
    """Return latitude and longitude of each row, or the sentence why there is none."""
    pairs = [_pair(file, mapping, index) for index in range(len(file.rows))]
    found = [index for index, pair in enumerate(pairs) if not isinstance(pair, str)]
    out: list[tuple[float, float] | str] = [
        pair if isinstance(pair, str) else "" for pair in pairs
    ]
    if not found:
        return out
    projector = mapping.point.projector
    xy = np.array([pairs[index] for index in found], dtype=np.float64)
    latitudes, longitudes = projector.project(xy[:, 0], xy[:, 1])
    reasons = projector.refusals(xy[:, 0], xy[:, 1])
    hinted = 0
    for place, index in enumerate(found):
        if reasons[place]:
            hint = projector.hint(*xy[place]) if hinted < HINTED_POINTS else ""
            hinted += 1
            out[index] = f"{reasons[place]} {hint}".strip()
        else:
            out[index] = (rounded(float(latitudes[place])), rounded(float(longitudes[place])))
    return out


def _pair(file: RawTable, mapping: ListMapping, index: int) -> tuple[float, float] | str:
    """Return x and y of one row, blank where it gives none, or what is wrong with it."""
    rule = mapping.point
    cells = file.rows[index].cells
    if rule.is_geometry:
        shape = file.points[index] if file.points is not None else ""
        if isinstance(shape, str):
            return shape and f"The row's shape is {shape}; a sign needs a point."
        return "" if is_nowhere(*shape) else shape
    try:
        if rule.text_column:
            text = cells.get(rule.text_column, "").strip()
            if not text:
                return ""
            first, second = read_pair(text)
            x, y = (second, first) if rule.is_latitude_first else (first, second)
        else:
            x_text = cells.get(rule.x_column, "").strip()
            y_text = cells.get(rule.y_column, "").strip()
            if not (x_text and y_text):
                return ""
            x, y = mapping.numbers.read(x_text), mapping.numbers.read(y_text)
    except OutOfRangeError as error:
        return f"The coordinates cannot be read: {error}"
    return "" if is_nowhere(x, y) else (x, y)


# Rows ----------------------------------------------------------------------------------------


class _Translator:
    def __init__(self, mapping: ListMapping, notebook: Notebook, today: date) -> None:
        self.mapping = mapping
        self.notebook = notebook
        self.today = today
        # Lists repeat a few words many times.
        self.date = lru_cache(maxsize=None)(self._date)

    def row(self, raw: RawRow, point: tuple[float, float] | str) -> SourceRow:
        """Return one row in our words."""
        parts = [" ".join(raw.cells.get(name, "").split()) for name in self.mapping.id_columns]
        external_id = ID_JOINT.join(parts)
        if raw.problem:
            return _refused(raw, raw.problem, external_id if any(parts) else "")
        if not any(parts):
            names = ", ".join(f"'{name}'" for name in self.mapping.id_columns)
            return _refused(raw, f"The row has no identifier: {names} is empty.")
        if len(external_id) > LONGEST_ID:
            return _refused(
                raw,
                f"The identifier '{external_id[:40]}…' has {len(external_id)} characters; at "
                f"most {LONGEST_ID} are kept.",
            )
        reasons: list[str] = []
        values = self._values(raw, reasons)
        if isinstance(point, str):
            values[SourceField.POINT] = None
            if point:
                reasons.append(point)
        else:
            values[SourceField.POINT] = list(point)
        if reasons:
            return _refused(raw, " ".join(reasons), external_id)
        changed = self._partial_date(raw, "changed", self.mapping.changed)
        return SourceRow(
            line=raw.line,
            external_id=external_id,
            raw=raw.cells,
            values=values,
            changed_on=changed.day if changed is not None else None,
        )

    def _values(self, raw: RawRow, reasons: list[str]) -> dict[str, Any]:
        mapping = self.mapping
        values: dict[str, Any] = {}
        if mapping.support_key is not None:
            values[SourceField.SUPPORT_KEY] = self._word(
                raw, SourceField.SUPPORT_KEY, mapping.support_key, reasons
            )
        for name, rule in mapping.words.items():
            values[name] = self._word(raw, name, rule, reasons)
        for name, quantity in mapping.quantities.items():
            values[name] = self._quantity(raw, name, quantity)
        for name, dates in mapping.dates.items():
            found = self._partial_date(raw, name, dates)
            values[name] = found and [found.day.isoformat(), found.precision]
        self._check_dates(raw, values)
        if mapping.size is not None:
            values[SourceField.SIZES] = self._size(raw, mapping.size)
            self._check_legend(raw, values)
        if mapping.facing is not None:
            values[SourceField.FACING] = self._facing(raw, mapping.facing)
        if mapping.condition is not None:
            values[SourceField.CONDITION] = self._condition(raw, mapping.condition)
        if mapping.is_mount_from_support and values.get(SourceField.MOUNT) is None:
            support_type = values.get(SourceField.SUPPORT_TYPE)
            values[SourceField.MOUNT] = (
                find_support_type(support_type).mount_class.value if support_type else None
            )
        return values

    def _cell(self, raw: RawRow, column: str, unknown_values: frozenset[str]) -> str:
        """Return a cell's text, blank where it says that nothing is known."""
        text = " ".join(raw.cells[column].split()) if column else ""
        return "" if text.casefold() in unknown_values else text

    def _word(self, raw: RawRow, name: SourceField, rule: WordsRule, reasons: list[str]) -> Any:
        text = self._cell(raw, rule.column, rule.unknown_values)
        if not text:
            if rule.default is None and rule.is_refused_when_unknown and name in _NO_BLANKS:
                reasons.append(
                    f"The row does not say its {name}; the record has no 'not known' for it, "
                    "so give a default with its basis in the mapping."
                )
            return rule.default
        word = normal_word(text)
        if word in rule.values:
            target = rule.values[word]
            if target == REFUSE:
                reasons.append(f"The mapping refuses rows whose {name} is '{text}'.")
            return target
        if rule.is_passed_through:
            return self._within_length(raw, name, text)
        if rule.is_refused_when_unknown:
            reasons.append(f"The {name} '{text}' is not among the words of the mapping.")
            return None
        self._note(raw, name, text, f"not among the mapping's words; {AS_UNKNOWN}")
        return None

    def _within_length(self, raw: RawRow, name: SourceField, text: str) -> str | None:
        longest = LONGEST_TEXT[name]
        if len(text) <= longest:
            return text
        if name is SourceField.LEGEND:
            self._note(
                raw, name, f"{text[:40]}…", f"cut at {longest} characters; whole in the row."
            )
            return text[: longest - 1] + "…"
        self._note(
            raw, name, f"{text[:40]}…", f"longer than {longest} characters; {AS_UNKNOWN}"
        )
        return None

    def _note(self, raw: RawRow, name: str, text: str, sentence: str) -> None:
        self.notebook.note(str(name), text, sentence, raw.line)

    # One method for each kind of column ------------------------------------------------------

    def _quantity(self, raw: RawRow, name: SourceField, rule: NumberRule) -> float | None:
        text = self._cell(raw, rule.column, rule.unknown_values)
        if not text:
            return None
        try:
            if name is SourceField.MOUNTING_HEIGHT:
                return read_length_in(self._with_points(text), rule.unit) or None
            if name is SourceField.MILEPOINT:
                value = self.mapping.numbers.read(text)
                return round(value / KILOMETRES_PER_MILE if rule.unit == "km" else value, 4)
            whole = self.mapping.numbers.read_whole(text)
        except OutOfRangeError as error:
            self._note(raw, name, text, f"{error} {AS_UNKNOWN.capitalize()}")
            return None
        lowest, highest = (
            (FIRST_YEAR, LAST_YEAR)
            if name is SourceField.REPLACEMENT_YEAR
            else (1, MAXIMUM_COUNT)
        )
        if whole == 0:
            return None
        if not lowest <= whole <= highest:
            self._note(raw, name, text, f"not {lowest} to {highest}; {AS_UNKNOWN}")
            return None
        return whole

    def _with_points(self, text: str) -> str:
        return text.replace(",", ".") if self.mapping.numbers.decimal == "," else text

    def _size(self, raw: RawRow, rule: SizeRule) -> list[list[float | None]] | None:
        if not rule.column:
            width = self._side(raw, rule.width_column, rule)
            height = self._side(raw, rule.height_column, rule)
            return None if width is None and height is None else [[width, height]]
        text = self._cell(raw, rule.column, rule.unknown_values)
        if not text:
            return None
        try:
            text = rule.values.get(normal_word(text), text)
            sizes = _sizes(
                self._with_points(text), rule.unit, rule.order, is_square=rule.is_single_square
            )
        except OutOfRangeError as error:
            hint = (
                'If one number is a square, write single = "square" in [size]. '
                if is_one_length(self._with_points(text)) and not rule.is_single_square
                else ""
            )
            self._note(raw, SourceField.SIZES, text, f"{error} {hint}{AS_UNKNOWN.capitalize()}")
            return None
        return None if sizes == [[None, None]] else sizes

    def _check_legend(self, raw: RawRow, values: Mapping[str, Any]) -> None:
        """Note a legend that may be of several faces: it is not parted by guess."""
        faces = len(values[SourceField.SIZES] or ())
        legend = values.get(SourceField.LEGEND) or ""
        if faces > 1 and _LEGEND_JOINT.search(legend):
            self._note(
                raw,
                SourceField.LEGEND,
                legend,
                f"each of the row's {faces} faces carries it whole; where each has its own, "
                "give each face a row.",
            )

    def _side(self, raw: RawRow, column: str, rule: SizeRule) -> float | None:
        """Return one dimension; zero is what lists write when it is not known."""
        text = self._cell(raw, column, rule.unknown_values)
        if not text:
            return None
        try:
            return read_length_in(self._with_points(text), rule.unit) or None
        except OutOfRangeError as error:
            self._note(raw, column, text, f"{error} {AS_UNKNOWN.capitalize()}")
            return None

    def _facing(self, raw: RawRow, rule: FacingRule) -> float | None:
        text = self._cell(raw, rule.column, rule.unknown_values)
        if not text:
            return None
        word = normal_word(text)
        meant = rule.values.get(word, text)
        if not meant:
            return None
        try:
            return read_facing(self._with_points(meant), rule.convention)
        except OutOfRangeError as error:
            self._note(raw, SourceField.FACING, text, f"{error} {AS_UNKNOWN.capitalize()}")
            return None

    def _partial_date(
        self, raw: RawRow, name: str, rule: DateRule | None
    ) -> PartialDate | None:
        if rule is None:
            return None
        text = self._cell(raw, rule.column, rule.unknown_values)
        if not text:
            return None
        meant = rule.values.get(normal_word(text), text)
        if meant is None:
            return None
        try:
            return self.date(meant, rule.formats)
        except OutOfRangeError as error:
            self._note(raw, name, text, f"{error} {AS_UNKNOWN.capitalize()}")
            return None

    def _date(self, text: str, formats: Sequence[str]) -> PartialDate:
        return read_date(text, formats, self.mapping.zone, latest=self.today)

    def _condition(self, raw: RawRow, rule: ConditionRule) -> list[Any] | None:
        text = self._cell(raw, rule.column, rule.unknown_values)
        if not text:
            return None
        word = normal_word(text)
        if word not in rule.values:
            self._note(
                raw,
                SourceField.CONDITION,
                text,
                "not among the mapping's words; kept with the row.",
            )
            return None
        target = rule.values[word]
        if target is None:
            return None
        found = self._partial_date(raw, "condition date", rule.date)
        if found is None or found.precision != "day":
            self._note(
                raw,
                SourceField.CONDITION,
                text,
                "no day is given for it; kept with the row only.",
            )
            return None
        return [found.day.isoformat(), *target, text]

    def _check_dates(self, raw: RawRow, values: dict[str, Any]) -> None:
        """Take dates that contradict each other as not known: which is wrong is not said."""
        order = [SourceField.FABRICATED, SourceField.INSTALLED, SourceField.REMOVED]
        removed = values.get(SourceField.REMOVED)
        if removed and removed[1] != "day":
            self._note(
                raw, SourceField.REMOVED, removed[0], "no day is given; kept with the row."
            )
            values[SourceField.REMOVED] = None
        given = [name for name in order if values.get(name)]
        for earlier, later in pairwise(given):
            first, second = values[earlier], values[later]
            if first and second and _partial(first).spans()[0] > _partial(second).spans()[1]:
                self._note(
                    raw,
                    earlier,
                    first[0],
                    f"after the day it was {later}; both dates are {AS_UNKNOWN}",
                )
                values[earlier] = values[later] = None


_NO_BLANKS = (SourceField.STATUS, SourceField.OWNER)


def _partial(value: Sequence[str]) -> PartialDate:
    return PartialDate(date.fromisoformat(value[0]), value[1])


@lru_cache(maxsize=10_000)
def _sizes(
    text: str, unit: str, order: SizeOrder, *, is_square: bool
) -> list[list[float | None]]:
    """Return the faces of a size text; a single number may stand for a square."""
    if is_square and is_one_length(text):
        side = read_length_in(text, unit) or None
        return [[side, side]]
    return [list(pair) for pair in read_sizes_in(text, unit, order)]
