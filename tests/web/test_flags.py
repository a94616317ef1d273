"""Settling readings in one go, and refused entries: the engineer's two pages."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.urls import reverse

from inventory.models import FlagSettlement, InspectionFlag, RefusedEntry, Role, Standing
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.instruments import record_check, set_certificate
from inventory.services.refusals import keep_refused, settle_refused
from tests.factories import NOW, make_agency, make_instrument, make_sign
from tests.web.acting import PAGE_TIME, act_as, stop_the_clock

pytestmark = pytest.mark.django_db

SETTLE = reverse("readings-to-settle")
REFUSED = reverse("refused-list")
MORNING = NOW - timedelta(hours=4)


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def engineer(client, agency):
    return act_as(client, agency, Role.ENGINEER)


def read(agency, instrument, at=MORNING):
    return record_inspection(
        sign=make_sign(agency),
        taken_at=at,
        how="hand_held",
        instrument=instrument,
        reading_sets=[
            ReadingSetInput("white", ["60.5"] * 4),
            ReadingSetInput("red", ["12"] * 4),
        ],
        now=NOW,
    )


def check(instrument, shown, at=NOW):
    return record_check(
        instrument=instrument,
        moment="after",
        reference="250",
        shown=shown,
        checked_at=at,
        now=NOW,
    )


@pytest.fixture
def doubtful(agency):
    """Three visits of a session whose check was outside the tolerance."""
    instrument = make_instrument(agency, serial="RM-7")
    for _ in range(3):
        read(agency, instrument)
    return check(instrument, "220")


def verdicts(agency):
    return list(
        Standing.objects.owned_by(agency).order_by("sign").values_list("verdict", flat=True)
    )


def test_the_page_lists_the_readings_of_a_check_with_what_was_typed(client, engineer, doubtful):
    page = client.get(SETTLE).content.decode()
    assert "3 visits with RM-7 of 1 Jun 2026" in page
    assert "was off by −12.00 %, of a tolerance of 5 %" in page
    assert page.count("white 60.5, 60.5, 60.5, 60.5") == 3


def test_a_whole_group_is_settled_in_one_go(client, agency, engineer, doubtful):
    answer = client.post(
        f"{SETTLE}?group=check-{doubtful.pk}",
        {"is_every": "on", "outcome": "judge", "reason": "A second panel agreed."},
        follow=True,
    )
    page = answer.content.decode()
    assert "The readings of 3 visits are settled" in page
    assert "No reading waits to be settled" in page
    assert verdicts(agency) == ["meets"] * 3
    assert {each.settled_by for each in FlagSettlement.objects.all()} == {engineer}


def test_only_what_is_ticked_is_settled(client, agency, engineer, doubtful):
    first = InspectionFlag.objects.order_by("pk")[0]
    client.post(
        f"{SETTLE}?group=check-{doubtful.pk}",
        {"flags": [first.pk], "outcome": "judge", "reason": "Good."},
    )
    assert sorted(verdicts(agency)) == ["meets", "no usable reading", "no usable reading"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"outcome": ""}, "Say whether the readings count"),
        ({"reason": ""}, "Say why"),
        ({"flags": []}, "No reading is ticked"),
    ],
)
def test_a_refused_settlement_keeps_the_ticks_and_the_words(
    client, engineer, doubtful, change, words
):
    first = InspectionFlag.objects.order_by("pk")[0]
    form = {"flags": [first.pk], "outcome": "judge", "reason": "Lens wiped."} | change
    answer = client.post(f"{SETTLE}?group=check-{doubtful.pk}", form)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert words in page
    assert page.count(f'name="flags" value="{first.pk}" checked') == len(form["flags"])
    assert form["reason"] in page
    assert not FlagSettlement.objects.exists()


def test_a_flag_of_another_group_or_agency_is_not_settled(client, engineer, doubtful):
    other = make_agency()
    instrument = make_instrument(other)
    read(other, instrument)
    foreign = check(instrument, "220")
    flags = list(InspectionFlag.objects.values_list("pk", flat=True))
    form = {"flags": flags, "outcome": "judge", "reason": "Good."}
    answer = client.post(f"{SETTLE}?group=check-{foreign.pk}", form)
    assert answer.status_code == 400
    client.post(f"{SETTLE}?group=check-{doubtful.pk}", form)
    assert FlagSettlement.objects.count() == 3


def test_what_came_on_record_since_is_said_beside_each_reading(client, agency, engineer):
    instrument = make_instrument(agency)
    read(agency, instrument)
    read(agency, instrument, at=NOW - timedelta(hours=1))
    check(instrument, "220")
    check(instrument, "250", at=NOW - timedelta(hours=2))
    page = client.get(SETTLE).content.decode()
    assert page.count("a good check recorded since lies between") == 1
    assert page.count("nothing new") == 1


def test_a_certificate_that_covers_the_day_by_now_is_said(client, agency, engineer):
    old = make_instrument(agency, certificate_due_on=date(2026, 5, 1))
    read(agency, old)
    assert "the certificate now on record" not in client.get(SETTLE).content.decode()
    set_certificate(
        instrument=old,
        certificate_on=date(2026, 5, 1),
        certificate_due_on=date(2027, 5, 1),
        now=NOW,
    )
    assert "the certificate now on record covers the day" in client.get(SETTLE).content.decode()


def test_readings_are_listed_in_few_queries_however_many(
    client, agency, engineer, doubtful, django_assert_max_num_queries
):
    for _ in range(5):
        read(agency, doubtful.instrument)
    with django_assert_max_num_queries(13):
        page = client.get(SETTLE)
    assert len(page.context["rows"]) == 8


def test_today_leads_to_what_waits(client, agency, engineer, doubtful):
    keep(agency)
    page = client.get(reverse("overview")).content.decode()
    assert f"{SETTLE}?group=check-{doubtful.pk}" in page
    assert f'href="{REFUSED}"' in page
    assert "is negative" in page


@pytest.mark.parametrize("role", [Role.CREW])
def test_only_the_engineer_settles(client, agency, doubtful, role):
    act_as(client, agency, role)
    entry = keep(agency)
    assert client.get(SETTLE).status_code == 403
    assert client.get(REFUSED).status_code == 403
    assert client.post(reverse("refused-settle", args=(entry.pk,))).status_code == 403


# --- refused entries ----------------------------------------------------------------------


def keep(agency, n=0):
    return keep_refused(
        organisation=agency,
        channel="api",
        kind="inspection",
        payload={"note": "<b>by the school</b>", "n": n},
        sentence="White: The reading -40 cd/lx/m² is negative.",
        now=NOW,
    )


def test_a_refused_entry_is_shown_as_it_was_sent(client, agency, engineer):
    keep(agency)
    keep(make_agency(), 7)
    page = client.get(REFUSED).content.decode()
    assert "is negative" in page
    assert "&lt;b&gt;by the school&lt;/b&gt;" in page
    assert "&quot;n&quot;: 7" not in page


def test_an_entry_is_settled_with_a_reason_and_found_among_the_settled(
    client, agency, engineer
):
    entry = keep(agency)
    address = reverse("refused-settle", args=(entry.pk,))
    refused = client.post(address, {"reason": " "})
    assert refused.status_code == 400
    assert "Say in a few words" in refused.content.decode()
    page = client.post(address, {"reason": "Read again on 2 June."}, follow=True)
    assert "No refused entry waits" in page.content.decode()
    entry.refresh_from_db()
    assert (entry.settled_by, entry.settled_at) == (engineer, PAGE_TIME)
    assert "Read again on 2 June." in client.get(f"{REFUSED}?show=settled").content.decode()


def test_an_entry_somebody_settled_meanwhile_says_so(client, agency, engineer):
    entry = keep(agency)
    settle_refused(entry=entry, reason="Done.", by=None, now=NOW)
    answer = client.post(reverse("refused-settle", args=(entry.pk,)), {"reason": "Also done."})
    assert answer.status_code == 409
    assert "This entry was settled at" in answer.content.decode()
    assert RefusedEntry.objects.get().settled_reason == "Done."


def test_entries_are_paged_and_listed_in_few_queries(
    client, agency, engineer, django_assert_max_num_queries
):
    for n in range(55):
        keep(agency, n)
    with django_assert_max_num_queries(10):
        page = client.get(REFUSED)
    assert len(page.context["rows"]) == 50
