"""
The crew's day as a work package: the printed faces go up, and signs are read.

It is dated on the day the demo is looked at, so that a phone has work for today; all else keeps
the scenario's own days.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.models import PackageStop, Sign, Standing, StopResult, WorkPackage
from inventory.services.demo.job import DESK_H, counted
from inventory.services.demo.press_history import moment
from inventory.services.work_packages import WantedStop, hand_out, make_package, set_package

if TYPE_CHECKING:
    from inventory.models import Position
    from inventory.services.demo.job import Job

Task = PackageStop.Task
TO_READ = (Verdict.UNDECIDED.value, Verdict.NO_USABLE_READING.value)


def hand_out_day(job: Job) -> None:
    """Put the crew's day together and hand it out once; not begun, it moves on to today."""
    job.head("hand the crew its day")
    data = job.data["package"]
    package = WorkPackage.objects.filter(organisation=job.agency, title=data["title"]).first()
    if package is not None and package.state != WorkPackage.State.DRAFT:
        job.tell(f"Already done: '{package.title}', {_brought_to(package, job)}.")
        job.mark("package", is_new=False)
        return
    at = moment(data["desk_day"], DESK_H)
    if package is None:
        package = make_package(
            organisation=job.agency,
            title=data["title"],
            work_on=job.today,
            crew=job.crew,
            bring=data["bring"],
            stops=_stops(job),
            by=job.engineer,
            now=at,
        )
    hand_out(package=package, by=job.engineer, now=at)
    tasks = list(package.stops.values_list("task", flat=True))
    job.tell(
        f"'{package.title}' is with {job.crew} for {package.work_on:%Y-%m-%d}: "
        f"{counted(len(tasks), 'stop')}, {tasks.count(Task.REPLACE)} to replace, "
        f"{tasks.count(Task.REPAIR)} to repair, {tasks.count(Task.READ)} to read."
    )
    job.mark("package", is_new=True)


def _brought_to(package: WorkPackage, job: Job) -> str:
    """Date a package the crew has not begun on the day of now, and say how it is."""
    is_begun = StopResult.objects.filter(stop__package=package).exists()
    if package.state == WorkPackage.State.HANDED_OUT and not is_begun:
        package = set_package(
            package=package,
            title=package.title,
            work_on=job.today,
            crew=package.crew,
            bring=package.bring,
            by=job.engineer,
        )
    return f"{package.get_state_display()} for {package.work_on:%Y-%m-%d}"


def _stops(job: Job) -> list[WantedStop]:
    """Return where printed faces wait to go up, and on the same roads what to mend and read."""
    data = job.data["package"]
    stops = [
        WantedStop(position, Task.REPLACE, f"face {face.label_id} is in stock")
        for face, position in _waiting(job)[: data["replace_count"]]
    ]
    roads = {each.position.support.road_id for each in stops}
    rows = (
        Standing.objects.filter(organisation=job.agency, responsible=Sign.Responsible.AGENCY)
        .exclude(sign__position__in=[each.position for each in stops])
        .select_related("sign__position__support")
        .order_by("due_order", "sign")
    )
    if roads:
        rows = rows.filter(road__in=roads)
    for task, chosen, count in (
        (
            Task.REPAIR,
            rows.filter(verdict=Verdict.MEETS, condition__gte=Standing.Condition.MODERATE),
            data["repair_count"],
        ),
        (
            Task.READ,
            rows.filter(verdict__in=TO_READ, condition__lt=Standing.Condition.MODERATE),
            data["read_count"],
        ),
    ):
        stops += [
            WantedStop(row.sign.position, task)
            for row in chosen[:count]
            if row.sign.position is not None
        ]
    return stops


def _waiting(job: Job) -> list[tuple[Sign, Position]]:
    """Return the faces of the job's order that are printed and not up, most urgent first."""
    if job.order is None:
        return []
    faces = (
        Sign.objects.filter(layout_face__layout__order=job.order, state=Sign.State.IN_STOCK)
        .select_related("layout_face__line__position__support")
        .order_by("layout_face__line__replaces__standing__due_order", "pk")
    )
    return [
        (face, face.layout_face.line.position)
        for face in faces
        if face.layout_face.line.position is not None
    ]
