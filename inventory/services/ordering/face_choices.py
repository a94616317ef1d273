"""What an engineer decides about the next face of a position before it is ordered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.ordering.outlines import face_outline
from inventory.engineering.standards.sheeting import read_sheeting_type
from inventory.errors import NotPermittedError, OutOfRangeError, StateConflictError
from inventory.models import FaceChoice, Position, Sign
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.ordering.lines import MAXIMUM_DIMENSION_IN, Rulebook, settled_optics
from inventory.services.ordering.on_order import why_not_again

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import Organisation, User

LONGEST_REASON = FaceChoice._meta.get_field("left_out_reason").max_length or 0


@transaction.atomic
def choose_sheeting(
    *,
    position: Position,
    agency: Organisation,
    sheeting_type: str,
    optics: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> FaceChoice | None:
    """Choose the sheeting of a position's next face; without a type, as for the others."""
    now = now or timezone.now()
    locked = _lock(position, agency)
    if sheeting_type:
        sheeting_type = read_sheeting_type(sheeting_type).value
    optics = settled_optics(sheeting_type, optics).value if sheeting_type else ""
    return _keep(locked, by, now, sheeting_type=sheeting_type, optics=optics)


@transaction.atomic
def leave_out(
    *,
    position: Position,
    agency: Organisation,
    reason: str,
    by: User | None = None,
    now: datetime | None = None,
) -> FaceChoice | None:
    """Order nothing for a position as long as the same face stands there, with a reason."""
    now = now or timezone.now()
    if not reason.strip():
        msg = "Say in a few words why nothing is ordered for this place."
        raise OutOfRangeError(msg)
    if len(reason.strip()) > LONGEST_REASON:
        msg = (
            f"The reason has {len(reason.strip())} characters; at most {LONGEST_REASON} are "
            "kept. Shorten it."
        )
        raise OutOfRangeError(msg)
    locked = _lock(position, agency)
    return _keep(locked, by, now, left_out_reason=reason.strip())


@transaction.atomic
def take_in(
    *,
    position: Position,
    agency: Organisation,
    by: User | None = None,
    now: datetime | None = None,
) -> FaceChoice | None:
    """Order for a position again that was left out."""
    locked = _lock(position, agency)
    return _keep(locked, by, now or timezone.now(), left_out_reason="")


@transaction.atomic
def set_asked_face(
    *,
    position: Position,
    agency: Organisation,
    sign_code: str,
    variant: str = "",
    width_in: float | None = None,
    height_in: float | None = None,
    size_reason: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> Position:
    """
    Change which sign a position asks for from now on, and its size.

    Without a size the standard one of its road's class is asked for. The face that stands there
    keeps what is on record of it.
    """
    now = now or timezone.now()
    locked = _lock(position, agency)
    why_not = why_not_again([locked.pk]).get(locked.pk)
    if why_not is not None:
        msg = f"{why_not} Another face can be asked for once that is undone."
        raise StateConflictError(msg)
    resolved = Rulebook.of(agency, now).codes.resolve(sign_code)
    if (width_in is None) != (height_in is None):
        msg = "Give both width and height, or neither for the standard size of the road."
        raise OutOfRangeError(msg)
    if width_in is not None and height_in is not None:
        if max(width_in, height_in) > MAXIMUM_DIMENSION_IN:
            msg = (
                f"A face of {width_in:g} × {height_in:g} in is larger than "
                f"{MAXIMUM_DIMENSION_IN:g} in; sizes are in inches, so check the unit."
            )
            raise OutOfRangeError(msg)
        face_outline(resolved.sign_type.shape, width_in, height_in)  # refuses what cannot be
    before = _asked_words(locked)
    locked.sign_code = resolved.sign_type.code
    locked.variant = variant.strip() or resolved.variant
    locked.width_in, locked.height_in = width_in, height_in
    locked.size_override_reason = size_reason.strip() if width_in is not None else ""
    if _asked_words(locked) == before:
        return locked
    check_fields(locked, exclude=["organisation", "support", "parent"])
    locked.save(
        update_fields=["sign_code", "variant", "width_in", "height_in", "size_override_reason"]
    )
    log(
        organisation=agency,
        actor=by,
        verb="change what is asked for",
        text=f"{locked} asks for {_asked_words(locked)} from now on; it was {before}.",
        at=now,
        sign=Sign.objects.filter(position=locked, state=Sign.State.INSTALLED).first(),
    )
    return locked


def _lock(position: Position, agency: Organisation) -> Position:
    locked: Position = (
        Position.objects.select_for_update(of=("self",))
        .select_related("organisation", "support")
        .get(pk=position.pk)
    )
    if locked.organisation_id != agency.pk:
        msg = f"This place belongs to {locked.organisation}, not to {agency}."
        raise NotPermittedError(msg)
    return locked


def _keep(position: Position, by: User | None, now: datetime, **said: str) -> FaceChoice | None:
    """Keep what was decided about the face that stands now; nothing left to say is no row."""
    standing = Sign.objects.filter(position=position, state=Sign.State.INSTALLED).first()
    choice = FaceChoice.objects.filter(position=position).first()
    if choice is None or choice.replaces_id != (standing and standing.pk):
        # What was decided about an earlier face says nothing of this one.
        if choice is not None:
            choice.delete()
        choice = FaceChoice(position=position, replaces=standing)
    for name, value in said.items():
        setattr(choice, name, value)
    if not choice.sheeting_type and not choice.left_out_reason:
        if choice.pk is not None:
            choice.delete()
        return None
    choice.decided_at, choice.decided_by = now, by
    check_fields(choice, exclude=["position", "replaces", "decided_by"])
    choice.save()
    told = (
        f"is left out of orders: {choice.left_out_reason}"
        if choice.left_out_reason
        else f"gets its next face on Type {choice.sheeting_type} sheeting"
    )
    log(
        organisation=position.organisation,
        actor=by,
        verb="decide on next face",
        text=f"{position} {told}.",
        at=now,
        sign=standing,
    )
    return choice


def _asked_words(position: Position) -> str:
    size = (
        f"{position.width_in:g} × {position.height_in:g} in"
        if position.width_in is not None and position.height_in is not None
        else "the standard size of its road"
    )
    reason = f" ({position.size_override_reason})" if position.size_override_reason else ""
    return f"{position.sign_code or 'an unknown code'}{position.variant}, {size}{reason}"
