"""What is forecast of one face, colour by colour, for its page: two queries and its curves."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from inventory.models import CohortFit, SignForecast

if TYPE_CHECKING:
    from collections.abc import Iterable

    from inventory.models import Organisation, Sign

CURVE_POINTS = 81
LEAST_YEARS_AHEAD = 8.0
MOST_YEARS_AHEAD = 30.0
YEARS_PAST_THE_LATEST = 1.0
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True)
class Curve:
    """
    R_A of one colour of a face over the years, with its 90 % interval.

    ``years`` are calendar years with their fraction. From ``beyond_year`` on the face is older
    than any of its cohort when it was read; ``None``: not within the curve.
    """

    years: tuple[float, ...]
    ra_cd_lx_m2: tuple[float, ...]
    low_cd_lx_m2: tuple[float, ...]
    high_cd_lx_m2: tuple[float, ...]
    beyond_year: float | None

    def at(self, year: float) -> tuple[float, float, float]:
        """Return R_A and the ends of its interval at a calendar year within the curve."""
        parts = (self.ra_cd_lx_m2, self.low_cd_lx_m2, self.high_cd_lx_m2)
        ra, low, high = (float(np.interp(year, self.years, part)) for part in parts)
        return ra, low, high


@dataclass(frozen=True)
class ColorOutlook:
    """What is forecast of one colour; ``None`` is not known, ``reason`` says why."""

    color: str
    basis: str
    fit: CohortFit | None
    level_cd_lx_m2: float | None
    is_level_verified: bool | None
    ra_cd_lx_m2: float | None
    ra_low_cd_lx_m2: float | None
    ra_high_cd_lx_m2: float | None
    probability_below: float | None
    probabilities_below: tuple[float, ...]
    due_on: date | None
    due_early_on: date | None
    due_late_on: date | None
    is_extrapolated: bool
    is_age_known: bool | None
    fade_on: date | None
    reason: str
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
    colors = [_color_outlook(each, fits.get(each.get("fit_id"))) for each in stored]
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
    return {each.pk: each for each in rows.order_by("pk")}


def _color_outlook(stored: dict[str, Any], fit: CohortFit | None) -> ColorOutlook:
    return ColorOutlook(
        color=stored["color"],
        basis=stored.get("basis", SignForecast.Basis.NONE),
        fit=fit,
        level_cd_lx_m2=stored.get("level_cd_lx_m2"),
        is_level_verified=stored.get("is_level_verified"),
        ra_cd_lx_m2=stored.get("ra_cd_lx_m2"),
        ra_low_cd_lx_m2=stored.get("ra_low_cd_lx_m2"),
        ra_high_cd_lx_m2=stored.get("ra_high_cd_lx_m2"),
        probability_below=stored.get("probability_below"),
        probabilities_below=tuple(stored.get("probabilities_below") or ()),
        due_on=_day(stored.get("due_on")),
        due_early_on=_day(stored.get("due_early_on")),
        due_late_on=_day(stored.get("due_late_on")),
        is_extrapolated=bool(stored.get("is_extrapolated")),
        is_age_known=stored.get("is_age_known"),
        fade_on=_day(stored.get("fade_on")),
        reason=stored.get("reason", ""),
        curve=_curve(stored, fit),
    )


def _day(stored: str | None) -> date | None:
    return date.fromisoformat(stored) if stored else None


def _curve(stored: dict[str, Any], fit: CohortFit | None) -> Curve | None:
    """Return the curve of a colour that is forecast from a fit, by its stored state."""
    state, as_of_on = stored.get("state"), _day(stored.get("as_of_on"))
    if fit is None or not state or as_of_on is None:
        return None
    from inventory.engineering.forecast.fit import CohortFit as Fit
    from inventory.engineering.forecast.predict import SignState, sign_curve

    age_now_years = float(stored["age_now_years"])
    now = decimal_year(as_of_on)
    last = _day(stored.get("due_late_on")) or _day(stored.get("due_on"))
    ahead = LEAST_YEARS_AHEAD
    if last is not None:
        ahead = max(ahead, (last - as_of_on).days / DAYS_PER_YEAR + YEARS_PAST_THE_LATEST)
    elif stored.get("due_on") is None:
        ahead = MOST_YEARS_AHEAD
    ages = np.linspace(0.0, age_now_years + min(ahead, MOST_YEARS_AHEAD), CURVE_POINTS)
    ra, low, high = sign_curve(
        Fit.from_json(fit.parameters),
        SignState(**state),
        age_now_years=age_now_years,
        is_age_known=bool(stored.get("is_age_known")),
        ages_years=ages,
    )
    is_beyond = fit.oldest_age_years < ages[-1]
    return Curve(
        years=tuple((now - age_now_years + ages).tolist()),
        ra_cd_lx_m2=tuple(ra.tolist()),
        low_cd_lx_m2=tuple(low.tolist()),
        high_cd_lx_m2=tuple(high.tolist()),
        beyond_year=now - age_now_years + fit.oldest_age_years if is_beyond else None,
    )
