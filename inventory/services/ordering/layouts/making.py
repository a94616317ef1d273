"""A layout is begun: which faces, on which press and rolls, by which rules."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from inventory.engineering.ordering.layout import roll as engine
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    DamageStanding,
    LayoutPlan,
    OrderLine,
    PlannedFace,
    PrintOrder,
    SheetingRoll,
    SheetingTurns,
)
from inventory.services.logbook import log
from inventory.services.ordering.lines import lock_order
from inventory.services.ordering.progress import order_progress
from inventory.services.ordering.proofs import why_not_made
from inventory.services.production.faces import sheeting_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from inventory.models import Organisation, Press, User

MOST_FACES = 2_000
MOST_SECONDS = 600
MOST_RANK = 9
BATCH = 500
_LOSSES_IN_WORDS = {
    "printable_width_in": "how much of its width it prints",
    "lead_in_in": "what is lost before the first face",
    "tail_in": "what is lost behind the last face",
}


@dataclass(frozen=True, kw_only=True)
class Rules:
    """How the shop wants faces laid: see `LayoutPlan`; lengths in inches."""

    cutter: str
    gap_in: float
    edge_margin_in: float
    bleed_in: float = 0.0
    is_to_the_edge: bool = False
    overlap_in: float | None = None
    is_in_order: bool = True
    seconds: int = 10

    def laying(self) -> engine.Laying:
        """Return them as the reckoning takes them; what is out of range is refused."""
        return engine.Laying(
            cutter=engine.Cutter(self.cutter),
            gap_in=self.gap_in,
            edge_margin_in=self.edge_margin_in,
            bleed_in=self.bleed_in,
            is_to_the_edge=self.is_to_the_edge,
            overlap_in=self.overlap_in,
        )


@dataclass(frozen=True)
class Asked:
    """How many faces of a line are to be laid out, and how urgent they are (1 first)."""

    count: int
    due_rank: int = 1


@dataclass(frozen=True)
class FreeLine:
    """
    A line with faces that are neither printed nor in a frozen layout.

    ``why_not`` says why none may be laid out yet, such as a proof that is not approved.
    """

    line: OrderLine
    free: int
    due_rank: int
    why_not: str = ""


def free_lines(
    order: PrintOrder, *, sheeting_type: str, optics: str, base_color: str
) -> list[FreeLine]:
    """
    Return the lines of one base sheeting with faces still to be laid out, urgent ones first.

    A face for a place whose sign is reported damaged goes first, in a fixed number of queries.
    """
    wanted = (sheeting_type, optics, base_color)
    taken = faces_in_frozen(order)
    lines = []
    for each in order_progress(order):
        line = each.line
        free = each.counts.outstanding - taken[line.pk]
        if (line.sheeting_type, line.optics, line.base_color) == wanted and free > 0:
            lines.append((line, free))
    places = [line.position_id for line, _ in lines if line.position_id is not None]
    damaged = set(
        DamageStanding.objects.filter(position__in=places, is_open=True).values_list(
            "position", flat=True
        )
    )
    why = why_not_made(line for line, _ in lines)
    ranked = [
        FreeLine(
            line,
            free,
            1 if not damaged or line.position_id in damaged else 2,
            why.get(line.pk, ""),
        )
        for line, free in lines
    ]
    return sorted(ranked, key=lambda each: (each.due_rank, each.line.number))


def faces_in_frozen(order: PrintOrder, *, besides: LayoutPlan | None = None) -> Counter[int]:
    """Return how many faces of each line lie in frozen loads that are not printed yet."""
    rows = PlannedFace.objects.filter(
        plan__order=order,
        plan__state=LayoutPlan.State.FROZEN,
        load__isnull=False,
        load__printed__isnull=True,
    )
    if besides is not None:
        rows = rows.exclude(plan=besides)
    return Counter(rows.order_by().values_list("line", flat=True))


def find_turns(shop: Organisation, sheeting_type: str, optics: str) -> SheetingTurns | None:
    """Return in which turns the shop lays a sheeting, if it has said so."""
    found: SheetingTurns | None = (
        SheetingTurns.objects.owned_by(shop)
        .filter(sheeting_type=sheeting_type, optics=optics)
        .first()
    )
    return found


def fitting_rolls(
    shop: Organisation, *, sheeting_type: str, optics: str, base_color: str
) -> list[SheetingRoll]:
    """Return the rolls of one base sheeting, first received first."""
    rows = SheetingRoll.objects.owned_by(shop).filter(
        sheeting_type=sheeting_type, optics=optics, color=base_color
    )
    return list(rows.order_by("received_on", "pk"))


@transaction.atomic
def make_plan(
    *,
    order: PrintOrder,
    sheeting_type: str,
    optics: str,
    base_color: str,
    press: Press,
    rolls: Sequence[SheetingRoll],
    rules: Rules,
    asked: Mapping[int, Asked] | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> LayoutPlan:
    """
    Begin a layout of an order's faces of one base sheeting; nothing is searched yet.

    ``asked`` gives by line key how many faces and how urgent; without it, all that are free.
    """
    now = now or timezone.now()
    order = lock_order(order)
    kind = {"sheeting_type": sheeting_type, "optics": optics, "base_color": base_color}
    if order.state != PrintOrder.State.RELEASED:
        msg = (
            f"Order {order.number} is {order.get_state_display()}; faces are laid out for "
            "released orders that are not printed."
        )
        raise StateConflictError(msg)
    losses = _losses_of(order, press)
    _check_rolls(order, rolls, kind)
    rules.laying()
    _check_seconds(rules.seconds)
    faces = _faces_asked(free_lines(order, **kind), asked, order, kind)
    turns = find_turns(order.shop, sheeting_type, optics)
    plan = LayoutPlan.objects.create(
        organisation=order.shop,
        order=order,
        press=press,
        **kind,
        **_fields_of(rules),
        angles_deg=list(turns.angles_deg) if turns else [0],
        turns_basis=turns.basis if turns else "",
        **losses,
        made_at=now,
        made_by=by,
    )
    plan.rolls.set(rolls)
    PlannedFace.objects.bulk_create(
        [
            PlannedFace(plan=plan, line=line, number=number, due_rank=rank)
            for number, (line, rank) in enumerate(faces, start=1)
        ],
        batch_size=BATCH,
    )
    log(
        organisation=order.shop,
        actor=by,
        verb="begin layout",
        text=f"Order {order.number}: layout of {len(faces)} faces on "
        f"{sheeting_words(base_color, sheeting_type, optics)} begun.",
        at=now,
        order=order,
    )
    return plan


@transaction.atomic
def set_rules(*, plan: LayoutPlan, rules: Rules, rolls: Sequence[SheetingRoll]) -> LayoutPlan:
    """Lay out by other rules or on other rolls; turns and losses as they are now."""
    plan = lock_draft(plan)
    kind = {
        "sheeting_type": plan.sheeting_type,
        "optics": plan.optics,
        "base_color": plan.base_color,
    }
    losses = _losses_of(plan.order, plan.press)
    _check_rolls(plan.order, rolls, kind)
    rules.laying()
    _check_seconds(rules.seconds)
    turns = find_turns(plan.organisation, plan.sheeting_type, plan.optics)
    for name, value in (_fields_of(rules) | losses).items():
        setattr(plan, name, value)
    plan.angles_deg = list(turns.angles_deg) if turns else [0]
    plan.turns_basis = turns.basis if turns else ""
    plan.save()
    plan.rolls.set(rolls)
    return plan


def lock_draft(plan: LayoutPlan) -> LayoutPlan:
    """Lock a layout that may still be changed; of one frozen or dropped, say so."""
    locked: LayoutPlan = (
        LayoutPlan.objects.select_for_update(of=("self",))
        .select_related("order__shop", "order__agency", "press", "organisation")
        .get(pk=plan.pk)
    )
    if locked.state != LayoutPlan.State.DRAFT:
        way = (
            "take the freeze back first"
            if locked.state == LayoutPlan.State.FROZEN
            else "make a new one"
        )
        msg = f"This layout is {locked.get_state_display()} and stays as it is; {way}."
        raise StateConflictError(msg)
    return locked


def _fields_of(rules: Rules) -> dict[str, Any]:
    return {name: getattr(rules, name) for name in Rules.__dataclass_fields__}


def _check_seconds(seconds: int) -> None:
    if not 1 <= seconds <= MOST_SECONDS:
        msg = f"A search of {seconds} s is out of range; give it 1 to {MOST_SECONDS} s."
        raise OutOfRangeError(msg)


def _losses_of(order: PrintOrder, press: Press) -> dict[str, Any]:
    """Return what the order's press prints and loses, if all of it is stated."""
    if press.organisation_id != order.shop_id:
        msg = f"{press} is no press of {order.shop}; pick one of its presses."
        raise StateConflictError(msg)
    stated = {
        "printable_width_in": press.printable_width_in,
        "lead_in_in": press.lead_in_in,
        "tail_in": press.tail_in,
    }
    lacking = [_LOSSES_IN_WORDS[name] for name, value in stated.items() if value is None]
    if lacking:
        msg = (
            f"Of {press} it is not stated {' and '.join(lacking)}; measure it and write it "
            "down on the press's page."
        )
        raise StateConflictError(msg)
    return stated


def _check_rolls(
    order: PrintOrder, rolls: Sequence[SheetingRoll], kind: Mapping[str, str]
) -> None:
    if not rolls:
        msg = (
            "No roll is picked; pick at least one of "
            f"{sheeting_words(kind['base_color'], kind['sheeting_type'], kind['optics'])}."
        )
        raise OutOfRangeError(msg)
    for roll in rolls:
        is_its = (
            roll.organisation_id == order.shop_id
            and roll.sheeting_type == kind["sheeting_type"]
            and roll.optics == kind["optics"]
            and roll.color == kind["base_color"]
        )
        if not is_its:
            msg = (
                f"{roll} is {sheeting_words(roll.color, roll.sheeting_type, roll.optics)}, "
                "and these faces are printed on "
                f"{sheeting_words(kind['base_color'], kind['sheeting_type'], kind['optics'])}."
            )
            raise StateConflictError(msg)


def _faces_asked(
    free: Iterable[FreeLine],
    asked: Mapping[int, Asked] | None,
    order: PrintOrder,
    kind: Mapping[str, str],
) -> list[tuple[OrderLine, int]]:
    """Return a line and a rank for each face, in the order of the lines."""
    by_key = {each.line.pk: each for each in free}
    if asked is None:
        asked = {
            key: Asked(each.free, each.due_rank)
            for key, each in by_key.items()
            if not each.why_not
        }
    faces: list[tuple[OrderLine, int]] = []
    for key, ask in asked.items():
        if ask.count == 0:
            continue
        there = by_key.get(key)
        left = there.free if there else 0
        if there is None or not 0 < ask.count <= left:
            line = OrderLine.objects.filter(order=order, pk=key).first()
            named = f"line {line.number} ({line})" if line else f"a line with key {key}"
            msg = (
                f"{ask.count} faces of {named} cannot be laid out: {left} of it are neither "
                "printed nor in a frozen layout."
            )
            raise OutOfRangeError(msg)
        if there.why_not:
            raise StateConflictError(there.why_not)
        if not 1 <= ask.due_rank <= MOST_RANK:
            msg = (
                f"A place of {ask.due_rank} in the order is out of range; 1 comes off first, "
                f"{MOST_RANK} last."
            )
            raise OutOfRangeError(msg)
        faces.extend([(there.line, ask.due_rank)] * ask.count)
    if not faces:
        msg = (
            "There is no face to lay out on "
            f"{sheeting_words(kind['base_color'], kind['sheeting_type'], kind['optics'])}."
        )
        raise StateConflictError(msg)
    if len(faces) > MOST_FACES:
        msg = (
            f"{len(faces):,} faces are more than a layout takes ({MOST_FACES:,}); lay out a "
            "part of them first."
        )
        raise OutOfRangeError(msg)
    return faces
