"""The pages about instruments: who may do what, what is stored, what is said."""

from __future__ import annotations

import uuid
from datetime import date, timedelta
from typing import Any

import pytest
from django.urls import reverse

from inventory.models import Instrument, InstrumentCheck, RefusedEntry, Role
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.instruments import record_check, retire_instrument
from tests.factories import NOW, make_agency, make_instrument, make_shop, make_sign
from tests.web.acting import act_as, read_reminder, stop_the_clock

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def instrument(agency):
    return make_instrument(agency, serial="RM-7")


@pytest.fixture
def engineer(client, agency):
    return act_as(client, agency, Role.ENGINEER)


def at(name, *parts):
    return reverse(name, args=parts)


def read(agency, instrument):
    return record_inspection(
        sign=make_sign(agency),
        taken_at=NOW,
        how="hand_held",
        instrument=instrument,
        reading_sets=[ReadingSetInput("white", ["60"])],
        now=NOW,
    )


def check(instrument, shown="250", **fields):
    defaults: dict[str, Any] = {
        "moment": "after",
        "reference": "250",
        "checked_at": NOW,
        "now": NOW,
    }
    return record_check(instrument=instrument, shown=shown, **defaults | fields)


def check_form(**fields):
    return {
        "client_uuid": str(uuid.uuid4()),
        "moment": "after",
        "reference": "250",
        "shown": "248.5",
        "checked_at": "2026-06-01T13:30",
    } | fields


FORMS = {
    "instrument-register": {
        "serial": "RM-8",
        "observation_angle_deg": "0.2",
        "entrance_angle_deg": "−4.0",
        "tolerance_pct": "5 %",
    },
    "instrument-certificate": {
        "certificate_on": "2026-05-20",
        "certificate_due_on": "2027-05-20",
    },
    "instrument-tolerance": {"tolerance_pct": "2.5"},
    "instrument-retire": {"reason": "Dropped."},
    "instrument-bring-back": {},
}


def parts_of(name, instrument):
    return () if name == "instrument-register" else (instrument.pk,)


@pytest.mark.parametrize("name", FORMS)
def test_only_the_engineer_keeps_the_register(client, agency, instrument, name):
    act_as(client, agency, Role.CREW)
    address = at(name, *parts_of(name, instrument))
    assert client.post(address, FORMS[name]).status_code == 403
    act_as(client, agency, Role.ENGINEER)
    assert client.post(address, FORMS[name]).status_code == 302


@pytest.mark.parametrize("name", ["instrument-list", "instrument-page", "instrument-check"])
def test_the_shop_has_no_part_in_instruments(client, agency, instrument, name):
    act_as(client, make_shop(agency=agency), Role.SHOP)
    parts = () if name == "instrument-list" else (instrument.pk,)
    assert client.get(at(name, *parts)).status_code == 403


def test_what_is_typed_is_stored_and_the_per_cent_is_a_share(client, engineer):
    answer = client.post(at("instrument-register"), FORMS["instrument-register"])
    made = Instrument.objects.get()
    assert answer["Location"] == at("instrument-page", made.pk)
    assert (made.check_tolerance_rel, made.certificate_due_on) == (0.05, None)
    client.post(at("instrument-certificate", made.pk), FORMS["instrument-certificate"])
    client.post(at("instrument-tolerance", made.pk), FORMS["instrument-tolerance"])
    made.refresh_from_db()
    assert (made.check_tolerance_rel, made.certificate_due_on) == (0.025, date(2027, 5, 20))


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [
        ("instrument-register", {"serial": ""}, "Type the serial number"),
        ("instrument-register", {"observation_angle_deg": "20"}, "no sign instrument"),
        ("instrument-register", {"serial": "RM-7"}, "There is an instrument"),
        ("instrument-certificate", {"certificate_due_on": ""}, "until which the certificate"),
        ("instrument-certificate", {"certificate_on": "2026-06-09"}, "still to come"),
        ("instrument-tolerance", {"tolerance_pct": "some"}, "is not a number of per cent"),
        ("instrument-tolerance", {"tolerance_pct": "nan"}, "is not a number of per cent"),
        ("instrument-tolerance", {"tolerance_pct": "80"}, "at most 50 %"),
        ("instrument-retire", {"reason": ""}, "Say why"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence_and_shown_again(
    client, engineer, instrument, name, change, words
):
    sent = FORMS[name] | change
    answer = client.post(at(name, *parts_of(name, instrument)), sent)
    assert answer.status_code in (400, 409)
    page = answer.content.decode()
    assert words in page
    assert all(str(value) in page for value in sent.values())


def test_the_crew_records_a_check_and_is_told_what_it_means(client, agency, instrument):
    crew = act_as(client, agency, Role.CREW)
    read(agency, instrument)
    form = check_form(shown="200")
    answer = client.post(at("instrument-check", instrument.pk), form, follow=True)
    stored = InstrumentCheck.objects.get()
    assert (stored.checked_by, stored.is_within_tolerance) == (crew, False)
    page = answer.content.decode()
    assert "outside its tolerance. Flagged: the readings of 1 visit" in page
    assert "Your engineer settles them" in page
    client.post(at("instrument-check", instrument.pk), form)
    assert InstrumentCheck.objects.count() == 1


def test_a_refused_check_is_shown_again_and_kept(client, agency, instrument):
    crew = act_as(client, agency, Role.CREW)
    form = check_form(shown="-3")
    answer = client.post(at("instrument-check", instrument.pk), form)
    assert answer.status_code == 400
    assert "is negative" in answer.content.decode()
    kept = RefusedEntry.objects.get()
    assert kept.payload["typed"]["shown"] == ["-3"]
    assert (kept.kind, kept.channel, kept.sent_by) == ("check", "form", crew)
    client.post(at("instrument-check", instrument.pk), form | {"shown": "250"})
    kept.refresh_from_db()
    assert kept.settled_reason == "Sent again under the same key, and stored."


def test_a_check_without_a_tolerance_says_what_to_do(client, agency):
    act_as(client, agency, Role.CREW)
    unknown = make_instrument(agency, check_tolerance_rel=None)
    answer = client.post(at("instrument-check", unknown.pk), check_form())
    assert answer.status_code == 400
    assert "Set its tolerance first" in answer.content.decode()


def test_the_next_check_starts_with_the_standard_of_the_last(client, engineer, instrument):
    check(instrument, reference="250.5")
    page = client.get(at("instrument-check", instrument.pk)).content.decode()
    assert 'value="250.5"' in page


def test_the_page_shows_the_checks_the_certificates_and_the_doubt(
    client, agency, engineer, instrument
):
    read(agency, instrument)
    check(instrument, shown="220", by=engineer)
    client.post(at("instrument-certificate", instrument.pk), FORMS["instrument-certificate"])
    page = client.get(at("instrument-page", instrument.pk)).content.decode()
    assert "−12.00" in page
    assert "1 checks in per cent off the standard, 1 outside the tolerance" in page
    assert "2026-01-10 to 2027-01-10" in page
    assert f"{at('readings-to-settle')}?group=check-{InstrumentCheck.objects.get().pk}" in page


def test_an_instrument_without_checks_or_certificate_says_so(client, agency, engineer):
    bare = make_instrument(
        agency, certificate_on=None, certificate_due_on=None, check_tolerance_rel=None
    )
    page = client.get(at("instrument-page", bare.pk)).content.decode()
    assert "No check is on record" in page
    assert "no reading can be found to be out of date" in page
    assert "so no check can be recorded" in page


def test_an_out_of_date_certificate_stands_out_in_the_list(client, agency, engineer):
    make_instrument(agency, serial="OLD", certificate_due_on=date(2026, 5, 31))
    make_instrument(agency, serial="DUE", certificate_due_on=date(2026, 6, 1))
    page = client.get(at("instrument-list")).content.decode()
    assert page.count("out of date") == 1


def test_the_list_asks_few_queries_however_many_there_are(
    client, agency, engineer, django_assert_max_num_queries
):
    for _ in range(6):
        each = make_instrument(agency)
        read(agency, each)
        check(each, shown="200")
    with django_assert_max_num_queries(8):
        page = client.get(at("instrument-list")).content.decode()
    assert page.count("outside its tolerance") == 6


def test_the_page_of_an_instrument_asks_few_queries_however_many_checks(
    client, agency, engineer, instrument, django_assert_max_num_queries
):
    for hours in range(30):
        check(instrument, checked_at=NOW - timedelta(hours=hours), by=engineer)
    with django_assert_max_num_queries(12):
        page = client.get(at("instrument-page", instrument.pk))
    assert len(page.context["page"].object_list) == 20


def test_the_crew_picks_an_instrument_in_use_and_sees_its_certificate(client, agency):
    act_as(client, agency, Role.CREW)
    read_reminder(client)
    make_instrument(agency, serial="GOOD-1")
    make_instrument(agency, serial="LATE-1", certificate_due_on=date(2026, 5, 1))
    make_instrument(agency, serial="NONE-1", certificate_on=None, certificate_due_on=None)
    gone = make_instrument(agency, serial="GONE-1")
    retire_instrument(instrument=gone, reason="Sold.", now=NOW)
    page = client.get(at("record-readings", make_sign(agency).pk)).content.decode()
    assert "GOOD-1, certificate due 2027-01-10" in page
    assert "LATE-1, certificate out of date since 2026-05-01" in page
    assert "NONE-1, certificate not known" in page
    assert "GONE-1" not in page
    assert at("instrument-list") in page


def test_the_crew_is_told_that_its_readings_are_flagged(client, agency):
    act_as(client, agency, Role.CREW)
    read_reminder(client)
    late = make_instrument(agency, certificate_due_on=date(2026, 5, 1))
    sign = make_sign(agency)
    answer = client.post(
        at("record-readings", sign.pk),
        {
            "client_uuid": str(uuid.uuid4()),
            "taken_at": "2026-06-01T11:30",
            "observation_angle_deg": "0.2",
            "entrance_angle_deg": "-4.0",
            "instrument": late.pk,
            "value_0_0": "12",
        },
        follow=True,
    )
    page = answer.content.decode()
    assert "not judged yet: the instrument&#x27;s certificate was out of date" in page
