"""Two records of one post, or of one face, put together; each can be undone by a new row."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import NotPermittedError, OutOfRangeError, StateConflictError
from inventory.models import (
    Inspection,
    MovedPosition,
    OrderLine,
    Position,
    PrintOrder,
    RelinkedInspection,
    Sign,
    SignMerge,
    SignMergeUndo,
    SupportMerge,
    SupportMergeUndo,
)
from inventory.services.assessment import assess_sign
from inventory.services.damage_standing import rebuild_damage_of_signs
from inventory.services.exchange.receive import lock_organisation
from inventory.services.logbook import log
from inventory.services.ordering.reservations import free_place
from inventory.services.relinks import (
    counts_for,
    relinked_to,
    signs_kept_for,
    supports_kept_for,
)
from inventory.services.standing import lock_signs, policy_or_none, refresh_standing
from inventory.services.support_moves import (
    lock_supports,
    rebuild_standings,
    signs_standing_on,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.models import Organisation, Support, User

LONGEST_REASON = SignMerge._meta.get_field("reason").max_length or 0
OPEN_ORDER_STATES = (
    PrintOrder.State.DRAFT,
    PrintOrder.State.RELEASED,
    PrintOrder.State.PRINTED,
)


@transaction.atomic
def merge_supports(
    *,
    kept: Support,
    duplicate: Support,
    reason: str,
    by: User | None = None,
    now: datetime | None = None,
) -> SupportMerge:
    """
    Put two records of one post together: what hangs on the duplicate hangs on the kept one.

    The duplicate stays on record, empty, at its own point; undoing takes its signs back.
    """
    now = now or timezone.now()
    reason = _read_reason(reason, "the two are one post")
    _check_two(kept.pk, duplicate.pk, "support")
    lock_organisation(kept.organisation)
    locked = {each.pk: each for each in lock_supports([kept.pk, duplicate.pk])}
    kept, duplicate = locked[kept.pk], locked[duplicate.pk]
    _check_same_owner(kept.organisation, duplicate.organisation)
    _check_not_merged(supports_kept_for([kept.pk, duplicate.pk]), "support")
    merge: SupportMerge = SupportMerge.objects.create(
        organisation=kept.organisation,
        kept=kept,
        duplicate=duplicate,
        reason=reason,
        merged_at=now,
        merged_by=by,
    )
    positions = _lock_positions(support=duplicate)
    MovedPosition.objects.bulk_create(
        MovedPosition(merge=merge, position=position) for position in positions
    )
    _hang_on(kept, positions)
    words = (
        f"Support {duplicate.pk} is support {kept.pk}, recorded twice: "
        f"{_places(len(positions))} moved over. {reason}"
    )
    _tell(kept, positions, "merge supports", words, by, now)
    return merge


@transaction.atomic
def undo_support_merge(
    *, merge: SupportMerge, reason: str, by: User | None = None, now: datetime | None = None
) -> SupportMergeUndo:
    """Take a merge of supports back: what was moved over hangs on its own support again."""
    now = now or timezone.now()
    reason = _read_reason(reason, "the merge is undone")
    lock_organisation(merge.organisation)
    lock_supports([merge.kept_id, merge.duplicate_id])
    locked: SupportMerge = (
        SupportMerge.objects.select_for_update(of=("self",))
        .select_related("organisation", "kept", "duplicate")
        .get(pk=merge.pk)
    )
    known = SupportMergeUndo.objects.filter(merge=locked).first()
    if known is not None:
        raise _undone_before(locked.organisation, known)
    _check_kept_stands(supports_kept_for([locked.kept_id]), "support")
    positions = _lock_positions(moves__merge=locked)
    elsewhere = [each for each in positions if each.support_id != locked.kept_id]
    if elsewhere:
        msg = (
            f"'{elsewhere[0]}' hangs on support {elsewhere[0].support_id} by now, not on "
            f"support {locked.kept_id}; undo what moved it there first."
        )
        raise StateConflictError(msg)
    undo: SupportMergeUndo = SupportMergeUndo.objects.create(
        merge=locked, reason=reason, undone_at=now, undone_by=by
    )
    _hang_on(locked.duplicate, positions)
    words = (
        f"Support {locked.duplicate_id} is a post of its own, not support {locked.kept_id}: "
        f"{_places(len(positions))} moved back. {reason}"
    )
    _tell(locked.duplicate, positions, "undo merge of supports", words, by, now)
    return undo


@transaction.atomic
def merge_signs(
    *,
    kept: Sign,
    duplicate: Sign,
    reason: str,
    by: User | None = None,
    now: datetime | None = None,
) -> SignMerge:
    """
    Put two records of one face together: the duplicate's inspections count for the kept one.

    No fact is changed: each inspection gets a row that says for which sign it counts. The
    duplicate is taken off the road as recorded twice, and its place, if it is another one,
    retired.
    """
    now = now or timezone.now()
    reason = _read_reason(reason, "the two are one face")
    _check_two(kept.pk, duplicate.pk, "sign")
    # What phones send meanwhile waits: it is for the one sign or for the other, by then.
    lock_organisation(_owner_of(kept))
    places = {each.pk: each for each in _lock_positions(signs__in=[kept.pk, duplicate.pk])}
    locked = {each.pk: each for each in lock_signs([kept.pk, duplicate.pk])}
    kept, duplicate = locked[kept.pk], locked[duplicate.pk]
    owner = _owner_of(kept)
    _check_same_owner(owner, _owner_of(duplicate))
    _check_not_merged(signs_kept_for([kept.pk, duplicate.pk]), "sign")
    _check_one_face(kept, duplicate)
    is_standing = duplicate.state == Sign.State.INSTALLED
    retired = _place_to_retire(places, kept, duplicate) if is_standing else None
    merge: SignMerge = SignMerge.objects.create(
        organisation=owner,
        kept=kept,
        duplicate=duplicate,
        duplicate_state=duplicate.state,
        retired_position=retired,
        reason=reason,
        merged_at=now,
        merged_by=by,
    )
    # Those an earlier merge made count for the duplicate go on with it.
    relinked = relinked_to([duplicate.pk])
    visits = Inspection.objects.filter(counts_for([duplicate.pk], relinked)).order_by("pk")
    RelinkedInspection.objects.bulk_create(
        RelinkedInspection(merge=merge, inspection_id=visit, sign=kept)
        for visit in visits.values_list("pk", flat=True)
    )
    if is_standing:
        duplicate.state = Sign.State.REMOVED
        duplicate.removed_on = owner.day_of(now)
        duplicate.removal_reason = Sign.RemovalReason.DUPLICATE
        duplicate.save(update_fields=["state", "removed_on", "removal_reason"])
    if retired is not None:
        retired.is_retired = True
        free_place(position=retired, words="the place was merged with another", now=now)
        retired.save(update_fields=["is_retired"])
    words = f"Sign {duplicate.pk} is sign {kept.pk}, recorded twice. {reason}"
    for sign in (kept, duplicate):
        log(
            organisation=owner,
            actor=by,
            verb="merge signs",
            text=words,
            at=now,
            sign=sign,
            detail={"merge": merge.pk},
        )
    _judge_anew((kept, duplicate), owner, by, now)
    return merge


@transaction.atomic
def undo_sign_merge(
    *, merge: SignMerge, reason: str, by: User | None = None, now: datetime | None = None
) -> SignMergeUndo:
    """
    Take a merge of signs back: the duplicate is what it was, and its inspections its own.

    What was recorded on the kept sign since stays with it.
    """
    now = now or timezone.now()
    reason = _read_reason(reason, "the merge is undone")
    lock_organisation(merge.organisation)
    _lock_positions(signs__in=[merge.kept_id, merge.duplicate_id])
    signs = {each.pk: each for each in lock_signs([merge.kept_id, merge.duplicate_id])}
    locked: SignMerge = (
        SignMerge.objects.select_for_update(of=("self",))
        .select_related("organisation", "retired_position")
        .get(pk=merge.pk)
    )
    known = SignMergeUndo.objects.filter(merge=locked).first()
    if known is not None:
        raise _undone_before(locked.organisation, known)
    _check_kept_stands(signs_kept_for([locked.kept_id]), "sign")
    kept, duplicate = signs[locked.kept_id], signs[locked.duplicate_id]
    undo: SignMergeUndo = SignMergeUndo.objects.create(
        merge=locked, reason=reason, undone_at=now, undone_by=by
    )
    if locked.duplicate_state == Sign.State.INSTALLED:
        _check_place_is_free(duplicate)
        duplicate.state = Sign.State.INSTALLED
        duplicate.removed_on, duplicate.removal_reason = None, ""
        duplicate.save(update_fields=["state", "removed_on", "removal_reason"])
    if locked.retired_position is not None:
        locked.retired_position.is_retired = False
        locked.retired_position.save(update_fields=["is_retired"])
    words = f"Sign {duplicate.pk} is a face of its own, not sign {kept.pk}. {reason}"
    for sign in (kept, duplicate):
        log(
            organisation=locked.organisation,
            actor=by,
            verb="undo merge of signs",
            text=words,
            at=now,
            sign=sign,
            detail={"merge": locked.pk},
        )
    _judge_anew((kept, duplicate), locked.organisation, by, now)
    return undo


def _read_reason(reason: str, what: str) -> str:
    reason = reason.strip()
    if not 0 < len(reason) <= LONGEST_REASON:
        msg = (
            f"Say in a few words why {what} (at most {LONGEST_REASON} characters; there are "
            f"{len(reason)})."
        )
        raise OutOfRangeError(msg)
    return reason


def _check_two(kept_id: int, duplicate_id: int, kind: str) -> None:
    if kept_id == duplicate_id:
        msg = f"A {kind} cannot be merged with itself ({kind} {kept_id}); choose another one."
        raise OutOfRangeError(msg)


def _check_same_owner(one: Organisation, other: Organisation) -> None:
    if one != other:
        msg = "The two do not belong to one agency, so neither can stand for the other."
        raise NotPermittedError(msg)


def _check_not_merged(kept_for: dict[int, int], kind: str) -> None:
    """Refuse what is merged away already: it has nothing left to give or to take."""
    for key, stands_for_it in kept_for.items():
        msg = (
            f"{kind.capitalize()} {key} is merged into {kind} {stands_for_it} already; use "
            "that one, or undo the merge first."
        )
        raise StateConflictError(msg)


def _check_kept_stands(kept_for: dict[int, int], kind: str) -> None:
    for key, stands_for_it in kept_for.items():
        msg = (
            f"{kind.capitalize()} {key}, which was kept, was itself merged into {kind} "
            f"{stands_for_it} later; undo that merge first."
        )
        raise StateConflictError(msg)


def _undone_before(
    owner: Organisation, known: SupportMergeUndo | SignMergeUndo
) -> StateConflictError:
    when = owner.clock_words(known.undone_at)
    return StateConflictError(f"This merge was undone at {when}: {known.reason}")


def _owner_of(sign: Sign) -> Organisation:
    if sign.owner is None or sign.state == Sign.State.IN_STOCK:
        msg = (
            f"{_start(sign)} is in stock; put it up in its place instead of merging it, and "
            "the face recorded there comes down as recorded twice."
        )
        raise StateConflictError(msg)
    return sign.owner


def _check_one_face(kept: Sign, duplicate: Sign) -> None:
    """Refuse two that cannot be one face, or of which the other one is to be kept."""
    if kept.label_id and duplicate.label_id:
        msg = (
            f"{_start(kept)} has label {kept.label_id} and {duplicate} has label "
            f"{duplicate.label_id}; two labels are two faces."
        )
        raise StateConflictError(msg)
    if duplicate.label_id:
        msg = (
            f"{_start(duplicate)} has label {duplicate.label_id} and {kept} has none; keep "
            f"{duplicate}, so that its label still finds it."
        )
        raise StateConflictError(msg)
    if duplicate.state == Sign.State.INSTALLED and kept.state != Sign.State.INSTALLED:
        msg = f"{_start(kept)} was taken down and {duplicate} stands; keep the one that stands."
        raise StateConflictError(msg)


def _place_to_retire(
    places: dict[int, Position], kept: Sign, duplicate: Sign
) -> Position | None:
    """Return the duplicate's place where it is one of its own and still in use."""
    place = places[duplicate.position_id or 0]
    if place.pk == kept.position_id or place.is_retired:
        return None
    line = (
        OrderLine.objects.filter(
            position=place, order__state__in=OPEN_ORDER_STATES, quantity__gt=0
        )
        .select_related("order")
        .order_by("pk")
        .first()
    )
    if line is not None:
        msg = (
            f"Order {line.order.number} asks for a face for the place of {duplicate}; take "
            "that line out or finish the order first, or keep that sign instead."
        )
        raise StateConflictError(msg)
    return place


def _check_place_is_free(duplicate: Sign) -> None:
    there = (
        Sign.objects.filter(position=duplicate.position_id, state=Sign.State.INSTALLED)
        .exclude(pk=duplicate.pk)
        .first()
    )
    if there is not None:
        msg = (
            f"{_start(there)} was put up where {duplicate} stood, so it cannot stand there "
            "again; the merge stays."
        )
        raise StateConflictError(msg)


def _lock_positions(**which: object) -> list[Position]:
    """Lock positions in a fixed order, after their supports and before their signs."""
    keys = Position.objects.filter(**which).order_by("pk").values_list("pk", flat=True)
    return list(
        Position.objects.select_for_update(of=("self",))
        .filter(pk__in=list(keys))
        .select_related("support")
        .order_by("pk")
    )


def _hang_on(support: Support, positions: Sequence[Position]) -> None:
    for position in positions:
        position.support = support
        position.save(update_fields=["support"])


def _tell(
    support: Support,
    positions: Sequence[Position],
    verb: str,
    words: str,
    by: User | None,
    now: datetime,
) -> None:
    """Note what was done on every sign that hangs elsewhere now, and show it there."""
    signs = [
        sign
        for sign in signs_standing_on([support.pk])
        if sign.position_id in {position.pk for position in positions}
    ]
    told: list[Sign | None] = [*signs] or [None]
    for sign in told:
        log(
            organisation=support.organisation,
            actor=by,
            verb=verb,
            text=words,
            at=now,
            sign=sign,
        )
    rebuild_standings(signs, support.organisation, now)


def _judge_anew(
    signs: Sequence[Sign], owner: Organisation, by: User | None, now: datetime
) -> None:
    has_rules = policy_or_none(owner, now) is not None
    rebuild_damage_of_signs([each.pk for each in signs], now=now)
    for sign in sorted(signs, key=lambda each: each.pk):
        if has_rules:
            assess_sign(sign=sign, by=by, now=now)
        else:
            refresh_standing(sign=sign, now=now)


def _places(count: int) -> str:
    return "1 place" if count == 1 else f"{count} places"


def _start(sign: Sign) -> str:
    name = str(sign)
    return name[0].upper() + name[1:]
