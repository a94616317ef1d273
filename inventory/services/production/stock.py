"""Rolls of sheeting and overlay as they are received, and the presses."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.ordering.sheeting import optics_of_type
from inventory.engineering.standards.sheeting import read_sheeting_type, sheeting_classes
from inventory.engineering.standards.vocabulary import Color, Optics
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Organisation, OverlayRoll, Press, SheetingRoll
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.production.inks import check_days

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.models import User


@transaction.atomic
def receive_roll(
    *,
    shop: Organisation,
    roll_number: str,
    lot: str,
    sheeting_type: str,
    color: str,
    width_in: float,
    length_ft: float,
    optics: str = "",
    received_on: date | None = None,
    use_by_on: date | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> SheetingRoll:
    """Take a roll of sheeting into stock; optics may be left out where the type says them."""
    now = now or timezone.now()
    _check_shop(shop)
    _check_received(received_on, shop, now)
    check_days(shop, now, received_on=received_on, opened_on=None, use_by_on=use_by_on)
    if color not in set(Color):
        msg = f"'{color}' is no sheeting colour; use one of {', '.join(Color)}."
        raise OutOfRangeError(msg)
    kind = read_sheeting_type(sheeting_type)
    roll = SheetingRoll(
        organisation=shop,
        roll_number=roll_number.strip(),
        lot=lot.strip(),
        sheeting_type=kind,
        optics=_roll_optics(kind, optics),
        color=color,
        width_in=_positive(width_in, "width of a roll", "in"),
        length_ft=_positive(length_ft, "length of a roll", "ft"),
        received_on=received_on,
        use_by_on=use_by_on,
    )
    check_fields(roll, exclude=["organisation"])
    known = SheetingRoll.objects.filter(organisation=shop, roll_number=roll.roll_number).first()
    if known is not None:
        raise StateConflictError(_known_message(shop, known))
    roll.save()
    log(
        organisation=shop,
        actor=by,
        verb="receive roll",
        text=f"Roll {roll.roll_number} received: {color} Type {kind} {roll.optics}, lot "
        f"{roll.lot}, {roll.width_in:g} in × {roll.length_ft:g} ft.",
        at=now,
    )
    return roll


@transaction.atomic
def receive_overlay(
    *,
    shop: Organisation,
    roll_number: str,
    lot: str,
    width_in: float,
    length_ft: float,
    received_on: date | None = None,
    use_by_on: date | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> OverlayRoll:
    """Take a roll of overlay film into stock."""
    now = now or timezone.now()
    _check_shop(shop)
    _check_received(received_on, shop, now)
    check_days(shop, now, received_on=received_on, opened_on=None, use_by_on=use_by_on)
    roll = OverlayRoll(
        organisation=shop,
        roll_number=roll_number.strip(),
        lot=lot.strip(),
        width_in=_positive(width_in, "width of a roll", "in"),
        length_ft=_positive(length_ft, "length of a roll", "ft"),
        received_on=received_on,
        use_by_on=use_by_on,
    )
    check_fields(roll, exclude=["organisation"])
    known = OverlayRoll.objects.filter(organisation=shop, roll_number=roll.roll_number).first()
    if known is not None:
        raise StateConflictError(_known_message(shop, known))
    roll.save()
    log(
        organisation=shop,
        actor=by,
        verb="receive overlay",
        text=f"Overlay roll {roll.roll_number} received: lot {roll.lot}, {roll.width_in:g} in "
        f"× {roll.length_ft:g} ft.",
        at=now,
    )
    return roll


@transaction.atomic
def add_press(
    *,
    shop: Organisation,
    name: str,
    width_in: float,
    rate_ft2_per_h: float,
    by: User | None = None,
    now: datetime | None = None,
) -> Press:
    """Add a press to the shop."""
    now = now or timezone.now()
    _check_shop(shop)
    press = Press(
        organisation=shop,
        name=name.strip(),
        width_in=_positive(width_in, "width of a press", "in"),
        rate_ft2_per_h=_positive(rate_ft2_per_h, "rate of a press", "ft²/h"),
    )
    check_fields(press, exclude=["organisation"])
    if Press.objects.filter(organisation=shop, name=press.name).exists():
        msg = f"{shop} already has a press '{press.name}'; give this one another name."
        raise StateConflictError(msg)
    press.save()
    log(
        organisation=shop,
        actor=by,
        verb="add press",
        text=f"Press {press.name} added: {press.width_in:g} in, "
        f"{press.rate_ft2_per_h:g} ft²/h.",
        at=now,
    )
    return press


def _check_shop(shop: Organisation) -> None:
    if shop.kind != Organisation.Kind.SHOP:
        msg = (
            f"{shop} is a {shop.get_kind_display()}; only a sign shop keeps rolls and presses."
        )
        raise StateConflictError(msg)


def _check_received(received_on: date | None, shop: Organisation, now: datetime) -> None:
    today = shop.day_of(now)
    if received_on is not None and received_on > today:
        msg = (
            f"A roll cannot have been received on {received_on:%Y-%m-%d}; today is "
            f"{today:%Y-%m-%d}."
        )
        raise OutOfRangeError(msg)


def _positive(value: float, what: str, unit: str) -> float:
    if not (math.isfinite(value) and value > 0):
        msg = f"The {what} cannot be {value:g} {unit}; it has to be over 0 {unit}."
        raise OutOfRangeError(msg)
    return value


def _roll_optics(sheeting_type: str, text: str) -> Optics:
    """Return the optics of a roll: as said, or as its type has them; never left open."""
    if text and text not in set(Optics):
        msg = f"'{text}' is no kind of optics; sheeting is beaded or prismatic."
        raise OutOfRangeError(msg)
    optics = Optics(text) if text else Optics.UNKNOWN
    if optics is Optics.UNKNOWN:
        optics = optics_of_type(sheeting_type)
    if optics is Optics.UNKNOWN:
        msg = (
            f"Type {sheeting_type} sheeting is made beaded and prismatic; say which of them "
            "this roll is."
        )
        raise OutOfRangeError(msg)
    sheeting_classes(sheeting_type, optics)  # refuses a type that is not made that way
    return optics


def _known_message(shop: Organisation, known: SheetingRoll | OverlayRoll) -> str:
    return (
        f"{shop} already has {known}; a roll is received once. If this is another roll, give "
        "it a number of its own."
    )
