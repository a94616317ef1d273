"""How long a crew works at a support, by what is done there and what it stands on."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from inventory.errors import OutOfRangeError

METHOD_VERSION = "service-times-1"
MINUTES_PER_HOUR = 60.0
# What needs the truck set up and hands on the face. No figure of their own is asked of an
# agency for repairing and taking down: as long as changing a face is our assumption.
WORK_ON_A_FACE = frozenset({"replace", "install", "repair", "remove"})
LOOKS = frozenset({"look", "check"})


@dataclass(frozen=True, slots=True)
class WorkTimes:
    """What an agency says work takes; see ``WorkBasis``."""

    face_hours: float
    face_hours_per_ft2: float
    support_hours: float
    read_minutes: float
    look_minutes: float
    hours_by_support: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Job:
    """One task at a face, and the face's area in ft²."""

    task: str
    area_ft2: float


def service_minutes(jobs: Sequence[Job], times: WorkTimes, *, support_type: str) -> list[float]:
    """
    Return the minutes of each job at one support; the first that needs it sets up.

    Parameters
    ----------
    jobs : sequence of Job
        What is done at the support on one visit, in order.
    times : WorkTimes
        The agency's own figures.
    support_type : str
        Whose added hours count for every face worked on; empty where it is not known.

    Returns
    -------
    list of float
        As many as jobs. [min]

    Raises
    ------
    OutOfRangeError
        If a task is not known, or an area is not a number of 0 or more.

    Notes
    -----
    Changing, putting up, repairing or taking down a face: face hours + hours per ft² × area +
    hours added for the support's type. A reading and a look take their own minutes, without
    setting up.

    Examples
    --------
    >>> times = WorkTimes(0.5, 0.04, 0.3, 6.0, 2.0, {"mast_arm": 0.5})
    >>> faces = [Job("replace", 6.25), Job("replace", 6.25), Job("read", 6.25)]
    >>> service_minutes(faces, times, support_type="u_channel")
    [63.0, 45.0, 6.0]
    >>> service_minutes(faces[:1], times, support_type="mast_arm")
    [93.0]
    """
    found = []
    is_set_up = False
    for job in jobs:
        if not (math.isfinite(job.area_ft2) and job.area_ft2 >= 0):
            msg = f"The face has an area of {job.area_ft2:g} ft²; it is 0 or more."
            raise OutOfRangeError(msg)
        if job.task in WORK_ON_A_FACE:
            hours = times.face_hours + times.face_hours_per_ft2 * job.area_ft2
            hours += float(times.hours_by_support.get(support_type, 0.0))
            hours += 0.0 if is_set_up else times.support_hours
            is_set_up = True
            found.append(hours * MINUTES_PER_HOUR)
        elif job.task == "read":
            found.append(times.read_minutes)
        elif job.task in LOOKS:
            found.append(times.look_minutes)
        else:
            msg = f"'{job.task}' is no task whose minutes are known."
            raise OutOfRangeError(msg)
    return found
