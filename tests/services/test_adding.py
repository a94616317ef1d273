"""Rows added without a record made of each: the same as records stored one by one."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.models import LogbookEntry, Reading, ReadingSet
from inventory.services.adding import add_records, add_rows
from inventory.services.inspection import ReadingSetInput, record_inspection
from tests.factories import NOW, make_agency, make_person, make_sign

pytestmark = pytest.mark.django_db

COLUMNS = ("reading_set_id", "number", "typed", "ra_cd_lx_m2", "place_on_face")


def make_set() -> ReadingSet:
    inspection = record_inspection(
        sign=make_sign(make_agency()),
        taken_at=NOW,
        how="hand_held",
        reading_sets=[ReadingSetInput("white", ["40"])],
        now=NOW,
    )
    return ReadingSet.objects.get(inspection=inspection)


def rows_of(reading_set: ReadingSet) -> list[tuple[object, ...]]:
    rows = Reading.objects.filter(reading_set=reading_set, number__gt=1).order_by("number")
    return list(rows.values_list("number", "typed", "ra_cd_lx_m2", "place_on_face"))


# What a database keeps of a text: any character but NUL and half a pair.
texts = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=24)


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    drawn=st.lists(
        st.tuples(
            texts, st.decimals(0, 2000, places=3) | st.integers(0, 2000).map(Decimal), texts
        ),
        max_size=6,
    )
)
def test_rows_are_kept_as_records_stored_one_by_one(db, drawn):
    with transaction.atomic():
        one, other = make_set(), make_set()
        add_rows(
            Reading, COLUMNS, [(one.pk, at, *each) for at, each in enumerate(drawn, start=2)]
        )
        for at, (typed, value, place) in enumerate(drawn, start=2):
            Reading.objects.create(
                reading_set=other,
                number=at,
                typed=typed,
                ra_cd_lx_m2=value,
                place_on_face=place,
            )
        assert rows_of(one) == rows_of(other)
        assert len(rows_of(one)) == len(drawn)
        transaction.set_rollback(True)


def test_records_with_data_times_and_blanks_are_kept_as_stored_one_by_one():
    agency = make_agency()
    sign, crew = make_sign(agency), make_person(agency, "crew")
    detail = {"said": "Ω “as found”\n\t\\N", "of": [1, None, 2.5, True], "deep": {"a": {}}}

    def entries(verb: str) -> list[LogbookEntry]:
        return [
            LogbookEntry(organisation=agency, at=NOW, verb=verb, text="\\N", detail=detail),
            LogbookEntry(
                organisation=agency, at=NOW, verb=verb, text="", sign=sign, actor=crew
            ),
        ]

    add_records(entries("together"))
    for each in entries("alone"):
        each.save()
    kept = [
        list(
            LogbookEntry.objects.filter(verb=verb)
            .order_by("pk")
            .values_list("organisation", "at", "actor", "text", "sign", "order", "detail")
        )
        for verb in ("together", "alone")
    ]
    assert kept[0] == kept[1]
    assert len(kept[0]) == 2


def test_nothing_to_add_asks_nothing_of_the_database():
    with CaptureQueriesContext(connection) as queries:
        add_records([])
    assert len(queries) == 0


def test_a_row_that_breaks_a_rule_of_its_table_is_refused_with_all_that_came_with_it():
    one = make_set()
    rows = [(one.pk, 2, "5", Decimal(5), ""), (one.pk, 3, "-1", Decimal(-1), "")]
    with pytest.raises(IntegrityError), transaction.atomic():
        add_rows(Reading, COLUMNS, rows)
    assert rows_of(one) == []


def test_a_column_that_is_left_out_is_a_mistake_of_the_caller():
    with pytest.raises(TypeError, match="Reading has the columns"):
        add_rows(Reading, COLUMNS[:-1], [])
