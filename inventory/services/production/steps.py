"""Steps after the press: the shop's own list, and what was done on which face."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Blank, FaceStep, Organisation, Panel, ShopStep, Sign
from inventory.services.logbook import log
from inventory.services.production.blanks import blanks_left

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from inventory.models import User

MOST_FACES = 500
MOST_HOURS = 24.0 * 60
BATCH = 500


@transaction.atomic
def set_step(
    *,
    shop: Organisation,
    name: str,
    kind: str,
    least_hours: float | None = None,
    is_in_use: bool = True,
    place: int | None = None,
    step: ShopStep | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> ShopStep:
    """Add a step to a shop's list, behind the others unless told otherwise, or change one."""
    if shop.kind != Organisation.Kind.SHOP:
        msg = f"{shop} is a {shop.get_kind_display()}; only a sign shop has steps."
        raise StateConflictError(msg)
    name = name.strip()
    if not name or kind not in ShopStep.Kind.values:
        msg = "Give the step a name and a kind, such as 'Dry the print' and dried."
        raise OutOfRangeError(msg)
    if least_hours is not None and not (
        math.isfinite(least_hours) and 0 <= least_hours <= MOST_HOURS
    ):
        msg = f"{least_hours:g} hours are out of range; it is 0 to {MOST_HOURS:g}, or nothing."
        raise OutOfRangeError(msg)
    others = ShopStep.objects.filter(organisation=shop)
    if others.filter(name=name).exclude(pk=step.pk if step else None).exists():
        msg = f"{shop} has a step '{name}' already; give this one another name."
        raise StateConflictError(msg)
    if place is None:
        last = others.aggregate(last=Max("place"))["last"] or 0
        place = step.place if step is not None else last + 1
    if not 1 <= place <= 99:
        msg = f"A place of {place} in the order of steps is out of range; it is 1 to 99."
        raise OutOfRangeError(msg)
    fields = {
        "name": name,
        "kind": kind,
        "least_hours": least_hours,
        "is_in_use": is_in_use,
        "place": place,
    }
    stored, _ = ShopStep.objects.update_or_create(
        pk=step.pk if step else None, defaults={"organisation": shop} | fields
    )
    hours = f", {least_hours:g} h after printing" if least_hours else ""
    log(
        organisation=shop,
        actor=by,
        verb="set step",
        text=f"Step {place}: {name}{hours}{'' if is_in_use else '; no longer in use'}.",
        at=now or timezone.now(),
    )
    return stored


@transaction.atomic
def mark_step(
    *,
    signs: Sequence[Sign],
    step: ShopStep,
    done_at: datetime,
    blank: Blank | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> int:
    """
    Record a step as done on faces; return on how many. All or none.

    The steps before it in the list have to be done, and the hours it asks for since printing
    have to be over. A face put on a blank takes one out of stock.
    """
    now = now or timezone.now()
    if not signs or len(signs) > MOST_FACES:
        msg = f"A step cannot be marked on {len(signs)} faces; pick 1 to {MOST_FACES}."
        raise OutOfRangeError(msg)
    if done_at > now:
        msg = "A step is recorded when it is done; this moment is still to come."
        raise OutOfRangeError(msg)
    faces = _locked(signs, step)
    done = done_on(faces)
    before = list(
        ShopStep.objects.filter(
            organisation=step.organisation_id, is_in_use=True, place__lt=step.place
        ).order_by("place", "pk")
    )
    for face in faces:
        _check_next(face, step, done[face.pk], before, done_at)
    if (blank is not None) != (step.kind == ShopStep.Kind.APPLIED):
        msg = (
            f"'{step}' puts no face on a blank; leave the blank out."
            if blank is not None
            else f"'{step}' puts faces on blanks: say which, so that they leave the stock."
        )
        raise OutOfRangeError(msg)
    if blank is not None:
        _take_blanks(blank, faces, step)
    FaceStep.objects.bulk_create(
        [
            FaceStep(
                sign=face,
                step=step,
                blank=blank,
                done_at=done_at,
                recorded_at=now,
                recorded_by=by,
            )
            for face in faces
        ],
        batch_size=BATCH,
    )
    log(
        organisation=step.organisation,
        actor=by,
        verb="mark step",
        text=f"{step}: {len(faces)} faces.",
        at=now,
    )
    return len(faces)


@transaction.atomic
def withdraw_step(
    *,
    sign: Sign,
    step: ShopStep,
    reason: str,
    by: User | None = None,
    now: datetime | None = None,
) -> FaceStep:
    """Record that a step was not done on a face after all; what was written stays."""
    now = now or timezone.now()
    (face,) = _locked([sign], step)
    done = done_on([face])[face.pk]
    if step.pk not in done:
        msg = f"'{step}' is not on record as done on face {face.label_id}."
        raise StateConflictError(msg)
    if not reason.strip():
        msg = "Say why the step is withdrawn."
        raise OutOfRangeError(msg)
    later = [each.step.name for each in done.values() if each.step.place > step.place]
    if later:
        msg = f"'{later[0]}' was done on face {face.label_id} since; withdraw that first."
        raise StateConflictError(msg)
    if done[step.pk].blank_id is not None:
        Sign.objects.filter(pk=face.pk).update(panel=None)
    withdrawn: FaceStep = FaceStep.objects.create(
        sign=face,
        step=step,
        is_withdrawn=True,
        blank=done[step.pk].blank,
        note=reason.strip()[:200],
        done_at=done[step.pk].done_at,
        recorded_at=now,
        recorded_by=by,
    )
    log(
        organisation=step.organisation,
        actor=by,
        verb="withdraw step",
        text=f"{step} of face {face.label_id} withdrawn: {withdrawn.note}",
        at=now,
        sign=face,
    )
    return withdrawn


def done_on(signs: Iterable[Sign]) -> dict[int, dict[int, FaceStep]]:
    """Return the steps that are done on each face, by step, in one query."""
    done: dict[int, dict[int, FaceStep]] = defaultdict(dict)
    rows = FaceStep.objects.filter(sign__in=[sign.pk for sign in signs])
    for each in rows.select_related("step", "blank", "recorded_by").order_by(
        "recorded_at", "pk"
    ):
        if each.is_withdrawn:
            done[each.sign_id].pop(each.step_id, None)
        else:
            done[each.sign_id][each.step_id] = each
    return done


@dataclass(frozen=True)
class NextStep:
    """The step that is next on a face, and when it may be done at the earliest."""

    step: ShopStep
    not_before: datetime | None


def next_steps(shop: Organisation, signs: Sequence[Sign]) -> dict[int, NextStep | None]:
    """Return what is next on each face, by its key; none where every step is done."""
    steps = list(ShopStep.objects.owned_by(shop).filter(is_in_use=True).order_by("place", "pk"))
    done = done_on(signs)
    found: dict[int, NextStep | None] = {}
    for sign in signs:
        step = next((each for each in steps if each.pk not in done[sign.pk]), None)
        found[sign.pk] = None if step is None else NextStep(step, _earliest(sign, step))
    return found


def _earliest(sign: Sign, step: ShopStep) -> datetime | None:
    if step.least_hours is None or sign.print_run is None:
        return None
    return sign.print_run.finished_at + timedelta(hours=step.least_hours)


def _locked(signs: Sequence[Sign], step: ShopStep) -> list[Sign]:
    rows = Sign.objects.select_for_update(of=("self",)).select_related("print_run")
    faces = list(rows.filter(pk__in=[sign.pk for sign in signs]).order_by("pk"))
    for face in faces:
        is_here = face.state == Sign.State.IN_STOCK and face.owner_id is None
        if face.maker_id != step.organisation_id or not is_here:
            msg = f"Face {face.label_id or face.pk} is not in the shop's stock any more."
            raise StateConflictError(msg)
    return faces


def _check_next(
    face: Sign,
    step: ShopStep,
    done: dict[int, FaceStep],
    before: Sequence[ShopStep],
    done_at: datetime,
) -> None:
    if step.pk in done:
        msg = f"'{step}' is done on face {face.label_id} already; leave it out."
        raise StateConflictError(msg)
    missing = next((each for each in before if each.pk not in done), None)
    if missing is not None:
        msg = f"'{missing}' comes before '{step}' and is not done on face {face.label_id}."
        raise StateConflictError(msg)
    last = max((each.done_at for each in done.values()), default=None)
    run = face.print_run
    if run is not None and (last is None or last < run.finished_at):
        last = run.finished_at
    if last is not None and done_at < last:
        msg = f"Face {face.label_id} was printed, or its step before done, after that moment."
        raise OutOfRangeError(msg)
    earliest = _earliest(face, step)
    if earliest is not None and done_at < earliest:
        clock = step.organisation.clock_words(earliest)
        msg = (
            f"'{step}' asks for {step.least_hours:g} h since printing, and for face "
            f"{face.label_id} these are over at {clock}."
        )
        raise StateConflictError(msg)


def _take_blanks(blank: Blank, faces: Sequence[Sign], step: ShopStep) -> None:
    """Put faces on blanks of one kind; each face has its panel from then on."""
    locked = Blank.objects.select_for_update(of=("self",)).get(pk=blank.pk)
    if locked.organisation_id != step.organisation_id:
        msg = f"{locked} is not in the stock of {step.organisation}."
        raise StateConflictError(msg)
    for face in faces:
        is_same = (face.width_in, face.height_in) == (locked.width_in, locked.height_in)
        if not is_same:
            msg = (
                f"Face {face.label_id} is {face.width_in:g} × {face.height_in:g} in and "
                f"{locked} is not; pick blanks of its size."
            )
            raise StateConflictError(msg)
    there = blanks_left([locked])[locked.pk]
    if there < len(faces):
        msg = f"{len(faces)} faces need as many of {locked}, and {there} are in stock."
        raise StateConflictError(msg)
    for face in faces:
        face.panel = Panel.objects.create(
            organisation=step.organisation,
            width_in=locked.width_in,
            height_in=locked.height_in,
            thickness_in=locked.thickness_in,
            holes=locked.holes,
        )
    Sign.objects.bulk_update(faces, ["panel"], batch_size=BATCH)
