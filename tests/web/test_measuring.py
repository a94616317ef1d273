"""The page of signs to read: who sees it, what it says, and on into a work package."""

from __future__ import annotations

import re
from html import unescape

import pytest

from inventory.models import ForecastRun, PackageStop, Role, Standing, WorkPackage
from inventory.web import measuring
from tests.factories import (
    NOW,
    make_agency,
    make_position,
    make_shop,
    make_sign,
    make_standing,
    make_support,
)
from tests.web.acting import act_as, stop_the_clock
from tests.web.forecast_records import color_of, make_fit, make_forecast

pytestmark = pytest.mark.django_db

ADDRESS = "/forecast/to-measure/"


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    agency = make_agency()
    ForecastRun.objects.create(
        organisation=agency, started_at=NOW, seen_at=NOW, finished_at=NOW
    )
    return agency


@pytest.fixture
def open_signs(agency):
    """Make signs whose decision is open, each on a support of its own."""
    fit = make_fit(agency)

    def made(count):
        signs = []
        for number in range(count):
            support = make_support(agency, latitude_deg=43.0 + number / 500)
            sign = make_sign(agency, position=make_position(agency, support=support))
            make_standing(sign)
            color = color_of(fit, state=[4.95, -0.04, 0.0225, 0.0, 0.0001])
            make_forecast(sign, [color], due_on="2027-05-01", due_early_on="2026-12-05")
            Standing.objects.filter(sign=sign).update(forecast_due_on="2027-05-01")
            signs.append(sign)
        return signs

    return made


def text(answer):
    return unescape(re.sub(r"\s+", " ", answer.content.decode()))


def test_the_engineer_alone_plans_readings(client, agency):
    act_as(client, agency, Role.CREW)
    assert client.get(ADDRESS).status_code == 403
    act_as(client, make_shop("Tern Signs", agency), Role.SHOP)
    assert client.get(ADDRESS).status_code == 403
    act_as(client, agency)
    assert client.get(ADDRESS).status_code == 200


def test_each_sign_is_listed_with_its_reason_its_minutes_and_its_map(
    client, agency, open_signs
):
    act_as(client, agency)
    (sign,) = open_signs(1)
    page = text(client.get(ADDRESS))
    assert "Its decision for 202" in page
    assert "% chance that white is below its level" in page
    assert f'href="/signs/{sign.pk}/#map"' in page
    assert '<td data-name="Minutes" class="number">9</td>' in page
    assert "<strong>1</strong> sign at 1 stop" in page
    assert "Never measure from the travel lane" in page
    assert "as assumed" in page
    assert "Control signs that are due" in page


def test_the_ticked_signs_become_stops_to_read_of_a_work_package(client, agency, open_signs):
    act_as(client, agency)
    signs = open_signs(2)
    page = client.get(ADDRESS).content.decode()
    (form,) = re.findall(r'<form method="post" action="/packages/new/".*?</form>', page, re.S)
    fields = dict(re.findall(r'name="((?:task|note)_\d+)" value="([^"]*)"', form))
    ticked = re.findall(r'name="signs" value="(\d+)"', form)
    assert sorted(ticked) == sorted(str(sign.pk) for sign in signs)
    shown = text(client.post("/packages/new/", {"signs": ticked, **fields}))
    assert shown.count('<option value="read" selected>') == 2
    places = [sign.position_id for sign in signs]
    client.post(
        "/packages/new/",
        {
            "places": places,
            **fields,
            "title": "Readings",
            "work_on": "2026-12-02",
            "save": "1",
        },
    )
    package = WorkPackage.objects.get()
    stops = list(package.stops.values_list("task", "note"))
    assert [task for task, _note in stops] == [PackageStop.Task.READ] * 2
    assert all("chance of being below" in note for _task, note in stops)
    # They are stops now: the next round leaves them out.
    assert "No sign has an open decision" in text(client.get(ADDRESS))


def test_a_long_round_is_paged_and_goes_into_a_package_whole(
    client, agency, open_signs, monkeypatch
):
    monkeypatch.setattr(measuring, "ROWS_PER_PAGE", 3)
    act_as(client, agency)
    open_signs(7)
    first = client.get(ADDRESS)
    page = text(first)
    assert "Put all 7 into a work package" in page
    assert page.count("<td data-name=") == 3 * 5
    whole = re.search(r'id="whole-round".*?</form>', first.content.decode(), re.S)
    assert whole is not None
    assert whole.group().count('name="signs"') == 7
    assert whole.group().count('value="read"') == 7
    assert text(client.get(f"{ADDRESS}?page=3")).count('type="checkbox" name="signs"') == 1


def test_hours_and_filters_narrow_the_round(client, agency, open_signs):
    act_as(client, agency)
    open_signs(3)
    assert "<strong>2</strong> signs at 2 stops" in text(client.get(f"{ADDRESS}?hours=0.4"))
    assert "No sign that passes the filters" in text(client.get(f"{ADDRESS}?code=W9"))
    assert "one stop and one reading take 69 minutes" in text(
        client.get(f"{ADDRESS}?hours=1&stop_minutes=60&sign_minutes=9")
    )


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("hours=many", "'many' is not a number; write it in figures"),
        ("hours=", "Say how many hours the crew has"),
        ("hours=1000", "less than or equal to 400"),
        ("speed_mph=0", "greater than or equal to 1"),
        ("weight_1=", "Say what a wrong decision on a class 1 sign weighs, such as 8."),
    ],
)
def test_what_is_typed_wrong_is_said_and_kept(client, agency, query, words):
    act_as(client, agency)
    answer = client.get(f"{ADDRESS}?{query}")
    assert answer.status_code == 400
    assert words in text(answer)
    assert f'value="{query.split("=")[1]}"' in text(answer) or query.endswith("=")


def test_other_figures_than_the_assumed_ones_are_shown_as_such(client, agency, open_signs):
    act_as(client, agency)
    open_signs(1)
    page = text(client.get(f"{ADDRESS}?stop_minutes=10"))
    assert '<details class="filter-box" open>' in page
    assert "as assumed" not in page
    assert '<td data-name="Minutes" class="number">14</td>' in page


def test_before_the_first_forecast_the_page_says_what_to_do(client):
    agency = make_agency()
    act_as(client, agency)
    assert "No due dates were forecast yet" in text(client.get(ADDRESS))


def test_the_queries_do_not_grow_with_the_signs(
    client, agency, open_signs, django_assert_max_num_queries
):
    act_as(client, agency)
    open_signs(2)
    client.get(ADDRESS)
    with django_assert_max_num_queries(22) as few:
        client.get(ADDRESS)
    open_signs_more = 15
    for sign in Standing.objects.owned_by(agency):
        assert sign.forecast_due_on
    fit = make_fit(agency, key="XI/prismatic/white/sheeting/none/hand_held")
    for number in range(open_signs_more):
        support = make_support(agency, latitude_deg=43.5 + number / 500)
        sign = make_sign(agency, position=make_position(agency, support=support))
        make_standing(sign)
        make_forecast(
            sign,
            [color_of(fit, state=[4.95, -0.04, 0.0225, 0.0, 0.0001])],
            due_on="2027-05-01",
            due_early_on="2026-12-05",
        )
        Standing.objects.filter(sign=sign).update(forecast_due_on="2027-05-01")
    with django_assert_max_num_queries(22) as many:
        client.get(ADDRESS)
    assert len(few) == len(many)
