"""Drawings and level rows of faces, each carried once however many signs share it."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from inventory.engineering.assessment.carried import carry_plan, plan_key
from inventory.engineering.assessment.elements import ElementKind
from inventory.services.sign_faces import FaceLooks, draw_face

if TYPE_CHECKING:
    from inventory.engineering.assessment.face import Face, Rules

KEPT = 8192
DRAWN_PX = 96
KEY_LENGTH = 16


class CarriedFaces:
    """The drawings and plans that the signs of one answer name by their keys."""

    def __init__(self, rules: Rules | None) -> None:
        """Take the rules in force; an agency without any has no plans."""
        self._rules = rules
        self.plans: dict[str, dict[str, Any]] = {}
        self.drawings: dict[str, str] = {}

    def drawing_of(self, looks: FaceLooks) -> str:
        """Return the key of a face's drawing."""
        key, svg = _drawn(looks)
        self.drawings[key] = svg
        return key

    def plan_of(self, face: Face) -> str | None:
        """Return the key of what is judged on a face; ``None`` without rules."""
        if self._rules is None:
            return None
        key, plan = _carried(face, self._rules)
        self.plans[key] = plan
        return key

    def colours_of(self, face: Face) -> list[str]:
        """Return the colours that can be read on a face: those judged first."""
        judged = []
        if self._rules is not None:
            _key, plan = _carried(face, self._rules)
            judged = [
                each["color"]
                for each in plan["elements"]
                if each["kind"] == ElementKind.COLOR.value
            ]
        on_face = [
            area.color.value
            for area in face.areas
            if area.color is not None and area.is_retroreflective
        ]
        return list(dict.fromkeys([*judged, *on_face]))


@lru_cache(maxsize=KEPT)
def _drawn(looks: FaceLooks) -> tuple[str, str]:
    svg = str(draw_face(looks, size_px=DRAWN_PX))
    return hashlib.sha256(svg.encode()).hexdigest()[:KEY_LENGTH], svg


@lru_cache(maxsize=KEPT)
def _carried(face: Face, rules: Rules) -> tuple[str, dict[str, Any]]:
    plan = carry_plan(face, rules)
    return plan_key(plan), plan
