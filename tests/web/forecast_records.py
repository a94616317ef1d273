"""Fits and forecasts as they are stored, for the tests of their pages."""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from inventory.engineering.forecast.cloud import cloud_of
from inventory.engineering.forecast.cohorts import CohortKey
from inventory.engineering.forecast.fit import METHOD_VERSION, Scale, fit_cohort
from inventory.engineering.forecast.fit import CohortFit as Fit
from inventory.engineering.forecast.life import life_of
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.predict import forecast_signs
from inventory.engineering.forecast.shapes import LINEAR
from inventory.models import CohortFit, SignForecast
from tests.factories import NOW

if TYPE_CHECKING:
    from inventory.models import Organisation, Sign

WHITE = "III/beaded/white/sheeting/unknown/hand_held"
LEVEL = 120.0
AGE_YEARS = 6.0


@cache
def visits() -> Observations:
    """Return 80 signs, 10 of unknown age, read twice, that lose 4 % a year of 270 cd/lx/m²."""
    rng = np.random.default_rng(4)
    signs = 80
    first = rng.uniform(0.5, 7.0, signs)
    age = np.stack([first, first + 3.0], axis=1).ravel()
    sign = np.repeat(np.arange(signs), 2)
    own = np.repeat(rng.normal(0, 0.12, signs), 2)
    ra = 270 * np.exp(-0.04 * age + own + rng.normal(0, 0.05, len(age)))
    return Observations.plain(sign, age, ra, is_age_known=np.arange(signs) >= 10)


@cache
def fitted() -> Fit:
    """Return the fit of those signs."""
    return fit_cohort(visits(), scale=Scale.LOG, shape=LINEAR)


def make_fit(agency: Organisation, key: str = WHITE, **fields: Any) -> CohortFit:
    """Store the newest fit of a cohort."""
    parts, made = CohortKey.read(key), fitted()
    defaults: dict[str, Any] = {
        "method_version": METHOD_VERSION,
        "fingerprint": "f" * 64,
        "fitted_at": NOW,
        "newest_reading_on": date(2026, 5, 12),
        "sign_count": made.sign_count,
        "unknown_age_count": 10,
        "visit_count": made.visit_count,
        "oldest_age_years": made.oldest_age_years,
        "scale": made.scale.value,
        "shape": made.shape.name,
        "parameters": made.to_json(),
        "scores": {
            "reason": "It foretold readings it had not been shown best.",
            "models": [
                {
                    "words": "an amount each year",
                    "score": -4.22,
                    "se_against_best": 0.011,
                    "is_chosen": False,
                },
                {
                    "words": "a share each year",
                    "score": -4.18,
                    "se_against_best": 0.0,
                    "is_chosen": True,
                },
            ],
        },
        "left_out": {"dew was on the face": 3, "set aside by a person": 1},
        "life": life_of(made, LEVEL),
        "cloud": cloud_of(visits()).to_json(),
    }
    return CohortFit.objects.create(
        organisation=agency,
        key=key,
        sheeting_type=parts.sheeting_type,
        optics=parts.optics.value,
        color=parts.color,
        colouring=parts.colouring.value,
        overlay=parts.overlay.value,
        how=parts.how.value,
        **defaults | fields,
    )


def color_of(fit: CohortFit | None, color: str = "white", **fields: Any) -> dict[str, Any]:
    """Return one colour of a forecast as it is stored; with a fit, that of one of its signs."""
    base: dict[str, Any] = {
        "color": color,
        "basis": "own_readings",
        "fit_id": fit.pk if fit else None,
        "level_cd_lx_m2": LEVEL,
        "is_extrapolated": False,
        "is_due_now": False,
        "is_age_known": True,
        "age_years": AGE_YEARS,
        "due_on": "2034-03-01",
        "due_early_on": "2031-02-01",
        "due_late_on": "2041-10-01",
        "state": None,
        "fade": None,
        "life": "",
    }
    if fit is not None:
        made = fitted()
        assert made.grams is not None
        number = made.grams.sign_count
        found = forecast_signs(
            made,
            made.grams,
            lot=visits().lot,
            is_age_known=visits().is_age_known,
            age_now_years=np.full(number, AGE_YEARS),
            level_cd_lx_m2=np.full(number, LEVEL),
            due_probability=0.2,
        )
        state = found.state_of(10)
        base |= {
            "ra_cd_lx_m2": float(found.ra_cd_lx_m2[10]),
            "ra_low_cd_lx_m2": float(found.ra_low_cd_lx_m2[10]),
            "ra_high_cd_lx_m2": float(found.ra_high_cd_lx_m2[10]),
            "probability_below": float(found.probability_below[10, 0]),
            "state": [
                state.level,
                state.slope,
                state.of_level,
                state.of_both,
                state.of_slope,
            ],
        }
    return base | fields


def make_forecast(sign: Sign, colors: list[dict[str, Any]], **fields: Any) -> SignForecast:
    """Store a forecast of a sign; its first colour governs."""
    first = colors[0] if colors else {"color": "", "fit_id": None, "basis": "none"}
    defaults: dict[str, Any] = {
        "made_at": NOW,
        "as_of_on": NOW.date(),
        "method_version": METHOD_VERSION,
        "fingerprint": "f" * 64,
        "basis": first["basis"],
        "end": "level" if first.get("due_on") else "",
        "color": first["color"],
        "fit_id": first["fit_id"],
        "level_cd_lx_m2": first.get("level_cd_lx_m2"),
        "ra_cd_lx_m2": first.get("ra_cd_lx_m2"),
        "ra_low_cd_lx_m2": first.get("ra_low_cd_lx_m2"),
        "ra_high_cd_lx_m2": first.get("ra_high_cd_lx_m2"),
        "probability_below": first.get("probability_below"),
        "due_on": first.get("due_on"),
        "due_early_on": first.get("due_early_on"),
        "due_late_on": first.get("due_late_on"),
        "is_extrapolated": first.get("is_extrapolated", False),
        "sentence": "White falls below 120 cd/lx/m² about March 2034.",
        "colors": colors,
        "safety_class": 1,
    }
    assert sign.owner is not None
    return SignForecast.objects.create(organisation=sign.owner, sign=sign, **defaults | fields)
