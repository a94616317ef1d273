"""Faces lost to damage, knock-down and theft: for budgets, never inside the curve."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from inventory.engineering.forecast.fade import curve_from
from inventory.engineering.forecast.hazard import (
    LEAST_AT_RISK,
    LossRate,
    loss_rate,
    watched_from,
)
from inventory.engineering.standards.safety import remaining_class, safety_class
from inventory.models import ForecastRun, Sign
from inventory.models.places import RoadClass
from inventory.services.forecast.record_days import DAYS_PER_YEAR, recorded_faces
from inventory.services.judging import sign_type_of
from inventory.services.standards import code_book

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from inventory.engineering.forecast.hazard import SurvivalCurve
    from inventory.engineering.inspection.student import FloatArray
    from inventory.models import Organisation

LOST = (
    Sign.RemovalReason.DAMAGED,
    Sign.RemovalReason.KNOCKED_DOWN,
    Sign.RemovalReason.STOLEN,
)
MOST_SIGNS_AT_ONCE = 20_000  # more are reckoned by manage.py forecast, not while a page loads
STEPS_A_YEAR = 4


@dataclass(frozen=True, slots=True)
class ClassLosses:
    """Losses of one safety class and road class; ``None`` stands for all of them."""

    safety_class: int | None
    road_class: str | None
    standing_count: int
    rate: LossRate

    @property
    def road_words(self) -> str:
        """Return the road class in words."""
        return "all roads" if self.road_class is None else RoadClass(self.road_class).label

    def expected_a_year(self) -> tuple[float, float, float] | None:
        """Return how many of the faces standing now may be lost a year, with 95 % bounds."""
        rate = self.rate
        if rate.per_year is None or rate.low_per_year is None or rate.high_per_year is None:
            return None
        count = self.standing_count
        return count * rate.per_year, count * rate.low_per_year, count * rate.high_per_year


@dataclass(frozen=True, slots=True)
class YearOfCurve:
    """Faces watched when they reached an age, lost in the year after, and the share left."""

    age_years: int
    at_risk: int
    lost: int
    share_left: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Losses:
    """What an agency lost, as reckoned on a day."""

    as_of_on: date
    rows: tuple[ClassLosses, ...]
    reasons: tuple[tuple[str, int], ...]
    left_out: tuple[tuple[str, int], ...]
    begins_at_years: float | None = None
    curve_ages_years: tuple[float, ...] = ()
    curve_left: tuple[float, ...] = ()
    curve_low: tuple[float, ...] = ()
    curve_high: tuple[float, ...] = ()
    years: tuple[YearOfCurve, ...] = ()

    @property
    def total(self) -> ClassLosses:
        """Return the row of the whole fleet."""
        return self.rows[0]

    def to_json(self) -> dict[str, Any]:
        """Return it as plain values to store; see :meth:`from_json`."""
        return {
            "as_of_on": self.as_of_on.isoformat(),
            "rows": [
                [
                    each.safety_class,
                    each.road_class,
                    each.standing_count,
                    each.rate.lost,
                    each.rate.sign_years,
                ]
                for each in self.rows
            ],
            "reasons": [list(each) for each in self.reasons],
            "left_out": [list(each) for each in self.left_out],
            "begins_at_years": self.begins_at_years,
            "curve": [
                list(each)
                for each in (
                    self.curve_ages_years,
                    self.curve_left,
                    self.curve_low,
                    self.curve_high,
                )
            ],
            "years": [
                [y.age_years, y.at_risk, y.lost, y.share_left, y.low, y.high]
                for y in self.years
            ],
        }

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> Self:
        """Return the losses that :meth:`to_json` wrote."""
        ages, left, low, high = (tuple(each) for each in stored["curve"])
        return cls(
            as_of_on=date.fromisoformat(stored["as_of_on"]),
            rows=tuple(
                ClassLosses(number, road, standing, loss_rate(lost, sign_years))
                for number, road, standing, lost, sign_years in stored["rows"]
            ),
            reasons=tuple((reason, count) for reason, count in stored["reasons"]),
            left_out=tuple((reason, count) for reason, count in stored["left_out"]),
            begins_at_years=stored["begins_at_years"],
            curve_ages_years=ages,
            curve_left=left,
            curve_low=low,
            curve_high=high,
            years=tuple(YearOfCurve(*each) for each in stored["years"]),
        )


@dataclass(slots=True)
class _Cell:
    """What is counted of one safety class on one road class."""

    standing: int = 0
    lost: int = 0
    days: int = 0

    def add(self, other: _Cell) -> None:
        """Add another's counts."""
        self.standing += other.standing
        self.lost += other.lost
        self.days += other.days


@dataclass(slots=True)
class _Columns:
    """Ages of the faces whose age is known."""

    entry: list[float] = field(default_factory=list)
    leave: list[float] = field(default_factory=list)
    lost: list[bool] = field(default_factory=list)


def stored_or_reckoned(*, organisation: Organisation, now: datetime) -> Losses | None:
    """
    Return the losses as the newest forecast stored them, else reckoned now.

    ``None`` where there are too many faces to reckon while a page loads and none are stored.
    """
    run = (
        ForecastRun.objects.owned_by(organisation)
        .filter(finished_at__isnull=False)
        .order_by("-started_at", "-pk")
        .first()
    )
    if run is not None and "losses" in run.counts:
        return Losses.from_json(run.counts["losses"])
    faces = Sign.objects.owned_by(organisation).order_by().values("pk")
    if faces[: MOST_SIGNS_AT_ONCE + 1].count() > MOST_SIGNS_AT_ONCE:
        return None
    return losses_of(organisation=organisation, now=now)


def losses_of(*, organisation: Organisation, now: datetime) -> Losses:
    """
    Return what was lost, by safety class and road class, and the share left by age.

    A face is lost when it was taken down as damaged, knocked down or missing; watched from the
    day it is on record until it came down, or today. What was seen and not acted on is no loss
    yet: the face still stands, and counts when it comes down.
    """
    today = organisation.day_of(now)
    cells: dict[tuple[int, str], _Cell] = {}
    columns = _Columns()
    reasons: Counter[str] = Counter()
    left_out: Counter[str] = Counter()
    classes = _Classes(organisation)
    for face in recorded_faces(organisation):
        is_standing = not face.reason
        place = cells.setdefault((classes.of(face.sign_code), face.road_class), _Cell())
        place.standing += is_standing
        last_on = today if is_standing else face.removed_on
        reason = _not_watched(face.on_record_on, last_on, today)
        if reason or face.on_record_on is None or last_on is None:
            left_out[reason] += 1
            continue
        is_lost = face.reason in LOST
        place.days += (last_on - face.on_record_on).days
        place.lost += is_lost
        if is_lost:
            reasons[face.reason] += 1
        entry, leave = face.age_years(face.on_record_on), face.age_years(last_on)
        if entry is None or leave is None:
            left_out["age not known: in the rates, not in the curve"] += 1
        else:
            columns.entry.append(entry)
            columns.leave.append(leave)
            columns.lost.append(is_lost)
    drawn = _drawn(columns)
    return Losses(
        as_of_on=today,
        rows=tuple(_rows(cells)),
        reasons=tuple((Sign.RemovalReason(each).label, reasons[each]) for each in LOST),
        left_out=tuple(sorted(left_out.items())),
        **drawn,
    )


def _not_watched(on_record_on: date | None, last_on: date | None, today: date) -> str:
    if on_record_on is None:
        return "no day on record from which it was watched"
    if last_on is None:
        return "taken down, the day not known"
    if last_on > today:
        return "taken down on a day still to come"
    if last_on <= on_record_on:
        return "taken down before, or on, the day it came on record"
    return ""


class _Classes:
    """Safety classes by code, each looked up once."""

    def __init__(self, organisation: Organisation) -> None:
        self._book = code_book(organisation)
        self._known: dict[str, int] = {}

    def of(self, code: str) -> int:
        """Return the safety class of a recorded code, as lists of signs go by it."""
        if code not in self._known:
            sign_type = sign_type_of(code, self._book)
            placed = safety_class(sign_type) if sign_type is not None else remaining_class()
            self._known[code] = placed.number
        return self._known[code]


def _rows(cells: dict[tuple[int, str], _Cell]) -> Iterable[ClassLosses]:
    """Give the whole fleet, each class, each road class, then each class on each road class."""

    def row(number: int | None, road: str | None) -> ClassLosses:
        cell = _Cell()
        for (its_class, its_road), each in cells.items():
            if number in (None, its_class) and road in (None, its_road):
                cell.add(each)
        rate = loss_rate(cell.lost, cell.days / DAYS_PER_YEAR)
        return ClassLosses(number, road, cell.standing, rate)

    classes = sorted({number for number, _road in cells})
    here = {road for _number, road in cells}
    roads = [each for each in RoadClass.values if each in here]
    roads.sort(key=lambda each: not each)  # what is not known last
    yield row(None, None)
    for number in classes:
        yield row(number, None)
    for road in roads:
        yield row(None, road)
    for number in classes:
        for road in roads:
            if (number, road) in cells:
                yield row(number, road)


def _drawn(columns: _Columns) -> dict[str, Any]:
    """Return the share left at each quarter of a year, and year by year."""
    if not columns.entry:
        return {}
    entry, leave = np.array(columns.entry), np.array(columns.leave)
    start = watched_from(entry, leave)
    curve = None if start is None else curve_from(entry, leave, np.array(columns.lost), start)
    if start is None or curve is None:
        return {}
    last = _watched_until(entry, leave, curve)
    quarters = [
        each / STEPS_A_YEAR
        for each in range(
            int(np.ceil(curve.begins_at_years * STEPS_A_YEAR)), int(last * STEPS_A_YEAR) + 1
        )
    ]
    shares = [curve.share_left_at(age) for age in quarters]
    return {
        "begins_at_years": round(start, 3),
        "curve_ages_years": tuple(quarters),
        "curve_left": tuple(round(each[0], 6) for each in shares),
        "curve_low": tuple(round(each[1], 6) for each in shares),
        "curve_high": tuple(round(each[2], 6) for each in shares),
        "years": tuple(_years(curve, entry, leave, last)),
    }


def _watched_until(entry: FloatArray, leave: FloatArray, curve: SurvivalCurve) -> float:
    """Return the last age at which some to speak of were watched; the curve ends there."""
    ends = np.sort(leave)[::-1]
    watched = np.searchsorted(np.sort(entry), ends, side="left") - np.searchsorted(
        np.sort(leave), ends, side="left"
    )
    enough = np.flatnonzero(watched >= LEAST_AT_RISK)
    return float(ends[enough[0]]) if len(enough) else curve.begins_at_years


def _years(
    curve: SurvivalCurve, entry: FloatArray, leave: FloatArray, last: float
) -> Iterable[YearOfCurve]:
    """Give each whole year of age: watched when it was reached, lost before the next."""
    first = int(np.ceil(curve.begins_at_years))
    for age in range(first, int(last) + 1):
        left, low, high = curve.share_left_at(float(age))
        is_in = (curve.ages_years > age) & (curve.ages_years <= age + 1)
        at_risk = int(((entry <= age) & (leave > age)).sum())
        yield YearOfCurve(
            age,
            at_risk,
            int(curve.lost[is_in].sum()),
            round(left, 6),
            round(low, 6),
            round(high, 6),
        )
