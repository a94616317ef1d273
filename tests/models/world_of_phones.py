"""A row of every record that phones, merges and work packages leave, for one agency."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from inventory.services.inspection import record_inspection
from inventory.services.merging import (
    merge_signs,
    merge_supports,
    undo_sign_merge,
    undo_support_merge,
)
from inventory.services.support_moves import move_support
from inventory.services.work_packages import WantedStop, hand_out, make_package, record_stop
from inventory.services.wrong_data import flag_wrong_data, settle_wrong_data
from tests.factories import NOW, make_position, make_sign, make_support, position_of
from tests.services.exchange.phones import Phone

if TYPE_CHECKING:
    from inventory.models import Organisation, Sign, User

PHOTO = {"sha256": "0" * 64, "size_bytes": 1000, "role": "seen", "caption": ""}


def fill_phones(agency: Organisation, sign: Sign, person: User) -> None:
    """Let a phone send two notes, of which the second needs the first and has a photo."""
    phone = Phone(agency, person)
    first = phone.note(sign)
    photos = [PHOTO | {"photo_uuid": str(uuid.uuid4())}]
    phone.note(sign, "Seen again.", needs=[first.client_uuid], photos=photos)
    phone.send()


def fill_wrong_data(sign: Sign, person: User) -> None:
    """Say that something is wrong, settle it, and move the sign's support."""
    flag = flag_wrong_data(sign=sign, field="size", said="it is 36 in", by=person, now=NOW)
    settle_wrong_data(flag=flag, reason="measured", by=person, now=NOW)
    support = position_of(sign).support
    move_support(support=support, latitude_deg=43.0, longitude_deg=-89.5, by=person, now=NOW)


def fill_merges(agency: Organisation, person: User) -> None:
    """Merge two signs and two supports, and take both merges back."""
    support = make_support(agency)
    kept, duplicate = (
        make_sign(agency, position=make_position(agency, support=each))
        for each in (make_support(agency), support)
    )
    record_inspection(sign=duplicate, taken_at=NOW, how="visual_day", note="Leans.", now=NOW)
    signs = merge_signs(kept=kept, duplicate=duplicate, reason="one", by=person, now=NOW)
    undo_sign_merge(merge=signs, reason="two", by=person, now=NOW)
    supports = merge_supports(
        kept=position_of(kept).support, duplicate=support, reason="one", by=person, now=NOW
    )
    undo_support_merge(merge=supports, reason="two", by=person, now=NOW)


def fill_packages(agency: Organisation, sign: Sign, person: User) -> None:
    """Hand a package of one stop out, and say what came of it."""
    package = make_package(
        organisation=agency,
        title="North round",
        work_on=NOW.date(),
        stops=[WantedStop(position_of(sign), "read")],
        now=NOW,
    )
    hand_out(package=package, now=NOW)
    record_stop(stop=package.stops.get(), outcome="done", by=person, now=NOW)
