"""An order between agency and shop: accepted, asked about, shipped in parts, received."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest
from django.db import connection

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import FaceReceipt, LogbookEntry, Shipment, Sign
from inventory.services.installation import install_sign
from inventory.services.ordering import cancel_order, order_progress
from inventory.services.ordering.accepting import accept_order, answer_question, ask_about
from inventory.services.ordering.shipping import (
    Found,
    faces_to_ship,
    receive_faces,
    ship_faces,
)
from tests.factories import (
    NOW,
    make_agency,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    position_of,
    print_order,
)

pytestmark = pytest.mark.django_db
TODAY = NOW.date()


class World:
    def __init__(self, signs=3):
        self.agency = make_agency()
        self.shop = make_shop(agency=self.agency)
        self.press = make_press(self.shop, make_roll(self.shop))
        self.old = [make_sign(self.agency) for _ in range(signs)]
        self.order = make_released_order(self.agency, self.shop, self.old)

    def printed(self):
        print_order(self.order, self.press)
        return list(faces_to_ship(self.order))

    def counts(self):
        """Return printed, shipped, received, lost and outstanding, over all lines."""
        each = [line.counts for line in order_progress(self.order)]
        return tuple(
            sum(getattr(c, name) for c in each)
            for name in ("printed", "shipped", "received", "lost", "outstanding")
        )


@pytest.fixture
def world(db):
    return World()


def test_an_order_is_accepted_for_a_day_and_for_another(world):
    with pytest.raises(OutOfRangeError, match="is past; promise today"):
        accept_order(order=world.order, promised_on=TODAY - timedelta(days=1), now=NOW)
    order = accept_order(order=world.order, promised_on=TODAY + timedelta(days=9), now=NOW)
    assert (order.accepted_at, order.promised_on) == (NOW, TODAY + timedelta(days=9))
    later = NOW + timedelta(days=1)
    order = accept_order(order=order, promised_on=TODAY + timedelta(days=12), now=later)
    assert (order.accepted_at, order.promised_on) == (NOW, TODAY + timedelta(days=12))
    for party in (world.agency, world.shop):
        told = LogbookEntry.objects.filter(organisation=party, verb="accept order")
        assert told.count() == 2
        assert "before for" in told.latest("pk").text
    cancel_order(order=order, reason="not needed", now=NOW)
    with pytest.raises(StateConflictError, match="cancelled and is not accepted"):
        accept_order(order=order, promised_on=TODAY, now=NOW)


def test_what_the_shop_asks_is_answered_before_it_accepts(world):
    question = ask_about(order=world.order, asker=world.shop, text=" Which arrow? ", now=NOW)
    assert (question.text, question.is_by_shop) == ("Which arrow?", True)
    with pytest.raises(StateConflictError, match="not answered yet"):
        accept_order(order=world.order, promised_on=TODAY, now=NOW)
    with pytest.raises(StateConflictError, match="the other party answers it"):
        answer_question(question=question, answerer=world.shop, text="Left.", now=NOW)
    answer_question(question=question, answerer=world.agency, text="Left.", now=NOW)
    with pytest.raises(StateConflictError, match="answered already"):
        answer_question(question=question, answerer=world.agency, text="Right.", now=NOW)
    accept_order(order=world.order, promised_on=TODAY, now=NOW)
    asked = ask_about(order=world.order, asker=world.agency, text="In one go?", now=NOW)
    answer_question(question=asked, answerer=world.shop, text="Yes.", now=NOW)
    for text in (" ", "x" * 2_001):
        with pytest.raises(OutOfRangeError, match="write 1 to 2,000"):
            ask_about(order=world.order, asker=world.shop, text=text, now=NOW)
    with pytest.raises(StateConflictError, match="is between"):
        ask_about(order=world.order, asker=make_agency(), text="What is this?", now=NOW)


def test_faces_are_shipped_in_parts_and_received_face_by_face(world):
    with pytest.raises(OutOfRangeError, match="0 faces cannot be shipped"):
        ship_faces(order=world.order, signs=[], now=NOW)
    faces = world.printed()
    assert len(faces) == 3
    first = ship_faces(order=world.order, signs=[faces[0].pk, faces[1].pk], now=NOW)
    second = ship_faces(order=world.order, signs=[faces[2].pk], note="by van", now=NOW)
    assert [(each.number, each.faces.count()) for each in (first, second)] == [(1, 2), (2, 1)]
    with pytest.raises(StateConflictError, match=f"{faces[0].label_id} is not in the shop"):
        ship_faces(order=world.order, signs=[faces[0].pk], now=NOW)
    assert world.counts() == (3, 3, 0, 0, 0)

    found = {
        faces[0].pk: Found("whole"),
        faces[1].pk: Found("broken", "bent on the truck"),
    }
    assert receive_faces(shipment=first, found=found, now=NOW) == 1
    whole, broken = (Sign.objects.get(pk=face.pk) for face in faces[:2])
    assert (whole.owner, whole.state) == (world.agency, Sign.State.IN_STOCK)
    assert (broken.state, broken.removal_reason) == (Sign.State.REMOVED, "damaged")
    # What was lost is to be printed again.
    assert world.counts() == (3, 3, 1, 1, 1)
    world.order.refresh_from_db()
    assert world.order.state == "released"
    for told, sentence in (
        ({faces[0].pk: Found("whole")}, "received already"),
        ({faces[2].pk: Found("whole")}, "is not on this packing list"),
        ({}, "No face is picked"),
    ):
        with pytest.raises((StateConflictError, OutOfRangeError), match=sentence):
            receive_faces(shipment=first, found=told, now=NOW)
    for one, sentence in ((Found("missing"), "Say what is wrong"), (Found("wet"), "'wet'")):
        with pytest.raises(OutOfRangeError, match=sentence):
            receive_faces(shipment=second, found={faces[2].pk: one}, now=NOW)
    assert FaceReceipt.objects.count() == 2

    # The lost one is printed anew and shipped after the others.
    print_order(world.order, world.press, now=NOW + timedelta(hours=2))
    (again,) = faces_to_ship(world.order)
    third = ship_faces(order=world.order, signs=[again.pk], now=NOW)
    assert third.number == 3
    receive_faces(shipment=third, found={again.pk: Found("whole")}, now=NOW)
    assert world.counts() == (4, 4, 2, 1, 0)


def test_a_face_that_went_up_before_it_was_ticked_has_arrived(world):
    faces = world.printed()
    shipment = ship_faces(order=world.order, signs=[face.pk for face in faces], now=NOW)
    install_sign(
        sign=faces[0],
        position=position_of(world.old[0]),
        installed_on=TODAY,
        removal_reason="aged",
        now=NOW,
    )
    with pytest.raises(StateConflictError, match="it did arrive"):
        receive_faces(
            shipment=shipment, found={faces[0].pk: Found("missing", "not there")}, now=NOW
        )
    assert receive_faces(shipment=shipment, found={faces[0].pk: Found("whole")}, now=NOW) == 1
    assert Sign.objects.get(pk=faces[0].pk).state == Sign.State.INSTALLED


def test_how_far_an_order_is_takes_as_many_queries_for_more_faces(
    world, django_assert_max_num_queries
):
    faces = world.printed()
    ship_faces(order=world.order, signs=[faces[0].pk], now=NOW)
    with django_assert_max_num_queries(2):
        order_progress(world.order)
    more = World(signs=9)
    more.printed()
    with django_assert_max_num_queries(2):
        order_progress(more.order)


@pytest.mark.django_db(transaction=True)
def test_of_two_people_shipping_the_same_face_one_does():
    world = World(signs=1)
    (face,) = world.printed()
    barrier = threading.Barrier(2)
    said: list[str] = []

    def ship():
        try:
            barrier.wait(timeout=20)
            ship_faces(order=world.order, signs=[face.pk], now=NOW)
            said.append("shipped")
        except StateConflictError as error:
            said.append(str(error))
        finally:
            connection.close()

    threads = [threading.Thread(target=ship) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(each == "shipped" for each in said) == [False, True]
    assert Shipment.objects.count() == 1
