"""
What was read on the fleet, as one set of arrays per cohort.

Signs are taken in steps by their primary key and each step's rows are put into columns, so that
a million signs take what their columns take and no more.
"""

from __future__ import annotations

from array import array
from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from inventory.engineering.assessment.face import Colouring
from inventory.engineering.forecast.cohorts import CohortKey, Overlay
from inventory.engineering.forecast.observations import (
    MAXIMUM_AGE_YEARS,
    UNKNOWN,
    Observations,
    TruthArray,
)
from inventory.engineering.inspection.instrument_uncertainty import ASSUMED_UNCERTAINTY
from inventory.engineering.inspection.vocabulary import How
from inventory.engineering.standards.vocabulary import Color, Optics
from inventory.errors import StateConflictError
from inventory.models import ColourArea, Sign, Support
from inventory.services.forecast.press_lots import NOT_PRINTED_HERE, press_lots
from inventory.services.forecast.usable_visits import FleetDoubts, levels_of, visits_of
from inventory.services.people import policy_at

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime

    from inventory.engineering.inspection.student import FloatArray, WholeArray
    from inventory.models import Organisation
    from inventory.services.forecast.press_lots import PressLots, RunLots
    from inventory.services.forecast.usable_visits import UsableVisit

    Progress = Callable[[int, int], None]

SIGNS_PER_STEP = 2_000
DAYS_PER_YEAR = 365.25
LARGEST_REPEATABILITY = 0.5
BEFORE_IT_WAS_UP = "read before the day the sign is on record as put up"
TOO_OLD = "put up more than 100 years before it was read: the date cannot be right"
# How long before the middle of what is known of a date the sign may have been up already.
_EARLIER_DAYS = {"day": 0, "month": 16, "year": 183}


@dataclass(frozen=True, slots=True, eq=False)
class GatheredCohort:
    """
    The signs of one cohort with what was read on them, by one method of reading.

    Parameters
    ----------
    key : CohortKey
        What they have in common.
    observations : Observations
        Of the signs installed or read, their usable visits in order of sign and time.
    sign_id : array of int
        Primary keys, ascending.
    started_on : array of int
        Day number (``date.toordinal``) each was put up, else of its first reading; −1 neither.
    is_installed : array of bool
        Stands now; one that was taken down informs the fit alone.
    level_cd_lx_m2 : array of float
        Level of this colour by the sign's newest assessment; nan where there is none.
    visited_on, recorded_on : array of int
        Day numbers of each visit.
    lot_names, ink_lot_names, overlay_lot_names, run_names, district_names : tuple of str
        By the numbers of the observations; the same for every cohort of one gathering.
    lot_makers, ink_lot_makers, overlay_lot_makers, run_makers : tuple of int
        Primary keys of the shops whose lots they are, by the same numbers.
    left_out : dict
        Number of visits left out, by reason.
    """

    key: CohortKey
    observations: Observations
    sign_id: WholeArray
    started_on: WholeArray
    is_installed: TruthArray
    level_cd_lx_m2: FloatArray
    visited_on: WholeArray
    recorded_on: WholeArray
    lot_names: tuple[str, ...]
    ink_lot_names: tuple[str, ...]
    overlay_lot_names: tuple[str, ...]
    run_names: tuple[str, ...]
    district_names: tuple[str, ...]
    left_out: dict[str, int]
    lot_makers: tuple[int, ...] = ()
    ink_lot_makers: tuple[int, ...] = ()
    overlay_lot_makers: tuple[int, ...] = ()
    run_makers: tuple[int, ...] = ()

    @property
    def sign_count(self) -> int:
        """Return the number of signs."""
        return len(self.sign_id)


class _Made(NamedTuple):
    """What makes a colour: a cohort without the method of reading."""

    sheeting_type: str
    optics: str
    color: str
    colouring: str
    overlay: Overlay


_NOT_ON_RECORD = ("", Optics.UNKNOWN.value, Colouring.UNKNOWN.value)


@dataclass(slots=True)
class _Visits:
    """Columns of visits; ``place`` is that of the sign."""

    place: array[int] = field(default_factory=lambda: array("i"))
    visited_on: array[int] = field(default_factory=lambda: array("i"))
    recorded_on: array[int] = field(default_factory=lambda: array("i"))
    total: array[float] = field(default_factory=lambda: array("d"))
    count: array[int] = field(default_factory=lambda: array("i"))
    session: array[int] = field(default_factory=lambda: array("i"))
    left_out: Counter[str] = field(default_factory=Counter)

    def add(self, place: int, visit: UsableVisit, session: int) -> None:
        """Add a visit to a sign."""
        self.place.append(place)
        self.visited_on.append(visit.visited_on)
        self.recorded_on.append(visit.recorded_on)
        self.total.append(visit.total)
        self.count.append(visit.reading_count)
        self.session.append(session)


@dataclass(slots=True)
class _Columns:
    """Columns of the signs of one make, with their visits by method of reading."""

    sign_id: array[int] = field(default_factory=lambda: array("q"))
    put_up_on: array[int] = field(default_factory=lambda: array("i"))
    is_installed: array[int] = field(default_factory=lambda: array("b"))
    level: array[float] = field(default_factory=lambda: array("d"))
    lot: array[int] = field(default_factory=lambda: array("i"))
    ink_lot: array[int] = field(default_factory=lambda: array("i"))
    overlay_lot: array[int] = field(default_factory=lambda: array("i"))
    run: array[int] = field(default_factory=lambda: array("i"))
    quadrant: array[int] = field(default_factory=lambda: array("b"))
    district: array[int] = field(default_factory=lambda: array("i"))
    visits: dict[How, _Visits] = field(default_factory=dict)

    def of(self, how: How) -> _Visits:
        """Return the visits by one method."""
        return self.visits.setdefault(how, _Visits())


class _Face(NamedTuple):
    """One sign of a step, as its cohorts need it."""

    sign_id: int
    is_installed: bool
    put_up_on: int
    earliest_on: int
    lots: RunLots
    quadrant: int
    district: int


def gather_cohorts(
    *,
    organisation: Organisation,
    today: date,
    recorded_before: datetime | None = None,
    progress: Progress | None = None,
) -> Iterator[GatheredCohort]:
    """
    Give the cohorts of an agency's signs in order of their keys, installed and taken down.

    Readings that were put right count as they were put right, those in doubt or set aside do
    not, and what was read on a duplicate counts for the sign that is kept. With
    ``recorded_before``, only what was on record by that moment.
    """
    fleet = _Fleet(organisation, today, recorded_before)
    fleet.read(progress)
    yield from fleet.cohorts()


class _Fleet:
    """The columns of every make while signs are read."""

    def __init__(
        self, organisation: Organisation, today: date, recorded_before: datetime | None
    ) -> None:
        self.organisation = organisation
        self.today = today
        self.before = recorded_before
        self.zone = ZoneInfo(organisation.time_zone)
        self.lots: PressLots = press_lots(organisation)
        self.doubts = FleetDoubts.of(organisation, recorded_before)
        self.repeatability = _repeatability(organisation, today)
        districts = Support.objects.owned_by(organisation).exclude(district="")
        names = districts.order_by("district").values_list("district", flat=True).distinct()
        self.district_of = {name: number for number, name in enumerate(names)}
        self.sessions: dict[tuple[int, int], int] = {}
        self.makes: dict[_Made, _Columns] = {}

    def read(self, progress: Progress | None) -> None:
        """Read every sign that is up or was."""
        signs = Sign.objects.owned_by(self.organisation).exclude(state=Sign.State.IN_STOCK)
        total = signs.count() if progress is not None else 0
        done, last = 0, 0
        while True:
            step = list(
                signs.filter(pk__gt=last)
                .order_by("pk")
                .values_list(
                    "pk",
                    "state",
                    "installed_on",
                    "installed_precision",
                    "print_run_id",
                    "position__facing_deg",
                    "position__support__district",
                )[:SIGNS_PER_STEP]
            )
            if not step:
                return
            last = step[-1][0]
            self._read_step(
                [self._face(*row) for row in step if row[0] not in self.doubts.kept_for]
            )
            done += len(step)
            if progress is not None:
                progress(done, total)

    def _face(
        self,
        sign_id: int,
        state: str,
        installed_on: date | None,
        precision: str,
        run: int | None,
        facing_deg: float | None,
        district: str | None,
    ) -> _Face:
        put_up_on = earliest_on = UNKNOWN
        if installed_on is not None:
            middle = min(middle_of(installed_on, precision), max(self.today, installed_on))
            put_up_on = middle.toordinal()
            earliest_on = put_up_on - _EARLIER_DAYS[precision]
        return _Face(
            sign_id,
            state == Sign.State.INSTALLED,
            put_up_on,
            earliest_on,
            NOT_PRINTED_HERE if run is None else self.lots.of_run.get(run, NOT_PRINTED_HERE),
            UNKNOWN if facing_deg is None else quadrant_of(facing_deg),
            self.district_of.get(district or "", UNKNOWN),
        )

    def _read_step(self, faces: list[_Face]) -> None:
        if not faces:
            return
        ids = [face.sign_id for face in faces]
        made = _colours_of(ids)
        levels = levels_of(ids, self.before)
        visits = visits_of(
            self.organisation, ids, self.doubts, zone=self.zone, before=self.before
        )
        for face in faces:
            of_sign = visits.get(face.sign_id, {})
            colors = made.get(face.sign_id, {})
            read = dict.fromkeys(of_sign, _NOT_ON_RECORD)  # in the order of their visits
            for color, what in (
                {color: read[color] for color in sorted(read)} | colors
            ).items():
                if not color or what[2] == Colouring.OPAQUE or color == Color.BLACK:
                    continue
                make = _Made(what[0], what[1], color, what[2], face.lots.overlay)
                self._add(
                    self.makes.setdefault(make, _Columns()),
                    face,
                    make,
                    levels.get((face.sign_id, color), np.nan),
                    of_sign.get(color, []),
                )

    def _add(
        self,
        columns: _Columns,
        face: _Face,
        make: _Made,
        level: float,
        visits: list[UsableVisit],
    ) -> None:
        place = len(columns.sign_id)
        is_read = False
        for visit in visits:
            of_how = columns.of(visit.how)
            reason = visit.reason or self._reason(face, visit)
            if reason:
                of_how.left_out[reason] += 1
                continue
            is_read = True
            session = UNKNOWN
            if visit.instrument is not None:
                key = (visit.instrument, visit.visited_on)
                session = self.sessions.setdefault(key, len(self.sessions))
            of_how.add(place, visit, session)
        if not (is_read or face.is_installed):
            return
        columns.sign_id.append(face.sign_id)
        columns.put_up_on.append(face.put_up_on)
        columns.is_installed.append(face.is_installed)
        columns.level.append(level)
        columns.lot.append(face.lots.sheeting)
        is_printed = make.colouring in (Colouring.PRINTED_SPOT, Colouring.PRINTED_MIXED)
        columns.ink_lot.append(
            face.lots.ink.get(make.color, UNKNOWN) if is_printed else UNKNOWN
        )
        columns.overlay_lot.append(face.lots.overlay_lot)
        columns.run.append(face.lots.run)
        columns.quadrant.append(face.quadrant)
        columns.district.append(face.district)

    def _reason(self, face: _Face, visit: UsableVisit) -> str:
        """Return why a visit does not fit the sign's dates; empty when it does."""
        if face.put_up_on == UNKNOWN:
            return ""
        if visit.visited_on < face.earliest_on:
            return BEFORE_IT_WAS_UP
        if visit.visited_on - face.put_up_on > MAXIMUM_AGE_YEARS * DAYS_PER_YEAR:
            return TOO_OLD
        return ""

    def cohorts(self) -> Iterator[GatheredCohort]:
        """Give each cohort and let go of its columns."""
        keys = sorted(
            (_key(make, how), make, how)
            for make, columns in self.makes.items()
            for how in {How.HAND_HELD, *columns.visits}
        )
        keys.sort(key=lambda each: each[0].text)
        left = Counter(make for _key, make, _how in keys)
        for key, make, how in keys:
            columns = self.makes[make]
            gathered = self._cohort(key, columns, columns.of(how))
            left[make] -= 1
            if not left[make]:
                del self.makes[make]
            if gathered.sign_count:
                yield gathered

    def _cohort(self, key: CohortKey, columns: _Columns, visits: _Visits) -> GatheredCohort:
        number = len(columns.sign_id)
        place = _whole(visits.place)
        visited_on = _whole(visits.visited_on)
        is_read = np.zeros(number, dtype=np.bool_)
        is_read[place] = True
        is_installed = _whole(columns.is_installed).astype(np.bool_)
        kept = is_read | is_installed
        put_up_on = _whole(columns.put_up_on)
        is_age_known = put_up_on != UNKNOWN
        started_on = put_up_on.copy()
        first = np.full(number, np.iinfo(np.int64).max)
        np.minimum.at(first, place, visited_on)
        from_reading = is_read & ~is_age_known
        started_on[from_reading] = first[from_reading]
        ages = np.maximum(visited_on - started_on[place], 0) / DAYS_PER_YEAR
        count = _whole(visits.count)
        return GatheredCohort(
            key=key,
            observations=Observations(
                sign=(np.cumsum(kept) - 1)[place],
                age_years=ages,
                ra_cd_lx_m2=np.array(visits.total, dtype=np.float64) / np.maximum(count, 1),
                reading_count=count,
                repeatability_rel=np.full(len(place), self.repeatability),
                session=_whole(visits.session),
                lot=_whole(columns.lot)[kept],
                ink_lot=_whole(columns.ink_lot)[kept],
                overlay_lot=_whole(columns.overlay_lot)[kept],
                run=_whole(columns.run)[kept],
                is_age_known=is_age_known[kept],
                quadrant=_whole(columns.quadrant)[kept],
                district=_whole(columns.district)[kept],
            ),
            sign_id=_whole(columns.sign_id)[kept],
            started_on=started_on[kept],
            is_installed=is_installed[kept],
            level_cd_lx_m2=np.array(columns.level, dtype=np.float64)[kept],
            visited_on=visited_on,
            recorded_on=_whole(visits.recorded_on),
            lot_names=self.lots.sheeting.names,
            ink_lot_names=self.lots.ink.names,
            overlay_lot_names=self.lots.overlay.names,
            run_names=self.lots.runs.names,
            district_names=tuple(self.district_of),
            left_out=dict(sorted(visits.left_out.items())),
            lot_makers=self.lots.sheeting.makers,
            ink_lot_makers=self.lots.ink.makers,
            overlay_lot_makers=self.lots.overlay.makers,
            run_makers=self.lots.runs.makers,
        )


def middle_of(day: date, precision: str) -> date:
    """
    Return the middle of what is known of a date.

    Examples
    --------
    >>> middle_of(date(2015, 5, 1), "month").isoformat()
    '2015-05-16'
    >>> middle_of(date(2015, 5, 1), "year").isoformat()
    '2015-07-02'
    """
    if precision == "month":
        return day.replace(day=16)
    if precision == "year":
        return date(day.year, 7, 2)
    return day


def quadrant_of(facing_deg: float) -> int:
    """
    Return the facing quadrant: 0 north (315° to 45°), 1 east, 2 south, 3 west.

    Examples
    --------
    >>> [quadrant_of(facing) for facing in (0.0, 44.9, 45.0, 180.0, 314.9, 315.0)]
    [0, 0, 1, 2, 3, 0]
    """
    return int((facing_deg + 45.0) % 360.0 // 90.0)


def _whole(column: array[Any]) -> WholeArray:
    return np.array(column, dtype=np.int64)


def _key(make: _Made, how: How) -> CohortKey:
    return CohortKey(
        make.sheeting_type,
        Optics(make.optics),
        make.color,
        Colouring(make.colouring),
        make.overlay,
        how,
    )


def _colours_of(sign_ids: list[int]) -> dict[int, dict[str, tuple[str, str, str]]]:
    """Return what makes each colour of signs: the first area of it that returns light."""
    made: dict[int, dict[str, tuple[str, str, str]]] = {}
    rows = ColourArea.objects.filter(sign__in=sign_ids).order_by("sign", "number")
    for sign_id, color, sheeting_type, optics, colouring in rows.values_list(
        "sign_id", "color", "sheeting_type", "optics", "colouring"
    ):
        of_sign = made.setdefault(sign_id, {})
        what = (sheeting_type, optics, colouring)
        if color not in of_sign or of_sign[color][2] == Colouring.OPAQUE:
            of_sign[color] = what
    return made


def _repeatability(organisation: Organisation, today: date) -> float:
    """Return the share of the agency's rules; the shipped assumption without rules."""
    try:
        share = policy_at(organisation, today).instrument_repeatability_rel
    except StateConflictError:
        share = ASSUMED_UNCERTAINTY.repeatability_rel
    return min(share, LARGEST_REPEATABILITY)
