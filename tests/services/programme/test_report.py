"""The figures of a council's report are those of the records, in a fixed number of queries."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

import pytest

from inventory.errors import StateConflictError
from inventory.models import PlannedReplacement, Programme, Standing
from inventory.services.programme.report import council_report
from inventory.services.programme.work_bases import set_work_basis
from tests.factories import NOW, make_agency, make_sign, make_standing
from tests.kept import kept_records
from tests.services.programme.report_world import COST_OF_CLASS, STOCK, make_world
from tests.web.programme_records import make_programme_row, plan

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def stored(django_db_setup, django_db_blocker):
    with kept_records(django_db_blocker):
        yield make_world().pk


@pytest.fixture
def world(stored, db):
    return Programme.objects.select_related("organisation", "work_basis").get(pk=stored)


def of(programme):
    found = Programme.objects.select_related("organisation", "work_basis").get(pk=programme.pk)
    return council_report(programme=found, now=NOW)


def test_signs_are_counted_by_class_and_sheeting_as_they_stand_and_others_signs_left_out(world):
    report = of(world)
    by_class: Counter[int] = Counter()
    below: Counter[int] = Counter()
    sheeting: Counter[tuple[str, int]] = Counter()
    for number, words, verdict, count, _year in STOCK:
        by_class[number] += count
        sheeting[words, number] += count
        if verdict in ("below", "sheeting not allowed"):
            below[number] += count
    assert report.now.signs == 32
    assert report.of_others == 2
    for number in (1, 2, 3, 4):
        found = report.by_class[number]
        assert found.signs == by_class[number]
        assert found.below == below[number]
        parts = (found.meets, found.below, found.undecided, found.not_read, found.no_level)
        assert sum(parts) == found.signs
    assert report.now.no_level == 3
    for line in report.sheetings:
        assert line.by_class == tuple(sheeting[line.sheeting, n] for n in (1, 2, 3, 4))
    assert sum(line.signs for line in report.sheetings) == 32
    assert report.sheetings[-1].sheeting == ""  # not known comes last
    assert report.damaged == {"moderate": 0, "severe": 1}


def test_what_is_expected_below_today_adds_up_the_chances_of_the_forecasts(world):
    report = of(world)
    assert report.forecast_count == 25
    assert report.expected_below == pytest.approx(25 * 0.25)


def test_costs_by_class_and_the_trips_that_are_shared_are_all_the_money(world):
    report = of(world)
    for line in report.costs[:-1]:
        planned = sum(n for c, _s, _v, n, year in STOCK if year and c == line.safety_class)
        assert line.replaced == planned
        assert line.money == pytest.approx(planned * COST_OF_CLASS[line.safety_class])
    assert report.costs[-1].money == pytest.approx(377.5)
    assert sum(line.share for line in report.costs) == pytest.approx(1.0)
    assert report.money == pytest.approx(sum(line.money for line in report.costs))


def test_a_year_that_was_changed_since_the_years_were_chosen_is_said_and_costs_are_held_back(
    world,
):
    programme = world
    planned = PlannedReplacement.objects.filter(programme=programme, year=2027)[0]
    planned.year = 2028
    planned.save(update_fields=["year"])
    report = of(programme)
    assert report.is_stale
    assert report.costs == []


def test_each_sign_is_on_the_map_once_by_what_is_planned(world):
    report = of(world)
    assert report.map.counts == {"first_year": 2, "later": 8, "below": 1, "stays": 21}
    assert report.map.outside == 0
    frame = report.map.frame
    for places in report.map.marks.values():
        for x, y in places:
            assert 0 <= x <= frame.width + 4
            assert 0 <= y <= frame.height + 4
    assert len(report.map.roads) == 2


def test_roads_are_those_with_most_replacements_and_add_up(world):
    report = of(world)
    assert {line.name for line in report.roads} == {"North Road", "Mill Lane", ""}
    assert sum(line.signs for line in report.roads) == 32
    assert sum(line.replaced for line in report.roads) == 10
    assert sum(line.first_year for line in report.roads) == 2
    assert sum(line.below for line in report.roads) == 4


def test_methods_and_signs_under_none_are_told(world):
    report = of(world)
    (group,) = report.methods
    assert (group.name, group.signs, group.overdue, group.in_time) == ("Stop signs", 9, 9, 0)
    assert report.under_none == 23


def test_what_became_of_damage_in_the_year_before_is_told_by_class(world):
    report = of(world)
    assert report.damage_since == NOW.date().replace(year=NOW.year - 1)
    by_class = {
        each.safety_class: (
            each.told, each.in_time, each.late, each.untimed, each.still_open, each.late_open,
            each.median_d,
        )
        for each in report.damage
    }  # fmt: skip
    assert by_class == {
        1: (3, 2, 1, 0, 0, 0, 2.0),
        2: (2, 1, 0, 1, 0, 0, 5.5),
        3: (1, 0, 0, 0, 1, 1, None),
        4: (1, 0, 0, 0, 1, 0, None),
        None: (7, 3, 1, 1, 2, 1, 5.0),
    }


def test_what_is_not_known_is_counted(world):
    report = of(world)
    known = {each.key: each.count for each in report.unknowns if each.key != "left_out"}
    assert known == {
        "not_read": 6, "undecided": 3, "no_level": 3, "sheeting": 6, "size": 3,
    }  # fmt: skip
    left = {each.words: each.count for each in report.unknowns if each.key == "left_out"}
    assert left == {"no forecast: read it first": 3, "not ours": 12}


def test_inventory_is_of_the_day_and_the_plan_of_the_day_it_was_chosen(world):
    programme = world
    later = NOW + timedelta(days=40)
    found = Programme.objects.select_related("organisation", "work_basis").get(pk=programme.pk)
    report = council_report(programme=found, now=later)
    assert (report.day, report.solved_on) == (later.date(), NOW.date())


def test_a_programme_whose_years_are_not_chosen_has_no_report():
    programme = make_programme_row(make_agency(), is_solved=False)
    with pytest.raises(StateConflictError, match="are not chosen yet; choose them"):
        council_report(programme=programme, now=NOW)


def test_many_signs_are_gathered_with_as_many_queries_as_few(world, django_assert_num_queries):
    programme = world
    found = Programme.objects.select_related("organisation", "work_basis").get(pk=programme.pk)
    asked = 13
    with django_assert_num_queries(asked):
        council_report(programme=found, now=NOW)
    agency = found.organisation
    for _ in range(12):
        sign = make_sign(agency)
        make_standing(sign)
        plan(found, sign, None)
    assert Standing.objects.owned_by(agency).count() == 46
    with django_assert_num_queries(asked):
        council_report(programme=found, now=NOW)


def test_one_sign_alone_has_a_map_and_an_agency_without_signs_has_none():
    alone = make_agency()
    programme = make_programme_row(alone)
    report = of(programme)
    assert report.map.frame is None
    sign = make_sign(alone)
    make_standing(sign)
    plan(programme, sign, 2027)
    report = of(programme)
    assert report.map.counts["first_year"] == 1
    assert report.map.marks["first_year"]


def test_a_later_work_basis_does_not_change_what_the_report_goes_by(world):
    programme = world
    set_work_basis(
        agency=programme.organisation, effective_on=NOW.date(), basis="new (invented)",
        face_price=1.0, face_price_per_ft2=0.0, crew_price_per_h=1.0, face_hours=0.1,
        support_hours=0.1, stretch_hours=0.1, lead_days=30, now=NOW,
    )  # fmt: skip
    assert of(programme).basis.face_price == 40.0
