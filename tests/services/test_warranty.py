"""Faces under what was promised of them, and a claim driven through every state."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.files.base import ContentFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from PIL import Image

from inventory.engineering.production.warranty import PromiseStep, Shown
from inventory.errors import NotPermittedError, OutOfRangeError, StateConflictError
from inventory.interchange.claim_file import write_claim_csv, write_claim_pdf
from inventory.models import (
    ClaimAnswer,
    ClaimFace,
    ClaimStep,
    Disposition,
    LogbookEntry,
    OrderLine,
    Organisation,
    Photo,
    Sign,
    WarrantyClaim,
    WarrantyTerm,
)
from inventory.services.inspection import ObservationInput
from inventory.services.ordering import cancel_order, draft_order, release_order
from inventory.services.ordering.line_changes import change_line
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
QUERIES_A_SIGN = 16
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
    assert shown(second)["storage 3"] is Shown.FAILED
    assert {each.key[:5]: each.shown for each in second.conditions}["parts"] is Shown.UNKNOWN
    assert shown(second)["overlay with"] is Shown.UNKNOWN  # the log names no overlay


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
    assert rows["certificate on the day"] == "of 2026-01-10, in date until 2027-01-10"
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
    assert {waits[key].until(is_unsafe=True) for key in keys} == {0}
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
        each
        for each in conditions_of(face, claim.statements.all(), road.agency.day_of)
        if each.key == "upright"
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
        ({"steps": [PromiseStep(7, Decimal("0.66667"), "x")]}, "too fine"),
        ({"steps": [PromiseStep(7, Decimal("0.8"), " ")]}, "Say what is due"),
        ({"steps": [PromiseStep(7, Decimal("0.8"), "x" * 161)]}, "up to 160 letters"),
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


# --- what a review found


def test_a_version_that_is_not_certain_promises_the_least_that_may_hold(road):
    make_term(road)
    make_term(road, made_from_on=date(2021, 7, 1), initials={"white": Decimal(500)})
    year = {"fabricated_on": date(2021, 1, 1), "fabricated_precision": "year"}
    kept, low = make_face(road, **year), make_face(road, **year)
    read(road, kept, ["350"] * 4)  # under 400 of the second version, not under 304 of the first
    read(road, low, LOW)
    (found,) = candidates(road)
    assert (found.sign, found.term.version) == (low, 1)
    assert found.shortfall.promise.promised_ra == Decimal("304.0")
    assert shown(found)["version"] is Shown.UNKNOWN


def test_of_two_terms_that_may_hold_the_lesser_counts_even_where_it_is_kept(road):
    make_term(road, name="with", overlay="with", initials={"white": Decimal(300)})
    make_term(road, name="without", overlay="without")
    read(road, make_face(road, print_run=None), LOW)  # 300 keeps 240 and not 304
    assert candidates(road) == []


def test_a_claim_leaves_a_persons_own_deferral_as_it_is(road, claim):
    face = claim.faces.order_by("pk")[0]
    Disposition.objects.create(
        organisation=road.agency,
        sign=face.sign,
        decision="defer",
        reason="the road is closed",
        defer_until_on=date(2027, 6, 1),
        decided_at=NOW,
    )
    sent(claim, days=600)
    wait = waits_of(road.agency)[face.sign_id]
    assert wait.until(is_unsafe=False) == (NOW + timedelta(days=600)).year == 2028
    assert wait.until(is_unsafe=True) == 2027


def test_days_are_the_agencys_own(road):
    Organisation.objects.filter(pk=road.agency.pk).update(time_zone="America/Denver")
    road.agency.refresh_from_db()
    make_term(road, must_be_upright=True)
    face = make_face(road)
    read(road, face, LOW, taken_at=datetime(2026, 5, 20, 3, tzinfo=UTC))  # the 19th there
    (found,) = candidates(road)
    why = {each.key: each.why for each in found.conditions}
    assert why["sound"] == "none on record up to 2026-05-19"
    claim = draft_claim(agency=road.agency, faces=[(face.pk, "white")], now=NOW)
    late = datetime(2026, 6, 2, 3, tzinfo=UTC)
    state_condition(claim=claim, condition="upright", is_met=True, words="level", now=late)
    shown_now = conditions_of(claim.faces.get(), claim.statements.all(), road.agency.day_of)
    assert "on 2026-06-01: level" in {each.key: each.why for each in shown_now}["upright"]


def accepted_claim(road, number=2):
    make_term(road)
    faces = [make_face(road) for _ in range(number)]
    for each in faces:
        read(road, each, LOW)
    wanted = [(each.pk, "white") for each in faces]
    claim = draft_claim(agency=road.agency, faces=wanted, now=NOW)
    sent(claim)
    answers = {each.pk: (True, "") for each in claim.faces.all()}
    return answer_claim(claim=claim, answers=answers, now=NOW), faces


def test_a_line_is_not_lowered_below_its_credits_nor_credited_once_it_is_cancelled(road):
    claim, faces = accepted_claim(road)
    order = make_released_order(road.agency, road.shop, faces)
    first, second = order.lines.order_by("number")
    credit = {"claim": claim, "face_count": 1, "words": "a new face", "now": NOW}
    credit_claim(line=first, **credit)
    with pytest.raises(StateConflictError, match="1 faces of line 1 are credited"):
        change_line(line=first, quantity=0, reason="not wanted", now=NOW)
    # What was read before the change does not count.
    change_line(line=OrderLine.objects.get(pk=second.pk), quantity=0, reason="x", now=NOW)
    with pytest.raises(OutOfRangeError, match="0 of the line's 0 have no credit"):
        credit_claim(line=second, **credit)


def test_drafts_and_cancelled_orders_take_no_credit_and_a_cancelled_one_gives_it_back(road):
    claim, faces = accepted_claim(road, 1)
    draft = draft_order(
        agency=road.agency, shop=road.shop, signs=faces, sheeting_type="XI", now=NOW
    ).order
    credit = {"claim": claim, "face_count": 1, "words": "a new face", "now": NOW}
    with pytest.raises(StateConflictError, match="released and not cancelled"):
        credit_claim(line=draft.lines.get(), **credit)
    release_order(order=draft, now=NOW)
    credit_claim(line=draft.lines.get(), **credit)
    assert credited_faces(claim) == 1
    cancel_order(order=draft, reason="no money", now=NOW)
    assert credited_faces(claim) == 0
    with pytest.raises(StateConflictError, match="is cancelled"):
        credit_claim(line=draft.lines.get(), **credit)


def test_evidence_names_photos_and_its_queries_go_by_the_signs_alone(road, tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path
    make_term(road)
    faces = [make_face(road) for _ in range(5)]
    for each in faces:
        read(road, each, LOW, ["50"] * 4)  # white and red fall short
    photo = Photo.objects.create(
        organisation=road.agency, sign=faces[0], recorded_at=NOW, sha256="a" * 64
    )
    photo.image.save("face.jpg", ContentFile(a_picture()))
    few = [(faces[0].pk, "white"), (faces[0].pk, "red")]
    more = [(each.pk, color) for each in faces[1:] for color in ("white", "red")]
    with CaptureQueriesContext(connection) as of_few:
        claim = draft_claim(agency=road.agency, faces=few, now=NOW)
    with CaptureQueriesContext(connection) as of_more:
        draft_claim(agency=road.agency, faces=more, now=NOW)
    a_sign = (len(of_more) - len(of_few)) / 3  # one sign against four
    assert a_sign <= QUERIES_A_SIGN
    held = list(claim.faces.select_related("sign", "term").order_by("color"))
    assert held[0].evidence["photos"] == [[photo.pk, "a" * 64]]
    stream = io.BytesIO()
    write_claim_pdf(stream, claim, held, [], foot="Claim")
    assert stream.getvalue().count(b"/Subtype /Image") == 1  # once for both colours


def a_picture() -> bytes:
    out = io.BytesIO()
    Image.effect_noise((1500, 900), 60.0).convert("RGB").save(out, "JPEG")
    return out.getvalue()
