"""Ink channels of a press, ink containers in stock, and how long a shop's stock keeps."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import InkChannel, InkContainer, InkKind, Organisation, ShopRule
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.production.what_was_on import lock_press

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.models import OverlayRoll, Press, SheetingRoll, User

MOST_ML_PER_M2 = 1000.0
MOST_ML = 1_000_000.0
MOST_MONTHS = 240
MOST_SETUP_MINUTES = 1440.0


@transaction.atomic
def set_channel(
    *,
    press: Press,
    name: str,
    color: str,
    kind: str,
    ml_per_m2: float | None = None,
    cover_share: float | None = None,
    is_in_use: bool = True,
    channel: InkChannel | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> InkChannel:
    """
    Add an ink channel to a press, or change one; two channels may take one colour.

    Faces printed before keep the ink the press log has for them.
    """
    press = lock_press(press)
    if channel is None:
        channel = InkChannel(press=press)
    elif channel.press_id != press.pk:
        msg = f"{str(channel).capitalize()} is on {channel.press}, not on {press}."
        raise StateConflictError(msg)
    channel.name, channel.color = name.strip(), _color(color)
    channel.kind, channel.is_in_use = _kind(kind), is_in_use
    channel.ml_per_m2 = _within(ml_per_m2, MOST_ML_PER_M2, "ink per area", "ml/m²")
    if cover_share is not None and not 0 < cover_share <= 1:
        msg = (
            f"An ink cannot cover {100 * cover_share:g} % of a face; type over 0 to 100 %, or "
            "leave it empty if the shop has not measured it."
        )
        raise OutOfRangeError(msg)
    channel.cover_share = cover_share
    check_fields(channel, exclude=["press"])
    others = InkChannel.objects.filter(press=press, name=channel.name)
    if others.exclude(pk=channel.pk).exists():
        msg = f"{press} already has a channel {channel.name}; give this one another name."
        raise StateConflictError(msg)
    channel.save()
    log(
        organisation=press.organisation,
        actor=by,
        verb="set ink channel",
        text=f"{press}, channel {channel.name}: {channel.color}, "
        f"{channel.get_kind_display()}{'' if is_in_use else ', no longer used'}.",
        at=now or timezone.now(),
    )
    return channel


@transaction.atomic
def receive_container(
    *,
    shop: Organisation,
    container_number: str,
    lot: str,
    color: str,
    kind: str,
    volume_ml: float | None = None,
    received_on: date | None = None,
    use_by_on: date | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> InkContainer:
    """Take a container of ink into stock."""
    now = now or timezone.now()
    if shop.kind != Organisation.Kind.SHOP:
        msg = f"{shop} is a {shop.get_kind_display()}; only a sign shop keeps inks."
        raise StateConflictError(msg)
    check_days(shop, now, received_on=received_on, opened_on=None, use_by_on=use_by_on)
    container = InkContainer(
        organisation=shop,
        container_number=container_number.strip(),
        lot=lot.strip(),
        color=_color(color),
        kind=_kind(kind),
        volume_ml=_within(volume_ml, MOST_ML, "volume of a container", "ml"),
        received_on=received_on,
        use_by_on=use_by_on,
    )
    check_fields(container, exclude=["organisation"])
    known = InkContainer.objects.filter(
        organisation=shop, container_number=container.container_number
    ).first()
    if known is not None:
        msg = (
            f"{shop} already has {known}; a container is received once. If this is another, "
            "give it a number of its own."
        )
        raise StateConflictError(msg)
    container.save()
    held = f", {container.volume_ml:g} ml" if container.volume_ml is not None else ""
    log(
        organisation=shop,
        actor=by,
        verb="receive ink",
        text=f"Ink container {container.container_number} received: {container.color}, "
        f"{container.get_kind_display()}, lot {container.lot}{held}.",
        at=now,
    )
    return container


@transaction.atomic
def set_stock_days(
    *,
    stock: SheetingRoll | OverlayRoll | InkContainer,
    opened_on: date | None,
    use_by_on: date | None,
    by: User | None = None,
    now: datetime | None = None,
) -> None:
    """State when a roll or container was opened and the day on its label; empty: not stated."""
    now = now or timezone.now()
    shop = stock.organisation
    check_days(
        shop, now, received_on=stock.received_on, opened_on=opened_on, use_by_on=use_by_on
    )
    stock.opened_on, stock.use_by_on = opened_on, use_by_on
    stock.save(update_fields=["opened_on", "use_by_on"])
    log(
        organisation=shop,
        actor=by,
        verb="set stock days",
        text=f"{str(stock).capitalize()}: opened on {_day_words(opened_on)}, to be used by "
        f"{_day_words(use_by_on)}.",
        at=now,
    )


@transaction.atomic
def set_shelf_lives(
    *,
    shop: Organisation,
    sheeting_months: int | None,
    overlay_months: int | None,
    ink_months: int | None,
    by: User | None = None,
    now: datetime | None = None,
) -> ShopRule:
    """State for how many months from receipt a shop's stock keeps; empty: not stated."""
    now = now or timezone.now()
    for months, words in (
        (sheeting_months, "sheeting"),
        (overlay_months, "overlay film"),
        (ink_months, "ink"),
    ):
        if months is not None and not 0 < months <= MOST_MONTHS:
            msg = (
                f"A shelf life of {months} months for {words} is out of range; type 1 to "
                f"{MOST_MONTHS}, or leave it empty."
            )
            raise OutOfRangeError(msg)
    rule, _ = ShopRule.objects.update_or_create(
        organisation=shop,
        defaults={
            "sheeting_months": sheeting_months,
            "overlay_months": overlay_months,
            "ink_months": ink_months,
            "set_at": now,
            "set_by": by,
        },
    )
    words = ", ".join(
        f"{name} {months or 'not stated'}{' months' if months else ''}"
        for name, months in (
            ("sheeting", sheeting_months),
            ("overlay film", overlay_months),
            ("ink", ink_months),
        )
    )
    log(
        organisation=shop,
        actor=by,
        verb="set shelf lives",
        text=f"Shelf lives from receipt: {words}.",
        at=now,
    )
    return rule


@transaction.atomic
def set_setup_minutes(
    *,
    press: Press,
    setup_minutes: float | None,
    by: User | None = None,
    now: datetime | None = None,
) -> Press:
    """State how long a run takes to make ready on a press; empty: not stated."""
    press = lock_press(press)
    if setup_minutes is not None and not (
        math.isfinite(setup_minutes) and 0 <= setup_minutes <= MOST_SETUP_MINUTES
    ):
        msg = (
            f"{setup_minutes:g} minutes of set-up are out of range; type 0 to "
            f"{MOST_SETUP_MINUTES:g}, or leave it empty."
        )
        raise OutOfRangeError(msg)
    press.setup_minutes = setup_minutes
    press.save(update_fields=["setup_minutes"])
    words = "not stated" if setup_minutes is None else f"{setup_minutes:g} min"
    log(
        organisation=press.organisation,
        actor=by,
        verb="set press set-up",
        text=f"{press}: set-up of a run {words}.",
        at=now or timezone.now(),
    )
    return press


def check_days(
    shop: Organisation,
    now: datetime,
    *,
    received_on: date | None,
    opened_on: date | None,
    use_by_on: date | None,
) -> None:
    """Refuse days of stock that cannot be: to come, or out of order."""
    today = shop.day_of(now)
    for day, words in ((received_on, "received"), (opened_on, "opened")):
        if day is not None and day > today:
            msg = f"It cannot have been {words} on {day}; today is {today}."
            raise OutOfRangeError(msg)
    for earlier, later, words in (
        (received_on, opened_on, "opened on {later}, before it was received on {earlier}"),
        (received_on, use_by_on, "to be used by {later}, before it was received on {earlier}"),
    ):
        if earlier is not None and later is not None and later < earlier:
            told = words.format(later=later, earlier=earlier)
            msg = f"It cannot be {told}; correct one of the days."
            raise OutOfRangeError(msg)


def _color(text: str) -> str:
    color = "-".join(text.lower().split())
    if not color:
        msg = "Type the colour of the ink, as its label has it."
        raise OutOfRangeError(msg)
    return color


def _kind(text: str) -> str:
    if text not in InkKind.values:
        msg = f"'{text}' is no kind of ink; it is a spot colour or a process colour."
        raise OutOfRangeError(msg)
    return text


def _within(value: float | None, most: float, what: str, unit: str) -> float | None:
    if value is not None and not (math.isfinite(value) and 0 < value <= most):
        msg = (
            f"The {what} cannot be {value:g} {unit}; type over 0 to {most:g} {unit}, or leave "
            "it empty if it is not known."
        )
        raise OutOfRangeError(msg)
    return value


def _day_words(day: date | None) -> str:
    return "a day not stated" if day is None else f"{day}"
