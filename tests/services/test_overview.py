"""What needs the engineer today: counted once, the first few shown, others' signs left out."""

from datetime import timedelta

import pytest

from inventory.models import Sign
from inventory.services.damage import Told, report_damage
from inventory.services.overview import FIRST_FEW, overview
from tests.factories import NOW, make_agency, make_sign, make_standing, position_of

pytestmark = pytest.mark.django_db


def test_each_kind_of_waiting_sign_is_counted_under_its_own_head():
    agency = make_agency(damage_days={"severe": {"1": 1}})
    damaged = make_sign(agency)
    report = report_damage(
        position=position_of(damaged),
        told=Told(kind="knocked_down", channel="desk", notified_at=NOW),
        now=NOW,
    )
    make_standing(damaged, is_due=True)
    below = make_standing(make_sign(agency), verdict="below", is_due=True, safety_class=2)
    barred = make_standing(make_sign(agency), verdict="sheeting not allowed")
    make_standing(make_sign(agency), verdict="undecided")
    make_standing(make_sign(agency), verdict="no usable reading")
    seen = overview(organisation=agency, now=NOW + timedelta(days=1))
    assert seen.sign_count == 5
    assert [each.report for each in seen.damage.first_few] == [report]
    assert (seen.damage.count, seen.late_damage_count) == (1, 0)
    later = overview(organisation=agency, now=NOW + timedelta(days=2))
    assert later.late_damage_count == 1
    assert seen.below.count == 2
    assert set(seen.below.first_few) == {below, barred}
    assert (seen.undecided.count, seen.unread.count, seen.due.count) == (1, 1, 2)
    assert seen.due_count_of_class == {1: 1, 2: 1, 3: 0, 4: 0}
    assert seen.count_of_verdict["below"] == 1


def test_signs_that_others_look_after_need_nobody_here():
    agency = make_agency()
    make_standing(make_sign(agency, responsible=Sign.Responsible.STATE), verdict="below")
    seen = overview(organisation=agency)
    assert (seen.sign_count, seen.below.count) == (0, 0)


def test_another_agencys_signs_are_not_counted():
    agency, other = make_agency(), make_agency()
    make_standing(make_sign(other), verdict="below", is_due=True)
    assert overview(organisation=agency).due.count == 0


def test_only_the_first_few_are_shown_and_all_are_counted_in_few_queries(
    django_assert_max_num_queries,
):
    agency = make_agency()
    for n in range(FIRST_FEW + 2):
        make_standing(make_sign(agency), verdict="below", is_due=True, due_order=n)
    with django_assert_max_num_queries(26):
        seen = overview(organisation=agency)
    assert seen.below.count == FIRST_FEW + 2
    assert [s.due_order for s in seen.below.first_few] == list(range(FIRST_FEW))
