"""What a shop pays for its material and its rule for thickness: stored, refused, reckoned."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from inventory.engineering.ordering.costs import Prices, ThicknessStep
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    BlankPrice,
    LogbookEntry,
    OverlayRoll,
    SheetingPrice,
    ShopPrices,
    ThicknessRow,
)
from inventory.services.ordering.layouts.costing import costs_of
from inventory.services.ordering.layouts.freezing import freeze_plan
from inventory.services.ordering.layouts.looking import views_of
from inventory.services.ordering.shop_prices import (
    adopt_published_rule,
    currency_of,
    prices_of,
    set_blank_price,
    set_sheeting_price,
    set_shop_prices,
    set_thickness_rule,
    thickness_rule_of,
)
from inventory.services.production import record_press_event
from tests.factories import NOW, make_agency, make_shop
from tests.services.layouts.worlds import laid_out, make_world, print_load

pytestmark = pytest.mark.django_db

D = Decimal
ROW = ThicknessStep(up_to_in=D(30), thickness_in=D("0.063"))


@pytest.fixture
def shop(db):
    return make_shop()


@pytest.fixture
def world(db):
    return make_world(signs=3)


def load_film(world, length_ft=100.0):
    film = OverlayRoll.objects.create(
        organisation=world.shop, roll_number="F-1", lot="L", width_in=48.0, length_ft=length_ft
    )
    record_press_event(
        press=world.press,
        kind="overlay_loaded",
        overlay=film,
        happened_at=NOW - timedelta(hours=9),
        now=NOW,
    )
    return film


def test_prices_are_the_shops_own_and_none_is_there_before(shop):
    told = prices_of(shop)
    assert told == Prices()
    assert (currency_of(shop), thickness_rule_of(shop)) == ("$", [])
    set_shop_prices(shop=shop, currency="CA$", overlay_price_ft2=D("0.875"))
    set_sheeting_price(shop=shop, sheeting_type="XI", price_ft2=D("4.25"))
    set_sheeting_price(shop=shop, sheeting_type="XI", color="white", price_ft2=D("4.1"))
    set_blank_price(shop=shop, thickness_in=D("0.08"), price=D("3.1"))
    set_blank_price(
        shop=shop,
        thickness_in=D("0.080"),
        width_in=D(36),
        height_in=D(24),
        price=D("18.25"),
    )
    told = prices_of(shop)
    assert told.sheeting == {("XI", ""): D("4.25"), ("XI", "white"): D("4.1")}
    assert (told.overlay_ft2, currency_of(shop)) == (D("0.875"), "CA$")
    assert told.blank_ft2 == {D("0.08"): D("3.1")}
    assert told.blank_each == {(D("0.08"), D(24), D(36)): D("18.25")}


def test_a_price_set_again_takes_the_place_of_the_one_before_and_none_takes_it_off(shop):
    for price in (D("3.1"), D("3.25")):
        set_blank_price(shop=shop, thickness_in=D("0.080"), price=price)
        set_sheeting_price(shop=shop, sheeting_type="XI", price_ft2=price)
        set_shop_prices(shop=shop, currency="$", overlay_price_ft2=price)
    assert BlankPrice.objects.get().price == D("3.25")
    assert SheetingPrice.objects.get().price_ft2 == D("3.25")
    assert ShopPrices.objects.get().overlay_price_ft2 == D("3.25")
    texts = "\n".join(LogbookEntry.objects.values_list("text", flat=True))
    assert "Type XI, every other colour: 3.1 a ft²." in texts
    for _ in range(2):  # taken off twice is taken off once
        set_blank_price(shop=shop, thickness_in=D("0.080"), price=None)
        set_sheeting_price(shop=shop, sheeting_type="XI", price_ft2=None)
    assert not BlankPrice.objects.exists()
    assert not SheetingPrice.objects.exists()
    assert LogbookEntry.objects.filter(text__contains="taken off").count() == 2


@pytest.mark.parametrize(
    ("service", "asked", "sentence"),
    [
        (set_shop_prices, {"currency": " ", "overlay_price_ft2": None}, "no currency"),
        (set_shop_prices, {"currency": "$", "overlay_price_ft2": D(-1)}, "A price of -1"),
        (set_sheeting_price, {"sheeting_type": "XI", "price_ft2": D("NaN")}, "price of NaN"),
        (set_sheeting_price, {"sheeting_type": "XI", "price_ft2": D("0.00001")}, "too fine"),
        (set_blank_price, {"thickness_in": D(0), "price": D(1)}, "thickness of 0 in"),
        (set_blank_price, {"thickness_in": D("0.08001"), "price": D(1)}, "4 decimals"),
        (
            set_blank_price,
            {"thickness_in": D("0.1"), "width_in": D(9), "price": D(1)},
            "both sides",
        ),
        (set_thickness_rule, {"rows": [ROW], "basis": " "}, "where the rule comes from"),
        (set_thickness_rule, {"rows": [ROW, ROW], "basis": "own"}, "30 in twice"),
        (set_thickness_rule, {"rows": [ROW] * 13, "basis": "own"}, "too many"),
    ],
)
def test_what_cannot_be_is_refused(shop, service, asked, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        service(shop=shop, **asked)
    assert not LogbookEntry.objects.exists()


def test_an_agency_enters_no_prices(db):
    with pytest.raises(StateConflictError, match="only a sign shop"):
        set_shop_prices(shop=make_agency(), currency="$", overlay_price_ft2=None)


def test_the_published_rule_is_adopted_with_its_source_and_changed(shop):
    adopt_published_rule(shop=shop)
    adopt_published_rule(shop=shop)
    rows = thickness_rule_of(shop)
    assert [(row.up_to_in, row.thickness_in) for row in rows] == [
        (D(36), D("0.08")),
        (None, D("0.125")),
    ]
    assert {row.basis for row in rows} == {"Iowa DOT Standard Specification 4186.02 (2009)"}
    set_thickness_rule(shop=shop, rows=[ROW], basis="county contract 12")
    assert [str(row) for row in thickness_rule_of(shop)] == ["up to 30 in: 0.063 in"]
    set_thickness_rule(shop=shop, rows=[], basis="")
    assert not ThicknessRow.objects.exists()


def test_a_layout_costs_what_is_reckoned_by_hand(world):
    # Three octagons of 30 in on the 36 in roll: 108.75 in (test_layouts), that is 27.1875 ft²
    # at 4.00: 108.75. An octagon is 2 (√2 - 1) 30² = 745.58 in², or 5.1777 ft²; the waste is
    # 27.1875 - 15.5330 = 11.6545 ft², 46.62. Film as long, 48 in wide: 36.25 ft² at 0.875 =
    # 31.71875, 31.72.
    # Three blanks of 30 in, 0.080 in thick: 18.75 ft² at 3.10 = 58.125, 58.13.
    # Together 108.75 + 31.72 + 58.13 = 198.60.
    plan = laid_out(world)
    load_film(world)
    set_shop_prices(shop=world.shop, currency="$", overlay_price_ft2=D("0.875"))
    set_sheeting_price(shop=world.shop, sheeting_type="XI", price_ft2=D("4.00"))
    set_blank_price(shop=world.shop, thickness_in=D("0.080"), price=D("3.10"))
    adopt_published_rule(shop=world.shop)
    told = costs_of(plan, views_of(plan), now=NOW)
    assert told is not None
    (sheeting,) = told.material.sheeting
    assert sheeting.taken.taken_ft2 == pytest.approx(D("27.1875"))
    assert (sheeting.money, sheeting.waste_money) == (D("108.75"), D("46.62"))
    assert told.material.overlay is not None
    assert told.material.overlay.money == D("31.72")
    assert [each.money for each in told.material.blanks] == [D("58.13")]
    assert (told.material.total, told.material.is_at_least) == (D("198.60"), False)
    assert told.film.needed.runs_out_at is None


def test_a_film_that_runs_out_names_its_face(world):
    plan = laid_out(world)
    told = costs_of(plan, views_of(plan), now=NOW)
    assert told is not None
    assert (told.film.roll, told.film.needed.runs_out_at) == (None, None)
    # Faces end at 6.125 + 30, + 30.25, + 30.25 in: 3.01, 5.53 and 8.05 ft.
    film = load_film(world, length_ft=6.0)
    numbers = list(plan.faces.order_by("pieces__along_in").values_list("number", flat=True))
    told = costs_of(plan, views_of(plan), now=NOW)
    assert told is not None
    assert told.film.roll == film
    assert told.film.needed.runs_out_at == numbers[2]
    assert told.film.needed.needed_ft == pytest.approx(108.75 / 12)


def test_what_is_printed_costs_nothing_more(world):
    plan = freeze_plan(plan=laid_out(world), now=NOW)
    assert costs_of(plan, views_of(plan), now=NOW) is not None
    print_load(world, plan.loads.get())
    assert costs_of(plan, views_of(plan), now=NOW) is None
