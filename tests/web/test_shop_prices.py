"""The pages of a shop's prices and of its rule for the thickness of blanks."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.models import BlankPrice, Role, SheetingPrice, ShopPrices, ThicknessRow
from tests.factories import make_person
from tests.services.layouts.worlds import laid_out, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(db):
    return make_world(signs=3)


@pytest.fixture
def as_shop(client, world):
    client.force_login(make_person(world.shop, Role.SHOP))
    return client


@pytest.mark.parametrize("name", ["shop-prices", "thickness-rule"])
def test_prices_are_the_shops_alone(client, world, name):
    client.force_login(make_person(world.agency, Role.ENGINEER))
    assert client.get(reverse(name)).status_code == 403


def test_prices_are_entered_kept_and_taken_off(as_shop):
    address = reverse("shop-prices")
    page = as_shop.get(address).content.decode()
    assert "No price of sheeting is entered." in page
    for typed in (
        {"act": "general", "general-currency": "$", "general-overlay_price_ft2": "0.875"},
        {"act": "sheeting", "sheeting-sheeting_type": "XI", "sheeting-price_ft2": "4.25"},
        {
            "act": "blank",
            "blank-thickness_in": "0.080",
            "blank-width_in": "36",
            "blank-height_in": "24",
            "blank-price": "18.25",
        },
    ):
        assert as_shop.post(address, typed).status_code == 302, typed
    assert ShopPrices.objects.get().overlay_price_ft2 == Decimal("0.875")
    page = as_shop.get(address).content.decode()
    assert "every other" in page
    assert "4.25" in page
    assert "24 × 36" in page
    assert 'value="0.875"' in page
    typed = {"act": "sheeting", "sheeting-sheeting_type": "XI", "sheeting-price_ft2": ""}
    assert as_shop.post(address, typed).status_code == 302
    assert not SheetingPrice.objects.exists()


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"act": "general", "general-currency": ""}, "Type the currency"),
        (
            {
                "act": "sheeting",
                "sheeting-sheeting_type": "XI",
                "sheeting-price_ft2": "cheap",
            },
            "&#x27;cheap&#x27; is not a number",
        ),
        (
            {"act": "blank", "blank-thickness_in": "0.08", "blank-width_in": "30"},
            "Type both sides of the blank",
        ),
        ({"act": "paint"}, "No price of sheeting"),
    ],
)
def test_what_cannot_be_is_said(as_shop, typed, sentence):
    answer = as_shop.post(reverse("shop-prices"), typed)
    assert answer.status_code == 400
    assert sentence in answer.content.decode()
    assert not BlankPrice.objects.exists()


def test_the_rule_for_thickness_is_adopted_and_changed(as_shop):
    address = reverse("thickness-rule")
    page = as_shop.get(address).content.decode()
    assert "You have no rule" in page
    assert "Iowa DOT Standard Specification 4186.02 (2009)" in page
    assert as_shop.post(address, {"act": "adopt"}).status_code == 302
    page = as_shop.get(address).content.decode()
    assert 'value="0.080"' in page
    assert 'value="36"' in page
    typed = {"act": "set", "up_to_1": "30", "thickness_1": "0.063", "thickness_2": "0.1"}
    refused = as_shop.post(address, typed)
    assert refused.status_code == 400
    assert "Say where the rule comes from" in refused.content.decode()
    assert as_shop.post(address, typed | {"basis": "contract 12"}).status_code == 302
    assert sorted(str(row) for row in ThicknessRow.objects.all()) == [
        "longer: 0.1 in",
        "up to 30 in: 0.063 in",
    ]
    refused = as_shop.post(address, {"act": "set", "up_to_1": "30", "basis": "x"})
    assert "Type the thickness of sides up to 30 in." in refused.content.decode()


def test_a_layout_tells_its_cost_and_what_is_not_entered(as_shop, world):
    plan = laid_out(world)
    address = reverse("layout-page", args=[plan.pk])
    page = as_shop.get(address).content.decode()
    assert "price not entered" in page
    assert "Adopt or write a rule for the thickness" in page
    SheetingPrice.objects.create(
        organisation=world.shop,
        sheeting_type="XI",
        price_ft2="4",
        set_at=plan.made_at,
    )
    as_shop.post(reverse("thickness-rule"), {"act": "adopt"})
    page = as_shop.get(address).content.decode()
    # 108.75 × 36 in are 27.1875 ft², at 4 a ft².
    assert "at least 108.75" in page
    assert "of it 46.62 waste" in page
    assert "3 of 0.080 in (18.8 ft²)" in page
    assert "4186.02" in page
