"""The pages of replacement programmes: the list, one of them, a year of it, two compared."""

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from inventory.models import ProgrammeRun, Role
from tests.factories import make_agency, make_sign, position_of
from tests.web.acting import PAGE_TIME, act_as, stop_the_clock
from tests.web.programme_records import make_programme_row, make_result, plan, year_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def engineer(client, agency):
    act_as(client, agency)
    return client


def shown(client, name, *args, status=200, **query):
    answer = client.get(reverse(name, args=args), query)
    assert answer.status_code == status
    return answer.content.decode()


def test_without_what_work_costs_the_list_says_what_comes_first(engineer):
    page = shown(engineer, "programme-list")
    assert "Before a programme can be made" in page
    assert "There is no programme yet." in page


def test_the_list_shows_what_each_leaves(engineer, agency):
    make_programme_row(agency)
    make_programme_row(agency, "Draft of May", is_solved=False)
    make_programme_row(make_agency(), "Somebody else’s")
    page = shown(engineer, "programme-list")
    assert "43 %" in page  # 260 of 600
    assert "not solved yet" in page
    assert "Somebody else’s" not in page


def test_the_list_asks_as_often_for_many_programmes_as_for_one(
    engineer, agency, django_assert_num_queries
):
    make_programme_row(agency)
    address = reverse("programme-list")
    engineer.get(address)
    with django_assert_num_queries(6):
        engineer.get(address)
    for number in range(8):
        make_programme_row(agency, f"Draft {number}")
    with django_assert_num_queries(6):
        engineer.get(address)


def test_a_programme_says_first_what_it_leaves_and_that_little_more_can_be_had(
    engineer, agency
):
    page = shown(engineer, "programme-page", make_programme_row(agency).pk)
    assert "43 % of the risk is left" in page
    assert "No plan can be better than 250." in page  # 600 − 350
    assert "97.14 % of what the best possible plan could" in page  # cut, not rounded
    assert "No class 1 sign is expected below its level" in page


def test_the_rules_beside_it_and_other_budgets_are_shown(engineer, agency):
    page = shown(engineer, "programme-page", make_programme_row(agency).pk)
    assert "Worst first" in page
    assert "1.58" in page  # 410 / 260
    assert "1 more signs" not in page
    assert "1 more sign could be replaced" in page
    assert "40 % of this money is enough" in page
    assert "3 signs</a> without a forecast are left out" in page
    assert "Left out as well: 12 (not ours)." in page
    assert "bundling the trips after would leave 270." in page  # 600 − 330
    assert "an assumption." in page


def test_class_1_signs_below_are_told_with_their_worst_year(engineer, agency):
    years = [year_of(2027, 14.0, class_1_below=0.4), year_of(2028, 12.0, class_1_below=1.2)]
    programme = make_programme_row(agency, result=make_result(by_year=years))
    page = shown(engineer, "programme-page", programme.pk)
    assert "Of class 1, 1.2 are expected below their level at the end of 2028" in page


def test_musts_that_do_not_fit_are_told_with_the_money_missing_and_named(engineer, agency):
    sign = make_sign(agency)
    short = {
        "extra_money": [250.0, 0.0],
        "extra_hours": [0.0, 0.0],
        "missed": [position_of(sign).pk],
        "count": 1,
    }
    programme = make_programme_row(agency, result=make_result(shortfall=short))
    plan(programme, sign, 2028, must_by_year=2027)
    page = shown(engineer, "programme-page", programme.pk)
    assert "1 sign that must be replaced is not, or not in time" in page
    assert "$ 250 in 2027" in page
    assert reverse("sign-page", args=[sign.pk]) in page


def test_a_programme_that_was_not_solved_says_so(engineer, agency):
    programme = make_programme_row(agency, is_solved=False)
    assert "has not been solved yet" in shown(engineer, "programme-page", programme.pk)


def test_a_year_lists_its_signs_with_the_reason(engineer, agency):
    programme = make_programme_row(agency)
    planned = plan(programme, make_sign(agency), 2027, reason="below its level now")
    later = plan(programme, make_sign(agency), 2028, reason="due in 2029")
    page = shown(engineer, "programme-year", programme.pk, 2027)
    assert "Below its level now" in page
    assert reverse("sign-page", args=[planned.sign_id]) in page
    assert reverse("sign-page", args=[later.sign_id]) not in page


def test_a_year_is_narrowed_by_class_and_road(engineer, agency):
    programme = make_programme_row(agency)
    plan(programme, make_sign(agency), 2027, reason="of class 1")
    guide = plan(programme, make_sign(agency), 2027, reason="a guide", safety_class=4)
    page = shown(engineer, "programme-year", programme.pk, 2027, safety_class="4")
    assert "A guide" in page
    assert "Of class 1" not in page
    road = guide.position.support.road
    if road is not None:
        assert "A guide" in shown(engineer, "programme-year", programme.pk, 2027, road=road.pk)


def test_signs_in_no_year_are_listed_too(engineer, agency):
    programme = make_programme_row(agency)
    plan(programme, make_sign(agency), None, reason="good beyond the programme")
    page = shown(engineer, "programme-year", programme.pk, 0)
    assert "In none of its years" in page
    assert "Good beyond the programme" in page


def test_a_year_outside_the_programme_is_refused_in_a_sentence(engineer, agency):
    programme = make_programme_row(agency)
    page = shown(engineer, "programme-year", programme.pk, 2031, status=400)
    assert "has no year 2031; it runs from 2027 to 2028" in page


def test_a_year_asks_as_often_for_many_signs_as_for_one(
    engineer, agency, django_assert_num_queries
):
    programme = make_programme_row(agency)
    plan(programme, make_sign(agency), 2027)
    address = reverse("programme-year", args=[programme.pk, 2027])
    engineer.get(address)
    with django_assert_num_queries(9):
        engineer.get(address)
    for _ in range(5):
        plan(programme, make_sign(agency), 2027)
    with django_assert_num_queries(9):
        engineer.get(address)


def test_two_programmes_are_compared_sign_by_sign(engineer, agency):
    before, after = make_programme_row(agency), make_programme_row(agency, "More money")
    same, moved, added, out, gone = (make_sign(agency) for _ in range(5))
    for sign, first, second in (
        (same, 2027, 2027),
        (moved, 2027, 2028),
        (added, None, 2028),
        (out, 2028, None),
    ):
        plan(before, sign, first)
        plan(after, sign, second)
    plan(before, gone, 2027)  # not in the later programme at all
    page = shown(engineer, "programme-compare", before.pk, after.pk)
    assert "4 signs differ" in page
    assert "1 moved to another year, 1 added, 2 taken out" in page
    assert reverse("sign-page", args=[same.pk]) not in page
    for sign in (moved, added, out, gone):
        assert reverse("sign-page", args=[sign.pk]) in page


def test_comparing_a_programme_with_itself_finds_nothing(engineer, agency):
    programme = make_programme_row(agency)
    plan(programme, make_sign(agency), 2027)
    page = shown(engineer, "programme-compare", programme.pk, programme.pk)
    assert "Both plan the same year for every sign." in page


def test_programmes_are_for_the_engineer_of_the_agency(client, agency):
    one, other = make_programme_row(agency), make_programme_row(make_agency())
    act_as(client, agency, Role.CREW)
    for name, args in (
        ("programme-list", ()),
        ("programme-page", (one.pk,)),
        ("programme-year", (one.pk, 2027)),
        ("programme-compare", (one.pk, one.pk)),
    ):
        shown(client, name, *args, status=403)
    act_as(client, agency)
    shown(client, "programme-page", other.pk, status=404)
    shown(client, "programme-year", other.pk, 2027, status=404)
    shown(client, "programme-compare", one.pk, other.pk, status=404)


def test_the_sign_says_when_the_adopted_programme_replaces_it_and_why(engineer, agency):
    sign = make_sign(agency)
    draft, adopted = (
        make_programme_row(agency),
        make_programme_row(agency, "Adopted one", state="adopted"),
    )
    plan(draft, sign, 2027, reason="only a draft says so")
    plan(adopted, sign, 2028, reason="due in March 2029", is_locked=True, lock_reason="bridge")
    page = shown(engineer, "sign-page", sign.pk)
    assert "<strong>Planned 2028</strong>: due in March 2029" in page
    assert reverse("programme-year", args=[adopted.pk, 2028]) in page
    assert "only a draft says so" not in page


def test_the_crew_reads_the_plan_without_a_way_to_the_programme(client, agency):
    sign = make_sign(agency)
    plan(make_programme_row(agency, state="adopted"), sign, None, reason="good for long")
    act_as(client, agency, Role.CREW)
    page = shown(client, "sign-page", sign.pk)
    assert "<strong>Not in the programme</strong>: good for long" in page
    assert "/programmes/" not in page


def test_the_due_dates_lead_on_to_the_programme(engineer):
    assert 'href="/programmes/">Plan replacements' in shown(engineer, "due-dates")


def run_of(programme, minutes_ago=0, **fields):
    values = {"started_at": PAGE_TIME - timedelta(minutes=10), "words": "third of ten steps"}
    seen_at = PAGE_TIME - timedelta(minutes=minutes_ago)
    return ProgrammeRun.objects.create(programme=programme, seen_at=seen_at, **values | fields)


def test_while_years_are_chosen_the_page_says_how_far_it_is_and_what_was_found_before(
    engineer, agency, monkeypatch
):
    stop_the_clock(monkeypatch)
    programme = make_programme_row(agency)
    run_of(programme)
    page = shown(engineer, "programme-page", programme.pk)
    assert "third of ten steps" in page
    assert "43 % of the risk is left" in page
    answer = engineer.get(reverse("programme-progress", args=[programme.pk]))
    assert answer.json() == {"is_open": True, "words": "third of ten steps"}


@pytest.mark.parametrize(
    ("minutes_ago", "fields", "words"),
    [
        (3, {}, "The choosing of years broke off."),
        (0, {"finished_at": PAGE_TIME, "error": "No sign has a forecast."}, "No sign has a"),
    ],
)
def test_choosing_that_broke_off_or_failed_is_said_and_not_waited_for(
    engineer, agency, monkeypatch, minutes_ago, fields, words
):
    stop_the_clock(monkeypatch)
    programme = make_programme_row(agency)
    run_of(programme, minutes_ago, **fields)
    page = shown(engineer, "programme-page", programme.pk)
    assert words in page
    assert "data-progress" not in page
    answer = engineer.get(reverse("programme-progress", args=[programme.pk]))
    assert answer.json()["is_open"] is False


def test_progress_is_for_the_engineer_of_the_agency(client, agency):
    own, other = make_programme_row(agency), make_programme_row(make_agency())
    act_as(client, agency)
    assert client.get(reverse("programme-progress", args=[other.pk])).status_code == 404
    act_as(client, agency, Role.CREW)
    assert client.get(reverse("programme-progress", args=[own.pk])).status_code == 403


def test_a_programme_that_was_stopped_says_what_was_not_reckoned(engineer, agency):
    result = make_result(
        is_stopped=True, not_reckoned=["what a tenth more money would buy"], rivals={},
        ten_percent_more=None, least_budget_class_1=None,
    )  # fmt: skip
    page = engineer.get(f"/programmes/{make_programme_row(agency, result=result).pk}/")
    text = page.content.decode()
    assert "Stopped before the best plan was found." in text
    assert "Not reckoned: what a tenth more money would buy." in text
    assert "Beside the usual rules" not in text


def test_locks_against_a_must_are_said(engineer, agency):
    result = make_result(late_locks=1, past_locks=2)
    page = engineer.get(f"/programmes/{make_programme_row(agency, result=result).pk}/")
    text = page.content.decode()
    assert "1 locked choice is later than the sign must be replaced, or for no year." in text
    assert "2 locked choices are for a year that is past." in text


@pytest.mark.parametrize(
    ("least", "words"),
    [
        (
            {"share": None, "yearly": [140.0, 140.0]},
            "same money each year would be enough: $ 140 a year.",
        ),
        ({"share": 0.0, "yearly": [0.0, 0.0]}, "No class 1 sign has to be replaced within"),
        (
            {"share": 0.4, "yearly": [400.0, 80.0]},
            "before it is due: $ 400 in 2027, $ 80 in 2028.",
        ),
    ],
)
def test_the_least_money_for_class_1_is_said_as_it_is_known(engineer, agency, least, words):
    result = make_result(least_budget_class_1=least)
    page = engineer.get(f"/programmes/{make_programme_row(agency, result=result).pk}/")
    assert words in page.content.decode()


def test_what_the_musts_lack_may_be_unknown(engineer, agency):
    short: dict[str, Any] = {"extra_money": None, "extra_hours": None, "missed": [], "count": 3}
    result = make_result(shortfall=short)
    page = engineer.get(f"/programmes/{make_programme_row(agency, result=result).pk}/")
    text = page.content.decode()
    assert "3 signs that must be replaced are not, or not in time" in text
    assert "The least that is missing" not in text


def test_the_adopted_programme_leads_to_the_work_of_its_next_year(engineer, agency):
    programme = make_programme_row(agency, state="adopted")
    page = engineer.get(f"/programmes/{programme.pk}/").content.decode()
    assert f'href="/programmes/{programme.pk}/2027/">Plan the work of 2027</a>' in page
    draft = engineer.get(f"/programmes/{make_programme_row(agency, 'Draft').pk}/")
    assert "Plan the work of" not in draft.content.decode()
