"""The rules the agency judges by, and the published tables with how far each was checked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.engineering.assessment.due import NO_TARGET, read_damage_days
from inventory.engineering.inspection.instrument_uncertainty import ASSUMED_UNCERTAINTY
from inventory.engineering.standards.exclusions import exclusion_clauses
from inventory.engineering.standards.levels import LEVEL_FILES, level_rows
from inventory.engineering.standards.tables import read_table, table_sources
from inventory.engineering.standards.vocabulary import Color, Edition, SheetingClass
from inventory.models import AgencyLevel, AgencyPolicy, Role
from inventory.services.own_levels import own_levels_on
from inventory.services.rules import rules_of
from inventory.web.membership import MemberRequest, role_required
from inventory.web.numbers import plain
from inventory.web.policy_forms import OwnLevelForm

if TYPE_CHECKING:
    from django.http import HttpResponse

    from inventory.engineering.standards.levels import MinimumLevel
    from inventory.engineering.standards.tables import TableSource
    from inventory.models import Organisation

CRITERION_WORDS = {
    "any": "",
    "bold-or-48in": "bold symbol, or 48 in and larger",
    "under-48in": "text or fine symbol under 48 in",
}
NOT_ALLOWED = "not allowed"
MOST_OWN_LEVELS = 50


@dataclass(frozen=True)
class Cell:
    """One printed figure: a level, or that the sheeting may not be used there."""

    text: str
    is_verified: bool


@dataclass(frozen=True)
class LevelLine:
    """One printed line of a level table: a colour, under each sheeting column."""

    sign_colors: str
    condition: str
    color: str
    cells: list[Cell | None]
    contrast: str


@dataclass(frozen=True)
class LevelTable:
    """A level table as it is printed."""

    edition: Edition
    source: TableSource
    lines: list[LevelLine]


@require_safe
@role_required(Role.ENGINEER)
def rules_page(request: MemberRequest) -> HttpResponse:
    context = rules_context(request.organisation) | {"level_form": OwnLevelForm()}
    return render(request, "inventory/assessment/rules.html", context)


def _clauses_left_out(policy: AgencyPolicy) -> list[str]:
    """Return the clauses an agency applies in the words of its edition's table."""
    known = {each.key.value: each for each in exclusion_clauses(Edition(policy.edition))}
    return [
        known[key].description + ("" if known[key].is_verified else " (unverified)")
        if key in known
        else key
        for key in policy.excluded_groups
    ]


def rules_context(agency: Organisation) -> dict[str, Any]:
    """Return what the rules page shows beside its form."""
    policies = list(AgencyPolicy.objects.owned_by(agency))
    today = timezone.localdate()
    in_force = next((policy for policy in policies if policy.effective_on <= today), None)
    return {
        "in_force": in_force,
        "rule": rules_of(in_force).decision_rule.words if in_force else "",
        "is_due_assumed": in_force is not None
        and in_force.due_probability == AgencyPolicy._meta.get_field("due_probability").default,
        "is_assumed": in_force is not None
        and in_force.uncertainty_basis == ASSUMED_UNCERTAINTY.basis,
        "fluorescent": _fluorescent_choices(in_force) if in_force else [],
        "left_out": _clauses_left_out(in_force) if in_force else [],
        "damage_times": _damage_times(in_force) if in_force else [],
        "no_damage_target": NO_TARGET,
        "edition": Edition(in_force.edition) if in_force else None,
        "policies": policies,
        "own_levels": own_levels_on(agency, today),
        "own_level_rows": AgencyLevel.objects.owned_by(agency).order_by(
            "-effective_on", "-recorded_at", "-pk"
        )[:MOST_OWN_LEVELS],
        "level_tables": [level_table(edition) for edition in LEVEL_FILES],
        "columns": [column.words for column in SheetingClass],
        "sources": table_sources(),
    }


def _damage_times(policy: AgencyPolicy) -> list[str]:
    """Return within how many days the agency puts damage right, in words."""
    times = read_damage_days(policy.damage_days)
    return [
        f"{severity.name.lower()}, safety class {number}: {days} "
        f"{'day' if days == 1 else 'days'}"
        for (severity, number), days in sorted(
            times.items(), key=lambda each: (-each[0][0], each[0][1])
        )
    ]


def _fluorescent_choices(policy: AgencyPolicy) -> list[tuple[str, str]]:
    """Return which fluorescent colours go by a plain row, and why; empty: not decided."""
    return [
        (Color.FLUORESCENT_YELLOW.words, policy.fluorescent_yellow_basis),
        (Color.FLUORESCENT_ORANGE.words, policy.fluorescent_orange_basis),
    ]


def level_table(edition: Edition) -> LevelTable:
    """Return one edition's levels, a line for each colour and condition."""
    found: dict[tuple[str, str, str], dict[SheetingClass, MinimumLevel]] = {}
    for row in level_rows(edition):
        key = (row.sign_colors.words, _condition(row), row.color.words)
        found.setdefault(key, {})[row.sheeting_class] = row
    lines = [
        LevelLine(
            sign_colors=colors,
            condition=condition,
            color=color,
            cells=[_cell(by_class.get(column)) for column in SheetingClass],
            contrast=_contrast(by_class),
        )
        for (colors, condition, color), by_class in found.items()
    ]
    return LevelTable(edition, read_table(LEVEL_FILES[edition]).source, lines)


def _condition(row: MinimumLevel) -> str:
    mount = f"{row.mount.value} mount" if row.mount else ""
    return ", ".join(part for part in (mount, CRITERION_WORDS[row.criterion.value]) if part)


def _cell(row: MinimumLevel | None) -> Cell | None:
    if row is None:
        return None
    level = row.minimum_ra_cd_lx_m2
    return Cell(NOT_ALLOWED if level is None else plain(level), row.is_verified)


def _contrast(by_class: dict[SheetingClass, MinimumLevel]) -> str:
    ratios = {r.min_contrast_ratio for r in by_class.values() if r.min_contrast_ratio}
    return ", ".join(f"{plain(ratio)} to 1" for ratio in sorted(ratios))
