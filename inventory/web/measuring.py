"""Which signs to read this season: the most wrong decisions taken away in the crew's hours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.engineering.forecast.measuring import CLASS_WEIGHTS, DecisionWeights
from inventory.engineering.forecast.reading_round import CrewTimes
from inventory.models import ForecastRun, Role, Standing
from inventory.services.forecast.measuring import MOST_SIGNS, SignToRead, signs_to_read
from inventory.services.sign_faces import local_types_of
from inventory.units import KILOMETRES_PER_MILE, MINUTES_PER_HOUR, miles_to_kilometres
from inventory.web.filters import standings_of
from inventory.web.form_fields import TypedForm, figure_field
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import ROWS_PER_PAGE, page_of

if TYPE_CHECKING:
    from django.http import HttpResponse

HOURS = 16
TIMES = CrewTimes()


@dataclass(frozen=True)
class Line:
    """A sign to read with how it stands, and its place in the round."""

    rank: int
    sign: SignToRead
    standing: Standing


class SeasonForm(TypedForm):
    """What a crew has and needs; all but the hours begin as assumptions."""

    hours = figure_field(
        "Crew hours",
        "hours",
        bounds=(0.25, 400),
        missing="Say how many hours the crew has to read signs, such as 16.",
    )
    sign_minutes = figure_field(
        "Minutes to read a sign",
        "minutes",
        bounds=(0.5, 120),
        missing="Say how long reading one sign takes, in minutes.",
    )
    stop_minutes = figure_field(
        "Minutes to set up at a stop",
        "minutes",
        bounds=(0, 240),
        missing="Say how long setting up at a stop takes, in minutes; 0 for none.",
    )
    speed_mph = figure_field(
        "Speed on the way [mph]",
        "miles an hour",
        bounds=(1, 80),
        missing="Say how fast the crew gets along between stops, in miles an hour.",
    )
    detour = figure_field(
        "Way by road ÷ straight line",
        "times the straight line",
        bounds=(1, 5),
        missing="Say how much longer the way by road is, such as 1.3.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number, weight in CLASS_WEIGHTS.items():
            self.fields[f"weight_{number}"] = figure_field(
                f"Class {number}",
                "times the least weight",
                bounds=(0.1, 1000),
                missing=f"Say what a wrong decision on a class {number} sign weighs, such as "
                f"{weight:g}.",
            )

    @property
    def weight_fields(self) -> list[Any]:
        """Return the fields of the weights, class by class."""
        return [self[f"weight_{number}"] for number in CLASS_WEIGHTS]

    @property
    def is_assumed(self) -> bool:
        """Return whether all but the hours is as it is assumed."""
        begun = self.assumed()
        return all(
            str(self.data.get(name)) == str(value)
            for name, value in begun.items()
            if name != "hours"
        )

    @classmethod
    def assumed(cls) -> dict[str, Any]:
        """Return what the form begins with."""
        return {
            "hours": HOURS,
            "sign_minutes": f"{TIMES.sign_minutes:g}",
            "stop_minutes": f"{TIMES.stop_minutes:g}",
            "speed_mph": f"{TIMES.speed_km_h / KILOMETRES_PER_MILE:.0f}",
            "detour": f"{TIMES.detour_factor:g}",
            **{f"weight_{number}": f"{weight:g}" for number, weight in CLASS_WEIGHTS.items()},
        }

    def times(self) -> CrewTimes:
        """Return what the crew needs."""
        typed = self.cleaned_data
        return CrewTimes(
            sign_minutes=typed["sign_minutes"],
            stop_minutes=typed["stop_minutes"],
            speed_km_h=miles_to_kilometres(typed["speed_mph"]),
            detour_factor=typed["detour"],
        )

    def weights(self) -> DecisionWeights:
        """Return what a wrong decision weighs by class."""
        return DecisionWeights(
            {number: self.cleaned_data[f"weight_{number}"] for number in CLASS_WEIGHTS}
        )


@require_safe
@role_required(Role.ENGINEER)
def to_measure(request: MemberRequest) -> HttpResponse:
    chosen, standings = standings_of(request.organisation, request.GET)
    given = request.GET.dict()
    form = SeasonForm({**SeasonForm.assumed(), **given})
    has_forecast = (
        ForecastRun.objects.owned_by(request.organisation)
        .filter(finished_at__isnull=False)
        .exists()
    )
    context: dict[str, Any] = {
        "form": form,
        "filter": chosen,
        "local_types": local_types_of(request.organisation),
        "has_forecast": has_forecast,
        "most_signs": MOST_SIGNS,
    }
    if not form.is_valid():
        return render(request, "inventory/forecast/to_measure.html", context, status=400)
    season = signs_to_read(
        organisation=request.organisation,
        standings=standings,
        crew_minutes=form.cleaned_data["hours"] * MINUTES_PER_HOUR,
        today=timezone.localdate(),
        times=form.times(),
        weights=form.weights(),
    )
    page = page_of(request, season.signs, ROWS_PER_PAGE)
    found = Standing.objects.owned_by(request.organisation).select_related("road")
    by_sign = {each.sign_id: each for each in found.filter(sign__in=[s.sign_id for s in page])}
    first = page.start_index()
    context |= {
        "season": season,
        "share": _share_words(season.share),
        "least_minutes": form.times().sign_minutes + form.times().stop_minutes,
        "hours": season.total_minutes / MINUTES_PER_HOUR,
        "travel_hours": season.travel_minutes / MINUTES_PER_HOUR,
        "page": page,
        "lines": [
            Line(first + at, each, by_sign[each.sign_id])
            for at, each in enumerate(page)
            if each.sign_id in by_sign
        ],
    }
    return render(request, "inventory/forecast/to_measure.html", context)


def _share_words(share: float) -> str:
    """Return a share as it is read: all of it only where nothing is left."""
    if share >= 1 - 1e-9:
        return "all"
    percent = min(round(100 * share), 99)
    words = f"{percent}" if percent else "less than 1"
    return f"{words}\N{NO-BREAK SPACE}%"
