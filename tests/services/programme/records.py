"""An agency with what work costs, signs with forecasts, and programmes that are solved."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from inventory.models import PlannedReplacement
from inventory.services.programme.making import make_programme
from inventory.services.programme.solving import open_run, solve
from inventory.services.programme.work_bases import set_work_basis
from tests.factories import NOW, make_agency, make_position, make_sign, make_support
from tests.web.forecast_records import color_of, make_forecast

if TYPE_CHECKING:
    from inventory.models import CohortFit, Organisation, Programme, Sign, Support

FIRST = NOW.year + 1
RISING = [min(0.02 * n, 1.0) for n in range(30)]
HIGH = [0.9] * 30


def planning_agency(**fields: Any) -> Organisation:
    """Return an agency that has said what work costs: a face alone 40 + 50 + 20 + 30 = 140."""
    agency: Organisation = make_agency()
    figures: dict[str, Any] = {
        "basis": "county accounts (invented)",
        "face_price": 40.0,
        "face_price_per_ft2": 0.0,
        "crew_price_per_h": 100.0,
        "face_hours": 0.5,
        "support_hours": 0.2,
        "stretch_hours": 0.3,
        "lead_days": 60,
    }
    set_work_basis(agency=agency, effective_on=date(2020, 1, 1), now=NOW, **figures | fields)
    return agency


def a_sign(
    agency: Organisation,
    fit: CohortFit | None,
    probabilities: list[float],
    *,
    support: Support | None = None,
    due_on: date | None = None,
    face: dict[str, Any] | None = None,
    place: dict[str, Any] | None = None,
    **fields: Any,
) -> Sign:
    """Put a sign up with a forecast of these chances by year end."""
    position = make_position(agency, support=support or make_support(agency), **(place or {}))
    sign = make_sign(agency, position=position, **(face or {}))
    values: dict[str, Any] = {
        "probabilities_below": probabilities,
        "due_on": due_on,
        "due_early_on": None,
        "due_late_on": None,
        "as_of_on": NOW.date(),
    }
    make_forecast(sign, [color_of(fit)], **values | fields)
    return sign


def a_programme(
    agency: Organisation, money: float = 1000.0, years: int = 3, **fields: Any
) -> Programme:
    """Return a programme that is yet to be solved."""
    given: dict[str, Any] = {
        "organisation": agency,
        "name": "Replacements",
        "first_year": FIRST,
        "years": years,
        "budget": [money] * years,
        "crew_hours": [40.0] * years,
        "now": NOW,
    }
    return make_programme(**given | fields)


def solved(programme: Programme) -> Programme:
    """Solve a programme quickly."""
    return solve(open_run(programme=programme), polish_seconds=0.2, now=NOW)


def years_of(programme: Programme) -> dict[int, int | None]:
    """Return the planned year of each sign."""
    rows = PlannedReplacement.objects.filter(programme=programme).order_by("sign")
    return dict(rows.values_list("sign_id", "year"))
