"""Reading the files that lists come in: delimited text, and whatever pyogrio reads."""

import codecs
import csv
import hashlib
import io
import struct
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pyogrio

from inventory.errors import OutOfRangeError
from inventory.interchange.texts import NumberFormat

TEXT_SUFFIXES = (".csv", ".txt", ".tsv", ".tab")
DELIMITERS = (",", ";", "\t", "|")
SNIFFED_ROWS = 50
MAXIMUM_CELL_CHARACTERS = 1_000_000

_UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_WKB_POINT = 1
_WKB_MULTIPOINT = 4


@dataclass(frozen=True, slots=True)
class FileOptions:
    """How a file is to be read; blank means: find out, and say what was found."""

    encoding: str = ""
    delimiter: str = ""
    layer: str = ""
    skip_lines: int = 0
    numbers: NumberFormat = field(default_factory=NumberFormat)


@dataclass(frozen=True, slots=True)
class RawRow:
    """One row as the file holds it; ``problem`` says why it cannot be read, if so."""

    line: int
    cells: dict[str, str]
    problem: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """A file as it was read; ``points`` and ``crs`` are its own geometry, where it has one."""

    file_name: str
    sha256: str
    columns: tuple[str, ...]
    rows: Sequence[RawRow]
    points: Sequence[tuple[float, float] | str] | None = None
    crs: str = ""
    date_columns: frozenset[str] = frozenset()
    remarks: tuple[str, ...] = ()


def read_table(path: Path, options: FileOptions) -> RawTable:
    """
    Return every row of a file, in its order.

    Raises
    ------
    OutOfRangeError
        If the file cannot be read as a table; the sentence says what to set or correct.
    """
    if not path.exists():
        msg = f"There is no file '{path}'."
        raise OutOfRangeError(msg)
    if path.suffix.lower() in TEXT_SUFFIXES and path.is_file():
        return _read_delimited(path, options)
    return _read_layer(path, options)


# Delimited text ------------------------------------------------------------------------------


def _read_delimited(path: Path, options: FileOptions) -> RawTable:
    content = path.read_bytes()
    text, remarks = _decode(content, options.encoding, path.name)
    for _ in range(options.skip_lines):
        text = text.partition("\n")[2]
    delimiter = options.delimiter
    if not delimiter:
        delimiter = _sniff_delimiter(text)
        name = "a tab" if delimiter == "\t" else f"'{delimiter}'"
        remarks.append(f"The cells are taken to be parted by {name}.")
    columns, rows, more = _read_records(text, delimiter, options.skip_lines, path.name)
    return RawTable(
        file_name=path.name,
        sha256=hashlib.sha256(content).hexdigest(),
        columns=columns,
        rows=rows,
        remarks=(*remarks, *more),
    )


def _decode(content: bytes, encoding: str, name: str) -> tuple[str, list[str]]:
    if encoding:
        try:
            return content.decode(encoding), []
        except UnicodeDecodeError as error:
            msg = (
                f"{name} is not {encoding}: byte {error.start:,} does not fit. Set encoding in "
                "[file] to what the list was saved as (for example utf-8-sig, cp1252, utf-16)."
            )
            raise OutOfRangeError(msg) from None
    if content.startswith(_UTF16_MARKS):
        return content.decode("utf-16"), ["The file is read as UTF-16, as its first bytes say."]
    try:
        return content.decode("utf-8-sig"), ["The file is read as UTF-8."]
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        try:
            text = content.decode("cp1252")
        except UnicodeDecodeError:
            msg = (
                f"{name} is neither UTF-8 (see line {line}) nor Windows-1252; set encoding in "
                "[file] to what the list was saved as."
            )
            raise OutOfRangeError(msg) from None
        return text, [
            f"The file is not UTF-8 (see line {line}) and is read as Windows-1252; if letters "
            "with accents look wrong, set encoding in [file]."
        ]


def _sniff_delimiter(text: str) -> str:
    """Return the delimiter under which the header has cells and most rows as many as it."""
    sample = text[:200_000]
    best, best_score = DELIMITERS[0], 0
    for delimiter in DELIMITERS:
        counts = []
        reader = csv.reader(io.StringIO(sample, newline=""), delimiter=delimiter)
        for _, record in zip(range(SNIFFED_ROWS), reader, strict=False):
            if any(record):
                counts.append(len(record))
        if not counts or counts[0] < 2:
            continue
        score = Counter(counts)[counts[0]] * counts[0]
        if score > best_score:
            best, best_score = delimiter, score
    return best


def _read_records(
    text: str, delimiter: str, skipped: int, name: str
) -> tuple[tuple[str, ...], list[RawRow], list[str]]:
    csv.field_size_limit(MAXIMUM_CELL_CHARACTERS)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    header: tuple[str, ...] | None = None
    remarks: list[str] = []
    rows: list[RawRow] = []
    blank = 0
    short: list[int] = []
    while True:
        line = skipped + reader.line_num + 1
        try:
            record = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            _refuse_unclosed(error, line, name)
            rows.append(RawRow(line, {}, _broken_row(error, line)))
            continue
        if not any(cell.strip() for cell in record):
            blank += 1
        elif header is None:
            header, remarks = _header(record)
        else:
            row = _row(line, skipped + reader.line_num, record, header)
            if not row.problem and len(record) < len(header):
                short.append(row.line)
            rows.append(row)
    if header is None:
        msg = f"{name} holds no line with column names."
        raise OutOfRangeError(msg)
    if blank:
        remarks.append(f"{_count(blank, 'empty line')} left aside.")
    if short:
        remarks.append(
            f"{_count(len(short), 'row')} shorter than the header (first on line {short[0]}); "
            "missing cells are taken as empty."
        )
    return header, rows, remarks


def _refuse_unclosed(error: csv.Error, line: int, name: str) -> None:
    if "unexpected end of data" in str(error) or "field larger" in str(error):
        msg = (
            f"{name}: a quotation mark that opens on or after line {line} never closes, so the "
            "rows after it cannot be told apart. Correct that line, or save the list again "
            "from its program."
        )
        raise OutOfRangeError(msg) from None


def _broken_row(error: csv.Error, line: int) -> str:
    return (
        f"Line {line} cannot be read ({error}); a quotation mark within a quoted cell must be "
        "written twice."
    )


def _header(record: Sequence[str]) -> tuple[tuple[str, ...], list[str]]:
    """Return column names, each once: an unnamed one gets its number, a repeated one a mark."""
    names: list[str] = []
    remarks = []
    for number, cell in enumerate(record, start=1):
        name = " ".join(cell.split()) or f"column {number}"
        times = 1
        unique = name
        while unique in names:
            times += 1
            unique = f"{name} ({times})"
        if unique != name:
            remarks.append(f"The column '{name}' comes twice; column {number} is '{unique}'.")
        names.append(unique)
    return tuple(names), remarks


def _row(line: int, last_line: int, record: list[str], header: tuple[str, ...]) -> RawRow:
    cells = dict(zip(header, record, strict=False))
    extra = [cell for cell in record[len(header) :] if cell.strip()]
    if extra:
        cells["cells beyond the header"] = " | ".join(extra)
        return RawRow(
            line,
            cells,
            f"The row has {len(record)} cells but the header {len(header)}; a cell probably "
            "holds the delimiter without quotation marks around it.",
        )
    if len(record) < len(header):
        if last_line != line:
            return RawRow(
                line,
                cells,
                f"The row runs from line {line} to line {last_line} and has {len(record)} of "
                f"{len(header)} cells; a quotation mark is probably missing or too many.",
            )
        cells |= dict.fromkeys(header[len(record) :], "")
    if any("\x00" in cell for cell in cells.values()):
        return RawRow(
            line,
            {name: cell.replace("\x00", "�") for name, cell in cells.items()},
            "The row holds a character with code 0, which no text has; save the list again.",
        )
    return RawRow(line, cells)


def _count(number: int, word: str) -> str:
    return f"1 {word} is" if number == 1 else f"{number:,} {word}s are"


# GIS files and the rest ----------------------------------------------------------------------


def _read_layer(path: Path, options: FileOptions) -> RawTable:
    layer, remarks = _choose_layer(path, options.layer)
    try:
        meta, fids, geometry, arrays = pyogrio.raw.read(
            path,
            layer=layer,
            return_fids=True,
            encoding=options.encoding or None,
            datetime_as_string=True,
        )
    except pyogrio.errors.DataSourceError as error:
        msg = f"{path.name} cannot be read: {error}"
        raise OutOfRangeError(msg) from None
    names, more = _header([str(name) for name in meta["fields"]])
    moments = {
        name
        for name, kind in zip(names, meta["dtypes"], strict=True)
        if str(kind).startswith("datetime64")
    }
    columns = [
        [_text(value, is_moment=name in moments) for value in array.tolist()]
        for name, array in zip(names, arrays, strict=True)
    ]
    if path.suffix.lower() == ".gpkg" and "fid" not in names:
        # A GeoPackage keeps its row numbers; a list may have no other identifier.
        names = (*names, "fid")
        columns.append([str(fid) for fid in fids.tolist()])
    rows = [
        RawRow(line, dict(zip(names, cells, strict=True)))
        for line, cells in enumerate(zip(*columns, strict=True), start=1)
    ]
    return RawTable(
        file_name=path.name,
        sha256=_sha256(path),
        columns=names,
        rows=rows,
        points=None if geometry is None else [_point(each) for each in geometry],
        crs=meta["crs"] or "",
        date_columns=frozenset(moments),
        remarks=(*remarks, *more, "A line is a feature's number in the layer, from 1."),
    )


def _choose_layer(path: Path, wanted: str) -> tuple[str, list[str]]:
    try:
        layers = [str(name) for name, _kind in pyogrio.list_layers(path)]
    except pyogrio.errors.DataSourceError:
        msg = (
            f"{path.name} is not a file that can be read here; give a CSV (named .csv or "
            ".txt), GeoPackage, Shapefile, GeoJSON or another GIS file."
        )
        raise OutOfRangeError(msg) from None
    listed = ", ".join(f"'{name}'" for name in layers)
    if wanted:
        if wanted not in layers:
            msg = f"{path.name} has no layer '{wanted}'; it has {listed}."
            raise OutOfRangeError(msg)
        return wanted, []
    if len(layers) != 1:
        msg = f"{path.name} has the layers {listed or 'none'}; name one with layer in [file]."
        raise OutOfRangeError(msg)
    return layers[0], [f"The layer '{layers[0]}' is read."]


def _text(value: object, *, is_moment: bool) -> str:
    """Return a cell as text: whole numbers without a point, midnight without its hour."""
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    text = str(value).replace("\x00", "�")
    return text.removesuffix("T00:00:00") if is_moment else text


def _point(wkb: bytes | None) -> tuple[float, float] | str:
    """Return x and y of a point, blank where there is none, or what the shape is instead."""
    if not wkb:
        return ""
    order = "<" if wkb[0] == 1 else ">"
    (code,) = struct.unpack_from(order + "I", wkb, 1)
    offset = 9 if code & 0x20000000 else 5
    kind = (code & 0xFFFF) % 1000
    if kind == _WKB_MULTIPOINT:
        (number,) = struct.unpack_from(order + "I", wkb, offset)
        return _point(wkb[offset + 4 :]) if number == 1 else f"a set of {number} points"
    if kind != _WKB_POINT:
        return "not a point"
    x, y = struct.unpack_from(order + "dd", wkb, offset)
    return float(x), float(y)


def _sha256(path: Path) -> str:
    """Return the digest of a file, of a Shapefile with its companions, or of a folder."""
    digest = hashlib.sha256()
    if path.is_dir():
        files = sorted(each for each in path.rglob("*") if each.is_file())
    elif path.suffix.lower() == ".shp":
        files = sorted(path.parent.glob(path.stem + ".*"))
    else:
        files = [path]
    for each in files:
        with each.open("rb") as content:
            while block := content.read(1 << 20):
                digest.update(block)
    return digest.hexdigest()
