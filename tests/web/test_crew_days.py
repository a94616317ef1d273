"""The pages of crew days: asked for, looked at, made into packages, what was left out."""

from __future__ import annotations

import subprocess
from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.models import CrewPlan, PlannedStop, Role, WorkPackage
from inventory.services.work_packages import WantedStop, make_package, record_stop
from inventory.web import crew_days as pages
from tests.factories import NOW, make_agency
from tests.services.programme.crew_worlds import (
    MONDAY,
    YEAR,
    _short_search,
    a_crew,
    a_programme,
    opened,
    planned,
    to_replace,
)
from tests.web.acting import act_as, stop_the_clock

__all__ = ["_short_search"]
pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def programme(agency):
    return a_programme(agency)


@pytest.fixture
def engineer(client, agency, monkeypatch):
    stop_the_clock(monkeypatch)
    act_as(client, agency)
    return client


def shown(client, name, programme, *args, status=200, **query):
    answer = client.get(reverse(name, args=[programme.pk, YEAR, *args]), query)
    assert answer.status_code == status
    return answer.content.decode()


def typed(crew, **fields):
    return {
        "first_on": f"{MONDAY}",
        "last_on": f"{MONDAY + timedelta(days=4)}",
        "crews": [crew.pk],
        "takes_planned": "on",
        "day_from": "07:00",
        "day_until": "18:00",
        "night_from": "21:00",
        "night_until": "04:00",
        "seconds": "10",
    } | fields


def post(client, name, programme, content):
    return client.post(reverse(name, args=[programme.pk, YEAR]), content)


def test_without_a_crew_or_an_adopted_programme_the_page_says_what_comes_first(
    engineer, agency, programme
):
    assert "There is no crew to go out yet." in shown(engineer, "crew-days", programme)
    a_crew(agency)
    assert "Plan crew days" in shown(engineer, "crew-days", programme)
    draft = a_programme(agency, name="Draft", state="draft")
    assert "Adopt this programme" in shown(engineer, "crew-days", draft)
    answer = post(engineer, "crew-days-plan", draft, typed(a_crew(agency, "South")))
    assert answer.status_code == 409
    assert "Adopt it first" in answer.content.decode()


def test_planning_begins_in_a_process_of_its_own_as_it_was_asked(
    engineer, agency, programme, monkeypatch, django_capture_on_commit_callbacks
):
    begun: list[list[str]] = []
    monkeypatch.setattr(subprocess, "Popen", lambda args, **_: begun.append(args))
    crew = a_crew(agency)
    content = typed(crew, month="5", days_off="2027-05-05", takes_damage="on")
    with django_capture_on_commit_callbacks(execute=True):
        answer = post(engineer, "crew-days-plan", programme, content)
    assert answer.status_code == 302
    plan = CrewPlan.objects.get()
    assert begun[0][2:] == ["plan_crew_days", "--plan", str(plan.pk)]
    assert plan.asked["month"] == 5
    assert plan.asked["days_off"] == ["2027-05-05"]
    assert plan.asked["by_night"] == [1260, 1680]
    assert (plan.asked["takes_damage"], plan.asked["takes_left_over"]) == (True, False)
    page = shown(engineer, "crew-days", programme)
    assert "Crew days are being planned" in page
    progress = engineer.get(reverse("crew-days-progress", args=[programme.pk, YEAR])).json()
    assert progress == {"is_open": True, "words": "starting the planning"}
    # Another one at the same time is refused; it can be given up.
    assert post(engineer, "crew-days-plan", programme, content).status_code == 409
    post(engineer, "crew-days-step", programme, {"step": "give-up", "plan": plan.pk})
    assert "It was given up." in shown(engineer, "crew-days", programme)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"crews": []}, "No crew is ticked"),
        ({"takes_planned": ""}, "No work is ticked"),
        ({"days_off": "5 July"}, "&#x27;5&#x27; is not a calendar date"),
        ({"day_from": "early"}, "is not a time of day"),
        ({"last_on": "2027-04-01"}, "is before the first"),
        ({"month": "13"}, "is not one of the choices"),
    ],
)
def test_what_cannot_be_planned_says_why(engineer, agency, programme, fields, sentence):
    answer = post(engineer, "crew-days-plan", programme, typed(a_crew(agency), **fields))
    assert answer.status_code == 400
    assert sentence in answer.content.decode()
    assert not CrewPlan.objects.exists()


def test_a_plan_is_looked_at_before_it_becomes_packages(engineer, agency, programme):
    crew = a_crew(agency)
    to_replace(programme, -89.52)
    to_replace(programme, -89.53, mount="overhead")
    planned(programme, crew)
    page = shown(engineer, "crew-days", programme)
    assert "1 crew day with 2 stops" in page
    assert "Mon 3 May 2027" in page
    assert "Map of 1 crew days with 2 stops" in page
    assert "A way is the straight line times 1.3" in page
    assert not WorkPackage.objects.exists()
    day = shown(engineer, "crew-day-page", programme, 1)
    for words in ("North yard, 07:00", "replace the face, 42 min", "2 not in stock"):
        assert words in day
    assert "bucket truck for 1 overhead sign" in day
    assert "traffic control come first" in day
    assert shown(engineer, "crew-day-page", programme, 2, status=404)


def test_making_the_packages_hands_them_out_and_the_second_is_refused(
    engineer, agency, programme
):
    to_replace(programme)
    plan = planned(programme, a_crew(agency))
    answer = post(engineer, "crew-days-step", programme, {"step": "hand-out", "plan": plan.pk})
    assert answer.status_code == 302
    package = WorkPackage.objects.get()
    assert package.state == WorkPackage.State.HANDED_OUT
    page = shown(engineer, "crew-days", programme)
    assert "1 package is handed out." in page
    assert "Packages were made of them" in page
    assert reverse("package-page", args=[package.pk]) in page
    again = post(engineer, "crew-days-step", programme, {"step": "make", "plan": plan.pk})
    assert again.status_code == 409
    assert "Packages were already made of these crew days" in again.content.decode()
    assert "Withdraw the packages not begun" in page
    post(engineer, "crew-days-step", programme, {"step": "withdraw", "plan": plan.pk})
    page = shown(engineer, "crew-days", programme)
    assert "Withdrawn: 1. Their work is to do again." in page
    assert "Withdraw the packages not begun" not in page
    WorkPackage.objects.update(state="handed_out")
    shown_package = engineer.get(reverse("package-page", args=[package.pk])).content.decode()
    for words in ("North crew", "leave North yard at 07:00", "42 min", "1 not in stock"):
        assert words in shown_package
    printed = engineer.get(reverse("package-print", args=[package.pk])).content.decode()
    assert "leaves North yard at 07:00" in printed


def test_days_planned_anew_meanwhile_are_not_made_into_packages(engineer, agency, programme):
    crew = a_crew(agency)
    to_replace(programme)
    old = planned(programme, crew)
    planned(programme, crew)
    answer = post(engineer, "crew-days-step", programme, {"step": "make", "plan": old.pk})
    assert answer.status_code == 409
    assert "planned anew meanwhile" in answer.content.decode()
    answer = post(engineer, "crew-days-step", programme, {"step": "paint"})
    assert answer.status_code == 400


def test_what_was_left_out_is_listed_by_its_reason(engineer, agency, programme):
    crew = a_crew(agency, skills=[])
    to_replace(programme)
    to_replace(programme, mount="overhead")
    planned(programme, crew)
    page = shown(engineer, "crew-days", programme)
    assert "1 left out" in page
    left = shown(engineer, "crew-days-left", programme)
    assert "No crew has: bucket truck" in left
    none = shown(engineer, "crew-days-left", programme, reason="no time")
    assert "Nothing was left out for this reason." in none


def test_the_year_page_shows_how_far_each_replacement_is(engineer, agency, programme):
    crew = a_crew(agency)
    rows = [to_replace(programme, -89.5 - n / 100) for n in range(3)]
    other = make_package(
        organisation=agency, title="By hand", work_on=MONDAY,
        stops=[WantedStop(rows[0].position, "replace")], now=NOW,
    )  # fmt: skip
    WorkPackage.objects.filter(pk=other.pk).update(state="handed_out")
    record_stop(stop=other.stops.get(), outcome="not_done", reason="parked cars", now=NOW)
    page = shown(engineer, "programme-year", programme)
    assert f"Not done on {NOW:%Y-%m-%d}: parked cars; to do again" in page
    assert page.count("To do") >= 2
    narrowed = shown(engineer, "programme-year", programme, state="not_done")
    assert "1 to 1 of 1" in narrowed
    plan = planned(programme, crew)
    post(engineer, "crew-days-step", programme, {"step": "make", "plan": plan.pk})
    page = shown(engineer, "programme-year", programme, state="in_package")
    assert "In package &#x27;North crew, Mon 3 May 2027&#x27; of 2027-05-03" in page
    assert "<strong>3</strong> in packages" in shown(engineer, "crew-days", programme)


def test_long_lists_come_in_pages_and_ask_as_often_for_many_as_for_one(
    engineer, agency, programme, django_assert_num_queries, monkeypatch
):
    monkeypatch.setattr(pages, "DAYS_PER_PAGE", 2)
    monkeypatch.setattr(pages, "LEFT_OUT_PER_PAGE", 2)
    crew = a_crew(agency, skills=[], shift_minutes=60)
    to_replace(programme)
    to_replace(programme, mount="overhead")
    planned(programme, crew)
    for name, args in (("crew-days", ()), ("crew-days-left", ()), ("crew-day-page", (1,))):
        shown(engineer, name, programme, *args)
    counts = {"crew-days": 12, "crew-days-left": 9, "crew-day-page": 11}
    for name, count in counts.items():
        args = (1,) if name == "crew-day-page" else ()
        with django_assert_num_queries(count):
            shown(engineer, name, programme, *args)
    for n in range(3):
        to_replace(programme, -89.501 - n / 1000)
        to_replace(programme, mount="overhead")
    plan = planned(programme, crew)
    assert plan.days.count() > 2
    assert PlannedStop.objects.filter(plan=plan, day__isnull=True).count() > 2
    for name, count in counts.items():
        args = (1,) if name == "crew-day-page" else ()
        with django_assert_num_queries(count):
            page = shown(engineer, name, programme, *args)
        if not args:
            assert "page 1 of 2" in page


def test_crew_days_are_the_engineers_and_the_agencys_own(client, agency, programme):
    other = a_programme(make_agency("Elsewhere"))
    to_replace(other)
    planned(other, a_crew(other.organisation))
    act_as(client, agency)
    for name, args in (
        ("crew-days", ()),
        ("crew-days-left", ()),
        ("crew-day-page", (1,)),
        ("crew-days-progress", ()),
    ):
        shown(client, name, other, *args, status=404)
    foreign = CrewPlan.objects.get()
    answer = post(client, "crew-days-step", programme, {"step": "make", "plan": foreign.pk})
    assert answer.status_code == 409
    assert post(client, "crew-days-plan", other, {}).status_code == 404
    assert "There is no crew to go out yet." in shown(client, "crew-days", programme)
    act_as(client, agency, Role.CREW)
    shown(client, "crew-days", programme, status=403)
    assert post(client, "crew-days-step", programme, {}).status_code == 403


def test_crew_days_are_of_a_year_and_a_broken_planning_says_so(engineer, agency, programme):
    answer = engineer.get(reverse("crew-days", args=[programme.pk, 0]))
    assert answer.status_code == 400
    assert "open them from that year" in answer.content.decode()
    answer = engineer.get(reverse("crew-days", args=[programme.pk, 2050]))
    assert answer.status_code == 400
    shown(engineer, "crew-days-left", programme, status=404)
    opened(programme, a_crew(agency))
    CrewPlan.objects.update(seen_at=NOW - timedelta(hours=1))
    assert "The planning broke off." in shown(engineer, "crew-days", programme)
