"""Many visits at a time: the same rows as one by one, in a bounded number of queries."""

from __future__ import annotations

import gc
import uuid
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import InventoryError, OutOfRangeError, StateConflictError, UnlikelyError
from inventory.models import (
    Assessment,
    Inspection,
    LogbookEntry,
    Observation,
    Organisation,
    Reading,
    ReadingSet,
    RefusedEntry,
    Sign,
    Standing,
)
from inventory.services.inspection_batch import (
    ObservationInput,
    VisualRatingInput,
    record_inspections,
)
from inventory.services.people import create_organisation
from inventory.services.refusals import keep_refused
from tests.factories import (
    NOW,
    make_agency,
    make_instrument,
    make_person,
    make_shop,
    make_sign,
)
from tests.races import at_once
from tests.services.visits import (
    DIM_PANELS,
    RED,
    TAKEN,
    TORN_PANELS,
    WHITE,
    record,
    visit,
)

if TYPE_CHECKING:
    pass

pytestmark = pytest.mark.django_db


def refusal(outcome: Inspection | InventoryError) -> str:
    assert isinstance(outcome, InventoryError)
    return str(outcome)


def test_each_sign_is_judged_once_for_all_its_visits():
    agency = make_agency()
    crew, sign, other = make_person(agency, "crew"), make_sign(agency), make_sign(agency)
    visits = [
        visit(sign, taken_at=TAKEN - timedelta(hours=hour), inspector=crew) for hour in range(3)
    ]
    stored = record(agency, *visits, visit(other, inspector=crew))
    assert [type(each) for each in stored] == [Inspection] * 4
    assert Assessment.objects.filter(sign=sign).count() == 1
    assert Assessment.objects.get(sign=sign).inspection == stored[0]  # the newest of the three
    entries = LogbookEntry.objects.filter(verb="judge sign").order_by("pk")
    assert [(each.sign, each.actor) for each in entries] == [(sign, crew), (other, crew)]
    assert Standing.objects.get(sign=sign).due_reason == "red 6 is below 7"


def test_a_panel_is_held_against_the_level_that_a_visit_before_it_brought():
    agency = make_agency()
    sign = make_sign(agency)
    dim = VisualRatingInput("comparison_panels", True, DIM_PANELS)
    rated = visit(sign, how="visual_night", reading_sets=(), visual_rating=dim)
    _stored, refused = record(agency, visit(sign), rated)
    assert "below the level of 35" in refusal(refused)


def test_an_agency_without_rules_keeps_the_visits_and_judges_later():
    agency = create_organisation(name="New County", kind=Organisation.Kind.AGENCY)
    signs = [make_sign(agency) for _ in range(2)]
    record(agency, *(visit(sign) for sign in signs))
    assert Inspection.objects.count() == 2
    assert not Assessment.objects.exists()
    assert {each.verdict for each in Standing.objects.all()} == {"no level"}


def test_a_sign_that_came_down_is_judged_for_the_record_and_stands_nowhere():
    agency = make_agency()
    sign = make_sign(agency)
    sign.state, sign.removed_on, sign.removal_reason = "removed", TAKEN.date(), "aged"
    sign.save()
    (stored,) = record(agency, visit(sign))
    assert isinstance(stored, Inspection)
    assert Assessment.objects.get(sign=sign).verdict == "below"
    assert not Standing.objects.exists()


# --- refused, known, twice ------------------------------------------------------------------


def test_a_refused_visit_leaves_nothing_and_the_others_are_stored():
    agency = make_agency()
    signs = [make_sign(agency) for _ in range(4)]
    outcomes = record(
        agency,
        visit(signs[0]),
        visit(signs[1], reading_sets=(replace(WHITE, values=("40", "2001")),)),
        visit(signs[2], observations=(ObservationInput("bent", 9),)),
        visit(signs[3], reading_sets=(replace(WHITE, values=("5",)), RED)),
    )
    assert [type(each) for each in outcomes] == [
        Inspection,
        OutOfRangeError,
        OutOfRangeError,
        UnlikelyError,
    ]
    assert "over 2000" in refusal(outcomes[1])
    assert list(Inspection.objects.all()) == [outcomes[0]]
    assert (ReadingSet.objects.count(), Reading.objects.count()) == (2, 8)
    assert not Observation.objects.exists()
    assert [each.sign for each in Standing.objects.all()] == [signs[0]]
    assert LogbookEntry.objects.filter(verb="record inspection").count() == 1


def test_what_is_not_the_agencys_or_not_there_is_refused():
    agency, shop = make_agency(), make_shop()
    own, theirs = make_sign(agency), make_sign(make_agency())
    stock = Sign.objects.create(maker=shop, state="in_stock", sign_code="R1-1")
    instrument = make_instrument(make_agency())
    outcomes = record(
        agency,
        visit(theirs),
        visit(stock),
        replace(visit(own), sign_id=own.pk + 1000),
        visit(own, instrument_id=instrument.pk),
        visit(own, instrument_id=instrument.pk + 1000),
        visit(own, corrects_id=12345),
    )
    assert not Inspection.objects.exists()
    said = [refusal(each) for each in outcomes]
    assert f"Sign {theirs.pk} does not belong to {agency}" in said[0]
    assert "shop stock" in said[1]
    assert f"There is no sign {own.pk + 1000} on record" in said[2]
    assert "does not belong to" in said[3]
    assert f"There is no instrument {instrument.pk + 1000} on record" in said[4]
    assert "There is no inspection 12345 on record" in said[5]


@pytest.mark.parametrize(
    "fields",
    [
        {"note": "as found\0"},
        {"note": "half a smile \ud83d"},
        {"observations": (ObservationInput("bent", 1, "a\0b"),)},
        {"reading_sets": (replace(WHITE, places_on_face=("\0", "e", "s", "w")),)},
        {"visual_rating": VisualRatingInput("comparison_panels", True, TORN_PANELS)},
    ],
)
def test_characters_that_no_database_holds_are_refused(fields):
    agency = make_agency()
    (outcome,) = record(agency, visit(make_sign(agency), **fields))
    assert "holds a character that cannot be kept" in refusal(outcome)


def test_the_same_visits_again_are_the_stored_ones_and_change_nothing():
    agency = make_agency()
    visits = [visit(make_sign(agency)) for _ in range(3)]
    first = record(agency, *visits)
    again = record_inspections(
        organisation=agency, visits=[*visits, visits[0]], now=NOW + timedelta(hours=1)
    )
    assert again == [*first, first[0]]
    assert (Inspection.objects.count(), Reading.objects.count()) == (3, 24)
    assert Assessment.objects.count() == 3
    assert LogbookEntry.objects.filter(verb="record inspection").count() == 3


def test_a_visit_that_comes_twice_in_a_batch_is_stored_once_and_other_content_is_refused():
    agency = make_agency()
    one = visit(make_sign(agency))
    first, twin, other = record(agency, one, one, replace(one, note="another"))
    assert first == twin
    assert isinstance(other, StateConflictError)
    assert "other content was already stored" in refusal(other)
    assert Inspection.objects.get().note == ""


def test_an_entry_that_was_refused_is_settled_by_whoever_sent_it_again():
    agency = make_agency()
    crew, one = make_person(agency, "crew"), visit(make_sign(agency))
    entry = keep_refused(
        organisation=agency,
        channel=RefusedEntry.Channel.API,
        kind=RefusedEntry.Kind.INSPECTION,
        payload={"note": "as sent"},
        sentence="It was wrong.",
        client_uuid=one.client_uuid,
        now=NOW,
    )
    record(agency, replace(one, inspector=crew))
    entry.refresh_from_db()
    assert (entry.settled_at, entry.settled_by) == (NOW, crew)


# --- cost -----------------------------------------------------------------------------------


def queries_for(number: int) -> tuple[int, int]:
    """Return how many queries a batch takes: those that add rows, and all others."""
    agency = make_agency()
    crews = [make_person(agency, "crew") for _ in range(2)]
    instruments = [make_instrument(agency) for _ in range(2)]
    signs = [make_sign(agency) for _ in range(number)]
    first = record(agency, *(visit(sign) for sign in signs))
    visits = [
        visit(
            sign,
            taken_at=TAKEN + timedelta(minutes=5),
            inspector=crews[place % 2],
            instrument_id=instruments[place % 2].pk,
            observations=(ObservationInput("bent", 2),),
            corrects_id=before.pk if isinstance(before, Inspection) and place % 3 else None,
            reading_sets=(WHITE, replace(RED, values=("-1",))) if place % 5 == 4 else (WHITE,),
        )
        for place, (sign, before) in enumerate(zip(signs, first, strict=True))
    ]
    with CaptureQueriesContext(connection) as queries:
        outcomes = record(agency, *visits)
    assert sum(isinstance(each, InventoryError) for each in outcomes) == number // 5
    adding = sum(each["sql"].startswith("INSERT") for each in queries)
    return adding, len(queries) - adding


def test_the_queries_of_a_batch_do_not_grow_with_its_visits():
    few_adding, few = queries_for(10)
    many_adding, many = queries_for(100)
    assert many == few
    # SQLite takes at most 999 values a statement, so many rows are added in several.
    assert many_adding <= (few_adding if connection.vendor == "postgresql" else 100)


def test_the_search_for_garbage_goes_on_after_a_batch():
    assert gc.isenabled()
    agency = make_agency()
    record(agency, visit(make_sign(agency)))
    assert gc.isenabled()


# --- races ----------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_one_batch_sent_four_times_at_once_is_stored_once():
    agency = make_agency()
    visits = [visit(make_sign(agency)) for _ in range(5)]
    stored: list[list[Inspection | InventoryError]] = []
    step = lambda: stored.append(record(agency, *visits))  # noqa: E731 - a step of the race
    assert at_once(step, step, step, step) == [None] * 4
    assert all(each == stored[0] for each in stored)
    assert Inspection.objects.count() == 5
    assert Reading.objects.count() == 40
    assert Assessment.objects.count() == 5


@pytest.mark.django_db(transaction=True)
def test_batches_over_the_same_signs_in_opposite_orders_are_all_kept_and_judged():
    agency = make_agency()
    instrument = make_instrument(agency)
    signs = [make_sign(agency) for _ in range(4)]

    def batch(minute: int, order: int) -> None:
        at = TAKEN + timedelta(minutes=minute)
        record(
            agency,
            *(visit(sign, taken_at=at, instrument_id=instrument.pk) for sign in signs[::order]),
        )

    steps = [lambda m=minute: batch(m, -1 if m % 2 else 1) for minute in range(4)]
    assert at_once(*steps) == [None] * 4
    assert Inspection.objects.count() == 16
    for sign in signs:
        newest = Assessment.objects.filter(sign=sign).order_by("-assessed_at", "-pk")[0]
        assert newest.inspection is not None
        assert newest.inspection.taken_at == TAKEN + timedelta(minutes=3)
        assert Standing.objects.get(sign=sign).assessment == newest


@pytest.mark.django_db(transaction=True)
def test_a_key_that_two_batches_bring_for_two_signs_at_once_is_stored_for_one_of_them():
    agency, key = make_agency(), uuid.uuid4()
    signs = [make_sign(agency), make_sign(agency)]
    outcomes: list[list[Inspection | InventoryError]] = []
    at_once(
        *(
            lambda sign=sign: outcomes.append(
                record(agency, visit(sign, client_uuid=key), visit(sign, note="beside it"))
            )
            for sign in signs
        )
    )
    kinds = sorted(type(each[0]).__name__ for each in outcomes)
    assert kinds == ["Inspection", "StateConflictError"]
    assert all(isinstance(each[1], Inspection) for each in outcomes)
    assert Inspection.objects.filter(client_uuid=key).count() == 1
    assert Inspection.objects.count() == 3
