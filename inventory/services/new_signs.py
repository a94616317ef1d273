"""A sign a crew found that is not on record: added as far as it is known, for an engineer."""

from __future__ import annotations

import math
import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.places import cell_of
from inventory.engineering.production.labels import read_label
from inventory.engineering.standards.vocabulary import Color, SheetingType
from inventory.errors import (
    NoPublishedValueError,
    NotPermittedError,
    OutOfRangeError,
    StateConflictError,
)
from inventory.models import ColourArea, Position, Road, Sign, Support, WrongDataFlag
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.relinks import supports_kept_for
from inventory.services.standards import code_book
from inventory.services.standing import refresh_standing
from inventory.services.support_moves import check_point, lock_supports
from inventory.services.wrong_data import LONGEST_SAID, raise_flag

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.models import Organisation, User

MOST_COLOURS = 6
FULL_CIRCLE_DEG = 360.0
# As far as faces are made; only a slip of the key lies beyond it.
LARGEST_SIDE_IN = 1200.0
NOT_RECORDED = "Added at the roadside: it was not on record."


@dataclass(frozen=True)
class NewSupport:
    """A post that is not on record yet, where a person stood by it."""

    latitude_deg: float
    longitude_deg: float
    accuracy_m: float | None = None
    support_type: str = ""
    side: str = ""
    road: Road | None = None


@dataclass(frozen=True)
class SeenColour:
    """One colour of a face as a person sees it; what is empty is not known."""

    part: str
    color: str = ""
    sheeting_type: str = ""
    optics: str = ColourArea.Optics.UNKNOWN.value


@transaction.atomic
def add_unknown_sign(
    *,
    organisation: Organisation,
    support: Support | NewSupport,
    sign_code: str = "",
    variant: str = "",
    legend_text: str = "",
    width_in: float | None = None,
    height_in: float | None = None,
    facing_deg: float | None = None,
    mount: str = "",
    order_on_support: int | None = None,
    colours: Sequence[SeenColour] = (),
    label_id: str = "",
    note: str = "",
    by: User | None = None,
    seen_at: datetime | None = None,
    now: datetime | None = None,
) -> Sign:
    """
    Put a sign on record that stands at the roadside and is not on record; return it.

    What is not given stays unknown: dates and maker always. The sign is flagged as added, so
    that an engineer looks at it and merges it where it is one recorded twice.
    """
    now = now or timezone.now()
    code, source_code, variant = _code(organisation, sign_code, variant)
    _check_colours(colours)
    label_words = _label_words(organisation, label_id)
    post = _support(organisation, support)
    position = Position(
        organisation=organisation,
        support=post,
        sign_code=code,
        source_code=source_code,
        variant=variant,
        legend_text=legend_text.strip(),
        width_in=_side("width", width_in),
        height_in=_side("height", height_in),
        facing_deg=_facing(facing_deg),
        mount=mount,
        order_on_support=order_on_support,
    )
    check_fields(position, exclude=["organisation", "support", "parent"])
    position.save()
    sign = Sign(
        owner=organisation,
        position=position,
        state=Sign.State.INSTALLED,
        sign_code=code,
        variant=variant,
        legend_text=position.legend_text,
        width_in=position.width_in,
        height_in=position.height_in,
        is_reconstructed=True,
    )
    check_fields(sign, exclude=["owner", "position", "maker", "panel", "print_run"])
    sign.save()
    areas = [
        ColourArea(
            sign=sign,
            number=number,
            part=each.part,
            color=each.color,
            sheeting_type=each.sheeting_type,
            optics=each.optics or ColourArea.Optics.UNKNOWN,
        )
        for number, each in enumerate(colours, start=1)
    ]
    for area in areas:
        check_fields(area, exclude=["sign"])
    ColourArea.objects.bulk_create(areas)
    log(
        organisation=organisation,
        actor=by,
        verb="add sign",
        text=f"{sign} added at {post}: it was not on record.{_told(note)}",
        at=now,
        sign=sign,
    )
    raise_flag(
        sign=sign,
        field=WrongDataFlag.Field.ADDED,
        said=_short(f"{NOT_RECORDED}{label_words}{_told(note)}"),
        by=by,
        seen_at=seen_at or now,
        client_uuid=uuid.uuid4(),
        now=now,
    )
    refresh_standing(sign=sign, now=now)
    return sign


def _code(organisation: Organisation, typed: str, variant: str) -> tuple[str, str, str]:
    """Return the code in the catalogue's words, as it was typed, and the variant."""
    typed, variant = typed.strip(), variant.strip()
    if not typed:
        return "", "", variant
    try:
        found = code_book(organisation).resolve(typed)
    except NoPublishedValueError:
        return "", typed, variant
    return found.sign_type.code, typed, variant or found.variant


def _support(organisation: Organisation, support: Support | NewSupport) -> Support:
    """Return the support a sign stands on, locked, or made where it is not on record."""
    if isinstance(support, Support):
        kept = supports_kept_for([support.pk]).get(support.pk, support.pk)
        locked = lock_supports([kept])[0]
        if locked.organisation_id != organisation.pk:
            msg = f"Support {locked.pk} does not belong to {organisation}."
            raise NotPermittedError(msg)
        return locked
    check_point(support.latitude_deg, support.longitude_deg, support.accuracy_m)
    if support.road is not None and support.road.organisation_id != organisation.pk:
        msg = f"Road {support.road.pk} does not belong to {organisation}."
        raise NotPermittedError(msg)
    made = Support(
        organisation=organisation,
        latitude_deg=support.latitude_deg,
        longitude_deg=support.longitude_deg,
        accuracy_m=support.accuracy_m,
        cell=cell_of(support.latitude_deg, support.longitude_deg),
        road=support.road,
        side=support.side.strip(),
        support_type=support.support_type.strip(),
    )
    check_fields(made, exclude=["organisation", "road"])
    made.save()
    return made


def _label_words(organisation: Organisation, typed: str) -> str:
    """Return what a label that was read says; refuse one of a face that is on record."""
    if not typed.strip():
        return ""
    label = read_label(typed)
    known = Sign.objects.filter(label_id=label).select_related("position__support").first()
    if known is None:
        # Kept in words only: the shop gives labels out by its own count, and may yet give
        # this one to a face of its own.
        return f" Label {label} was read on it, which is on no face on record."
    if known.owner_id is not None and known.owner_id != organisation.pk:
        msg = f"Label {label} is on a face of another organisation; check what you read."
        raise NotPermittedError(msg)
    if known.state == Sign.State.IN_STOCK:
        msg = (
            f"Label {label} is on a face in stock; record that it was put up, instead of "
            "adding it as unknown."
        )
        raise StateConflictError(msg)
    where = f" at {known.position}" if known.position is not None else ""
    msg = (
        f"Label {label} is sign {known.pk}, on record as {known.get_state_display()}{where}; "
        "open that sign. If it stands elsewhere now, flag where it stands as wrong."
    )
    raise StateConflictError(msg)


def _check_colours(colours: Sequence[SeenColour]) -> None:
    if len(colours) > MOST_COLOURS:
        msg = f"{len(colours)} colours were given; a face has at most {MOST_COLOURS}."
        raise OutOfRangeError(msg)
    for number, each in enumerate(colours, start=1):
        for value, words, allowed in (
            (each.color, "colour", [color.value for color in Color]),
            (each.sheeting_type, "sheeting type", [kind.value for kind in SheetingType]),
        ):
            if value and value not in allowed:
                msg = (
                    f"'{value}' is not a {words} (colour {number} of the face); use one of "
                    f"{', '.join(allowed)}, or leave it empty where it is not known."
                )
                raise OutOfRangeError(msg)


def _side(name: str, length_in: float | None) -> float | None:
    if length_in is not None and not (
        math.isfinite(length_in) and 0 < length_in <= LARGEST_SIDE_IN
    ):
        msg = (
            f"The {name} {length_in:g} in is not that of a sign; it is more than 0 and at most "
            f"{LARGEST_SIDE_IN:g} in. Leave it empty where it was not measured."
        )
        raise OutOfRangeError(msg)
    return length_in


def _facing(facing_deg: float | None) -> float | None:
    if facing_deg is None:
        return None
    if not (math.isfinite(facing_deg) and 0 <= facing_deg <= FULL_CIRCLE_DEG):
        msg = (
            f"The facing {facing_deg:g}° is no bearing; it lies between 0° (the front looks "
            "north) and 360°. Leave it empty where it is not known."
        )
        raise OutOfRangeError(msg)
    return facing_deg % FULL_CIRCLE_DEG


def _told(note: str) -> str:
    return f" Note: {note.strip()}" if note.strip() else ""


def _short(text: str) -> str:
    """Return a text cut to its column; the whole note is in the logbook."""
    return text if len(text) <= LONGEST_SAID else text[: LONGEST_SAID - 1] + "…"
