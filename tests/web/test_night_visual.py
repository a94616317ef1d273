"""A look by night on the phone: each procedure asks for exactly its evidence."""

from __future__ import annotations

import uuid

import pytest
from django.urls import reverse

from inventory.engineering.standards.night_procedures import (
    EvidenceKind,
    NightProcedure,
    evidence_items,
)
from inventory.models import Inspection, Role, VisualRating
from tests.factories import make_agency, make_shop, make_sign
from tests.web.acting import act_as, read_reminder, stop_the_clock

pytestmark = pytest.mark.django_db

COMMON = {"taken_at": "2026-06-01T13:30", "note": "wet road"}
WHOLE = {
    "calibration_signs": {
        "calibration_sign_0": "C-1",
        "ra_cd_lx_m2_0": "8",
        "measured_on_0": "2026-05-20",
        "viewed_on": "2026-06-01",
        "viewed_before_run": "on",
        "same_vehicle": "on",
        "same_distance": "on",
    },
    "comparison_panels": {
        "panel_1": "P-7",
        "ra_cd_lx_m2_1": "36",
        "fixed_to_sign": "on",
        "distance_ft": "25",
        "flashlight_close_to_head": "on",
    },
    "consistent_parameters": {
        "inspector_age_years": "63",
        "vehicle_kind": "SUV",
        "vehicle_model_year": "2015",
        "low_beams_aimed": "on",
    },
}


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def sign(client):
    agency = make_agency("Alder County")
    act_as(client, agency, Role.CREW)
    read_reminder(client)
    return make_sign(agency)


def address(sign):
    return reverse("record-night-visual", args=(sign.pk,))


def filled(procedure, **changes):
    return {
        **COMMON,
        "client_uuid": str(uuid.uuid4()),
        "procedure": procedure,
        "answer": "not_adequate",
        **WHOLE[procedure],
        **changes,
    }


@pytest.mark.parametrize("procedure", NightProcedure)
def test_a_procedure_asks_for_its_own_evidence_and_for_no_others(client, sign, procedure):
    page = client.get(address(sign), {"procedure": procedure.value}).content.decode()
    others = [p for p in NightProcedure if p is not procedure]
    own = {item.key for item in evidence_items(procedure)}
    assert all(f'name="{key}' in page for key in own)
    for other in others:
        for item in evidence_items(other):
            assert item.key in own or f'name="{item.key}' not in page
    assert "74 % of warning signs and 75 % of Stop signs (WA-RD 140.1, 1987)" in page


@pytest.mark.parametrize("procedure", NightProcedure)
def test_a_rating_is_stored_with_its_evidence(client, sign, procedure):
    answer = client.post(address(sign), filled(procedure.value))
    assert answer["Location"] == reverse("crew-sign", args=(sign.pk,))
    rating = VisualRating.objects.get()
    assert (rating.procedure, rating.is_adequate) == (procedure.value, False)
    assert rating.inspection.how == Inspection.How.VISUAL_NIGHT
    ticks = [i for i in evidence_items(procedure) if i.kind is EvidenceKind.CONFIRM]
    assert all(rating.evidence[item.key] is True for item in ticks)


def test_the_colours_that_were_compared_are_stored_and_the_others_are_not(client, sign):
    client.post(address(sign), filled("comparison_panels"))
    assert VisualRating.objects.get().evidence["colors"] == [
        {"color": "white", "panel": "P-7", "ra_cd_lx_m2": "36"}
    ]


@pytest.mark.parametrize(
    ("procedure", "changes", "sentence", "typed"),
    [
        ("consistent_parameters", {"inspector_age_years": "58"}, "asks for 60 years", "58"),
        ("consistent_parameters", {"low_beams_aimed": ""}, "low beams were on", "2015"),
        ("comparison_panels", {"distance_ft": "40"}, "is for 25 ft", "40"),
        (
            "comparison_panels",
            {"panel_1": "", "ra_cd_lx_m2_1": ""},
            "at least one colour",
            "25",
        ),
        ("calibration_signs", {"viewed_on": "2026-05-01"}, "the same night", "C-1"),
        ("calibration_signs", {"measured_on_0": "in May"}, "not a calendar date", "in May"),
        ("calibration_signs", {"answer": ""}, "Say whether the sign is adequate", "C-1"),
    ],
)
def test_a_refused_rating_keeps_what_was_typed_and_says_what_is_missing(
    client, sign, procedure, changes, sentence, typed
):
    answer = client.post(address(sign), filled(procedure, **changes))
    page = answer.content.decode()
    assert answer.status_code == 400
    assert sentence in page
    assert f'value="{typed}"' in page
    assert "wet road" in page
    assert not VisualRating.objects.exists()


def test_what_holds_for_the_whole_night_is_not_typed_twice_but_ticked_anew(client, sign):
    client.post(address(sign), filled("consistent_parameters"))
    page = client.get(address(sign)).content.decode()
    assert 'value="63"' in page
    assert 'name="low_beams_aimed" id="id_low_beams_aimed">' in page
    assert "checked>" not in page


def test_the_crews_page_of_a_sign_leads_there(client, sign):
    page = client.get(reverse("crew-sign", args=(sign.pk,))).content.decode()
    assert address(sign) in page


def test_the_page_is_for_the_crew_and_the_engineer(client, sign):
    act_as(client, make_shop(), Role.SHOP)
    assert client.get(address(sign)).status_code == 403
    act_as(client, make_agency(), Role.CREW)
    read_reminder(client)
    assert client.get(address(sign)).status_code == 404


def test_the_history_of_a_sign_shows_the_rating_with_how_often_such_are_right(client, sign):
    client.post(address(sign), filled("comparison_panels"))
    act_as(client, sign.owner, Role.ENGINEER)
    page = client.get(reverse("sign-page", args=(sign.pk,))).content.decode()
    assert "not adequate by night (comparison panels)" in page
    assert "74 % of warning signs and 75 % of Stop signs (WA-RD 140.1, 1987)" in page
