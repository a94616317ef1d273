"""The shop's losses: at the press, at the check, on the way."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.models import Role, Sign
from inventory.services.installation import remove_sign
from inventory.services.ordering.shipping import Found, receive_faces, ship_faces
from inventory.services.production.losses import losses_of, sums_of
from inventory.services.production.quality import Seen, check_face
from tests.factories import NOW, make_agency, make_person, make_shop
from tests.services.test_order_life import World

pytestmark = pytest.mark.django_db
AREA_FT2 = 30 * 30 / 144  # the rectangle of a stop sign of 30 in
BAD = Seen(is_look_right=False, is_legend_right=False, note="bubbles")


def spoil(face, reason="other", note="head strike"):
    return remove_sign(sign=face, removed_on=NOW.date(), reason=reason, note=note, now=NOW)


class Lossy(World):
    """Three faces lost, one in each of the ways."""

    def __init__(self):
        super().__init__(signs=5)
        self.faces = self.printed()
        self.spoilt, self.failed, self.broken, self.up, self.left = self.faces
        spoil(self.spoilt)
        later = NOW + timedelta(days=31)
        check_face(sign=self.failed, seen=BAD, now=later)
        shipment = ship_faces(order=self.order, signs=[self.broken.pk, self.up.pk], now=later)
        found = {self.broken.pk: Found("broken", "bent"), self.up.pk: Found("whole")}
        receive_faces(shipment=shipment, found=found, now=later)


@pytest.fixture
def world(db):
    return Lossy()


def told(shop):
    return {
        loss.sign: (loss.where, loss.why, loss.note, loss.area_ft2) for loss in losses_of(shop)
    }


def test_where_and_why_faces_were_lost_comes_from_what_is_on_record(world):
    losses = told(world.shop)
    assert losses == {
        world.spoilt: ("at the press or a step after it", "another reason", "", AREA_FT2),
        world.failed: ("at the check", "look, legend", "bubbles", AREA_FT2),
        world.broken: ("on the way", "broken", "bent", AREA_FT2),
    }
    assert list(losses) == [world.broken, world.failed, world.spoilt]
    assert {loss.line and loss.line.order for loss in losses_of(world.shop)} == {world.order}
    assert not losses_of(make_shop("Others"))


def test_what_the_agency_loses_or_was_recorded_twice_is_no_loss_of_the_shop(world):
    spoil(world.left, reason="duplicate")
    later = NOW + timedelta(days=40)
    remove_sign(sign=world.up, removed_on=later.date(), reason="damaged", now=later)
    assert len(losses_of(world.shop)) == 3


def test_losses_are_added_up_by_month_and_by_reason(world):
    Sign.objects.filter(pk=world.spoilt.pk).update(width_in=None)
    sums = sums_of(losses_of(world.shop))
    assert (sums.total.faces, sums.total.area_ft2, sums.total.unknown) == (3, 2 * AREA_FT2, 1)
    months = [(each.names[0], each.faces, each.area_ft2) for each in sums.months]
    later = NOW + timedelta(days=31)
    assert months == [(f"{later:%Y-%m}", 2, 2 * AREA_FT2), (f"{NOW:%Y-%m}", 1, 0)]
    assert [each.names for each in sums.reasons] == [
        ("at the check", "look, legend"),
        ("on the way", "broken"),
        ("at the press or a step after it", "another reason"),
    ]


def test_the_page_of_losses_takes_as_many_queries_for_many(client, world):
    client.force_login(make_person(world.shop, Role.SHOP))
    address = reverse("face-losses")
    with CaptureQueriesContext(connection) as three:
        page = client.get(address).content.decode()
    for words in (world.spoilt.label_id, "head strike", "bubbles", "bent", "18.8", "line 1"):
        assert words in page
    spoil(world.left)
    with CaptureQueriesContext(connection) as four:
        client.get(address)
    assert len(four) == len(three) <= 12
    client.force_login(make_person(make_agency(), Role.ENGINEER))
    assert client.get(address).status_code == 403


def test_a_shop_that_lost_nothing_is_told_so(client):
    client.force_login(make_person(make_shop(), Role.SHOP))
    assert "No face is on record as lost" in client.get(reverse("face-losses")).content.decode()
