"""Damage that visits had recorded before it was followed here: taken up once, as it stands."""

from __future__ import annotations

import importlib
from datetime import timedelta

import pytest
from django.apps import apps

from inventory.models import DamageReport, DamageStanding, Inspection, Observation
from inventory.services.damage import open_damage
from inventory.services.damage_standing import rebuild_damage
from inventory.services.merging import merge_signs
from tests.factories import NOW, make_agency, make_position, make_sign, make_standing

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
take_up = importlib.import_module("inventory.migrations.0011_damage_on_record").take_up


@pytest.fixture
def agency():
    return make_agency(damage_days={"severe": {"1": 1}})


def looked(sign, *seen, days_ago, recorded_after=timedelta(0), corrects=None):
    """A look as it was stored before damage was followed: nothing is made of it."""
    at = NOW - days_ago * DAY
    visit = Inspection.objects.create(
        organisation=sign.owner,
        sign=sign,
        taken_at=at,
        recorded_at=at + recorded_after,
        how="visual_day",
        corrects=corrects,
    )
    for kind, severity in seen:
        Observation.objects.create(inspection=visit, kind=kind, severity=severity)
    return visit


def test_what_stands_comes_in_and_what_was_found_gone_does_not(agency):
    stop, mended, slight, mistaken = (make_sign(agency) for _ in range(4))
    make_standing(stop, safety_class=1)
    looked(stop, ("knocked_down", 3), days_ago=9, recorded_after=DAY)
    looked(stop, ("knocked_down", 3), ("leaning", 2), days_ago=3)
    looked(mended, ("bent", 3), days_ago=9)
    looked(mended, ("general", 0), days_ago=2)
    looked(slight, ("bent", 1), ("faded", 2), ("general", 2), days_ago=2)
    wrong = looked(mistaken, ("missing", 3), days_ago=4)
    looked(mistaken, ("general", 1), days_ago=4, corrects=wrong)
    take_up(apps, None)
    rows = open_damage(agency)
    assert [(each.sign, each.kind, each.severity) for each in rows] == [
        (stop, "knocked_down", 3),
        (stop, "leaning", 2),
    ]
    down = rows[0]
    # Seen again, it is known since it was first told of; its time counts from then.
    assert down.report.reported_at == NOW - 9 * DAY
    assert down.report.notified_at == NOW - 8 * DAY
    assert down.due_on == (NOW - 7 * DAY).date()
    assert down.report.channel == "record"


def test_it_counts_for_the_face_that_was_kept_and_for_a_place_left_empty(agency):
    kept, twin = make_sign(agency), make_sign(agency)
    looked(twin, ("bent", 3), days_ago=5)
    merge_signs(kept=kept, duplicate=twin, reason="one face", now=NOW)
    gone = make_sign(agency, state="removed", removal_reason="knocked_down")
    looked(gone, ("knocked_down", 3), days_ago=5)
    replaced = make_sign(agency, state="removed", removal_reason="knocked_down")
    make_sign(agency, position=replaced.position)
    looked(replaced, ("knocked_down", 3), days_ago=5)
    place = make_position(agency, is_retired=True)
    looked(make_sign(agency, position=place), ("missing", 3), days_ago=5)
    take_up(apps, None)
    assert {each.sign for each in open_damage(agency)} == {kept, gone}
    assert DamageStanding.objects.get(sign=gone).safety_class == 1


def test_the_services_find_what_was_taken_up_to_stand_as_it_was_stored(agency):
    for kind, severity in (("bent", 2), ("missing", 1), ("delaminated", 3)):
        sign = make_sign(agency)
        make_standing(sign, safety_class=1)
        looked(sign, (kind, severity), days_ago=2)
    take_up(apps, None)
    names = [f.attname for f in DamageStanding._meta.concrete_fields if f.name != "rebuilt_at"]
    before = list(DamageStanding.objects.order_by("report").values(*names))
    rebuild_damage(DamageReport.objects.values_list("pk", flat=True), now=NOW)
    assert list(DamageStanding.objects.order_by("report").values(*names)) == before
    assert len(before) == 3
