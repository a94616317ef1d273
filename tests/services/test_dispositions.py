"""The signs that wait for a decision today, and deciding about several at once."""

from __future__ import annotations

from datetime import timedelta

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Disposition, Sign
from inventory.services.assessment import decide_disposition
from inventory.services.dispositions import decide_about_signs, waiting_for_decision
from inventory.services.inspection import (
    ObservationInput,
    ReadingSetInput,
    record_inspection,
)
from inventory.services.method_record import method_record
from tests.factories import NOW, make_agency, make_person, make_shop, make_sign

pytestmark = pytest.mark.django_db


def below(agency, days, **fields) -> Sign:
    sign = make_sign(agency, **fields)
    record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(days=days),
        how="hand_held",
        reading_sets=[ReadingSetInput("white", ["200"] * 4), ReadingSetInput("red", ["3"] * 4)],
        now=NOW,
    )
    return sign


def waiting(agency):
    found = waiting_for_decision(organisation=agency, now=NOW)
    return [each.line.sign_id for each in found]


def test_what_waits_is_listed_oldest_first_and_leaves_when_decided():
    agency = make_agency()
    newer, older = below(agency, 2), below(agency, 30)
    below(agency, 40, responsible="state")
    record_inspection(
        sign=(bent := make_sign(agency)),
        taken_at=NOW - timedelta(days=9),
        how="visual_day",
        observations=[ObservationInput("bent", 2)],
        now=NOW,
    )
    assert waiting(agency) == [older.pk, bent.pk, newer.pk]
    decide_disposition(sign=bent, decision="replace", by=None, now=NOW)
    assert waiting(agency) == [older.pk, newer.pk]


def test_the_list_is_that_of_todays_method_record():
    agency = make_agency()
    for days in (5, 3, 8):
        below(agency, days)
    record = method_record(organisation=agency, on=NOW.date(), known="now", now=NOW)
    assert waiting(agency) == [each.line.sign_id for each in record.without_decision]


def test_more_signs_do_not_take_more_questions(django_assert_max_num_queries):
    agency = make_agency()
    for days in range(12):
        below(agency, days)
    with django_assert_max_num_queries(12):
        assert len(waiting(agency)) == 12


def test_several_are_decided_about_at_once_or_none():
    agency = make_agency()
    person = make_person(agency)
    signs = [below(agency, days) for days in (5, 3)]
    made = decide_about_signs(signs=signs, decision="replace", by=person, now=NOW)
    assert {(row.sign_id, row.decided_by) for row in made} == {(s.pk, person) for s in signs}
    stock = Sign.objects.create(maker=make_shop(), state="in_stock", sign_code="R1-1")
    with pytest.raises(StateConflictError, match="shop stock"):
        decide_about_signs(signs=[*signs, stock], decision="reread", by=person, now=NOW)
    with pytest.raises(OutOfRangeError, match="needs a reason"):
        decide_about_signs(signs=signs, decision="defer", by=person, now=NOW)
    assert Disposition.objects.count() == 2
