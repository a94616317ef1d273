"""A face of the programme that came down with none up since is put up by the crew days."""

from __future__ import annotations

from datetime import timedelta

import pytest

from inventory.errors import StateConflictError
from inventory.models import PackageStop, PlannedStop, Sign
from inventory.services.installation import remove_sign
from inventory.services.programme.crew_days_asked import CrewDaysAsked
from inventory.services.programme.crew_packages import make_packages
from inventory.services.programme.crew_work import work_for
from tests.factories import NOW, make_agency
from tests.services.programme.crew_worlds import (
    MONDAY,
    YEAR,
    a_crew_day,
    a_programme,
    to_replace,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def planned():
    return to_replace(a_programme(make_agency()))


def take_down(planned, reason="stolen"):
    sign = Sign.objects.get(pk=planned.sign_id)
    remove_sign(sign=sign, removed_on=NOW.date(), reason=reason, now=NOW)


def work_of(planned):
    return work_for(
        programme=planned.programme,
        year=YEAR,
        asked=CrewDaysAsked((1,)),
        last_on=MONDAY + timedelta(days=4),
    )


def test_the_crew_puts_one_up_where_the_old_one_is_gone(planned):
    take_down(planned)
    assert [(each.task, each.planned) for each in work_of(planned)] == [("install", planned)]


def test_a_sign_no_longer_needed_is_no_work(planned):
    take_down(planned, "not_needed")
    assert work_of(planned) == []


def test_days_planned_before_it_came_down_are_planned_again(planned):
    plan = a_crew_day(planned).plan
    take_down(planned)
    with pytest.raises(StateConflictError, match="1 of the stops are done, given up or in"):
        make_packages(plan=plan, now=NOW)
    PlannedStop.objects.filter(plan=plan).update(task="install")
    make_packages(plan=plan, now=NOW)
    assert PackageStop.objects.get().task == "install"
