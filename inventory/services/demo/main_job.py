"""
The main job on the scenario, once round the circle, each step told in plain words.

List in, verdicts, due list, order, print run, new faces up, the next order. Each step looks at
what is stored first: what was done before is said and not done again, and what was broken off
goes on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.errors import InventoryError, StateConflictError
from inventory.models import Role, Sign, Standing
from inventory.services.demo.crew_day import hand_out_day
from inventory.services.demo.desk_steps import (
    build_due_list,
    count_unjudged,
    import_list,
    judge,
    order_faces,
    order_next,
)
from inventory.services.demo.job import Job, MainJobResult, person_in, running_order
from inventory.services.demo.load import scenario_parties
from inventory.services.demo.press_history import moment
from inventory.services.demo.shop_steps import print_faces
from inventory.services.installation import install_sign
from inventory.services.ordering import order_counts

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime

    from inventory.services.importing.reports import Progress
    from inventory.services.importing.rows import SourceList

ROAD_H = 18


def run_main_job(
    *, source: SourceList, say: Callable[[str], None], progress: Progress, today: date
) -> MainJobResult:
    """
    Do what is left of the main job on the loaded scenario, telling each step.

    ``today`` is for which day the crew is given its stops; all else has the scenario's days.
    """
    agency, shop = scenario_parties()
    job = Job(
        agency=agency,
        shop=shop,
        engineer=person_in(agency, Role.ENGINEER),
        operator=person_in(shop, Role.SHOP),
        crew=person_in(agency, Role.CREW),
        source=source,
        say=say,
        tick=progress,
        result=MainJobResult(),
        today=today,
    )
    job.unjudged = count_unjudged(job)
    job.attempt("import", import_list)
    job.attempt("judge", judge)
    job.attempt("due list", build_due_list)
    job.attempt("order", order_faces)
    job.attempt("print", print_faces)
    job.attempt("install", _install)
    job.attempt("next order", order_next)
    job.attempt("package", hand_out_day)
    _compare(job)
    return job.result


def _install(job: Job) -> None:
    job.head(f"put up {job.data['install_count']} of the new faces")
    order = running_order(job)
    counts = order_counts([order])[order.pk]
    wanted = min(job.data["install_count"], counts.ordered)
    left = wanted - counts.installed
    if left <= 0:
        job.tell(f"Already done: {counts.installed} faces of order {order.number} are up.")
        job.mark("install", is_new=False)
        return
    waiting = (
        Sign.objects.filter(layout_face__layout__order=order, state=Sign.State.IN_STOCK)
        .select_related("layout_face__line__position", "layout_face__line__replaces__standing")
        .order_by("layout_face__line__replaces__standing__due_order", "pk")
    )
    up = 0
    road_now = moment(job.data["road_day"], ROAD_H)
    for face in waiting:
        if up == left:
            break
        try:
            _put_up(job, face, road_now)
        except InventoryError as error:
            job.tell(f"Not put up, face {face.label_id}: {error}")
        else:
            up += 1
            job.tick("faces", up, left)
    order.refresh_from_db()
    counts = order_counts([order])[order.pk]
    job.tell(
        f"{up} old faces taken down and {up} new ones up; {counts.in_stock} printed faces wait "
        f"for the crew, order {order.number} is {order.get_state_display()}."
    )
    job.mark("install", is_new=True)


def _put_up(job: Job, face: Sign, now: datetime) -> None:
    line = face.layout_face.line
    old = line.replaces
    if line.position is None:
        msg = f"line {line.number} of the order is for stock, not for a place."
        raise StateConflictError(msg)
    install_sign(
        sign=face,
        position=line.position,
        installed_on=job.agency.day_of(now),
        by=job.crew,
        replaces=old,
        removal_reason=_removal_reason(old),
        now=now,
    )


def _removal_reason(old: Sign | None) -> str | None:
    """Return why the old face comes down, as its standing says."""
    if old is None:
        return None
    standing = Standing.objects.filter(sign=old).first()
    if standing is not None and standing.verdict == Verdict.BELOW:
        return Sign.RemovalReason.BELOW_LEVEL
    if standing is not None and standing.condition >= Standing.Condition.MODERATE:
        return Sign.RemovalReason.DAMAGED
    return Sign.RemovalReason.OTHER


def _compare(job: Job) -> None:
    job.head("look at the due list again")
    due = Standing.objects.filter(organisation=job.agency, is_due=True)
    job.result.due_after = due.count()
    job.tell(f"Due before: {job.result.due_before}. Due now: {job.result.due_after}.")
    nexts = due.select_related("road").order_by("due_order", "sign")[:3]
    for row in nexts:
        road = f" on {row.road}" if row.road is not None else ""
        job.tell(f"Next: {row.sign_code} {row.sign_name}{road}: {row.due_reason}")
