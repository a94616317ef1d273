"""The circle, in services alone: due, ordered, printed, put up, and off the due list."""

from __future__ import annotations

from datetime import timedelta

import pytest

from inventory.models import PrintOrder, Role, Sign
from inventory.services.assessment import mark_due
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.installation import faces_fitting, install_sign
from inventory.services.ordering import draft_order, order_groups, order_progress, release_order
from inventory.services.production import production_record, record_press_event
from tests.factories import (
    NOW,
    make_agency,
    make_person,
    make_press,
    make_roll,
    make_shop,
    make_sign,
    position_of,
    print_order,
)

pytestmark = pytest.mark.django_db


def due_signs(agency) -> list[Sign]:
    return list(Sign.objects.filter(standing__organisation=agency, standing__is_due=True))


def test_a_dim_stop_sign_is_ordered_printed_put_up_and_no_longer_due():
    agency = make_agency()
    shop = make_shop(agency=agency)
    engineer = make_person(agency)
    crew = make_person(agency, role=Role.CREW)
    operator = make_person(shop, role=Role.SHOP)
    old = make_sign(agency)
    position = position_of(old)

    # Red 6 is below the 7 of Table 2A-5 (MUTCD 11th edition) for white on red.
    record_inspection(
        sign=old,
        taken_at=NOW - timedelta(days=2),
        how="hand_held",
        surface_state="dry",
        inspector=crew,
        reading_sets=[
            ReadingSetInput(color="white", values=["40"] * 4),
            ReadingSetInput(color="red", values=["6"] * 4),
        ],
        now=NOW - timedelta(days=2),
    )
    mark_due(organisation=agency, now=NOW)
    assert due_signs(agency) == [old]
    due_reason = Sign.objects.get(pk=old.pk).standing.due_reason

    order, refusals = _draft(agency, shop, due_signs(agency), engineer)
    assert refusals == []
    assert order.lines.get().reason == due_reason != ""
    (group,) = order_groups(order)
    assert (group.sheeting_type, group.base_color, group.faces) == ("IX", "white", 1)
    order = release_order(order=order, by=engineer, now=NOW)

    roll = make_roll(shop, sheeting_type="IX", lot="LOT-7")
    press = make_press(shop, roll)
    record_press_event(
        press=press,
        kind="ink_changed",
        happened_at=NOW - timedelta(hours=2),
        ink_channel="1",
        ink_color="red",
        ink_lot="INK-3",
        by=operator,
        now=NOW,
    )
    run = print_order(order, press, operator=operator)
    (face,) = run.signs.all()
    assert (face.state, face.maker, face.owner) == (Sign.State.IN_STOCK, shop, None)

    up_at = NOW + timedelta(days=3)
    assert list(faces_fitting(position)) == [face]
    new = install_sign(
        sign=face,
        position=position,
        installed_on=agency.day_of(up_at),
        removal_reason=Sign.RemovalReason.BELOW_LEVEL,
        by=crew,
        now=up_at,
    )

    old.refresh_from_db()
    assert (old.state, old.removal_reason) == ("removed", "below_level")
    assert old.removed_on == new.installed_on
    assert (new.state, new.position, new.owner) == (Sign.State.INSTALLED, position, agency)
    assert new.print_run == run
    assert list(position.signs.filter(state="installed")) == [new]
    assert due_signs(agency) == []
    order.refresh_from_db()
    assert order.state == PrintOrder.State.CLOSED
    (progress,) = order_progress(order)
    assert progress.counts.is_installed
    rows = dict(production_record(new).rows)
    assert rows["sheeting lot"] == "LOT-7"
    assert rows["ink 1"] == "red, lot INK-3"
    assert rows["overlay"] == "not known"
    assert rows["operator"] == str(operator)

    # The due list says the same when it is made again from nothing.
    mark_due(organisation=agency, now=up_at)
    assert due_signs(agency) == []


def _draft(agency, shop, signs, engineer):
    result = draft_order(agency=agency, shop=shop, signs=signs, by=engineer, now=NOW)
    return result.order, result.refusals
