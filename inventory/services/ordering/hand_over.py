"""
Hand-over to the shop: what is asked for becomes draft orders, less what is in stock.

The draft is worked out anew each time from what is on record: what is on order already, which
faces in stock fit, what an engineer chose. Making the orders works it out once more, under the
agency's lock, and refuses where it is no longer the draft that was looked at.
"""

from __future__ import annotations

import hashlib
from calendar import monthrange
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.ordering.stock import WantedFace, cover_from_stock, wording_varies
from inventory.engineering.standards.vocabulary import Color
from inventory.errors import InventoryError, OutOfRangeError, StateConflictError
from inventory.models import FaceChoice, Organisation, Position, PrintOrder
from inventory.services.logbook import log
from inventory.services.ordering.drafting import (
    check_customer,
    check_own,
    lock_agency,
    store_draft,
)
from inventory.services.ordering.from_programme import Asked, Source, check_may_order
from inventory.services.ordering.lines import OldFace, Rulebook, line_for_position
from inventory.services.ordering.on_order import lines_by_position
from inventory.services.ordering.reservations import reservations_of, reserve_faces
from inventory.services.ordering.standard_checks import LineWarning, line_warnings
from inventory.services.ordering.stock_matching import (
    faces_in_stock,
    old_faces,
    one_sheeting,
    stock_faces,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import datetime

    from inventory.models import OrderLine, Sign, StockReservation, User

LONGEST_TITLE = PrintOrder._meta.get_field("title").max_length or 0
DAY = timedelta(days=1)
MONTHS = 12


class Step(StrEnum):
    """How long a time one order covers."""

    MONTH = "month"
    QUARTER = "quarter"
    ALL = "all"


class LineState(StrEnum):
    """What becomes of a position that a new face is asked for."""

    ORDER = "order"
    STOCK = "stock"
    KEPT = "kept"
    ON_ORDER = "on_order"
    LEFT_OUT = "left_out"
    REFUSED = "refused"


@dataclass
class DraftLine:
    """One position of a hand-over: what is ordered or why nothing is."""

    asked: Asked
    state: LineState
    line: OrderLine | None = None
    face: Sign | None = None
    ordered: OrderLine | None = None
    reservation: StockReservation | None = None
    choice: FaceChoice | None = None
    refusal: str = ""
    warnings: list[LineWarning] = field(default_factory=list)

    @property
    def warns(self) -> bool:
        """Return whether an engineer should look at it: it warns, and nobody said why."""
        return any(each.is_open for each in self.warnings)


@dataclass
class Group:
    """The lines whose faces are needed in one stretch of time: one order."""

    key: str
    words: str
    needed_by: date | None
    order_by: date | None
    lines: list[DraftLine]
    is_late: bool = False

    def in_state(self, *states: LineState) -> list[DraftLine]:
        """Return the lines of some states."""
        return [each for each in self.lines if each.state in states]

    @property
    def to_order(self) -> list[DraftLine]:
        """Return the lines that are ordered."""
        return self.in_state(LineState.ORDER)

    @property
    def on_order(self) -> list[DraftLine]:
        """Return the lines of which a face is to come already."""
        return self.in_state(LineState.ON_ORDER)

    @property
    def left_out(self) -> list[DraftLine]:
        """Return the lines an engineer left out."""
        return self.in_state(LineState.LEFT_OUT)

    @property
    def refused(self) -> list[DraftLine]:
        """Return the lines that cannot be ordered yet."""
        return self.in_state(LineState.REFUSED)

    @property
    def from_stock(self) -> list[DraftLine]:
        """Return the lines that a face in stock covers, kept already or from now on."""
        return self.in_state(LineState.STOCK, LineState.KEPT)


@dataclass
class HandOver:
    """A hand-over as it would be made now."""

    source: Source
    groups: list[Group]
    rules: Rulebook

    @property
    def lines(self) -> list[DraftLine]:
        """Return every line, group by group, the most pressing first."""
        return [line for group in self.groups for line in group.lines]

    def count(self, *states: LineState) -> int:
        """Return how many lines are in some states."""
        return sum(each.state in states for each in self.lines)

    @property
    def digest(self) -> str:
        """Return a mark of what would be made: another draft has another one."""
        told = [
            (
                group.key,
                each.asked.position.pk,
                each.state.value,
                each.face.pk if each.face is not None else None,
                _line_words(each.line) if each.line is not None else "",
            )
            for group in self.groups
            for each in group.lines
        ]
        return hashlib.sha256(repr(told).encode()).hexdigest()[:32]


@dataclass(frozen=True)
class HandedOver:
    """What came of a hand-over: the draft orders, and how many faces in stock are kept."""

    orders: list[PrintOrder]
    kept: int
    faces: int


def draft_hand_over(
    *,
    source: Source,
    sheeting_type: str = "",
    optics: str = "",
    step: str = Step.MONTH,
    now: datetime | None = None,
) -> HandOver:
    """
    Return what a hand-over would make now; nothing is stored. A fixed number of queries.

    Without a sheeting type each face takes the one chosen for it, else that of the face it
    replaces. Stock goes to the most pressing first: class 1 musts, then by the day needed.
    """
    now = now or timezone.now()
    agency = source.agency
    if step not in set(Step):
        msg = f"Orders are not made by '{step}'; use one of {', '.join(Step)}."
        raise OutOfRangeError(msg)
    rules = Rulebook.of(agency, now)
    lines = _lines(source, rules, sheeting_type, optics)
    _cover(lines, agency, rules)
    for each in lines:
        if each.line is not None:
            each.warnings = line_warnings(each.line, rules)
    return HandOver(source, _groups(lines, step, agency.day_of(now), source.far), rules)


@transaction.atomic
def make_orders(
    *,
    gather: Callable[[], Source],
    agency: Organisation,
    shop: Organisation,
    seen: str,
    by: User | None = None,
    sheeting_type: str = "",
    optics: str = "",
    step: str = Step.MONTH,
    undated_by: date | None = None,
    now: datetime | None = None,
) -> HandedOver:
    """
    Make the draft orders of a hand-over, one of each group, and keep the faces in stock.

    ``gather`` returns what is asked for; it is asked again under the agency's lock, so that of
    two people handing over at once the second finds everything on order. ``seen`` is the digest
    of the draft that was looked at. ``undated_by`` is when faces without a date are needed.
    """
    now = now or timezone.now()
    check_customer(shop, agency)
    today = agency.day_of(now)
    if undated_by is not None and undated_by < today:
        msg = (
            f"Faces cannot be needed by {undated_by:%Y-%m-%d}, which is past; name a day from "
            f"{today:%Y-%m-%d} on."
        )
        raise OutOfRangeError(msg)
    agency = lock_agency(agency)
    source = gather()
    check_may_order(source)
    # Positions before faces, as putting one up locks them.
    positions = [each.position.pk for each in source.asked]
    list(
        Position.objects.select_for_update(no_key=True)
        .filter(pk__in=positions)
        .order_by("pk")
        .values_list("pk")
    )
    draft = draft_hand_over(
        source=source, sheeting_type=sheeting_type, optics=optics, step=step, now=now
    )
    if draft.digest != seen:
        msg = (
            "What is asked for, in stock or on order has changed since this draft was shown. "
            "Nothing was ordered: look at it again below."
        )
        raise StateConflictError(msg)
    covered = [each for each in draft.lines if each.state is LineState.STOCK]
    if not covered and not draft.count(LineState.ORDER):
        msg = "There is nothing to order here, and no face in stock to keep."
        raise StateConflictError(msg)
    reserve_faces(
        {each.asked.position.pk: each.face.pk for each in covered if each.face is not None},
        agency=agency,
        reason=source.title,
        by=by,
        now=now,
    )
    orders = [
        store_draft(
            agency=agency,
            shop=shop,
            lines=[each.line for each in group.to_order if each.line is not None],
            title=_title(source.title, group),
            needed_by_on=undated_by if group.needed_by is None else max(group.needed_by, today),
            rules=draft.rules,
            by=by,
            now=now,
        )
        for group in draft.groups
        if group.to_order
    ]
    faces = draft.count(LineState.ORDER)
    log(
        organisation=agency,
        actor=by,
        verb="hand over",
        text=(
            f"{source.title} handed over: {faces} faces on {len(orders)} draft orders, "
            f"{len(covered)} kept in stock."
        ),
        at=now,
        detail={"orders": [each.number for each in orders]},
    )
    return HandedOver(orders, len(covered), faces)


def _lines(source: Source, rules: Rulebook, sheeting_type: str, optics: str) -> list[DraftLine]:
    """Return a line for each position, before stock is looked at, the most pressing first."""
    asked = source.asked
    positions = [each.position.pk for each in asked]
    ordered = lines_by_position(positions)
    reserved = reservations_of(positions)
    chosen = {
        each.position_id: each
        for each in FaceChoice.objects.filter(position__in=positions).select_related(
            "decided_by"
        )
    }
    empty = old_faces([each.position for each in asked if each.standing is None])
    lines = []
    for each in sorted(asked, key=lambda one: one.urgency):
        key = each.position.pk
        choice = chosen.get(key)
        if choice is not None and choice.replaces_id != (each.standing and each.standing.pk):
            choice = None  # it was about a face that is down by now
        if key in ordered:
            line = DraftLine(each, LineState.ON_ORDER, ordered=ordered[key])
        elif key in reserved:
            line = DraftLine(
                each, LineState.KEPT, face=reserved[key].sign, reservation=reserved[key]
            )
        elif choice is not None and choice.left_out_reason:
            line = DraftLine(each, LineState.LEFT_OUT)
        else:
            own_type = choice.sheeting_type if choice is not None else ""
            line = _new_line(
                each,
                source.agency,
                rules,
                empty.get(key),
                own_type or sheeting_type,
                choice.optics if choice is not None and own_type else optics,
            )
        line.choice = choice
        lines.append(line)
    return lines


def _new_line(
    asked: Asked,
    agency: Organisation,
    rules: Rulebook,
    came_down: Sign | None,
    sheeting_type: str,
    optics: str,
) -> DraftLine:
    """Return the line of a face that is to be ordered, or why it cannot be."""
    old = asked.standing or came_down
    try:
        if asked.standing is not None:
            check_own(asked.standing, agency)
        line = line_for_position(
            asked.position,
            rules=rules,
            old_face=OldFace.of(old.colour_areas.all() if old is not None else []),
            replaces=asked.standing,
            sheeting_type=sheeting_type,
            optics=optics,
            why=asked.reason,
        )
    except InventoryError as error:
        return DraftLine(asked, LineState.REFUSED, refusal=str(error))
    return DraftLine(asked, LineState.ORDER, line=line)


def _cover(lines: Iterable[DraftLine], agency: Organisation, rules: Rulebook) -> None:
    """Let faces in stock that fit stand in for lines, the most pressing first."""
    wanted = []
    by_key = {}
    for each in lines:
        line = each.line
        if each.state is not LineState.ORDER or line is None:
            continue
        sign_type = rules.codes.resolve(line.sign_code).sign_type
        if any(told.is_code for told in line_warnings(line, rules)):
            continue  # a withdrawn code is not put up again because one is in stock
        sheeting = one_sheeting(line.sheeting_type, line.optics)
        by_key[each.asked.position.pk] = each
        wanted.append(
            (
                each.asked.position.pk,
                each.asked.position.pk,
                WantedFace(
                    code=line.sign_code,
                    variant=line.variant,
                    legend_text=line.legend_text,
                    is_custom_legend=line.is_custom_legend,
                    wording_varies=wording_varies(sign_type),
                    width_in=line.width_in,
                    height_in=line.height_in,
                    sheeting_types=frozenset({sheeting} if sheeting is not None else ()),
                    background=Color(line.background_color),
                ),
            )
        )
    if not wanted:
        return
    faces = stock_faces(faces_in_stock(agency), rules)
    signs = {face.key: sign for face, sign in faces}
    for key, face in cover_from_stock(wanted, (face for face, _sign in faces)).items():
        by_key[key].state = LineState.STOCK
        by_key[key].face = signs[face.key]


def _groups(
    lines: Sequence[DraftLine], step: str, today: date, far: date | None
) -> list[Group]:
    """Return the lines by the stretch of time their faces are needed in, the first first."""
    by_key: dict[str, list[DraftLine]] = {}
    for each in lines:
        by_key.setdefault(_key(each.asked.needed_by, step, today, far), []).append(each)
    return [_group(key, by_key[key], today) for key in sorted(by_key)]


def _key(needed_by: date | None, step: str, today: date, far: date | None) -> str:
    """Return the stretch of time a day lies in, as it is sorted; no day comes last."""
    if needed_by is None:
        return "~"
    if needed_by <= today:
        return "0"
    if step == Step.ALL:
        return "1"
    if far is not None and needed_by > far:
        return f"{needed_by.year}-year"
    if step == Step.QUARTER:
        return f"{needed_by.year}-q{(needed_by.month + 2) // 3}"
    return f"{needed_by.year}-{needed_by.month:02d}"


def _group(key: str, lines: list[DraftLine], today: date) -> Group:
    days = [each.asked.needed_by for each in lines if each.asked.needed_by is not None]
    orders = [each.asked.order_by for each in lines if each.asked.order_by is not None]
    order_by = min(orders, default=None)
    return Group(
        key=key,
        words=_group_words(key),
        needed_by=min(days, default=None),
        order_by=order_by,
        lines=lines,
        is_late=order_by is not None and order_by < today,
    )


def _group_words(key: str) -> str:
    """Return the stretch of time in words: due before the day after its last."""
    if key == "~":
        return "no date known"
    if key == "0":
        return "needed already"
    if key == "1":
        return "all that is needed later"
    year, part = int(key[:4]), key[5:]
    if part == "year":
        month = MONTHS
    else:
        month = 3 * int(part[1:]) if part.startswith("q") else int(part)
    last = date(year, month, monthrange(year, month)[1])
    return f"due before {last + DAY:%Y-%m-%d}"


def _title(source: str, group: Group) -> str:
    """Return the title of a group's order, cut where it is too long."""
    tail = f": {group.words}"
    most = LONGEST_TITLE - len(tail)
    return (source if len(source) <= most else f"{source[: most - 1]}…") + tail


def _line_words(line: OrderLine) -> str:
    return (
        f"{line.sign_code}{line.variant} {line.legend_text} {line.width_in:g}×"
        f"{line.height_in:g} {line.sheeting_type} {line.optics} {line.background_color}"
    )
