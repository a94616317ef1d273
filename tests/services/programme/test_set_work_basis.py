"""The command that says what work costs: from a file, by options, and from what held before."""

from __future__ import annotations

import json
from datetime import date

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from inventory.models import WorkBasis
from inventory.services.programme.work_bases import find_work_basis
from tests.factories import make_agency

pytestmark = pytest.mark.django_db

TOML = """
effective_on = 2026-01-01
basis = "accounts of 2025 (invented)"
face_price = 40
face_price_per_ft2 = 9.5
crew_price_per_h = 120.0
face_hours = 0.4
support_hours = 0.3
stretch_hours = 0.5
lead_days = 60
class_weights = [12, 5, 2, 1]

[hours_by_support]
overhead_bridge = 1.5
"""


def command(agency, *more):
    call_command("set_work_basis", f"--organisation={agency.name}", *more)


def written(tmp_path, text, name="basis.toml"):
    file = tmp_path / name
    file.write_text(text, encoding="utf-8")
    return f"--file={file}"


def test_a_toml_file_says_it_all(tmp_path, capsys):
    agency = make_agency()
    command(agency, written(tmp_path, TOML))
    made = WorkBasis.objects.get()
    assert (made.effective_on, made.version) == (date(2026, 1, 1), 1)
    assert (made.face_price, made.face_price_per_ft2, made.lead_days) == (40.0, 9.5, 60)
    assert made.class_weights == [12.0, 5.0, 2.0, 1.0]
    assert made.hours_by_support == {"overhead_bridge": 1.5}
    assert made.basis == "accounts of 2025 (invented)"
    assert "work basis 1 from 2026-01-01" in capsys.readouterr().out


def test_a_json_file_says_the_same(tmp_path):
    agency = make_agency()
    figures = {
        "basis": "assumed", "face_price": 1, "face_price_per_ft2": 0, "crew_price_per_h": 0.5,
        "face_hours": 0, "support_hours": 0, "stretch_hours": 0, "lead_days": 30,
        "effective_on": "2026-03-01",
    }  # fmt: skip
    command(agency, written(tmp_path, json.dumps(figures), "basis.json"))
    assert WorkBasis.objects.get().effective_on == date(2026, 3, 1)


def test_options_go_before_the_file_and_the_rest_is_as_it_was(tmp_path, capsys):
    agency = make_agency()
    command(agency, written(tmp_path, TOML))
    command(
        agency, "--effective-on=2027-01-01", "--basis=new contract", "--crew-price-per-h=131.5",
        "--hours-at=wood=0.25",
    )  # fmt: skip
    held = find_work_basis(agency, date(2027, 1, 1))
    assert held is not None
    assert (held.version, held.crew_price_per_h, held.face_price) == (2, 131.5, 40.0)
    assert held.hours_by_support == {"overhead_bridge": 1.5, "wood": 0.25}
    assert held.class_weights == [12.0, 5.0, 2.0, 1.0]
    out = capsys.readouterr().out
    assert "crew_price_per_h: 120.0 → 131.5" in out
    assert "the rest as in version 1" in out
    command(
        agency, written(tmp_path, TOML), "--face-price=44", "--class-weights=9,3,2,1",
        "--lead-days=45", "--currency=EUR",
    )  # fmt: skip
    newest = WorkBasis.objects.order_by("-version")[0]
    assert (newest.face_price, newest.lead_days, newest.currency) == (44.0, 45, "EUR")
    assert newest.class_weights == [9.0, 3.0, 2.0, 1.0]


@pytest.mark.parametrize(
    ("text", "name", "words"),
    [
        ("face_price = ", "a.toml", "a.toml is not TOML in UTF-8"),
        ("{", "a.json", "a.json is not JSON in UTF-8"),
        ("[1]", "a.json", "a.json holds no figures by name"),
        ("x = 1", "a.txt", "neither .toml nor .json"),
        (
            "face_prize = 40",
            "a.toml",
            "'face_prize' is none of the figures; did you mean 'face_p",
        ),
        ("face_price = 'forty'", "a.toml", "face_price is 'forty'; write a number"),
        ("face_price = true", "a.toml", "face_price is True; write a number"),
        ("face_price = nan", "a.toml", "face_price is nan; write a number"),
        ("lead_days = 60.5", "a.toml", "lead_days is 60.5; write a whole number of days"),
        ("effective_on = 'soon'", "a.toml", "effective_on is 'soon'; write a day"),
        ("basis = 5", "a.toml", "basis is 5; write words"),
        ("class_weights = [1, 'x']", "a.toml", "class_weights is [1, 'x']; write four numbers"),
        ("hours_by_support = 1", "a.toml", "hours_by_support is 1; write hours by type"),
        ("[hours_by_support]\nu_chanel = 1", "a.toml", "did you mean 'u_channel'?"),
        ("[hours_by_support]\nwood = 'x'", "a.toml", "the hours at 'wood' are 'x'"),
        ("face_price = 40", "a.toml", "Say where these figures come from"),
        ("basis = 'x'\nface_price = 40", "a.toml", "give them: face_price_per_ft2, crew_pr"),
        (TOML.replace("= 9.5", "= -9.5"), "a.toml", "'face price per ft2' is -9.5; it is 0"),
        ("x" * 100_001, "a.toml", "has 100,001 bytes"),
    ],
)
def test_what_cannot_be_read_is_refused_in_a_sentence(tmp_path, text, name, words):
    agency = make_agency()
    with pytest.raises(CommandError) as refused:
        command(agency, written(tmp_path, text, name))
    assert words in str(refused.value)
    assert not WorkBasis.objects.exists()


def test_a_file_that_is_not_there_and_options_that_cannot_be_read_are_refused(tmp_path):
    agency = make_agency()
    with pytest.raises(CommandError, match=r"none\.toml cannot be read: No such file"):
        command(agency, f"--file={tmp_path / 'none.toml'}")
    for option, words in (
        ("--effective-on=1.1.2027", "'1.1.2027' is no day"),
        ("--class-weights=10;4", "write four numbers with commas"),
        ("--hours-at=wood", "write it like u_channel=0.1"),
        ("--hours-at=straw=1", "'straw' is no type of support"),
    ):
        with pytest.raises(CommandError, match=words):
            command(agency, written(tmp_path, TOML), option)
    assert not WorkBasis.objects.exists()
