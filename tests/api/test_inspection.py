"""A phone sends a visit: once or twice, right or wrong."""

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models import Inspection, Role, Standing
from tests.factories import make_agency, make_shop, make_sign
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db

ADDRESS = "/api/v1/inspections/"


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def crew(client, agency):
    return act_as(client, agency, Role.CREW)


def visit(sign, **fields):
    return {
        "client_uuid": str(uuid.uuid4()),
        "sign_id": sign.pk,
        "taken_at": (timezone.now() - timedelta(hours=1)).isoformat(),
        "how": "hand_held",
        "surface_state": "dry",
        "reading_sets": [
            {"color": "white", "values": ["40", "41.5"]},
            {"color": "red", "values": ["6.0"]},
        ],
        "observations": [{"kind": "bent", "severity": 1}],
    } | fields


def send(client, content):
    return client.post(ADDRESS, content, content_type="application/json")


def test_a_visit_is_stored_as_typed_and_the_sign_is_judged(client, agency, crew):
    sign = make_sign(agency)
    answer = send(client, visit(sign))
    assert answer.status_code == 201
    shown = answer.json()
    assert [r["typed"] for r in shown["reading_sets"][0]["readings"]] == ["40", "41.5"]
    assert shown["inspector"] == str(crew)
    # MUTCD 11th edition (2023), Table 2A-5: red 6 is below 7.
    assert Standing.objects.get(sign=sign).verdict == "below"


def test_the_same_visit_sent_twice_is_stored_once_and_answered_alike(client, agency, crew):
    content = visit(make_sign(agency))
    first, second = send(client, content), send(client, content)
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json() == second.json()
    assert Inspection.objects.count() == 1


def test_the_same_key_with_other_readings_is_refused_and_the_first_stays(client, agency, crew):
    content = visit(make_sign(agency))
    send(client, content)
    answer = send(client, content | {"note": "second thoughts"})
    assert answer.status_code == 409
    assert answer.json()["error"]["code"] == "state_conflict"
    assert Inspection.objects.get().note == ""


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"sign_id": "x"}, "sign_id"),
        ({"how": "by ear"}, "how"),
        ({"client_uuid": "1"}, "client_uuid"),
        ({"taken_at": "yesterday"}, "taken_at"),
        ({"observations": [{"kind": "sad", "severity": 1}]}, "observations"),
        ({"device_offset_minutes": 900}, "device_offset_minutes"),
        ({"instrument_id": 9999}, "instrument_id"),
        ({"corrects_id": 9999}, "corrects_id"),
    ],
)
def test_a_wrong_field_is_named_and_nothing_is_stored(client, agency, crew, change, field):
    answer = send(client, visit(make_sign(agency), **change))
    assert answer.status_code == 400
    assert field in answer.json()["error"]["detail"]
    assert not Inspection.objects.exists()


@pytest.mark.parametrize(
    "change",
    [
        {"reading_sets": [{"color": "white", "values": ["forty"]}]},
        {"reading_sets": [{"color": "white", "values": ["-1"]}]},
        {"taken_at": "2199-01-01T00:00:00Z"},
        {"reading_sets": [], "observations": []},
    ],
)
def test_a_value_that_cannot_be_is_refused_in_a_sentence(client, agency, crew, change):
    answer = send(client, visit(make_sign(agency), **change))
    assert answer.status_code == 400
    assert answer.json()["error"]["message"].endswith(".")
    assert not Inspection.objects.exists()


def test_a_visit_to_somebody_elses_sign_is_refused(client, agency, crew):
    foreign = make_sign(make_agency())
    answer = send(client, visit(foreign))
    assert answer.status_code == 400
    assert f"no sign {foreign.pk}" in str(answer.json()["error"]["detail"])
    assert not Inspection.objects.exists()


def test_a_correction_leaves_what_it_corrects_on_record(client, agency, crew):
    sign = make_sign(agency)
    first = send(client, visit(sign)).json()
    second = send(client, visit(sign, corrects_id=first["id"], note="Wrong face read."))
    assert second.status_code == 201
    assert {row["id"] for row in client.get(ADDRESS).json()["results"]} == {
        first["id"],
        second.json()["id"],
    }


@pytest.mark.parametrize("method", ["put", "patch", "delete"])
def test_a_stored_visit_is_never_changed_or_deleted(client, agency, crew, method):
    stored = send(client, visit(make_sign(agency))).json()
    answer = getattr(client, method)(f"{ADDRESS}{stored['id']}/")
    assert answer.status_code == 405


def test_the_shop_records_no_visits(client, agency):
    sign = make_sign(agency)
    act_as(client, make_shop(agency=agency), Role.SHOP)
    assert send(client, visit(sign)).status_code == 403


def test_visits_are_found_by_sign_and_by_time(client, agency, crew):
    sign, other = make_sign(agency), make_sign(agency)
    send(client, visit(sign))
    send(client, visit(other))
    assert client.get(ADDRESS, {"sign": sign.pk}).json()["count"] == 1
    assert client.get(ADDRESS, {"taken_before": "2001-01-01T00:00:00Z"}).json()["count"] == 0
