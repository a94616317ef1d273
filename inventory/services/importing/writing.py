"""Writing what was planned for a batch of rows, within the caller's transaction."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from inventory.models import ImportRefusal, ImportSettlement, Road, Sign, SourceRecord
from inventory.services.importing.faces import FaceMaker, Made
from inventory.services.importing.planning import Outcome, RowPlan
from inventory.services.importing.rows import SourceField

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from inventory.models import ImportRun, Organisation
    from inventory.services.importing.supports import SupportBook

_SUPPORT_TEXTS = {
    SourceField.SUPPORT_TYPE: "support_type",
    SourceField.SIDE: "side",
    SourceField.DISTRICT: "district",
}
_SUPPORT_NUMBERS = {
    SourceField.POST_COUNT: "post_count",
    SourceField.MILEPOINT: "milepoint_mi",
}
# What a row gives without saying so, so that a later row that says otherwise is a change.
TAKEN_FOR_GRANTED = {
    str(SourceField.STATUS): Sign.State.INSTALLED.value,
    str(SourceField.OWNER): Sign.Responsible.AGENCY.value,
}


class RoadBook:
    """The roads of an organisation by name, whatever its case; missing ones are made."""

    def __init__(self, organisation: Organisation) -> None:
        self.organisation = organisation
        self._roads: dict[str, Road] = {
            road.name.casefold(): road for road in Road.objects.owned_by(organisation)
        }

    def find(self, name: str) -> Road:
        """Return the road of a name."""
        key = name.casefold()
        if key not in self._roads:
            self._roads[key] = Road.objects.create(organisation=self.organisation, name=name)
        return self._roads[key]


@dataclass(frozen=True, slots=True)
class Writer:
    """Writes batches of one run; every record it makes carries the run's own moment."""

    run: ImportRun
    supports: SupportBook
    roads: RoadBook

    def write(self, plans: Sequence[RowPlan]) -> int:
        """Write a batch and return how many faces it made."""
        made = Made()
        self._set_supports(plans)
        self.supports.write()
        self._create_and_update(plans, made)
        self._keep_waiting(plans)
        self._remember(plans)
        made.save()
        ImportRefusal.objects.bulk_create(
            ImportRefusal(run=self.run, line=p.row.line, raw=dict(p.row.raw), reason=p.reason)
            for p in plans
            if p.outcome is Outcome.REFUSED
        )
        return len(made.signs)

    def _set_supports(self, plans: Iterable[RowPlan]) -> None:
        for plan in plans:
            if plan.support is None:
                continue
            if plan.outcome is Outcome.CREATED:
                given = plan.given
                if plan.support.road is not None:
                    given = {k: v for k, v in given.items() if k != SourceField.ROAD}
                self.supports.fill(plan.support, **support_fields(given, self.roads))
            else:
                self.supports.set(plan.support, **support_fields(plan.changes, self.roads))

    def _create_and_update(self, plans: Sequence[RowPlan], made: Made) -> None:
        maker = FaceMaker(self.run.organisation, self.run.started_at, made)
        for plan in plans:
            if plan.support is None:
                continue
            if plan.record is None:
                record = self._new_record(plan)
                made.records.append(record)
                maker.make(record, plan.given, plan.support)
            elif plan.ours is not None:
                maker.change(plan.record, plan.ours, plan.changes, plan.support)

    def _new_record(self, plan: RowPlan) -> SourceRecord:
        return SourceRecord(
            organisation=self.run.organisation,
            source_name=self.run.source_name,
            external_id=plan.row.external_id,
            raw=dict(plan.row.raw),
            applied={**TAKEN_FOR_GRANTED, **plan.given},
            row_sha256=plan.row_sha256,
            first_run=self.run,
            last_run=self.run,
            changed_at=self.run.started_at,
        )

    def _remember(self, plans: Iterable[RowPlan]) -> None:
        """Keep the latest text of each known row, and what it gave."""
        untouched = []
        for plan in plans:
            record = plan.record
            if record is None:
                continue
            given = dict(plan.caught_up)
            if plan.outcome is Outcome.UPDATED:
                given |= plan.changes
                record.changed_at = self.run.started_at
            if not given and not plan.has_new_text:
                untouched.append(record.pk)
                continue
            record.applied = {**record.applied, **given}
            record.raw = dict(plan.row.raw)
            record.row_sha256 = plan.row_sha256
            record.last_run = self.run
            record.save(
                update_fields=("applied", "raw", "row_sha256", "last_run", "changed_at")
            )
        SourceRecord.objects.filter(pk__in=untouched).update(last_run=self.run)

    def _keep_waiting(self, plans: Iterable[RowPlan]) -> None:
        """List what waits for a person; what waits already is brought up to date."""
        for plan in plans:
            if plan.waits_because:
                settlement = plan.waiting or ImportSettlement(record=plan.record)
                settlement.run = self.run
                settlement.changes = plan.shown_changes()
                settlement.reason = plan.waits_because
                settlement.save()
            elif plan.waiting is not None:
                plan.waiting.outcome = ImportSettlement.Outcome.KEEP_OURS
                plan.waiting.settled_at = self.run.started_at
                plan.waiting.reason += " The list no longer says otherwise."
                plan.waiting.save(update_fields=("outcome", "settled_at", "reason"))


def support_fields(given: Mapping[str, Any], roads: RoadBook) -> dict[str, Any]:
    """Return the fields of a support that a row gives, its place and key excepted."""
    fields: dict[str, Any] = {
        attribute: given[name] or ""
        for name, attribute in _SUPPORT_TEXTS.items()
        if name in given
    }
    fields |= {
        attribute: given[name] for name, attribute in _SUPPORT_NUMBERS.items() if name in given
    }
    if SourceField.ROAD in given:
        name = given[SourceField.ROAD]
        fields["road"] = roads.find(name) if name else None
    return fields
