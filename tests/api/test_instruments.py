"""Instruments and their checks, as the phone reads and records them."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models import InstrumentCheck, RefusedEntry, Role
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.instruments import record_check
from tests.factories import make_agency, make_instrument, make_shop, make_sign
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db

ADDRESS = "/api/v1/instruments/"


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def crew(client, agency):
    return act_as(client, agency, Role.CREW)


def check(**fields):
    return {
        "client_uuid": str(uuid.uuid4()),
        "moment": "after",
        "checked_at": timezone.now().isoformat(),
        "reference_ra_cd_lx_m2": "250",
        "shown_ra_cd_lx_m2": "248.5",
    } | fields


def send(client, instrument, content):
    return client.post(
        f"{ADDRESS}{instrument.pk}/checks/", content, content_type="application/json"
    )


def test_a_phone_reads_the_instruments_of_its_agency(client, agency, crew):
    mine = make_instrument(agency)
    make_instrument(make_agency())
    rows = client.get(ADDRESS).json()["results"]
    assert [row["serial"] for row in rows] == [mine.serial]
    assert rows[0]["certificate_due_on"] == "2027-01-10"
    assert client.get(f"{ADDRESS}{mine.pk}/").json()["check_tolerance_rel"] == 0.05


def test_a_check_sent_twice_is_stored_once_and_answered_alike(client, agency, crew):
    instrument, content = make_instrument(agency), check()
    first, second = (send(client, instrument, content) for _ in range(2))
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json() == second.json()
    assert first.json()["is_within_tolerance"] is True
    stored = InstrumentCheck.objects.get()
    assert stored.checked_by == crew


def test_a_check_outside_its_tolerance_says_how_many_visits_it_puts_in_doubt(
    client, agency, crew
):
    instrument = make_instrument(agency)
    for _ in range(2):
        record_inspection(
            sign=make_sign(agency),
            taken_at=timezone.now() - timedelta(hours=1),
            how="hand_held",
            instrument=instrument,
            reading_sets=[ReadingSetInput("white", ["40"])],
        )
    answer = send(client, instrument, check(shown_ra_cd_lx_m2="200")).json()
    assert (answer["is_within_tolerance"], answer["flag_count"]) == (False, 2)


def test_the_same_key_with_another_value_is_refused(client, agency, crew):
    instrument, content = make_instrument(agency), check()
    send(client, instrument, content)
    answer = send(client, instrument, content | {"shown_ra_cd_lx_m2": "200"})
    assert answer.status_code == 409
    assert InstrumentCheck.objects.get().is_within_tolerance


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"shown_ra_cd_lx_m2": "-1"}, "is negative"),
        ({"reference_ra_cd_lx_m2": "0"}, "more than 0"),
        ({"moment": "noon"}, "moment"),
        ({"checked_at": "2199-01-01T00:00:00Z"}, "still to come"),
        ({"client_uuid": "1"}, "client_uuid"),
    ],
)
def test_a_check_that_cannot_be_is_refused_in_words_and_kept(
    client, agency, crew, change, words
):
    content = check(**change)
    answer = send(client, make_instrument(agency), content)
    assert answer.status_code == 400
    assert words in str(answer.json()["error"])
    assert not InstrumentCheck.objects.exists()
    kept = RefusedEntry.objects.get()
    assert (kept.kind, kept.payload) == ("check", content)
    assert words in kept.sentence


def test_another_agencys_instrument_is_not_there(client, crew):
    assert send(client, make_instrument(make_agency()), check()).status_code == 404


def test_the_shop_checks_no_instruments(client, agency):
    act_as(client, make_shop(agency=agency), Role.SHOP)
    instrument = make_instrument(agency)
    assert client.get(ADDRESS).status_code == 403
    assert send(client, instrument, check()).status_code == 403


def test_checks_are_listed_newest_first_in_few_queries(
    client, agency, crew, django_assert_max_num_queries
):
    instrument = make_instrument(agency)
    for hours in range(6):
        record_check(
            instrument=instrument,
            moment="before",
            reference="250",
            shown="250",
            checked_at=timezone.now() - timedelta(hours=hours),
            by=crew,
        )
    with django_assert_max_num_queries(8):
        rows = client.get(f"{ADDRESS}{instrument.pk}/checks/").json()["results"]
    moments = [row["checked_at"] for row in rows]
    assert len(moments) == 6
    assert moments == sorted(moments, reverse=True)
    assert rows[0]["checked_by"] == str(crew)
