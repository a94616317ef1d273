"""The pages of how a shop builds its faces, and where a line's build is shown."""

from __future__ import annotations

import pytest
from django.urls import reverse

from inventory.models import BuildRule, OrderLine, Role
from inventory.services.ordering.accepting import accept_order
from tests.factories import (
    NOW,
    make_agency,
    make_person,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    print_order,
)
from tests.models.world_of_builds import fill_builds

pytestmark = pytest.mark.django_db

TYPED = {
    "sign_code": "R1-1",
    "sheeting_type": "XI",
    "base_color": "white",
    "overlay": "with",
    "blank_thickness_in": "0.080",
    "blank_holes": "",
    "is_in_use": "on",
    "color_1": "red",
    "part_1": "background",
    "colouring_1": "printed_spot",
}


@pytest.fixture
def agency(db):
    return make_agency()


@pytest.fixture
def shop(agency):
    return make_shop(agency=agency)


@pytest.fixture
def as_shop(client, shop):
    client.force_login(make_person(shop, Role.SHOP))
    return client


@pytest.mark.parametrize("name", ["build-list", "build-add"])
def test_rules_are_the_shops_alone(client, agency, name):
    client.force_login(make_person(agency, Role.ENGINEER))
    assert client.get(reverse(name)).status_code == 403


def test_a_rule_is_added_changed_and_taken_out_of_use(as_shop, shop):
    address = reverse("build-list")
    assert "There is no rule yet." in as_shop.get(address).content.decode()
    assert as_shop.post(reverse("build-add"), TYPED).status_code == 302
    page = as_shop.get(address).content.decode()
    assert "red printed spot" in page
    assert "0.080 in" in page
    rule = BuildRule.objects.get()
    assert rule.organisation == shop
    assert rule.set_by is not None
    address = reverse("build-set", args=[rule.pk])
    page = as_shop.get(address).content.decode()
    assert 'value="0.080"' in page
    assert "Change the build of R1-1 on Type XI" in page
    typed = {name: value for name, value in TYPED.items() if name != "is_in_use"}
    assert as_shop.post(address, typed).status_code == 302
    rule.refresh_from_db()
    assert not rule.is_in_use
    assert rule.areas.count() == 1


@pytest.mark.parametrize(
    ("typed", "status", "sentence"),
    [
        ({"base_color": ""}, 400, "Say which colour the base sheeting has."),
        ({"part_1": ""}, 400, "Pick the part of row 1."),
        ({"color_1": ""}, 400, "Pick the colour of row 1."),
        ({"colouring_1": ""}, 400, "Pick what makes it of row 1."),
        ({"blank_thickness_in": "thick"}, 400, "&#x27;thick&#x27; is not a number"),
        (
            {"color_1": "fluorescent-orange"},
            400,
            "needs base sheeting of that colour, not white",
        ),
        ({"sheeting_type": "IX"}, 409, "is in use already"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_stays(
    as_shop, shop, typed, status, sentence
):
    fill_builds(shop)
    answer = as_shop.post(reverse("build-add"), TYPED | {"blank_holes": "two"} | typed)
    assert answer.status_code == status
    page = answer.content.decode()
    assert sentence in page
    assert 'value="two"' in page
    assert BuildRule.objects.count() == 1


def test_the_list_takes_the_same_queries_for_one_rule_and_for_a_page(
    as_shop, shop, django_assert_num_queries
):
    fill_builds(shop)
    address = reverse("build-list")
    as_shop.get(address)
    # session, person, membership, count, rules, their colours
    with django_assert_num_queries(6):
        as_shop.get(address)
    for number in range(60):
        rule = BuildRule.objects.create(
            organisation=shop,
            sign_code=f"W{number}-1",
            sheeting_type="XI",
            base_color="yellow",
            overlay="asked",
            set_at=NOW,
        )
        rule.areas.create(part="legend", color="black", colouring="opaque")
    with django_assert_num_queries(6):
        page = as_shop.get(address).content.decode()
    assert "W0-1" in page
    assert "W9-1" not in page
    assert "W9-1" in as_shop.get(address, {"page": 2}).content.decode()


def test_both_parties_see_how_a_line_is_built(as_shop, client, agency, shop):
    assert as_shop.post(reverse("build-add"), TYPED).status_code == 302
    order = make_released_order(agency, shop, [make_sign(agency)])
    accept_order(order=order, promised_on=NOW.date(), now=NOW)
    told = "built: red printed spot; with overlay; blank 0.080 in"
    for person in (make_person(shop, Role.SHOP), make_person(agency, Role.ENGINEER)):
        client.force_login(person)
        page = client.get(reverse("order-page", args=[order.pk])).content.decode()
        assert told in page


def test_a_runs_page_tells_where_the_log_says_otherwise(as_shop, agency, shop):
    order = make_released_order(agency, shop, [make_sign(agency)])
    run = print_order(order, make_press(shop, make_roll(shop)))
    address = reverse("run-page", args=[run.pk])
    words = "The press log says otherwise than the build."
    assert words not in as_shop.get(address).content.decode()
    line = OrderLine.objects.get(order=order)
    line.build = {
        "rule_words": "build of R1-1 on Type XI",
        "sheeting_type": "XI",
        "base_color": "red",
        "overlay": "asked",
        "blank_thickness_in": "",
        "blank_holes": "",
        "areas": [],
    }
    line.save(update_fields=["build"])
    page = as_shop.get(address).content.decode()
    assert words in page
    assert "Line 1: The build says red base sheeting; by the press log it was white." in page
