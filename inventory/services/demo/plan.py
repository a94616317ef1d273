"""The whole scenario as a plan, before anything is stored."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.models.inspection import Observation
from inventory.models.signs import Sign
from inventory.services.demo.faces import FacePlanner
from inventory.services.demo.geography import county
from inventory.services.demo.junction_signs import plan_junctions
from inventory.services.demo.readings import InspectionPlanner
from inventory.services.demo.road_signs import plan_roads
from inventory.services.demo.roadside import Roadside
from inventory.services.demo.words import words

if TYPE_CHECKING:
    from datetime import date

    from inventory.services.demo.faces import FacePlan, RunPlan
    from inventory.services.demo.readings import InspectionPlan
    from inventory.services.demo.roadside import SupportPlan

PHOTO_COUNT = 60
DAMAGED_PHOTO_SHARE = 0.7


@dataclass(frozen=True, slots=True)
class ScenarioPlan:
    """Everything that will be stored."""

    site: Roadside
    supports: list[SupportPlan]
    faces: list[FacePlan]
    runs: list[RunPlan]
    inspections: list[InspectionPlan]
    work_days: list[tuple[date, int]]
    photographed: list[InspectionPlan]


def plan_scenario(*, seed: int, size: float, last_day: date) -> ScenarioPlan:
    """Return the scenario of a seed; a smaller size keeps that share of the supports."""
    site = Roadside(seed)
    roads = county()
    plan_junctions(site, roads.junctions)
    plan_roads(site, roads)
    for number, support in enumerate(site.supports, start=1):
        support.number = number
        _note_owner(site, support)
        _note_gaps(site, support)
    site.supports = [support for support in site.supports if _share(support.key) < size]
    faces = FacePlanner(site, size, last_day)
    faces.plan()
    visits = InspectionPlanner(site, last_day)
    visits.plan(faces.faces)
    return ScenarioPlan(
        site,
        site.supports,
        faces.faces,
        faces.runs,
        visits.inspections,
        visits.work_days,
        _photographed(visits.inspections, max(2, round(PHOTO_COUNT * size))),
    )


def _share(key: str) -> float:
    """Return a number from 0 up to 1 that always belongs to a key."""
    return int.from_bytes(hashlib.sha256(key.encode()).digest()[:6], "big") / 2**48


def _note_owner(site: Roadside, support: SupportPlan) -> None:
    """Let a few supports belong to somebody else."""
    if support.responsible != Sign.Responsible.AGENCY:
        return
    chance = site.rng(f"owner:{support.key}").random()
    for owner, share in words("signs")["owners"].items():
        if chance < share:
            support.responsible = owner
            return
        chance -= share


def _note_gaps(site: Roadside, support: SupportPlan) -> None:
    """Decide where the county's records are incomplete."""
    gaps = words("signs")["gaps"]
    custom = words("signs")["custom"]
    for position in support.positions:
        rng = site.rng(f"gap:{position.key}")
        if rng.random() < gaps["no_mount"]:
            position.mount, position.mounting_height_in = "", None
        if rng.random() < gaps["no_facing"]:
            position.facing_deg = None
        position.is_vague = rng.random() < gaps["no_code"]
        position.has_no_size = rng.random() < gaps["no_size"]
        position.source_code = rng.choice(gaps["source_codes"]) if position.is_vague else ""
        if position.code in custom["legends"] and rng.random() < 4 * custom["share"]:
            position.legend = custom["legends"][position.code]
            position.is_custom = True


def _photographed(inspections: list[InspectionPlan], count: int) -> list[InspectionPlan]:
    """Return the visits that have a photo: mostly of damage, on faces that still stand."""
    latest = {
        each.face.key: each
        for each in inspections
        if each.face.removed_on is None and each.observations
    }
    damaged: list[InspectionPlan] = []
    sound: list[InspectionPlan] = []
    for each in sorted(latest.values(), key=lambda visit: _share(visit.key)):
        is_sound = each.observations[0].kind == Observation.Kind.GENERAL
        (sound if is_sound else damaged).append(each)
    of_damage = damaged[: round(DAMAGED_PHOTO_SHARE * count)]
    return of_damage + sound[: count - len(of_damage)]
