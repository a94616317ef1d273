"""Faces lost to damage, knock-down and theft: rates by class and road, and the share left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.engineering.forecast.hazard import share_left_of, yearly_share
from inventory.engineering.standards.loss_rates import published_losses
from inventory.models import Role
from inventory.services.forecast.losses import stored_or_reckoned
from inventory.web.filters import SAFETY_CLASSES
from inventory.web.forecast_plots import Column, Plot, Series
from inventory.web.membership import MemberRequest, role_required

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.http import HttpResponse

    from inventory.engineering.standards.loss_rates import PublishedLoss
    from inventory.services.forecast.losses import ClassLosses, Losses

COMPARED_ROW = "nc-field-study/damaged"
FEW_LOST = 5
WHOLE_FROM = 10  # expected numbers from here on are told whole


@dataclass(frozen=True)
class LossLine:
    """A row of the table of rates."""

    row: ClassLosses

    @property
    def class_words(self) -> str:
        if self.row.safety_class is None:
            return "all classes"
        return dict(SAFETY_CLASSES)[self.row.safety_class]

    @property
    def rate(self) -> str:
        each = self.row.rate.per_year
        return "" if each is None else share_words(yearly_share(each))

    @property
    def bounds(self) -> str:
        low, high = self.row.rate.low_per_year, self.row.rate.high_per_year
        if low is None or high is None:
            return ""
        return f"{share_words(yearly_share(low))} to {share_words(yearly_share(high))}"

    @property
    def expected(self) -> str:
        return self._expected[0]

    @property
    def expected_low(self) -> str:
        return self._expected[1]

    @property
    def expected_high(self) -> str:
        return self._expected[2]

    @property
    def _expected(self) -> list[str]:
        """Return how many may be lost a year with the bounds, all with as many decimals."""
        found = self.row.expected_a_year()
        if found is None:
            return [""] * 3
        decimals = 0 if found[0] >= WHOLE_FROM else 1
        return [f"{each:,.{decimals}f}" for each in found]

    @property
    def sign_years(self) -> str:
        return f"{self.row.rate.sign_years:,.0f}"


def share_words(share: float) -> str:
    """Return a share as a percentage without its sign: the unit stands in the column's head."""
    return f"{share * 100:.2f}"


@require_safe
@role_required(Role.ENGINEER)
def losses_page(request: MemberRequest) -> HttpResponse:
    losses = stored_or_reckoned(organisation=request.organisation, now=timezone.now())
    compared = next(row for row in published_losses() if row.row_id == COMPARED_ROW)
    context: dict[str, Any] = {
        "losses": losses,
        "published": [(row, share_words(row.yearly_share)) for row in published_losses()],
        "few_lost": FEW_LOST,
    }
    if losses is not None:
        rows = losses.rows
        context |= {
            "total": LossLine(losses.total),
            "by_class": [LossLine(each) for each in rows if each.road_class is None],
            "by_road": [
                LossLine(each)
                for each in rows
                if each.safety_class is None and each.road_class is not None
            ],
            "by_both": [
                LossLine(each)
                for each in rows
                if each.safety_class is not None and each.road_class is not None
            ],
            "plot": _plot(losses, compared) if losses.years else None,
        }
    return render(request, "inventory/forecast/losses.html", context)


def _plot(losses: Losses, compared: PublishedLoss) -> Plot:
    """Return the share left by age: the fleet's own beside a constant and a published rate."""
    ages = losses.curve_ages_years
    start = ages[0] if ages else 0.0
    own = losses.total.rate
    series = [
        Series("95 % bounds", "band", (), losses.curve_low, losses.curve_high, role="own"),
        Series("your signs, as they were lost", "step", losses.curve_left, role="own"),
    ]
    if own.per_year is not None:
        constant = [own.share_left(age - start) for age in ages]
        series.append(Series("the same every year", "line", constant, role="cohort"))
    series.append(
        Series(
            f"{compared.study}: {share_words(compared.yearly_share)} % a year",
            "line",
            [share_left_of(compared.yearly_share, age - start) for age in ages],
            role="other",
            is_dashed=True,
        )
    )
    last = losses.years[-1]
    return Plot.make(
        id="share-left",
        title="Share not yet lost, by age",
        summary=(
            f"Of faces that nothing else took down, {last.share_left * 100:.1f} % are left at "
            f"{last.age_years} years, between {last.low * 100:.1f} and {last.high * 100:.1f} %."
        ),
        note=f"From {start:g} years of age on." if start else "",
        x_label="Age in years",
        x_values=ages,
        y_label="share left, %",
        series=[_percent(each) for each in series],
        columns=[
            Column("Age", "years"),
            Column("Watched"),
            Column("Lost in the year"),
            Column("Left", "%"),
            Column("Between (95 %)", "%"),
            Column("At the published rate", "%"),
        ],
        rows=[
            (
                str(year.age_years),
                f"{year.at_risk:,}",
                f"{year.lost:,}",
                f"{year.share_left * 100:.1f}",
                f"{year.low * 100:.1f} to {year.high * 100:.1f}",
                f"{share_left_of(compared.yearly_share, year.age_years - start) * 100:.1f}"
                if year.age_years >= start
                else None,
            )
            for year in losses.years
        ],
        is_from_zero=False,
    )


def _percent(series: Series) -> Series:
    def times(values: Sequence[float | None]) -> list[float | None]:
        return [None if each is None else each * 100 for each in values]

    return Series(
        series.label,
        series.kind,
        times(series.values),
        times(series.low),
        times(series.high),
        role=series.role,
        is_dashed=series.is_dashed,
    )
