"""Lists of several hands, read with mappings of their own; all names and figures invented."""

from __future__ import annotations

import struct
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pyogrio
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.interchange.sign_lists import read_sign_list
from inventory.services.importing.rows import SourceField as F
from tests.interchange.lists import MINIMAL, TODAY, read, write

if TYPE_CHECKING:
    from pathlib import Path


def values(
    folder: Path, content: str, extra: str, mapping: str = MINIMAL
) -> list[dict[str, Any]]:
    return [dict(row.values) for row in read(folder, content, mapping + extra).rows]


def notes(source) -> str:
    return "\n".join(map(str, source.notes))


def test_a_plain_row_comes_to_our_words(tmp_path):
    [row] = read(
        tmp_path,
        "No,Lon,Lat,Code,Size,Dir,Sheet,Up\n"
        "17, -88.25 ,40.125,r1-1,30 x 30,SW,High  GRADE Prism ,05/2014\n",
        MINIMAL
        + """
        [code]
        column = "Code"
        [size]
        column = "Size"
        unit = "in"
        [facing]
        column = "Dir"
        convention = "front"
        [sheeting]
        column = "Sheet"
        values."high grade prism" = { type = "IV", optics = "prismatic" }
        [installed]
        column = "Up"
        formats = ["%m/%d/%Y", "%m/%Y"]
        """,
    ).rows
    assert row.external_id == "17"
    assert row.line == 2
    assert row.refusal == ""
    assert row.values == {
        F.POINT: [40.125, -88.25],
        F.CODE: "r1-1",
        F.SIZES: [[30.0, 30.0]],
        F.FACING: 225.0,
        F.SHEETING: ["IV", "prismatic"],
        F.INSTALLED: ["2014-05-01", "month"],
    }
    assert row.raw["Sheet"] == "High  GRADE Prism "


def test_what_is_not_known_stays_unknown_and_is_counted(tmp_path):
    source = read(
        tmp_path,
        "No,Lon,Lat,Sheet,Size\n1,-88,40,,\n2,-88,40,N/A,0 x 0\n3,-88,40,shiny,big\n"
        "4,-88,40,Shiny,30x30\n",
        MINIMAL.replace("[list]", '[list]\nunknown_values = ["n/a"]')
        + """
        [sheeting]
        column = "Sheet"
        values."beads" = { type = "I", optics = "beaded" }
        [size]
        column = "Size"
        unit = "in"
        """,
    )
    assert [row.values[F.SHEETING] for row in source.rows] == [None] * 4
    assert [row.values[F.SIZES] for row in source.rows] == [None, None, None, [[30, 30]]]
    told = notes(source)
    assert "sheeting 'shiny', 1 row (first on line 4)" in told
    assert "sheeting 'Shiny', 1 row (first on line 5)" in told
    assert "size 'big'" in told
    assert "N/A" not in told


def test_unknown_words_can_refuse_their_rows(tmp_path):
    rows = read(
        tmp_path,
        "No,Lon,Lat,Sheet\n1,-88,40,shiny\n2,-88,40,\n3,-88,40,beads\n",
        MINIMAL
        + """
        [sheeting]
        column = "Sheet"
        on_unknown = "refuse"
        values."beads" = { type = "I" }
        """,
    ).rows
    assert "'shiny' is not among the words" in rows[0].refusal
    assert rows[1].refusal == ""
    assert rows[2].values[F.SHEETING] == ["I", "unknown"]


def test_owners_must_be_known(tmp_path):
    extra = """
    [owner]
    column = "Owner"
    values = { City = "agency", DOT = "state" }
    """
    content = "No,Lon,Lat,Owner\n1,-88,40,city\n2,-88,40,dot\n3,-88,40,Mall\n4,-88,40,\n"
    rows = read(tmp_path, content, MINIMAL + extra).rows
    assert [row.values.get(F.OWNER) for row in rows] == ["agency", "state", None, None]
    assert "'Mall' is not among" in rows[2].refusal
    assert "no 'not known'" in rows[3].refusal
    extra += 'default = "agency"\nbasis = "the clerk leaves our own blank"\n'
    source = read(tmp_path, content, MINIMAL + extra)
    assert source.rows[3].values[F.OWNER] == "agency"
    assert any("the clerk leaves our own blank" in each for each in source.remarks)


def test_an_identifier_comes_once(tmp_path):
    rows = read(tmp_path, "No,Lon,Lat\n1,-88,40\n 1 ,-88,41\n,-88,40\n").rows
    assert rows[0].refusal == ""
    assert "already on line 2" in rows[1].refusal
    assert "no identifier: 'No' is empty" in rows[2].refusal


def test_an_identifier_may_be_of_several_columns(tmp_path):
    mapping = MINIMAL.replace('["No"]', '["Street", "Pole", "No"]')
    rows = read(
        tmp_path,
        "No,Pole,Street,Lon,Lat\n1,7,Elm,-88,40\n1,8,Elm,-88,40\n2,,Elm,-88,40\n",
        mapping,
    ).rows
    assert [row.external_id for row in rows] == ["Elm / 7 / 1", "Elm / 8 / 1", "Elm /  / 2"]


def test_points_that_cannot_be_right_are_refused_in_words(tmp_path):
    rows = read(
        tmp_path,
        "No,Lon,Lat\n1,-88,40\n2,40,-88\n3,0,0\n4,,40\n5,west,40\n6,-200,40\n7,-88.5,41\n",
        MINIMAL + "bounds = { south = 39, west = -89, north = 40.5, east = -87 }\n",
    ).rows
    assert [bool(row.refusal) for row in rows] == [False, True, False, False, True, True, True]
    assert "x and y exchanged" in rows[1].refusal
    # No point at all is not refused here: its support may be known by its key.
    assert rows[2].values[F.POINT] is None
    assert rows[3].values[F.POINT] is None
    assert "'west' is not a number" in rows[4].refusal
    assert "nowhere in EPSG:4326" in rows[5].refusal
    assert "outside the bounds of the mapping" in rows[6].refusal


def test_a_list_of_semicolons_commas_and_millimetres(tmp_path):
    [row] = values(
        tmp_path,
        "Nr;Ost;Nord;Breite;Höhe;Richtung;Datum\n"
        "A-1;443.210,5;4.438.123,4;762;914,4;45,0;03.05.2019\n",
        """
        [size]
        width_column = "Breite"
        height_column = "Höhe"
        unit = "mm"
        [facing]
        column = "Richtung"
        convention = "traffic"
        [installed]
        column = "Datum"
        formats = ["%d.%m.%Y"]
        """,
        """
        [list]
        name = "metric"
        [file]
        decimal = ","
        thousands = "."
        [id]
        columns = ["Nr"]
        [point]
        crs = "EPSG:26916"
        x = "Ost"
        y = "Nord"
        """,
    )
    assert row[F.SIZES] == [[30.0, 36.0]]
    assert row[F.FACING] == 225.0
    assert row[F.INSTALLED] == ["2019-05-03", "day"]
    # NAD 83 / UTM 16N has its central meridian at 87° W; x below 500 km lies west of it.
    assert -88.0 < row[F.POINT][1] < -87.0
    assert 40.0 < row[F.POINT][0] < 40.2


def test_a_list_with_its_point_in_one_text(tmp_path):
    mapping = MINIMAL.replace('x = "Lon"\ny = "Lat"', 'text = "Where"\ntext_order = "{}"')
    as_text = '"(40.125, -88.25)"'
    [row] = read(
        tmp_path, f"No,Where\n1,{as_text}\n", mapping.replace("{}", "latitude longitude")
    ).rows
    assert row.values[F.POINT] == [40.125, -88.25]
    [row] = read(
        tmp_path, "No,Where\n1,POINT (-88.25 40.125)\n", mapping.replace("{}", "x y")
    ).rows
    assert row.values[F.POINT] == [40.125, -88.25]


def test_two_faces_on_one_row(tmp_path):
    [row] = values(
        tmp_path,
        'No,Lon,Lat,Size\n1,-88,40,"30"" X 6""/ 30"" X 6"""\n',
        '[size]\ncolumn = "Size"\nunit = "in"\n',
    )
    assert row[F.SIZES] == [[30.0, 6.0], [30.0, 6.0]]


def test_single_numbers_are_sizes_only_when_the_mapping_says_so(tmp_path):
    content = "No,Lon,Lat,Size\n1,-88,40,30\n2,-88,40,30x36\n"
    size = '[size]\ncolumn = "Size"\nunit = "in"\n'
    assert [row[F.SIZES] for row in values(tmp_path, content, size)] == [None, [[30, 36]]]
    square = size + 'single = "square"\nvalues."30x36" = "36 x 30"\n'
    found = values(tmp_path, content, square)
    assert [row[F.SIZES] for row in found] == [[[30, 30]], [[36, 30]]]


def test_one_known_side_is_kept(tmp_path):
    found = values(
        tmp_path,
        "No,Lon,Lat,W,H\n1,-88,40,0,9\n2,-88,40,,\n3,-88,40,wide,9\n",
        '[size]\nwidth_column = "W"\nheight_column = "H"\nunit = "in"\n',
    )
    assert [row[F.SIZES] for row in found] == [[[None, 9]], None, [[None, 9]]]


def test_mounts_may_follow_from_the_support(tmp_path):
    found = values(
        tmp_path,
        "No,Lon,Lat,Post\n1,-88,40,U\n2,-88,40,arm\n3,-88,40,\n",
        """
        [support_type]
        column = "Post"
        values = { U = "u_channel", Arm = "mast_arm" }
        [mount]
        from_support_type = true
        """,
    )
    assert [row[F.MOUNT] for row in found] == ["post", "overhead", None]


def test_numbers_out_of_their_range_are_not_known(tmp_path):
    source = read(
        tmp_path,
        "No,Lon,Lat,Year,Up,Place\n1,-88,40,2031,84,1\n2,-88,40,31,0,0\n3,-88,40,0,x,1.5\n",
        MINIMAL
        + """
        [replacement_year]
        column = "Year"
        [mounting_height]
        column = "Up"
        unit = "in"
        [order]
        column = "Place"
        """,
    )
    got = [
        (row.values[F.REPLACEMENT_YEAR], row.values[F.MOUNTING_HEIGHT], row.values[F.ORDER])
        for row in source.rows
    ]
    assert got == [(2031, 84.0, 1), (None, None, None), (None, None, None)]
    told = notes(source)
    assert "not 1950 to 2150" in told
    assert "order '1.5'" in told


def test_dates_that_contradict_each_other_are_both_unknown(tmp_path):
    source = read(
        tmp_path,
        "No,Lon,Lat,Made,Up\n1,-88,40,2019-06,2019-05-30\n2,-88,40,2019-05,2019-05-30\n",
        MINIMAL
        + """
        [fabricated]
        column = "Made"
        formats = ["%Y-%m"]
        [installed]
        column = "Up"
        formats = ["%Y-%m-%d"]
        """,
    )
    assert source.rows[0].values[F.INSTALLED] is None
    assert source.rows[0].values[F.FABRICATED] is None
    assert source.rows[1].values[F.FABRICATED] == ["2019-05-01", "month"]
    assert "after the day it was installed" in notes(source)


def test_a_judgement_needs_its_day(tmp_path):
    source = read(
        tmp_path,
        "No,Lon,Lat,Cond,Seen\n1,-88,40,Good,2024-05-02\n2,-88,40,Bent,\n3,-88,40,odd,2024-05-02\n",
        MINIMAL
        + """
        [condition]
        column = "Cond"
        date_column = "Seen"
        formats = ["%Y-%m-%d"]
        values.Good = "sound"
        values.Bent = { kind = "bent", severity = "moderate" }
        """,
    )
    assert [row.values[F.CONDITION] for row in source.rows] == [
        ["2024-05-02", "general", 0, "Good"],
        None,
        None,
    ]
    assert "no day is given" in notes(source)
    assert "not among the mapping's words; kept with the row" in notes(source)


def test_a_geopackage_in_another_system(tmp_path):
    path = tmp_path / "signs.gpkg"
    # 765 ILCS 225/7: the origin of the Illinois East zone is x = 984,250 US survey feet at
    # 88°20' W; the meridian stays there at any y.
    shapes = np.array([struct.pack("<BIdd", 1, 1, 984_250.0, 1_260_000.0), None], dtype=object)
    pyogrio.raw.write(
        path,
        shapes,
        [
            np.array(["NB", "EB"], dtype=object),
            np.array(["2019-05-03", "NaT"], dtype="datetime64[D]"),
        ],
        ["DIR", "UP"],
        geometry_type="Point",
        crs="EPSG:3435",
    )
    mapping = """
    [list]
    name = "layer"
    [id]
    columns = ["fid"]
    [point]
    geometry = true
    [facing]
    column = "DIR"
    convention = "traffic"
    [installed]
    column = "UP"
    """
    source = read_sign_list(path, mapping, today=TODAY)
    first, second = source.rows
    assert first.external_id == "1"
    assert first.values[F.POINT][1] == pytest.approx(-(88 + 20 / 60), abs=1e-6)
    assert first.values[F.FACING] == 180.0
    assert first.values[F.INSTALLED] == ["2019-05-03", "day"]
    assert second.values[F.POINT] is None
    contradicting = mapping.replace("geometry = true", 'geometry = true\ncrs = "EPSG:26916"')
    with pytest.raises(ValueError, match="but the file says EPSG:3435"):
        read_sign_list(path, contradicting, today=TODAY)
    overriding = contradicting.replace("[facing]", "override_file_crs = true\n[facing]")
    assert "EPSG:26916" in " ".join(read_sign_list(path, overriding, today=TODAY).remarks)


def test_native_dates_need_no_formats_and_fall_on_the_day_of_their_place(tmp_path):
    path = write(
        tmp_path,
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":'
        '{"No":1,"Up":"2019-05-03T03:00:00Z"},"geometry":{"type":"Point",'
        '"coordinates":[-88.2,40.1]}}]}',
        "signs.geojson",
    )
    mapping = """
    [list]
    name = "json"
    [file]
    time_zone = "America/Chicago"
    [id]
    columns = ["No"]
    [point]
    geometry = true
    [installed]
    column = "Up"
    """
    [row] = read_sign_list(path, mapping, today=TODAY).rows
    assert row.values[F.INSTALLED] == ["2019-05-02", "day"]


def test_a_long_legend_is_cut_and_a_long_key_is_not_guessed(tmp_path):
    source = read(
        tmp_path,
        f"No,Lon,Lat,Legend,Pole\n1,-88,40,{'LONG ' * 60},{'7' * 130}\n",
        MINIMAL + '[legend]\ncolumn = "Legend"\n[support]\nkey_column = "Pole"\n',
    )
    assert len(source.rows[0].values[F.LEGEND]) == 255
    assert source.rows[0].values[F.SUPPORT_KEY] is None
    assert "cut at 255 characters" in notes(source)


cells = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=12).map(
    lambda text: text.replace('"', "'")
)


@given(st.lists(st.lists(cells, min_size=5, max_size=5), max_size=12))
def test_every_row_of_any_list_is_kept_with_its_text(tmp_path_factory, table):
    folder = tmp_path_factory.mktemp("list")
    lines = [",".join(f'"{cell}"' for cell in row) for row in table]
    source = read(
        folder,
        "No,Lon,Lat,Size,Dir\n" + "\n".join(lines) + "\n",
        MINIMAL
        + '[size]\ncolumn = "Size"\nunit = "in"\n'
        + '[facing]\ncolumn = "Dir"\nconvention = "front"\n',
    )
    written = [row for row in table if any(cell.strip() for cell in row)]
    assert [list(row.raw.values()) for row in source.rows] == written
    assert all(row.external_id or row.refusal for row in source.rows)


def test_the_day_of_the_import_is_the_last_a_date_may_have(tmp_path):
    path = write(tmp_path, "No,Lon,Lat,Up\n1,-88,40,2026-06-02\n")
    mapping = MINIMAL + '[installed]\ncolumn = "Up"\nformats = ["%Y-%m-%d"]\n'
    [row] = read_sign_list(path, mapping, today=date(2026, 6, 1)).rows
    assert row.values[F.INSTALLED] is None
    [row] = read_sign_list(path, mapping, today=date(2026, 6, 2)).rows
    assert row.values[F.INSTALLED] == ["2026-06-02", "day"]


def test_every_kind_of_column_can_be_mapped(tmp_path):
    [row] = values(
        tmp_path,
        "No,Lon,Lat,Code,Side,Hand,Text,Bg,Fg,Third,State,Mile,Posts,Made,Part\n"
        "1,-88,40,HALT,east side,Links,STOP,Rot,Weiß,?,up,16.09344,2,2014,N\n",
        """
        [code]
        column = "Code"
        values.HALT = "R1-1"
        [side]
        column = "Side"
        [district]
        column = "Part"
        values.N = "North"
        [variant]
        column = "Hand"
        values = { Links = "L", Rechts = "R" }
        [legend]
        column = "Text"
        [background]
        column = "Bg"
        values.rot = "red"
        [legend_color]
        column = "Fg"
        values."weiß" = "white"
        [secondary_color]
        column = "Third"
        unknown_values = ["?"]
        values.gelb = "yellow"
        [status]
        column = "State"
        values = { up = "installed", down = "removed", planned = "refuse" }
        [milepoint]
        column = "Mile"
        unit = "km"
        [post_count]
        column = "Posts"
        [fabricated]
        column = "Made"
        formats = ["%Y"]
        """,
    )
    del row[F.POINT]
    assert row == {
        F.CODE: "R1-1",
        F.SIDE: "east side",
        F.DISTRICT: "North",
        F.VARIANT: "L",
        F.LEGEND: "STOP",
        F.BACKGROUND: "red",
        F.LEGEND_COLOR: "white",
        F.SECONDARY_COLOR: None,
        F.STATUS: "installed",
        # 1 mi is 1.609344 km, exact: NIST SP 811, appendix B.8.
        F.MILEPOINT: 10.0,
        F.POST_COUNT: 2,
        F.FABRICATED: ["2014-01-01", "year"],
    }


def test_rows_can_be_refused_by_a_word(tmp_path):
    [row] = read(
        tmp_path,
        "No,Lon,Lat,State\n1,-88,40,Planned\n",
        MINIMAL + '[status]\ncolumn = "State"\nvalues = { planned = "refuse" }\n',
    ).rows
    assert "refuses rows whose status is 'Planned'" in row.refusal


def test_a_removal_needs_its_day(tmp_path):
    source = read(
        tmp_path,
        "No,Lon,Lat,State,Off\n1,-88,40,down,2020\n2,-88,40,down,2020-05-01\n",
        MINIMAL
        + '[status]\ncolumn = "State"\nvalues = { down = "removed" }\n'
        + '[removed]\ncolumn = "Off"\nformats = ["%Y-%m-%d", "%Y"]\n',
    )
    assert [row.values[F.REMOVED] for row in source.rows] == [None, ["2020-05-01", "day"]]
    assert "no day is given" in notes(source)


def test_a_row_says_when_it_was_changed(tmp_path):
    rows = read(
        tmp_path,
        "No,Lon,Lat,Edited\n1,-88,40,2026-05-03\n2,-88,40,\n",
        MINIMAL + '[changed]\ncolumn = "Edited"\nformats = ["%Y-%m-%d"]\n',
    ).rows
    assert [row.changed_on for row in rows] == [date(2026, 5, 3), None]


def test_an_identifier_too_long_to_keep_is_refused(tmp_path):
    [row] = read(tmp_path, f"No,Lon,Lat\n{'9' * 130},-88,40\n").rows
    assert "has 130 characters; at most 120 are kept" in row.refusal


def test_a_row_that_cannot_be_read_keeps_its_identifier(tmp_path):
    [row] = read(tmp_path, "No,Lon,Lat\n7,-88,40,more\n").rows
    assert row.external_id == "7"
    assert "4 cells but the header 3" in row.refusal


def test_a_shape_that_is_no_point_is_refused(tmp_path):
    line = struct.pack("<BII4d", 1, 2, 2, -88.0, 40.0, -88.1, 40.1)
    path = tmp_path / "lines.gpkg"
    pyogrio.raw.write(
        path,
        np.array([line], dtype=object),
        [np.array(["a"], dtype=object)],
        ["No"],
        geometry_type="LineString",
        crs="EPSG:4326",
    )
    mapping = '[list]\nname = "lines"\n[id]\ncolumns = ["No"]\n[point]\ngeometry = true\n'
    [row] = read_sign_list(path, mapping, today=TODAY).rows
    assert row.refusal == "The row's shape is not a point; a sign needs a point."


SUPPORT = "[support]\ndistance_m = 3\n"


def test_points_far_from_the_others_are_told_but_taken(tmp_path):
    rows = "1,-88.2,40.1\n2,-88.3,40.2\n3,40.1,-88.2\n"
    source = read(tmp_path, "No,Lon,Lat\n" + rows, MINIMAL + SUPPORT)
    [told] = [each for each in source.remarks if "More than 500 km" in each]
    assert "1 row lies, the first on line 4 at latitude -88.20000, longitude 40.10000" in told
    assert "Give bounds" in told
    assert [row.refusal for row in source.rows] == ["", "", ""]
    near = read(tmp_path, "No,Lon,Lat\n1,-88.2,40.1\n2,,\n", MINIMAL + SUPPORT)
    assert not [each for each in near.remarks if "More than" in each]


def test_without_a_support_table_it_is_told_how_many_rows_share_a_point(tmp_path):
    rows = "No,Lon,Lat\n1,-88.2,40.1\n2,-88.2,40.1\n3,-88.3,40.1\n"
    told = "\n".join(read(tmp_path, rows).remarks)
    assert "There is no [support]" in told
    assert "though 1 row lies at the very point of an earlier one" in told
    assert "no [support]" not in "\n".join(read(tmp_path, rows, MINIMAL + SUPPORT).remarks)


def test_a_date_in_words_can_be_translated(tmp_path):
    extra = """
    [installed]
    column = "Up"
    formats = ["%m/%d/%Y", "%b-%y", "%Y"]
    values = { "Sept-14" = "Sep-14", "spring 2014" = "2014", "long ago" = "unknown" }
    """
    source = read(
        tmp_path,
        "No,Lon,Lat,Up\n1,-88.2,40.1,sept-14\n2,-88.2,40.1,Spring  2014\n"
        "3,-88.2,40.1,long ago\n4,-88.2,40.1,3/1/2014\n",
        MINIMAL + extra,
    )
    assert [row.values[F.INSTALLED] for row in source.rows] == [
        ["2014-09-01", "month"],
        ["2014-01-01", "year"],
        None,
        ["2014-03-01", "day"],
    ]
    assert notes(source) == ""


def test_a_single_number_is_told_how_it_could_be_a_size(tmp_path):
    extra = '[size]\ncolumn = "S"\nunit = "mm"\n'
    source = read(
        tmp_path, "No,Lon,Lat,S\n1,-88.2,40.1,914 mm\n2,-88.2,40.1,big\n", MINIMAL + extra
    )
    first, second = source.notes
    assert 'write single = "square" in [size]' in first.sentence
    assert "single" not in second.sentence


def test_a_legend_for_several_faces_is_not_parted_by_guess(tmp_path):
    extra = '[size]\ncolumn = "S"\nunit = "in"\n[legend]\ncolumn = "L"\n'
    source = read(
        tmp_path,
        "No,Lon,Lat,S,L\n1,-88.2,40.1,36x9 / 30x9,OAK LN / MILL RD\n"
        "2,-88.2,40.1,36x9 / 36x9,MAIN ST\n3,-88.2,40.1,36x9,DEAD END / NO OUTLET\n",
        MINIMAL + extra,
    )
    [note] = source.notes
    assert note.text == "OAK LN / MILL RD"
    assert "each of the row's 2 faces carries it whole" in note.sentence
    assert source.rows[0].values[F.LEGEND] == "OAK LN / MILL RD"


def test_short_rows_are_told_with_the_first_of_their_lines(tmp_path):
    source = read(tmp_path, "No,Lon,Lat\n1,-88.2,40.1\n2,-88.2\n3\n")
    [told] = [each for each in source.remarks if "shorter than the header" in each]
    assert told.startswith("2 rows are shorter than the header (first on line 3);")
