"""A face goes up in its position, and comes down again."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from django.db import transaction
from django.utils import timezone

from inventory.engineering.ordering.specification import WantedSize, wanted_size
from inventory.engineering.standards.catalogue import normalise_code
from inventory.errors import (
    NoPublishedValueError,
    NotPermittedError,
    OutOfRangeError,
    StateConflictError,
)
from inventory.models import LayoutFace, Position, ShopCustomer, Sign
from inventory.services.assessment import refresh_standing
from inventory.services.damage_closing import close_as_not_needed, close_by_new_face
from inventory.services.logbook import log
from inventory.services.ordering.life import log_for_both
from inventory.services.ordering.lines import lock_order, road_class_of
from inventory.services.ordering.progress import settle_state
from inventory.services.ordering.reservations import end_reservations
from inventory.services.ordering.stock_matching import fitting_stock
from inventory.services.standards import code_book

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.engineering.standards.local import CodeBook
    from inventory.models import Organisation, PrintOrder, User

SIZE_TOLERANCE_IN = 0.01  # sizes are typed to a hundredth of an inch at most


@transaction.atomic
def install_sign(
    *,
    sign: Sign,
    position: Position,
    installed_on: date,
    by: User | None = None,
    replaces: Sign | None = None,
    removal_reason: str | None = None,
    removed_note: str = "",
    installed_at: datetime | None = None,
    now: datetime | None = None,
) -> Sign:
    """
    Put a face from stock into a position; the one that stood there comes down, with a reason.

    ``replaces`` names the face the crew found there; if another has been put up meanwhile, the
    step is refused. Sent twice, it is done once. ``installed_at`` is the moment, where it is
    known: damage that the new face puts right is closed by it.
    """
    now = now or timezone.now()
    # The position is the place two crews meet: whoever locks it first puts the face up.
    position = _lock_position(position)
    sign = _lock_sign(sign)
    agency = position.organisation
    if _is_done_already(sign, position, installed_on):
        return sign
    _check_in_stock(sign, agency)
    _check_fits(sign, position)
    _check_installed_on(sign, installed_on, agency, now)
    old = (
        Sign.objects.select_for_update()
        .filter(position=position, state=Sign.State.INSTALLED)
        .first()
    )
    _check_expected(old, replaces, position, installed_on)
    _check_after_earlier_faces(position, installed_on)
    if old is not None:
        _take_down(
            old,
            removed_on=installed_on,
            reason=_read_reason(removal_reason, old, position),
        )
    sign.state = Sign.State.INSTALLED
    sign.position = position
    sign.owner = agency
    sign.installed_on = installed_on
    sign.installed_precision = "day"
    sign.save(
        update_fields=["state", "position", "owner", "installed_on", "installed_precision"]
    )
    end_reservations(sign=sign, words="put up", now=now, position_id=position.pk)
    order = _settle_order(sign)
    close_by_new_face(new=sign, position=position, installed_at=installed_at, by=by, now=now)
    if old is not None:
        _log_removal(agency, old, by, removed_note, now)
        refresh_standing(sign=old, now=now)
    log(
        organisation=agency,
        actor=by,
        verb="install sign",
        text=_installed_words(sign, position, old, order),
        at=now,
        sign=sign,
        order=order,
    )
    refresh_standing(sign=sign, now=now)
    return sign


@transaction.atomic
def remove_sign(
    *,
    sign: Sign,
    removed_on: date,
    reason: str,
    note: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> Sign:
    """
    Take a face down, or a spoilt one out of stock, with a reason; it stays on record.

    An order of which a face was spoilt before it was put up goes back to the shop.
    """
    now = now or timezone.now()
    sign = _lock_sign(sign)
    party = sign.owner or sign.maker
    if party is None:
        msg = f"Nobody is on record as owning or having made {sign}."
        raise StateConflictError(msg)
    if sign.state == Sign.State.REMOVED:
        if (sign.removed_on, sign.removal_reason) == (removed_on, reason):
            return sign  # a phone may send it twice
        when = f" on {sign.removed_on:%Y-%m-%d}" if sign.removed_on else ""
        msg = (
            f"{_start(sign)} was already removed{when} "
            f"({sign.get_removal_reason_display()}); it cannot be removed twice."
        )
        raise StateConflictError(msg)
    today = party.day_of(now)
    if removed_on > today:
        msg = (
            f"{_start(sign)} cannot have been removed on {removed_on:%Y-%m-%d}; today is "
            f"{today:%Y-%m-%d}."
        )
        raise OutOfRangeError(msg)
    for earlier, precision, words in (
        (sign.installed_on, sign.installed_precision, "put up"),
        (sign.fabricated_on, sign.fabricated_precision, "made"),
    ):
        if earlier is not None and precision == "day" and removed_on < earlier:
            msg = (
                f"{_start(sign)} was {words} on {earlier:%Y-%m-%d} and cannot have been "
                f"removed before, on {removed_on:%Y-%m-%d}; correct the date."
            )
            raise OutOfRangeError(msg)
    was_installed = sign.state == Sign.State.INSTALLED
    _take_down(sign, removed_on=removed_on, reason=_read_reason(reason, sign, None))
    _log_removal(party, sign, by, note, now)
    if was_installed and reason == Sign.RemovalReason.NOT_NEEDED:
        close_as_not_needed(sign=sign, by=by, now=now)
    if was_installed:
        refresh_standing(sign=sign, now=now)
    else:
        end_reservations(sign=sign, words="spoilt before it was put up", now=now)
        order = _settle_order(sign)
        if order is not None:
            lost = f"lost {sign} before it was put up; {order.get_state_display()}."
            log_for_both(order, by, "lose face", lost, now)
    return sign


def faces_fitting(position: Position) -> list[Sign]:
    """
    Return the faces in stock that fit a position: kept for it first, then first made first.

    Sheeting type and background are compared too, and what is not known of a face never fits;
    a face printed for another position, or kept for one, is not proposed.
    """
    return fitting_stock(position)


class AskedFor(NamedTuple):
    """What a position asks for: code, variant, and the size where one is known."""

    code: str
    variant: str
    size: WantedSize | None


def asked_for(position: Position, book: CodeBook) -> AskedFor:
    """Return what a position asks for, in the words of the catalogue where it has them."""
    try:
        resolved = book.resolve(position.sign_code)
    except NoPublishedValueError:
        return AskedFor(position.sign_code, position.variant, None)
    try:
        size = wanted_size(
            position.width_in, position.height_in, resolved.sign_type, road_class_of(position)
        )
    except NoPublishedValueError:
        size = None
    return AskedFor(resolved.sign_type.code, position.variant or resolved.variant, size)


def _lock_position(position: Position) -> Position:
    locked: Position = (
        Position.objects.select_for_update(of=("self",))
        .select_related("organisation", "support__road")
        .get(pk=position.pk)
    )
    return locked


def _lock_sign(sign: Sign) -> Sign:
    locked: Sign = (
        Sign.objects.select_for_update(of=("self",))
        .select_related("owner", "maker", "position")
        .get(pk=sign.pk)
    )
    return locked


def _is_done_already(sign: Sign, position: Position, installed_on: date) -> bool:
    """Return whether this very step was done before: a phone may send it twice."""
    return (
        sign.state == Sign.State.INSTALLED
        and sign.position_id == position.pk
        and sign.installed_on == installed_on
    )


def _check_in_stock(sign: Sign, agency: Organisation) -> None:
    """Refuse a face that is not in stock, or not the agency's to put up."""
    if sign.state != Sign.State.IN_STOCK:
        where = f" at {sign.position}" if sign.position is not None else ""
        msg = (
            f"{_start(sign)} is {sign.get_state_display()}{where}, not in stock; put up "
            "another face, or correct the label you read."
        )
        raise StateConflictError(msg)
    order = _order_of(sign)
    ordered_by = order.agency if order is not None else None
    if sign.owner is not None and sign.owner != agency:
        belongs_to: Organisation | None = sign.owner
    elif ordered_by is not None and ordered_by != agency:
        belongs_to = ordered_by
    else:
        belongs_to = None
    if belongs_to is not None:
        msg = f"{_start(sign)} was made for {belongs_to}, not for {agency}."
        raise NotPermittedError(msg)
    if sign.owner is None and order is None and not _prints_for(sign.maker, agency):
        msg = f"{_start(sign)} is stock of {sign.maker}, which does not print for {agency}."
        raise NotPermittedError(msg)


def _prints_for(shop: Organisation | None, agency: Organisation) -> bool:
    return ShopCustomer.objects.filter(organisation=shop, agency=agency).exists()


def _check_fits(sign: Sign, position: Position) -> None:
    """Refuse a face that is not what the position asks for."""
    if position.is_retired:
        msg = f"Position '{position}' is retired; no face goes up there."
        raise StateConflictError(msg)
    if not position.sign_code:
        msg = (
            "It is not known which sign this position is for; set its code before a new face "
            "goes up."
        )
        raise StateConflictError(msg)
    asked = asked_for(position, code_book(position.organisation))
    wanted = f"{asked.code}{asked.variant}"
    brought = f"{sign.sign_code}{sign.variant}" if sign.sign_code else "of an unknown code"
    if normalise_code(brought) != normalise_code(wanted):
        msg = f"{_start(sign)} is {brought}, but this position asks for {wanted}."
        raise StateConflictError(msg)
    if not _reads_as_asked(sign, position):
        msg = (
            f"{_start(sign)} reads '{sign.legend_text}', but this position asks for "
            f"'{position.legend_text}'."
        )
        raise StateConflictError(msg)
    size = asked.size
    if size is None:
        return  # no size is asked for, so none is contradicted
    for brought_in, wanted_in in (
        (sign.width_in, size.width_in),
        (sign.height_in, size.height_in),
    ):
        if brought_in is not None and abs(brought_in - wanted_in) > SIZE_TOLERANCE_IN:
            msg = (
                f"{_start(sign)} is {_size(sign.width_in)} × {_size(sign.height_in)} in, but "
                f"this position asks for {size.width_in:g} × {size.height_in:g} in "
                f"({size.basis})."
            )
            raise StateConflictError(msg)


def _reads_as_asked(sign: Sign, position: Position) -> bool:
    """Return whether a face has the wording asked for: exactly where it is a custom one."""
    if position.is_custom_legend:
        return sign.legend_text == position.legend_text
    reads, asked = sign.legend_text.strip(), position.legend_text.strip()
    return not (reads and asked) or reads.casefold() == asked.casefold()


def _check_installed_on(
    sign: Sign, installed_on: date, agency: Organisation, now: datetime
) -> None:
    today = agency.day_of(now)
    if installed_on > today:
        msg = (
            f"A face cannot have been put up on {installed_on:%Y-%m-%d}; today is "
            f"{today:%Y-%m-%d}."
        )
        raise OutOfRangeError(msg)
    made_on = sign.fabricated_on
    if made_on is not None and sign.fabricated_precision == "day" and installed_on < made_on:
        msg = (
            f"{_start(sign)} was made on {made_on:%Y-%m-%d} and cannot have been put up "
            f"before, on {installed_on:%Y-%m-%d}; correct the date or the label you read."
        )
        raise OutOfRangeError(msg)


def _check_expected(
    old: Sign | None, replaces: Sign | None, position: Position, installed_on: date
) -> None:
    """Refuse to take down a face that the crew did not mean."""
    if replaces is not None and (old is None or old.pk != replaces.pk):
        there = f"{old} stands there" if old is not None else "no face stands there"
        msg = (
            f"This was to replace {replaces}, but {there} now; look at the position again "
            "before putting up another face."
        )
        raise StateConflictError(msg)
    if old is None or old.installed_on is None or old.installed_on < installed_on:
        return
    if old.installed_on > installed_on or replaces is None:
        msg = (
            f"{_start(old)} was put up at {position} on {old.installed_on:%Y-%m-%d}, so "
            f"another face cannot simply take its place on {installed_on:%Y-%m-%d}. If it came "
            "down again that day, say that this face replaces it."
        )
        raise StateConflictError(msg)


def _check_after_earlier_faces(position: Position, installed_on: date) -> None:
    """Refuse a day on which, by the records, an earlier face still stood there."""
    later = (
        Sign.objects.filter(
            position=position, state=Sign.State.REMOVED, removed_on__gt=installed_on
        )
        .order_by("-removed_on")
        .first()
    )
    if later is not None and later.removed_on is not None:
        msg = (
            f"{_start(later)} stood in this position until {later.removed_on:%Y-%m-%d}, so "
            f"another cannot have been put up on {installed_on:%Y-%m-%d}; correct the date."
        )
        raise StateConflictError(msg)


def _read_reason(reason: str | None, sign: Sign, position: Position | None) -> str:
    """Return a removal reason; refuse none, and words that are none."""
    choices = ", ".join(Sign.RemovalReason.values)
    if not reason:
        place = f" stands at {position} and" if position is not None else ""
        msg = f"{_start(sign)}{place} comes down: say why, with one of {choices}."
        raise StateConflictError(msg)
    if reason not in Sign.RemovalReason.values:
        msg = f"'{reason}' is no reason for a face to come down; use one of {choices}."
        raise OutOfRangeError(msg)
    return reason


def _take_down(sign: Sign, *, removed_on: date, reason: str) -> None:
    sign.state = Sign.State.REMOVED
    sign.removed_on = removed_on
    sign.removal_reason = reason
    sign.save(update_fields=["state", "removed_on", "removal_reason"])


def _order_of(sign: Sign) -> PrintOrder | None:
    face = (
        LayoutFace.objects.filter(sign=sign)
        .select_related("layout__order__agency", "layout__order__shop")
        .first()
    )
    return face.layout.order if face is not None else None


def _settle_order(sign: Sign) -> PrintOrder | None:
    """Bring the order a face was made for up to date; return it."""
    order = _order_of(sign)
    return settle_state(lock_order(order)) if order is not None else None


def _log_removal(
    party: Organisation, sign: Sign, by: User | None, note: str, now: datetime
) -> None:
    told = f": {note.strip()}" if note.strip() else "."
    log(
        organisation=party,
        actor=by,
        verb="remove sign",
        text=f"{_start(sign)} removed on {sign.removed_on:%Y-%m-%d} "
        f"({sign.get_removal_reason_display()}){told}",
        at=now,
        sign=sign,
        detail={"note": note.strip()} if note.strip() else None,
    )


def _installed_words(
    sign: Sign, position: Position, old: Sign | None, order: PrintOrder | None
) -> str:
    instead = f" in place of {old}" if old is not None else ""
    closed = (
        f" Order {order.number} is closed: every face is up."
        if order is not None and order.state == order.State.CLOSED
        else ""
    )
    return (
        f"{_start(sign)} put up at {position} on {sign.installed_on:%Y-%m-%d}{instead}.{closed}"
    )


def _around(size_in: float) -> tuple[float, float]:
    return size_in - SIZE_TOLERANCE_IN, size_in + SIZE_TOLERANCE_IN


def _size(value_in: float | None) -> str:
    return "?" if value_in is None else f"{value_in:g}"


def _start(sign: Sign) -> str:
    """Return a face as a sentence starts with it."""
    name = f"label {sign.label_id}, {sign}" if sign.label_id else str(sign)
    return name[0].upper() + name[1:]
