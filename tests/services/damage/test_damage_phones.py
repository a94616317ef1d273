"""Damage from phones: offline, late, twice, with photos, with a clock that runs ahead."""

from __future__ import annotations

import hashlib
import uuid
from datetime import timedelta

import pytest

from inventory.models import (
    DamageClosure,
    DamageReport,
    DamageStanding,
    Sign,
    Standing,
)
from inventory.services.damage import open_damage
from inventory.services.photo_uploads import receive_photo
from tests.factories import NOW, make_agency, make_sign
from tests.services.exchange.phones import BEGAN, Phone, said
from tests.services.test_photos import picture

pytestmark = pytest.mark.django_db

MINUTE = timedelta(minutes=1)


@pytest.fixture(autouse=True)
def _media(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def agency():
    return make_agency(damage_days={"severe": {"1": 1}})


@pytest.fixture
def sign(agency):
    return make_sign(agency)


def seen(sign, kind, severity=3):
    return {
        "sign": {"id": sign.pk},
        "how": "visual_day",
        "observations": [{"kind": kind, "severity": severity, "note": "by the school"}],
    }


def test_what_a_phone_reported_offline_is_on_the_list_when_it_is_sent_and_only_once(
    sign, agency
):
    phone = Phone(agency)
    phone.record("inspection", seen(sign, "knocked_down"))
    assert said(phone.send()) == [("applied", "")]
    assert said(phone.send()) == [("already_applied", "")]
    (stands,) = open_damage(agency)
    report = stands.report
    assert (report.reported_at, report.notified_at) == (BEGAN + MINUTE, NOW)
    assert (report.entered_by, report.description) == (phone.user, "by the school")
    assert DamageReport.objects.count() == 1
    assert Standing.objects.get(sign=sign).condition == Standing.Condition.SEVERE


def test_a_clock_ten_minutes_ahead_is_put_right_and_the_report_kept(sign, agency):
    phone = Phone(agency)
    ahead = NOW + 10 * MINUTE
    phone.record("inspection", seen(sign, "missing"), device_at=ahead.isoformat())
    assert said(phone.send(sent_at=ahead)) == [("applied", "")]
    report = DamageReport.objects.get()
    assert (report.reported_at, report.notified_at) == (NOW, NOW)
    assert report.observation is not None
    assert open_damage(agency).count() == 1


def test_its_photo_comes_after_it_and_belongs_to_the_visit_it_was_seen_on(sign, agency):
    phone = Phone(agency)
    content, key = picture(), str(uuid.uuid4())
    photo = {
        "photo_uuid": key,
        "size_bytes": len(content),
        "sha256": hashlib.sha256(content).hexdigest(),
        "taken_at": (BEGAN + MINUTE).isoformat(),
        "caption": "",
        "role": "seen",
    }
    phone.record("inspection", seen(sign, "knocked_down"), photos=[photo])
    assert said(phone.send()) == [("applied", "")]
    for _ in range(2):
        receive_photo(device=phone.device, photo_uuid=uuid.UUID(key), content=content, now=NOW)
    report = DamageReport.objects.get()
    assert report.observation is not None
    assert report.observation.inspection.photos.get().sign == sign


def test_a_day_without_signal_comes_in_as_it_went(sign, agency):
    """Down in the morning, a new face by noon, the new one bent in the evening."""
    face = Sign.objects.create(
        owner=agency,
        state="in_stock",
        sign_code="R1-1",
        width_in=30.0,
        height_in=30.0,
        label_id="001-0JK",
    )
    phone = Phone(agency)
    phone.record("inspection", seen(sign, "knocked_down"))
    phone.record(
        "install",
        {
            "position": {"id": sign.position_id},
            "face": {"label": "001-0JK"},
            "installed_on": NOW.date().isoformat(),
            "replaces": {"id": sign.pk},
            "removal_reason": "knocked_down",
        },
    )
    phone.record("inspection", seen(face, "bent", 2))
    assert said(phone.send()) == [("applied", "")] * 3
    closure = DamageClosure.objects.get()
    assert (closure.way, closure.new_sign) == ("new_face", face)
    assert (closure.done_at, closure.done_precision) == (BEGAN + 2 * MINUTE, "minute")
    assert [(each.kind, each.sign) for each in open_damage(agency)] == [("bent", face)]


def test_a_second_phone_that_saw_it_before_the_new_face_starts_no_clock(sign, agency):
    face = Sign.objects.create(
        owner=agency,
        state="in_stock",
        sign_code="R1-1",
        width_in=30.0,
        height_in=30.0,
        label_id="001-0JK",
    )
    first, second = Phone(agency), Phone(agency)
    second.record("inspection", seen(sign, "knocked_down"))
    first.record(
        "install",
        {
            "position": {"id": sign.position_id},
            "face": {"label": "001-0JK"},
            "installed_on": NOW.date().isoformat(),
            "replaces": {"id": sign.pk},
            "removal_reason": "knocked_down",
        },
    )
    assert said(first.send()) == [("applied", "")]
    assert said(second.send()) == [("applied", "")]
    assert not open_damage(agency).exists()
    stands = DamageStanding.objects.get()
    assert (stands.way, stands.done_on) == ("new_face", NOW.date())
    assert DamageClosure.objects.get().new_sign == face
