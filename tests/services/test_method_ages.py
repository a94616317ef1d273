"""A sign whose method goes by age falls due by its age, whatever has been read on it."""

from datetime import UTC, date, datetime, timedelta

import pytest

from inventory.models import Standing
from inventory.services.assessment import mark_due
from inventory.services.methods import assign, create_group, end_group, record_step
from tests.factories import NOW, make_agency, make_sign, position_of

pytestmark = pytest.mark.django_db

START = date(2010, 1, 1)


def under(agency, sign, method, **fields):
    group = create_group(
        organisation=agency,
        name=f"{method} {sign.pk}",
        method=method,
        started_on=START,
        basis="county board",
        now=datetime(2010, 1, 1, tzinfo=UTC),
        **fields,
    )
    assign(group=group, positions=[position_of(sign)], from_on=START, now=NOW)
    return group


def standing(agency, sign):
    mark_due(organisation=agency, now=NOW)
    return Standing.objects.get(sign=sign)


def test_a_sign_past_its_expected_life_is_due_without_a_reading():
    # No level is published for fluorescent yellow-green (MUTCD 11th edition, Table 2A-5 has no
    # such row): the sign still falls due by age.
    agency = make_agency()
    sign = make_sign(
        agency,
        sign_code="S1-1",
        colours=(("background", "fluorescent-yellow-green"), ("legend", "black")),
        installed_on=date(2012, 5, 1),
    )
    under(agency, sign, "expected_life", expected_life_years=12)
    found = standing(agency, sign)
    assert found.verdict == "no level"
    assert (found.is_due, found.due_on) == (True, date(2024, 5, 1))
    assert found.due_reason == "expected life of 12 years: put up 2012-05-01"


def test_a_life_still_running_shows_its_end_and_is_not_due():
    agency = make_agency()
    sign = make_sign(agency, installed_on=date(2020, 5, 1))
    under(agency, sign, "expected_life", expected_life_years=12)
    found = standing(agency, sign)
    assert (found.is_due, found.due_on) == (False, date(2032, 5, 1))


def test_a_sign_of_unknown_age_is_not_due_by_a_guess():
    agency = make_agency()
    sign = make_sign(agency, installed_on=None)
    under(agency, sign, "expected_life", expected_life_years=12)
    found = standing(agency, sign)
    assert (found.is_due, found.due_on) == (False, None)


def test_a_year_alone_is_not_shown_as_a_day():
    agency = make_agency()
    sign = make_sign(agency, installed_on=date(2010, 1, 1), installed_precision="year")
    under(agency, sign, "expected_life", expected_life_years=12)
    found = standing(agency, sign)
    assert found.due_reason == "expected life of 12 years: put up 2010"


def test_a_round_of_replacement_falls_due_from_the_last_one():
    agency = make_agency()
    sign = make_sign(agency, installed_on=date(2019, 7, 1))
    group = under(agency, sign, "blanket", interval_months=84)
    record_step(
        group=group,
        done_on=date(2019, 6, 15),
        text="first round",
        kind="replacement_round",
        now=NOW,
    )
    found = standing(agency, sign)
    assert found.due_on == date(2026, 6, 15)
    assert found.due_reason == "replaced every 84 months: round of 2019-06-15"


def test_a_method_that_has_ended_makes_nothing_due():
    agency = make_agency()
    sign = make_sign(agency, installed_on=date(2012, 5, 1))
    group = under(agency, sign, "expected_life", expected_life_years=12)
    assert standing(agency, sign).is_due
    end_group(group=group, ended_on=NOW.date() - timedelta(days=1), now=NOW)
    assert not standing(agency, sign).is_due


def test_ages_take_the_same_queries_for_one_sign_and_for_many(django_assert_max_num_queries):
    agency = make_agency()
    for _ in range(12):
        sign = make_sign(agency)
        under(agency, sign, "expected_life", expected_life_years=12)
    mark_due(organisation=agency, now=NOW)
    with django_assert_max_num_queries(27):
        mark_due(organisation=agency, now=NOW)
