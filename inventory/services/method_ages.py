"""When a face has to go by its age: what its method of record says, for the due list."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from django.db.models import F, Q

from inventory.engineering.assessment.due import Cause
from inventory.engineering.assessment.method_calendar import (
    CoveredSign,
    Method,
    Terms,
    method_calendar,
)
from inventory.models import MethodAssignment, MethodGroup, MethodStep
from inventory.services.methods import REPLACEMENT_ROUND

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from inventory.models import Sign

BY_AGE = (MethodGroup.Method.EXPECTED_LIFE, MethodGroup.Method.BLANKET)


def replacement_by_age(signs: Sequence[Sign], *, today: date) -> dict[int, Cause]:
    """
    Return, for the signs whose method replaces by age, why and from which day they are to go.

    A sign of unknown age has no such day; the method record lists it.
    """
    group_of = _groups_of(signs, today)
    rounds = _last_rounds({group.pk for group, _since in group_of.values()}, today)
    under: dict[MethodGroup, list[CoveredSign]] = defaultdict(list)
    for sign in signs:
        if sign.position_id in group_of:
            group, since_on = group_of[sign.position_id]
            under[group].append(
                CoveredSign(
                    sign.pk,
                    since_on,
                    installed_on=sign.installed_on,
                    fabricated_on=sign.fabricated_on,
                    installed_precision=sign.installed_precision,
                    fabricated_precision=sign.fabricated_precision,
                )
            )
    return {
        entry.sign_id: Cause(f"{_words(group)}: {entry.words}", entry.due_on)
        for group, covered in under.items()
        for entry in method_calendar(
            _terms(group, rounds.get(group.pk)), covered, today=today
        ).entries
        if entry.due_on is not None
    }


def _groups_of(signs: Sequence[Sign], today: date) -> dict[int, tuple[MethodGroup, date]]:
    assignments = (
        MethodAssignment.objects.filter(
            Q(until_on__isnull=True) | Q(until_on__gt=today),
            Q(group__ended_on__isnull=True) | Q(group__ended_on__gt=today),
            position__in=[sign.position_id for sign in signs],
            position__organisation=F("group__organisation"),
            group__method__in=BY_AGE,
            from_on__lte=today,
        )
        .select_related("group")
        .order_by("from_on", "pk")
    )
    return {each.position_id: (each.group, each.from_on) for each in assignments}


def _last_rounds(groups: set[int], today: date) -> dict[int, date]:
    if not groups:
        return {}
    steps = MethodStep.objects.filter(
        group__in=groups, done_on__lte=today, evidence__kind=REPLACEMENT_ROUND
    ).order_by("done_on", "pk")
    return dict(steps.values_list("group_id", "done_on"))


def _terms(group: MethodGroup, last_round_on: date | None) -> Terms:
    return Terms(
        Method(group.method),
        group.started_on,
        interval_months=group.interval_months,
        expected_life_years=group.expected_life_years,
        last_round_on=last_round_on,
    )


def _words(group: MethodGroup) -> str:
    if group.method == MethodGroup.Method.EXPECTED_LIFE:
        return f"expected life of {group.expected_life_years} years"
    return f"replaced every {group.interval_months} months"
