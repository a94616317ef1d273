"""Files as they come: delimited text in several hands, and GIS files."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import numpy as np
import pyogrio
import pytest

from inventory.errors import OutOfRangeError
from inventory.interchange.files import FileOptions, read_table
from tests.interchange.lists import write

if TYPE_CHECKING:
    from pathlib import Path


def table(folder: Path, content: str | bytes, **options):
    return read_table(write(folder, content), FileOptions(**options))


def test_rows_are_read_with_the_line_they_start_on(tmp_path):
    found = table(tmp_path, 'No,Text\n1,"two\nlines"\n2,x\n')
    assert [(row.line, row.cells["No"]) for row in found.rows] == [(2, "1"), (4, "2")]
    assert found.rows[0].cells["Text"] == "two\nlines"


@pytest.mark.parametrize(
    ("delimiter", "text"),
    [
        (",", "a,b;c\n1,2;3\n"),
        (";", "a;b,c\n1;2,5\n"),
        ("\t", "a\tb\n1\t2\n"),
        ("|", "a|b\n1|2\n"),
    ],
)
def test_the_delimiter_is_found_and_said(tmp_path, delimiter, text):
    found = table(tmp_path, text)
    assert len(found.columns) == 2
    assert any("parted by" in remark for remark in found.remarks)
    assert len(table(tmp_path, text, delimiter=delimiter).columns) == 2


@pytest.mark.parametrize(
    ("encoding", "words"),
    [("utf-8-sig", "UTF-8"), ("cp1252", "Windows-1252"), ("utf-16", "UTF-16")],
)
def test_the_encoding_is_found_and_said(tmp_path, encoding, words):
    found = table(tmp_path, "No,Straße\n1,Allée\n".encode(encoding))
    assert found.columns == ("No", "Straße")
    assert found.rows[0].cells["Straße"] == "Allée"
    assert any(words in remark for remark in found.remarks)


def test_an_encoding_that_does_not_fit_is_refused(tmp_path):
    with pytest.raises(OutOfRangeError, match="is not ascii"):
        table(tmp_path, "No,Straße\n".encode(), encoding="ascii")
    with pytest.raises(OutOfRangeError, match="neither UTF-8"):
        table(tmp_path, b"No,A\n1,\x81\n")


def test_empty_lines_and_doubled_names_are_told(tmp_path):
    found = table(tmp_path, "\nNo,Size,Size,\n\n1,30,36,x\n ,, ,\n2,24,24,y\n")
    assert found.columns == ("No", "Size", "Size (2)", "column 4")
    assert [row.line for row in found.rows] == [4, 6]
    told = " ".join(found.remarks)
    assert "3 empty lines" in told
    assert "'Size' comes twice" in told


def test_a_row_longer_than_the_header_is_a_problem_and_a_shorter_one_is_told(tmp_path):
    found = table(tmp_path, "No,A,B\n1,x,y,z\n2,x\n3,x,y,\n")
    assert "4 cells but the header 3" in found.rows[0].problem
    assert found.rows[0].cells["cells beyond the header"] == "z"
    assert found.rows[1].cells == {"No": "2", "A": "x", "B": ""}
    assert found.rows[2].problem == ""
    assert any("1 row is shorter" in remark for remark in found.remarks)


def test_a_stray_quotation_mark_costs_its_row_only(tmp_path):
    found = table(tmp_path, 'No,Size\n1,"12" X 18"\n2,"30"" x 30"""\n3,30" x 36"\n')
    assert [row.line for row in found.rows] == [2, 3, 4]
    assert "written twice" in found.rows[0].problem
    assert found.rows[1].cells["Size"] == '30" x 30"'
    assert found.rows[2].cells["Size"] == '30" x 36"'


def test_a_quotation_mark_that_never_closes_is_refused_with_its_line(tmp_path):
    with pytest.raises(OutOfRangeError, match="after line 3 never closes"):
        table(tmp_path, 'No,A\n1,x\n2,"y\n3,z\n4,z\n')


def test_a_character_without_a_meaning_costs_its_row_only(tmp_path):
    found = table(tmp_path, "No,A\n1,x\x00\n2,y\n")
    assert "code 0" in found.rows[0].problem
    assert "\x00" not in found.rows[0].cells["A"]
    assert found.rows[1].problem == ""


def test_lines_above_the_header_can_be_left_out(tmp_path):
    found = table(tmp_path, "Signs of 2026\n\nNo,A\n1,x\n", skip_lines=2)
    assert found.columns == ("No", "A")
    assert found.rows[0].line == 4


def test_a_file_without_rows_is_a_list_without_rows(tmp_path):
    assert table(tmp_path, "No,A\n").rows == []
    with pytest.raises(OutOfRangeError, match="no line with column names"):
        table(tmp_path, "")


def point(x: float, y: float) -> bytes:
    return struct.pack("<BIdd", 1, 1, x, y)


def write_layer(path: Path, shapes: list[bytes | None], kind: str = "Point", **how) -> Path:
    count = len(shapes)
    pyogrio.raw.write(
        path,
        np.array(shapes, dtype=object),
        [
            np.array([f"sign {n}" for n in range(count)], dtype=object),
            np.arange(count).astype(np.float64),
            np.array(["2019-05-03"] * count, dtype="datetime64[D]"),
        ],
        ["name", "num", "day"],
        geometry_type=kind,
        crs=how.pop("crs", "EPSG:26916"),
        **how,
    )
    return path


@pytest.mark.parametrize("name", ["signs.gpkg", "signs.shp", "signs.geojson"])
def test_gis_files_give_their_points_and_their_system(tmp_path, name):
    crs = "EPSG:4326" if name.endswith("geojson") else "EPSG:26916"
    path = write_layer(tmp_path / name, [point(-88.2, 40.1), None], crs=crs)
    found = read_table(path, FileOptions())
    assert found.crs == crs
    assert found.points == [(-88.2, 40.1), ""]
    assert found.rows[1].cells["num"] == "1"
    assert found.rows[1].cells["day"] == "2019-05-03"
    assert found.date_columns == {"day"}
    # The row numbers of a GeoPackage stay; those of the others do not.
    assert ("fid" in found.columns) == name.endswith("gpkg")


def test_other_shapes_than_points_are_told_for_what_they_are(tmp_path):
    line = struct.pack("<BII4d", 1, 2, 2, 0.0, 0.0, 1.0, 1.0)
    path = write_layer(tmp_path / "lines.gpkg", [line], kind="LineString")
    assert read_table(path, FileOptions()).points == ["not a point"]
    one = struct.pack("<BII", 1, 4, 1) + point(1.0, 2.0)
    two = struct.pack("<BII", 1, 4, 2) + point(1.0, 2.0) + point(3.0, 4.0)
    path = write_layer(tmp_path / "sets.gpkg", [one, two], kind="MultiPoint")
    assert read_table(path, FileOptions()).points == [(1.0, 2.0), "a set of 2 points"]


def test_a_height_does_not_hide_a_point(tmp_path):
    high = struct.pack("<BIddd", 1, 1001, 1.0, 2.0, 250.0)
    path = write_layer(tmp_path / "high.gpkg", [high], kind="Point Z")
    assert read_table(path, FileOptions()).points == [(1.0, 2.0)]


def test_one_layer_of_several_must_be_named(tmp_path):
    path = write_layer(tmp_path / "both.gpkg", [point(1.0, 2.0)], layer="signs")
    write_layer(path, [point(1.0, 2.0), point(3.0, 4.0)], layer="posts", append=True)
    with pytest.raises(OutOfRangeError, match="'signs', 'posts'"):
        read_table(path, FileOptions())
    assert len(read_table(path, FileOptions(layer="posts")).rows) == 2
    with pytest.raises(OutOfRangeError, match="no layer 'post'"):
        read_table(path, FileOptions(layer="post"))


def test_what_is_no_table_is_refused(tmp_path):
    with pytest.raises(OutOfRangeError, match="There is no file"):
        read_table(tmp_path / "none.csv", FileOptions())
    with pytest.raises(OutOfRangeError, match="not a file that can be read"):
        read_table(write(tmp_path, "hello", "letter.docx"), FileOptions())


def test_the_digest_is_that_of_the_content(tmp_path):
    first = table(tmp_path, "No,A\n1,x\n").sha256
    assert table(tmp_path, "No,A\n1,x\n").sha256 == first
    assert table(tmp_path, "No,A\n1,y\n").sha256 != first
    path = write_layer(tmp_path / "s.shp", [point(1.0, 2.0)])
    before = read_table(path, FileOptions()).sha256
    (tmp_path / "s.dbf").write_bytes(
        (tmp_path / "s.dbf").read_bytes().replace(b"sign", b"sigh")
    )
    assert read_table(path, FileOptions()).sha256 != before
