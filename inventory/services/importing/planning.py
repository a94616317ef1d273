"""What each row of a list is to do to our records; nothing is written here."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from inventory.models import ImportRun, ImportSettlement, Sign, SourceRecord
from inventory.services.importing.ours import (
    BY_AREA,
    FACE_FIELDS,
    SUPPORT_FIELDS,
    OurFaces,
    our_faces,
)
from inventory.services.importing.resolving import Resolver, faces_of
from inventory.services.importing.rows import SourceField, SourceList, SourceRow
from inventory.services.importing.supports import (
    KeyPlaces,
    Point,
    SupportBook,
    metres_between,
    point_of,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from inventory.models import Organisation, Support

NO_POINT = (
    "The row gives no coordinates (a blank, or zero and zero, is none), and no other row or "
    "record says where its support stands; a sign needs a place."
)


class Outcome(StrEnum):
    """What becomes of a row; every row has exactly one."""

    CREATED = "created"
    UPDATED = "updated"
    UNCHANGED = "unchanged"
    REFUSED = "refused"


@dataclass(slots=True)
class RowPlan:
    """What a row is to do; ``waits_because`` says why its changes wait for a person."""

    row: SourceRow
    outcome: Outcome
    given: dict[str, Any] = field(default_factory=dict)
    row_sha256: str = ""
    has_new_text: bool = False
    reason: str = ""
    record: SourceRecord | None = None
    support: Support | None = None
    ours: OurFaces | None = None
    changes: dict[str, Any] = field(default_factory=dict)
    caught_up: dict[str, Any] = field(default_factory=dict)
    waits_because: str = ""
    waiting: ImportSettlement | None = None

    @property
    def is_changed_beside_the_mapping(self) -> bool:
        """Return whether only columns that are not mapped changed."""
        return self.has_new_text and not self.changes and not self.caught_up

    def shown_changes(self) -> dict[str, dict[str, Any]]:
        """Return what waits: our value, the source's, and what the source said before."""
        if self.ours is None or self.record is None:
            return {}
        ours, before = self.ours.values(), self.record.applied
        return {
            name: {
                "ours": ours.get(name),
                "source": value,
                "before": before.get(name),
            }
            for name, value in self.changes.items()
        }


def is_same(first: Any, second: Any) -> bool:
    """Return whether two values of a field say the same; all that is blank is not known."""
    return first == second or (_is_blank(first) and _is_blank(second))


def _is_blank(value: Any) -> bool:
    return value is None or value in ("", [])


def digest_of(raw: Mapping[str, str]) -> str:
    """Return the digest of a row as it was read."""
    text = json.dumps(raw, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


class Planner:
    """Plans the rows of one list, batch by batch, in the order of the file."""

    def __init__(
        self, organisation: Organisation, source: SourceList, resolver: Resolver
    ) -> None:
        self.organisation = organisation
        self.source = source
        self.resolver = resolver
        self.book = SupportBook(
            organisation,
            grouping_m=source.grouping_m,
            same_place_m=source.same_place_m,
            is_key_trusted=source.is_key_trusted,
        )
        self.seen_at: dict[int, datetime] = dict(
            ImportRun.objects.owned_by(organisation).values_list("pk", "started_at")
        )
        self.key_places = KeyPlaces(source.same_place_m)
        for row in source.rows:
            key, point = (
                row.values.get(name) for name in (SourceField.SUPPORT_KEY, SourceField.POINT)
            )
            if key and point:
                self.key_places.add(key, (point[0], point[1]))

    def plan(self, rows: Sequence[SourceRow], *, is_writing: bool) -> list[RowPlan]:
        """Return what each row is to do."""
        known = {
            record.external_id: record
            for record in SourceRecord.objects.filter(
                organisation=self.organisation,
                source_name=self.source.name,
                external_id__in=[row.external_id for row in rows if row.external_id],
            ).defer("raw")
        }
        plans = [self._first_plan(row, known.get(row.external_id)) for row in rows]
        changed = [plan for plan in plans if plan.changes]
        self._settle_or_update(changed, is_writing=is_writing)
        self._find_waiting(plans)
        # Supports last, and in the order of the file: what a row finds must not depend on
        # where a stopped import went on.
        for plan in plans:
            self._place(plan)
        return plans

    def _first_plan(self, row: SourceRow, record: SourceRecord | None) -> RowPlan:
        """Return a plan as far as the row and its last state decide it."""
        if row.refusal:
            return RowPlan(row, Outcome.REFUSED, reason=row.refusal)
        given = self.resolver.given(row)
        point = self._point(given)
        given[SourceField.POINT] = None if point is None else list(point)
        plan = RowPlan(row, Outcome.CREATED, given, digest_of(row.raw), record=record)
        if record is None:
            return RowPlan(row, Outcome.REFUSED, reason=NO_POINT) if point is None else plan
        plan.outcome = Outcome.UNCHANGED
        plan.has_new_text = record.row_sha256 != plan.row_sha256
        plan.changes = {
            name: value
            for name, value in given.items()
            if not is_same(record.applied.get(name), value)
        }
        # A place is not unlearnt, and neither is a judgement once made.
        for name in (SourceField.POINT, SourceField.CONDITION):
            if plan.changes.get(name, "") is None:
                del plan.changes[name]
        return plan

    def _point(self, given: Mapping[str, Any]) -> Point | None:
        """Return where a row's sign stands: by its own point, or by its support's key."""
        point, key = given.get(SourceField.POINT), given.get(SourceField.SUPPORT_KEY)
        own = None if point is None else (point[0], point[1])
        if not key or (own is not None and not self.source.is_key_trusted):
            return own
        place = self.key_places.place(key)
        if own is not None and place is not None:
            is_near = metres_between(own, place) <= self.source.same_place_m
            return own if is_near else place
        support = self.book.with_key(key)
        return place or (point_of(support) if support is not None else None)

    # Changed rows ----------------------------------------------------------------------------

    def _settle_or_update(self, plans: Sequence[RowPlan], *, is_writing: bool) -> None:
        records = [plan.record for plan in plans if plan.record is not None]
        ours = our_faces(records, is_locking=is_writing) if records else {}
        for plan in plans:
            if plan.record is None:
                continue
            plan.ours = ours[plan.record.pk]
            values = plan.ours.values()
            for name in list(plan.changes):
                if name != SourceField.CONDITION and is_same(
                    values.get(name), plan.changes[name]
                ):
                    plan.caught_up[name] = plan.changes.pop(name)
            if plan.changes:
                plan.waits_because = self._why_wait(plan, plan.record, plan.ours, values)
                plan.outcome = Outcome.UNCHANGED if plan.waits_because else Outcome.UPDATED

    def _find_waiting(self, plans: Sequence[RowPlan]) -> None:
        """Keep a row waiting whose question waits already, until a person settles it."""
        by_record = {plan.record.pk: plan for plan in plans if plan.record is not None}
        waiting = ImportSettlement.objects.filter(
            record__in=list(by_record), outcome=ImportSettlement.Outcome.OPEN
        )
        for settlement in waiting:
            plan = by_record[settlement.record_id]
            plan.waiting = settlement
            is_asked = not settlement.changes.keys().isdisjoint(plan.changes)
            if is_asked and not plan.waits_because:
                plan.waits_because = settlement.reason
                plan.outcome = Outcome.UNCHANGED

    def _why_wait(
        self, plan: RowPlan, record: SourceRecord, ours: OurFaces, values: Mapping[str, Any]
    ) -> str:
        """Return why a changed row must wait for a person; blank when it may be applied."""
        names = set(plan.changes) - {SourceField.CONDITION}
        if not names:
            return ""
        # A row whose text is as before is only read better now; no crew's word is newer.
        return (
            (self._newer_crew_record(plan.row, record, ours) if plan.has_new_text else "")
            or self._changed_here(names, record, ours, values)
            or _other_face(names, record, ours)
            or _fewer_faces(plan.given, ours)
            or _dates_in_the_way(plan.changes, ours, self.organisation)
        )

    def _newer_crew_record(self, row: SourceRow, record: SourceRecord, ours: OurFaces) -> str:
        """Name what was recorded here after the row was last seen, unless the row is newer."""
        seen_at = self.seen_at[record.last_run_id]
        since = record.changed_at if row.changed_on is not None else seen_at
        newer = [each for each in ours.crew_records if each.recorded_at > since]
        if not newer:
            return ""
        latest = max(newer, key=lambda each: (each.taken_at, each.recorded_at))
        if row.changed_on is not None and row.changed_on > self.organisation.day_of(
            latest.taken_at
        ):
            return ""
        return f"Recorded here since: {latest.words}."

    def _changed_here(
        self,
        names: set[str],
        record: SourceRecord,
        ours: OurFaces,
        values: Mapping[str, Any],
    ) -> str:
        for name in sorted(names):
            if name not in record.applied:
                # The list says for the first time what we already know otherwise.
                if not _is_blank(values.get(name)) and name not in SUPPORT_FIELDS:
                    return f"Already recorded here otherwise: {name}."
                continue
            before = record.applied[name]
            if name == SourceField.POINT:
                if before and metres_between(tuple(values[name]), tuple(before)) > max(
                    self.source.same_place_m, self.source.grouping_m or 0.0
                ):
                    return "The support has been moved here since."
            elif name in SUPPORT_FIELDS:
                if (
                    name != SourceField.SUPPORT_KEY
                    and not ours.is_sharing_support
                    and not is_same(values.get(name), before)
                ):
                    return f"Changed here since: {name}."
            elif not is_same(values.get(name), before) or (
                name == SourceField.COLORS and values.get(SourceField.SHEETING) == BY_AREA
            ):
                return f"Changed here since: {name}."
        return ""

    # Supports --------------------------------------------------------------------------------

    def _place(self, plan: RowPlan) -> None:
        """Find or make the support of a new row, or of one whose place or key changed."""
        key = plan.given.get(SourceField.SUPPORT_KEY) or ""
        if plan.outcome is Outcome.CREATED:
            point = plan.given[SourceField.POINT]
            plan.support = self.book.place(key, self._key_place_or(key, point))
        elif plan.outcome is Outcome.UPDATED and plan.ours is not None:
            plan.support = self._place_again(plan, key, plan.ours)

    def _key_place_or(self, key: str, point: Sequence[float]) -> Point:
        """Return where a new support is put: where its key's rows agree, or at the point."""
        place = self.key_places.place(key) if key and self.source.is_key_trusted else None
        return place or (point[0], point[1])

    def _place_again(self, plan: RowPlan, key: str, ours: OurFaces) -> Support:
        support = self.book[ours.positions[0].support_id]
        new = plan.changes.get(SourceField.POINT)
        if SourceField.SUPPORT_KEY in plan.changes:
            return self.book.place(key, self._key_place_or(key, new or point_of(support)))
        if new is None:
            return support
        point = self._key_place_or(key, new)
        is_moving_whole = bool(key) and (
            self.source.is_key_trusted or self.key_places.is_one_place(key)
        )
        if ours.is_sharing_support and not is_moving_whole:
            if not key and metres_between(point_of(support), point) <= (
                self.source.grouping_m or 0.0
            ):
                return support
            return self.book.place(key, point)
        if point_of(support) != point:
            self.book.move(support, point)
        return support


# Why a changed row waits ---------------------------------------------------------------------


def _other_face(names: set[str], record: SourceRecord, ours: OurFaces) -> str:
    listed_as_removed = record.applied.get(SourceField.STATUS) == Sign.State.REMOVED
    for sign in ours.signs:
        if sign is None:
            return "No face stands in this position any more."
        if sign.state == Sign.State.REMOVED and not listed_as_removed:
            return f"The face was taken down here on {sign.removed_on or 'a day not known'}."
        if not sign.is_reconstructed and names & FACE_FIELDS:
            return (
                f"Another face stands there now, installed {sign.installed_on or 'since'}; the "
                "list may still mean the old one."
            )
    return ""


def _fewer_faces(given: Mapping[str, Any], ours: OurFaces) -> str:
    now, before = faces_of(given), len(ours.positions)
    if SourceField.SIZES in given and now < before:
        return f"The row had {before} faces and now has {now}; say which of them is gone."
    return ""


def _dates_in_the_way(
    changes: Mapping[str, Any], ours: OurFaces, organisation: Organisation
) -> str:
    """Name a date of ours that the row's new dates contradict."""
    installed = changes.get(SourceField.INSTALLED)
    if not installed:
        return _made_after(changes, ours)
    for sign in ours.signs:
        if sign is None:
            continue
        seen = [organisation.day_of(at) for at in ours.inspected_at.get(sign.pk, [])]
        if seen and min(seen).isoformat() < installed[0]:
            return (
                f"The list says that it was installed {installed[0]}, but this face was "
                f"inspected on {min(seen)}: a new face, or a correction?"
            )
    return _made_after(changes, ours)


def _made_after(changes: Mapping[str, Any], ours: OurFaces) -> str:
    """Name a date kept here that would follow, or come before, one it cannot."""
    for sign in ours.signs:
        if sign is None:
            continue
        days = {
            SourceField.FABRICATED: sign.fabricated_on and sign.fabricated_on.isoformat(),
            SourceField.INSTALLED: sign.installed_on and sign.installed_on.isoformat(),
            SourceField.REMOVED: sign.removed_on and sign.removed_on.isoformat(),
        }
        precisions = {
            SourceField.FABRICATED: sign.fabricated_precision,
            SourceField.INSTALLED: sign.installed_precision,
            SourceField.REMOVED: "day",
        }
        for name in days:
            if name in changes:
                value = changes[name]
                days[name] = value[0] if value else None
                precisions[name] = value[1] if value else "day"
        made, up, down = days.values()
        is_exact = (
            precisions[SourceField.FABRICATED] == precisions[SourceField.INSTALLED] == "day"
        )
        if made and up and is_exact and made > up:
            return (
                f"It cannot be made on {made} and installed on {up}; one of them is kept here."
            )
        if up and down and up > down:
            return f"It cannot be installed on {up} and removed on {down}; one is kept here."
    return ""
