"""The commands that take a list in and settle what waits, from file to print."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from inventory.models import ImportSettlement, Position, Sign
from inventory.services.inspection import record_inspection
from tests.factories import make_agency, make_person
from tests.interchange.lists import MINIMAL, write

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.django_db

CODE = '[code]\ncolumn = "Code"\n'
LIST = "No,Lon,Lat,Code\n1,-88.2,40.1,R1-1\n2,-88.2,40.1,XX-9\n2,-88.2,40.1,R1-1\n4,,,R1-1\n"


class Folder:
    """A folder with a list and its mapping, and an agency to take it in."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.agency = make_agency()
        self.mapping = write(path, MINIMAL + CODE, "map.toml")

    def run(self, content: str = LIST, **options) -> str:
        out = io.StringIO()
        call_command(
            "import_signs",
            str(write(self.path, content)),
            mapping=self.mapping,
            organisation=self.agency.name,
            refused_out=self.path / "refused.csv",
            stdout=out,
            **options,
        )
        return out.getvalue()


@pytest.fixture
def folder(tmp_path):
    return Folder(tmp_path)


def test_without_apply_it_is_a_dry_run(folder):
    told = folder.run()
    assert "Of 4 rows 2 would be created, 0 would be updated, 0 unchanged, 2 refused" in told
    assert "(sum 4)" in told
    assert "2 supports and 2 faces would be made." in told
    assert "Nothing was written" in told
    assert "code 'XX-9', 1 row (first on line 3)" in told
    assert not Sign.objects.exists()


def test_refused_rows_are_written_as_they_were_with_line_and_reason(folder):
    folder.run(apply=True)
    with (folder.path / "refused.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["line"], row["No"], row["Code"]) for row in rows] == [
        ("4", "2", "R1-1"),
        ("5", "4", "R1-1"),
    ]
    assert "already on line 3" in rows[0]["reason"]
    assert "gives no coordinates" in rows[1]["reason"]


def test_applied_the_rows_are_there_and_the_due_list_is_told(folder):
    person = make_person(folder.agency)
    told = folder.run(apply=True, by=person.username)
    assert "Of 4 rows 2 created, 0 updated, 0 unchanged, 2 refused (sum 4)." in told
    assert "0 of 2 installed signs are due; 0 are others'." in told
    assert Sign.objects.count() == 2
    assert "2 unchanged" in folder.run(apply=True)


def test_a_look_shows_the_columns_and_their_words(folder):
    out = io.StringIO()
    path = write(folder.path, "No;Kind\n1;wood\n2;wood \n3;\n4;steel\n")
    call_command("import_signs", str(path), look=True, stdout=out)
    told = out.getvalue()
    assert "4 rows, 2 columns." in told
    assert "'Kind': 3 filled, 1 blank, 2 different" in told
    assert "'wood' 2, 'steel' 1" in told
    with pytest.raises(CommandError, match="There is no file"):
        call_command("import_signs", "none.csv", look=True)
    with pytest.raises(CommandError, match="Give --mapping and --organisation"):
        call_command("import_signs", str(path))


def test_a_look_names_the_points_of_a_gis_file(folder):
    out = io.StringIO()
    path = write(
        folder.path,
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"No":1},'
        '"geometry":{"type":"Point","coordinates":[-88.2,40.1]}},{"type":"Feature",'
        '"properties":{"No":2},"geometry":null}]}',
        "signs.geojson",
    )
    call_command("import_signs", str(path), look=True, mapping=folder.mapping, stdout=out)
    assert "Rows with a point of their own: 1, in EPSG:4326." in out.getvalue()


def test_the_report_tells_what_a_person_has_to_look_after(folder):
    folder.mapping.write_text(
        MINIMAL + CODE + '[support]\nkey_column = "Pole"\n', encoding="utf-8"
    )
    head = "No,Lon,Lat,Code,Pole,Remark\n"
    folder.run(
        head + "1,-88.2,40.1,R1-1,P1,\n2,-88.3,40.1,R1-1,P1,\n3,,,R1-1,P1,\n", apply=True
    )
    told = folder.run(
        head
        + "1,-88.2,40.1,R1-1,P1,seen\n3,,,R1-1,P1,\n"
        + "".join(f"{number},-88.2,40.1,ODD-{number},,\n" for number in range(10, 35)),
        apply=True,
    )
    assert "In earlier files but not in this one, and not removed: 1 row\n  2" in told
    assert "columns that are not mapped: 1 row;" in told
    assert "… and 5 more; --notes-out FILE.csv writes all." in told


def test_notes_can_be_written_whole(folder):
    folder.run(notes_out=folder.path / "notes" / "all.csv")
    with (folder.path / "notes" / "all.csv").open(encoding="utf-8-sig", newline="") as file:
        [note] = csv.DictReader(file)
    assert (note["field"], note["text"], note["rows"]) == ("code", "XX-9", "1")


def test_what_cannot_be_read_is_said_in_a_sentence(folder):
    with pytest.raises(CommandError, match="There is no organisation"):
        call_command("import_signs", "x.csv", mapping="m", organisation="Nobody")
    folder.mapping.write_text("[list]", encoding="utf-8")
    with pytest.raises(CommandError, match="things are wrong with the mapping"):
        folder.run()
    folder.mapping = folder.path / "none.toml"
    with pytest.raises(CommandError, match=r"none\.toml"):
        folder.run()
    folder.mapping = write(folder.path, MINIMAL, "map.toml")
    with pytest.raises(CommandError, match="no person 'nobody'"):
        folder.run(by="nobody")


def settle(agency, *numbers: int, **options) -> str:
    out = io.StringIO()
    call_command("settle_import", *numbers, organisation=agency.name, stdout=out, **options)
    return out.getvalue()


def test_what_waits_is_listed_with_both_values_and_settled_by_number(folder):
    agency = folder.agency
    assert settle(agency) == "Nothing waits.\n"
    folder.run("No,Lon,Lat,Code\n1,-88.2,40.1,R1-1\n", apply=True)
    sign = Sign.objects.get()
    at = sign.assessments.get().assessed_at
    record_inspection(sign=sign, taken_at=at, how="visual_day", note="Seen.")
    told = folder.run("No,Lon,Lat,Code\n1,-88.2,40.1,W1-1\n", apply=True)
    assert "waiting to be settled (manage.py settle_import): 1 row" in told
    number = ImportSettlement.objects.get().pk
    listed = settle(agency)
    assert f"{number}: signs 1. Recorded here since: " in listed
    assert "sign code: ours R1-1, source W1-1 (before: R1-1)" in listed
    assert "source background yellow, legend black (before: background red" in listed
    with pytest.raises(CommandError, match="Say which rows"):
        settle(agency, keep="ours")
    with pytest.raises(CommandError, match="no row number 0"):
        settle(agency, 0, keep="ours")
    with pytest.raises(CommandError, match="no person 'nobody'"):
        settle(agency, number, keep="ours", by="nobody")
    assert "source taken" in settle(agency, number, keep="source")
    assert Position.objects.get().sign_code == "W1-1"
    with pytest.raises(CommandError, match="not settled twice"):
        settle(agency, number, keep="ours")


def test_another_agency_does_not_see_what_waits(folder):
    other = make_agency()
    folder.run("No,Lon,Lat,Code\n1,-88.2,40.1,R1-1\n", apply=True)
    Position.objects.update(sign_code="R1-2")
    folder.run("No,Lon,Lat,Code\n1,-88.2,40.1,W1-1\n", apply=True)
    number = ImportSettlement.objects.get().pk
    assert settle(other) == "Nothing waits.\n"
    with pytest.raises(CommandError, match="no row number"):
        settle(other, number, keep="ours")


def test_what_waits_is_shown_with_its_units(folder):
    folder.mapping = write(
        folder.path,
        MINIMAL
        + CODE
        + """
        [size]
        column = "Size"
        unit = "in"
        [facing]
        column = "Dir"
        convention = "front"
        [installed]
        column = "Up"
        formats = ["%m/%Y", "%Y"]
        """,
        "map.toml",
    )
    head = "No,Lon,Lat,Code,Size,Dir,Up\n"
    folder.run(head + "1,-88.2,40.1,R1-1,30x30,N,2014\n", apply=True)
    sign = Sign.objects.get()
    at = sign.assessments.get().assessed_at
    record_inspection(sign=sign, taken_at=at, how="visual_day", note="Seen.")
    folder.run(head + "1,-88.3,40.1,R1-1,36x30,SW,05/2015\n", apply=True)
    listed = settle(folder.agency)
    assert "size: ours 30 × 30 in, source 36 × 30 in (before: 30 × 30 in)" in listed
    assert "facing: ours 0°, source 225°" in listed
    assert "installed: ours 2014, source 2015-05" in listed
    assert "point: ours 40.1, -88.2, source 40.1, -88.3" in listed


def test_one_is_not_called_many(folder):
    told = folder.run("No,Lon,Lat,Code\n1,-88.2,40.1,R1-1\n")
    assert "1 support and 1 face would be made." in told
