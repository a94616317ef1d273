"""The page on which the agency changes a line of a released order."""

from __future__ import annotations

import pytest
from django.urls import reverse

from inventory.models import Role
from tests.services.test_order_life import World
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db


def test_a_line_is_changed_by_the_agency_and_seen_by_both(client):
    world = World()
    line = world.order.lines.get(number=1)
    address = reverse("order-line-change", args=[world.order.pk, line.pk])
    page = reverse("order-page", args=[world.order.pk])
    act_as(client, world.agency, Role.ENGINEER)
    assert address in client.get(page).content.decode()
    assert 'value="1"' in client.get(address).content.decode()
    refused = client.post(address, {"quantity": "-1", "reason": "no longer wanted"})
    assert refused.status_code == 400
    assert "Write 0 or more" in refused.content.decode()
    assert "no longer wanted" in refused.content.decode()
    assert client.post(address, {"quantity": "0", "reason": "no longer wanted"}).url == page
    act_as(client, world.shop, Role.SHOP)
    seen = client.get(page).content.decode()
    assert "cancelled; no longer wanted" in seen
    assert '<span class="tag">cancelled</span>' in seen
    assert client.get(address).status_code == 403
