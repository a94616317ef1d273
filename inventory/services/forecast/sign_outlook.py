"""What is forecast of one face, colour by colour, for its page: two queries and its curves."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from inventory.engineering.forecast.both_scales import sign_told
from inventory.engineering.forecast.predict import SignState
from inventory.models import CohortFit, SignForecast
from inventory.services.forecast.cohort_pages import read_fit

if TYPE_CHECKING:
    from collections.abc import Iterable

    from inventory.models import Organisation, Sign

CURVE_POINTS = 81
NOT_FOR_CURVES = ("scores", "left_out", "life", "cloud")
LEAST_YEARS_AHEAD = 8.0
MOST_YEARS_AHEAD = 30.0
YEARS_PAST_THE_LATEST = 1.0
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True)
class Curve:
    """
    R_A of one colour of a face over the years, with its 90 % interval.

    ``years`` are calendar years with their fraction; ``probability_below`` is empty where the
    colour has no level. From ``beyond_year`` on the face is older
    than any of its cohort when it was read; ``None``: not within the curve.
    """

    years: tuple[float, ...]
    ra_cd_lx_m2: tuple[float, ...]
    low_cd_lx_m2: tuple[float, ...]
    high_cd_lx_m2: tuple[float, ...]
    probability_below: tuple[float, ...]
    beyond_year: float | None

    def at(self, year: float) -> tuple[float, float, float]:
        """Return R_A and the ends of its interval at a calendar year within the curve."""
        parts = (self.ra_cd_lx_m2, self.low_cd_lx_m2, self.high_cd_lx_m2)
        ra, low, high = (float(np.interp(year, self.years, part)) for part in parts)
        return ra, low, high

    def probability_at(self, year: float) -> float | None:
        """Return the probability to be below the level at a calendar year within the curve."""
        if not self.probability_below:
            return None
        return float(np.interp(year, self.years, self.probability_below))


@dataclass(frozen=True)
class Fade:
    """By when a colour is expected to have faded, and what that rests on."""

    due_on: date | None
    due_early_on: date | None
    due_late_on: date | None
    basis: str


@dataclass(frozen=True)
class ColorOutlook:
    """
    What is forecast of one colour; ``None`` is not known.

    ``life`` is the agency's expected life in words, where its readings do not say.
    """

    color: str
    basis: str
    fit: CohortFit | None
    level_cd_lx_m2: float | None
    ra_cd_lx_m2: float | None
    ra_low_cd_lx_m2: float | None
    ra_high_cd_lx_m2: float | None
    probability_below: float | None
    due_on: date | None
    due_early_on: date | None
    due_late_on: date | None
    is_extrapolated: bool
    is_age_known: bool | None
    fade: Fade | None
    life: str
    curve: Curve | None

    @property
    def is_forecast(self) -> bool:
        """Return whether its level is forecast from readings."""
        return self.ra_cd_lx_m2 is not None


@dataclass(frozen=True)
class SignOutlook:
    """What is forecast of a face; its governing colour first."""

    forecast: SignForecast
    colors: tuple[ColorOutlook, ...]

    @property
    def governing(self) -> ColorOutlook | None:
        """Return the colour that comes to its end first; ``None`` where none is forecast."""
        name = self.forecast.color
        return next((each for each in self.colors if each.color == name), None)


def outlook_of(*, sign: Sign, organisation: Organisation) -> SignOutlook | None:
    """Return what is forecast of a face; ``None`` where no forecast was made yet."""
    forecast = SignForecast.objects.owned_by(organisation).filter(sign=sign).first()
    if forecast is None:
        return None
    stored: list[dict[str, Any]] = forecast.colors
    fits = _fits(organisation, (each.get("fit_id") for each in stored))
    colors = [
        _color_outlook(each, fits.get(each.get("fit_id")), forecast.as_of_on) for each in stored
    ]
    colors.sort(key=lambda each: each.color != forecast.color)
    return SignOutlook(forecast, tuple(colors))


def decimal_year(day: date) -> float:
    """
    Return a day as a year with its fraction.

    Examples
    --------
    >>> decimal_year(date(2026, 7, 2))
    2026.4986301369863
    """
    start = date(day.year, 1, 1).toordinal()
    length = date(day.year + 1, 1, 1).toordinal() - start
    return day.year + (day.toordinal() - start) / length


def _fits(
    organisation: Organisation, keys: Iterable[int | None]
) -> dict[int | None, CohortFit]:
    wanted = {key for key in keys if key is not None}
    if not wanted:
        return {}
    rows = CohortFit.objects.owned_by(organisation).filter(pk__in=wanted)
    return {each.pk: each for each in rows.defer(*NOT_FOR_CURVES).order_by("pk")}


def _color_outlook(
    stored: dict[str, Any], fit: CohortFit | None, as_of_on: date
) -> ColorOutlook:
    fade = stored.get("fade")
    return ColorOutlook(
        color=stored["color"],
        basis=stored["basis"],
        fit=fit,
        level_cd_lx_m2=stored.get("level_cd_lx_m2"),
        ra_cd_lx_m2=stored.get("ra_cd_lx_m2"),
        ra_low_cd_lx_m2=stored.get("ra_low_cd_lx_m2"),
        ra_high_cd_lx_m2=stored.get("ra_high_cd_lx_m2"),
        probability_below=stored.get("probability_below"),
        due_on=_day(stored.get("due_on")),
        due_early_on=_day(stored.get("due_early_on")),
        due_late_on=_day(stored.get("due_late_on")),
        is_extrapolated=bool(stored.get("is_extrapolated")),
        is_age_known=stored.get("is_age_known"),
        fade=Fade(
            _day(fade.get("due_on")),
            _day(fade.get("due_early_on")),
            _day(fade.get("due_late_on")),
            fade.get("basis", ""),
        )
        if fade
        else None,
        life=stored.get("life") or "",
        curve=_curve(stored, fit, as_of_on),
    )


def _day(stored: str | None) -> date | None:
    return date.fromisoformat(stored) if stored else None


def _curve(stored: dict[str, Any], fit: CohortFit | None, as_of_on: date) -> Curve | None:
    """Return the curve of a colour that is forecast from a fit, by its stored state."""
    state, other = stored.get("state"), stored.get("other_state")
    made = read_fit(fit) if fit else None
    if fit is None or made is None or not state:
        return None
    age_now_years = float(stored["age_years"])
    now = decimal_year(as_of_on)
    last = _day(stored.get("due_late_on") or stored.get("due_on"))
    ahead = MOST_YEARS_AHEAD
    if last is not None:
        ahead = (last - as_of_on).days / DAYS_PER_YEAR + YEARS_PAST_THE_LATEST
    ahead = min(max(ahead, LEAST_YEARS_AHEAD), MOST_YEARS_AHEAD)
    ages = np.linspace(0.0, age_now_years + ahead, CURVE_POINTS)
    told = sign_told(
        made,
        [SignState(*state), *([SignState(*other)] if other else [])],
        age_now_years=age_now_years,
        is_age_known=bool(stored.get("is_age_known")),
        ages_years=ages,
    )
    level = stored.get("level_cd_lx_m2")
    below = () if level is None else told.below(np.full(len(ages), level)).tolist()
    median, low, high = (
        np.maximum(each, 0.0).tolist()
        for each in (told.quantile(0.5), told.low_cd_lx_m2, told.high_cd_lx_m2)
    )
    is_beyond = fit.oldest_age_years < ages[-1]
    return Curve(
        years=tuple((now - age_now_years + ages).tolist()),
        ra_cd_lx_m2=tuple(median),
        low_cd_lx_m2=tuple(low),
        high_cd_lx_m2=tuple(high),
        probability_below=tuple(below),
        beyond_year=now - age_now_years + fit.oldest_age_years if is_beyond else None,
    )
