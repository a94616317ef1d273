"""The report's page: its tables are the CSV's figures, and it is the engineer's."""

from __future__ import annotations

import re

import pytest

from inventory.models import Programme, Role
from tests.factories import make_agency
from tests.interchange.council_reading import Tables, as_read, figures_of
from tests.kept import kept_records
from tests.services.programme.report_world import make_world
from tests.web.acting import act_as, stop_the_clock
from tests.web.programme_records import make_programme_row

pytestmark = pytest.mark.django_db

TABLE_OF_CAPTION = {
    "How signs stand on 1 Jun 2026, by class": "standing",
    "Signs by sheeting and class": "sheeting",
    "Cost by class of sign, all years": "cost_by_class",
    "What each way of choosing leaves": "ways",
    "What the map shows": "map",
    "The roads where most is replaced": "roads",
    "Methods on 1 Jun 2026, and whether each is applied": "methods",
    "Damage that became known from 1 Jun 2025 to 1 Jun 2026, by class": "damage",
    "Signs of which something is not known": "unknown",
    "The figures it goes by": "basis",
    "In all years $ 1,824 of the $ 2,300 there is.": "cost",
    "At the end of 2028: 8.4 signs below under this programme, 23 if nothing is replaced.": (
        "below"
    ),
}


@pytest.fixture(scope="module")
def stored(django_db_setup, django_db_blocker):
    with kept_records(django_db_blocker):
        yield make_world().pk


@pytest.fixture
def programme(stored, db, monkeypatch):
    stop_the_clock(monkeypatch)
    return Programme.objects.get(pk=stored)


def address(programme, end="/"):
    return f"/programmes/{programme.pk}/report{end}"


def test_every_table_of_the_page_is_the_csv_as_it_is_read(client, programme):
    act_as(client, programme.organisation)
    page = client.get(address(programme)).content.decode()
    answer = client.get(address(programme, ".csv"))
    assert answer["Content-Type"].startswith("text/csv")
    assert "\r\n" in answer.content.decode()
    figures = figures_of(answer.content.decode())
    wanted: dict[str, list[list[str]]] = {}
    for (table, row, _column), each in figures.items():
        rows = wanted.setdefault(table, [])
        if not rows or rows[-1][0] != row:
            rows.append([row])
        rows[-1].append(as_read(*each))
    tables = Tables(page).found
    shown = {TABLE_OF_CAPTION[caption]: rows for caption, rows in tables.items()}
    assert set(shown) == set(wanted) - {"others"}
    for table, rows in shown.items():
        assert [row[1:] for row in rows[1:]] == [row[1:] for row in wanted[table]], table


def test_the_page_has_plots_with_tables_beside_and_a_map_without_tiles(client, programme):
    act_as(client, programme.organisation)
    page = client.get(address(programme)).content.decode()
    assert page.count("data-plot-canvas") == 2
    assert "Map of the signs: 2 replaced in 2027, 8 replaced in 2028 or later" in page
    assert page.count('class="map-mark map-below"') == 2  # in the map and in its legend
    sources = re.findall(r'(?:src|href)="([^"]+)"', page)
    assert [each for each in sources if "//" in each] == []
    assert f'href="{address(programme, ".pdf")}"' in page


def test_page_pdf_and_csv_are_of_one_day_and_named_for_it(client, programme):
    act_as(client, programme.organisation)
    answer = client.get(address(programme, ".pdf"))
    assert answer["Content-Type"] == "application/pdf"
    assert "2026-06-01.pdf" in answer["Content-Disposition"]
    assert b"".join(answer.streaming_content).startswith(b"%PDF")
    assert "2026-06-01.csv" in client.get(address(programme, ".csv"))["Content-Disposition"]


def test_a_programme_without_years_says_what_comes_first(client, programme):
    agency = programme.organisation
    act_as(client, agency)
    empty = make_programme_row(agency, "Empty", is_solved=False)
    for end in ("/", ".pdf", ".csv"):
        answer = client.get(address(empty, end))
        assert answer.status_code == 409
        assert "are not chosen yet; choose them, then report" in answer.content.decode()


def test_the_report_is_the_engineers_of_the_agency(client, programme):
    act_as(client, programme.organisation, Role.CREW)
    assert client.get(address(programme)).status_code == 403
    act_as(client, make_agency())
    for end in ("/", ".pdf", ".csv"):
        assert client.get(address(programme, end)).status_code == 404


def test_the_page_asks_in_a_fixed_number_of_queries(
    client, programme, django_assert_max_num_queries
):
    act_as(client, programme.organisation)
    client.get(address(programme))
    with django_assert_max_num_queries(20):
        client.get(address(programme))


def test_the_programme_leads_to_its_report(client, programme):
    act_as(client, programme.organisation)
    page = client.get(f"/programmes/{programme.pk}/").content.decode()
    assert f'href="{address(programme)}"' in page
