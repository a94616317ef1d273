"""
Which signs to read this season: those whose reading cuts most wrong decisions a crew minute.

Candidates are bounded: the signs whose due date lies nearest, along the index of due dates, and
those of which nothing is known. What was forecast of them is stored; nothing is fitted here.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from django.db.models import Avg, Exists, OuterRef, Q

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.forecast.fit import METHOD_VERSION
from inventory.engineering.forecast.fit import CohortFit as Fit
from inventory.engineering.forecast.measuring import (
    DecisionWeights,
    ReadingNoise,
    open_decisions,
    unread_correlation,
    value_of_reading,
)
from inventory.engineering.forecast.reading_round import Candidates, CrewTimes, choose_round
from inventory.engineering.forecast.spread import WEAK_PRIOR
from inventory.models import CohortFit, OrderLine, PackageStop, Sign, SignForecast, WorkPackage
from inventory.services.forecast.gathering import DAYS_PER_YEAR
from inventory.services.people import policy_at
from inventory.services.sign_record import OPEN_ORDER_STATES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from inventory.engineering.inspection.student import FloatArray, WholeArray
    from inventory.models import AgencyPolicy, Organisation, ScopedQuerySet

MOST_SIGNS = 300  # as many as go into one work package
MOST_FORECAST = 10_000  # signs looked at that have a due date
MOST_UNREAD = 2_000  # and of those of which nothing is known
MOST_SAMPLED = 5_000
YEARS_LOOKED_PAST = 5  # a due date so long after the second year leaves little open in it
YEARS = 2  # programme years decided on
LAST_MONTH_FOR_THIS_YEAR = 6
READINGS = 4  # of each colour at a visit
AT_THE_END_OF_LIFE = 0.5  # of being below: an expected life is taken as the median (assumption)
# No level binds it, or its sheeting is not allowed whatever it reads.
NOT_DECIDED_BY_READING = tuple(
    each.value for each in (Verdict.EXCLUDED, Verdict.NO_LEVEL, Verdict.SHEETING_NOT_ALLOWED)
)
Basis = SignForecast.Basis


@dataclass(frozen=True, slots=True)
class SignToRead:
    """
    A sign worth reading, and why.

    ``is_guess``: no chance of its own is on record, so it is taken to be like the others.
    ``year`` is the programme year whose decision is most open, ``probability_below`` the
    chance that the sign is below its level by its end and ``flip`` the chance that the reading
    turns the decision round; ``minutes`` has its share of the stop and the way in it.
    """

    sign_id: int
    position_id: int
    value: float
    minutes: float
    basis: str
    year: int
    probability_below: float
    flip: float
    is_replaced_now: bool
    color: str
    is_guess: bool

    @property
    def reason(self) -> str:
        """Return in words why it is worth reading."""
        if self.basis == Basis.NONE:
            return "Never read, and nothing tells its age: a first reading starts its forecast."
        if self.is_guess:
            return (
                "Never read; it goes by the agency's expected life alone: a first reading "
                "starts a forecast of its own."
            )
        now = "to be replaced" if self.is_replaced_now else "to stay"
        color = self.color.replace("_", " ")
        what = f"{color} is below its level" if color else "it has come to its end"
        unread = "Not read yet: a" if self.basis != Basis.OWN_READINGS else "A"
        return (
            f"Its decision for {self.year} is open: {_chance(self.probability_below)} that "
            f"{what} by the end of the year, so it is {now}. {unread} reading turns that round "
            f"in {_times(self.flip)}."
        )

    @property
    def note(self) -> str:
        """Return a word for the crew."""
        if self.is_guess or self.basis == Basis.NONE:
            return "First reading."
        return f"Decides {self.year}: {_chance(self.probability_below)} of being below."


@dataclass(frozen=True, slots=True)
class SeasonOfReadings:
    """
    The signs to read in the hours there are, the most a minute first.

    ``share`` is how much of what reading every sign looked at would bring this round brings;
    ``looked_at`` how many those are, ``is_bounded`` whether there were more.
    """

    signs: tuple[SignToRead, ...]
    years: tuple[int, ...]
    stops: int
    total_minutes: float
    travel_minutes: float
    share: float
    looked_at: int
    unread: int
    is_bounded: bool
    due_probability: float


class _Row(NamedTuple):
    """A candidate as it is read from the database."""

    sign_id: int
    position_id: int
    support_id: int
    latitude_deg: float
    longitude_deg: float
    safety_class: int
    basis: str
    as_of_on: date
    colors: list[dict[str, Any]]
    end: str
    due_on: date | None
    chances: tuple[float | None, ...]


_COLUMNS = (
    "sign_id",
    "sign__position_id",
    "sign__position__support_id",
    "latitude_deg",
    "longitude_deg",
    "safety_class",
    "sign__forecast__basis",
    "sign__forecast__as_of_on",
    "sign__forecast__colors",
    "sign__forecast__end",
    "forecast_due_on",
)
_YEAR_COLUMNS = tuple(f"sign__forecast__probabilities_below__{n}" for n in range(YEARS + 2))


class _Open:
    """What is open of each candidate and what a reading does: an entry a candidate and year."""

    def __init__(self, signs: int, years: int, due_probability: float) -> None:
        shape = (signs, years)
        self.due_probability = due_probability
        self.chance = np.full(shape, -1.0)
        self.value, self.flip = np.zeros(shape), np.zeros(shape)
        self.is_replaced = np.zeros(shape, dtype=np.bool_)
        self.color = np.full(shape, "", dtype=object)
        self.guessed: set[int] = set()

    def take(
        self, place: WholeArray, chance: FloatArray, correlation: FloatArray, color: Any
    ) -> None:
        """Let the colour decide in whose years the sign is most probably below by it."""
        found = value_of_reading(chance, correlation, due_probability=self.due_probability)
        # Two colours of a sign may be of one cohort: the most probable of all comes last.
        for row in np.argsort(chance.max(axis=1), kind="stable").tolist():
            at = place[row], chance[row] > self.chance[place[row]]
            self.chance[at] = chance[row, at[1]]
            self.value[at], self.flip[at] = found.value[row, at[1]], found.flip[row, at[1]]
            self.is_replaced[at] = found.is_replaced_now[row, at[1]]
            self.color[at] = color[row]


def programme_years(today: date) -> tuple[int, ...]:
    """
    Return the years decided on: the next two whose end is half a year away or more.

    Examples
    --------
    >>> programme_years(date(2026, 12, 1)), programme_years(date(2027, 3, 1))
    ((2027, 2028), (2027, 2028))
    """
    first = today.year if today.month <= LAST_MONTH_FOR_THIS_YEAR else today.year + 1
    return tuple(first + n for n in range(YEARS))


def signs_to_read(
    *,
    organisation: Organisation,
    standings: ScopedQuerySet,
    crew_minutes: float,
    today: date,
    times: CrewTimes | None = None,
    weights: DecisionWeights | None = None,
) -> SeasonOfReadings:
    """
    Return the signs whose readings cut most wrong decisions in the crew's minutes.

    ``standings`` are those of the agency's installed signs that may be chosen.
    """
    times, weights = times or CrewTimes(), weights or DecisionWeights()
    policy = policy_at(organisation, today)
    years = programme_years(today)
    rows, unread, is_bounded = _candidates(standings, years, today)
    found = _open(organisation, policy, rows, years)
    value = found.value.sum(axis=1) * weights.of(
        np.array([row.safety_class for row in rows], dtype=np.int64)
    )
    supports, place = np.unique(
        np.array([row.support_id for row in rows], dtype=np.int64), return_inverse=True
    )
    latitude, longitude = np.zeros(len(supports)), np.zeros(len(supports))
    latitude[place] = [row.latitude_deg for row in rows]
    longitude[place] = [row.longitude_deg for row in rows]
    chosen = choose_round(
        Candidates(value, place.astype(np.int64), latitude, longitude),
        times=times,
        budget_minutes=crew_minutes,
        most_signs=MOST_SIGNS,
    )
    total = float(value.sum())
    return SeasonOfReadings(
        signs=tuple(
            _told(rows[sign], sign, found, float(value[sign]), float(minutes), years)
            for sign, minutes in zip(chosen.signs.tolist(), chosen.minutes, strict=True)
        ),
        years=years,
        stops=len(chosen.way),
        total_minutes=chosen.total_minutes,
        travel_minutes=chosen.travel_minutes,
        share=chosen.value / total if total > 0 else 0.0,
        looked_at=len(rows),
        unread=unread,
        is_bounded=is_bounded,
        due_probability=policy.due_probability,
    )


def _candidates(
    standings: ScopedQuerySet, years: Sequence[int], today: date
) -> tuple[list[_Row], int, bool]:
    """Return the signs looked at, how many of them nothing is known of, and if more exist."""
    decided = standings.filter(
        sign__position__isnull=False, responsible=Sign.Responsible.AGENCY
    ).exclude(verdict__in=NOT_DECIDED_BY_READING)
    free = decided.exclude(
        Exists(
            OrderLine.objects.filter(
                position=OuterRef("sign__position"),
                order__state__in=OPEN_ORDER_STATES,
                quantity__gt=0,
            )
        )
    )
    columns = free.exclude(Exists(_stops_to_read())).values_list(*_COLUMNS, *_YEAR_COLUMNS)
    horizon = date(years[-1] + YEARS_LOOKED_PAST, 12, 31)
    # What is below for certain needs no reading: it is to be replaced.
    is_open = Q(sign__forecast__due_late_on__isnull=True) | Q(
        sign__forecast__due_late_on__gte=today
    )
    dated = columns.filter(is_open, forecast_due_on__lte=horizon).order_by(
        "forecast_due_on", "sign_id"
    )
    unknown = columns.filter(sign__forecast__basis=Basis.NONE).order_by(
        "safety_class", "sign_id"
    )
    rows, is_bounded = [], False
    counts = []
    for found, most in ((dated, MOST_FORECAST), (unknown, MOST_UNREAD)):
        part = list(found[: most + 1])
        is_bounded = is_bounded or len(part) > most
        part = part[:most]
        counts.append(len(part))
        rows += [_Row._make((*each[: len(_COLUMNS)], each[len(_COLUMNS) :])) for each in part]
    return rows, counts[1], is_bounded


def _stops_to_read() -> Any:
    """Return the stops for reading, of packages that are not closed, at a standing's place."""
    return PackageStop.objects.filter(
        position=OuterRef("sign__position"),
        task=PackageStop.Task.READ,
        package__state__in=(WorkPackage.State.DRAFT, WorkPackage.State.HANDED_OUT),
    )


def _open(
    organisation: Organisation,
    policy: AgencyPolicy,
    rows: Sequence[_Row],
    years: Sequence[int],
) -> _Open:
    """Return how open the decisions on each candidate are and what its reading does."""
    best = _Open(len(rows), len(years), policy.due_probability)
    groups: dict[tuple[int, date], list[tuple[int, dict[str, Any]]]] = defaultdict(list)
    for place, row in enumerate(rows):
        for color in row.colors:
            if color.get("state") and color.get("fit_id") and color.get("level_cd_lx_m2"):
                groups[color["fit_id"], row.as_of_on].append((place, color))
    fits = _fits({fit_id for fit_id, _day in groups})
    with_state: set[int] = set()
    for (fit_id, as_of_on), members in sorted(groups.items()):
        fit = fits.get(fit_id)
        if fit is None:
            continue
        places = np.array([place for place, _color in members], dtype=np.int64)
        decisions = open_decisions(
            fit,
            np.array([color["state"] for _place, color in members], dtype=np.float64),
            age_years=np.array([color["age_years"] for _place, color in members]),
            is_age_known=np.array([bool(color["is_age_known"]) for _place, color in members]),
            level_cd_lx_m2=np.array([color["level_cd_lx_m2"] for _place, color in members]),
            years_ahead=_years_ahead(as_of_on, years),
            noise=_noise(policy, fit),
        )
        with_state.update(places.tolist())
        best.take(
            places,
            decisions.probability_below,
            decisions.correlation,
            [str(color["color"]) for _place, color in members],
        )
    _take_unread(best, organisation, policy, rows, years, with_state)
    return best


def _take_unread(
    best: _Open,
    organisation: Organisation,
    policy: AgencyPolicy,
    rows: Sequence[_Row],
    years: Sequence[int],
    with_state: set[int],
) -> None:
    """Fill in the candidates that no reading, of theirs or of a cohort, tells of."""
    places = np.array(
        [place for place in range(len(rows)) if place not in with_state], dtype=np.int64
    )
    if not len(places):
        return
    usual = _usual_chance(organisation, policy)
    chance = np.empty((len(places), len(years)))
    for number, place in enumerate(places.tolist()):
        row = rows[place]
        for at, year in enumerate(years):
            step = year - row.as_of_on.year
            told = row.chances[step] if 0 <= step < len(row.chances) else None
            if told is None:
                best.guessed.add(place)
                is_over = row.end == SignForecast.End.LEVEL and row.due_on is not None
                is_over = is_over and row.due_on <= date(year, 12, 31)
                told = max(usual, AT_THE_END_OF_LIFE) if is_over else usual
            chance[number, at] = told
    noise = ReadingNoise(
        WEAK_PRIOR.spread.residual_sd,
        policy.instrument_common_rel,
        policy.instrument_repeatability_rel,
        READINGS,
    )
    correlation = np.full(chance.shape, unread_correlation(noise.variance))
    best.take(places, chance, correlation, [""] * len(places))


def _usual_chance(organisation: Organisation, policy: AgencyPolicy) -> float:
    """Return how probable the agency's read signs are to be below, on average, now."""
    sample = (
        SignForecast.objects.owned_by(organisation)
        .filter(basis=Basis.OWN_READINGS, probability_below__isnull=False)
        .order_by("sign_id")[:MOST_SAMPLED]
    )
    mean = sample.aggregate(mean=Avg("probability_below"))["mean"]
    # Nothing was read at all: then every first decision is as open as can be.
    return float(policy.due_probability if mean is None else mean)


def _fits(keys: set[int]) -> Mapping[int, Fit]:
    rows = CohortFit.objects.filter(pk__in=keys, method_version=METHOD_VERSION)
    return {
        key: Fit.from_json(parameters)
        for key, parameters in rows.order_by("pk").values_list("pk", "parameters")
    }


def _noise(policy: AgencyPolicy, fit: Fit) -> ReadingNoise:
    return ReadingNoise(
        residual_sd=fit.variances.residual_sd,
        session_sd=fit.variances.session_sd or policy.instrument_common_rel * fit.unit,
        repeatability_rel=policy.instrument_repeatability_rel,
        reading_count=READINGS,
        unit=fit.unit,
    )


def _years_ahead(as_of_on: date, years: Sequence[int]) -> FloatArray:
    days = [(date(year, 12, 31) - as_of_on).days for year in years]
    return np.maximum(np.array(days, dtype=np.float64), 0.0) / DAYS_PER_YEAR


def _told(
    row: _Row,
    place: int,
    found: _Open,
    value: float,
    minutes: float,
    years: Sequence[int],
) -> SignToRead:
    at = int(np.argmax(found.value[place]))
    return SignToRead(
        sign_id=row.sign_id,
        position_id=row.position_id,
        value=value,
        minutes=minutes,
        basis=row.basis,
        year=years[at],
        probability_below=float(found.chance[place, at]),
        flip=float(found.flip[place, at]),
        is_replaced_now=bool(found.is_replaced[place, at]),
        color=str(found.color[place, at]),
        is_guess=place in found.guessed,
    )


def _chance(share: float) -> str:
    """Return a chance as it is read: never more certain than it is."""
    percent = round(100 * share)
    words = f"{percent}"
    if percent < 1:
        words = "less than 1"
    elif percent > 99:
        words = "more than 99"
    return f"{words}\N{NO-BREAK SPACE}% chance"


def _times(share: float) -> str:
    number = round(100 * share)
    return f"{number} of 100 cases" if number >= 1 else "fewer than 1 of 100 cases"
