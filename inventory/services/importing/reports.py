"""What an import did, or would do, in numbers and sentences."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from inventory.services.importing.planning import Outcome, RowPlan

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from inventory.models import ImportRun
    from inventory.services.assessment import AssessmentCounts, DueSummary
    from inventory.services.importing.rows import ValueNote

    # Told the step, how far it is and how far it goes; called often, so it must be cheap.
    Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Refusal:
    """A row that is not taken, and why."""

    line: int
    raw: Mapping[str, str]
    reason: str


@dataclass(frozen=True, slots=True)
class Waiting:
    """A changed row that waits for a person."""

    external_id: str
    reason: str
    changes: Mapping[str, Any]


@dataclass(slots=True)
class ImportReport:
    """
    What became of every row of a file; the four counts add up to its rows.

    A row that waits for a person is counted as unchanged, for so our record stays, and listed
    in ``waiting`` as well.
    """

    row_count: int
    is_dry_run: bool
    run: ImportRun | None = None
    resumed_at_row: int = 0
    counts: dict[Outcome, int] = field(default_factory=lambda: dict.fromkeys(Outcome, 0))
    supports_made: int = 0
    faces_made: int = 0
    refusals: list[Refusal] = field(default_factory=list)
    waiting: list[Waiting] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    changed_beside_the_mapping: int = 0
    caught_up: int = 0
    contradicting_keys: list[tuple[str, int, float]] = field(default_factory=list)
    notes: Sequence[ValueNote] = ()
    remarks: list[str] = field(default_factory=list)
    verdicts: AssessmentCounts | None = None
    due: DueSummary | None = None

    def add(self, plans: Sequence[RowPlan]) -> None:
        """Count a batch of rows."""
        for plan in plans:
            self.counts[plan.outcome] += 1
            self.changed_beside_the_mapping += plan.is_changed_beside_the_mapping
            self.caught_up += bool(plan.caught_up) and plan.outcome is Outcome.UNCHANGED
            if plan.outcome is Outcome.REFUSED:
                self.refusals.append(Refusal(plan.row.line, plan.row.raw, plan.reason))
            if plan.waits_because:
                self.waiting.append(
                    Waiting(plan.row.external_id, plan.waits_because, plan.shown_changes())
                )
