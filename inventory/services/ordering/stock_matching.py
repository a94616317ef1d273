"""
Faces in stock that are the ones a position asks for, first made first.

A face that was printed for another position, or is reserved for one, is never proposed. What
is not known of a face never fits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Prefetch, Q
from django.utils import timezone

from inventory.engineering.ordering.sheeting import check_sheeting_allowed, optics_of_type
from inventory.engineering.ordering.stock import (
    StockFace,
    WantedFace,
    cover_from_stock,
    fitting,
    wording_varies,
)
from inventory.engineering.standards.sheeting import read_sheeting_type, sheeting_type_rows
from inventory.engineering.standards.vocabulary import Color, Optics
from inventory.errors import InventoryError, NoPublishedValueError
from inventory.models import (
    ColourArea,
    FaceChoice,
    OrderLine,
    PackageStop,
    PrintOrder,
    Sign,
    StockReservation,
    WorkPackage,
)
from inventory.services.ordering.lines import (
    OldFace,
    Rulebook,
    asked_face,
    mount_class_of,
    settled_optics,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from django.db.models import QuerySet

    from inventory.models import Organisation, Position
    from inventory.services.ordering.lines import AskedFace

OPEN_PACKAGES = (WorkPackage.State.DRAFT, WorkPackage.State.HANDED_OUT)
OPEN_STATES = (PrintOrder.State.DRAFT, PrintOrder.State.RELEASED, PrintOrder.State.PRINTED)


@dataclass(frozen=True)
class Sheeting:
    """The sheeting a new face is to have; ``any_allowed``: whichever the level table allows."""

    sheeting_type: str = ""
    optics: str = ""
    any_allowed: bool = False


def faces_in_stock(agency: Organisation) -> QuerySet[Sign]:
    """Return the faces an agency can put up: its own stock, and what was printed for it."""
    return Sign.objects.filter(
        Q(owner=agency) | Q(owner__isnull=True, layout_face__line__order__agency=agency),
        state=Sign.State.IN_STOCK,
    )


def fitting_stock(
    position: Position,
    *,
    sheeting_type: str = "",
    optics: str = "",
    any_sheeting: bool = False,
    now: datetime | None = None,
) -> list[Sign]:
    """
    Return the faces in stock that fit a position: those kept for it, then first made first.

    Without a sheeting type the face is to have that of the open order line for the position,
    else the one an engineer chose for it, else that of the face that stands (or stood) there;
    where none of these is known, or with ``any_sheeting``, any known sheeting will do that the
    level table allows for its colours and mount.
    """
    agency = position.organisation
    rules = Rulebook.of(agency, now or timezone.now())
    wanted = Wishes(rules, Sheeting(sheeting_type, optics, any_sheeting), [position]).wanted(
        position
    )
    if wanted is None:
        return []
    code = f"{wanted.code}{wanted.variant}"
    same_code = Q(sign_code__iexact=wanted.code) | Q(sign_code__iexact=code)
    faces = stock_faces(faces_in_stock(agency).filter(same_code), rules)
    signs = {face.key: sign for face, sign in faces}
    found = fitting(wanted, (face for face, _sign in faces), position.pk)
    return [signs[each.key] for each in found]


def stock_for(
    *,
    organisation: Organisation,
    positions: Iterable[Position],
    any_sheeting: bool = False,
    now: datetime | None = None,
) -> dict[int, Sign]:
    """
    Return one face in stock for each of many positions that has one, by the position's key.

    The most pressing position comes first in ``positions``: it has the first choice, and no
    face is named twice. A fixed number of queries.
    """
    rules = Rulebook.of(organisation, now or timezone.now())
    asked = list(positions)
    wishes = Wishes(rules, Sheeting(any_allowed=any_sheeting), asked)
    wanted = [
        (each.pk, each.pk, face) for each in asked if (face := wishes.wanted(each)) is not None
    ]
    faces = stock_faces(faces_in_stock(organisation), rules)
    signs = {face.key: sign for face, sign in faces}
    covered = cover_from_stock(wanted, (face for face, _sign in faces))
    return {each.pk: signs[covered[each.pk].key] for each in asked if each.pk in covered}


def old_faces(positions: Iterable[Position]) -> dict[int, Sign]:
    """Return the face that stands in each position, or else the last that came down there."""
    rows = (
        Sign.objects.filter(
            position__in=[each.pk for each in positions],
            state__in=(Sign.State.INSTALLED, Sign.State.REMOVED),
        )
        .prefetch_related("colour_areas")
        .order_by("removed_on", "pk")
    )
    found: dict[int, Sign] = {}
    for sign in rows:
        known = found.get(sign.position_id or 0)
        if known is None or known.state != Sign.State.INSTALLED:
            found[sign.position_id or 0] = sign
    return found


class Wishes:
    """What faces some positions ask for, sheeting included."""

    def __init__(
        self, rules: Rulebook, sheeting: Sheeting, positions: Sequence[Position]
    ) -> None:
        """Look up, in three queries, what the positions have and what is on order for them."""
        self._rules, self._sheeting = rules, sheeting
        keys = [each.pk for each in positions]
        self._old = old_faces(positions)
        self._chosen = {
            each.position_id: each
            for each in FaceChoice.objects.filter(position__in=keys).exclude(sheeting_type="")
        }
        lines = OrderLine.objects.filter(
            position__in=keys, order__state__in=OPEN_STATES, quantity__gt=0
        )
        self._lines = {
            each.position_id: each for each in lines.order_by("order__drafted_at", "pk")
        }
        self._allowed: dict[tuple[object, ...], frozenset[tuple[str, Optics]]] = {}

    def wanted(self, position: Position) -> WantedFace | None:
        """Return the face a position asks for; ``None`` where that is not known."""
        old = self._old.get(position.pk)
        old_face = OldFace.of(old.colour_areas.all() if old is not None else [])
        try:
            asked = asked_face(position, rules=self._rules, old_face=old_face)
        except InventoryError:
            return None
        line = self._lines.get(position.pk)
        named = None if self._sheeting.any_allowed else self._named(position, old_face)
        sheetings = (
            self._every_allowed(position, asked)
            if named is None
            else frozenset(named & self._every_allowed(position, asked))
        )
        return wanted_face(
            position, asked, sheetings, background=line.background_color if line else ""
        )

    def _named(
        self, position: Position, old_face: OldFace
    ) -> frozenset[tuple[str, Optics]] | None:
        """Return the one sheeting that is wanted, none if it is not clear which, else None."""
        line, chosen = self._lines.get(position.pk), self._chosen.get(position.pk)
        if self._sheeting.sheeting_type:
            found = (self._sheeting.sheeting_type, self._sheeting.optics)
        elif line is not None:
            found = (line.sheeting_type, line.optics)
        elif chosen is not None:
            found = (chosen.sheeting_type, chosen.optics)
        elif old_face.sheeting_type:
            found = (old_face.sheeting_type, old_face.optics)
        else:
            return None
        return frozenset({one_sheeting(*found)} - {None})  # type: ignore[arg-type]  # no None

    def _every_allowed(
        self, position: Position, asked: AskedFace
    ) -> frozenset[tuple[str, Optics]]:
        """Return every sheeting that the level table allows for a position's face."""
        sign_type, size, colors = asked.resolved.sign_type, asked.size, asked.colors
        key = (sign_type.code, size.width_in, size.height_in, colors, position.mount)
        if key not in self._allowed:
            self._allowed[key] = frozenset(
                (row.sheeting_type.value, optics)
                for row in sheeting_type_rows()
                for optics in (Optics.BEADED, Optics.PRISMATIC)
                if row.classes(optics)
                and self._is_allowed(position, asked, row.sheeting_type.value, optics)
            )
        return self._allowed[key]

    def _is_allowed(
        self, position: Position, asked: AskedFace, sheeting_type: str, optics: Optics
    ) -> bool:
        try:
            check_sheeting_allowed(
                editions=self._rules.editions,
                sign_type=asked.resolved.sign_type,
                background=asked.colors.background,
                legend=asked.colors.legend,
                mount=mount_class_of(position),
                sheeting_type=sheeting_type,
                optics=optics,
                width_in=asked.size.width_in,
                height_in=asked.size.height_in,
            )
        except NoPublishedValueError:
            return False
        return True


def wanted_face(
    position: Position,
    asked: AskedFace,
    sheetings: frozenset[tuple[str, Optics]],
    background: str = "",
) -> WantedFace:
    """Return what is wanted for a position in the words of the comparison."""
    return WantedFace(
        code=asked.resolved.sign_type.code,
        variant=position.variant or asked.resolved.variant,
        legend_text=position.legend_text,
        is_custom_legend=position.is_custom_legend,
        wording_varies=wording_varies(asked.resolved.sign_type),
        width_in=asked.size.width_in,
        height_in=asked.size.height_in,
        sheeting_types=sheetings,
        background=Color(background) if background else asked.colors.background,
    )


def one_sheeting(sheeting_type: str, optics: str) -> tuple[str, Optics] | None:
    """Return a sheeting as it is compared; ``None`` where it is not clear which it is."""
    try:
        found = read_sheeting_type(sheeting_type).value
        return found, settled_optics(found, optics)
    except InventoryError:
        return None


def stock_faces(signs: QuerySet[Sign], rules: Rulebook) -> list[tuple[StockFace, Sign]]:
    """Return faces in stock as they are compared, in four queries."""
    reserved = StockReservation.objects.filter(ended_at=None)
    named = PackageStop.objects.filter(package__state__in=OPEN_PACKAGES).order_by("pk")
    rows = (
        signs.select_related("layout_face__line__position", "layout_face__line__order")
        .prefetch_related(
            "colour_areas",
            Prefetch("stock_reservations", reserved, to_attr="kept"),
            Prefetch("brought_to_stops", named, to_attr="to_bring"),
        )
        .order_by("pk")
    )
    return [(_stock_face(sign, rules), sign) for sign in rows]


def _stock_face(sign: Sign, rules: Rulebook) -> StockFace:
    areas = {area.part: area for area in sign.colour_areas.all()}
    ground = areas.get(ColourArea.Part.BACKGROUND)
    code, variant = sign.sign_code, sign.variant
    try:
        resolved = rules.codes.resolve(code)
    except InventoryError:
        pass  # a code of nobody's list is compared as it is written
    else:
        code, variant = resolved.sign_type.code, variant or resolved.variant
    return StockFace(
        key=sign.pk,
        code=code,
        variant=variant,
        legend_text=sign.legend_text,
        width_in=sign.width_in,
        height_in=sign.height_in,
        sheeting_type=ground.sheeting_type if ground else "",
        optics=_optics_of(ground),
        background=_color_of(ground),
        made_on=sign.fabricated_on,
        kept_for=kept_for(sign),
    )


def kept_for(sign: Sign) -> int | None:
    """
    Return the position a face of ``stock_faces`` is kept for, if any.

    It is reserved for it, an open package brings it there, or it was printed for it.
    """
    for each in (*getattr(sign, "kept", ()), *getattr(sign, "to_bring", ())):
        return int(each.position_id)
    printed = getattr(sign, "layout_face", None)
    position = printed.line.position if printed is not None else None
    # A place that is given up waits for no face.
    return None if position is None or position.is_retired else int(position.pk)


def _optics_of(ground: ColourArea | None) -> Optics:
    """Return the optics of a face's background: as recorded, else as its type has them."""
    if ground is None or not ground.sheeting_type:
        return Optics.UNKNOWN
    if ground.optics in (Optics.BEADED.value, Optics.PRISMATIC.value):
        return Optics(ground.optics)
    try:
        return optics_of_type(ground.sheeting_type)
    except InventoryError:
        return Optics.UNKNOWN


def _color_of(ground: ColourArea | None) -> Color | None:
    if ground is None:
        return None
    return next((each for each in Color if each.value == ground.color), None)
