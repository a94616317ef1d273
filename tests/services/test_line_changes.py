"""A released order asks for fewer faces, for none of a line, or for more."""

from __future__ import annotations

from typing import Any

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LineChange, LogbookEntry, OrderLine, PrintOrder, Sign
from inventory.services.ordering import (
    cancel_order,
    draft_order,
    order_groups,
    order_progress,
)
from inventory.services.ordering.layouts.freezing import freeze_plan
from inventory.services.ordering.line_changes import change_line
from inventory.services.ordering.on_order import open_lines
from inventory.services.ordering.progress import settle_state
from inventory.services.shop_board import board
from tests.factories import NOW, print_order
from tests.services.layouts.worlds import laid_out, make_world
from tests.services.test_order_life import World

pytestmark = pytest.mark.django_db
WHY: dict[str, Any] = {"reason": "the road is closed", "now": NOW}


@pytest.fixture
def world(db):
    return World()


def line_of(order, number=1):
    return order.lines.get(number=number)


def for_stock(order, quantity):
    """Make a line of an order one for stock: of so many faces, for no place."""
    OrderLine.objects.filter(order=order, number=1).update(quantity=quantity, position=None)
    return line_of(order)


def test_a_cancelled_line_is_printed_no_more_and_its_place_may_be_ordered_anew(world):
    line = line_of(world.order)
    assert open_lines([line.position_id]).exists()
    amendment = change_line(line=line, quantity=0, **WHY)
    assert amendment.text == "Line 1 (R1-1): cancelled; the road is closed"
    change = LineChange.objects.get()
    assert (change.quantity_before, change.quantity_after) == (1, 0)
    assert not open_lines([line.position_id]).exists()
    (group,) = order_groups(world.order)
    assert group.faces == 2
    print_order(world.order, world.press)
    world.order.refresh_from_db()
    assert world.order.state == PrintOrder.State.PRINTED
    assert world.counts()[0] == 2
    for party in (world.agency, world.shop):
        assert LogbookEntry.objects.filter(
            organisation=party, text__contains="the road is closed"
        ).exists()


def test_fewer_faces_than_are_printed_cannot_be_asked_for(world):
    line = for_stock(world.order, 4)
    print_order(world.order, world.press)
    with pytest.raises(StateConflictError, match="4 faces of line 1 are printed"):
        change_line(line=line, quantity=3, **WHY)


def test_more_faces_take_a_printed_order_back_to_the_shop(world):
    line = for_stock(world.order, 2)
    print_order(world.order, world.press)
    world.order.refresh_from_db()
    assert world.order.state == PrintOrder.State.PRINTED
    change_line(line=line, quantity=5, **WHY)
    world.order.refresh_from_db()
    assert world.order.state == PrintOrder.State.RELEASED
    assert world.counts()[-1] == 3
    (group,) = board(shop=world.shop, today=NOW.date()).groups
    assert group.faces == 3


def test_the_last_line_is_not_cancelled_so(world):
    for number in (1, 2):
        change_line(line=line_of(world.order, number), quantity=0, **WHY)
    with pytest.raises(StateConflictError, match="cancel the order instead"):
        change_line(line=line_of(world.order, 3), quantity=0, **WHY)


@pytest.mark.parametrize("quantity", [-1, 1, 2])
def test_a_place_takes_one_face_or_none(world, quantity):
    with pytest.raises(OutOfRangeError, match="another number from 0"):
        change_line(line=line_of(world.order), quantity=quantity, **WHY)


def test_why_has_to_be_said_and_a_draft_or_cancelled_order_takes_none(world):
    line = line_of(world.order)
    with pytest.raises(OutOfRangeError, match="Say why"):
        change_line(line=line, quantity=0, reason=" ", now=NOW)
    cancel_order(order=world.order, reason="no money", now=NOW)
    with pytest.raises(StateConflictError, match="is cancelled"):
        change_line(line=line, quantity=0, **WHY)
    assert LineChange.objects.count() == 0


def test_faces_of_a_frozen_layout_stay_and_those_of_an_open_one_are_refused_at_its_freeze():
    world = make_world(signs=2)
    plan, other = laid_out(world), laid_out(world)
    line = line_of(world.order)
    freeze_plan(plan=plan, now=NOW)
    with pytest.raises(StateConflictError, match="in a frozen layout"):
        change_line(line=line, quantity=0, **WHY)
    world = make_world(signs=2)
    other = laid_out(world)
    change_line(line=line_of(world.order), quantity=0, **WHY)
    with pytest.raises(StateConflictError, match="1 faces of line 1"):
        freeze_plan(plan=other, now=NOW)
    assert [each.counts.outstanding for each in order_progress(world.order)] == [0, 1]


def test_a_place_that_is_ordered_for_elsewhere_is_not_asked_for_again(world):
    line = line_of(world.order)
    change_line(line=line, quantity=0, **WHY)
    draft_order(
        agency=world.agency,
        shop=world.shop,
        signs=[world.old[0]],
        sheeting_type="XI",
        now=NOW,
    )
    with pytest.raises(StateConflictError, match="already on order"):
        change_line(line=line, quantity=1, **WHY)
    assert open_lines([line.position_id]).count() == 1


def test_a_cancelled_line_is_asked_for_again_where_nothing_else_is_ordered(world):
    line = line_of(world.order)
    change_line(line=line, quantity=0, **WHY)
    change_line(line=line, quantity=1, **WHY)
    assert open_lines([line.position_id]).count() == 1


def test_an_order_of_which_every_printed_face_is_lost_is_cancelled_as_such():
    world = World(signs=1)
    (face,) = world.printed()
    spoil = {"state": "removed", "removed_on": NOW.date(), "removal_reason": "damaged"}
    Sign.objects.filter(pk=face.pk).update(**spoil)
    settle_state(PrintOrder.objects.get(pk=world.order.pk))
    with pytest.raises(StateConflictError, match="cancel the order instead"):
        change_line(line=line_of(world.order), quantity=0, **WHY)
    cancel_order(order=world.order, reason="no longer wanted", now=NOW)
    world.order.refresh_from_db()
    assert world.order.state == PrintOrder.State.CANCELLED
