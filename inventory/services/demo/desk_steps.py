"""The engineer's steps of the main job: list in, verdicts, due list, order."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.errors import StateConflictError
from inventory.models import (
    Assessment,
    ImportRun,
    Observation,
    OrderLine,
    PrintOrder,
    Sign,
    Standing,
)
from inventory.services.assessment import assess_signs, mark_due
from inventory.services.demo.job import DESK_H, counted
from inventory.services.demo.methods import decide_some
from inventory.services.demo.press_history import moment
from inventory.services.importing import import_signs
from inventory.services.ordering import draft_order, order_groups, release_order
from inventory.services.ordering.on_order import OPEN_STATES

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from inventory.services.demo.job import Job

DRAFTED_FOR = timedelta(hours=1)
SHOWN_REFUSALS = 5
FAILING = frozenset({Verdict.BELOW.value, Verdict.SHEETING_NOT_ALLOWED.value})
PUT_RIGHT_AT_THE_POST = frozenset(
    {Observation.Kind.LEANING, Observation.Kind.TURNED, Observation.Kind.OBSTRUCTED}
)


def import_list(job: Job) -> None:
    """Take the township list in, once."""
    job.head("take over a list of signs from a township")
    earlier = ImportRun.objects.filter(
        organisation=job.agency,
        source_name=job.source.name,
        state=ImportRun.State.FINISHED,
    ).first()
    if earlier is not None:
        job.tell(
            f"Already done: {earlier.file_name}, {earlier.row_count} rows: "
            f"{earlier.created_count} created, {earlier.updated_count} updated, "
            f"{earlier.unchanged_count} unchanged, {earlier.refused_count} refused."
        )
        job.mark("import", is_new=False)
        return
    report = import_signs(
        organisation=job.agency,
        source=job.source,
        dry_run=False,
        by=job.engineer,
        progress=job.tick,
        now=job.desk,
    )
    counts = {outcome.value: count for outcome, count in report.counts.items()}
    job.tell(
        f"{job.source.file_name}, {report.row_count} rows: "
        + ", ".join(f"{count} {name}" for name, count in counts.items())
        + f"; {report.faces_made} faces on {report.supports_made} new supports."
    )
    for refusal in report.refusals[:SHOWN_REFUSALS]:
        job.tell(f"Refused, line {refusal.line}: {refusal.reason}")
    job.mark("import", is_new=True)


def count_unjudged(job: Job) -> int:
    """Return how many of the signs that are up have no verdict yet."""
    judged = Assessment.objects.filter(organisation=job.agency).values("sign")
    return signs_up(job).exclude(pk__in=judged).count()


def signs_up(job: Job) -> QuerySet[Sign]:
    """Return the agency's faces that are up."""
    return Sign.objects.filter(owner=job.agency, state=Sign.State.INSTALLED)


def judge(job: Job) -> None:
    """Give every face a verdict that has none."""
    job.head("judge every sign by the readings on record")
    if count_unjudged(job):
        assess_signs(
            organisation=job.agency,
            by=job.engineer,
            now=job.desk,
            progress=job.bar("verdicts"),
        )
    # The list's own signs were judged as they came in.
    count = signs_up(job).count()
    if job.unjudged:
        job.tell(f"{count:,} signs have a verdict; before, {job.unjudged:,} had none.")
    else:
        job.tell(f"Already done: all {count:,} signs have a verdict.")
    job.mark("judge", is_new=job.unjudged > 0)


def build_due_list(job: Job) -> None:
    """Build the due list again after something changed, and say how the signs stand."""
    job.head("build the due list")
    is_new = signs_up(job).filter(standing__isnull=True).exists() or job.result.done != []
    if is_new:
        mark_due(
            organisation=job.agency,
            by=job.engineer,
            now=job.desk,
            progress=job.bar("due list"),
        )
    rows = Standing.objects.filter(organisation=job.agency)
    verdicts = dict.fromkeys((verdict.value for verdict in Verdict), 0)
    for verdict in rows.values_list("verdict", flat=True):
        verdicts[verdict] += 1
    job.result.verdicts = verdicts
    job.result.due_before = rows.filter(is_due=True).count()
    total = max(1, sum(verdicts.values()))
    job.tell(("" if is_new else "Already done. ") + "Verdicts as they stand:")
    for verdict, count in verdicts.items():
        job.tell(f"  {verdict:<22}{count:>6,}  {100 * count / total:5.1f} %")
    job.tell(f"{job.result.due_before} signs are due.")
    job.mark("due list", is_new=is_new)


def order_faces(job: Job) -> None:
    """Order what is most urgent, or go on with the order there is."""
    job.head(f"order the {job.data['order_size']} most urgent faces from the shop")
    order = (
        PrintOrder.objects.filter(agency=job.agency, title=job.data["order_title"])
        .order_by("pk")
        .first()
    )
    if order is not None and order.state == PrintOrder.State.CANCELLED:
        job.tell(f"Order {order.number} was cancelled by somebody; it is left at that.")
        job.mark("order", is_new=False)
        return
    is_new = order is None or order.state == PrintOrder.State.DRAFT
    if order is None:
        order = _draft(job)
    if is_new:
        order = release_order(order=order, by=job.engineer, now=job.desk + DRAFTED_FOR)
        job.tell(f"Order {order.number} released to {job.shop}.")
    else:
        job.tell(f"Already done: order {order.number}, {order.get_state_display()}.")
    tell_groups(job, order)
    decide_some(job)
    job.order = order
    job.mark("order", is_new=is_new)


def order_next(job: Job) -> None:
    """Order the next faces of the kinds the scenario names, and leave them to the shop."""
    job.head("order more faces, which wait for the shop")
    words = job.data["next_order"]
    order = PrintOrder.objects.filter(agency=job.agency, title=words["title"]).first()
    if order is not None and order.state != PrintOrder.State.DRAFT:
        job.tell(f"Already done: order {order.number}, {order.get_state_display()}.")
        job.mark("next order", is_new=False)
        return
    at = moment(words["desk_day"], DESK_H)
    if order is None:
        signs = _next_signs(job, words["codes"], words["size"])
        if not signs:
            job.tell("Already done: nothing else of these kinds needs a new face.")
            job.mark("next order", is_new=False)
            return
        order = draft_order(
            agency=job.agency,
            shop=job.shop,
            signs=signs,
            by=job.engineer,
            title=words["title"],
            needed_by_on=words["needed_by_on"],
            sheeting_type=job.data["sheeting_type"],
            optics=job.data["optics"],
            now=at,
        ).order
    order = release_order(order=order, by=job.engineer, now=at + DRAFTED_FOR)
    job.tell(
        f"Order {order.number} released to {job.shop}, needed by {order.needed_by_on}; nobody "
        "has printed it yet."
    )
    tell_groups(job, order)
    job.mark("next order", is_new=True)


def _next_signs(job: Job, codes: list[str], size: int) -> list[Sign]:
    """Return due signs that need a new face and are on no order, kind by kind."""
    on_order = OrderLine.objects.filter(
        order__agency=job.agency, order__state__in=OPEN_STATES, position__isnull=False
    )
    due = Standing.objects.filter(organisation=job.agency, is_due=True).exclude(
        sign__position__in=on_order.values("position")
    )
    signs: list[Sign] = []
    for code in codes:
        rows = due.filter(sign_code__startswith=code).select_related("sign")
        signs += [
            row.sign
            for row in rows.order_by("due_order", "sign")
            if row.verdict in FAILING or not _only_needs_the_crew(row.sign)
        ]
    return signs[:size]


def _draft(job: Job) -> PrintOrder:
    signs, left_to_crew = _most_urgent(job)
    if left_to_crew:
        job.tell(
            f"Left to the crew, being put right at the post: {counted(left_to_crew, 'sign')} "
            "as urgent (leaning, turned away or hidden by growth)."
        )
    if not signs:
        msg = "No sign is due, so there is nothing to order."
        raise StateConflictError(msg)
    drafted = draft_order(
        agency=job.agency,
        shop=job.shop,
        signs=signs,
        by=job.engineer,
        title=job.data["order_title"],
        needed_by_on=job.data["needed_by_on"],
        sheeting_type=job.data["sheeting_type"],
        optics=job.data["optics"],
        now=job.desk,
    )
    for sign, sentence in drafted.refusals[:SHOWN_REFUSALS]:
        job.tell(f"Left out, sign {sign.pk}: {sentence}")
    return drafted.order


def _most_urgent(job: Job) -> tuple[list[Sign], int]:
    """Return the most urgent signs that need a new face, and how many before them do not."""
    due = Standing.objects.filter(organisation=job.agency, is_due=True)
    signs: list[Sign] = []
    left_to_crew = 0
    for row in due.select_related("sign").order_by("due_order", "sign").iterator():
        if len(signs) == job.data["order_size"]:
            break
        if row.verdict in FAILING or not _only_needs_the_crew(row.sign):
            signs.append(row.sign)
        else:
            left_to_crew += 1
    return signs, left_to_crew


def _only_needs_the_crew(sign: Sign) -> bool:
    """Return whether all that was found on a sign is put right at its post."""
    found = Observation.objects.filter(
        inspection__sign=sign, severity__gte=Observation.Severity.MODERATE
    )
    kinds = set(found.values_list("kind", flat=True))
    return bool(kinds) and kinds <= PUT_RIGHT_AT_THE_POST


def tell_groups(job: Job, order: PrintOrder) -> None:
    """Say what an order takes of each sheeting, and of the press."""
    for group in order_groups(order):
        job.tell(
            f"{counted(group.faces, 'face')} on {group.base_color} Type {group.sheeting_type} "
            f"{group.optics}: {group.area_ft2:.1f} ft², {group.press_minutes:.1f} min at "
            f"{order.press_rate_ft2_per_h:g} ft²/h."
        )
