"""Control signs of the groups that go by them: enough, which more, when, and what they say."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from django.db.models import Q

from inventory.engineering.forecast.control import (
    DueRange,
    NextMeasuring,
    WhatTheySay,
    choose_control_signs,
    compare_with_others,
    measure_next,
    share_below_at_most,
)
from inventory.engineering.forecast.observations import UNKNOWN
from inventory.engineering.standards.method_rules import least_control_signs
from inventory.errors import OutOfRangeError
from inventory.models import MethodAssignment, MethodGroup, Sign, SignForecast
from inventory.services.forecast.gathering import middle_of, quadrant_of
from inventory.services.forecast.press_lots import press_lots
from inventory.services.forecast.record_days import DAYS_PER_YEAR
from inventory.services.method_coverage import NOW, as_known, coverage

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date, datetime

    from inventory.models import Organisation
    from inventory.services.forecast.press_lots import PressLots
    from inventory.services.method_coverage import CoveredGroup, SignLine

MOST_PER_SHEETING = 60
LONGEST_LEAD_MONTHS = 60
USUAL_LEAD_MONTHS = 12  # an assumption: an order, its printing, and a season to put faces up
QUADRANT_WORDS = ("north", "east", "south", "west")


@dataclass(frozen=True, slots=True)
class ControlSign:
    """A control sign: when it was measured, when it is next, and its forecast."""

    line: SignLine
    sheeting: str
    measured_on: date | None
    next: NextMeasuring
    due: DueRange | None


@dataclass(frozen=True, slots=True)
class ProposedSign:
    """A sign that would spread the control signs better, and what it is."""

    line: SignLine
    age_years: float | None
    facing: str
    lot: str


@dataclass(frozen=True, slots=True)
class SheetingControls:
    """The signs of one sheeting in a group: its control signs and what they say."""

    sheeting: str
    sign_count: int
    control_count: int
    least_count: int
    least_source: str
    share_below_at_most: float
    said: WhatTheySay | None
    without_forecast_count: int
    proposed: tuple[ProposedSign, ...]

    @property
    def words(self) -> str:
        """Return the sheeting in words."""
        return self.sheeting or "sheeting not known"

    @property
    def is_too_few(self) -> bool:
        """Return whether there are fewer control signs than are asked for."""
        return self.control_count < self.least_count


@dataclass(frozen=True, slots=True)
class ControlGroup:
    """A group that goes by control signs, as it stands on a day."""

    group: MethodGroup
    sheetings: tuple[SheetingControls, ...]
    controls: tuple[ControlSign, ...]

    @property
    def too_few(self) -> list[SheetingControls]:
        """Return the sheetings with fewer control signs than are asked for."""
        return [each for each in self.sheetings if each.is_too_few]

    @property
    def proposed_positions(self) -> list[int]:
        """Return the places of all signs proposed."""
        return [each.line.position_id for kind in self.sheetings for each in kind.proposed]


@dataclass(frozen=True, slots=True)
class _Place:
    """What spreads control signs: facing quadrant and lot of a sign."""

    quadrant: int
    lot: int


@dataclass(frozen=True, slots=True)
class _Fleet:
    """What is known of the signs of all groups, gathered once."""

    today: date
    lead_months: int
    per_sheeting: int
    due: Mapping[int, DueRange]
    places: Mapping[int, _Place]
    lots: PressLots
    measured_on: Mapping[int, date]


def control_groups(
    *,
    organisation: Organisation,
    now: datetime,
    lead_months: int = USUAL_LEAD_MONTHS,
    per_sheeting: int | None = None,
) -> list[ControlGroup]:
    """
    Return the groups that go by control signs, with what is to be done about each.

    ``lead_months`` is how long it takes to replace the signs they stand for, ``per_sheeting``
    how many control signs are wanted of each sheeting: at least the number asked for.
    """
    least = least_control_signs().count
    wanted = least if per_sheeting is None else per_sheeting
    if not least <= wanted <= MOST_PER_SHEETING:
        msg = (
            f"{wanted} control signs per sheeting are not possible; choose {least} "
            f"({least_control_signs().short_source}) to {MOST_PER_SHEETING}."
        )
        raise OutOfRangeError(msg)
    if not 0 <= lead_months <= LONGEST_LEAD_MONTHS:
        msg = f"Replacing cannot take {lead_months} months; type 0 to {LONGEST_LEAD_MONTHS}."
        raise OutOfRangeError(msg)
    today = organisation.day_of(now)
    covered = coverage(as_known(organisation, today, NOW, today=today))
    groups = [
        each
        for each in covered.groups
        if each.group.method == MethodGroup.Method.CONTROL_SIGNS and each.group.ended_on is None
    ]
    if not groups:
        return []
    lots = press_lots(organisation)
    fleet = _Fleet(
        today=today,
        lead_months=lead_months,
        per_sheeting=wanted,
        due=_due(organisation),
        places=_places(organisation, lots),
        lots=lots,
        measured_on={
            sign_id: organisation.day_of(moment)
            for sign_id, moment in covered.looked.measured_at.items()
        },
    )
    return [_group(each, fleet) for each in groups]


def _under_control(organisation: Organisation, path: str) -> Q:
    """Return the condition that a sign's place is under a group that goes by control signs."""
    under = MethodAssignment.objects.owned_by(organisation).filter(
        until_on__isnull=True, group__method=MethodGroup.Method.CONTROL_SIGNS
    )
    return Q(**{f"{path}__in": under.values("position")})


def _due(organisation: Organisation) -> dict[int, DueRange]:
    """Return the forecasts of the signs; one with nothing to go by has none."""
    rows = (
        SignForecast.objects.owned_by(organisation)
        .filter(_under_control(organisation, "sign__position"))
        .exclude(basis=SignForecast.Basis.NONE)
        .order_by()
        .values_list("sign_id", "due_on", "due_early_on", "due_late_on")
    )
    return {sign_id: DueRange(*days) for sign_id, *days in rows.iterator()}


def _places(organisation: Organisation, lots: PressLots) -> dict[int, _Place]:
    rows = (
        Sign.objects.owned_by(organisation)
        .filter(_under_control(organisation, "position"), state=Sign.State.INSTALLED)
        .order_by()
        .values_list("pk", "position__facing_deg", "print_run_id")
    )
    found = {}
    for sign_id, facing_deg, run in rows.iterator():
        used = lots.of_run.get(run) if run is not None else None
        found[sign_id] = _Place(
            UNKNOWN if facing_deg is None else quadrant_of(facing_deg),
            UNKNOWN if used is None else used.sheeting,
        )
    return found


def _group(covered: CoveredGroup, fleet: _Fleet) -> ControlGroup:
    lines: dict[str, list[SignLine]] = defaultdict(list)
    for line in covered.lines:
        lines[covered.sheetings.get(line.sign_id, "")].append(line)
    sheetings: list[SheetingControls] = []
    controls: list[ControlSign] = []
    for sheeting, of_sheeting in sorted(lines.items()):
        own = [line for line in of_sheeting if line.sign_id in covered.controls]
        sheetings.append(_sheeting(sheeting, of_sheeting, own, fleet))
        controls.extend(_control(line, sheeting, covered, fleet) for line in own)
    controls.sort(key=lambda each: (each.next.on, each.line.sign_id))
    return ControlGroup(covered.group, tuple(sheetings), tuple(controls))


def _control(
    line: SignLine, sheeting: str, covered: CoveredGroup, fleet: _Fleet
) -> ControlSign:
    due = fleet.due.get(line.sign_id)
    measured_on = fleet.measured_on.get(line.sign_id)
    return ControlSign(
        line,
        sheeting,
        measured_on,
        measure_next(
            measured_on=measured_on,
            under_since_on=covered.since[line.sign_id],
            interval_months=covered.group.interval_months or 1,
            early_crossing_on=due.early_on if due is not None else None,
            lead_months=fleet.lead_months,
            today=fleet.today,
        ),
        due,
    )


def _sheeting(
    sheeting: str, lines: Sequence[SignLine], own: Sequence[SignLine], fleet: _Fleet
) -> SheetingControls:
    chosen = {line.sign_id for line in own}
    others = [line for line in lines if line.sign_id not in chosen]
    due_of_own = [fleet.due[line.sign_id] for line in own if line.sign_id in fleet.due]
    due_of_others = [fleet.due[line.sign_id] for line in others if line.sign_id in fleet.due]
    least = least_control_signs()
    return SheetingControls(
        sheeting=sheeting,
        sign_count=len(lines),
        control_count=len(own),
        least_count=least.count,
        least_source=least.short_source,
        share_below_at_most=share_below_at_most(len(own)),
        said=compare_with_others(due_of_own, due_of_others),
        without_forecast_count=len(lines) - len(due_of_own) - len(due_of_others),
        # Which sheeting they stand for has to be known first.
        proposed=_proposed(own, others, fleet) if sheeting else (),
    )


def _proposed(
    own: Sequence[SignLine], others: Sequence[SignLine], fleet: _Fleet
) -> tuple[ProposedSign, ...]:
    """Return which others to take as well, so that there are as many as are wanted."""
    missing = fleet.per_sheeting - len(own)
    if missing <= 0 or not others:
        return ()
    lines = sorted(others, key=lambda line: line.sign_id)
    nowhere = _Place(UNKNOWN, UNKNOWN)
    places = [fleet.places.get(line.sign_id, nowhere) for line in lines]
    ages = [_age_years(line, fleet.today) for line in lines]
    taken = choose_control_signs(
        np.array([np.nan if age is None else age for age in ages]),
        np.array([place.quadrant for place in places]),
        np.array([place.lot for place in places]),
        wanted=missing,
    )
    names = fleet.lots.sheeting.names
    return tuple(
        ProposedSign(
            lines[each],
            ages[each],
            "" if places[each].quadrant < 0 else QUADRANT_WORDS[places[each].quadrant],
            "" if places[each].lot < 0 else names[places[each].lot],
        )
        for each in taken.tolist()
    )


def _age_years(line: SignLine, today: date) -> float | None:
    if line.installed_on is None:
        return None
    put_up_on = middle_of(line.installed_on, line.installed_precision)
    return max((today - put_up_on).days, 0) / DAYS_PER_YEAR
