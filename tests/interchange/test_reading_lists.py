"""Lists of readings as files: the fixed header, times, and the command that takes them in."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.core.management import CommandError, call_command

from inventory.errors import OutOfRangeError
from inventory.interchange.reading_lists import (
    KNOWN_COLUMNS,
    parse_moment,
    read_reading_list,
)
from inventory.models import Inspection, RefusedEntry
from tests.factories import make_agency, make_instrument, make_person, make_sign

CHICAGO = ZoneInfo("America/Chicago")
HOW_TO = Path(__file__).resolve().parents[2] / "docs" / "how-to" / "import-readings.md"
HEADER = "sign_id,taken_at,how,color,ra_1_cd_lx_m2,ra_2_cd_lx_m2"


def write(folder: Path, text: str, name: str = "readings.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def read(folder: Path, text: str):
    return read_reading_list(write(folder, text), CHICAGO)


def test_a_row_is_understood_cell_by_cell(tmp_path):
    text = (
        "taken_at,ra_2_cd_lx_m2,sign_id,how,color,ra_10_cd_lx_m2,ra_1_cd_lx_m2,is_confirmed\n"
        "2026-05-28 14:30,41,7,Hand_Held,White,42,40.0,yes\n"
    )
    (row,) = read(tmp_path, text).rows
    assert (row.line, row.sign_id, row.how, row.color) == (2, 7, "hand_held", "white")
    assert row.values == ("40.0", "41", "42")  # by the number in the column's name
    assert row.is_confirmed
    assert row.taken_at is not None
    assert row.taken_at.isoformat() == "2026-05-28T14:30:00-05:00"
    assert row.raw["how"] == "Hand_Held"


def test_empty_values_are_left_out_and_everything_else_stays_as_written(tmp_path):
    (row,) = read(tmp_path, f"{HEADER}\n7,2026-05-28 14:30,mobile,red,,-3\n").rows
    assert (row.values, row.refusal) == (("-3",), "")


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ("seven,2026-05-28 14:30,mobile,red,1,2", "'seven' is not a sign's number"),
        ("7,yesterday,mobile,red,1,2", "'yesterday' is not a date with a time of day"),
        ("7,2026-05-28,mobile,red,1,2", "is not a date with a time of day"),
        ("7,2026-05-28 14:30,mobile,red,1,2,3", "7 cells but the header 6"),
    ],
)
def test_a_row_that_is_not_understood_says_why_and_is_kept(tmp_path, cells, words):
    (row,) = read(tmp_path, f"{HEADER}\n{cells}\n").rows
    assert words in row.refusal
    assert row.raw["color"] == "red"


@pytest.mark.parametrize(
    ("header", "words"),
    [
        (f"{HEADER},colour", "does not have: 'colour'"),
        (HEADER.replace("sign_id,", ""), "sign_id or label_id or external_id"),
        (HEADER.replace("how,", ""), "no column how"),
        ("sign_id,taken_at,how,color", "ra_1_cd_lx_m2"),
        (HEADER.replace("ra_1_cd_lx_m2", "ra_0_cd_lx_m2"), "'ra_0_cd_lx_m2'"),
    ],
)
def test_a_header_that_is_not_of_such_a_list_is_refused(tmp_path, header, words):
    with pytest.raises(OutOfRangeError, match=words):
        read(tmp_path, f"{header}\n1,2,3,4\n")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        # Clocks go forward on 8 March 2026 and back on 1 November 2026, at 2 in the morning
        # (15 U.S.C. 260a: second Sunday of March, first Sunday of November).
        ("2026-03-08 02:30", "does not come at all"),
        ("2026-11-01 01:30", "comes twice"),
    ],
)
def test_a_time_in_the_night_the_clocks_change_needs_its_offset(text, words):
    with pytest.raises(OutOfRangeError, match=words):
        parse_moment(text, CHICAGO)
    assert parse_moment(f"{text}-06:00", CHICAGO).utcoffset() is not None


@pytest.mark.django_db
def test_the_command_runs_dry_then_applies_and_its_counts_add_up(tmp_path, capsys):
    agency = make_agency("Alder County")
    sign, engineer = make_sign(agency), make_person(agency)
    head = f"{HEADER},observation_angle_deg,entrance_angle_deg"
    file = write(
        tmp_path,
        f"{head}\n"
        f"{sign.pk},2026-05-28 14:30,hand_held,white,60,61,0.2,-4.0\n"
        f"{sign.pk},2026-05-28 15:30,hand_held,white,-60,61,0.2,-4.0\n",
    )
    refused = tmp_path / "refused.csv"
    arguments = [str(file), "--organisation", "Alder County", "--refused-out", str(refused)]
    call_command("import_readings", *arguments)
    said = capsys.readouterr().out
    assert "Of 2 rows 1 would be stored, 0 unchanged, 1 refused (sum 2)." in said
    assert "Nothing was written" in said
    assert not Inspection.objects.exists()
    call_command("import_readings", *arguments, "--apply", "--by", engineer.username)
    said = capsys.readouterr().out
    assert "Of 2 rows 1 stored, 0 unchanged, 1 refused (sum 2)." in said
    assert "line 3: White: The reading -60 cd/lx/m² is negative" in said
    assert Inspection.objects.get().inspector == engineer
    assert RefusedEntry.objects.count() == 1
    with refused.open(encoding="utf-8-sig", newline="") as lines:
        (kept,) = csv.DictReader(lines)
    assert (kept["line"], kept["ra_1_cd_lx_m2"]) == ("3", "-60")
    assert "is negative" in kept["reason"]


@pytest.mark.django_db
def test_the_command_says_what_it_cannot_use(tmp_path):
    make_agency("Alder County")
    file = write(tmp_path, "a,b\n1,2\n")
    with pytest.raises(CommandError, match="does not have: 'a', 'b'"):
        call_command("import_readings", str(file), "--organisation", "Alder County")
    with pytest.raises(CommandError, match="no person 'nobody'"):
        call_command(
            "import_readings", str(file), "--organisation", "Alder County", "--by", "nobody"
        )


@pytest.mark.django_db
def test_the_example_of_the_how_to_does_what_the_page_says(tmp_path, capsys):
    text = HOW_TO.read_text(encoding="utf-8")
    match = re.search(r"^```csv\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    assert match is not None
    agency = make_agency("Example County Highways")
    make_sign(agency, label_id="001-0JK")
    make_instrument(agency, serial="RM-7")
    file = write(tmp_path, match[1])
    call_command(
        "import_readings",
        str(file),
        "--organisation",
        agency.name,
        "--apply",
        "--refused-out",
        str(tmp_path / "refused.csv"),
    )
    said = capsys.readouterr().out
    assert "Of 3 rows 2 stored, 0 unchanged, 1 refused" in said
    assert "Visits stored: 1, of which by an instrument in doubt, to be settled: 0." in said
    assert "Of 3 rows 2 are stored, as one visit, and 1 is refused" in text


def test_the_how_to_names_every_column():
    text = HOW_TO.read_text(encoding="utf-8")
    assert [name for name in KNOWN_COLUMNS if f"`{name}`" not in text] == []
