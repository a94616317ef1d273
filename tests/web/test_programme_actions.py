"""Making, solving, stopping, locking and adopting a programme from its pages."""

import pytest
from django.urls import reverse

from inventory.models import Programme, ProgrammeRun, Role
from inventory.web import programme_actions
from tests.factories import make_agency, make_sign
from tests.web.acting import PAGE_TIME, act_as, stop_the_clock
from tests.web.programme_records import make_basis, make_programme_row, plan

pytestmark = pytest.mark.django_db
NEW = reverse("programme-new")


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def engineer(client, agency, monkeypatch):
    stop_the_clock(monkeypatch)
    act_as(client, agency)
    return client


def typed(**changes):
    return {
        "name": "Three years",
        "first_year": "2027",
        "years": "3",
        "budget": "120,000",
        "crew_hours": "400 410\n420",
        "began_from": "",
        "keeps_class_1_legal": "on",
    } | changes


def step(client, programme, name):
    return client.post(reverse("programme-step", args=[programme.pk]), {"step": name})


def test_a_programme_is_made_of_one_figure_for_all_years_or_one_a_year(engineer, agency):
    make_basis(agency)
    earlier = make_programme_row(agency)
    answer = engineer.post(NEW, typed(began_from=str(earlier.pk)))
    made = Programme.objects.get(name="Three years")
    assert answer.url == reverse("programme-page", args=[made.pk])
    assert made.budget == [120_000.0] * 3
    assert made.crew_hours == [400.0, 410.0, 420.0]
    assert made.began_from == earlier
    assert made.keeps_class_1_legal


def test_the_form_begins_with_next_year_and_class_1_kept_legal(engineer, agency):
    make_basis(agency)
    page = engineer.get(NEW).content.decode()
    assert f'name="first_year" value="{PAGE_TIME.year + 1}"' in page
    assert 'name="keeps_class_1_legal" id="id_keeps_class_1_legal" checked' in page


def test_without_what_work_costs_there_is_no_form(engineer):
    assert "Before a programme can be made" in engineer.get(NEW).content.decode()
    assert engineer.post(NEW, typed()).status_code == 409


@pytest.mark.parametrize(
    ("changes", "status", "words"),
    [
        ({"budget": "much"}, 400, "&#x27;much&#x27; is not a figure of money"),
        ({"budget": "-5"}, 400, "&#x27;-5&#x27; is not a figure of money"),
        ({"crew_hours": "400 410"}, 400, "There are 2 figures for 3 years"),
        ({"years": "16"}, 400, "A programme has 1 to 15 years."),
        ({"first_year": "1999"}, 400, "begins in 1999"),
        ({"name": ""}, 400, "Give the programme a name"),
    ],
)
def test_a_form_refused_keeps_what_was_typed(engineer, agency, changes, status, words):
    make_basis(agency)
    answer = engineer.post(NEW, {**typed(name="Kept as typed"), **changes})
    page = answer.content.decode()
    assert answer.status_code == status
    assert words in page
    assert ("Kept as typed" in page) is ("name" not in changes)
    assert not Programme.objects.exists()


def test_solving_begins_and_the_page_is_shown(engineer, agency, monkeypatch):
    began = []
    monkeypatch.setattr(programme_actions, "start_solving", lambda **said: began.append(said))
    programme = make_programme_row(agency, is_solved=False)
    assert step(engineer, programme, "solve").status_code == 302
    assert [each["programme"] for each in began] == [programme]


def test_while_it_is_solved_it_is_asked_to_stop(engineer, agency):
    programme = make_programme_row(agency)
    run = ProgrammeRun.objects.create(
        programme=programme, started_at=PAGE_TIME, seen_at=PAGE_TIME
    )
    page = engineer.get(reverse("programme-page", args=[programme.pk])).content.decode()
    assert "Stop and keep the best" in page
    step(engineer, programme, "stop")
    run.refresh_from_db()
    assert run.stop_asked_at is not None


def test_a_programme_is_adopted_once_and_then_stays_as_it_is(engineer, agency):
    programme = make_programme_row(agency)
    assert step(engineer, programme, "adopt").status_code == 302
    programme.refresh_from_db()
    assert programme.state == "adopted"
    page = engineer.get(reverse("programme-page", args=[programme.pk])).content.decode()
    assert "Adopt this programme" not in page
    again = step(engineer, programme, "adopt")
    assert again.status_code == 409
    assert "a solved draft can be adopted" in again.content.decode()


def test_an_unknown_step_is_refused(engineer, agency):
    answer = step(engineer, make_programme_row(agency), "burn")
    assert answer.status_code == 400
    assert "&#x27;burn&#x27; is nothing that is done" in answer.content.decode()


def choose(client, planned, **fields):
    return client.post(
        reverse("programme-choice", args=[planned.programme_id, planned.pk]), fields
    )


def test_a_sign_is_moved_and_locked_with_a_reason_and_unlocked(engineer, agency):
    planned = plan(make_programme_row(agency), make_sign(agency), 2027)
    assert choose(engineer, planned, year="2028", reason="bridge works").status_code == 302
    planned.refresh_from_db()
    assert (planned.year, planned.is_locked, planned.lock_reason) == (
        2028,
        True,
        "bridge works",
    )
    choose(engineer, planned, unlock="1")
    planned.refresh_from_db()
    assert not planned.is_locked


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"year": "2028", "reason": ""}, "Say why it is locked"),
        ({"year": "2040", "reason": "typed before"}, "The year 2040 is not of this programme"),
        ({"year": "soon", "reason": "typed before"}, "is not a year; pick one"),
    ],
)
def test_a_lock_refused_keeps_the_reason_that_was_typed(engineer, agency, fields, words):
    planned = plan(make_programme_row(agency), make_sign(agency), 2027)
    answer = choose(engineer, planned, **fields)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert words in page
    assert f'value="{fields["reason"]}"' in page
    planned.refresh_from_db()
    assert not planned.is_locked


def test_an_adopted_programme_offers_no_change_of_a_year(engineer, agency):
    programme = make_programme_row(agency, state="adopted")
    planned = plan(programme, make_sign(agency), 2027)
    page = engineer.get(reverse("programme-year", args=[programme.pk, 2027])).content.decode()
    assert "Lock this year" not in page
    assert choose(engineer, planned, year="2028", reason="no").status_code == 409


def test_only_the_engineer_of_the_agency_does_these_things(client, agency):
    own, other = make_programme_row(agency), make_programme_row(make_agency())
    planned = plan(other, make_sign(other.organisation), 2027)
    act_as(client, agency)
    assert step(client, other, "adopt").status_code == 404
    assert choose(client, planned, unlock="1").status_code == 404
    act_as(client, agency, Role.CREW)
    assert client.get(NEW).status_code == 403
    assert step(client, own, "adopt").status_code == 403
