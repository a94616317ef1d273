"""Verdicts as they are stored: which facts they rest on, and that they can be made anew."""

from __future__ import annotations

import json
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.engineering.assessment.assess import METHOD_VERSION, assess_face
from inventory.engineering.assessment.record import from_facts
from inventory.engineering.standards.vocabulary import Color, Series, Shape, SymbolClass
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    AgencyPolicy,
    Assessment,
    ColourArea,
    Disposition,
    LogbookEntry,
    Organisation,
    Sign,
    Standing,
)
from inventory.services.assessment import assess_sign, assess_signs, decide_disposition
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.own_levels import set_agency_level
from inventory.services.people import create_organisation, set_policy
from inventory.services.standards import add_code_alias, add_sign_type
from tests.factories import NOW, make_agency, make_person, make_shop, make_sign

pytestmark = pytest.mark.django_db

YELLOW = (("background", "yellow"), ("legend", "black"))
WHITE = (("background", "white"), ("legend", "black"))
NOT_KNOWN: dict[str, Any] = {"sheeting_type": "", "optics": "unknown"}
GREEN = (("background", "green"), ("legend", "white"))
SCHOOL = (("background", "fluorescent-yellow-green"), ("legend", "black"))


def inspect(sign: Sign, day: int = -1, /, **colors: str) -> None:
    record_inspection(
        sign=sign,
        taken_at=NOW + timedelta(days=day),
        how="hand_held",
        reading_sets=[
            ReadingSetInput(color.replace("_", "-"), [value] * 4)
            for color, value in colors.items()
        ],
        now=NOW,
    )


def newest(sign: Sign) -> Assessment:
    found: Assessment = Assessment.objects.filter(sign=sign).order_by("-assessed_at", "-pk")[0]
    return found


def uncertain(element: Any) -> tuple[Any, ...]:
    """What an element says of its uncertainty, stored or just worked out."""
    return (
        element.probability,
        element.expanded_uncertainty,
        element.interval_low,
        element.interval_high,
        element.further_readings,
        list(element.flags),
    )


def test_an_assessment_names_facts_policy_edition_method_and_elements():
    agency = make_agency()
    sign = make_sign(agency)
    inspect(sign, white="40", red="6")
    assessment = newest(sign)
    assert assessment.policy == AgencyPolicy.objects.get(organisation=agency)
    assert (assessment.edition, assessment.method_version) == ("11th-2023", METHOD_VERSION)
    assert assessment.assessed_at == NOW
    assert (assessment.verdict, assessment.reason) == ("below", "Red 6 is below 7.")
    # Source: MUTCD 11th edition Table 2A-5, white on red: 35, 7 and 3:1; 40 / 6 = 6.666….
    assert [
        (e.kind, e.color, e.verdict, e.value, e.level, e.reading_count, e.checked)
        for e in assessment.elements.order_by("number")
    ] == [
        ("color", "white", "meets", Decimal(40), Decimal(35), 4, "yes"),
        ("color", "red", "below", Decimal(6), Decimal(7), 4, "yes"),
        ("contrast", "white/red", "meets", Decimal("6.666666"), Decimal(3), 4, "yes"),
    ]
    red = assessment.elements.get(color="red")
    assert (red.table_id, red.row_id) == (
        "mutcd-11-2a-5",
        "white-on-red/any/any/prismatic/red",
    )
    assert LogbookEntry.objects.get(verb="judge sign").text == (
        "Verdict: below. Red 6 is below 7."
    )


def test_what_is_stored_is_reproducible_from_its_facts():
    agency = make_agency(
        uses_recommended_levels=True,
        edition="2009",
        decision_rule="guarded",
        guard_probability=0.9,
        instrument_common_rel=0.031,
        uncertainty_basis="an invented certificate",
        fluorescent_yellow_basis="an invented choice",
    )
    set_agency_level(
        agency=agency,
        background="fluorescent-yellow-green",
        legend="black",
        color="fluorescent-yellow-green",
        minimum="75.5",
        basis="an invented trial",
        approved_by="the agency engineer",
        approved_on=date(2025, 3, 1),
        effective_on=date(2025, 4, 1),
        now=NOW,
    )
    add_sign_type(
        organisation=agency,
        code="TR-7",
        name="Trail Head",
        series=Series.GUIDE,
        shape=Shape.RECTANGLE,
        background=Color.BROWN,
        legend=Color.WHITE,
        symbol_class=SymbolClass.TEXT,
        now=NOW,
    )
    brown = (("background", "brown"), ("legend", "white"))
    signs = [
        make_sign(agency),
        make_sign(agency, sign_code="W1-2R", colours=YELLOW, **NOT_KNOWN),
        make_sign(agency, sign_code="TR-7", colours=brown, width_in=12.5, height_in=18.0),
        make_sign(agency, sign_code="", colours=GREEN),
        make_sign(agency, sign_code="S1-1", colours=(("background", "tartan"),)),
        make_sign(agency, sign_code="S1-1", colours=SCHOOL),
        make_sign(
            agency,
            sign_code="W1-2",
            colours=(("background", "fluorescent-yellow"), ("legend", "black")),
        ),
    ]
    inspect(signs[0], white="299.7", red="99.9")
    inspect(signs[1], yellow="60", orange="3")
    inspect(signs[2], brown="4.9", white="150")
    inspect(signs[5], fluorescent_yellow_green="76")
    inspect(signs[6], fluorescent_yellow="49")
    assess_signs(organisation=agency, now=NOW)
    assert Assessment.objects.count() == len(signs)
    assert Assessment.objects.filter(elements__further_readings__isnull=False).exists()
    for stored in Assessment.objects.all():
        again = assess_face(*from_facts(json.loads(json.dumps(stored.facts))))
        assert (
            again.verdict.value,
            again.reason,
            again.probability_low,
            again.probability_high,
        ) == (stored.verdict, stored.reason, stored.probability_low, stored.probability_high)
        assert [
            (e.color, e.verdict.value, e.value_to_store, e.level, e.row_id, e.full_reason)
            for e in again.elements
        ] == list(
            stored.elements.order_by("number").values_list(
                "color", "verdict", "value", "level", "row_id", "reason"
            )
        )
        assert [uncertain(each) for each in again.elements] == [
            uncertain(each) for each in stored.elements.order_by("number")
        ]


def test_judging_again_with_nothing_changed_keeps_the_assessment():
    sign = make_sign(make_agency())
    inspect(sign, white="200", red="40")
    first = newest(sign)
    assert assess_sign(sign=sign, now=NOW + timedelta(days=90)) == first
    assert Assessment.objects.count() == 1


def test_new_rules_make_a_new_assessment_and_the_old_one_stays():
    agency = make_agency()
    sign = make_sign(agency, sign_code="R8-3", colours=WHITE)
    inspect(sign, white="20")
    assert newest(sign).verdict == "below"
    set_policy(
        agency=agency,
        effective_on=date(2026, 6, 1),
        edition="11th-2023",
        basis="council decision",
        excluded_groups=["parking-standing-stopping"],
        now=NOW,
    )
    assert assess_sign(sign=sign, now=NOW).verdict == "excluded"
    assert "parking, standing and stopping signs" in newest(sign).reason
    assert not newest(sign).elements.exists()
    assert [a.verdict for a in Assessment.objects.order_by("pk")] == ["below", "excluded"]


def test_a_change_of_the_record_makes_a_new_assessment():
    sign = make_sign(make_agency(), sign_code="W1-2", colours=YELLOW, **NOT_KNOWN)
    inspect(sign, yellow="60")
    assert newest(sign).verdict == "undecided"
    ColourArea.objects.filter(sign=sign).update(sheeting_type="IX", optics="prismatic")
    assert assess_sign(sign=sign, now=NOW).verdict == "meets"


def test_only_readings_of_the_installed_face_count():
    agency = make_agency()
    old = make_sign(agency)
    inspect(old, white="10", red="2")
    old.state, old.removed_on, old.removal_reason = "removed", date(2026, 6, 1), "below_level"
    old.save()
    new = make_sign(agency, position=old.position, installed_on=date(2026, 6, 1))
    assert assess_sign(sign=new, now=NOW).verdict == "no usable reading"
    assert newest(new).inspection is None


def test_the_newest_usable_inspection_of_each_colour_is_judged():
    sign = make_sign(make_agency())
    inspect(sign, -400, white="200", red="40")
    inspect(sign, -10, white="180")
    record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(days=1),
        how="hand_held",
        surface_state="dew",
        reading_sets=[ReadingSetInput("white", ["20"]), ReadingSetInput("red", ["3"])],
        now=NOW,
    )
    assessment = newest(sign)
    assert assessment.verdict == "meets"
    assert assessment.elements.get(color="white").value == 180
    assert assessment.elements.get(color="red").value == 40
    assert assessment.inspection is not None
    assert assessment.inspection.taken_at == NOW - timedelta(days=10)
    assert "mean reduction 60 %" in assessment.elements.get(color="white").reason


def test_an_agencys_alias_and_own_sign_type_are_understood():
    agency, other = make_agency(), make_agency()
    add_code_alias(organisation=agency, alias="STP", code="R1-1", now=NOW)
    sign = make_sign(agency, sign_code="STP", colours=())
    inspect(sign, white="40", red="10")
    assert newest(sign).verdict == "meets"
    assert Standing.objects.get(sign=sign).safety_class == 1
    stranger = make_sign(other, sign_code="STP", colours=())
    inspect(stranger, white="40", red="10")
    assert newest(stranger).verdict == "undecided"


def test_shop_stock_is_not_judged():
    stock = Sign.objects.create(maker=make_shop(), state="in_stock", sign_code="R1-1")
    with pytest.raises(StateConflictError, match="shop stock"):
        assess_sign(sign=stock, now=NOW)


def test_an_agency_without_rules_is_told_what_to_do():
    agency = create_organisation(name="New County", kind=Organisation.Kind.AGENCY)
    sign = make_sign(agency)
    with pytest.raises(StateConflictError, match=r"manage\.py set_policy"):
        assess_sign(sign=sign, now=NOW)
    with pytest.raises(StateConflictError, match=r"manage\.py set_policy"):
        assess_signs(organisation=agency, now=NOW)


def test_rules_that_cannot_be_read_are_named():
    agency = make_agency()
    AgencyPolicy.objects.create(
        organisation=agency,
        version=9,
        effective_on=date(2026, 1, 1),
        edition="1988",
        basis="past the checks",
    )
    with pytest.raises(OutOfRangeError, match=r"'1988'.*Editions are 2009, 11th-2023"):
        assess_sign(sign=make_sign(agency), now=NOW)


# --- many at once --------------------------------------------------------------------------


def everything(assessment: Assessment) -> tuple[Any, ...]:
    """All that an assessment says, but for its policy."""
    return (
        assessment.verdict,
        assessment.reason,
        assessment.facts,
        assessment.probability_low,
        assessment.probability_high,
        [uncertain(each) for each in assessment.elements.order_by("number")],
    )


def test_many_at_once_are_judged_as_one_by_one():
    agency = make_agency()
    codes = [
        ("R1-1", (("background", "red"), ("legend", "white")), {"white": "40", "red": "6"}),
        ("W1-2", YELLOW, {"yellow": "60"}),
        ("D3-1", GREEN, {"white": "119", "green": "20"}),
        ("S1-1", (("background", "fluorescent-yellow-green"), ("legend", "black")), {}),
    ]
    signs = []
    for code, colours, readings in codes * 3:
        sign = make_sign(agency, sign_code=code, colours=colours)
        signs.append(sign)
        if readings:
            inspect(sign, **readings)
    alone = [assess_sign(sign=sign, now=NOW) for sign in signs]
    one_by_one = {each.sign_id: everything(each) for each in alone}
    set_policy(
        agency=agency,
        effective_on=date(2026, 1, 1),
        edition="11th-2023",
        basis="again",
        now=NOW,
    )
    counts = assess_signs(organisation=agency, now=NOW)
    assert (counts.signs, counts.new, counts.unchanged) == (12, 12, 0)
    assert counts.verdicts == {"below": 6, "meets": 3, "no level": 3}
    assert {sign.pk: everything(newest(sign)) for sign in signs} == one_by_one


def test_running_again_goes_on_where_it_stopped(monkeypatch):
    monkeypatch.setattr("inventory.services.standing.SIGNS_PER_STEP", 2)
    agency = make_agency()
    for _ in range(5):
        make_sign(agency)
    said: list[tuple[int, int]] = []

    class BrokenOffError(Exception):
        pass

    def break_off(done: int, total: int) -> None:
        said.append((done, total))
        if done == 4:
            raise BrokenOffError

    with pytest.raises(BrokenOffError):
        assess_signs(organisation=agency, now=NOW, progress=break_off)
    assert said == [(2, 5), (4, 5)]
    counts = assess_signs(organisation=agency, now=NOW)
    assert (counts.signs, counts.new, counts.unchanged) == (5, 1, 4)


def test_only_the_signs_asked_for_are_judged_and_another_agencys_is_refused():
    agency = make_agency()
    wanted, _left = make_sign(agency), make_sign(agency)
    assert assess_signs(organisation=agency, signs=[wanted], now=NOW).signs == 1
    assert [a.sign for a in Assessment.objects.all()] == [wanted]
    with pytest.raises(StateConflictError, match="its own"):
        assess_signs(organisation=agency, signs=[make_sign(make_agency())], now=NOW)


def _queries_for(count: int) -> int:
    agency = make_agency()
    for _ in range(count):
        inspect(make_sign(agency), white="40", red="6")
    set_policy(
        agency=agency,
        effective_on=date(2026, 1, 1),
        edition="11th-2023",
        basis="again",
        now=NOW,
    )
    with CaptureQueriesContext(connection) as queries:
        assess_signs(organisation=agency, now=NOW)
    return len(queries)


def test_the_number_of_queries_does_not_grow_with_the_number_of_signs():
    assert _queries_for(2) == _queries_for(14)


# --- decisions -----------------------------------------------------------------------------


def test_a_decision_is_stored_with_who_when_and_why():
    agency = make_agency()
    engineer, sign = make_person(agency), make_sign(agency)
    decided = decide_disposition(
        sign=sign,
        decision="defer",
        by=engineer,
        reason=" road closes in autumn ",
        defer_until_on=date(2026, 10, 1),
        now=NOW,
    )
    assert (decided.organisation, decided.decided_by, decided.decided_at) == (
        agency,
        engineer,
        NOW,
    )
    assert decided.reason == "road closes in autumn"
    assert LogbookEntry.objects.get(verb="decide about sign").text == (
        "Decided: defer until 2026-10-01. road closes in autumn"
    )


def test_a_later_decision_is_a_new_row():
    sign = make_sign(make_agency())
    decide_disposition(sign=sign, decision="reread", by=None, now=NOW)
    decide_disposition(sign=sign, decision="replace", by=None, now=NOW)
    assert [d.decision for d in Disposition.objects.order_by("pk")] == ["reread", "replace"]


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"decision": "burn"}, "'burn' is not a decision"),
        ({"decision": "defer"}, "needs a reason and the date"),
        ({"decision": "claim"}, "needs a reason and the date"),
        ({"decision": "defer", "reason": "later"}, "needs a reason and the date"),
        (
            {"decision": "defer", "reason": "later", "defer_until_on": date(2026, 6, 1)},
            "2026-06-01, has passed",
        ),
        (
            {"decision": "replace", "defer_until_on": date(2026, 7, 1)},
            "belongs to a decision to defer",
        ),
        ({"decision": "replace", "reason": "x" * 256}, "256 characters; at most 255"),
    ],
)
def test_a_decision_that_says_too_little_or_too_much_is_refused(
    fields: dict[str, Any], sentence: str
):
    sign = make_sign(make_agency())
    with pytest.raises(OutOfRangeError, match=sentence):
        decide_disposition(sign=sign, by=None, now=NOW, **fields)
    assert not Disposition.objects.exists()


def test_nobody_decides_about_shop_stock():
    stock = Sign.objects.create(maker=make_shop(), state="in_stock", sign_code="R1-1")
    with pytest.raises(StateConflictError, match="shop stock"):
        decide_disposition(sign=stock, decision="replace", by=None, now=NOW)
