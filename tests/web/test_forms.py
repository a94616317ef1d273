"""What holds of the forms of every page: each box has a label, each hint is where it says."""

import re

import pytest

from inventory.models import Role
from tests.factories import make_agency, make_shop
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db

FORMS = [
    ("engineer", "/rules/next/"),
    ("engineer", "/instruments/register/"),
    ("engineer", "/signs/"),
    ("shop", "/stock/rolls/receive/"),
    ("shop", "/stock/overlays/receive/"),
    ("shop", "/presses/add/"),
]


@pytest.mark.parametrize(("who", "address"), FORMS)
def test_a_box_names_only_hints_that_are_on_the_page(client, who, address):
    # WCAG 2.2, 1.3.1: what describes a box can be found by a program.
    if who == "shop":
        act_as(client, make_shop(), Role.SHOP)
    else:
        act_as(client, make_agency())
    page = client.get(address).content.decode()
    ids = set(re.findall(r'\bid="([^"]+)"', page))
    named = {
        each
        for group in re.findall(r'aria-(?:describedby|labelledby)="([^"]+)"', page)
        for each in group.split()
    }
    assert "<form" in page
    assert named <= ids


@pytest.mark.parametrize(("who", "address"), FORMS)
def test_every_box_has_a_label(client, who, address):
    # WCAG 2.2, 3.3.2 and 4.1.2.
    if who == "shop":
        act_as(client, make_shop(), Role.SHOP)
    else:
        act_as(client, make_agency())
    page = client.get(address).content.decode()
    labels = set(re.findall(r'<label[^>]*\bfor="([^"]+)"', page))
    inside = "".join(re.findall(r"<label(?:(?!</label>).)*</label>", page, re.DOTALL))
    boxes = re.findall(r"<(?:input|select|textarea)\b[^>]*>", page)
    for box in boxes:
        if 'type="hidden"' in box or "aria-label=" in box:
            continue
        key = re.search(r'\bid="([^"]+)"', box)
        assert (key and key[1] in labels) or box in inside, box
