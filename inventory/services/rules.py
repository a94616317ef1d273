"""An agency's stored rules as the method takes them, and checked before they are stored."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.engineering.assessment.decision import SIMPLE_ACCEPTANCE, DecisionRule
from inventory.engineering.assessment.due import read_damage_days
from inventory.engineering.assessment.face import Rules
from inventory.engineering.inspection.instrument_uncertainty import (
    ASSUMED_UNCERTAINTY,
    InstrumentUncertainty,
)
from inventory.engineering.standards.vocabulary import Edition, ExclusionKey
from inventory.errors import OutOfRangeError
from inventory.models import AgencyPolicy

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from inventory.engineering.assessment.face import OwnLevel
    from inventory.models import Organisation

DUE_PROBABILITY_LOW, DUE_PROBABILITY_HIGH = 0.05, 0.95
LONGEST_DUE_SOON_MONTHS = 120

# What a new version of rules is about; everything else is given or counted.
CHOICES = (
    "uses_recommended_levels",
    "decision_rule",
    "guard_probability",
    "instrument_repeatability_rel",
    "instrument_common_rel",
    "single_reading_scatter_rel",
    "uncertainty_basis",
    "fluorescent_yellow_basis",
    "fluorescent_orange_basis",
    "damage_days",
    "excluded_groups",
    "due_probability",
    "due_soon_months",
    "press_rate_ft2_per_h",
)


def rules_of(policy: AgencyPolicy, own_levels: Sequence[OwnLevel] = ()) -> Rules:
    """Return stored rules, with the agency's own levels, as the method takes them."""
    try:
        return Rules(
            edition=Edition(policy.edition),
            uses_recommended_levels=policy.uses_recommended_levels,
            excluded_groups=frozenset(ExclusionKey(key) for key in policy.excluded_groups),
            decision_rule=_decision_rule(policy),
            uncertainty=InstrumentUncertainty(
                repeatability_rel=policy.instrument_repeatability_rel,
                common_rel=policy.instrument_common_rel,
                single_scatter_rel=policy.single_reading_scatter_rel,
                basis=policy.uncertainty_basis,
            ),
            fluorescent_yellow_basis=policy.fluorescent_yellow_basis.strip(),
            fluorescent_orange_basis=policy.fluorescent_orange_basis.strip(),
            own_levels=tuple(own_levels),
        )
    except ValueError as error:
        editions = ", ".join(each.value for each in Edition)
        keys = ", ".join(each.value for each in ExclusionKey)
        msg = (
            f"Rules version {policy.version} of {policy.organisation} cannot be read: {error}. "
            f"Editions are {editions}; exclusion clauses are {keys}. Set a new version."
        )
        raise OutOfRangeError(msg) from error


def choices_of(policy: AgencyPolicy | None) -> dict[str, Any]:
    """Return what a version of rules chose, for the next version to start from."""
    if policy is None:
        return {}
    return {name: getattr(policy, name) for name in CHOICES}


def build_policy(
    *,
    agency: Organisation,
    version: int,
    effective_on: date,
    edition: str,
    basis: str,
    recorded_at: datetime,
    **fields: Any,
) -> AgencyPolicy:
    """Return a version of rules that could be stored; what cannot hold is refused."""
    _check_words(edition, fields)
    read_damage_days(fields.get("damage_days", {}))
    _check_due(fields)
    policy = AgencyPolicy(
        organisation=agency,
        version=version,
        effective_on=effective_on,
        edition=edition,
        basis=basis,
        recorded_at=recorded_at,
        **fields,
    )
    _check_uncertainty(policy)
    policy.full_clean(exclude=["organisation"])
    return policy


def _check_words(edition: str, fields: dict[str, Any]) -> None:
    """Refuse an edition, an exclusion clause or a decision rule that is not known."""
    editions = [e.value for e in Edition if e.manual is e]
    if edition not in editions:
        msg = f"'{edition}' is not an edition known here; use one of {', '.join(editions)}."
        raise OutOfRangeError(msg)
    keys = [k.value for k in ExclusionKey]
    for group in fields.get("excluded_groups", []):
        if group not in keys:
            msg = f"'{group}' is not an exclusion clause; use {', '.join(keys)}."
            raise OutOfRangeError(msg)
    known = AgencyPolicy.DecisionRule.values
    rule = fields.get("decision_rule", known[0])
    if rule not in known:
        msg = f"'{rule}' is not a decision rule; use one of {', '.join(known)}."
        raise OutOfRangeError(msg)


def _check_due(fields: dict[str, Any]) -> None:
    """Refuse a probability or a time that due dates cannot go by."""
    probability = fields.get("due_probability", DUE_PROBABILITY_LOW)
    if not DUE_PROBABILITY_LOW <= probability <= DUE_PROBABILITY_HIGH:
        msg = (
            f"A sign cannot be due at a probability of {probability:g}; it is from "
            f"{DUE_PROBABILITY_LOW:g} to {DUE_PROBABILITY_HIGH:g} that it has fallen below its "
            "level. 0.2 is shipped, an assumption."
        )
        raise OutOfRangeError(msg)
    months = fields.get("due_soon_months", 0)
    if months != int(months) or not 0 <= months <= LONGEST_DUE_SOON_MONTHS:
        msg = (
            f"A sign cannot be due soon within {months:g} months; it is a whole number from 0 "
            f"to {LONGEST_DUE_SOON_MONTHS}."
        )
        raise OutOfRangeError(msg)


def _check_uncertainty(policy: AgencyPolicy) -> None:
    """Refuse figures that cannot be, or that differ from those whose basis is given."""
    DecisionRule(policy.guard_probability)
    stated = rules_of(policy).uncertainty
    shipped = ASSUMED_UNCERTAINTY
    figures = (stated.repeatability_rel, stated.common_rel, stated.single_scatter_rel)
    if stated.basis.strip() == shipped.basis and figures != (
        shipped.repeatability_rel,
        shipped.common_rel,
        shipped.single_scatter_rel,
    ):
        msg = (
            "The figures of instrument uncertainty were changed, but their basis is still the "
            "shipped assumption; say in words where the new figures come from, such as a "
            "certificate or a trial of your own."
        )
        raise OutOfRangeError(msg)


def _decision_rule(policy: AgencyPolicy) -> DecisionRule:
    if policy.decision_rule == AgencyPolicy.DecisionRule.SIMPLE_ACCEPTANCE:
        return SIMPLE_ACCEPTANCE
    return DecisionRule(policy.guard_probability)
