"""The page of due dates, and the filters by which map and lists follow it."""

from datetime import date

import pytest
from django.urls import reverse

from inventory.engineering.forecast.backtest import Tally
from inventory.models import BackTest, Role
from tests.factories import (
    NOW,
    make_agency,
    make_lot_finding,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    make_standing,
    print_order,
)
from tests.web.acting import act_as, stop_the_clock
from tests.web.forecast_records import color_of, make_fit, make_forecast

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency()


def due_sign(agency, due_on, fit=None, **fields):
    """Return a sign with a standing and a forecast; the clock stands at 1 June 2026."""
    sign = make_sign(agency)
    standing = {"is_due_soon": fields.pop("is_due_soon", False)}
    make_standing(sign, forecast_due_on=due_on, **standing)
    dates = {"due_on": due_on, "due_early_on": due_on, "due_late_on": None}
    make_forecast(sign, [color_of(None)], **dates | {"fit_id": fit and fit.pk} | fields)
    return sign


def listed(client, name="due-dates", **query):
    answer = client.get(reverse(name), query)
    assert answer.status_code == 200
    return [row.sign_id for row in answer.context["page"]]


def test_the_first_to_fall_due_comes_first_and_what_has_no_date_last(client, agency):
    never = due_sign(agency, None)
    late = due_sign(agency, date(2031, 4, 2))
    early = due_sign(agency, date(2027, 9, 30))
    act_as(client, agency)
    assert listed(client) == [early.pk, late.pk, never.pk]
    page = client.get(reverse("due-dates")).content.decode()
    assert "2031-04-02" in page
    assert "not within 30 years" in page
    assert reverse("sign-page", args=(early.pk,)) in page


def test_the_years_of_the_plot_are_in_a_table_that_leads_to_their_signs(client, agency):
    due_sign(agency, date(2027, 9, 30))
    counts = {
        "as_of_on": "2026-06-01",
        "first_year": 2026,
        "by_class": {"1": {"expected": [0.2, 12.4], "shared_sd": [0.0, 2.0], "sd": [0.4, 3.0]}},
    }
    make_fit(agency, life={"due_counts": counts})
    act_as(client, agency)
    answer = client.get(reverse("due-dates"))
    page = answer.content.decode()
    rows = [[str(cell) for cell in row] for row in answer.context["plot"].rows]
    assert rows[0][:2] == ["rest of 2026", "under 1"]
    assert rows[1][:3] == ["2027", "12", "8–17"]  # mean 12.4, variance 9
    assert f'{reverse("due-dates")}?due_year=2027#signs">1</a>' in page
    assert len(rows) == 16
    assert len(client.get(reverse("due-dates"), {"years": "30"}).context["plot"].rows) == 31


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({"due_year": "now"}, {"past"}),
        ({"due_year": "2026"}, {"soon"}),
        ({"due_year": "2027"}, {"next"}),
        ({"due_year": "later"}, {"never"}),
        ({"due_soon": "true"}, {"soon"}),
        ({"basis": "none"}, {"nothing"}),
        ({"cohort": "III/beaded/white/sheeting/unknown/hand_held"}, {"next"}),
    ],
)
@pytest.mark.parametrize("name", ["due-dates", "sign-list", "sign-map"])
def test_map_and_lists_are_narrowed_by_what_is_forecast(client, agency, name, query, expected):
    fit = make_fit(agency, life={})
    signs = {
        "past": due_sign(agency, date(2026, 5, 1)),
        "soon": due_sign(agency, date(2026, 8, 1), is_due_soon=True),
        "next": due_sign(agency, date(2027, 1, 1), fit),
        "never": due_sign(agency, None),
        "nothing": due_sign(agency, None, basis="none"),
    }
    make_standing(make_sign(agency))  # not forecast at all
    act_as(client, agency)
    assert set(listed(client, name, **query)) == {signs[each].pk for each in expected}


def test_every_sign_of_a_lot_is_on_the_map(client, agency):
    shop = make_shop(agency=agency)
    press = make_press(shop, make_roll(shop))
    run = print_order(make_released_order(agency, shop, [make_sign(agency)]), press)
    of_lot = make_sign(agency, print_run=run, maker=shop)
    make_standing(of_lot)
    make_standing(make_sign(agency))
    finding = make_lot_finding(agency, detail={"made_in": [{"color": "", "run_ids": [run.pk]}]})
    act_as(client, agency)
    assert listed(client, "sign-map", lot=finding.pk) == [of_lot.pk]
    box = {"south_deg": 40, "west_deg": -100, "north_deg": 50, "east_deg": -80, "zoom": 5}
    drawn = client.get(reverse("sign-map-data"), box | {"lot": finding.pk}).json()["signs"]
    assert [each["id"] for each in drawn] == [of_lot.pk]


@pytest.mark.parametrize(
    "query", [{"due_year": "1999"}, {"lot": "x"}, {"cohort": "nothing"}, {"basis": "guess"}]
)
def test_a_filter_that_says_nothing_is_refused_in_words(client, agency, query):
    due_sign(agency, date(2027, 1, 1))
    act_as(client, agency)
    answer = client.get(reverse("due-dates"), query)
    assert answer.status_code == 200
    assert "Select a valid choice" in answer.content.decode()


def test_another_agencys_lot_is_no_choice(client, agency):
    act_as(client, agency)
    finding = make_lot_finding(make_agency(), is_suspect=True, name="Foreign lot")
    answer = client.get(reverse("due-dates"), {"lot": finding.pk})
    assert "Foreign lot" not in answer.content.decode()
    assert "Select a valid choice" in answer.content.decode()


def test_without_a_forecast_the_page_says_how_one_is_made(client, agency):
    make_standing(make_sign(agency))
    act_as(client, agency)
    page = client.get(reverse("due-dates")).content.decode()
    assert "No forecast has been made yet" in page
    assert "no forecast yet" in page


def test_ticked_signs_go_into_a_work_package_or_on_an_order(client, agency):
    make_shop(agency=agency)
    sign = due_sign(agency, date(2026, 8, 1))
    act_as(client, agency)
    page = client.get(reverse("due-dates")).content.decode()
    assert f'action="{reverse("package-new")}"' in page
    assert f'formaction="{reverse("due-list")}"' in page
    assert f'name="signs" value="{sign.pk}"' in page


def test_a_longer_list_takes_no_more_queries(client, agency, django_assert_max_num_queries):
    fit = make_fit(agency, life={})
    for n in range(12):
        due_sign(agency, date(2027 + n, 1, 1), fit)
    act_as(client, agency)
    with django_assert_max_num_queries(17):
        client.get(reverse("due-dates"))


def test_only_the_engineer_plans_by_due_dates(client, agency):
    for organisation, role in ((agency, Role.CREW), (make_shop(), Role.SHOP)):
        act_as(client, organisation, role)
        assert client.get(reverse("due-dates")).status_code == 403


def test_today_says_what_is_due_soon_and_which_lots_are_suspect(client, agency):
    due_sign(agency, date(2026, 8, 1), is_due_soon=True)
    finding = make_lot_finding(
        agency, name="L-204", is_suspect=True, effect_per_year=-0.021, q_value=0.01
    )
    make_lot_finding(agency, name="L-205")
    act_as(client, agency)
    page = client.get(reverse("overview")).content.decode()
    assert f"{reverse('due-dates')}?due_soon=true" in page
    assert "is expected to be due soon" in page
    assert reverse("lot-page", args=(finding.pk,)) in page
    assert "loses 7.1 % a year where such faces lose 5.0 %" in page
    assert "L-205" not in page


def test_numbers_that_were_not_counted_are_not_shown_as_none(client, agency):
    due_sign(agency, date(2027, 9, 30))
    act_as(client, agency)
    page = client.get(reverse("due-dates")).content.decode()
    assert "is not counted yet" in page
    assert "are expected to fall below their level." not in page


@pytest.mark.parametrize(
    ("inside", "said"),
    [
        (340, "68.0 % fell within the range told beforehand where 90 % should"),
        (490, "take the due dates as surer than they are shown"),
        (450, ""),
    ],
)
def test_a_back_test_out_of_bounds_warns_where_due_dates_are_read(client, agency, inside, said):
    due_sign(agency, date(2026, 8, 1))
    told = {"forecast": Tally(count=500, inside=inside).to_json()}
    BackTest.objects.create(
        organisation=agency,
        method_version="forecast-3",
        started_at=NOW,
        finished_at=NOW,
        cut_offs=["2024-01-01"],
        summary={"whole": {"name": "", "readings": 500, "told": told}},
    )
    act_as(client, agency)
    page = client.get(reverse("due-dates")).content.decode()
    assert said in page
    assert ("See the back-test" in page) is bool(said)
