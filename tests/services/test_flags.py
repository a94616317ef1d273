"""Flagged readings, and what a person decides about them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from django.utils import timezone

from inventory.engineering.assessment.assess import assess_face
from inventory.engineering.assessment.record import from_facts
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    Assessment,
    FlagSettlement,
    Inspection,
    InspectionFlag,
    Instrument,
    LogbookEntry,
    Organisation,
    Standing,
)
from inventory.services.doubts import flag_groups, flags_of_group, open_flags
from inventory.services.flags import settle_flags
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.instruments import record_check
from tests.factories import NOW, make_agency, make_instrument, make_person, make_sign
from tests.services.races import together

if TYPE_CHECKING:
    from datetime import datetime

pytestmark = pytest.mark.django_db

MORNING = NOW.replace(hour=8)
EVENING = NOW.replace(hour=11)


def read(agency: Organisation, instrument: Instrument) -> Inspection:
    return record_inspection(
        sign=make_sign(agency),
        taken_at=MORNING,
        how="hand_held",
        instrument=instrument,
        reading_sets=[
            ReadingSetInput("white", ["60", "60", "60", "60"]),
            ReadingSetInput("red", ["12", "12", "12", "12"]),
        ],
        now=NOW,
    )


def fail(instrument: Instrument, at: datetime = EVENING) -> None:
    record_check(
        instrument=instrument,
        moment="after",
        reference="250",
        shown="200",
        checked_at=at,
        now=NOW,
    )


def verdicts(agency: Organisation) -> list[str]:
    rows = Standing.objects.owned_by(agency).order_by("sign")
    return list(rows.values_list("verdict", flat=True))


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def flags(agency: Organisation) -> list[InspectionFlag]:
    """Three readings of one session, and the check after it outside its tolerance."""
    instrument = make_instrument(agency)
    for _ in range(3):
        read(agency, instrument)
    fail(instrument)
    return list(open_flags(agency).order_by("pk"))


def test_readings_that_are_let_count_are_judged_in_one_go(agency, flags):
    engineer = make_person(agency)
    assert verdicts(agency) == ["no usable reading"] * 3
    made = settle_flags(
        flags=flags, outcome="judge", reason=" A second panel agreed. ", by=engineer, now=NOW
    )
    assert verdicts(agency) == ["meets"] * 3
    assert {(each.reason, each.settled_by, each.settled_at) for each in made} == {
        ("A second panel agreed.", engineer, NOW)
    }
    assert not open_flags(agency).exists()
    entry = LogbookEntry.objects.get(verb="settle readings")
    assert entry.text == (
        "The readings of 3 visits settled: the readings are good and are judged. A second "
        "panel agreed."
    )
    assert entry.detail == {"flags": [flag.pk for flag in flags]}


def test_readings_that_are_set_aside_stay_unjudged_with_the_reason(agency, flags):
    settle_flags(
        flags=flags[:1], outcome="set_aside", reason="Lens was dirty.", by=None, now=NOW
    )
    assert verdicts(agency) == ["no usable reading"] * 3
    newest = Assessment.objects.filter(sign=flags[0].inspection.sign_id).order_by("-pk")[0]
    white = newest.elements.get(color="white")
    assert "set aside on 2026-06-01: Lens was dirty" in white.reason
    assert open_flags(agency).count() == 2


def test_a_verdict_can_be_had_again_from_the_facts_stored_with_it(agency, flags):
    settle_flags(flags=flags[:1], outcome="judge", reason="Good.", by=None, now=NOW)
    settle_flags(flags=flags[1:2], outcome="set_aside", reason="Bad.", by=None, now=NOW)
    for stored in Assessment.objects.owned_by(agency):
        again = assess_face(*from_facts(json.loads(json.dumps(stored.facts))))
        assert (again.verdict.value, again.reason) == (stored.verdict, stored.reason)


def test_a_reading_with_two_flags_counts_once_both_are_settled(agency):
    instrument = make_instrument(agency, certificate_due_on=MORNING.date().replace(month=3))
    read(agency, instrument)
    fail(instrument)
    first, second = open_flags(agency).order_by("pk")
    settle_flags(flags=[first], outcome="judge", reason="Calibrated since.", by=None, now=NOW)
    assert verdicts(agency) == ["no usable reading"]
    settle_flags(flags=[second], outcome="judge", reason="Panel agreed.", by=None, now=NOW)
    assert verdicts(agency) == ["meets"]


@pytest.mark.parametrize(
    ("outcome", "reason", "words"),
    [
        ("perhaps", "x", "does not settle a reading"),
        ("judge", "  ", "Say why"),
        ("judge", "x" * 256, "256 characters; at most 255"),
    ],
)
def test_a_settlement_without_outcome_or_reason_is_refused(
    agency, flags, outcome, reason, words
):
    with pytest.raises(OutOfRangeError, match=words):
        settle_flags(flags=flags, outcome=outcome, reason=reason, by=None, now=NOW)
    assert not FlagSettlement.objects.exists()


def test_nothing_ticked_is_refused():
    with pytest.raises(OutOfRangeError, match="No reading is ticked"):
        settle_flags(flags=[], outcome="judge", reason="Good.", by=None, now=NOW)


def test_what_somebody_settled_meanwhile_stays_and_the_rest_waits(agency, flags):
    settle_flags(flags=flags[:1], outcome="set_aside", reason="Bad.", by=None, now=NOW)
    with pytest.raises(StateConflictError, match="1 of the 3 ticked readings were settled"):
        settle_flags(flags=flags, outcome="judge", reason="Good.", by=None, now=NOW)
    assert FlagSettlement.objects.get().outcome == "set_aside"


def test_readings_of_two_agencies_are_not_settled_together(agency, flags):
    other = make_agency()
    instrument = make_instrument(other)
    read(other, instrument)
    fail(instrument)
    with pytest.raises(StateConflictError, match="several agencies"):
        settle_flags(
            flags=InspectionFlag.objects.all(), outcome="judge", reason="Good.", by=None
        )


def test_open_flags_are_grouped_by_what_gave_rise_to_them(agency, flags):
    expired = make_instrument(agency, certificate_due_on=MORNING.date().replace(month=3))
    read(agency, expired)
    groups = {group.key.partition("-")[0]: group for group in flag_groups(agency)}
    assert (groups["check"].count, groups["certificate"].count) == (3, 1)
    assert groups["check"].check == flags[0].check_made
    assert groups["certificate"].instrument_serial == expired.serial
    assert list(flags_of_group(agency, groups["check"].key)) == flags
    assert flags_of_group(agency, groups["certificate"].key).count() == 1
    assert [each.count for each in flag_groups(agency, expired)] == [1]
    assert not flag_groups(make_agency())


@pytest.mark.parametrize("key", ["", "check-", "check-x", "sign-1", "check-999999", "check-²"])
def test_an_unknown_group_has_no_flags(agency, flags, key):
    assert not flags_of_group(agency, key).exists()


def test_groups_are_found_in_two_queries(agency, flags, django_assert_num_queries):
    with django_assert_num_queries(2):
        flag_groups(agency)


@pytest.mark.django_db(transaction=True)
def test_two_engineers_settling_at_once_settle_once():
    agency = make_agency()
    instrument = make_instrument(agency)
    read(agency, instrument)
    fail(instrument)
    flags = list(open_flags(agency))
    results = together(
        *[
            lambda outcome=outcome: settle_flags(
                flags=flags, outcome=outcome, reason="As it is.", by=None, now=timezone.now()
            )
            for outcome in ("judge", "set_aside")
        ]
    )
    kinds = sorted(type(each).__name__ for each in results)
    assert kinds == ["StateConflictError", "list"], results
    assert FlagSettlement.objects.count() == 1
