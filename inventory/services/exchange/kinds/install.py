"""A face goes up in a position, as a crew did it; two crews' faces in one place are settled."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Q

from inventory.engineering.production.labels import read_label
from inventory.errors import OutOfRangeError
from inventory.models import Position, Sign
from inventory.services.exchange import shapes
from inventory.services.exchange.days import day_by_the_server
from inventory.services.exchange.holding import ConflictError
from inventory.services.exchange.versions import position_version
from inventory.services.installation import install_sign
from inventory.services.ordering.stock_matching import faces_in_stock

if TYPE_CHECKING:
    from datetime import date

    from django.db.models import QuerySet

    from inventory.services.exchange.content import Content
    from inventory.services.exchange.context import Context

LONGEST_LABEL = 40
LONGEST_NOTE = 255


def apply(content: Content, context: Context) -> dict[str, Any]:
    """Put the face up; where another stands than the crew found, both go to an engineer."""
    payload = content.payload
    named = context.resolve(payload.get("position"), Position, "position")
    face = _face(shapes.mapping(payload, "face"), context)
    installed_on = day_by_the_server(content, context, "installed_on")
    replaces: Sign | None = None
    if payload.get("replaces") is not None:
        replaces = context.resolve(payload["replaces"], Sign, "replaces")
    reason = shapes.choice(
        payload, "removal_reason", ["", *Sign.RemovalReason.values], default=""
    )
    # Locked here and not only by the service: what stands there is compared first.
    position: Position = (
        Position.objects.select_for_update(of=("self",))
        .select_related("support")
        .get(pk=named.pk)
    )
    there = Sign.objects.filter(position=position, state=Sign.State.INSTALLED).first()
    if there is None and replaces is not None and _came_down(replaces, position):
        replaces = None  # another crew took it down meanwhile: nothing is left to do there
    if not context.is_decided:
        _check_conflict(content, position, there, replaces, face, installed_on)
    elif there is None or there.pk != face.pk:
        # An engineer decided that this face stands there: what stands there by the records
        # now comes down, whatever the crew found.
        replaces, reason = there, reason or Sign.RemovalReason.OTHER
    installed = install_sign(
        sign=face,
        position=position,
        installed_on=installed_on,
        by=context.person,
        replaces=replaces,
        removal_reason=reason or None,
        removed_note=shapes.text(payload, "removed_note", most=LONGEST_NOTE, default=""),
        installed_at=context.at,
        now=context.now,
    )
    return {"sign_id": installed.pk, "position_id": position.pk}


def _check_conflict(
    content: Content,
    position: Position,
    there: Sign | None,
    replaces: Sign | None,
    face: Sign,
    installed_on: date,
) -> None:
    """Hold what contradicts what another crew recorded meanwhile."""
    if there is not None and there.pk == face.pk:
        if there.installed_on == installed_on:
            return  # another of the crew recorded it too
        was = "on a day not known" if there.installed_on is None else f"on {there.installed_on}"
        msg = (
            f"{_start(face)} is on record as put up here {was}; this says on {installed_on}. "
            "An engineer decides which day is right."
        )
        raise ConflictError(msg)
    if face.state == Sign.State.INSTALLED:
        msg = (
            f"{_start(face)} is on record as put up at {face.position}; this says that it was "
            f"put up at {position}. An engineer decides where it is."
        )
        raise ConflictError(msg)
    is_as_found = (there and there.pk) == (replaces and replaces.pk)
    if is_as_found or content.base_version == position_version(
        position, there, position.support
    ):
        return
    stands = f"{_named(there)} stands" if there is not None else "no face stands"
    found = _named(replaces) if replaces is not None else "no face"
    msg = (
        f"The crew put up {_named(face)} on {installed_on} in the place {position} and found "
        f"{found} there, but by the records {stands} there now. An engineer decides which "
        "face stands."
    )
    raise ConflictError(msg)


def _came_down(sign: Sign, position: Position) -> bool:
    """Return whether a face stood in a place and is on record as taken down."""
    return sign.state == Sign.State.REMOVED and sign.position_id == position.pk


def _face(ref: dict[str, Any], context: Context) -> Sign:
    """Return the face in hand, by its label or its number; stock of the shop among them."""
    if "label" not in ref:
        key = context.key_of(ref, Sign, "face")
        found: Sign | None = _usable(context).filter(pk=key).first()
        words = f"face {key}"
    else:
        label = read_label(shapes.text(ref, "label", least=1, most=LONGEST_LABEL))
        found = _usable(context).filter(label_id=label).first()
        words = f"face with label {label}"
    if found is None:
        msg = (
            f"There is no {words} among those you may put up; compare it with the label on "
            "the back."
        )
        raise OutOfRangeError(msg)
    return found


def _usable(context: Context) -> QuerySet[Sign]:
    """Return the agency's own faces, and those printed for it that are still the shop's."""
    own = Sign.objects.owned_by(context.organisation).values("pk")
    stock = faces_in_stock(context.organisation).order_by().values("pk")
    rows: QuerySet[Sign] = Sign.objects.filter(Q(pk__in=own) | Q(pk__in=stock))
    return rows.select_related("position__support")


def _named(sign: Sign) -> str:
    return f"{sign}, label {sign.label_id}" if sign.label_id else str(sign)


def _start(sign: Sign) -> str:
    name = _named(sign)
    return name[0].upper() + name[1:]
