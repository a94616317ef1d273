"""Imports: what became of each row, and what a person settles."""

import pytest
from django.urls import reverse

from inventory.models import (
    ImportMissing,
    ImportRefusal,
    ImportRun,
    ImportSettlement,
    SourceRecord,
)
from tests.factories import NOW, make_agency
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def run(agency):
    return ImportRun.objects.create(
        organisation=agency,
        source_name="county list",
        file_name="signs.csv",
        file_sha256="0" * 64,
        mapping_text="",
        state="finished",
        started_at=NOW,
        finished_at=NOW,
        row_count=10,
        rows_done=10,
        created_count=6,
        unchanged_count=3,
        refused_count=1,
    )


def record_of(run, external_id="17"):
    return SourceRecord.objects.create(
        organisation=run.organisation,
        source_name=run.source_name,
        external_id=external_id,
        raw={"id": external_id},
        row_sha256="0" * 64,
        first_run=run,
        last_run=run,
        changed_at=NOW,
    )


def settlement_of(run):
    return ImportSettlement.objects.create(
        run=run,
        record=record_of(run),
        changes={
            "sheeting": {"ours": ["XI", "prismatic"], "source": ["I", ""], "before": None},
            "size": {"ours": [[36.0, 30.0]], "source": [[30.0, 30.0]], "before": None},
        },
        reason="A crew replaced the face after the list was made.",
    )


def test_the_counts_of_an_import_are_shown_and_add_up(client, agency, run):
    act_as(client, agency)
    page = client.get(reverse("import-list"))
    (shown,) = page.context["page"]
    total = shown.created_count + shown.updated_count + shown.unchanged_count
    assert total + shown.refused_count == shown.row_count
    assert "signs.csv" in page.content.decode()


def test_a_refused_row_shows_its_line_its_reason_and_all_it_said(client, agency, run):
    ImportRefusal.objects.create(
        run=run, line=8, raw={"CODE": "R1-1", "X": "nowhere"}, reason="'nowhere' is no number."
    )
    act_as(client, agency)
    address = reverse("import-page", args=(run.pk,))
    page = client.get(address, {"show": "refused"}).content.decode()
    for fact in ("is no number.", ">8<", "nowhere", "R1-1"):
        assert fact in page, fact


def test_a_row_missing_from_the_later_file_is_listed(client, agency, run):
    ImportMissing.objects.create(run=run, record=record_of(run, "row-99"))
    act_as(client, agency)
    page = client.get(reverse("import-page", args=(run.pk,)), {"show": "missing"})
    assert "row-99" in page.content.decode()


def test_a_change_to_settle_shows_both_sides_in_words(client, agency, run):
    settlement_of(run)
    act_as(client, agency)
    page = client.get(reverse("import-page", args=(run.pk,))).content.decode()
    facts = ("A crew replaced the face", "XI, prismatic", "Sheeting", "not known", "36 × 30 in")
    for fact in facts:
        assert fact in page, fact


def test_keeping_our_record_settles_the_change_once(client, agency, run):
    settlement = settlement_of(run)
    person = act_as(client, agency)
    address = reverse("settle", args=(run.pk, settlement.pk))
    assert client.post(address, {"outcome": "keep_ours"}).status_code == 302
    settlement.refresh_from_db()
    assert (settlement.outcome, settlement.settled_by) == ("keep_ours", person)
    assert client.post(address, {"outcome": "take_source"}).status_code == 409


def test_a_decision_that_is_none_is_refused(client, agency, run):
    settlement = settlement_of(run)
    act_as(client, agency)
    answer = client.post(reverse("settle", args=(run.pk, settlement.pk)), {"outcome": "x"})
    assert answer.status_code == 400
    settlement.refresh_from_db()
    assert settlement.outcome == "open"


def test_an_unknown_part_of_an_import_shows_what_waits(client, agency, run):
    act_as(client, agency)
    page = client.get(reverse("import-page", args=(run.pk,)), {"show": "nonsense"})
    assert page.context["shown"] == "settle"


def test_many_changes_take_no_more_queries(client, agency, run, django_assert_max_num_queries):
    for n in range(12):
        ImportSettlement.objects.create(
            run=run, record=record_of(run, f"r{n}"), changes={}, reason="Newer."
        )
    act_as(client, agency)
    with django_assert_max_num_queries(12):
        client.get(reverse("import-page", args=(run.pk,)))
