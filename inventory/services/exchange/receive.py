"""One sending of a phone, taken in as a whole: each operation applied, held or refused."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import connection, transaction
from django.utils import timezone

from inventory.errors import OutOfRangeError
from inventory.models import (
    Device,
    DeviceBatch,
    DeviceOperation,
    DevicePerson,
    Membership,
    Organisation,
    Position,
    RefusedEntry,
    Role,
    Sign,
)
from inventory.services.exchange.answers import (
    BROKEN,
    OTHER_CONTENT,
    Answer,
    answer_of,
    news_of,
    was_put_right,
)
from inventory.services.exchange.applying import Applying, Trial
from inventory.services.exchange.clock import PhoneClock
from inventory.services.exchange.content import Content, Sent, read_content
from inventory.services.exchange.epochs import epoch_shown
from inventory.services.exchange.holding import (
    HeldError,
    LostRightError,
    UnknownPersonError,
    WithdrawnPhoneError,
)
from inventory.services.exchange.kinds import INSPECTION
from inventory.services.exchange.known import Known
from inventory.services.exchange.storing import store
from inventory.services.flags import lock_instruments
from inventory.services.garbage import collection_put_off
from inventory.services.people import has_role
from inventory.services.refusals import keep_refused

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from inventory.models import User
    from inventory.models.scope import Scoped
    from inventory.services.exchange.content import Batch

FIELD_ROLES = (Role.CREW, Role.ENGINEER)
State = DeviceOperation.State


@dataclass(frozen=True, slots=True)
class Received:
    """What a phone is answered: each operation in the order it was sent, and news."""

    epoch: uuid.UUID
    server_time: datetime
    skew_s: float
    answers: tuple[Answer, ...]
    news: tuple[Answer, ...]


@dataclass(frozen=True, slots=True)
class _Read:
    """One operation as it was sent, with its content or what is wrong with it."""

    sent: Sent
    content: Content | None
    problem: str = ""


@transaction.atomic
def receive_batch(*, device: Device, batch: Batch, now: datetime | None = None) -> Received:
    """
    Take in what a phone sent; sent again, raced or reordered, it is applied once.

    The batches of one organisation wait for each other, so that what one of them stores is
    known to the next. All is stored before anything is answered, or nothing is.
    """
    now = now or timezone.now()
    device = _locked(device)
    epoch = epoch_shown(device=device, batch=batch, now=now)
    clock = PhoneClock(batch.sent_at, now)
    _note_heard(device, batch, clock)
    with collection_put_off():
        answers = _Receiving(device, batch, clock, now).take()
    return Received(
        epoch=epoch,
        server_time=now,
        skew_s=clock.skew_s,
        answers=tuple(answers),
        news=tuple(news_of(device, batch.ask)),
    )


def lock_organisation(organisation: Organisation) -> None:
    """Let one at a time apply what phones of an organisation sent."""
    Organisation.objects.select_for_update(no_key=True).get(pk=organisation.pk)


def _locked(device: Device) -> Device:
    lock_organisation(device.organisation)
    # Read again: it may have been withdrawn meanwhile.
    found: Device = Device.objects.select_related("organisation").get(pk=device.pk)
    return found


def _note_heard(device: Device, batch: Batch, clock: PhoneClock) -> None:
    if batch.sent_at is None:
        return
    device.last_heard_at, device.last_skew_s = clock.received_at, clock.skew_s
    device.app_version = batch.app_version or device.app_version
    device.save(update_fields=["last_heard_at", "last_skew_s", "app_version"])


class _Receiving:
    """One batch being taken in, within the caller's transaction."""

    def __init__(self, device: Device, batch: Batch, clock: PhoneClock, now: datetime) -> None:
        self.device = device
        self.organisation = device.organisation
        self.batch = batch
        self.clock = clock
        self.now = now
        self.known = Known(self.organisation)

    def take(self) -> list[Answer]:
        """Apply what is new, and answer each operation in the order it was sent."""
        read = [_read(sent) for sent in self.batch.operations]
        contents = [each.content for each in read if each.content is not None]
        self.known.load(content.client_uuid for content in contents)
        here = {
            content.client_uuid
            for content in contents
            if self.known.find(content.client_uuid) is not None
        }
        elsewhere = self._elsewhere(content.client_uuid for content in contents)
        new: dict[uuid.UUID, _Read] = {}
        for each in read:
            key = each.content.client_uuid if each.content is not None else None
            if key is not None and key not in here and key not in elsewhere:
                new.setdefault(key, each)
        self._apply(list(new.values()))
        first = {id(each) for each in new.values()}
        return [self._answer(each, is_again=id(each) not in first) for each in read]

    def _elsewhere(self, keys: Iterable[uuid.UUID]) -> set[uuid.UUID]:
        """Return the ids that operations of other organisations have."""
        rows = DeviceOperation.objects.filter(client_uuid__in=list(keys))
        others = rows.exclude(organisation=self.organisation)
        return set(others.values_list("client_uuid", flat=True))

    def _apply(self, new: Sequence[_Read]) -> None:
        if not new:
            return
        stored_as = DeviceBatch.objects.create(
            device=self.device,
            sent_at=self.clock.sent_at or self.now,
            received_at=self.now,
            skew_s=self.clock.skew_s,
            app_version=self.batch.app_version,
        )
        trials = self._trials(new, stored_as)
        self._lock_named(trials)
        applying = Applying(self.organisation, self.known, self.now)
        applying.add(trials)
        applying.run()
        store(applying, trials)
        self._settle_entries(trials)

    def _trials(self, new: Sequence[_Read], stored_as: DeviceBatch) -> list[Trial]:
        people = _People(self.device, [each.content for each in new if each.content])
        trials: list[Trial] = []
        in_order = sorted(
            ((each.content, each.sent) for each in new if each.content is not None),
            key=lambda pair: pair[0].sequence,
        )
        latest = self._last_before(in_order[0][0].sequence)
        for content, sent in in_order:
            corrected_at, is_flagged = self.clock.correct(content.device_at, latest)
            latest = max(latest or content.device_at, content.device_at)
            found = content.identified
            operation = DeviceOperation(
                organisation=self.organisation,
                device=self.device,
                batch=stored_as,
                client_uuid=content.client_uuid,
                sequence=content.sequence,
                kind=content.kind,
                content=sent.content,
                content_sha256=sent.sha256,
                device_at=content.device_at,
                device_offset_minutes=content.device_offset_minutes,
                corrected_at=corrected_at,
                is_clock_flagged=is_flagged,
                person=people.named(content.user_id),
                app_version=content.app_version,
                base_version=content.base_version,
                identified_by=found.by if found else "",
                fix_latitude_deg=found.latitude_deg if found else None,
                fix_longitude_deg=found.longitude_deg if found else None,
                fix_accuracy_m=found.accuracy_m if found else None,
                candidate_count=found.candidate_count if found else None,
                replaces_uuid=content.replaces,
                received_at=self.now,
            )
            trials.append(Trial(operation, content, held=people.why_held(content.user_id)))
        return trials

    def _last_before(self, sequence: int) -> datetime | None:
        """Return when the phone recorded the one before, by its clock where that was right."""
        before = DeviceOperation.objects.filter(
            device=self.device, sequence__lt=sequence, is_clock_flagged=False
        )
        times = before.order_by("-sequence").values_list("device_at", flat=True)
        found: datetime | None = times.first()
        return found

    def _lock_named(self, trials: Sequence[Trial]) -> None:
        """
        Lock what several steps of the batch will lock, in the order that all use.

        A run of inspections alone locks all it needs itself, at once.
        """
        if not connection.features.has_select_for_update or all(
            each.operation.kind == INSPECTION for each in trials
        ):
            return
        payloads = [each.content.payload for each in trials]
        lock_instruments(_ids(payload.get("instrument_id") for payload in payloads))
        self._lock(Position, [payload.get("position") for payload in payloads])
        signs = [payload.get(name) for payload in payloads for name in ("sign", "replaces")]
        self._lock(Sign, signs)

    def _lock(self, model: type[Scoped], named: Iterable[Any]) -> None:
        ids = _ids(each.get("id") for each in named if isinstance(each, dict))
        rows = model.objects.owned_by(self.organisation).filter(pk__in=ids)
        list(rows.select_for_update().order_by("pk").values_list("pk", flat=True))

    def _settle_entries(self, trials: Sequence[Trial]) -> None:
        """Settle what had been kept apart as damaged, and has now arrived or been replaced."""
        ids = [each.operation.client_uuid for each in trials]
        ids += [each.content.replaces for each in trials if each.content.replaces is not None]
        RefusedEntry.objects.owned_by(self.organisation).filter(
            kind=RefusedEntry.Kind.OPERATION, client_uuid__in=ids, settled_at__isnull=True
        ).update(settled_at=self.now, settled_reason="Sent again, and stored.")

    def _answer(self, each: _Read, *, is_again: bool) -> Answer:
        if each.content is None:
            return self._keep(each, BROKEN, each.problem)
        operation = self.known.find(each.content.client_uuid)
        if operation is None or operation.content_sha256 != each.sent.sha256:
            sentence = (
                f"An operation with other content is here under the id {each.sent.client_uuid};"
                " it stays as it is. What was sent now is kept beside it for an engineer; send "
                "it again under an id of its own if both happened."
            )
            return self._keep(each, OTHER_CONTENT, sentence)
        put_right = next(
            (
                by
                for by in self.known.standing_for(operation.client_uuid)
                if was_put_right(by, operation)
            ),
            None,
        )
        return answer_of(operation, is_again=is_again, put_right=put_right)

    def _keep(self, each: _Read, code: str, sentence: str) -> Answer:
        """Refuse what cannot be an operation of its own, and keep what was sent."""
        sent = each.sent
        content = each.content
        keep_refused(
            organisation=self.organisation,
            channel=RefusedEntry.Channel.API,
            kind=RefusedEntry.Kind.OPERATION,
            payload={
                "device": str(self.device.device_uuid),
                "client_uuid": sent.client_uuid,
                "sha256": sent.sha256,
                "content": sent.content,
            },
            sentence=sentence,
            client_uuid=content.client_uuid if content else _key_or_none(sent.client_uuid),
            now=self.now,
        )
        return Answer(sent.client_uuid, State.REFUSED, code, sentence)


class _People:
    """Whose names a phone puts to operations, and whether they may record now."""

    def __init__(self, device: Device, contents: Sequence[Content]) -> None:
        self.device = device
        ids = {content.user_id for content in contents if content.user_id is not None}
        signed_in = DevicePerson.objects.filter(device=device, user__in=ids)
        self.on_phone: dict[int, User] = {
            each.user_id: each.user for each in signed_in.select_related("user")
        }
        memberships = (
            Membership.objects.owned_by(device.organisation)
            .filter(user__in=ids)
            .select_related("user", "organisation")
        )
        self.members: dict[int, User] = {each.user_id: each.user for each in memberships}
        self.recording = {
            each.user_id
            for each in memberships
            if each.user.is_active and has_role(each, FIELD_ROLES)
        }

    def named(self, user_id: int | None) -> User | None:
        """Return who recorded it, as the phone says; nobody else's people are named."""
        if user_id is None:
            return None
        return self.on_phone.get(user_id) or self.members.get(user_id)

    def why_held(self, user_id: int | None) -> HeldError | None:
        """Return why an engineer has to settle what a person sends, or ``None``."""
        if self.device.is_withdrawn:
            msg = "This phone was withdrawn; an engineer decides whether it counts."
            return WithdrawnPhoneError(msg)
        if user_id is None or user_id not in self.on_phone:
            msg = (
                "It names a person who never signed in on this phone; an engineer decides "
                "whether it counts."
            )
            return UnknownPersonError(msg)
        if user_id not in self.recording:
            msg = (
                f"{self.on_phone[user_id]} may not record for {self.device.organisation} any "
                "more; an engineer decides whether it counts."
            )
            return LostRightError(msg)
        return None


def _read(sent: Sent) -> _Read:
    try:
        return _Read(sent, read_content(sent))
    except OutOfRangeError as error:
        problem = f"It cannot be read and is kept as it came; send it again. {error}"
        return _Read(sent, None, problem)


def _ids(values: Iterable[Any]) -> list[int]:
    return [each for each in values if isinstance(each, int) and not isinstance(each, bool)]


def _key_or_none(text: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(text)
    except ValueError:
        return None
