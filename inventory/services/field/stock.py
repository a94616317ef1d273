"""The faces a crew can put up, as a phone carries them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from inventory.engineering.standards.vocabulary import MountClass
from inventory.errors import OutOfRangeError
from inventory.models import LayoutFace, Position
from inventory.services.field.carried_faces import CarriedFaces
from inventory.services.field.signs import carry_face
from inventory.services.judging import faces_of
from inventory.services.ordering.stock_matching import faces_in_stock
from inventory.services.own_levels import rules_on
from inventory.services.sign_faces import local_types_of, looks_of_sign
from inventory.services.standards import code_book
from inventory.services.standing import policy_or_none

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.engineering.assessment.face import Face
    from inventory.models import Organisation, Sign

FACES_PER_PAGE = 500


def stock_page(*, organisation: Organisation, page: int, now: datetime) -> dict[str, Any]:
    """Return a page of the faces in stock; a fixed number of queries."""
    rows = faces_in_stock(organisation)
    count = rows.count()
    pages = max(1, -(-count // FACES_PER_PAGE))
    if page > pages:
        msg = f"There is no page {page}; the stock has {pages}. Start again at page 1."
        raise OutOfRangeError(msg)
    first = (page - 1) * FACES_PER_PAGE
    signs = list(
        rows.select_related("position")
        .prefetch_related("colour_areas")
        .order_by("pk")[first : first + FACES_PER_PAGE]
    )
    wanted_at = _ordered_for(signs)
    policy, local_types = policy_or_none(organisation, now), local_types_of(organisation)
    rules = rules_on(policy, organisation.day_of(now)) if policy is not None else None
    faces = CarriedFaces(rules)
    carried = [
        _carried(sign, _as_put_up(face, wanted_at.get(sign.pk)), faces)
        | {
            "drawing": faces.drawing_of(looks_of_sign(sign, local_types)),
            "for_position_id": wanted_at[sign.pk].pk if sign.pk in wanted_at else None,
        }
        for sign, face in zip(signs, faces_of(signs, code_book(organisation)), strict=True)
    ]
    return {
        "page": page,
        "pages": pages,
        "faces": carried,
        "plans": faces.plans,
        "drawings": faces.drawings,
    }


def _ordered_for(signs: Sequence[Sign]) -> dict[int, Position]:
    """Return the place each face was ordered for, where its order named one."""
    rows = LayoutFace.objects.filter(sign__in=signs, line__position__isnull=False)
    return {
        each.sign_id: each.line.position
        for each in rows.select_related("line__position")
        if each.line.position is not None
    }


def _as_put_up(face: Face, position: Position | None) -> Face:
    """Return a face with the mount of the place it was ordered for."""
    if position is None or not position.mount:
        return face
    return replace(face, mount=MountClass(position.mount))


def _carried(sign: Sign, face: Face, faces: CarriedFaces) -> dict[str, Any]:
    return {
        "id": sign.pk,
        **carry_face(sign),
        "colours": faces.colours_of(face),
        "plan": faces.plan_of(face),
    }
