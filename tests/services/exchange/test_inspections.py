"""Visits that phones sent: what is read of them, and what they are answered with."""

from __future__ import annotations

from typing import Any

import pytest

from inventory.models import Assessment, Inspection, Organisation, Standing
from inventory.services.merging import merge_signs
from inventory.services.people import create_organisation
from tests.factories import NOW, make_agency, make_instrument, make_sign
from tests.services.exchange.phones import Phone, note_of, only, readings_of, said

pytestmark = pytest.mark.django_db

GEOMETRY = {"observation_angle_deg": "0.2", "entrance_angle_deg": "-4.0"}


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def phone(agency):
    return Phone(agency)


def readings(sign, **fields: Any) -> dict[str, Any]:
    return readings_of({"id": sign.pk}, "40", "9", **fields)


def test_everything_a_crew_recorded_on_a_visit_is_stored(agency, phone):
    sign, instrument = make_sign(agency), make_instrument(agency)
    payload = readings(
        sign,
        surface_state="cleaned",
        instrument_id=instrument.pk,
        note="Behind a hedge.",
        observations=[{"kind": "bent", "severity": 2, "note": "lower left"}],
        visual_rating={
            "procedure": "consistent_parameters",
            "is_adequate": True,
            "evidence": {
                "inspector_age_years": 63,
                "vehicle_kind": "SUV",
                "vehicle_model_year": "2015",
                "low_beams_aimed": True,
            },
        },
        shown={"method_version": "assess-2", "verdict": "meets"},
    )
    payload["reading_sets"][0] |= {"values": ["40.5", " 41"], "rotation_angle_deg": "0"}
    phone.record("inspection", payload)
    stored = Inspection.objects.get(pk=only(phone.send()).result["inspection_id"])
    assert (stored.surface_state, stored.note) == ("cleaned", "Behind a hedge.")
    assert (stored.instrument, stored.inspector) == (instrument, phone.user)
    sets = [
        (each.color, [r.typed for r in each.readings.all()], each.rotation_angle_deg)
        for each in stored.reading_sets.all()
    ]
    assert sets == [("white", ["40.5", "41"], 0), ("red", ["9"], None)]
    seen = stored.observations.get()
    assert (seen.kind, seen.severity, seen.note) == ("bent", 2, "lower left")
    assert stored.visual_ratings.get().evidence["vehicle_model_year"] == "2015"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"sign": None}, "sign is empty; it must name a record by its id"),
        ({"sign": {"id": "12"}}, "id is '12'; it must be a whole number"),
        ({"sign": {"id": 99999}}, "There is no sign 99999 on record"),
        ({"how": "guessed"}, "how is 'guessed'; it must be one of"),
        ({"surface_state": "sandy"}, "surface_state is 'sandy'; it must be one of"),
        ({"instrument_id": 99999}, "There is no instrument 99999 on record"),
        ({"reading_sets": {}}, "reading_sets is {}; it must be a list"),
        (
            {"reading_sets": [{"color": "red", "values": [7.5], **GEOMETRY}]},
            "values holds 7.5; each must be a text, as it was typed",
        ),
        (
            {"reading_sets": [{"color": "red", "values": ["7"] * 101, **GEOMETRY}]},
            "values has 101 entries; at most 100 are taken",
        ),
        # An angle that was not sent is not taken to be the usual one.
        (
            {"reading_sets": [{"color": "red", "values": ["7"]}]},
            "observation_angle_deg is missing",
        ),
        (
            {"observations": [{"kind": "bent", "severity": 4}]},
            "severity is 4; it must be a whole number from 0 to 3",
        ),
        (
            {"observations": [{"kind": "bent", "severity": 1, "note": "x" * 256}]},
            "note has 256 characters; at most 255",
        ),
        (
            {"visual_rating": {"procedure": "by_feel", "is_adequate": True}},
            "no procedure of looking by night",
        ),
        (
            {"visual_rating": {"procedure": "by_feel", "is_adequate": 1}},
            "is_adequate is 1; it must be true or false",
        ),
        ({"corrects": {"id": 99999}}, "There is no inspection 99999 on record"),
        ({"is_confirmed": "yes"}, "is_confirmed is 'yes'; it must be true or false"),
        ({"reading_sets": []}, "The inspection says nothing"),
    ],
)
def test_a_wrong_field_is_named_with_its_value_and_its_bound(agency, phone, changes, sentence):
    sign = make_sign(agency)
    phone.record("inspection", readings(sign) | changes)
    phone.note(sign, "beside it")
    refused, applied = phone.send().answers
    assert (refused.answer, applied.answer) == ("refused", "applied")
    assert sentence in refused.sentence
    assert [each.note for each in Inspection.objects.all()] == ["beside it"]


def test_each_visit_is_answered_with_the_verdict_that_all_of_them_lead_to(agency, phone):
    sign, other = make_sign(agency), make_sign(agency)
    phone.record("inspection", readings(sign))
    phone.record("inspection", readings_of({"id": sign.pk}, "40", "6"))
    phone.record("inspection", readings(other))
    results = [each.result for each in phone.send().answers]
    # MUTCD 11th edition (2023), Table 2A-5: a red of 7 or more, and the newest visit counts.
    assert [each["verdict"] for each in results] == ["below", "below", "meets"]
    assert results[0]["reason"].startswith("Red 6 is below 7")
    assert Assessment.objects.count() == 2


def test_a_sign_that_came_down_is_answered_with_what_was_last_judged(agency, phone):
    sign = make_sign(agency)
    sign.state, sign.removed_on, sign.removal_reason = "removed", NOW.date(), "aged"
    sign.save()
    phone.record("inspection", readings(sign))
    assert only(phone.send()).result["verdict"] == "meets"
    assert not Standing.objects.exists()


def test_an_agency_without_rules_is_answered_that_there_is_no_level():
    agency = create_organisation(name="New County", kind=Organisation.Kind.AGENCY)
    phone = Phone(agency)
    phone.record("inspection", readings(make_sign(agency)))
    result = only(phone.send()).result
    assert result["verdict"] == "no level"
    assert "has no rules in force" in result["reason"]


def test_what_a_phone_records_on_a_duplicate_goes_to_the_sign_that_is_kept(agency, phone):
    kept, duplicate = make_sign(agency), make_sign(agency)
    merge_signs(kept=kept, duplicate=duplicate, reason="recorded twice", now=NOW)
    phone.record("inspection", readings(duplicate))
    result = only(phone.send()).result
    assert (result["sign_id"], result["verdict"]) == (kept.pk, "meets")
    assert Inspection.objects.get().sign == kept


def test_a_visit_of_a_phone_is_judged_by_what_its_instrument_is_worth(agency, phone):
    expired = make_instrument(agency, certificate_due_on=NOW.date().replace(month=2))
    phone.record("inspection", readings(make_sign(agency), instrument_id=expired.pk))
    assert only(phone.send()).result["verdict"] == "no usable reading"


def test_readings_and_notes_of_two_crews_on_one_sign_are_all_kept(agency, phone):
    sign, other = make_sign(agency), Phone(agency)
    phone.record("inspection", readings(sign))
    other.record("inspection", note_of({"id": sign.pk}, "Seen by us too."))
    assert said(phone.send()) == said(other.send()) == [("applied", "")]
    inspectors = Inspection.objects.order_by("pk").values_list("inspector", flat=True)
    assert list(inspectors) == [phone.user.pk, other.user.pk]
