"""Phones: each sends with a key of its own, for the organisation it was taken on for."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from hmac import compare_digest
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.db.models import F, Window
from django.db.models.functions import Lead
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Device, DeviceOperation, DevicePerson
from inventory.services.logbook import log

if TYPE_CHECKING:
    import uuid
    from datetime import datetime

    from inventory.models import Organisation, User

KEY_BYTES = 32
NO_KEY = ""
SHORTEST_KEY, LONGEST_KEY = 40, 100  # of text; 32 bytes are 43 characters
LONGEST_NAME = Device._meta.get_field("name").max_length or 0
LONGEST_REASON = 255
MOST_GAPS = 100


@dataclass(frozen=True, slots=True)
class Registered:
    """A phone that was taken on, with the key it sends with; only a hash is kept here."""

    device: Device
    key: str


@transaction.atomic
def register_device(
    *,
    organisation: Organisation,
    user: User,
    device_uuid: uuid.UUID,
    name: str = "",
    app_version: str = "",
    key: str = "",
    now: datetime | None = None,
) -> Registered:
    """
    Take a phone on, or note that one more person signed in on it.

    A phone that is known shows its key. One that shows a key and is not known was taken on
    after the backup that was restored here: it keeps its key.
    """
    now = now or timezone.now()
    known = Device.objects.select_for_update().filter(device_uuid=device_uuid).first()
    if known is None:
        registered = _take_on(organisation, user, device_uuid, name, app_version, key, now)
    else:
        registered = _known(known, organisation, app_version, key)
    DevicePerson.objects.get_or_create(
        device=registered.device, user=user, defaults={"signed_in_at": now}
    )
    return registered


@transaction.atomic
def take_on_from_file(
    *, organisation: Organisation, device_uuid: uuid.UUID, now: datetime
) -> Device:
    """Take on a phone that a file is of; it has no key until somebody signs in on it."""
    device: Device
    device, is_new = Device.objects.get_or_create(
        device_uuid=device_uuid,
        defaults={
            "organisation": organisation,
            "name": "from a file",
            "key_sha256": NO_KEY,
            "registered_at": now,
            "last_heard_at": now,
        },
    )
    if is_new:
        log(
            organisation=organisation,
            actor=None,
            verb="take on phone",
            text="A phone was taken on from a file of its outbox.",
            at=now,
            detail={"device": device.pk},
        )
    return device


def authenticate_device(*, device_uuid: uuid.UUID, key: str) -> Device | None:
    """Return the phone that a key is of, a withdrawn one too: what it sends is held."""
    device: Device | None = (
        Device.objects.select_related("organisation").filter(device_uuid=device_uuid).first()
    )
    # The same work with and without such a phone, so that the answer's time tells nothing;
    # no hash is as long as what stands for none.
    expected = device.key_sha256 if device is not None else NO_KEY
    return device if compare_digest(hash_of(key), expected) else None


@transaction.atomic
def withdraw_device(
    *, device: Device, reason: str, by: User | None, now: datetime | None = None
) -> Device:
    """Withdraw a phone that was lost or handed back: what it sends waits for an engineer."""
    return _set_withdrawn(device, True, reason, by, now)


@transaction.atomic
def bring_back_device(
    *, device: Device, reason: str, by: User | None, now: datetime | None = None
) -> Device:
    """Trust a phone again that was withdrawn; what it sent meanwhile stays held."""
    return _set_withdrawn(device, False, reason, by, now)


def missing_sequences(device: Device, most: int = MOST_GAPS) -> list[tuple[int, int]]:
    """
    Return the gaps in what came of a phone's own count, each as its first and last number.

    A gap was recorded on the phone and is not here (yet): still to be sent, damaged on the
    way, or taken back on the phone before it was sent.
    """
    counted = DeviceOperation.objects.filter(device=device)
    first = counted.order_by("sequence").values_list("sequence", flat=True).first()
    if first is None:
        return []
    gaps = [(1, first - 1)] if first > 1 else []
    following = Window(Lead("sequence"), order_by=F("sequence").asc())
    ends = (
        counted.annotate(following=following)
        .filter(following__gt=F("sequence") + 1)
        .order_by("sequence")
        .values_list("sequence", "following")
    )
    gaps += [(before + 1, after - 1) for before, after in ends[:most]]
    return gaps[:most]


def hash_of(key: str) -> str:
    """Return what is kept of a key."""
    return hashlib.sha256(key.encode("utf-8", "replace")).hexdigest()


def _take_on(
    organisation: Organisation,
    user: User,
    device_uuid: uuid.UUID,
    name: str,
    app_version: str,
    key: str,
    now: datetime,
) -> Registered:
    key = _checked(key)
    try:
        with transaction.atomic():
            device = Device.objects.create(
                organisation=organisation,
                device_uuid=device_uuid,
                name=name.strip()[:LONGEST_NAME],
                key_sha256=hash_of(key),
                app_version=app_version,
                registered_at=now,
                last_heard_at=now,
            )
    except IntegrityError as error:
        msg = "This phone was taken on a moment ago; send its key with the request."
        raise StateConflictError(msg) from error
    log(
        organisation=organisation,
        actor=user,
        verb="take on phone",
        text=f"{_start(device)} taken on for {user}.",
        at=now,
        detail={"device": device.pk},
    )
    return Registered(device, key)


def _known(known: Device, organisation: Organisation, app_version: str, key: str) -> Registered:
    if known.key_sha256 == NO_KEY:
        key = _checked(key)
        known.key_sha256 = hash_of(key)
    if not compare_digest(hash_of(key), known.key_sha256):
        msg = (
            "This phone is known here, and the key it showed is not its own. Nothing on it is "
            "lost: export what it has not sent yet, then set the field app up anew."
        )
        raise StateConflictError(msg)
    if known.organisation_id != organisation.pk:
        msg = (
            "This phone records for another organisation. Act for that one, or use a phone "
            f"that is not taken on yet for {organisation}."
        )
        raise StateConflictError(msg)
    if known.is_withdrawn:
        msg = f"{known} was withdrawn; an engineer brings it back on the page of phones."
        raise StateConflictError(msg)
    known.app_version = app_version
    known.save(update_fields=["app_version", "key_sha256"])
    return Registered(known, key)


def _checked(key: str) -> str:
    """Return the key a phone had before, or a new one where it had none."""
    if key and not SHORTEST_KEY <= len(key) <= LONGEST_KEY:
        msg = (
            f"The phone's key has {len(key)} characters; a key has {SHORTEST_KEY} to "
            f"{LONGEST_KEY}. Leave it out, and the phone is given one."
        )
        raise OutOfRangeError(msg)
    return key or secrets.token_urlsafe(KEY_BYTES)


def _set_withdrawn(
    device: Device, is_withdrawn: bool, reason: str, by: User | None, now: datetime | None
) -> Device:
    now = now or timezone.now()
    reason = reason.strip()
    if not 0 < len(reason) <= LONGEST_REASON:
        msg = (
            f"Say in a few words why (at most {LONGEST_REASON} characters; there are "
            f"{len(reason)})."
        )
        raise OutOfRangeError(msg)
    locked: Device = (
        Device.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .get(pk=device.pk)
    )
    if locked.is_withdrawn == is_withdrawn:
        return locked
    locked.is_withdrawn = is_withdrawn
    locked.save(update_fields=["is_withdrawn"])
    log(
        organisation=locked.organisation,
        actor=by,
        verb="withdraw phone" if is_withdrawn else "bring back phone",
        text=(f"{_start(locked)} {'withdrawn' if is_withdrawn else 'brought back'}: {reason}"),
        at=now,
        detail={"device": locked.pk},
    )
    return locked


def _start(device: Device) -> str:
    """Return a phone's name as a sentence begins with it; the rest of it stays as it is."""
    words = str(device)
    return words[:1].upper() + words[1:]
