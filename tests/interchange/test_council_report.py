"""The council's report: each number comes from its CSV; the PDF is read by another program."""

from __future__ import annotations

import io
import re
import shutil
import subprocess

import pytest

from inventory.interchange.council_report import council_document
from inventory.interchange.council_report_csv import write_council_csv
from inventory.interchange.council_report_pdf import write_council_report
from inventory.models import Organisation, Programme
from inventory.services.programme.report import council_report
from tests.factories import NOW, make_agency
from tests.interchange.council_reading import as_read, figures_of, numbers_of, words_of
from tests.kept import kept_records
from tests.services.programme.report_world import make_world
from tests.web.programme_records import make_programme_row, make_result, year_of

PDFTOTEXT = shutil.which("pdftotext")
needs_pdftotext = pytest.mark.skipif(PDFTOTEXT is None, reason="pdftotext is not here")
pytestmark = pytest.mark.django_db

# What a reader finds that is no figure of the agency: days, years, citations, page numbers, the
# scale of the map, and classes by their names.
NO_FIGURES = re.compile(
    r"\d{4}-\d{2}-\d{2}|\d{1,2} [A-Z][a-z]{2} \d{4}|\b20\d\d\b|page \d+ of \d+|"
    r"MUTCD 11th edition, section 2A\.22|ASTM D4956|square of 30 in|Class [1-4]|class [1-4]|"
    r"(?m:^\s*[1-4]: )|10 % more|\d+(?:\.\d)? mi\b(?!les)|ft²"
)


@pytest.fixture(scope="module")
def stored(django_db_setup, django_db_blocker):
    with kept_records(django_db_blocker):
        yield make_world().pk


@pytest.fixture
def world(stored, db):
    return Programme.objects.select_related("organisation", "work_basis").get(pk=stored)


KEPT = "\u00a0"  # a blank at which no line ends; a reader sees a blank


def document_of(programme):
    found = Programme.objects.select_related("organisation", "work_basis").get(pk=programme.pk)
    return council_document(council_report(programme=found, now=NOW))


def text_of(document, tmp_path, *how):
    stream = io.BytesIO()
    write_council_report(document, stream)
    file = tmp_path / "report.pdf"
    file.write_bytes(stream.getvalue())
    assert PDFTOTEXT is not None
    command = [PDFTOTEXT, *how, str(file), "-"]
    out = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return out.replace(KEPT, " ")


def told(document):
    return [
        *document.notices,
        document.days_told,
        *(
            sentence.replace(KEPT, " ")
            for section in document.sections
            for sentence in section.sentences
        ),
    ]


def shown_figures(figures):
    """Return the figures as they are read, those of the CSV alone left out."""
    return {
        as_read(kind, value)
        for (table, _row, _column), (kind, value) in figures.items()
        if table != "others" and value is not None
    }


@needs_pdftotext
def test_every_number_of_the_pdf_is_a_figure_of_the_csv_and_every_figure_is_in_the_pdf(
    world,
    tmp_path,
):
    document = document_of(world)
    csv_text = write_council_csv(document)
    figures = figures_of(csv_text)
    every = " ".join(as_read(*each) for each in figures.values())
    text = text_of(document, tmp_path, "-layout")
    for words in words_of(csv_text):
        assert " ".join(words.split()) in " ".join(text.split())
    # The axes of the plots have round figures of their own; they stand alone on their lines.
    axes = {line.strip() for line in text.splitlines() if re.fullmatch(r"\s*[\d,.]+\s*", line)}
    plain = NO_FIGURES.sub(" ", text)
    strange = numbers_of(plain) - numbers_of(every) - axes
    assert strange == set()
    missing = {each for each in shown_figures(figures) if each not in text}
    assert missing == set()


def test_every_number_of_a_sentence_is_a_figure_of_the_csv(world):
    document = document_of(world)
    every = " ".join(
        as_read(*each) for each in figures_of(write_council_csv(document)).values()
    )
    for sentence in told(document):
        strange = numbers_of(NO_FIGURES.sub(" ", sentence)) - numbers_of(every)
        assert strange == set(), sentence


def test_what_is_said_first_can_be_reckoned_from_the_csv(world):
    document = document_of(world)
    figures = {
        key: as_read(*each) for key, each in figures_of(write_council_csv(document)).items()
    }
    short = [each.replace(KEPT, " ") for each in document.sections[0].sentences]

    def of(table, row, column):
        return figures[table, row, column]

    assert short[0] == (
        f"Alder County answers for {of('standing', 'all', 'signs')} signs. "
        f"{of('standing', 'all', 'below')} of them are known to be below the level of "
        "brightness at night that they must keep, or of a sheeting that is not allowed. Of "
        f"{of('standing', 'all', 'undecided')} the readings leave it open, and "
        f"{of('standing', 'all', 'not_read')} have no reading that can be used."
    )
    assert short[1] == (
        f"If nothing is replaced, {of('below', '2028', 'nothing')} signs are expected to be "
        "below at the end of 2028. Under this programme it is "
        f"{of('below', '2028', 'programme')}."
    )
    assert short[2].startswith(
        f"It replaces {of('cost', 'all', 'replaced')} signs in "
        f"{of('others', 'years', 'value')} "
        f"years for $ {of('cost', 'all', 'money')} of the $ {of('cost', 'all', 'budget')} "
        "there is."
    )
    assert (
        f"{of('below', '2027', 'class_1')} are expected to be below at the end of 2027"
        in short[2]
    )
    assert f"It leaves {of('ways', 'programme', 'risk_share')} of the risk" in short[3]
    assert (
        "taking the worst signs first would leave "
        f"{of('ways', 'worst_first', 'risk_share')} of the risk and "
        f"{of('ways', 'worst_first', 'below')} signs below at the end of 2028"
    ) in short[3]
    assert f"taking the oldest first {of('ways', 'oldest_first', 'risk_share')}" in short[3]
    assert short[4] == (
        "With 10 % more money and crew hours each year it would replace "
        f"{of('ways', 'more', 'replaced')} signs and leave {of('ways', 'more', 'risk_share')} "
        f"of the risk and {of('ways', 'more', 'below')} signs below at the end of 2028."
    )
    assert short[5] == (
        "The money and crew hours do not suffice for what must be done: "
        f"{of('others', 'missed', 'value')} signs that must be replaced are not, or not in "
        f"time. What is missing, at the least: $ {of('others', 'money_2027', 'value')} in "
        f"2027 and {of('others', 'hours_2028', 'value')} crew hours in 2028."
    )
    least = document.sections[3].sentences[-1].replace(KEPT, " ")
    assert least.endswith(
        f"before it is due: $ {of('others', 'least_2027', 'value')} and "
        f"$ {of('others', 'least_2028', 'value')}, by year, "
        f"{of('others', 'least', 'value')} of what there is."
    )


def test_totals_and_shares_of_the_csv_add_up(world):
    figures = figures_of(write_council_csv(document_of(world)))
    value = {key: number or 0.0 for key, (_kind, number) in figures.items()}
    for table in ("cost", "cost_by_class", "standing", "sheeting", "map", "roads", "damage"):
        columns = {column for name, _row, column in value if name == table} - {"median_d"}
        for column in columns:
            parts = [
                number
                for (name, row, at), number in value.items()
                if name == table and at == column and row != "all"
            ]
            assert sum(parts) == pytest.approx(value[table, "all", column]), (table, column)
    for number in "1234":
        stands = [value["standing", f"class_{number}", column] for column in (
            "meets", "below", "undecided", "not_read", "no_level")]  # fmt: skip
        assert sum(stands) == value["standing", f"class_{number}", "signs"]
        assert value["sheeting", "all", f"class_{number}"] == sum(stands)
    assert value["sheeting", "all", "signs"] == value["standing", "all", "signs"]
    assert value["roads", "all", "signs"] == value["map", "all", "signs"]
    assert value["cost", "all", "money"] == pytest.approx(value["ways", "programme", "money"])
    assert value["cost_by_class", "all", "money"] == pytest.approx(
        value["cost", "all", "money"]
    )
    for (table, row, column), figure in value.items():
        if table == "cost_by_class" and column == "share":
            money = value["cost_by_class", row, "money"]
            assert figure == pytest.approx(money / value["cost", "all", "money"])
        if table == "ways" and column == "risk_share":
            nothing = value["ways", "nothing", "risk"]
            assert figure == pytest.approx(value["ways", row, "risk"] / nothing)
    for way in ("programme", "nothing", "worst_first", "oldest_first"):
        assert value["ways", way, "below"] == value["below", "2028", way]


@needs_pdftotext
def test_the_pdf_says_whose_and_of_which_day_and_takes_nothing_from_outside(world, tmp_path):
    programme = world
    Organisation.objects.filter(pk=programme.organisation_id).update(is_invented=True)
    document = document_of(programme)
    text = " ".join(text_of(document, tmp_path).split())
    assert "Alder County (an invented agency: demo data)" in text
    assert (
        "Signs as they are on record on 1 Jun 2026; the programme as its years were chosen on "
        "1 Jun 2026."
    ) in text
    assert "This programme is a draft; it is not the one the agency works by." in text
    assert "page 1 of " in text
    content = (tmp_path / "report.pdf").read_bytes()
    assert b"/URI" not in content
    assert b"/Subtype /Image" not in content  # no picture: the map is drawn from positions


@needs_pdftotext
def test_a_name_cannot_write_markup_into_the_report(tmp_path):
    programme = make_programme_row(make_agency("<b>Alder</b> & Sons"), name="<font size=40>Ten")
    text = " ".join(text_of(document_of(programme), tmp_path).split())
    assert "<b>Alder</b> & Sons" in text
    assert "<font size=40>Ten" in text


def test_what_was_not_reckoned_is_named_and_not_invented():
    programme = make_programme_row(
        make_agency(),
        result=make_result(
            rivals={}, ten_percent_more=None, least_budget_class_1=None,
            shortfall={"extra_money": None, "extra_hours": None, "missed": [], "count": 1},
            not_reckoned=["what a tenth more money would buy", "what plain rules would leave"],
        ),
    )  # fmt: skip
    document = document_of(programme)
    assert any(
        "left out: what a tenth more money would buy and what plain rules would leave" in each
        for each in document.notices
    )
    words = " ".join(told(document))
    assert "10 %" not in words
    assert "oldest" not in words
    assert "1 sign that must be replaced is not, or not in time." in words
    figures = figures_of(write_council_csv(document))
    assert {row for table, row, _column in figures if table == "ways"} == {
        "nothing",
        "programme",
    }


def test_a_programme_of_one_year_without_signs_or_money_can_be_told():
    programme = make_programme_row(
        make_agency(), years=1, budget=[0.0], crew_hours=[0.0],
        result=make_result(
            by_year=[year_of(2027, 0.0, replaced=0, money=0.0, below_nothing=0.0)],
            risk_left=0.0, risk_nothing=0.0, rivals={}, ten_percent_more=None,
        ),
    )  # fmt: skip
    document = document_of(programme)
    stream = io.BytesIO()
    write_council_report(document, stream)
    assert document.title.startswith("Sign replacement, 2027: ")
    assert stream.getvalue().startswith(b"%PDF")


def test_damage_is_told_in_a_sentence_and_none_says_so(world):
    document = document_of(world)
    figures = figures_of(write_council_csv(document))
    value = {column: number for (name, row, column), (_kind, number) in figures.items()
             if (name, row) == ("damage", "all")}  # fmt: skip
    (section,) = [each for each in document.sections if each.key == "damage"]
    assert section.sentences == (
        f"From 1 Jun 2025 to 1 Jun 2026 damage of {value['told']:.0f} signs became known. "
        f"{value['in_time']:.0f} were put right within the agency's own time and "
        f"{value['late']:.0f} later; {value['still_open']:.0f} are still open, "
        f"{value['late_open']:.0f} of them past their time.",
    )
    none = document_of(make_programme_row(make_agency()))
    (section,) = [each for each in none.sections if each.key == "damage"]
    assert section.sentences == ("From 1 Jun 2025 to 1 Jun 2026 no damage became known.",)
    assert section.tables == ()


def test_a_sheeting_is_told_by_its_type(world):
    figures = figures_of(write_council_csv(document_of(world)))
    rows = {row for table, row, _column in figures if table == "sheeting"}
    assert rows == {"XI prismatic", "III beaded", "IV prismatic", "not_known", "all"}
    document = document_of(Programme.objects.get())
    (table,) = [each for each in document.tables if each.key == "sheeting"]
    labels = [row.label for row in table.rows]
    assert "Type III, beaded" in labels
    assert labels[-2:] == ["Not known", "All"]
