"""Reading a mapping: it is checked whole before any row is read, every slip named at once."""

from __future__ import annotations

from datetime import UTC, tzinfo
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from inventory.engineering.standards.supports import support_types
from inventory.engineering.standards.vocabulary import Color
from inventory.errors import OutOfRangeError
from inventory.interchange.dates import check_formats
from inventory.interchange.facings import Convention
from inventory.interchange.files import FileOptions, RawTable
from inventory.interchange.mapping import (
    REFUSE,
    UNKNOWN,
    ConditionRule,
    DateRule,
    FacingRule,
    ListMapping,
    NumberRule,
    PointRule,
    SizeRule,
    WordsRule,
    one_of,
    read_condition_target,
    read_sheeting_target,
    text_up_to,
)
from inventory.interchange.mapping_table import MappingTable, Problems, nearest
from inventory.interchange.points import METRES_PER_UNIT, Box, Projector, read_crs
from inventory.interchange.sizes import INCHES_PER_UNIT, SizeOrder
from inventory.interchange.texts import normal_word
from inventory.models import Sign
from inventory.models.places import Mount
from inventory.services.importing.rows import SourceField

if TYPE_CHECKING:
    from collections.abc import Callable

TEXT_ORDERS = ("x y", "latitude longitude")
DISTANCE_UNITS = ("mi", "km")
SUPPORT_KEYS = tuple(row.key for row in support_types())
# Stands where a mapping names no system that exists; such a mapping is refused.
NO_PROJECTOR = Projector(read_crs("EPSG:4326"))
DEFAULT_SAME_PLACE_M = 30.0
MAXIMUM_GROUPING_M = 200.0
ISO_FORMATS = (
    "%Y-%m-%d",
    *(f"%Y-%m-%dT%H:%M:%S{end}" for end in ("", ".%f", "%z", ".%f%z")),
)

_COLORS = one_of(tuple(each.value for each in Color))
_MOUNTS = tuple(each for each in Mount.values if each)
_STATUSES = (Sign.State.INSTALLED.value, Sign.State.REMOVED.value, REFUSE)

_WORD_TABLES: dict[str, tuple[SourceField, Callable[[Any], Any], bool]] = {
    # table name: field, what a target may be, whether other words pass as they stand
    "support_type": (SourceField.SUPPORT_TYPE, one_of(SUPPORT_KEYS), False),
    "side": (SourceField.SIDE, text_up_to(24), True),
    "district": (SourceField.DISTRICT, text_up_to(60), True),
    "road": (SourceField.ROAD, text_up_to(120), True),
    "code": (SourceField.CODE, text_up_to(48), True),
    "variant": (SourceField.VARIANT, text_up_to(24), True),
    "legend": (SourceField.LEGEND, text_up_to(255), True),
    "mount": (SourceField.MOUNT, one_of(_MOUNTS), False),
    "sheeting": (SourceField.SHEETING, read_sheeting_target, False),
    "background": (SourceField.BACKGROUND, _COLORS, False),
    "legend_color": (SourceField.LEGEND_COLOR, _COLORS, False),
    "secondary_color": (SourceField.SECONDARY_COLOR, _COLORS, False),
    "status": (SourceField.STATUS, one_of(_STATUSES), False),
    "owner": (SourceField.OWNER, one_of(tuple(Sign.Responsible.values)), False),
}
_QUANTITY_TABLES: dict[str, tuple[SourceField, tuple[str, ...]]] = {
    "mounting_height": (SourceField.MOUNTING_HEIGHT, tuple(INCHES_PER_UNIT)),
    "milepoint": (SourceField.MILEPOINT, DISTANCE_UNITS),
    "order": (SourceField.ORDER, ()),
    "post_count": (SourceField.POST_COUNT, ()),
    "replacement_year": (SourceField.REPLACEMENT_YEAR, ()),
}
_DATE_TABLES = {
    "fabricated": SourceField.FABRICATED,
    "installed": SourceField.INSTALLED,
    "removed": SourceField.REMOVED,
}
TABLES = (
    "list",
    "file",
    "id",
    "point",
    "support",
    "size",
    "facing",
    "condition",
    "changed",
    *_WORD_TABLES,
    *_QUANTITY_TABLES,
    *_DATE_TABLES,
)
# A blank would be neither ours nor another's: the record has no "not known" here.
_MUST_BE_KNOWN = ("status", "owner")


# Reading ------------------------------------------------------------------------------------


def read_mapping(data: dict[str, Any], options: FileOptions, file: RawTable) -> ListMapping:
    """
    Return a mapping that fits a file.

    Raises
    ------
    OutOfRangeError
        If anything is wrong; the message lists everything that is.
    """
    problems = Problems(file.columns)
    for name in data:
        if name not in TABLES:
            problems.add(name, f"is no table of a mapping{nearest(name, TABLES)}.")
    mapping = _MappingReader(data, options, problems, file).read()
    problems.raise_all()
    return mapping


class _MappingReader:
    """Reads the tables one by one and gathers what is wrong with them."""

    def __init__(
        self, data: dict[str, Any], options: FileOptions, problems: Problems, file: RawTable
    ) -> None:
        self.data = data
        self.options = options
        self.problems = problems
        self.file = file
        self.unknown_values: frozenset[str] = frozenset()

    def table(self, name: str) -> MappingTable:
        return MappingTable(name, self.data.get(name), self.problems)

    def given(self, name: str) -> MappingTable | None:
        if name not in self.data:
            return None
        table = self.table(name)
        return table if table.is_table else None

    def unknown(self, table: MappingTable) -> frozenset[str]:
        own = frozenset(map(normal_word, table.texts("unknown_values")))
        return self.unknown_values | own

    def read(self) -> ListMapping:
        head = self.table("list")
        name = head.text("name", required=True)
        if len(name) > 80:
            head.problem(f"name has {len(name)} characters; at most 80 are kept.")
        self.unknown_values = frozenset(map(normal_word, head.texts("unknown_values"))) | {""}
        head.finish()
        support = self.table("support")
        key_column = support.column("key_column")
        key_rule = WordsRule(key_column, {}, self.unknown(support), is_passed_through=True)
        grouping_m = self._distance(support, "distance_m")
        same_place_m = self._distance(support, "same_place_m") or DEFAULT_SAME_PLACE_M
        is_key_trusted = support.choice("trust", ("key", "point")) != "point"
        support.finish()
        words = self._words()
        mount = self.table("mount")
        return ListMapping(
            list_name=name,
            id_columns=self._id_columns(),
            numbers=self.options.numbers,
            zone=self._zone(),
            point=self._point(),
            support_key=key_rule if key_column else None,
            grouping_m=grouping_m,
            same_place_m=same_place_m,
            is_key_trusted=is_key_trusted,
            words=words,
            quantities=self._quantities(),
            dates=self._dates(),
            size=self._size(),
            facing=self._facing(),
            condition=self._condition(),
            changed=self._changed(),
            is_mount_from_support=mount.flag("from_support_type"),
        )

    def _distance(self, table: MappingTable, key: str) -> float | None:
        value = table.number(key)
        if value is not None and not 0.0 < value <= MAXIMUM_GROUPING_M:
            table.problem(
                f"{key} = {value:g} must be above 0 and at most {MAXIMUM_GROUPING_M:g} metres."
            )
            return None
        return value

    def _zone(self) -> tzinfo:
        name = self.table("file").text("time_zone")
        if not name:
            return UTC
        try:
            return ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError):
            self.problems.add(
                "file", f"time_zone = '{name}' is not known; write America/Chicago."
            )
            return UTC

    def _id_columns(self) -> tuple[str, ...]:
        table = self.table("id")
        columns = table.columns("columns")
        if not table.has("columns"):
            table.problem(
                "columns is missing: name the column, or the columns that together are "
                "different in every row and stay the same from one file to the next."
            )
        table.finish()
        return columns

    def _point(self) -> PointRule:
        table = self.table("point")
        x, y, text = table.column("x"), table.column("y"), table.column("text")
        is_geometry = table.flag("geometry")
        order = table.choice("text_order", TEXT_ORDERS)
        ways = [bool(table.has("x") or table.has("y")), table.has("text"), is_geometry]
        if sum(ways) != 1:
            table.problem(
                "needs one of: x and y (two columns), text (one column that holds both), or "
                "geometry = true (the file's own points)."
            )
        if ways[0] and not (table.has("x") and table.has("y")):
            table.problem("needs both x and y.")
        if ways[1] and not order:
            table.problem("text needs text_order = 'x y' or 'latitude longitude'.")
        if is_geometry and self.file.points is None:
            table.problem("geometry = true, but the file has no shapes; name x and y.")
        projector = self._projector(table, is_geometry=is_geometry)
        table.finish()
        return PointRule(
            projector, x, y, text, order == "latitude longitude", is_geometry=is_geometry
        )

    def _projector(self, table: MappingTable, *, is_geometry: bool) -> Projector:
        wanted = table.text("crs")
        unit = table.choice("unit", tuple(METRES_PER_UNIT)) or None
        own = self.file.crs if is_geometry else ""
        is_overriding = table.flag("override_file_crs")
        bounds = self._bounds(table)
        if not (wanted or own):
            table.problem(
                "crs is missing: write the EPSG code of the coordinates, EPSG:4326 …."
            )
            return NO_PROJECTOR
        try:
            crs = read_crs(wanted or own)
            if wanted and own and read_crs(own) != crs and not is_overriding:
                table.problem(
                    f"crs = '{wanted}', but the file says {own[:60]}; leave crs out, or add "
                    "override_file_crs = true if the file is wrong about itself."
                )
            return Projector(crs, unit, bounds)
        except OutOfRangeError as error:
            table.problem(str(error))
            return NO_PROJECTOR

    def _bounds(self, table: MappingTable) -> Box | None:
        if not table.has("bounds"):
            return None
        given = self.data["point"]["bounds"]
        names = ("south", "west", "north", "east")
        if not (
            isinstance(given, dict)
            and set(given) == set(names)
            and all(type(each) in (int, float) for each in given.values())
        ):
            table.problem(
                "bounds must be { south = …, west = …, north = …, east = … } in degrees."
            )
            return None
        south, west, north, east = (float(given[name]) for name in names)
        if not (-90.0 <= south < north <= 90.0 and max(abs(west), abs(east)) <= 180.0):
            table.problem("bounds must be degrees with south below north.")
            return None
        words = f"the bounds of the mapping ({south:g} to {north:g}, {west:g} to {east:g})"
        return Box(south, west, north, east, words)

    def _words(self) -> dict[SourceField, WordsRule]:
        rules = {}
        for name, (source_field, read, passes) in _WORD_TABLES.items():
            table = self.given(name)
            if table is None:
                continue
            default = table.target("default", read)
            basis = table.text("basis")
            if table.has("default") and not basis:
                table.problem("default needs a basis: the reason why it is true of the list.")
            if basis and not table.has("default"):
                table.problem("basis is the reason for a default, and there is none.")
            from_support = name == "mount" and table.flag("from_support_type")
            if from_support and "support_type" not in self.data:
                table.problem("from_support_type needs [support_type].")
            needs_column = not (table.has("default") or from_support)
            column = table.column(required=needs_column)
            on_unknown = table.choice("on_unknown", (UNKNOWN, REFUSE))
            rule = WordsRule(
                column=column,
                values=table.words("values", read),
                unknown_values=self.unknown(table),
                is_refused_when_unknown=(on_unknown == REFUSE) or name in _MUST_BE_KNOWN,
                is_passed_through=passes,
                default=default,
                basis=basis,
            )
            self._check_known(table, name, on_unknown, rule)
            if table.has("values") and not table.has("column"):
                table.problem("values needs the column they are in.")
            if column and not passes and not table.has("values"):
                table.problem("values is missing: the list's words and ours.")
            table.finish()
            rules[source_field] = rule
        return rules

    def _check_known(
        self, table: MappingTable, name: str, on_unknown: str, rule: WordsRule
    ) -> None:
        if name not in _MUST_BE_KNOWN:
            return
        if on_unknown == UNKNOWN:
            table.problem(
                f"on_unknown must be '{REFUSE}' or left out; the record has no 'not known'."
            )
        if None in rule.values.values():
            table.problem("values cannot hold 'unknown': the record has no 'not known' here.")

    def _quantities(self) -> dict[SourceField, NumberRule]:
        rules = {}
        for name, (source_field, units) in _QUANTITY_TABLES.items():
            table = self.given(name)
            if table is None:
                continue
            column = table.column(required=True)
            unit = table.choice("unit", units, required=True) if units else ""
            rules[source_field] = NumberRule(column, unit, self.unknown(table))
            table.finish()
        return rules

    def _date(self, table: MappingTable, column_key: str = "column") -> DateRule:
        # [condition] says more about a missing date_column than that it is missing.
        column = table.column(column_key, required=column_key == "column")
        formats = table.texts("formats")
        if column in self.file.date_columns:
            # The file itself says that these are dates.
            formats = (*ISO_FORMATS, *formats)
        elif not formats:
            table.problem("formats is missing, for example formats = ['%m/%d/%Y', '%Y'].")
        for sentence in check_formats(formats):
            table.problem(sentence)
        # The values of [condition] are its judgements.
        values = table.words("values", text_up_to(60)) if column_key == "column" else {}
        return DateRule(column, formats, values, self.unknown(table))

    def _dates(self) -> dict[SourceField, DateRule]:
        rules = {}
        for name, source_field in _DATE_TABLES.items():
            table = self.given(name)
            if table is not None:
                rules[source_field] = self._date(table)
                if name == "removed" and "status" not in self.data:
                    table.problem("needs [status]: which rows are of removed signs.")
                table.finish()
        return rules

    def _changed(self) -> DateRule | None:
        table = self.given("changed")
        if table is None:
            return None
        rule = self._date(table)
        table.finish()
        return rule

    def _size(self) -> SizeRule | None:
        table = self.given("size")
        if table is None:
            return None
        column = table.column()
        width, height = table.column("width_column"), table.column("height_column")
        has_pair = table.has("width_column") and table.has("height_column")
        if table.has("column") == (table.has("width_column") or table.has("height_column")):
            table.problem("needs either column, or width_column and height_column.")
        elif not table.has("column") and not has_pair:
            table.problem("needs both width_column and height_column.")
        order = table.choice("order", tuple(each.value for each in SizeOrder))
        rule = SizeRule(
            column=column,
            width_column=width,
            height_column=height,
            unit=table.choice("unit", tuple(INCHES_PER_UNIT), required=True),
            order=SizeOrder(order) if order else SizeOrder.WIDTH_FIRST,
            is_single_square=bool(table.choice("single", ("square",))),
            values=table.words("values", text_up_to(60)),
            unknown_values=self.unknown(table),
        )
        table.finish()
        return rule

    def _facing(self) -> FacingRule | None:
        table = self.given("facing")
        if table is None:
            return None
        conventions = tuple(each.value for each in Convention)
        convention = table.choice("convention", conventions)
        if not table.has("convention"):
            table.problem(
                "convention is missing: 'front' if the list says which way the front looks, "
                "'traffic' if it says which way the traffic travels that reads the sign."
            )
        rule = FacingRule(
            table.column(required=True),
            Convention(convention) if convention else Convention.FRONT,
            table.words("values", text_up_to(24)),
            self.unknown(table),
        )
        table.finish()
        return rule

    def _condition(self) -> ConditionRule | None:
        table = self.given("condition")
        if table is None:
            return None
        if not table.has("date_column"):
            table.problem(
                "date_column is missing: a judgement is a fact only with the day it was made. "
                "Without one leave [condition] out; the words are kept with the row."
            )
        values = table.words("values", read_condition_target)
        if not values:
            table.problem("values is missing: the list's words and ours.")
        rule = ConditionRule(
            table.column(required=True),
            values,
            self._date(table, "date_column"),
            self.unknown(table),
        )
        table.finish()
        return rule
