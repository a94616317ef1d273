"""Minutes at a support, reckoned by hand from the agency's own figures."""

from __future__ import annotations

import math

import pytest

from inventory.engineering.programme.service_times import Job, WorkTimes, service_minutes
from inventory.errors import OutOfRangeError
from inventory.models import PackageStop

TIMES = WorkTimes(0.4, 0.02, 0.25, 6.0, 2.0, {"overhead_bridge": 1.0})


def test_every_task_a_package_can_have_has_its_minutes():
    for task in PackageStop.Task.values:
        [minutes] = service_minutes([Job(task, 6.25)], TIMES, support_type="wood")
        # By hand: 60 × (0.4 + 0.02 × 6.25 + 0.25) = 46.5 min with the truck set up.
        assert minutes == {"read": 6.0, "look": 2.0, "check": 2.0}.get(
            task, pytest.approx(46.5)
        )


def test_setting_up_is_paid_once_and_by_the_first_that_needs_it():
    jobs = [Job("read", 9.0), Job("replace", 0.0), Job("repair", 0.0)]
    assert service_minutes(jobs, TIMES, support_type="") == [
        6.0,
        pytest.approx(39.0),  # 60 × (0.4 + 0.25)
        pytest.approx(24.0),  # 60 × 0.4
    ]


def test_a_bridge_over_the_road_takes_its_own_hours_for_each_face():
    jobs = [Job("replace", 0.0), Job("replace", 0.0)]
    assert service_minutes(jobs, TIMES, support_type="overhead_bridge") == [
        pytest.approx(99.0),
        pytest.approx(84.0),
    ]


@pytest.mark.parametrize("area", [-0.1, math.nan, math.inf])
def test_an_area_that_cannot_be_is_refused(area):
    with pytest.raises(OutOfRangeError, match="it is 0 or more"):
        service_minutes([Job("replace", area)], TIMES, support_type="")


def test_an_unknown_task_is_refused():
    with pytest.raises(OutOfRangeError, match="'paint' is no task"):
        service_minutes([Job("paint", 1.0)], TIMES, support_type="")
