"""The method record as a PDF, read back by a program that is not ours."""

from __future__ import annotations

import io
import shutil
import subprocess
from datetime import date, timedelta

import pytest

from inventory.interchange.method_record_pdf import write_method_record
from inventory.models import Organisation
from inventory.services.assessment import decide_disposition
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.method_record import method_record
from inventory.services.methods import assign, create_group
from tests.factories import NOW, make_agency, make_position, make_sign, position_of

PDFTOTEXT = shutil.which("pdftotext")
pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(PDFTOTEXT is None, reason="pdftotext is not on this machine"),
]


def text_of(record, tmp_path):
    """Return the record's words as pdftotext reads them, blanks and line ends as one blank."""
    stream = io.BytesIO()
    write_method_record(record, stream)
    file = tmp_path / "record.pdf"
    file.write_bytes(stream.getvalue())
    assert PDFTOTEXT is not None
    out = subprocess.run(
        [PDFTOTEXT, str(file), "-"], check=True, capture_output=True, text=True
    )
    return " ".join(out.stdout.split())


def below(agency, **fields):
    sign = make_sign(agency, **fields)
    record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(days=1),
        how="hand_held",
        reading_sets=[ReadingSetInput("white", ["200"] * 4), ReadingSetInput("red", ["3"] * 4)],
        now=NOW,
    )
    return sign


def record(agency, known="now"):
    return method_record(organisation=agency, on=NOW.date(), known=known, now=NOW)


def test_the_pdf_says_what_an_auditor_asks(tmp_path):
    agency = make_agency("Alder County")
    Organisation.objects.filter(pk=agency.pk).update(is_invented=True)
    agency.refresh_from_db()
    group = create_group(
        organisation=agency,
        name="Stop signs",
        method="visual_night",
        started_on=date(2020, 1, 1),
        basis="board of 2019",
        interval_months=24,
        now=NOW,
    )
    decided, waiting = below(agency), below(agency)
    places = [position_of(decided), position_of(waiting)]
    assign(group=group, positions=places, from_on=date(2020, 1, 1), now=NOW)
    none = make_sign(agency, legend_text="CRÈCHE\n→ 4")
    decide_disposition(sign=decided, decision="replace", by=None, reason="On order.", now=NOW)
    text = text_of(record(agency), tmp_path)
    for words in (
        "Method record",
        "Alder County (an invented agency: demo data)",
        "2026-06-01, as known now",
        "version 1, in force from 2000-01-01: the 11th edition (Table 2A-5). Basis: for tests",
        "3 signs up: 2 under a method, 1 under none, 0 of others",
        "Stop signs",
        "board of 2019",
        "without a decision (1)",
        "nothing decided",
        "decided about (1)",
        "Overdue on their method's calendar (2)",
        "Under no method (1)",
        f"{none.pk}: R1-1 'CRÈCHE ? 4'",
        "74 % of warning signs and 75 % of Stop signs (WA-RD 140.1, 1987)",
        "page 1 of ",
    ):
        assert words in text, words


def test_known_then_says_what_it_leaves_out(tmp_path):
    agency = make_agency("Alder County")
    below(agency)
    text = text_of(record(agency, known="then"), tmp_path)
    assert "as known then. Only what was recorded by the end of that day is shown." in text
    assert "No method is on record for this day." in text


def test_a_name_cannot_write_markup_into_the_record(tmp_path):
    agency = make_agency("<b>Alder</b> & Sons County")
    make_sign(agency, legend_text="<font size=40>BIG</font>")
    text = text_of(record(agency), tmp_path)
    assert "<b>Alder</b> & Sons County" in text
    assert "<font size=40>BIG</font>" in text


def test_every_page_of_a_long_record_has_its_number(tmp_path):
    agency = make_agency("Alder County")
    support = position_of(make_sign(agency)).support
    for _ in range(160):
        make_sign(agency, position=make_position(agency, support=support))
    text = text_of(record(agency), tmp_path)
    last = int(text.rpartition(" of ")[2].split()[0])
    assert last > 2
    for number in range(1, last + 1):
        assert f"page {number} of {last}" in text
