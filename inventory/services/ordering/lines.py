"""What an order line says: from a position and the face that stands there, checked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from inventory.engineering.ordering.outlines import face_outline
from inventory.engineering.ordering.sheeting import (
    base_sheeting_color,
    check_sheeting_allowed,
    optics_of_type,
)
from inventory.engineering.ordering.specification import (
    WantedColors,
    WantedSize,
    wanted_colors,
    wanted_size,
)
from inventory.engineering.standards.sheeting import read_sheeting_type
from inventory.engineering.standards.vocabulary import (
    Color,
    Edition,
    MountClass,
    Optics,
    RoadClass,
)
from inventory.errors import NoPublishedValueError, OutOfRangeError, StateConflictError
from inventory.models import ColourArea, OrderLine
from inventory.services.people import policy_at
from inventory.services.standards import code_book

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from inventory.engineering.standards.catalogue import SignType
    from inventory.engineering.standards.local import CodeBook, ResolvedCode
    from inventory.models import AgencyPolicy, Organisation, Position, PrintOrder, Sign

DERIVED_FIELDS = ("shape", "base_color", "sheeting_type", "optics")
MAXIMUM_QUANTITY = 10_000
MAXIMUM_REASON_LENGTH = OrderLine._meta.get_field("reason").max_length or 0
MAXIMUM_DIMENSION_IN = 600.0  # 50 ft: wider than any sign bridge carries on one face


@dataclass(frozen=True)
class Rulebook:
    """How an agency reads codes and which editions it goes by, on one day."""

    codes: CodeBook
    policy: AgencyPolicy

    @classmethod
    def of(cls, agency: Organisation, now: datetime) -> Rulebook:
        """Return an agency's rules as they are now."""
        return cls(code_book(agency), policy_at(agency, agency.day_of(now)))

    @property
    def editions(self) -> list[Edition]:
        """Return the editions whose tables hold, the binding one first."""
        edition = Edition(self.policy.edition)
        if self.policy.uses_recommended_levels and edition is Edition.MUTCD_2009:
            return [edition, Edition.MUTCD_2009_RECOMMENDED]
        return [edition]


@dataclass(frozen=True)
class OldFace:
    """What is recorded of the face that stands in a position."""

    background: Color | None = None
    legend: Color | None = None
    sheeting_type: str = ""
    optics: str = ColourArea.Optics.UNKNOWN

    @classmethod
    def of(cls, areas: Iterable[ColourArea]) -> OldFace:
        """Return what a face's colour areas say; what they do not say stays unknown."""
        by_part = {area.part: area for area in areas}
        background = by_part.get(ColourArea.Part.BACKGROUND)
        legend = by_part.get(ColourArea.Part.LEGEND)
        return cls(
            background=_color(background.color) if background else None,
            legend=_color(legend.color) if legend else None,
            sheeting_type=background.sheeting_type if background else "",
            optics=background.optics if background else ColourArea.Optics.UNKNOWN,
        )


class AskedFace(NamedTuple):
    """What a position asks for: its sign type with size and colours, but for the sheeting."""

    resolved: ResolvedCode
    size: WantedSize
    colors: WantedColors


def asked_face(position: Position, *, rules: Rulebook, old_face: OldFace) -> AskedFace:
    """Return the face a position asks for; refuse where that is not known."""
    if position.is_retired:
        msg = "This position is retired; nothing is ordered for it."
        raise StateConflictError(msg)
    if not position.sign_code:
        wrote = f" (the list says '{position.source_code}')" if position.source_code else ""
        msg = (
            f"The sign code of this position is not known{wrote}; set it, or give the list's "
            "word an alias, before a face is ordered."
        )
        raise NoPublishedValueError(msg)
    resolved = rules.codes.resolve(position.sign_code)
    size = wanted_size(
        position.width_in, position.height_in, resolved.sign_type, road_class_of(position)
    )
    colors = wanted_colors(resolved.sign_type, old_face.background, old_face.legend)
    return AskedFace(resolved, size, colors)


def line_for_position(
    position: Position,
    *,
    rules: Rulebook,
    old_face: OldFace,
    replaces: Sign | None,
    sheeting_type: str,
    optics: str,
    why: str = "",
) -> OrderLine:
    """
    Return the unsaved line for the face a position asks for; what cannot be ordered is refused.

    Without a sheeting type the new face takes that of the old one.
    """
    asked = asked_face(position, rules=rules, old_face=old_face)
    resolved, size, colors = asked.resolved, asked.size, asked.colors
    if not sheeting_type:
        if not old_face.sheeting_type:
            msg = (
                "The sheeting of the old face is not known, so the new one cannot be the same; "
                "choose the sheeting type of the order."
            )
            raise NoPublishedValueError(msg)
        sheeting_type, optics = old_face.sheeting_type, old_face.optics
    size_words = "" if position.width_in and position.height_in else f"size: {size.basis}"
    line = OrderLine(
        position=position,
        replaces=replaces,
        sign_code=resolved.sign_type.code,
        variant=position.variant or resolved.variant,
        legend_text=position.legend_text,
        is_custom_legend=position.is_custom_legend,
        artwork=position.artwork,
        width_in=size.width_in,
        height_in=size.height_in,
        quantity=1,
        sheeting_type=sheeting_type,
        optics=optics,
        background_color=colors.background,
        legend_color=colors.legend,
        secondary_color="/".join(colors.secondary),
        reason=_reason(why, size_words, colors.note),
    )
    check_line(line, rules)
    return line


def check_line(line: OrderLine, rules: Rulebook) -> SignType:
    """
    Set what follows from a line (shape, base sheeting) and refuse what cannot be printed.

    Refused: an unknown code, an impossible size or quantity, a fluorescent colour on another
    sheeting, a sheeting the level tables prohibit.
    """
    sign_type = rules.codes.resolve(line.sign_code).sign_type
    if not 1 <= line.quantity <= MAXIMUM_QUANTITY:
        msg = (
            f"A quantity of {line.quantity} cannot be ordered; it is 1 to {MAXIMUM_QUANTITY} "
            "on one line."
        )
        raise OutOfRangeError(msg)
    if line.position_id is not None and line.quantity != 1:
        msg = (
            f"A position holds one face; {line.quantity} cannot be ordered for it. Add a line "
            "without a position for stock."
        )
        raise OutOfRangeError(msg)
    if max(line.width_in, line.height_in) > MAXIMUM_DIMENSION_IN:
        msg = (
            f"A face of {line.width_in:g} × {line.height_in:g} in is larger than "
            f"{MAXIMUM_DIMENSION_IN:g} in; sizes are in inches, so check the unit."
        )
        raise OutOfRangeError(msg)
    face_outline(sign_type.shape, line.width_in, line.height_in)  # refuses what has no outline
    background = read_color(line.background_color, "background")
    legend = read_color(line.legend_color, "legend")
    secondary = [read_color(each, "secondary") for each in split_colors(line.secondary_color)]
    line.sheeting_type = read_sheeting_type(line.sheeting_type)
    line.optics = settled_optics(line.sheeting_type, line.optics)
    line.shape = sign_type.shape or ""
    line.base_color = base_sheeting_color(background, [legend, *secondary])
    check_sheeting_allowed(
        editions=rules.editions,
        sign_type=sign_type,
        background=background,
        legend=legend,
        mount=mount_class_of(line.position),
        sheeting_type=line.sheeting_type,
        optics=Optics(line.optics),
        width_in=line.width_in,
        height_in=line.height_in,
    )
    return sign_type


def missing_wording(line: OrderLine) -> str:
    """Return why a line cannot be released: a legend of its own that nothing spells out."""
    if line.is_custom_legend and not line.legend_text.strip() and not line.artwork:
        return (
            f"Line {line.number} ({line.sign_code}) has a legend of its own but neither "
            "wording nor artwork; add one of them, since the shop cannot guess it."
        )
    return ""


def lock_order(order: PrintOrder) -> PrintOrder:
    """Return the order as it is stored now, locked for the caller's transaction."""
    locked: PrintOrder = type(order).objects.select_for_update().get(pk=order.pk)
    return locked


def split_colors(text: str) -> list[str]:
    """Return the colours of a secondary colour such as ``red/white``."""
    return [each for each in text.split("/") if each]


def read_color(text: str, part: str) -> Color:
    """Return a colour by its word; another word is refused with the words there are."""
    color = _color(text)
    if color is None:
        msg = f"'{text}' is no {part} colour; use one of {', '.join(Color)}."
        raise OutOfRangeError(msg)
    return color


def _color(text: str) -> Color | None:
    try:
        return Color(text)
    except ValueError:
        return None


def settled_optics(sheeting_type: str, text: str) -> Optics:
    """Return the optics of an order's sheeting: as said, or as the type has them."""
    try:
        optics = Optics(text) if text else Optics.UNKNOWN
    except ValueError:
        msg = f"'{text}' is no kind of optics; sheeting is beaded or prismatic."
        raise OutOfRangeError(msg) from None
    if optics is Optics.UNKNOWN:
        optics = optics_of_type(sheeting_type)
    if optics is Optics.UNKNOWN:
        msg = (
            f"Type {sheeting_type} sheeting is made beaded and prismatic; say which of them is "
            "ordered."
        )
        raise OutOfRangeError(msg)
    return optics


def road_class_of(position: Position) -> RoadClass | None:
    """Return the class of the road a position is on, in the words of the tables."""
    road = position.support.road
    if road is None or not road.road_class:
        return None
    return RoadClass(road.road_class)


def mount_class_of(position: Position | None) -> MountClass | None:
    """Return how a position is mounted, in the words of the tables."""
    return MountClass(position.mount) if position is not None and position.mount else None


def _reason(*parts: str) -> str:
    """Return the parts that say something, in one line that fits the column."""
    text = "; ".join(each for each in parts if each)
    if len(text) > MAXIMUM_REASON_LENGTH:
        return text[: MAXIMUM_REASON_LENGTH - 1] + "…"
    return text
