"""A real city's list, read in place where it is; none of it is part of this repository."""

from __future__ import annotations

import csv
from collections import Counter
from datetime import timedelta
from pathlib import Path

import pytest

from inventory.interchange.sign_lists import read_sign_list
from inventory.models import (
    ColourArea,
    ImportRun,
    Position,
    Sign,
    SourceRecord,
    Standing,
    Support,
)
from inventory.services.importing import import_signs
from tests.factories import NOW, make_agency
from tests.services.lists import numbers

CITY = Path(__file__).resolve().parents[3] / "shared" / "open_inventory" / "city_a_signs.csv"

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(
        not CITY.exists(), reason="the shared inventory file is not on this machine"
    ),
]

MAPPING = """
[list]
name = "city signs"
[id]
columns = ["SignID"]
[point]
crs = "EPSG:3435"
x = "X Coordinate"
y = "Y Coordinate"
[support]
key_column = "Pole#"
[code]
column = "MUTCD Number"
[legend]
column = "Sign Legend"
[size]
width_column = "Sign Width"
height_column = "Sign Length"
unit = "in"
[mounting_height]
column = "Sign Height"
unit = "in"
[facing]
column = "Orientation"
convention = "front"
[replacement_year]
column = "Replace Year"
[sheeting]
column = "Sign Sheeting"
"""


@pytest.fixture(scope="module")
def rows() -> list[dict[str, str]]:
    with CITY.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def source(rows):
    # The list's words for sheeting are no business of this repository: the most frequent one
    # is taken for a type, the others for unknown.
    words = Counter(row["Sign Sheeting"] for row in rows if row["Sign Sheeting"])
    first, *others = [word for word, _ in words.most_common()]
    values = [f'values."{first}" = {{ type = "IV", optics = "prismatic" }}']
    values += [f'values."{word}" = "unknown"' for word in others]
    return read_sign_list(CITY, MAPPING + "\n".join(values), today=NOW.date())


def test_a_city_is_taken_in_without_losing_a_row(rows, source):
    agency = make_agency()
    report = import_signs(organisation=agency, source=source, dry_run=False, now=NOW)
    assert len(rows) == report.row_count == 9278
    assert sum(numbers(report)) == 9278
    # One row has neither identifier nor anything else to know it by.
    assert numbers(report) == (9277, 0, 0, 1)
    assert "no identifier" in report.refusals[0].reason
    assert Sign.objects.count() == SourceRecord.objects.count() == 9277
    assert Standing.objects.count() == 9277
    # One support a key, as far as the list names keys, and one for each row without.
    keys = {row["Pole#"] for row in rows if row["SignID"] and row["Pole#"]}
    without = sum(1 for row in rows if row["SignID"] and not row["Pole#"])
    assert report.supports_made == Support.objects.count() == len(keys) + without
    assert 6500 < report.supports_made < 6560
    # What the list does not say is not known.
    blank = sum(1 for row in rows if row["SignID"] and not row["MUTCD Number"])
    assert Position.objects.filter(source_code="", sign_code="").count() == blank
    assert blank / len(rows) == pytest.approx(0.69, abs=0.01)
    words = Counter(row["Sign Sheeting"] for row in rows if row["SignID"])
    known = words.most_common(1)[0][1]
    typed = ColourArea.objects.exclude(sheeting_type="").values("sign").distinct().count()
    assert typed == known
    # Positions of the keys that the list puts in several places are told, not hidden.
    assert len(report.contradicting_keys) > 1000
    again = import_signs(
        organisation=agency, source=source, dry_run=False, now=NOW + timedelta(days=1)
    )
    assert numbers(again) == (0, 0, 9277, 1)
    assert again.supports_made == again.faces_made == 0
    assert ImportRun.objects.filter(state="finished").count() == 2
