"""A shop's rules of how its faces are built, and the copy an order line keeps of one."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.ordering.builds import why_base_does_not_fit
from inventory.engineering.production.builds import BuiltArea, FaceBuild
from inventory.engineering.production.colouring import Colouring
from inventory.engineering.standards.sheeting import read_sheeting_type
from inventory.engineering.standards.vocabulary import Color
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    BuildArea,
    BuildRule,
    ColourArea,
    LayoutFace,
    LayoutPlan,
    Organisation,
    PlannedFace,
)
from inventory.services.logbook import log
from inventory.services.ordering.lines import read_color, split_colors

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from django.db.models import QuerySet

    from inventory.models import OrderLine, PrintOrder, User

MOST_AREAS = 8
MOST_THICKNESS_IN = Decimal(1)
FINEST_THICKNESS = Decimal("0.0001")
_LAID_ON = (Colouring.FILM, Colouring.OPAQUE)


@dataclass(frozen=True, kw_only=True)
class BuildContent:
    """What a build rule says; without a code it holds for any."""

    sheeting_type: str
    base_color: str
    overlay: str
    sign_code: str = ""
    areas: Sequence[BuiltArea] = ()
    blank_thickness_in: Decimal | None = None
    blank_holes: str = ""


@dataclass(frozen=True)
class FrozenBuilds:
    """Lines that keep a build from now on, and those whose base sheeting followed it."""

    kept: tuple[OrderLine, ...]
    on_another_base: tuple[OrderLine, ...]

    @property
    def words(self) -> str:
        """Return it as the logbook tells it; empty where no line keeps a build."""
        if not self.kept:
            return ""
        count = len(self.kept)
        told = f" {count} line{'s' * (count != 1)} built by the shop's rules"
        bases = ", ".join(
            f"line {line.number} on {line.base_color.replace('-', ' ')}"
            for line in self.on_another_base
        )
        return f"{told}{f' ({bases})' if bases else ''}."


@transaction.atomic
def set_build_rule(
    *,
    shop: Organisation,
    content: BuildContent,
    rule: BuildRule | None = None,
    is_in_use: bool = True,
    by: User | None = None,
    now: datetime | None = None,
) -> BuildRule:
    """
    Add a rule of how faces are built, change one or take it out of use.

    Lines that keep a copy of it stay as they are. A base sheeting that cannot give a colour
    the rule names is refused.
    """
    now = now or timezone.now()
    Organisation.objects.select_for_update().get(pk=shop.pk)
    if shop.kind != Organisation.Kind.SHOP:
        msg = f"{shop} is a {shop.get_kind_display()}; only a sign shop says how it builds."
        raise StateConflictError(msg)
    rule = rule or BuildRule(organisation=shop)
    rule.sign_code = content.sign_code.strip().upper()
    rule.sheeting_type = read_sheeting_type(content.sheeting_type)
    rule.base_color = read_color(content.base_color, "base sheeting")
    if content.overlay not in BuildRule.Overlay.values:
        msg = f"'{content.overlay}' says nothing of the overlay; say with, without or as asked."
        raise OutOfRangeError(msg)
    rule.overlay = content.overlay
    rule.blank_thickness_in = _checked_thickness(content.blank_thickness_in)
    rule.blank_holes = content.blank_holes.strip()
    rule.is_in_use = is_in_use
    rule.set_at, rule.set_by = now, by
    _check_areas(Color(rule.base_color), content.areas)
    if is_in_use and _others_in_use(rule).exists():
        msg = (
            f"A {rule} is in use already; change that rule, or take it out of use before "
            "this one comes in."
        )
        raise StateConflictError(msg)
    rule.save()
    rule.areas.all().delete()
    BuildArea.objects.bulk_create(
        [
            BuildArea(rule=rule, part=each.part, color=each.color, colouring=each.colouring)
            for each in content.areas
        ]
    )
    state = "" if is_in_use else ", out of use"
    log(
        organisation=shop,
        actor=by,
        verb="set build rule",
        text=f"The {rule}{state}: {build_by(rule, content.areas).words}.",
        at=now,
    )
    return rule


def build_by(rule: BuildRule, areas: Iterable[BuiltArea]) -> FaceBuild:
    """Return a rule as the build of a face with these of its areas."""
    thickness = rule.blank_thickness_in
    return FaceBuild(
        rule_words=str(rule),
        sheeting_type=rule.sheeting_type,
        base_color=rule.base_color,
        overlay=rule.overlay,
        areas=tuple(areas),
        blank_thickness_in="" if thickness is None else _thickness_words(thickness),
        blank_holes=rule.blank_holes,
    )


def _thickness_words(thickness_in: Decimal) -> str:
    """Return a thickness with three decimals, or four where it has them."""
    text = f"{thickness_in:.4f}"
    return text.removesuffix("0")


def areas_of(rule: BuildRule) -> list[BuiltArea]:
    """Return what a rule says of each colour."""
    return [
        BuiltArea(each.part, each.color, Colouring(each.colouring)) for each in rule.areas.all()
    ]


def freeze_builds(order: PrintOrder) -> FrozenBuilds:
    """
    Freeze into each line of an order the rule that fits it best; the caller holds its lock.

    A rule for the line's code goes before one for any code. One for any code whose base cannot
    give the face's colours does not fit; one for the code itself is refused then. The line's
    base sheeting follows its rule, unless a face of it is laid out or printed already.
    """
    lines = list(order.lines.filter(build__isnull=True).order_by("number"))
    rules = {
        (rule.sign_code, rule.sheeting_type): rule
        for rule in BuildRule.objects.owned_by(order.shop)
        .filter(is_in_use=True)
        .prefetch_related("areas")
    }
    settled = _laid_or_printed(order)
    kept, on_another_base = [], []
    for line in lines:
        build = _best_build(line, rules)
        if build is None:
            continue
        line.build = build.as_stored()
        kept.append(line)
        if build.base_color != line.base_color and line.pk not in settled:
            line.base_color = build.base_color
            on_another_base.append(line)
    if kept:
        type(kept[0]).objects.bulk_update(kept, ["build", "base_color"], batch_size=500)
    return FrozenBuilds(tuple(kept), tuple(on_another_base))


def _best_build(line: OrderLine, rules: dict[tuple[str, str], BuildRule]) -> FaceBuild | None:
    colors = _colors_of(line)
    for code in (line.sign_code.upper(), ""):
        rule = rules.get((code, line.sheeting_type))
        if rule is None:
            continue
        areas = [each for each in areas_of(rule) if (each.part, each.color) in colors]
        why = why_base_does_not_fit(
            Color(rule.base_color),
            [Color(color) for _part, color in colors],
            laid_on=[Color(each.color) for each in areas if each.colouring in _LAID_ON],
        )
        if not why:
            return build_by(rule, areas)
        if rule.sign_code:
            msg = (
                f"Line {line.number} cannot be built by your rule, the {rule}: {why} Change "
                "the rule or take it out of use, then accept the order."
            )
            raise StateConflictError(msg)
    return None


def _colors_of(line: OrderLine) -> list[tuple[str, str]]:
    """Return the parts of a line's face with their colours."""
    return [
        (ColourArea.Part.BACKGROUND, line.background_color),
        (ColourArea.Part.LEGEND, line.legend_color),
        *((ColourArea.Part.SECONDARY, each) for each in split_colors(line.secondary_color)),
    ]


def _laid_or_printed(order: PrintOrder) -> set[int]:
    planned = PlannedFace.objects.filter(plan__order=order).exclude(
        plan__state=LayoutPlan.State.DROPPED
    )
    printed = LayoutFace.objects.filter(layout__order=order)
    return {
        *planned.order_by().values_list("line", flat=True),
        *printed.order_by().values_list("line", flat=True),
    }


def _others_in_use(rule: BuildRule) -> QuerySet[BuildRule]:
    return BuildRule.objects.filter(
        organisation=rule.organisation,
        sign_code=rule.sign_code,
        sheeting_type=rule.sheeting_type,
        is_in_use=True,
    ).exclude(pk=rule.pk)


def _checked_thickness(thickness_in: Decimal | None) -> Decimal | None:
    if thickness_in is None:
        return None
    if not (thickness_in.is_finite() and 0 < thickness_in <= MOST_THICKNESS_IN):
        msg = f"A blank of {thickness_in} in is out of range; it is over 0 to 1 in thick."
        raise OutOfRangeError(msg)
    if thickness_in != thickness_in.quantize(FINEST_THICKNESS):
        msg = f"A thickness of {thickness_in} in is too fine; it has up to four decimals."
        raise OutOfRangeError(msg)
    return thickness_in


def _check_areas(base: Color, areas: Sequence[BuiltArea]) -> None:
    """Refuse colours named twice, colours of no kind, and those the base contradicts."""
    if len(areas) > MOST_AREAS:
        msg = f"{len(areas)} colours are too many; a rule has up to {MOST_AREAS}."
        raise OutOfRangeError(msg)
    seen: set[tuple[str, str]] = set()
    for each in areas:
        color = read_color(each.color, "face")
        if each.part not in ColourArea.Part.values or each.colouring is Colouring.UNKNOWN:
            msg = f"Say of the {color.words} which part it is and what makes it."
            raise OutOfRangeError(msg)
        part = ColourArea.Part(each.part).label
        if (each.part, each.color) in seen:
            msg = f"The rule has the {color.words} {part} twice; keep one of them."
            raise OutOfRangeError(msg)
        seen.add((each.part, each.color))
        is_base = color is base
        if each.colouring is Colouring.SHEETING and not is_base:
            msg = (
                f"The {color.words} {part} cannot be the sheeting's own colour: the base "
                f"sheeting is {base.words}."
            )
            raise OutOfRangeError(msg)
        if is_base and each.colouring not in (Colouring.SHEETING, *_LAID_ON):
            msg = (
                f"The {color.words} {part} is the base sheeting's own colour and is not "
                "printed; pick what makes it anew."
            )
            raise OutOfRangeError(msg)
    why = why_base_does_not_fit(
        base,
        [Color(each.color) for each in areas],
        laid_on=[Color(each.color) for each in areas if each.colouring in _LAID_ON],
        is_whole_face=False,
    )
    if why:
        raise OutOfRangeError(why)
