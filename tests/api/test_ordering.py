"""Orders over the API: accepted, asked about, shipped and received, each by its party."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models import FaceReceipt, PrintOrder, Role, Shipment
from inventory.services.ordering.shipping import faces_to_ship
from tests.factories import make_agency
from tests.services.test_order_life import World
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db
ORDERS, SHIPMENTS = "/api/v1/orders/", "/api/v1/shipments/"


@pytest.fixture
def world(db):
    return World()


def as_shop(client, world):
    act_as(client, world.shop, Role.SHOP)


def as_agency(client, world, role=Role.ENGINEER):
    act_as(client, world.agency, role)


def send(client, address, **content):
    return client.post(address, content, content_type="application/json")


def test_an_order_goes_from_accepted_to_received(client, world):
    address = f"{ORDERS}{world.order.pk}/"
    as_shop(client, world)
    asked = send(client, f"{address}ask/", text="Left or right?")
    assert asked.status_code == 201
    day = timezone.localdate() + timedelta(days=5)
    early = send(client, f"{address}accept/", promised_on=f"{day}")
    assert early.status_code == 409
    assert "not answered yet" in str(early.json())

    as_agency(client, world)
    answer = f"{address}questions/{asked.json()['id']}/answer/"
    assert send(client, answer, text="Left.").json()["answer"] == "Left."
    assert send(client, f"{address}accept/", promised_on=f"{day}").status_code == 403
    (question,) = client.get(f"{address}questions/").json()["results"]
    assert (question["text"], question["is_by_shop"]) == ("Left or right?", True)

    as_shop(client, world)
    past = send(client, f"{address}accept/", promised_on="2020-01-01")
    assert past.status_code == 400
    accepted = send(client, f"{address}accept/", promised_on=f"{day}").json()
    assert accepted["promised_on"] == f"{day}"
    assert accepted["counts"]["outstanding"] == 3
    faces = [face.pk for face in world.printed()]
    shipped = send(client, f"{address}ship/", signs=faces[:2], note="by van")
    assert shipped.status_code == 201
    assert send(client, f"{address}ship/", signs=faces[:2]).status_code == 409
    receive = f"{SHIPMENTS}{shipped.json()['id']}/receive/"
    whole = [{"sign_id": faces[0], "outcome": "whole"}]
    assert send(client, receive, faces=whole).status_code == 403

    as_agency(client, world, Role.CREW)
    twice = send(client, receive, faces=whole * 2)
    assert twice.status_code == 400
    assert "told of twice" in str(twice.json())
    unsaid = send(client, receive, faces=[{"sign_id": faces[1], "outcome": "broken"}])
    assert unsaid.status_code == 400
    found = [*whole, {"sign_id": faces[1], "outcome": "broken", "note": "bent"}]
    assert send(client, receive, faces=found).status_code == 200
    assert FaceReceipt.objects.count() == 2
    rows = client.get(f"{SHIPMENTS}{shipped.json()['id']}/faces/").json()["results"]
    told = [(row["outcome"], row["note"]) for row in rows]
    assert told == [("whole", ""), ("broken", "bent")]

    as_agency(client, world)
    counts = client.get(address).json()["counts"]
    assert (counts["printed"], counts["shipped"], counts["received"]) == (3, 2, 1)
    assert (counts["lost"], counts["outstanding"]) == (1, 1)


def test_a_stranger_finds_none_of_it(client, world):
    world.printed()
    as_shop(client, world)
    faces = [face.pk for face in faces_to_ship(world.order)]
    send(client, f"{ORDERS}{world.order.pk}/ship/", signs=faces)
    shipment = Shipment.objects.get()
    act_as(client, make_agency(), Role.ENGINEER)
    for address in (
        f"{ORDERS}{world.order.pk}/questions/",
        f"{ORDERS}{world.order.pk}/shipments/",
        f"{SHIPMENTS}{shipment.pk}/faces/",
    ):
        assert client.get(address).status_code == 404
    assert send(client, f"{ORDERS}{world.order.pk}/ask/", text="?").status_code == 404
    told = [{"sign_id": faces[0], "outcome": "whole"}]
    assert send(client, f"{SHIPMENTS}{shipment.pk}/receive/", faces=told).status_code == 404
    assert FaceReceipt.objects.count() == 0


def test_a_shop_sees_no_draft_and_accepts_none(client, world):
    PrintOrder.objects.update(state="draft", released_at=None)
    as_shop(client, world)
    answer = send(client, f"{ORDERS}{world.order.pk}/accept/", promised_on="2030-01-01")
    assert answer.status_code == 404


def test_lists_take_the_same_queries_however_long(client, world, django_assert_max_num_queries):
    world.printed()
    as_shop(client, world)
    faces = [face.pk for face in faces_to_ship(world.order)]
    for face in faces:
        send(client, f"{ORDERS}{world.order.pk}/ship/", signs=[face])
        send(client, f"{ORDERS}{world.order.pk}/ask/", text="When?")
    for address, number in (
        (f"{ORDERS}{world.order.pk}/shipments/", 3),
        (f"{ORDERS}{world.order.pk}/questions/", 3),
        (f"{SHIPMENTS}{Shipment.objects.order_by('pk')[0].pk}/faces/", 1),
    ):
        with django_assert_max_num_queries(6):
            assert len(client.get(address).json()["results"]) == number
