"""The page of the back-test: who may open it, and what it says of each state."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.urls import reverse

from inventory.models import BackTest, Role
from inventory.services.forecast.back_test_report import report_of
from inventory.services.forecast.backtests import run_back_test
from tests.factories import NOW, make_agency, make_shop
from tests.services.forecast.test_backtests import SIGNS, read_fleet
from tests.web.acting import act_as, stop_the_clock

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def engineer(client, agency):
    return act_as(client, agency)


def page(client, **query):
    answer = client.get(reverse("back-test"), query)
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_engineer_alone_may_open_it(client, agency):
    act_as(client, agency, Role.CREW)
    assert client.get(reverse("back-test")).status_code == 403
    act_as(client, make_shop(), Role.SHOP)
    assert client.get(reverse("back-test")).status_code == 403


def test_without_a_back_test_it_says_what_it_takes_and_how_one_is_made(client, engineer):
    text = page(client)
    assert "No back-test has been made yet" in text
    assert (
        "manage.py forecast --organisation &quot;Alder County&quot; --backtest"
        in text.replace('"Alder County"', "&quot;Alder County&quot;")
    )


def test_it_says_the_result_first_and_sets_the_forecast_beside_the_simpler_ways(
    client, engineer, agency
):
    read_fleet(agency)
    test = run_back_test(organisation=agency, now=NOW)
    text = page(client)
    report = report_of(test)
    assert report.sentence in text
    assert f"{3 * SIGNS} readings say little yet" in text
    assert "Type IX white, prismatic" in text
    for words in ("by age", "own line", "few readings", "2019-01-01"):
        assert words in text
    whole = report.whole
    assert whole is not None
    for tally in whole.told.values():
        assert f"{tally.crps_cd_lx_m2:.1f}" in text
    assert 'id="coverage-numbers"' in text


def test_too_narrow_ranges_are_said_plainly(client, engineer, agency):
    read_fleet(agency)
    test = run_back_test(organisation=agency, cut_offs=[date(2019, 1, 1)], now=NOW)
    for part in (test.summary["whole"], test.summary["cohorts"][0]):
        part["readings"] = 500
        part["told"]["forecast"][:2] = [500, 350]
    test.save()
    text = page(client)
    assert "70.0 % fell within the 90 % range" in text
    assert "The ranges told were too narrow" in text
    assert "outside 85 to 95 %" in text


def test_while_one_is_made_the_one_before_is_shown(client, engineer, agency):
    read_fleet(agency)
    done = run_back_test(organisation=agency, now=NOW)
    BackTest.objects.create(
        organisation=agency,
        method_version="later",
        started_at=NOW,
        cut_offs=["2019-01-01", "2020-01-01"],
        summary={"done": 1},
    )
    text = page(client)
    assert "1 of 2 earlier days are done" in text
    assert "What stands below is the one before" in text
    assert report_of(done).sentence in text


def test_of_two_back_tests_the_newer_is_shown(client, engineer, agency):
    read_fleet(agency)
    day = [date(2019, 1, 1)]
    older = run_back_test(organisation=agency, now=NOW, cut_offs=day)
    newer = run_back_test(organisation=agency, now=NOW + timedelta(days=1))
    text = page(client)
    assert report_of(newer).sentence in text
    assert report_of(older).sentence not in text


def test_a_first_one_under_way_shows_how_far_it_is(client, engineer, agency):
    BackTest.objects.create(
        organisation=agency, method_version="x", started_at=NOW, cut_offs=["2019-01-01"]
    )
    assert "0 of 1 earlier days are done" in page(client)


def test_many_cohorts_are_paged_and_cost_no_more_queries(
    client, engineer, agency, django_assert_num_queries
):
    read_fleet(agency)
    test = run_back_test(organisation=agency, now=NOW)
    page(client)
    with django_assert_num_queries(4):  # session, person, memberships, back-tests
        page(client)
    one = test.summary["cohorts"][0]
    names = [f"{roman}/prismatic/white/sheeting/none/hand_held" for roman in "ABCDEFGHIJKL"]
    test.summary["cohorts"] = [one | {"name": name} for name in names]
    test.save()
    with django_assert_num_queries(4):
        text = page(client)
    assert "Type J white" in text
    assert "Type K white" not in text
    assert "Type K white" in page(client, page=2)


def test_another_agencys_back_test_is_not_shown(client, engineer):
    other = make_agency("Birch County")
    read_fleet(other)
    run_back_test(organisation=other, now=NOW)
    assert "No back-test has been made yet" in page(client)
