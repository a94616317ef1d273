"""Faces under what was promised of them, and a claim driven through every state."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from inventory.engineering.production.warranty import PromiseStep, Shown
from inventory.errors import NotPermittedError, OutOfRangeError, StateConflictError
from inventory.interchange.claim_file import write_claim_csv, write_claim_pdf
from inventory.models import (
    ClaimAnswer,
    ClaimFace,
    ClaimStep,
    LogbookEntry,
    Sign,
    WarrantyClaim,
    WarrantyTerm,
)
from inventory.services.inspection import ObservationInput
from inventory.services.programme.rules import waits_of
from inventory.services.warranty.candidates import find_candidates
from inventory.services.warranty.claims import (
    accepted_faces,
    answer_claim,
    conditions_of,
    credit_claim,
    credited_faces,
    draft_claim,
    open_conditions,
    pass_claim_on,
    send_claim,
    state_condition,
    withdraw_claim,
)
from inventory.services.warranty.terms import enter_term
from tests.factories import NOW, make_agency, make_released_order, make_shop
from tests.services.warranty_world import CONTENT, make_face, make_road, make_term, read

pytestmark = pytest.mark.django_db
LOW, HIGH = ["300", "302", "298", "300"], ["310"] * 4


@pytest.fixture
def road(db):
    return make_road()


def candidates(road):
    return find_candidates(road.agency, now=NOW).candidates


def shown(candidate):
    return {each.key: each.shown for each in candidate.conditions}


# 0.8 × 380 = 304: by hand from the term of the world.
def test_a_face_under_its_promise_is_a_candidate_and_one_that_keeps_it_is_not(road):
    make_term(road)
    low, high, exact = make_face(road), make_face(road), make_face(road)
    read(road, low, LOW)
    read(road, high, HIGH)
    read(road, exact, ["304"] * 4)
    (found,) = candidates(road)
    assert (found.sign, found.color, found.lot) == (low, "white", "L-77")
    assert found.shortfall.promise.promised_ra == Decimal("304.0")
    assert found.shortfall.promise.step.until_years == 7
    assert found.mean_words == "300"
    assert not found.shortfall.is_clear  # 4 cd/lx/m² are within the uncertainty
    assert set(shown(found).values()) == {Shown.MET}


def test_no_term_no_candidate(road):
    read(road, make_face(road), LOW)
    assert candidates(road) == []


@pytest.mark.parametrize(
    ("fields", "change"),
    [
        ({"fabricated_on": date(2019, 12, 31), "installed_on": date(2020, 2, 1)}, {}),
        ({"sheeting_type": "IX"}, {}),
        ({}, {"colouring": "printed_spot"}),
        ({}, {"initials": {"yellow": Decimal(285)}}),
        ({}, {"steps": [PromiseStep(5, Decimal("0.8"), "a new face")]}),  # over since May 2026
        ({"maker": None, "print_run": None}, {}),
    ],
)
def test_what_the_term_does_not_reach_is_no_candidate(road, fields, change):
    make_term(road, **change)
    read(road, make_face(road, **fields), LOW)
    assert candidates(road) == []


def test_the_step_in_force_on_the_day_of_the_reading_decides(road):
    make_term(
        road,
        steps=[
            PromiseStep(5, Decimal("0.8"), "a new face"),
            PromiseStep(10, Decimal("0.7"), "the sheeting"),
        ],
    )
    kept, low = make_face(road), make_face(road)
    read(road, kept, LOW)  # 300 keeps 266
    read(road, low, ["260"] * 4)
    (found,) = candidates(road)
    assert found.sign == low
    assert found.shortfall.promise.promised_ra == Decimal("266.0")


def test_a_newer_version_holds_for_faces_made_since(road):
    make_term(road)
    make_term(road, made_from_on=date(2024, 1, 1), initials={"white": Decimal(300)})
    old = make_face(road)
    new = make_face(road, fabricated_on=date(2024, 3, 1), installed_on=date(2024, 4, 1))
    for each in (old, new):
        read(road, each, LOW)
    (found,) = candidates(road)  # 240 is promised of the new one
    assert (found.sign, found.term.version) == (old, 1)


@pytest.mark.parametrize(
    ("how", "key", "expected"),
    [
        ({"surface_state": "dirty"}, "clean", Shown.FAILED),
        ({"surface_state": ""}, "clean", Shown.UNKNOWN),
        ({"instrument": None}, "certificate", Shown.UNKNOWN),
        ({"observations": []}, "sound", Shown.UNKNOWN),
        ({"observations": [ObservationInput(kind="bent", severity=2)]}, "sound", Shown.FAILED),
        # Film coming off is what a supplier stands for, and no damage.
        (
            {"observations": [ObservationInput(kind="delaminated", severity=2)]},
            "sound",
            Shown.MET,
        ),
    ],
)
def test_each_condition_is_shown_met_failed_or_unknown(road, how, key, expected):
    make_term(road)
    read(road, make_face(road), LOW, **how)
    (found,) = candidates(road)
    assert shown(found)[key] is expected


def test_conditions_of_the_term_itself(road):
    make_term(
        road,
        must_be_upright=True,
        storage_months=3,  # received in January, made in May
        matched_components="ink A with film B",
        overlay="with",
    )
    leaning, plain = make_face(road), make_face(road)
    lean = [ObservationInput(kind="leaning", severity=2)]
    read(road, leaning, LOW, observations=lean)
    read(road, plain, LOW)
    first, second = candidates(road)
    assert shown(first)["upright"] is Shown.FAILED
    assert shown(second)["upright"] is Shown.UNKNOWN
    assert shown(second)["storage"] is Shown.FAILED
    assert shown(second)["components"] is Shown.UNKNOWN
    assert shown(second)["overlay"] is Shown.UNKNOWN  # the log names no overlay


def test_a_start_known_to_the_year_leaves_the_step_open(road):
    make_term(
        road,
        starts="installed",
        steps=[
            PromiseStep(5, Decimal("0.8"), "a new face"),
            PromiseStep(10, Decimal("0.7"), "the sheeting"),
        ],
    )
    face = make_face(road, installed_on=date(2021, 1, 1), installed_precision="year")
    read(road, face, ["260"] * 4)
    (found,) = candidates(road)
    assert found.shortfall.promise.promised_ra == Decimal("266.0")  # the least that may hold
    assert shown(found)["inside"] is Shown.UNKNOWN


def test_what_was_never_shipped_has_no_start(road):
    make_term(road, starts="shipped")
    read(road, make_face(road), LOW)
    found = find_candidates(road.agency, now=NOW)
    assert (found.candidates, found.no_start) == ([], 1)


def test_queries_do_not_grow_with_faces(road, django_assert_num_queries):
    make_term(road)
    for _ in range(2):
        read(road, make_face(road), LOW)
    with django_assert_num_queries(25) as few:
        assert len(candidates(road)) == 2
    for _ in range(6):
        read(road, make_face(road), LOW)
    with django_assert_num_queries(len(few)):
        assert len(candidates(road)) == 8


@pytest.fixture
def claim(road):
    make_term(road, must_be_upright=True)
    faces = [make_face(road) for _ in range(2)]
    for each in faces:
        read(road, each, LOW)
    return draft_claim(
        agency=road.agency,
        faces=[(each.pk, "white") for each in faces],
        by=road.person,
        now=NOW,
    )


def sent(claim, days=60):
    return send_claim(claim=claim, answer_due_on=(NOW + timedelta(days=days)).date(), now=NOW)


def test_a_claim_keeps_what_it_rests_on(road, claim):
    face = claim.faces.order_by("pk")[0]
    rows = dict(face.evidence["rows"])
    assert rows["promised"] == "304 cd/lx/m²"
    assert rows["read"] == "300 cd/lx/m², mean of 4"
    assert rows["instrument"] == road.instrument.serial
    assert "2027-01-10" in rows["certificate as now"]
    assert dict(face.evidence["production"])["sheeting lot"] == "L-77"
    # What is read later does not change it.
    read(road, face.sign, HIGH, taken_at=NOW - timedelta(minutes=5))
    assert dict(ClaimFace.objects.get(pk=face.pk).evidence["rows"])["read"].startswith("300")
    with pytest.raises(StateConflictError, match="does not fall short"):
        draft_claim(agency=road.agency, faces=[(face.sign_id, "white")], now=NOW)


def test_a_claim_is_for_one_lot_and_each_colour_once(road, claim):
    other = make_road(lot="L-78", agency=road.agency)
    one, two = make_face(road), make_face(other)
    for each in (one, two):
        read(road, each, LOW)
    with pytest.raises(OutOfRangeError, match="one shop and one lot"):
        draft_claim(agency=road.agency, faces=[(one.pk, "white"), (two.pk, "white")], now=NOW)
    taken = claim.faces.order_by("pk")[0].sign_id
    with pytest.raises(StateConflictError, match="in a claim already"):
        draft_claim(agency=road.agency, faces=[(taken, "white")], now=NOW)
    with pytest.raises(OutOfRangeError, match="1 to 200"):
        draft_claim(agency=road.agency, faces=[], now=NOW)
    assert WarrantyClaim.objects.count() == 1


def test_a_face_with_a_failed_condition_is_not_claimed(road):
    make_term(road)
    bent = make_face(road)
    read(road, bent, LOW, observations=[ObservationInput(kind="bent", severity=2)])
    with pytest.raises(StateConflictError, match="not damaged is not met"):
        draft_claim(agency=road.agency, faces=[(bent.pk, "white")], now=NOW)


def test_a_claim_goes_through_every_state(road, claim):
    assert claim not in WarrantyClaim.objects.readable_by(road.shop)
    sent(claim)
    claim.refresh_from_db()
    assert claim in WarrantyClaim.objects.readable_by(road.shop)
    pass_claim_on(claim=claim, words="no. 4711 at the supplier", now=NOW)
    one, two = claim.faces.order_by("pk")
    with pytest.raises(OutOfRangeError, match="answer for each"):
        answer_claim(claim=claim, answers={one.pk: (True, "")}, now=NOW)
    with pytest.raises(OutOfRangeError, match="Say why"):
        answer_claim(claim=claim, answers={one.pk: (True, ""), two.pk: (False, " ")}, now=NOW)
    answers = {one.pk: (True, ""), two.pk: (False, "shot at")}
    answer_claim(claim=claim, answers=answers, now=NOW)
    claim.refresh_from_db()
    assert claim.state == "answered"
    assert accepted_faces(claim) == 1
    states = list(ClaimStep.objects.filter(claim=claim).values_list("state", flat=True))
    assert states == ["draft", "sent", "passed_on", "answered"]
    with pytest.raises(StateConflictError, match="is answered"):
        withdraw_claim(claim=claim, words="late", now=NOW)
    assert LogbookEntry.objects.filter(
        organisation=road.shop, text__contains="answered"
    ).exists()


def test_a_credit_goes_onto_an_order_line_and_never_beyond_what_was_accepted(road, claim):
    sent(claim)
    faces = list(claim.faces.all())
    answer_claim(claim=claim, answers={each.pk: (True, "") for each in faces}, now=NOW)
    order = make_released_order(road.agency, road.shop, [each.sign for each in faces])
    line = order.lines.order_by("number")[0]
    credit_claim(claim=claim, line=line, face_count=1, words="a new face, put up", now=NOW)
    assert (accepted_faces(claim), credited_faces(claim)) == (2, 1)
    with pytest.raises(OutOfRangeError, match="0 of the line's 1 have no credit"):
        credit_claim(claim=claim, line=line, face_count=1, words="again", now=NOW)
    other = make_agency()
    stranger = make_shop(agency=other)
    theirs = make_released_order(other, stranger, [make_face(make_road(agency=other))])
    with pytest.raises(NotPermittedError, match="is not one of"):
        credit_claim(
            claim=claim, line=theirs.lines.get(), face_count=1, words="a face", now=NOW
        )


def test_its_signs_wait_for_the_answer_unless_unsafe_and_no_longer(road, claim):
    keys = {face.sign_id for face in claim.faces.all()}
    assert not keys & set(waits_of(road.agency))
    sent(claim)
    waits = waits_of(road.agency)
    due = (NOW + timedelta(days=60)).year
    assert {waits[key].until_year for key in keys} == {due}
    assert not any(waits[key].holds(is_unsafe=True) for key in keys)
    withdraw_claim(claim=claim, words="the supplier asks for its own readings", now=NOW)
    assert not keys & set(waits_of(road.agency))


def test_what_the_records_leave_open_is_stated_by_a_party(road, claim):
    assert open_conditions(claim) == {"upright": "stands upright"}
    with pytest.raises(OutOfRangeError, match="No condition 'sound'"):
        state_condition(claim=claim, condition="sound", is_met=True, words="x", now=NOW)
    stated = {"condition": "upright", "by": road.person, "now": NOW}
    state_condition(claim=claim, is_met=True, words="checked with a level", **stated)
    face = claim.faces.order_by("pk")[0]
    (upright,) = [
        each for each in conditions_of(face, claim.statements.all()) if each.key == "upright"
    ]
    assert upright.shown is Shown.MET
    assert "checked with a level" in upright.why


def test_the_files_of_a_claim_say_all_of_it(road, claim, tmp_path):
    sent(claim)
    claim.refresh_from_db()
    faces = list(claim.faces.select_related("sign", "term").order_by("sign"))
    stream = io.BytesIO()
    write_claim_csv(stream, claim, faces, [])
    rows = list(csv.DictReader(io.StringIO(stream.getvalue().decode())))
    assert [row["sign"] for row in rows] == [str(face.sign_id) for face in faces]
    assert rows[0]["promised_ra_cd_lx_m2"] == "304"
    assert rows[0]["conditions_unknown"] == "stands upright"
    stream = io.BytesIO()
    write_claim_pdf(stream, claim, faces, [], foot="Claim 1")
    assert stream.getvalue().startswith(b"%PDF")
    assert stream.getvalue().count(b"/Type /Page\n") >= 3 or b"/Count 3" in stream.getvalue()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": " "}, "a name"),
        ({"sheeting_type": "XII"}, "no sheeting type"),
        ({"colouring": "opaque"}, "no colouring"),
        ({"steps": []}, "1 to 10 steps"),
        ({"steps": [PromiseStep(7, Decimal("1.2"), "x")]}, "over 0 and up to 1"),
        ({"steps": [PromiseStep(31, Decimal("0.8"), "x")]}, "up to 30"),
        ({"steps": [PromiseStep(7, Decimal("0.8"), " ")]}, "Say what is due"),
        (
            {
                "steps": [
                    PromiseStep(7, Decimal("0.7"), "x"),
                    PromiseStep(10, Decimal("0.8"), "x"),
                ]
            },
            "that of the step before",
        ),
        ({"initials": {}}, "at least one colour"),
        ({"initials": {"white": Decimal(0)}}, "not over 0"),
        ({"supplier_text": ""}, "own text"),
        ({"storage_months": 0}, "storage limit of 0"),
    ],
)
def test_a_term_that_says_nothing_is_refused(road, changes, said):
    with pytest.raises(OutOfRangeError, match=said):
        make_term(road, **changes)
    assert WarrantyTerm.objects.count() == 0


def test_an_agency_enters_no_term(road):
    with pytest.raises(NotPermittedError, match="is no sign shop"):
        enter_term(shop=road.agency, content=replace(CONTENT), now=NOW)


def test_a_sign_that_was_replaced_is_no_candidate(road):
    make_term(road)
    face = make_face(road)
    read(road, face, LOW)
    Sign.objects.filter(pk=face.pk).update(state="removed", removal_reason="other")
    assert candidates(road) == []
    assert ClaimAnswer.objects.count() == 0
