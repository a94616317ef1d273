"""Drafting an order from signs that are due, and changing its lines while it is a draft."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple, TypedDict

from django.core.exceptions import ObjectDoesNotExist
from django.db import transaction
from django.utils import timezone

from inventory.engineering.ordering.specification import wanted_colors, wanted_size
from inventory.errors import (
    InventoryError,
    NotPermittedError,
    OutOfRangeError,
    StateConflictError,
)
from inventory.models import (
    OrderLine,
    Organisation,
    Position,
    PrintOrder,
    ShopCustomer,
    Sign,
)
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.ordering.lines import (
    DERIVED_FIELDS,
    OldFace,
    Rulebook,
    check_line,
    line_for_position,
    lock_order,
    read_color,
)
from inventory.services.ordering.on_order import why_not_again
from inventory.services.ordering.standard_checks import line_warnings

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date, datetime
    from typing import Unpack

    from django.core.files import File

    from inventory.models import User
    from inventory.services.ordering.standard_checks import LineWarning

MOST_SENTENCES = 5
_ASKED_BY_PLACE = ("variant", "legend_text", "is_custom_legend", "width_in", "height_in")
_PARENTS = ("order", "position", "replaces")


class Refusal(NamedTuple):
    """A sign that could not be ordered, and why in a sentence."""

    sign: Sign
    sentence: str


@dataclass(frozen=True)
class DraftResult:
    """The order that was drafted, the signs it leaves out, and the lines that warn."""

    order: PrintOrder
    refusals: list[Refusal]
    warned: list[tuple[OrderLine, list[LineWarning]]] = field(default_factory=list)


class LineChanges(TypedDict, total=False):
    """What may be changed of a line while its order is a draft."""

    variant: str
    legend_text: str
    is_custom_legend: bool
    artwork: File[bytes]
    width_in: float
    height_in: float
    quantity: int
    sheeting_type: str
    optics: str
    background_color: str
    legend_color: str
    secondary_color: str
    reason: str


@transaction.atomic
def draft_order(
    *,
    agency: Organisation,
    shop: Organisation,
    signs: Iterable[Sign] = (),
    by: User | None = None,
    title: str = "",
    needed_by_on: date | None = None,
    sheeting_type: str = "",
    optics: str = "",
    now: datetime | None = None,
) -> DraftResult:
    """
    Draft an order for the faces that the given signs' positions ask for.

    Without a sheeting type each face takes that of the face it replaces. What cannot be
    ordered is left out and returned with a sentence; if that is every sign, there is no order.
    """
    now = now or timezone.now()
    check_customer(shop, agency)
    if needed_by_on is not None and needed_by_on < agency.day_of(now):
        msg = (
            f"The order cannot be needed by {needed_by_on:%Y-%m-%d}, which is past; name a day "
            f"from {agency.day_of(now):%Y-%m-%d} on."
        )
        raise OutOfRangeError(msg)
    agency = lock_agency(agency)
    rules = Rulebook.of(agency, now)
    wanted = _stored_signs(signs)
    why_not = why_not_again(sign.position_id for sign in wanted)
    lines: list[OrderLine] = []
    refusals: list[Refusal] = []
    for sign in wanted:
        try:
            line = _line_for_sign(
                sign,
                agency=agency,
                rules=rules,
                why_not=why_not,
                sheeting_type=sheeting_type,
                optics=optics,
            )
        except InventoryError as error:
            refusals.append(Refusal(sign, str(error)))
        else:
            lines.append(line)
    if wanted and not lines:
        raise StateConflictError(_nothing_left_message(refusals))
    order = store_draft(
        agency=agency,
        shop=shop,
        lines=lines,
        title=title,
        needed_by_on=needed_by_on,
        rules=rules,
        by=by,
        now=now,
        refusals=refusals,
    )
    told = [(line, line_warnings(line, rules)) for line in lines]
    warned = [(line, found) for line, found in told if any(each.is_open for each in found)]
    return DraftResult(order, refusals, warned)


@transaction.atomic
def add_line(
    *,
    order: PrintOrder,
    sign_code: str = "",
    position: Position | None = None,
    quantity: int = 1,
    sheeting_type: str = "",
    optics: str = "",
    variant: str = "",
    legend_text: str = "",
    is_custom_legend: bool = False,
    width_in: float | None = None,
    height_in: float | None = None,
    background_color: str = "",
    legend_color: str = "",
    reason: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> OrderLine:
    """
    Add a line to a draft: the face a position asks for, or a code for stock.

    For a position nothing but the sheeting and the reason is taken from the caller.
    """
    now = now or timezone.now()
    # The agency before the order, as drafting does: two lines for one position cannot pass.
    lock_agency(order.agency)
    order = _locked_draft(order)
    rules = Rulebook.of(order.agency, now)
    if position is not None:
        line = _line_for_added_position(
            position,
            order=order,
            rules=rules,
            sheeting_type=sheeting_type,
            optics=optics,
            why=reason,
        )
    else:
        resolved = rules.codes.resolve(sign_code)
        size = wanted_size(width_in, height_in, resolved.sign_type, None)
        colors = wanted_colors(
            resolved.sign_type,
            read_color(background_color, "background") if background_color else None,
            read_color(legend_color, "legend") if legend_color else None,
        )
        line = OrderLine(
            sign_code=resolved.sign_type.code,
            variant=variant or resolved.variant,
            legend_text=legend_text,
            is_custom_legend=is_custom_legend,
            width_in=size.width_in,
            height_in=size.height_in,
            quantity=quantity,
            sheeting_type=sheeting_type,
            optics=optics,
            background_color=colors.background,
            legend_color=colors.legend,
            secondary_color="/".join(colors.secondary),
            reason=reason,
        )
        check_line(line, rules)
    last = order.lines.order_by("-number").first()
    line.order, line.number = order, (last.number if last else 0) + 1
    check_fields(line, exclude=_PARENTS)
    line.save()
    _log_line_change(order, f"Line {line.number} added: {line}.", by, now)
    return line


@transaction.atomic
def set_line(
    *,
    line: OrderLine,
    by: User | None = None,
    now: datetime | None = None,
    **changes: Unpack[LineChanges],
) -> OrderLine:
    """
    Change a line of a draft; the line as a whole has to be printable afterwards.

    Another wording, variant or size is what the line's position asks for from then on, so that
    the face that is printed fits there.
    """
    now = now or timezone.now()
    order = _locked_draft(line.order)
    changed: OrderLine = OrderLine.objects.select_related("position").get(pk=line.pk)
    for name in changes:
        if name not in LineChanges.__annotations__:
            msg = f"'{name}' of an order line is not changed by hand."
            raise OutOfRangeError(msg)
    asked_anew = {
        name: value
        for name, value in changes.items()
        if name in _ASKED_BY_PLACE and getattr(changed, name) != value
    }
    for name, value in changes.items():
        setattr(changed, name, value)
    check_fields(changed, exclude=_PARENTS)
    check_line(changed, Rulebook.of(order.agency, now))
    changed.save(update_fields=[*changes, *DERIVED_FIELDS])
    if changed.position_id is not None and asked_anew:
        if asked_anew.keys() & {"width_in", "height_in"}:
            asked_anew |= {"width_in": changed.width_in, "height_in": changed.height_in}
        Position.objects.filter(pk=changed.position_id).update(**asked_anew)
    _log_line_change(
        order, f"Line {changed.number} changed: {', '.join(sorted(changes))}.", by, now
    )
    return changed


@transaction.atomic
def remove_line(
    *, line: OrderLine, by: User | None = None, now: datetime | None = None
) -> None:
    """Take a line off a draft; the numbers of the others stay."""
    now = now or timezone.now()
    order = _locked_draft(line.order)
    removed: OrderLine = OrderLine.objects.get(pk=line.pk)
    removed.delete()
    _log_line_change(order, f"Line {removed.number} removed: {removed}.", by, now)


def check_customer(shop: Organisation, agency: Organisation) -> None:
    """Refuse an order to a shop that does not print for the agency."""
    if not ShopCustomer.objects.filter(organisation=shop, agency=agency).exists():
        msg = (
            f"{shop} does not print for {agency}; have the shop add the agency to its "
            "customers before ordering from it."
        )
        raise NotPermittedError(msg)


def lock_agency(agency: Organisation) -> Organisation:
    """
    Return the agency locked: one order at a time, since numbers and what is on order go by it.

    Its key stays free, so that a crew's step, which names the agency in the logbook, never
    waits for this while this waits for its position.
    """
    locked: Organisation = Organisation.objects.select_for_update(no_key=True).get(pk=agency.pk)
    return locked


def store_draft(
    *,
    agency: Organisation,
    shop: Organisation,
    lines: Sequence[OrderLine],
    title: str,
    needed_by_on: date | None,
    rules: Rulebook,
    by: User | None,
    now: datetime,
    refusals: Sequence[Refusal] = (),
) -> PrintOrder:
    """Store an order with its lines; the caller holds the agency's lock and made the lines."""
    order = PrintOrder(
        agency=agency,
        shop=shop,
        number=_next_number(agency, now),
        title=title,
        drafted_at=now,
        drafted_by=by,
        needed_by_on=needed_by_on,
        press_rate_ft2_per_h=rules.policy.press_rate_ft2_per_h,
    )
    check_fields(order, exclude=["agency", "shop", "drafted_by"])
    order.save()
    for number, line in enumerate(lines, start=1):
        line.order, line.number = order, number
    OrderLine.objects.bulk_create(lines)
    log(
        organisation=agency,
        actor=by,
        verb="draft order",
        text=f"Order {order.number} drafted for {shop}: {len(lines)} faces"
        + (f", {len(refusals)} signs left out." if refusals else "."),
        at=now,
        order=order,
        detail={"refused": {str(sign.pk): sentence for sign, sentence in refusals}},
    )
    return order


def _stored_signs(signs: Iterable[Sign]) -> list[Sign]:
    """Return the signs as they are stored, with what their lines need, each once."""
    stored = Sign.objects.select_related(
        "position__support__road", "owner", "standing"
    ).prefetch_related("colour_areas")
    keys = list(dict.fromkeys(sign.pk for sign in signs))
    by_pk = stored.in_bulk(keys)
    return [by_pk[key] for key in keys if key in by_pk]


def _line_for_sign(
    sign: Sign,
    *,
    agency: Organisation,
    rules: Rulebook,
    why_not: dict[int, str],
    sheeting_type: str,
    optics: str,
) -> OrderLine:
    """Return the line for the face that takes a sign's place, if it is to be ordered."""
    position = sign.position
    check_own(sign, agency)
    if sign.state != Sign.State.INSTALLED or position is None:
        msg = (
            f"This face is {sign.get_state_display()}, so there is no place to replace it in; "
            "order for the face that is installed there now."
        )
        raise StateConflictError(msg)
    _check_not_coming(why_not.get(position.pk))
    return line_for_position(
        position,
        rules=rules,
        old_face=OldFace.of(sign.colour_areas.all()),
        replaces=sign,
        sheeting_type=sheeting_type,
        optics=optics,
        why=_why_due(sign),
    )


def check_own(sign: Sign, agency: Organisation) -> None:
    """Refuse a face that is not the agency's to replace."""
    if sign.owner_id != agency.pk:
        msg = f"This sign belongs to {sign.owner or 'nobody yet'}, not to {agency}."
        raise StateConflictError(msg)
    if sign.responsible != Sign.Responsible.AGENCY:
        msg = (
            f"This sign is looked after by {sign.get_responsible_display()}, so {agency} does "
            "not order its replacement."
        )
        raise StateConflictError(msg)


def _line_for_added_position(
    position: Position,
    *,
    order: PrintOrder,
    rules: Rulebook,
    sheeting_type: str,
    optics: str,
    why: str,
) -> OrderLine:
    """Return the line for a position added by hand, whether a face stands there or not."""
    if position.organisation_id != order.agency_id:
        msg = f"This position belongs to {position.organisation}, not to {order.agency}."
        raise StateConflictError(msg)
    why_not = why_not_again([position.pk])
    standing = position.signs.filter(state=Sign.State.INSTALLED).first()
    if standing is not None:
        (standing,) = _stored_signs([standing])
        line = _line_for_sign(
            standing,
            agency=order.agency,
            rules=rules,
            why_not=why_not,
            sheeting_type=sheeting_type,
            optics=optics,
        )
        line.reason = why or line.reason
        return line
    _check_not_coming(why_not.get(position.pk))
    return line_for_position(
        position,
        rules=rules,
        old_face=OldFace(),
        replaces=None,
        sheeting_type=sheeting_type,
        optics=optics,
        why=why,
    )


def _check_not_coming(why_not: str | None) -> None:
    if why_not is not None:
        raise StateConflictError(why_not)


def _why_due(sign: Sign) -> str:
    """Return why the due list has a sign, if it has it."""
    try:
        standing = sign.standing
    except ObjectDoesNotExist:
        return ""
    return standing.due_reason if standing.is_due else ""


def _nothing_left_message(refusals: Sequence[Refusal]) -> str:
    """Return why there is no order at all, with the sentences of the first few signs."""
    told = " ".join(f"{sign}: {sentence}" for sign, sentence in refusals[:MOST_SENTENCES])
    more = len(refusals) - MOST_SENTENCES
    return f"None of the {len(refusals)} signs can be ordered. {told}" + (
        f" And {more} more." if more > 0 else ""
    )


def _next_number(agency: Organisation, now: datetime) -> str:
    """Return the agency's next order number of the year; the caller holds the agency's lock."""
    year = agency.day_of(now).year
    numbers = PrintOrder.objects.filter(
        agency=agency, number__startswith=f"{year}-"
    ).values_list("number", flat=True)
    taken = [int(tail) for number in numbers if (tail := number.partition("-")[2]).isdigit()]
    return f"{year}-{max(taken, default=0) + 1:03d}"


def _locked_draft(order: PrintOrder) -> PrintOrder:
    """Return the order locked; refuse one that is no draft any more."""
    locked = lock_order(order)
    if locked.state != PrintOrder.State.DRAFT:
        msg = (
            f"Order {locked.number} is {locked.get_state_display()}, so its lines stay as they "
            "are; amend the order instead, or draft another."
        )
        raise StateConflictError(msg)
    return locked


def _log_line_change(order: PrintOrder, text: str, by: User | None, now: datetime) -> None:
    log(
        organisation=order.agency,
        actor=by,
        verb="change draft",
        text=f"Order {order.number}: {text}",
        at=now,
        order=order,
    )
