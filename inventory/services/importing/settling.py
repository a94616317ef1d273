"""Settling what a list and a crew say differently: a person decides, once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import ImportSettlement, Sign, SourceRecord
from inventory.services.assessment import assess_sign
from inventory.services.importing.faces import FaceMaker, Made
from inventory.services.importing.ours import OurFaces, our_faces
from inventory.services.importing.resolving import faces_of
from inventory.services.importing.rows import SourceField
from inventory.services.importing.supports import SupportBook, point_of
from inventory.services.importing.writing import RoadBook, support_fields
from inventory.services.logbook import log
from inventory.services.standing import policy_or_none, refresh_standing

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from typing import Any

    from inventory.models import Organisation, Support, User

SAME_PLACE_M = 30.0


@transaction.atomic
def settle(
    *,
    settlement: ImportSettlement,
    outcome: str,
    by: User | None = None,
    now: datetime | None = None,
) -> ImportSettlement:
    """
    Keep our record or take the source's word for a row that waits.

    Either way the row has been dealt with: the next import compares with what the source said
    now, and asks again only when it says something else.
    """
    now = now or timezone.now()
    locked: ImportSettlement = ImportSettlement.objects.select_for_update().get(
        pk=settlement.pk
    )
    decisions = (ImportSettlement.Outcome.KEEP_OURS, ImportSettlement.Outcome.TAKE_SOURCE)
    if outcome not in decisions:
        msg = f"'{outcome}' settles nothing; use one of {', '.join(decisions)}."
        raise OutOfRangeError(msg)
    if locked.outcome != ImportSettlement.Outcome.OPEN:
        msg = (
            f"This row was settled on {locked.settled_at:%Y-%m-%d}: "
            f"{locked.get_outcome_display()}; it is not settled twice."
        )
        raise StateConflictError(msg)
    record = SourceRecord.objects.select_for_update().get(pk=locked.record_id)
    organisation = record.organisation
    changes = {name: each["source"] for name, each in locked.changes.items()}
    signs: list[Sign] = []
    if outcome == ImportSettlement.Outcome.TAKE_SOURCE:
        signs = _take_source(record, changes, organisation, now)
    record.applied = {**record.applied, **changes}
    record.changed_at = now
    record.save(update_fields=("applied", "changed_at"))
    locked.outcome = outcome
    locked.settled_at = now
    locked.settled_by = by
    locked.save(update_fields=("outcome", "settled_at", "settled_by"))
    log(
        organisation=organisation,
        actor=by,
        verb="settle import",
        text=f"Row {record.external_id} of '{record.source_name}': "
        f"{locked.get_outcome_display()} ({', '.join(changes)}).",
        at=now,
        sign=signs[0] if signs else None,
        detail={"changes": locked.changes, "reason": locked.reason},
    )
    for sign in signs:
        if sign.state == Sign.State.INSTALLED and policy_or_none(organisation, now) is not None:
            assess_sign(sign=sign, by=by, now=now)
        else:
            refresh_standing(sign=sign, now=now)
    return locked


def _take_source(
    record: SourceRecord, changes: Mapping[str, Any], organisation: Organisation, now: datetime
) -> list[Sign]:
    """Write what the source says; return the faces it touches."""
    ours = our_faces([record], is_locking=True)[record.pk]
    _check_can_take(record, ours, changes)
    made = Made()
    maker = FaceMaker(organisation, now, made)
    support = _support(ours, record, changes, organisation)
    old = [sign for sign in ours.signs if sign is not None]
    if _is_new_face(ours, changes, organisation):
        # The face that was inspected stays as it was; the list speaks of the one after it.
        maker.replace(record, ours, {**record.applied, **changes}, support)
    else:
        maker.change(record, ours, changes, support)
    made.save()
    return old + made.signs


def _check_can_take(record: SourceRecord, ours: OurFaces, changes: Mapping[str, Any]) -> None:
    if SourceField.SIZES in changes and faces_of(changes) < len(ours.positions):
        msg = (
            f"Row {record.external_id} now describes {faces_of(changes)} face(s) and we have "
            f"{len(ours.positions)}; take the one that is gone down first, then keep ours."
        )
        raise StateConflictError(msg)
    listed = {**record.applied, **changes}.get(SourceField.STATUS)
    is_standing = all(
        sign is not None and sign.state == Sign.State.INSTALLED for sign in ours.signs
    )
    if listed != Sign.State.REMOVED and not is_standing:
        msg = (
            f"Row {record.external_id} describes a face that stands, but none stands in its "
            "position here. Install one first, or keep ours."
        )
        raise StateConflictError(msg)


def _is_new_face(
    ours: OurFaces, changes: Mapping[str, Any], organisation: Organisation
) -> bool:
    """Return whether the list's installation date is after a face here was inspected."""
    installed = changes.get(SourceField.INSTALLED)
    if not installed:
        return False
    return any(
        organisation.day_of(at).isoformat() < installed[0]
        for moments in ours.inspected_at.values()
        for at in moments
    )


def _support(
    ours: OurFaces,
    record: SourceRecord,
    changes: Mapping[str, Any],
    organisation: Organisation,
) -> Support:
    """Return the support the row's signs are to stand on, with what the row says of it."""
    support = ours.positions[0].support
    if not {SourceField.POINT, SourceField.SUPPORT_KEY}.isdisjoint(changes):
        book = SupportBook(
            organisation, grouping_m=None, same_place_m=SAME_PLACE_M, is_key_trusted=True
        )
        key = {**record.applied, **changes}.get(SourceField.SUPPORT_KEY) or ""
        new = changes.get(SourceField.POINT)
        point = point_of(support) if new is None else (new[0], new[1])
        if SourceField.SUPPORT_KEY in changes or (ours.is_sharing_support and not key):
            support = book.place(key, point)
        else:
            support = book[support.pk]
            book.move(support, point)
        book.write()
    fields = support_fields(changes, RoadBook(organisation))
    for name, value in fields.items():
        setattr(support, name, value)
    if fields:
        support.save(update_fields=list(fields))
    return support
