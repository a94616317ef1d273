"""What a face's record says of the time after the press, until it was received."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Blank, FaceLabel, LabelBatch, LabelSheet, Panel, Role, Sign
from inventory.services.ordering.shipping import Found, receive_faces, ship_faces
from inventory.services.production import production_record
from inventory.services.production.quality import Seen, check_face
from inventory.services.production.steps import withdraw_step
from tests.factories import NOW, make_person, make_sign
from tests.services.test_steps import PRINTED_AT, Printed

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(days=3)


@pytest.fixture
def world(db):
    return Printed()


def label(world, face, at, by=None):
    sheet, _ = LabelSheet.objects.get_or_create(
        organisation=world.shop,
        name="Roll",
        defaults={
            "page_width_in": 4,
            "page_height_in": 2,
            "left_in": 0,
            "top_in": 0,
            "columns": 1,
            "rows": 1,
            "label_width_in": 4,
            "label_height_in": 2,
        },
    )
    batch = LabelBatch.objects.create(
        organisation=world.shop, sheet=sheet, measures={}, made_at=at, made_by=by
    )
    FaceLabel.objects.create(batch=batch, sign=face, number=1)


def rows_of(face):
    return dict(production_record(Sign.objects.get(pk=face.pk)).rows)


def test_steps_blank_check_label_and_way_are_told_with_who_and_when(world):
    face, clock = world.faces[0], world.shop.clock_words
    hand = make_person(world.shop, Role.SHOP)
    blank = world.blanks(is_reclaimed=True, holes="2 holes")
    world.mark(world.dry, [face], by=hand)
    world.mark(world.film, [face], hours=24)
    world.mark(world.put, [face], hours=25, blank=blank, by=hand)
    check_face(sign=face, seen=Seen(), by=hand, now=LATER)
    label(world, face, LATER, hand)
    label(world, face, LATER + timedelta(hours=1), hand)
    shipment = ship_faces(order=world.order, signs=[face.pk], by=hand, now=LATER)
    engineer = make_person(world.agency, Role.ENGINEER)
    receive_faces(shipment=shipment, found={face.pk: Found("whole")}, by=engineer, now=LATER)
    rows = rows_of(face)
    assert rows["step: Dry"] == f"{clock(PRINTED_AT)}, by {hand}"
    day_after = clock(PRINTED_AT + timedelta(hours=24))
    assert rows["step: Laminate"] == f"{day_after}, by whom is not known"
    assert rows["blank"] == "30 × 30 in, 0.080 in thick, holes 2 holes, reclaimed"
    when = clock(LATER)
    assert rows["check of the new face"] == f"passed, readings: not read; {when}, by {hand}"
    again = clock(LATER + timedelta(hours=1))
    assert rows["label made"] == f"2 times, last {again}, by {hand}"
    assert rows["shipped"] == f"packing list {world.order.number}/1, {when}, by {hand}"
    assert rows["received"] == f"whole, {when}, by {engineer}"


def test_a_step_withdrawn_is_no_step_and_the_last_check_counts(world):
    face = world.faces[0]
    world.mark(world.dry, [face])
    withdraw_step(sign=face, step=world.dry, reason="wrong run", now=LATER)
    check_face(sign=face, seen=Seen(), now=LATER)
    check_face(
        sign=face,
        seen=Seen(is_look_right=False, note="bubbles"),
        now=LATER + timedelta(hours=1),
    )
    rows = rows_of(face)
    assert "step: Dry" not in rows
    assert rows["steps after the press"] == "not known"
    assert rows["check of the new face"].startswith("failed")


def test_what_is_not_known_of_a_blank_says_so(world):
    panel = Panel.objects.create(organisation=world.agency, material="aluminium")
    sign = make_sign(world.agency, panel=panel)
    assert rows_of(sign)["blank"] == "size not known, thickness not known, aluminium"
    assert not Blank.objects.exists()


def test_a_record_takes_as_many_queries_however_much_was_done(world):
    first, second = world.faces[:2]
    world.mark(world.dry, [first])
    label(world, first, LATER)
    with CaptureQueriesContext(connection) as one:
        rows_of(first)
    world.mark(world.dry, [second])
    world.mark(world.film, [second], hours=24)
    for hours in range(3):
        label(world, second, LATER + timedelta(hours=hours))
        check_face(sign=second, seen=Seen(), now=LATER + timedelta(hours=hours))
    with CaptureQueriesContext(connection) as many:
        rows_of(second)
    assert len(many) == len(one)
