"""What has to be done is placed first; where it does not fit, what is missing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.programme.musts import Placed, locked_beyond, place_musts
from inventory.engineering.programme.problem import NOT_PLANNED
from inventory.engineering.programme.shortfall import least_extra
from inventory.errors import StateConflictError

if TYPE_CHECKING:
    from collections.abc import Callable

    from inventory.engineering.programme.problem import ProgrammeProblem, WholeArray
    from inventory.engineering.programme.shortfall import Shortfall
    from inventory.models import Programme
    from inventory.services.programme.making import ProgrammeFrame


@dataclass(frozen=True, slots=True, eq=False)
class Musts:
    """
    A plan to begin from that keeps what has to be done, and what of that does not fit.

    ``whole`` are all signs with all their musts, ``frame`` the same without the musts that
    miss; ``lacking`` is the least extra money and hours, where it was found.
    """

    whole: ProgrammeFrame
    frame: ProgrammeFrame
    start: WholeArray
    missed: WholeArray
    lacking: Shortfall | None = None


def check_locks(programme: Programme, frame: ProgrammeFrame) -> None:
    """Refuse locked choices that take more than there is; they are kept, or nothing is."""
    money, hours = locked_beyond(frame.problem, frame.trips)
    for number in range(frame.problem.years):
        year = programme.first_year + number
        if money[number] > 0:
            there = programme.budget[number]
            lacking = f"{programme.work_basis.currency} {money[number]:,.0f} more than"
            what = f"the {there:,.0f} there is"
        elif hours[number] > 0:
            there = programme.crew_hours[number]
            lacking = f"{hours[number]:,.1f} crew hours more than"
            what = f"the {there:,.0f} there are"
        else:
            continue
        msg = (
            f"The signs locked to {year} take {lacking} {what}; unlock some of them, or make a "
            f"programme with more in {year}."
        )
        raise StateConflictError(msg)


def place(
    frame: ProgrammeFrame, earlier: WholeArray | None, should_stop: Callable[[], bool]
) -> Musts:
    """Return a plan of the musts, and of an earlier plan beside; the locks have to fit."""
    weight = frame.risk.weight
    placed = place_musts(
        frame.problem, frame.trips, weight=weight, start=earlier, should_stop=should_stop
    )
    if not len(placed.missed):
        return Musts(frame, frame, placed.year, placed.missed)
    best, lacking = placed, None
    for is_alone, problem in ((False, together(frame)), (True, alone(frame))):
        try:
            found = least_extra(problem, weight=weight, should_stop=should_stop)
        except StateConflictError:
            continue  # not found in its time, or stopped
        lacking = found if is_alone else None
        if weight[found.missed].sum() < weight[best.missed].sum():
            best = _as_found(frame, found, earlier, should_stop) or best
    if not len(best.missed):
        return Musts(frame, frame, best.year, best.missed)
    return Musts(frame, _without(frame, best.missed), best.year, best.missed, lacking)


def _as_found(
    frame: ProgrammeFrame,
    found: Shortfall,
    earlier: WholeArray | None,
    should_stop: Callable[[], bool],
) -> Placed | None:
    """Return the plan in which those miss that the exact solver found, if trips allow it."""
    if (frame.problem.locked[found.missed] >= 0).any():
        return None
    rest = np.full(len(frame.position), NOT_PLANNED) if earlier is None else earlier
    placed = place_musts(
        _without(frame, found.missed).problem,
        frame.trips,
        weight=frame.risk.weight,
        start=np.where(found.year >= 0, found.year, rest),
        should_stop=should_stop,
    )
    return None if len(placed.missed) else replace(placed, missed=found.missed)


def alone(frame: ProgrammeFrame) -> ProgrammeProblem:
    """Return the problem in which every face bears its trips alone."""
    ones = np.ones(len(frame.position))
    return frame.trips.with_shares(frame.problem, ones, ones)


def together(frame: ProgrammeFrame) -> ProgrammeProblem:
    """Return the problem in which musts share their trips with all other musts there."""
    is_must = (frame.problem.must_by >= 0).astype(float)
    shares = [
        np.maximum(np.bincount(where, is_must)[where], 1.0)
        for where in (frame.trips.support, frame.trips.stretch)
    ]
    return frame.trips.with_shares(frame.problem, *shares)


def _without(frame: ProgrammeFrame, missed: WholeArray) -> ProgrammeFrame:
    """Return the signs without the musts that miss; they may go in any year that is open."""
    must_by = frame.problem.must_by.copy()
    must_by[missed] = -1
    return replace(frame, problem=replace(frame.problem, must_by=must_by))
