"""Inspections: what is stored, what is refused, and what follows."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    Assessment,
    Inspection,
    Instrument,
    LogbookEntry,
    Observation,
    Organisation,
    Reading,
    Sign,
    Standing,
    VisualRating,
)
from inventory.services.inspection import (
    ObservationInput,
    ReadingSetInput,
    VisualRatingInput,
    record_inspection,
)
from inventory.services.people import create_organisation
from tests.factories import (
    NOW,
    make_agency,
    make_person,
    make_rating,
    make_shop,
    make_sign,
)
from tests.services.races import together

pytestmark = pytest.mark.django_db

TAKEN = NOW - timedelta(days=1)
STOP_READINGS = (
    ReadingSetInput("white", ["40.0", "41", "39", "40"]),
    ReadingSetInput("red", ["6.0", "6", "6.00", "6"]),
)


def record(sign: Sign, **fields: Any) -> Inspection:
    defaults: dict[str, Any] = {
        "taken_at": TAKEN,
        "how": "hand_held",
        "reading_sets": STOP_READINGS,
        "now": NOW,
    }
    return record_inspection(sign=sign, **defaults | fields)


def test_an_inspection_is_stored_with_its_readings_as_typed():
    agency = make_agency()
    crew, sign = make_person(agency, "crew"), make_sign(agency)
    inspection = record(
        sign, inspector=crew, surface_state="dry", note=" as found ", device_offset_minutes=-300
    )
    assert inspection.organisation == agency
    assert inspection.recorded_at == NOW
    assert inspection.note == "as found"
    stored = Reading.objects.filter(reading_set__inspection=inspection)
    assert [(r.reading_set.color, r.typed, r.ra_cd_lx_m2) for r in stored][4:] == [
        ("red", "6.0", Decimal(6)),
        ("red", "6", Decimal(6)),
        ("red", "6.00", Decimal(6)),
        ("red", "6", Decimal(6)),
    ]
    entry = LogbookEntry.objects.get(verb="record inspection")
    assert entry.actor == crew
    assert entry.sign == sign
    assert entry.text == (
        "Inspected on 2026-05-31: white 40.0, 41, 39, 40 cd/lx/m²; "
        "red 6.0, 6, 6.00, 6 cd/lx/m²."
    )


def test_the_sign_is_judged_and_stands_anew_at_once():
    sign = make_sign(make_agency())
    inspection = record(sign)
    assessment = Assessment.objects.get(sign=sign)
    assert assessment.inspection == inspection
    assert assessment.verdict == "below"
    standing = Standing.objects.get(sign=sign)
    assert standing.is_due
    assert standing.due_reason == "red 6 is below 7"
    assert standing.last_inspected_on == date(2026, 5, 31)


def test_what_was_seen_is_stored():
    sign = make_sign(make_agency())
    inspection = record(
        sign,
        how="visual_night",
        reading_sets=(),
        observations=[ObservationInput("bent", 3, "lower left corner")],
        visual_rating=make_rating(is_adequate=False),
    )
    seen = Observation.objects.get(inspection=inspection)
    assert (seen.kind, seen.severity, seen.note) == ("bent", 3, "lower left corner")
    assert VisualRating.objects.get(inspection=inspection).evidence["low_beams_aimed"] is True
    standing = Standing.objects.get(sign=sign)
    assert standing.due_reason == ("severe: bent; not adequate by night")


def test_an_agency_without_rules_keeps_the_inspection_and_judges_later():
    agency = create_organisation(name="New County", kind=Organisation.Kind.AGENCY)
    sign = make_sign(agency)
    record(sign, observations=[ObservationInput("bent", 3)])
    assert Inspection.objects.filter(sign=sign).exists()
    assert not Assessment.objects.filter(sign=sign).exists()
    standing = Standing.objects.get(sign=sign)
    assert standing.verdict == "no level"
    assert "has no rules in force" in standing.reason
    assert standing.due_reason == "severe: bent"


def test_days_and_times_are_those_of_the_agencys_own_clock():
    agency = make_agency()
    agency.time_zone = "America/Chicago"
    agency.save()
    sign, key = make_sign(agency), uuid.uuid4()
    # 02:30 UTC on 31 May is the evening of 30 May in Chicago (summer time, UTC−5).
    evening = datetime(2026, 5, 31, 2, 30, tzinfo=UTC)
    record(sign, taken_at=evening, surface_state="dew", client_uuid=key)
    white = Assessment.objects.get().elements.get(color="white")
    assert "Kept but not judged: 2026-05-30: dew" in white.reason
    assert Standing.objects.get(sign=sign).last_inspected_on == date(2026, 5, 30)
    entry = LogbookEntry.objects.get(verb="record inspection")
    assert entry.text.startswith("Inspected on 2026-05-30:")
    with pytest.raises(StateConflictError, match="2026-05-30 21:30 CDT"):
        record(sign, taken_at=evening, client_uuid=key)
    with pytest.raises(OutOfRangeError, match="2026-06-01 08:00 CDT, which is still to come"):
        record(sign, taken_at=NOW + timedelta(hours=1))


# --- sent twice ---------------------------------------------------------------------------


def test_sent_twice_it_is_stored_once():
    sign, key = make_sign(make_agency()), uuid.uuid4()
    first = record(sign, client_uuid=key)
    again = record(sign, client_uuid=key, now=NOW + timedelta(hours=1))
    assert first == again
    assert Inspection.objects.count() == 1
    assert Reading.objects.count() == 8
    assert Assessment.objects.count() == 1


def test_sent_again_after_the_sign_came_down_it_is_still_the_same_one():
    sign, key = make_sign(make_agency()), uuid.uuid4()
    first = record(sign, client_uuid=key)
    sign.state, sign.removed_on, sign.removal_reason = "removed", date(2026, 5, 1), "aged"
    sign.save()
    assert record(sign, client_uuid=key) == first


@pytest.mark.parametrize(
    "other",
    [
        {"reading_sets": (ReadingSetInput("white", ["40.0", "41", "39", "40"]),)},
        {
            "reading_sets": (
                *STOP_READINGS[:1],
                ReadingSetInput("red", ["6.0", "6", "6.00", "7"]),
            )
        },
        {"taken_at": TAKEN - timedelta(minutes=1)},
        {"how": "mobile"},
        {"surface_state": "dew"},
        {"note": "another"},
        {"observations": [ObservationInput("bent", 1)]},
    ],
)
def test_the_same_key_with_other_content_is_refused_and_nothing_changes(other):
    sign, key = make_sign(make_agency()), uuid.uuid4()
    record(sign, client_uuid=key)
    with pytest.raises(StateConflictError, match="other content was already stored"):
        record(sign, client_uuid=key, **other)
    assert Inspection.objects.count() == 1
    assert Reading.objects.count() == 8


def test_the_same_key_for_another_sign_is_refused():
    agency, key = make_agency(), uuid.uuid4()
    record(make_sign(agency), client_uuid=key)
    with pytest.raises(StateConflictError, match="other content"):
        record(make_sign(agency), client_uuid=key)


# --- corrections ---------------------------------------------------------------------------


def test_a_correction_hides_the_earlier_inspection_from_judging_and_keeps_it():
    sign = make_sign(make_agency())
    wrong = record(sign)
    right = record(
        sign,
        reading_sets=[STOP_READINGS[0], ReadingSetInput("red", ["9", "9", "9", "9"])],
        corrects=wrong,
    )
    newest = Assessment.objects.filter(sign=sign).order_by("-pk")[0]
    assert (newest.verdict, newest.inspection) == ("meets", right)
    assert set(Inspection.objects.filter(sign=sign)) == {wrong, right}
    assert not Standing.objects.get(sign=sign).is_due
    assert (
        "Corrects inspection" in LogbookEntry.objects.filter(verb="record inspection")[0].text
    )


def test_an_inspection_recorded_on_the_wrong_sign_is_corrected_on_the_right_one():
    agency = make_agency()
    wrong_sign, right_sign = make_sign(agency), make_sign(agency)
    wrong = record(wrong_sign)
    record(right_sign, corrects=wrong)
    assert Standing.objects.get(sign=wrong_sign).verdict == "no usable reading"
    assert Standing.objects.get(sign=right_sign).verdict == "below"


def test_another_agencys_inspection_cannot_be_corrected():
    theirs = record(make_sign(make_agency()))
    with pytest.raises(StateConflictError, match="only its own can be corrected"):
        record(make_sign(make_agency()), corrects=theirs)


# --- bad input -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        (
            {"reading_sets": [ReadingSetInput("white", ["40"] * 100)] * 11},
            "1100 readings of white were sent in one inspection; at most 1000 are averaged",
        ),
        (
            {"reading_sets": [ReadingSetInput("white", ["-3"])]},
            "White: The reading -3 .* negative",
        ),
        ({"reading_sets": [ReadingSetInput("white", ["2001"])]}, "over 2000"),
        ({"reading_sets": [ReadingSetInput("white", ["bright"])]}, "not a number"),
        ({"reading_sets": [ReadingSetInput("white", [])]}, "No value was typed for white"),
        ({"reading_sets": [ReadingSetInput("white", ["1"] * 101)]}, "at most 100"),
        ({"reading_sets": [ReadingSetInput("mauve", ["3"])]}, "'mauve' is not a colour"),
        ({"reading_sets": [ReadingSetInput("black", ["3"])]}, "Black returns no light"),
        (
            {"reading_sets": [ReadingSetInput("white", ["3"], places_on_face=["a", "b"])]},
            "1 values of white came with 2 places",
        ),
        (
            {"reading_sets": [ReadingSetInput("white", ["3"], observation_angle_deg="20")]},
            "Observation angle 20.00° is no sign instrument's",
        ),
        (
            {"reading_sets": [ReadingSetInput("white", ["3"], entrance_angle_deg="left")]},
            "'left' is not an angle",
        ),
        (
            {"reading_sets": [ReadingSetInput("white", ["3"], entrance_angle_deg="-4.001")]},
            "more than two decimals",
        ),
        ({"taken_at": NOW + timedelta(days=1)}, "still to come"),
        ({"taken_at": datetime(2026, 5, 31)}, "has no time zone"),  # noqa: DTZ001 - the point
        ({"how": "guessed"}, "This inspection cannot be saved"),
        ({"how": "visual_day"}, "choose hand-held or mobile"),
        ({"surface_state": "sandy"}, "This inspection cannot be saved"),
        (
            {"observations": [ObservationInput("eaten", 2)]},
            "This observation cannot be saved",
        ),
        ({"observations": [ObservationInput("bent", 9)]}, "This observation cannot be saved"),
        (
            {"visual_rating": VisualRatingInput("by_feel", True)},
            "no procedure of looking by night",
        ),
        ({"reading_sets": ()}, "The inspection says nothing"),
    ],
)
def test_bad_input_is_refused_in_a_sentence_and_nothing_is_stored(fields, sentence):
    sign = make_sign(make_agency())
    with pytest.raises(OutOfRangeError, match=sentence) as refusal:
        record(sign, **fields)
    assert str(refusal.value).endswith(".")
    assert not Inspection.objects.exists()
    assert not LogbookEntry.objects.filter(verb="record inspection").exists()


def test_the_true_minus_sign_and_blanks_of_an_angle_are_understood():
    sign = make_sign(make_agency())
    record(sign, reading_sets=[ReadingSetInput("white", [" 40 "], "0.2 ", "−4")])
    assert Assessment.objects.get().facts["readings"][0]["entrance_angle_deg"] == "-4.00"
    assert Reading.objects.get().typed == "40"


def test_shop_stock_is_not_inspected_on_the_road():
    shop = make_shop()
    stock = Sign.objects.create(maker=shop, state="in_stock", sign_code="R1-1")
    with pytest.raises(StateConflictError, match="shop stock"):
        record(stock)


def test_a_reading_made_before_the_face_went_up_is_refused():
    sign = make_sign(make_agency(), installed_on=date(2026, 6, 1))
    with pytest.raises(StateConflictError, match="this face went up on 2026-06-01"):
        record(sign, taken_at=datetime(2026, 5, 30, 12, tzinfo=UTC))
    record(sign, taken_at=datetime(2026, 5, 31, 23, tzinfo=UTC))


def test_a_face_installed_in_a_known_month_takes_any_reading():
    sign = make_sign(make_agency(), installed_on=date(2026, 6, 1), installed_precision="month")
    record(sign, taken_at=datetime(2026, 4, 1, tzinfo=UTC))
    assert Inspection.objects.count() == 1


def test_a_reading_made_after_the_sign_came_down_is_refused():
    sign = make_sign(make_agency())
    sign.state, sign.removed_on, sign.removal_reason = "removed", date(2026, 5, 3), "aged"
    sign.save()
    with pytest.raises(StateConflictError, match="taken down on 2026-05-03"):
        record(sign)
    record(sign, taken_at=datetime(2026, 5, 2, 12, tzinfo=UTC))


def test_another_agencys_instrument_is_refused():
    sign = make_sign(make_agency())
    theirs = Instrument.objects.create(
        organisation=make_agency(),
        serial="7",
        observation_angle_deg="0.2",
        entrance_angle_deg="-4",
    )
    with pytest.raises(StateConflictError, match="does not belong to"):
        record(sign, instrument=theirs)


# --- races ---------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_two_phones_sending_one_inspection_at_once_store_it_once():
    sign, key = make_sign(make_agency()), uuid.uuid4()
    results = together(*[lambda: record(sign, client_uuid=key)] * 4)
    assert [type(result) for result in results] == [Inspection] * 4
    assert len({result.pk for result in results}) == 1
    assert Inspection.objects.count() == 1
    assert Reading.objects.count() == 8
    assert Assessment.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_one_key_for_two_signs_at_once_is_stored_for_one_and_refused_for_the_other():
    agency, key = make_agency(), uuid.uuid4()
    signs = [make_sign(agency), make_sign(agency)]
    results = together(*[lambda sign=sign: record(sign, client_uuid=key) for sign in signs])
    kinds = sorted(type(result).__name__ for result in results)
    assert kinds == ["Inspection", "StateConflictError"]
    assert Inspection.objects.count() == 1
    assert Reading.objects.count() == 8


@pytest.mark.django_db(transaction=True)
def test_several_inspections_of_one_sign_at_once_are_all_kept_and_judged():
    sign = make_sign(make_agency())
    jobs = [
        lambda minute=minute: record(sign, taken_at=TAKEN + timedelta(minutes=minute))
        for minute in range(4)
    ]
    results = together(*jobs)
    assert [type(result) for result in results] == [Inspection] * 4
    newest = Assessment.objects.order_by("-assessed_at", "-pk")[0]
    assert newest.inspection is not None
    assert newest.inspection.taken_at == TAKEN + timedelta(minutes=3)
    standing = Standing.objects.get(sign=sign)
    assert standing.assessment == newest
