"""The how-to of the import is true: its example does what it says, and nothing is left out."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from inventory.engineering.standards.supports import support_types
from inventory.engineering.standards.vocabulary import Color
from inventory.interchange.dates import COUNTED_FORMATS
from inventory.interchange.mapping_reader import TABLES
from inventory.interchange.sign_lists import read_sign_list
from inventory.models import Inspection, Observation, Position, Sign, Support
from inventory.models.places import Mount
from inventory.services.importing import import_signs
from tests.factories import NOW, make_agency
from tests.interchange.lists import TODAY, write
from tests.services.lists import numbers

HOW_TO = Path(__file__).resolve().parents[2] / "docs" / "how-to" / "import-a-sign-list.md"
TEXT = HOW_TO.read_text(encoding="utf-8")
PACKAGE = Path(__file__).resolve().parents[2] / "inventory" / "interchange"


def block(language: str) -> str:
    """Return the first block of the how-to in a language."""
    match = re.search(rf"^```{language}\n(.*?)^```", TEXT, re.DOTALL | re.MULTILINE)
    assert match is not None
    return match[1]


@pytest.fixture
def report(tmp_path):
    source = read_sign_list(
        write(tmp_path, block("csv"), "signs.csv"), block("toml"), today=TODAY
    )
    return import_signs(organisation=make_agency(), source=source, dry_run=False, now=NOW)


@pytest.mark.django_db
def test_the_worked_example_does_what_the_page_says(report):
    assert numbers(report) == (6, 0, 0, 2)
    assert "6 + 0 + 0 + 2 = 8" in TEXT.replace("\n", " ")
    assert (report.supports_made, report.faces_made) == (3, 7)
    first, second = report.refusals
    assert "outside the area" in first.reason
    assert "if its figures were metres" in first.reason
    assert "already on line 2" in second.reason
    notes = "\n".join(map(str, report.notes))
    for words in ("code 'ZZ-4'", "sheeting 'shiny stuff'", "condition 'Good'"):
        assert words in notes, words
    assert "00/00/0000" not in notes


@pytest.mark.django_db
def test_the_worked_example_leaves_what_the_page_says(report):
    assert {s.external_key: s.support_type for s in Support.objects.all()} == {
        "P-17": "u_channel",
        "P-18": "wood",
        "P-19": "mast_arm",
    }
    by_code = {p.source_code: p for p in Position.objects.all()}
    assert by_code["R3-7 R"].variant == "R"
    assert by_code["ZZ-4"].sign_code == ""
    assert by_code["ZZ-4"].height_in == 36.0
    assert by_code[""].mount == Mount.OVERHEAD
    states = Sign.objects.get(responsible="state")
    assert states.installed_precision == "month"
    assert not states.standing.is_due
    assert Sign.objects.get(sign_code="W1-2").installed_on is None
    assert Inspection.objects.count() == 2
    assert report.due is not None
    assert report.due.due == 2


def test_every_table_and_word_of_a_mapping_is_on_the_page():
    words = [f"[{name}]" for name in TABLES]
    words += [f"`{row.key}`" for row in support_types()]
    words += [f"`{color.value}`" for color in Color]
    words += [f"`{value}`" for value in Observation.Kind.values]
    words += [f"`{each.name.lower()}`" for each in Observation.Severity]
    words += [f"`{value}`" for value in Sign.Responsible.values]
    words += [f'`"{each}"`' for each in COUNTED_FORMATS]
    assert [word for word in words if word not in TEXT] == []


def test_every_key_of_a_mapping_is_on_the_page():
    code = "".join(
        each.read_text(encoding="utf-8") for each in sorted(PACKAGE.glob("mapping_*.py"))
    )
    kinds = "text|texts|number|flag|choice|column|columns|words|target"
    asked = rf'(?:table|head|support|mount)\.(?:{kinds})\("(\w+)"'
    keys = set(re.findall(asked, code)) | {
        "bounds",
        "delimiter",
        "thousands",
        "column",
        "time_zone",
    }
    assert len(keys) > 30
    assert [key for key in sorted(keys) if not re.search(rf"`{key}\b", TEXT)] == []
