"""A mapping is checked whole before a row is read, and every slip is named."""

from __future__ import annotations

import pytest

from inventory.errors import OutOfRangeError
from inventory.interchange.mapping import read_condition_target, read_sheeting_target
from tests.interchange.lists import MINIMAL, read

LIST = "No,Lon,Lat,Sheeting,Facing,Size,Put up,Owner,Cond,Post\n1,-88.2,40.1,,,,,,,\n"


def slips(tmp_path, mapping: str) -> list[str]:
    """Return what a mapping is told about."""
    with pytest.raises(OutOfRangeError) as caught:
        read(tmp_path, LIST, mapping)
    lines = str(caught.value).splitlines()
    assert "wrong with the mapping" in lines[0]
    return lines[1:]


def only(tmp_path, mapping: str) -> str:
    found = slips(tmp_path, mapping)
    assert len(found) == 1, found
    return found[0]


def test_a_mapping_that_fits_is_taken(tmp_path):
    assert len(read(tmp_path, LIST).rows) == 1


def test_every_slip_is_named_at_once(tmp_path):
    found = slips(
        tmp_path,
        """
        [list]
        nam = "signs"
        [id]
        columns = ["Numbr"]
        [point]
        crs = "EPSG:999999"
        x = "Lon"
        [sheeting]
        column = "Sheting"
        values."high grade prism" = { type = "XV" }
        [colour]
        column = "Post"
        """,
    )
    told = "\n".join(found)
    for words in (
        "[colour] is no table of a mapping",
        "[list] name is missing",
        "[list] has no key 'nam'; nearest: 'name'",
        "[id] columns = 'Numbr' is no column of the file",
        "[point] needs both x and y",
        "[point] 'EPSG:999999' is not a coordinate system",
        "[sheeting] column = 'Sheting' is no column of the file; nearest: 'Sheeting'",
        "'XV' is not a sheeting type",
    ):
        assert words in told, words
    assert len(found) == 8


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ('[facing]\ncolumn = "Facing"', "convention is missing"),
        ('[facing]\ncolumn = "Facing"\nconvention = "back"', "'front', 'traffic'"),
        ('[sheeting]\ncolumn = "Sheeting"', "values is missing"),
        ('[sheeting]\ncolumn = "Sheeting"\nvalues.A = "IV"', 'must be "unknown" or'),
        (
            '[sheeting]\ncolumn = "Sheeting"\nvalues.A = { optics = "shiny" }',
            "beaded, prismatic",
        ),
        ('[mount]\ndefault = "post"', "needs a basis"),
        ('[mount]\nbasis = "so"\ncolumn = "Post"\nvalues.A = "post"', "there is none"),
        ("[mount]\nfrom_support_type = true", "needs [support_type]"),
        ('[mount]\ndefault = "pole"\nbasis = "so"', "is not a word of ours"),
        ('[support_type]\ncolumn = "Post"\nvalues.U = "u_chanel"', "nearest: 'u_channel'"),
        ('[background]\ncolumn = "Post"\nvalues.Y = "yelow"', "nearest: 'yellow'"),
        ('[owner]\ncolumn = "Owner"\nvalues.X = "unknown"', "no 'not known'"),
        (
            '[owner]\ncolumn = "Owner"\nvalues.X = "state"\non_unknown = "unknown"',
            "no 'not known'",
        ),
        ('[size]\ncolumn = "Size"', "unit is missing"),
        ('[size]\ncolumn = "Size"\nunit = "yd"', "'in', 'ft', 'mm', 'cm', 'm'"),
        ('[size]\nwidth_column = "Size"\nunit = "in"', "needs both width_column"),
        ('[installed]\ncolumn = "Put up"', "formats is missing"),
        ('[installed]\ncolumn = "Put up"\nformats = ["MM/DD/YYYY"]', "has no year"),
        (
            '[condition]\ncolumn = "Cond"\nvalues.Good = "sound"\nformats = ["%Y"]',
            "date_column is missing",
        ),
        ('[code]\ncolumn = "Post"\nvalues = ["R1-1"]', "must be a table"),
        (
            '[sheeting]\ncolumn = "Sheeting"\nvalues = { A = "unknown", a = { type = "I" } }',
            "twice",
        ),
        ("[support]\ndistance_m = 0", "above 0"),
        ('[removed]\ncolumn = "Put up"\nformats = ["%Y"]', "needs [status]"),
        ("[support]\ndistance = 2", "nearest: 'distance_m'"),
        ('[file]\nencoding = "utf-9"', "is not known"),
        ('[file]\ndelimiter = ":"', "must be one of"),
        ('[file]\ntime_zone = "Chicago"', "is not known"),
        ("[code]\ncolumn = 5", "must be a text"),
        ('legend = "Post"', "must be a table"),
    ],
)
def test_each_slip_has_its_sentence(tmp_path, table, words):
    text = table if not table.startswith("legend") else ""
    head = table if table.startswith("legend") else ""
    assert words in only(tmp_path, f"{head}\n{MINIMAL}\n{text}")


@pytest.mark.parametrize(
    ("point", "words"),
    [
        ('x = "Lon"\ny = "Lat"', "crs is missing"),
        ('crs = "EPSG:4326"', "needs one of: x and y"),
        ('crs = "EPSG:4326"\ntext = "Post"', "needs text_order"),
        ('crs = "EPSG:4326"\ngeometry = true', "the file has no shapes"),
        ('crs = "EPSG:4326"\nunit = "m"\nx = "Lon"\ny = "Lat"', "in degrees"),
        ('crs = "EPSG:4326"\nx = "Lon"\ny = "Lat"\nbounds = [1, 2]', "bounds must be"),
        (
            'crs = "EPSG:4326"\nx = "Lon"\ny = "Lat"\n'
            'bounds = { south = "a", west = 0, north = 1, east = 1 }',
            "bounds must be",
        ),
        ('crs = 4326\nx = "Lon"\ny = "Lat"', "must be a text"),
        (
            'crs = "EPSG:4326"\nx = "Lon"\ny = "Lat"\n'
            "bounds = { south = 2, west = 0, north = 1, east = 1 }",
            "south below north",
        ),
    ],
)
def test_each_slip_about_points_has_its_sentence(tmp_path, point, words):
    mapping = f'[list]\nname = "s"\n[id]\ncolumns = ["No"]\n[point]\n{point}\n'
    assert any(words in each for each in slips(tmp_path, mapping))


def test_a_mapping_that_is_no_toml_says_where(tmp_path):
    with pytest.raises(OutOfRangeError, match=r"not a TOML file.*line 2"):
        read(tmp_path, LIST, "[list]\nname = signs\n")


def test_a_missing_identifier_says_what_to_name(tmp_path):
    mapping = MINIMAL.replace('columns = ["No"]', "")
    assert "different in every row" in only(tmp_path, mapping)


def test_sheeting_words_come_to_type_and_optics():
    assert read_sheeting_target({"type": "iv", "optics": "prismatic"}) == ["IV", "prismatic"]
    assert read_sheeting_target({"type": "Type III"}) == ["III", "unknown"]
    assert read_sheeting_target({"optics": "prismatic"}) == ["", "prismatic"]
    assert read_sheeting_target("unknown") is None
    # The level tables have no prismatic Type I (MUTCD Table 2A-5, column heads).
    with pytest.raises(ValueError, match="no column for prismatic Type I"):
        read_sheeting_target({"type": "I", "optics": "prismatic"})


def test_condition_words_come_to_kind_and_severity():
    assert read_condition_target("sound") == ("general", 0)
    assert read_condition_target({"kind": "bent", "severity": "severe"}) == ("bent", 3)
    with pytest.raises(ValueError, match="severity must be"):
        read_condition_target({"kind": "bent", "severity": "bad"})
    with pytest.raises(ValueError, match="kind must be"):
        read_condition_target({"kind": "ugly", "severity": "slight"})
