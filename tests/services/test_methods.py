"""Methods and what is under them: what is stored, what is refused, what stays on record."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import IntegrityError

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LogbookEntry, MethodAssignment, MethodGroup, MethodStep
from inventory.services.methods import (
    assign,
    create_group,
    end_group,
    record_step,
    set_control_signs,
)
from tests.factories import NOW, make_agency, make_person, make_position
from tests.services.races import together

pytestmark = pytest.mark.django_db

START = date(2025, 1, 1)
DAY = date(2026, 1, 1)


def begin(agency, **fields: Any) -> MethodGroup:
    defaults: dict[str, Any] = {
        "name": "Measured signs",
        "method": "measured",
        "started_on": START,
        "basis": "county board, December 2024",
        "interval_months": 24,
        "now": NOW,
    }
    return create_group(organisation=agency, **defaults | fields)


def controls(agency, **fields: Any) -> MethodGroup:
    return begin(agency, **{"name": "Controls", "method": "control_signs"} | fields)


def under(position) -> list[tuple[str, date, date | None, bool]]:
    rows = MethodAssignment.objects.filter(position=position).order_by("pk")
    return [(str(r.group), r.from_on, r.until_on, r.is_control_sign) for r in rows]


def test_a_method_is_begun_on_what_it_rests_on():
    agency = make_agency()
    person = make_person(agency)
    group = begin(agency, name="  Measured   signs ", by=person)
    assert (group.name, group.interval_months) == ("Measured signs", 24)
    entry = LogbookEntry.objects.get(verb="begin method")
    assert (entry.actor, "county board" in entry.text) == (person, True)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"interval_months": None}, "needs an interval in months"),
        ({"expected_life_years": 10}, "counts no life"),
        ({"exclusion_key": "acknowledgment"}, "is under no clause"),
        ({"basis": "  "}, "rests on a decision or a study"),
        ({"method": "by_feel"}, "cannot be saved"),
        ({"name": " "}, "cannot be saved"),
        ({"method": "expected_life", "interval_months": None}, "needs a life in years"),
        (
            {"method": "expected_life", "expected_life_years": 12},
            "has no interval; leave the 24 months out",
        ),
        (
            {"method": "excluded", "interval_months": None, "exclusion_key": "any sign"},
            "has no clause 'any sign'",
        ),
        # The 11th edition dropped this clause: section 2A.22 paragraph 5.
        (
            {"method": "excluded", "interval_months": None, "exclusion_key": "blue-or-brown"},
            "11th-2023 edition has no clause",
        ),
    ],
)
def test_a_method_that_does_not_say_what_it_needs_is_refused(fields, sentence):
    agency = make_agency()
    with pytest.raises(OutOfRangeError, match=sentence) as refusal:
        begin(agency, **fields)
    assert str(refusal.value).endswith(".")
    assert not MethodGroup.objects.exists()


def test_signs_are_left_out_only_under_a_clause_the_agency_chose():
    fields = {
        "name": "No parking",
        "method": "excluded",
        "interval_months": None,
        "exclusion_key": "parking-standing-stopping",
    }
    with pytest.raises(StateConflictError, match="do not leave out"):
        begin(make_agency(), **fields)
    agency = make_agency(excluded_groups=["parking-standing-stopping"])
    assert begin(agency, **fields).exclusion_key == "parking-standing-stopping"


def test_a_name_is_used_once():
    agency = make_agency()
    begin(agency)
    with pytest.raises(StateConflictError, match="already"):
        begin(agency, name="MEASURED signs")
    begin(make_agency())


def test_places_move_from_one_method_to_another_and_the_first_stays_on_record():
    agency = make_agency()
    first, second = begin(agency), begin(agency, name="By night", method="visual_night")
    places = [make_position(agency) for _ in range(3)]
    result = assign(group=first, positions=places, from_on=START, now=NOW)
    assert (result.new, result.moved, result.unchanged) == (3, 0, 0)
    result = assign(group=second, positions=places[:2], from_on=DAY, now=NOW)
    assert (result.new, result.moved, result.unchanged) == (0, 2, 0)
    assert under(places[0]) == [
        ("Measured signs", START, DAY, False),
        ("By night", DAY, None, False),
    ]
    assert under(places[2]) == [("Measured signs", START, None, False)]
    # Sent twice, it is done once.
    again = assign(group=second, positions=places[:2], from_on=DAY, now=NOW)
    assert (again.moved, again.unchanged) == (0, 2)
    assert MethodAssignment.objects.count() == 5


def test_a_place_is_not_moved_before_it_came():
    agency = make_agency()
    first, second = begin(agency), begin(agency, name="By night", method="visual_night")
    place = make_position(agency)
    assign(group=first, positions=[place], from_on=DAY, now=NOW)
    with pytest.raises(StateConflictError, match="came under their method after 2025-06-01"):
        assign(group=second, positions=[place], from_on=date(2025, 6, 1), now=NOW)
    assert under(place) == [("Measured signs", DAY, None, False)]


def test_a_method_takes_nothing_before_it_began_nor_another_agencys_places():
    agency = make_agency()
    group = begin(agency)
    with pytest.raises(OutOfRangeError, match="began on 2025-01-01"):
        assign(group=group, positions=[make_position(agency)], from_on=date(2024, 1, 1))
    with pytest.raises(StateConflictError, match="does not belong"):
        assign(group=group, positions=[make_position(make_agency())], from_on=DAY)
    assert not MethodAssignment.objects.exists()


def test_the_database_keeps_a_place_under_one_method():
    agency = make_agency()
    group, place = begin(agency), make_position(agency)
    row = {"group": group, "position": place, "from_on": DAY, "recorded_at": NOW}
    MethodAssignment.objects.create(**row)
    with pytest.raises(IntegrityError):
        MethodAssignment.objects.create(**row)


def test_a_thousand_places_take_as_many_questions_as_are_asked_in_parts(
    django_assert_max_num_queries,
):
    agency = make_agency()
    first, second = begin(agency), begin(agency, name="By night", method="visual_night")
    support = make_position(agency).support
    places = [make_position(agency, support=support) for _ in range(60)]
    assign(group=first, positions=places, from_on=START, now=NOW)
    with django_assert_max_num_queries(10):
        assign(group=second, positions=places, from_on=DAY, now=NOW)


def test_ending_a_method_leaves_its_signs_under_none():
    agency = make_agency()
    group, place = begin(agency), make_position(agency)
    assign(group=group, positions=[place], from_on=START, now=NOW)
    end_group(group=group, ended_on=DAY, now=NOW)
    assert under(place) == [("Measured signs", START, DAY, False)]
    row = MethodAssignment.objects.get()
    assert row.ended_recorded_at == NOW
    with pytest.raises(StateConflictError, match="ended on 2026-01-01"):
        assign(group=group, positions=[place], from_on=DAY, now=NOW)
    with pytest.raises(StateConflictError, match="ended on"):
        end_group(group=group, ended_on=DAY, now=NOW)


def test_a_method_does_not_end_before_its_signs_came():
    agency = make_agency()
    group = begin(agency)
    assign(group=group, positions=[make_position(agency)], from_on=DAY, now=NOW)
    with pytest.raises(StateConflictError, match="end it on a later day"):
        end_group(group=group, ended_on=date(2025, 6, 1), now=NOW)
    with pytest.raises(OutOfRangeError, match="cannot have ended before"):
        end_group(group=group, ended_on=date(2024, 6, 1), now=NOW)


def test_which_sign_was_a_control_sign_and_when_stays_on_record():
    agency = make_agency()
    group = controls(agency)
    places = [make_position(agency) for _ in range(3)]
    assign(group=group, positions=places, from_on=START, now=NOW)
    assert set_control_signs(group=group, positions=places[:2], from_on=START, now=NOW) == 2
    assert set_control_signs(group=group, positions=places[1:], from_on=DAY, now=NOW) == 2
    assert under(places[0]) == [
        ("Controls", START, START, False),
        ("Controls", START, DAY, True),
        ("Controls", DAY, None, False),
    ]
    assert under(places[1])[-1] == ("Controls", START, None, True)


def test_control_signs_are_of_their_own_group():
    agency = make_agency()
    stranger = make_position(agency)
    with pytest.raises(StateConflictError, match="put it under the group first"):
        set_control_signs(group=controls(agency), positions=[stranger], from_on=DAY, now=NOW)
    with pytest.raises(StateConflictError, match="it has no control signs"):
        set_control_signs(group=begin(agency), positions=[], from_on=DAY, now=NOW)


def test_what_was_done_to_apply_a_method_is_recorded():
    group = begin(make_agency())
    step = record_step(
        group=group,
        done_on=DAY,
        text=" all of Mill Road ",
        kind="measuring_round",
        evidence={"signs": 40},
        now=NOW,
    )
    assert (step.text, step.evidence) == (
        "all of Mill Road",
        {"signs": 40, "kind": "measuring_round"},
    )
    tomorrow = (NOW + timedelta(days=1)).date()
    refused: list[tuple[dict[str, Any], str]] = [
        ({"done_on": tomorrow, "text": "x"}, "still to come"),
        ({"done_on": DAY, "text": " "}, "does not say what was done"),
        ({"done_on": DAY, "text": "x", "kind": "magic"}, "no kind of step"),
        ({"done_on": DAY, "text": "x" * 300}, "cannot be saved"),
    ]
    for fields, sentence in refused:
        with pytest.raises(OutOfRangeError, match=sentence):
            record_step(group=group, now=NOW, **fields)
    assert MethodStep.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_people_who_move_the_same_places_at_once_leave_each_under_one_method():
    agency = make_agency()
    groups = [begin(agency), begin(agency, name="By night", method="visual_night")]
    places = [make_position(agency) for _ in range(3)]
    results = together(
        *[
            lambda group=group: assign(group=group, positions=places, from_on=DAY, now=NOW)
            for group in groups
        ]
    )
    assert [type(each).__name__ for each in results] == ["Assigned"] * 2
    still = MethodAssignment.objects.filter(until_on__isnull=True)
    assert still.count() == len(places)
    assert set(still.values_list("group", flat=True)) <= {group.pk for group in groups}
    assert sum(each.moved for each in results) == len(places)
