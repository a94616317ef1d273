"""An order's life on the pages, each step by the party whose step it is."""

from __future__ import annotations

import shutil
import subprocess
from datetime import timedelta
from io import BytesIO

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.interchange.packing_list_pdf import write_packing_list
from inventory.models import OrderQuestion, PrintOrder, Role, Shipment, Sign
from inventory.services.ordering.shipping import faces_to_ship, ship_faces
from tests.factories import make_person
from tests.services.test_order_life import World

pytestmark = pytest.mark.django_db
PDFTOTEXT = shutil.which("pdftotext")


@pytest.fixture
def world(db):
    return World()


def order_page(client, world):
    return client.get(reverse("order-page", args=[world.order.pk])).content.decode()


def test_an_order_goes_from_released_to_received(client, world):
    shop = make_person(world.shop, Role.SHOP)
    engineer = make_person(world.agency, Role.ENGINEER)
    pk = world.order.pk

    client.force_login(shop)
    assert "Accept order" in order_page(client, world)
    client.post(reverse("order-ask", args=[pk]), {"text": "Left or right?"})
    day = timezone.localdate() + timedelta(days=5)
    refused = client.post(reverse("order-accept", args=[pk]), {"promised_on": f"{day}"})
    assert refused.status_code == 409
    assert f'value="{day}"' in refused.content.decode()

    client.force_login(engineer)
    question = OrderQuestion.objects.get()
    answer = reverse("order-answer", args=[pk, question.pk])
    assert answer in order_page(client, world)
    assert "Left or right?" in client.get(answer).content.decode()
    assert client.post(answer, {"text": ""}).status_code == 400
    assert client.post(answer, {"text": "Left."}).status_code == 302
    assert client.get(reverse("order-accept", args=[pk])).status_code == 403

    client.force_login(shop)
    past = {"promised_on": "2020-01-01"}
    assert client.post(reverse("order-accept", args=[pk]), past).status_code == 400
    client.post(reverse("order-accept", args=[pk]), {"promised_on": f"{day}"})
    page = order_page(client, world)
    assert f"{day:%-d %b %Y}" in page
    assert "Left." in page
    faces = world.printed()
    ship = reverse("order-ship", args=[pk])
    assert ship in order_page(client, world)
    assert client.get(ship).content.decode().count("checked") == 3
    picked = [face.pk for face in faces[:2]]
    sent = client.post(ship, {"faces": picked, "note": "by van"})
    shipment = Shipment.objects.get()
    assert sent.url == reverse("shipment-page", args=[shipment.pk])
    assert client.post(ship, {"faces": picked}).status_code == 409
    receive = reverse("shipment-receive", args=[shipment.pk])
    assert client.post(receive, {"faces": picked}).status_code == 403

    client.force_login(engineer)
    page = client.get(reverse("shipment-page", args=[shipment.pk])).content.decode()
    assert page.count("checked") == 2
    typed = {
        "faces": picked,
        f"outcome_{picked[0]}": "whole",
        f"outcome_{picked[1]}": "broken",
    }
    refused = client.post(receive, typed)
    assert refused.status_code == 409
    assert "Say what is wrong" in refused.content.decode()
    assert client.post(receive, typed | {f"note_{picked[1]}": "bent"}).status_code == 302
    assert Sign.objects.filter(owner=world.agency, state="in_stock").count() == 1
    page = client.get(reverse("shipment-page", args=[shipment.pk])).content.decode()
    assert "bent" in page
    assert "Record what arrived" not in page
    page = order_page(client, world)
    assert "2 shipped, 1 received" in page


def test_an_order_past_its_promise_is_late_on_the_board(client, world):
    yesterday = timezone.localdate() - timedelta(days=1)
    PrintOrder.objects.filter(pk=world.order.pk).update(
        accepted_at=timezone.now() - timedelta(days=3), promised_on=yesterday, needed_by_on=None
    )
    client.force_login(make_person(world.shop, Role.SHOP))
    assert "promised for" in client.get(reverse("board")).content.decode()
    assert ">past</span>" in order_page(client, world)


@pytest.mark.skipif(PDFTOTEXT is None, reason="pdftotext is not here")
def test_the_packing_list_names_every_face(client, world, tmp_path):
    world.printed()
    signs = [sign.pk for sign in faces_to_ship(world.order)]
    shipment = ship_faces(order=world.order, signs=signs, note="by van")
    client.force_login(make_person(world.agency, Role.CREW))
    file = tmp_path / "list.pdf"
    file.write_bytes(b"".join(client.get(reverse("shipment-pdf", args=[shipment.pk]))))
    asked = [str(PDFTOTEXT), "-layout", str(file), "-"]
    words = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    assert f"Packing list {world.order.number}/1" in words
    for sign in Sign.objects.filter(pk__in=signs):
        assert sign.label_id in words
    assert "Texas DOT sign manual" in words
    assert "by van" in words
    empty = BytesIO()
    write_packing_list(empty, shipment, [], foot="none")
    assert empty.getvalue().startswith(b"%PDF")
