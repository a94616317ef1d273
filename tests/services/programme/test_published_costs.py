"""What signs cost, by the project's own services, against examples that were published."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from inventory.engineering.places import cell_of
from inventory.engineering.programme.costs import cost_by_group
from inventory.engineering.programme.problem import ProgrammeProblem
from inventory.engineering.programme.questions import least_budget
from inventory.engineering.programme.years import last_year
from inventory.models import (
    PlannedReplacement,
    Position,
    Sign,
    SignForecast,
    Standing,
    Support,
)
from inventory.services.programme.making import make_programme
from inventory.services.programme.report import council_report
from inventory.services.programme.solving import open_run, solve
from inventory.services.programme.work_bases import set_work_basis
from tests.factories import NOW, make_agency
from tests.web.forecast_records import make_fit

FIRST = NOW.year + 1
# Iowa DOT, page of the work-zone sign fabrication shop: 84 signs at $1,400 and 159 at $400 are
# 243 signs and $181,200, both totals printed (shared/reference/worked_examples.md, A1).
LARGE, SMALL = (84, 1400.0), (159, 400.0)
# At $100 a square foot, 14 ft² cost the one and 4 ft² the other (the price is ours).
SIZES = {1400.0: (48.0, 42.0), 400.0: (24.0, 24.0)}


def stock(agency):
    """Put the 243 signs up, all surely below their level."""
    fit = make_fit(agency)
    sizes = [SIZES[price] for count, price in (LARGE, SMALL) for _ in range(count)]
    supports = [
        Support(organisation=agency, latitude_deg=43.0, longitude_deg=-89.5,
                cell=cell_of(43.0, -89.5))
        for _ in sizes
    ]  # fmt: skip
    positions = [
        Position(organisation=agency, support=support, sign_code="G20-2", width_in=width,
                 height_in=height, mount="post")
        for support, (width, height) in zip(supports, sizes, strict=True)
    ]  # fmt: skip
    signs = [
        Sign(owner=agency, state=Sign.State.INSTALLED, position=position, sign_code="G20-2",
             width_in=position.width_in, height_in=position.height_in)
        for position in positions
    ]  # fmt: skip
    Support.objects.bulk_create(supports)
    Position.objects.bulk_create(positions)
    Sign.objects.bulk_create(signs)
    Standing.objects.bulk_create(
        Standing(organisation=agency, sign=sign, verdict="below", safety_class=3,
                 responsible=sign.responsible, latitude_deg=43.0, longitude_deg=-89.5,
                 cell=cell_of(43.0, -89.5), rebuilt_at=NOW)
        for sign in signs
    )  # fmt: skip
    SignForecast.objects.bulk_create(
        SignForecast(organisation=agency, sign=sign, made_at=NOW, as_of_on=NOW.date(),
                     method_version="forecast-2", fingerprint="f" * 64, basis="cohort", fit=fit,
                     probabilities_below=[1.0] * 5, safety_class=3, sentence="")
        for sign in signs
    )  # fmt: skip


def programme_with(agency, money):
    set_work_basis(
        agency=agency, effective_on=date(2020, 1, 1), basis="Iowa DOT", face_price=0.0,
        face_price_per_ft2=100.0, crew_price_per_h=0.0, face_hours=0.0, support_hours=0.0,
        stretch_hours=0.0, lead_days=0, now=NOW,
    )  # fmt: skip
    made = make_programme(
        organisation=agency, name="Work zone", first_year=FIRST, years=1, budget=[money],
        crew_hours=[0.0], now=NOW,
    )  # fmt: skip
    return solve(open_run(programme=made, now=NOW), polish_seconds=0.2, now=NOW)


@pytest.mark.django_db
def test_iowas_243_work_zone_signs_cost_181200_and_fit_that_money_exactly():
    agency = make_agency()
    stock(agency)
    programme = programme_with(agency, 181_200.0)
    (year,) = programme.result["by_year"]
    assert (year["replaced"], year["money"]) == (243, 181_200.0)
    rows = PlannedReplacement.objects.filter(programme=programme, year=FIRST)
    costs = list(rows.order_by("cost").values_list("cost", flat=True))
    assert costs == [400.0] * 159 + [1400.0] * 84
    report = council_report(programme=programme, now=NOW)
    assert (report.replaced, report.money) == (243, 181_200.0)
    assert report.costs[-1].money == pytest.approx(0.0, abs=0.01)


@pytest.mark.django_db
def test_with_a_dollar_less_one_of_iowas_signs_is_left():
    agency = make_agency()
    stock(agency)
    (year,) = programme_with(agency, 181_199.0).result["by_year"]
    assert year["replaced"] == 242
    # Of either kind: they weigh the same, and both leave money over.
    assert year["money"] in (181_200.0 - 400.0, 181_200.0 - 1400.0)


# MnDOT/LRRB research blog (2015): 400,000 signs, each replaced within 18 years; an even profile
# of ages makes 22,222 a year, at $150 to $250 each 3.33 to 5.56 million dollars; at 20 years it
# is 20,000 a year (worked_examples.md, A6).
@pytest.mark.parametrize(("life_years", "a_year"), [(18, 22_222), (20, 20_000)])
def test_minnesotas_400000_signs_fall_due_evenly(life_years, a_year):
    count, years = 400_000, 10
    first_day = date(FIRST, 1, 1)
    days = (date(FIRST + life_years, 1, 1) - first_day).days
    # So many fall due each day; the days of a year are counted by the calendar.
    of_day = np.diff(np.round(np.linspace(0, count, days + 1)).astype(np.int64))
    must_by = np.zeros(years, dtype=np.int64)
    for day, signs in enumerate(of_day.tolist()):
        year = last_year(
            first_day + timedelta(days=day), lead_days=0, first_year=FIRST, years=years
        )
        if year is not None:
            must_by[year] += signs
    assert must_by == pytest.approx(np.full(years, a_year), rel=0.003)  # leap years
    assert must_by.mean() == pytest.approx(count / life_years, rel=0.001)


@pytest.mark.parametrize("price", [150.0, 250.0])
def test_minnesotas_money_a_year_is_what_the_least_budget_comes_to(price):
    # One sign here stands for a thousand of them: 400 signs, 18 years, the first ten planned.
    years, life = 10, 18
    due = np.floor(np.arange(400) * life / 400).astype(np.int64)
    must_by = np.where(due < years, due, -1)
    problem = ProgrammeProblem(
        np.zeros((400, years)), np.full(400, price), np.zeros(400), np.ones(years),
        np.zeros(years), must_by=must_by,
    )  # fmt: skip
    found = least_budget(problem, must_by >= 0)
    yearly = 1000 * float(found.yearly_money[0])
    published = {150.0: 3.33e6, 250.0: 5.56e6}[price]
    # Whole signs: at most one of the thousands more in a year.
    assert published <= yearly + 1000 * price
    assert yearly == pytest.approx(published, abs=1000 * price)
    money, _hours = problem.spent(found.year)
    assert 1000 * money.mean() == pytest.approx(published, rel=0.01)


def test_replacing_is_about_a_third_of_indianas_programme():
    # JTRP-2002/22 (Indiana): 14,930 signs replaced for $1,067,931, 34,084 maintained for
    # $2,136,076; replacement is "about one third" of both (worked_examples.md, A4 and A5).
    cost = np.concatenate(
        [np.full(14_930, 1_067_931 / 14_930), np.full(34_084, 2_136_076 / 34_084)]
    )
    kind = np.concatenate([np.zeros(14_930), np.ones(34_084)]).astype(np.int64)
    found = cost_by_group(cost, kind, groups=2)
    assert found.share[0] == pytest.approx(1 / 3, abs=0.001)
    assert found.share[0] == pytest.approx(0.33331, abs=0.000_01)
    assert found.money / found.count == pytest.approx([71.53, 62.67], abs=0.005)
