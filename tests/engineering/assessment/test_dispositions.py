"""What was decided stands until it is done, overtaken or run out."""

from datetime import UTC, date, datetime

import pytest

from inventory.engineering.assessment.dispositions import (
    Decided,
    Decision,
    decision_stands,
)
from inventory.models import Disposition

FIRST, SECOND = datetime(2026, 1, 5, tzinfo=UTC), datetime(2026, 2, 5, tzinfo=UTC)
ON = date(2026, 3, 1)


def test_the_decisions_are_those_a_person_can_make():
    assert {each.value for each in Decision} == set(Disposition.Decision.values)


def test_a_sign_without_a_decision_has_none_that_stands():
    assert decision_stands([], on=ON).why_not == "nothing decided"


@pytest.mark.parametrize("decision", [Decision.REPLACE, Decision.NOT_OURS])
def test_replacing_and_not_ours_stand_until_something_else_is_decided(decision):
    assert decision_stands([Decided(decision, FIRST)], on=ON, last_seen_at=SECOND).stands


def test_reading_again_stands_until_somebody_has_looked():
    decided = [Decided(Decision.REREAD, FIRST)]
    assert decision_stands(decided, on=ON, last_seen_at=FIRST).stands
    again = decision_stands(decided, on=ON, last_seen_at=SECOND)
    assert (again.stands, again.why_not) == (False, "looked at again since it was decided to")


def test_waiting_stands_through_its_last_day():
    for waits in (Decision.DEFER, Decision.CLAIM):
        for until, stands in ((ON, True), (date(2026, 2, 28), False), (None, False)):
            assert decision_stands([Decided(waits, FIRST, until)], on=ON).stands is stands


def test_the_newest_decision_counts_whatever_the_order():
    replace = Decided(Decision.REPLACE, FIRST)
    wait = Decided(Decision.DEFER, SECOND, date(2026, 2, 10))
    for decided in ([replace, wait], [wait, replace]):
        assert not decision_stands(decided, on=ON).stands
