"""Programmes over the API: read, made, solved, stopped, adopted, and single years locked."""

from __future__ import annotations

import subprocess

import pytest
from django.utils import timezone

from inventory.models import PlannedReplacement, Programme, ProgrammeRun, Role
from tests.factories import make_agency, make_sign
from tests.web.acting import act_as
from tests.web.programme_records import make_basis, make_programme_row, plan

pytestmark = pytest.mark.django_db

ADDRESS = "/api/v1/programmes/"


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def engineer(client, agency):
    act_as(client, agency)
    return client


def send(client, address, **content):
    return client.post(f"{ADDRESS}{address}", content, content_type="application/json")


def new(**fields):
    first = timezone.now().year + 1
    return {
        "name": "Ten years", "first_year": first, "years": 2, "budget": [900.0, 950.0],
        "crew_hours": [40.0, 40.0],
    } | fields  # fmt: skip


def test_programmes_come_newest_first_without_their_figures(
    engineer, agency, django_assert_max_num_queries
):
    for number in range(4):
        make_programme_row(agency, f"Plan {number}", state="ended" if number == 1 else "draft")
    make_programme_row(make_agency())
    with django_assert_max_num_queries(5):
        found = engineer.get(ADDRESS).json()
    assert [each["name"] for each in found["results"]] == [f"Plan {n}" for n in (3, 2, 1, 0)]
    first = found["results"][0]
    assert "result" not in first
    assert (first["first_year"], first["currency"], first["budget"]) == (
        2027,
        "$",
        [1000, 1000],
    )
    ended = engineer.get(ADDRESS, {"state": "ended"}).json()
    assert [each["name"] for each in ended["results"]] == ["Plan 1"]
    assert engineer.get(ADDRESS, {"page_size": 2}).json()["next"]


def test_one_programme_has_its_figures_and_its_run(engineer, agency):
    programme = make_programme_row(agency)
    found = engineer.get(f"{ADDRESS}{programme.pk}/").json()
    assert found["result"]["by_year"][0]["year"] == 2027
    assert found["run"] is None
    now = timezone.now()
    ProgrammeRun.objects.create(
        programme=programme, started_at=now, seen_at=now, words="so far"
    )
    found = engineer.get(f"{ADDRESS}{programme.pk}/").json()
    assert (found["run"]["words"], found["run"]["finished_at"]) == ("so far", None)


def test_replacements_are_paged_and_narrowed_by_year_class_and_lock(
    engineer, agency, django_assert_max_num_queries
):
    programme = make_programme_row(agency)
    for year, number, is_locked in (
        (2028, 2, False), (2027, 1, False), (None, 3, True), (2027, 2, True),
    ):  # fmt: skip
        plan(programme, make_sign(agency), year, safety_class=number, is_locked=is_locked)
    address = f"{ADDRESS}{programme.pk}/replacements/"
    with django_assert_max_num_queries(6):
        found = engineer.get(address).json()
    assert [(each["year"], each["safety_class"]) for each in found["results"]] == [
        (2027, 1), (2027, 2), (2028, 2), (None, 3),
    ]  # fmt: skip
    row = found["results"][0]
    assert (row["sign_code"], row["road"], row["latitude_deg"]) == ("R1-1", "", 43.0)

    def count(**how):
        return engineer.get(address, how).json()["count"]

    assert count(year=2027) == 2
    assert count(year=0) == 1
    assert count(safety_class=2) == 2
    assert count(year=2027, safety_class=2) == 1
    assert count(is_locked="true") == 2
    assert engineer.get(address, {"year": "soon"}).status_code == 400
    assert engineer.get(address, {"safety_class": 9}).status_code == 400
    paged = engineer.get(address, {"page_size": 3}).json()
    assert len(paged["results"]) == 3
    assert paged["next"]


def test_a_programme_is_made_and_what_cannot_be_is_refused(engineer, agency):
    make_basis(agency)
    answer = send(engineer, "", **new())
    assert answer.status_code == 201
    made = Programme.objects.get()
    assert answer.json()["id"] == made.pk
    assert (made.budget, made.keeps_class_1_legal) == ([900.0, 950.0], True)
    again = send(engineer, "", **new())
    assert again.status_code == 409
    assert "There is a programme 'Ten years' already" in again.json()["error"]["message"]
    short = send(engineer, "", **new(name="Short", budget=[1.0]))
    assert short.status_code == 400
    assert "1 figures of budget for 2 years" in short.json()["error"]["message"]
    for wrong in ({"years": 16}, {"budget": [-1.0, 1.0]}, {"name": ""}, {"first_year": "x"}):
        assert send(engineer, "", **new(**wrong)).status_code == 400
    more = send(engineer, "", **new(name="More", began_from_id=made.pk))
    assert more.json()["began_from_id"] == made.pk


def test_a_programme_of_another_agency_is_none_to_begin_from(engineer, agency):
    make_basis(agency)
    theirs = make_programme_row(make_agency())
    answer = send(engineer, "", **new(began_from_id=theirs.pk))
    assert answer.status_code == 400
    assert f"no programme {theirs.pk} among those you may use" in answer.content.decode()


def test_years_are_chosen_in_the_background_stopped_and_adopted(
    engineer, agency, monkeypatch, django_capture_on_commit_callbacks
):
    started = []
    monkeypatch.setattr(subprocess, "Popen", lambda command, **_how: started.append(command))
    programme = make_programme_row(agency)
    address = f"{programme.pk}/step/"
    with django_capture_on_commit_callbacks(execute=True):
        answer = send(engineer, address, step="solve")
    run = ProgrammeRun.objects.get()
    assert (answer.status_code, answer.json()["run"]["finished_at"]) == (200, None)
    assert started[0][-2:] == ["--run", str(run.pk)]
    assert send(engineer, address, step="solve").status_code == 409
    assert send(engineer, address, step="adopt").status_code == 409
    assert send(engineer, address, step="stop").json()["run"]["stop_asked_at"]
    ProgrammeRun.objects.update(finished_at=timezone.now())
    assert send(engineer, address, step="adopt").json()["state"] == "adopted"
    assert send(engineer, address, step="paint").status_code == 400
    assert send(engineer, address, step="solve").status_code == 409


def test_a_year_is_locked_with_a_reason_and_let_go(engineer, agency):
    programme = make_programme_row(agency)
    planned = plan(programme, make_sign(agency), 2027)
    address = f"{programme.pk}/replacements/{planned.pk}/lock/"
    answer = send(engineer, address, year=2028, reason="with the new road")
    assert answer.status_code == 200
    assert (answer.json()["year"], answer.json()["is_locked"]) == (2028, True)
    none = send(engineer, address, year=None, reason="road is given up").json()
    assert (none["year"], none["lock_reason"]) == (None, "road is given up")
    assert send(engineer, address, year=2040, reason="later").status_code == 400
    assert send(engineer, address, year=2027, reason=" ").status_code == 400
    assert send(engineer, address, reason="no year").status_code == 400
    assert engineer.delete(f"{ADDRESS}{address}").json()["is_locked"] is False
    Programme.objects.update(state="adopted")
    assert send(engineer, address, year=2027, reason="now").status_code == 409
    assert not PlannedReplacement.objects.get().is_locked


def test_programmes_are_the_engineers_of_the_agency(client, agency):
    programme = make_programme_row(agency)
    planned = plan(programme, make_sign(agency), 2027)
    lock = f"{programme.pk}/replacements/{planned.pk}/lock/"
    act_as(client, agency, Role.CREW)
    assert client.get(ADDRESS).status_code == 403
    assert send(client, lock, year=2028, reason="x").status_code == 403
    act_as(client, make_agency())
    assert client.get(ADDRESS).json()["count"] == 0
    assert client.get(f"{ADDRESS}{programme.pk}/").status_code == 404
    assert client.get(f"{ADDRESS}{programme.pk}/replacements/").status_code == 404
    assert send(client, f"{programme.pk}/step/", step="adopt").status_code == 404
    assert send(client, lock, year=2028, reason="x").status_code == 404
    other = make_programme_row(make_agency())
    act_as(client, agency)
    astray = f"{other.pk}/replacements/{planned.pk}/lock/"
    assert send(client, astray, year=2028, reason="x").status_code == 404
