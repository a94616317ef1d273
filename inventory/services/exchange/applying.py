"""Operations applied in their order, each as soon as all it needs is applied."""

from __future__ import annotations

import heapq
import logging
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction

from inventory.errors import (
    InventoryError,
    NotPermittedError,
    OutOfRangeError,
    StateConflictError,
)
from inventory.models import DeviceOperation, OperationNeed, RefusedEntry
from inventory.services.exchange import shapes
from inventory.services.exchange.answers import REPLACED, UNKNOWN_KIND
from inventory.services.exchange.content import Sent, read_content
from inventory.services.exchange.context import Context
from inventory.services.exchange.holding import (
    FAULTS,
    ConflictError,
    HeldError,
    NotStoredError,
    WaitsError,
)
from inventory.services.exchange.inspections import apply_inspections
from inventory.services.exchange.kinds import DISCARD, INSPECTION, KINDS
from inventory.services.exchange.known import OPEN, Known

if TYPE_CHECKING:
    import uuid
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from inventory.models import Organisation, User
    from inventory.services.exchange.content import Content

State = DeviceOperation.State
LONGEST_REASON = DeviceOperation._meta.get_field("settled_reason").max_length or 0

logger = logging.getLogger(__name__)


class UnknownKindError(OutOfRangeError):
    """The operation is of a kind that this version of the server does not know."""

    code = UNKNOWN_KIND


class ReplacedError(StateConflictError):
    """A corrected operation in its place is here already."""

    code = REPLACED


@dataclass(slots=True)
class Trial:
    """An operation to be applied; ``held`` says why it may not be, whatever it needs."""

    operation: DeviceOperation
    content: Content
    held: HeldError | None = None
    is_decided: bool = False
    error: InventoryError | None = None
    needs: tuple[uuid.UUID, ...] = field(init=False)

    def __post_init__(self) -> None:
        self.needs = needs_of(self.content)

    @property
    def order(self) -> tuple[int, int, str]:
        """Return what it is ordered by: the phone, and the phone's own count."""
        operation = self.operation
        return (operation.device_id, operation.sequence, str(operation.client_uuid))


def needs_of(content: Content) -> tuple[uuid.UUID, ...]:
    """Return the operations that one depends on: those it names, and those it refers to."""
    discarded = _discarded_by(content)
    referred = _referred(content.payload) if discarded is None else (discarded,)
    found = dict.fromkeys([*content.needs, *referred])
    found.pop(content.client_uuid, None)
    return tuple(found)


def _referred(payload: Any) -> Iterable[uuid.UUID]:
    """Give the ids of {"operation": …} anywhere in a payload; a wrong one is its kind's."""
    inner = payload.values() if isinstance(payload, dict) else payload
    for each in inner:
        if not isinstance(each, dict | list):
            continue
        if isinstance(each, dict) and set(each) == {"operation"}:
            try:
                yield shapes.key(each, "operation")
            except OutOfRangeError:
                continue
        else:
            yield from _referred(each)


class Applying:
    """Operations of one organisation being applied, within the caller's transaction."""

    def __init__(self, organisation: Organisation, known: Known, now: datetime) -> None:
        self.organisation = organisation
        self.known = known
        self.now = now
        self.changed: dict[uuid.UUID, DeviceOperation] = {}
        self._trials: dict[uuid.UUID, Trial] = {}
        self._heap: list[tuple[tuple[int, int, str], uuid.UUID]] = []
        self._queued: set[uuid.UUID] = set()
        self._waiting: dict[uuid.UUID, list[uuid.UUID]] = {}

    def add(self, trials: Sequence[Trial]) -> None:
        """Take operations in, with those that waited for them since earlier batches."""
        for each in trials:
            self._trials[each.operation.client_uuid] = each
            self.known.add(each.operation)
        self.known.load(self._named_by(trials))
        new = list(trials)
        while new:
            new = self._dependants_of(new)
            for each in new:
                self._trials[each.operation.client_uuid] = each
                self._wait(each)
            self.known.load(self._named_by(new))
        for each in trials:
            self._push(each)

    def run(self) -> None:
        """Apply what can be applied; runs of inspections together, all else one by one."""
        while self._heap:
            run: list[Trial] = []
            pending: set[uuid.UUID] = set()
            while self._heap:
                each = self._trials[self._heap[0][1]]
                if run and (each.operation.kind != INSPECTION or self._asks(each, pending)):
                    break
                heapq.heappop(self._heap)
                self._queued.remove(each.operation.client_uuid)
                error = self._why_not(each)
                if error is not None:
                    self._set_back(each, error)
                elif each.operation.kind == INSPECTION:
                    run.append(each)
                    pending.add(each.operation.client_uuid)
                else:
                    self._conclude(each, self._apply_one(each))
            if run:
                self._apply_run(run)

    def _named_by(self, trials: Iterable[Trial]) -> list[uuid.UUID]:
        return [
            key
            for each in trials
            for key in (
                each.operation.client_uuid,
                each.operation.replaces_uuid,
                *each.needs,
            )
            if key is not None
        ]

    def _dependants_of(self, trials: Sequence[Trial]) -> list[Trial]:
        """Return the operations on record that wait for what these may bring."""
        ids = {
            key
            for each in trials
            for key in (each.operation.client_uuid, *self.known.replaced_by(each.operation))
        }
        waiting = (
            DeviceOperation.objects.owned_by(self.organisation)
            .filter(
                pk__in=OperationNeed.objects.filter(needed_uuid__in=ids).values("operation"),
                state=State.HELD,
                code=WaitsError.code,
                settled_at=None,
            )
            .select_related("device", "person")
        )
        return [
            trial_of(self.known.add(each))
            for each in waiting
            if each.client_uuid not in self._trials
        ]

    def _asks(self, each: Trial, pending: set[uuid.UUID]) -> bool:
        """Return whether an operation turns on one that is about to be applied."""
        named = [*each.needs, each.operation.replaces_uuid]
        return any(key is not None and self.known.is_among(key, pending) for key in named)

    def _why_not(self, each: Trial) -> InventoryError | None:
        operation = each.operation
        if each.held is not None:
            return each.held
        others = [
            other
            for other in self.known.standing_for(operation.client_uuid)
            if other is not operation and other.state
        ]
        if others and not each.is_decided:
            msg = f"It was sent again, corrected, as operation {others[0].client_uuid}."
            return ReplacedError(msg)
        missing = [key for key in each.needs if self._is_missing(each, key)]
        if missing:
            return WaitsError(" ".join(self._wait_words(key) for key in missing))
        if operation.kind != INSPECTION and operation.kind not in (*KINDS, DISCARD):
            msg = (
                f"This server does not know how to apply '{operation.kind}'; it is kept. Bring "
                "the server up to date, then apply it on the page of what phones sent."
            )
            return UnknownKindError(msg)
        replaced = operation.replaces_uuid
        before = self.known.applied(replaced) if replaced is not None else None
        if before is not None and before is not operation and not each.is_decided:
            msg = (
                f"It puts right operation {replaced}, which was applied meanwhile; an engineer "
                "decides whether this one is applied too."
            )
            return ConflictError(msg)
        return None

    def _is_missing(self, each: Trial, needed: uuid.UUID) -> bool:
        """Return whether an operation has to wait for one of those it needs."""
        if self.known.applied(needed) is not None or needed == _discarded_by(each.content):
            return False
        # One that was discarded never comes. What only came after it, and does not refer to
        # what it would have made, may be applied by a person's decision.
        operation = self.known.find(needed)
        is_gone = operation is not None and operation.state == State.DISCARDED
        return not (
            is_gone and each.is_decided and needed not in set(_referred(each.content.payload))
        )

    def _wait_words(self, needed: uuid.UUID) -> str:
        operation = self.known.find(needed)
        if operation is None:
            return f"It waits for operation {needed}, which has not arrived yet."
        return (
            f"It waits for operation {needed} ({operation.kind.replace('_', ' ')}), which is "
            f"{operation.state or 'not applied yet'}."
        )

    def _apply_run(self, run: Sequence[Trial]) -> None:
        outcomes = apply_inspections([(each.content, self._context(each)) for each in run])
        for each, outcome in zip(run, outcomes, strict=True):
            self._conclude(each, outcome)

    def _apply_one(self, each: Trial) -> dict[str, Any] | InventoryError:
        try:
            if each.operation.kind == DISCARD:
                return self._discard(each)
            with transaction.atomic():
                return KINDS[each.operation.kind](each.content, self._context(each))
        except InventoryError as error:
            return error
        except ValidationError as error:
            return OutOfRangeError(" ".join(error.messages))
        except FAULTS:
            logger.exception("operation %s was not stored", each.operation.client_uuid)
            return NotStoredError()

    def _discard(self, each: Trial) -> dict[str, Any]:
        """Discard an operation that its phone was told is refused or held."""
        payload, by = each.content.payload, each.operation.person
        wanted = shapes.key(payload, "operation")
        reason = shapes.text(payload, "reason", least=1, most=LONGEST_REASON)
        target = self.known.find(wanted)
        if target is None or not target.state:
            entries = RefusedEntry.objects.owned_by(self.organisation).filter(
                client_uuid=wanted, kind=RefusedEntry.Kind.OPERATION, settled_at__isnull=True
            )
            if not entries.update(settled_at=self.now, settled_by=by, settled_reason=reason):
                raise WaitsError(self._wait_words(wanted))
            return {}
        if target.device_id != each.operation.device_id and not each.is_decided:
            msg = f"Operation {wanted} is another phone's; an engineer settles it."
            raise NotPermittedError(msg)
        if target.state == State.DISCARDED:
            return {}
        if target.state not in OPEN or target.settled_at is not None:
            said = target.settled_reason or "it was applied."
            msg = f"Operation {wanted} is not open any more: {said}"
            raise StateConflictError(msg)
        target.state = State.DISCARDED
        self._settle(target, by, reason)
        return {}

    def _conclude(self, each: Trial, outcome: dict[str, Any] | InventoryError) -> None:
        if isinstance(outcome, InventoryError):
            self._set_back(each, outcome)
            return
        operation = each.operation
        operation.state, operation.result = State.APPLIED, outcome
        operation.code = operation.sentence = ""
        each.error = None
        self._mark(each)
        for key in (operation.client_uuid, *self.known.replaced_by(operation)):
            self._settle_replaced(key, operation)
            for waiting in self._waiting.pop(key, ()):
                self._push(self._trials[waiting])

    def _set_back(self, each: Trial, error: InventoryError) -> None:
        """Hold or refuse an operation, and say why."""
        operation = each.operation
        each.error = error
        operation.state = State.HELD if isinstance(error, HeldError) else State.REFUSED
        operation.code, operation.sentence = error.code, shapes.storable(str(error))
        self._mark(each)
        self._try_discards_of(operation.client_uuid)
        if isinstance(error, WaitsError):
            self._wait(each)
        elif isinstance(error, ReplacedError):
            self._settle(operation, operation.person, operation.sentence)
        elif operation.state == State.REFUSED:
            for key in self.known.replaced_by(operation):
                self._settle_replaced(key, operation)

    def _try_discards_of(self, key: uuid.UUID) -> None:
        """Try what came before the operation it discards."""
        for waiting in self._waiting.get(key, ()):
            if self._trials[waiting].operation.kind == DISCARD:
                self._push(self._trials[waiting])

    def _settle_replaced(self, key: uuid.UUID, by: DeviceOperation) -> None:
        """Close an operation that another one took the place of."""
        replaced = self.known.find(key)
        if replaced is None or replaced is by or replaced.state not in OPEN:
            return
        if replaced.settled_at is None:
            words = f"Sent again, corrected, as operation {by.client_uuid}."
            self._settle(replaced, by.settled_by or by.person, words)

    def _settle(self, operation: DeviceOperation, by: User | None, reason: str) -> None:
        operation.settled_at, operation.settled_by = self.now, by
        operation.settled_reason = reason[:LONGEST_REASON]
        self.changed[operation.client_uuid] = operation

    def _mark(self, each: Trial) -> None:
        self.changed[each.operation.client_uuid] = each.operation

    def _wait(self, each: Trial) -> None:
        for key in each.needs:
            self._waiting.setdefault(key, []).append(each.operation.client_uuid)

    def _push(self, each: Trial) -> None:
        """Queue an operation, unless it is concluded or was settled while it waited."""
        operation = each.operation
        key = operation.client_uuid
        tried_in = ("", State.HELD, State.REFUSED) if each.is_decided else ("", State.HELD)
        is_open = operation.state in tried_in and operation.settled_at is None
        if is_open and key not in self._queued:
            self._queued.add(key)
            heapq.heappush(self._heap, (each.order, key))

    def _context(self, each: Trial) -> Context:
        operation = each.operation
        return Context(
            organisation=self.organisation,
            device=operation.device,
            person=operation.person,
            at=operation.corrected_at,
            now=self.now,
            known=self.known,
            is_decided=each.is_decided,
        )


def trial_of(operation: DeviceOperation, *, is_decided: bool = False) -> Trial:
    """Return an operation on record, to be tried again."""
    sent = Sent(str(operation.client_uuid), operation.content_sha256, operation.content)
    return Trial(operation, read_content(sent), is_decided=is_decided)


def _discarded_by(content: Content) -> uuid.UUID | None:
    if content.kind != DISCARD:
        return None
    try:
        return shapes.key(content.payload, "operation")
    except OutOfRangeError:
        return None
