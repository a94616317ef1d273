"""A row of each record of forecasting."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import (
    BackTest,
    CohortFit,
    ExpectedLife,
    ForecastRun,
    SignForecast,
)
from tests.factories import NOW, make_lot_finding

if TYPE_CHECKING:
    from inventory.models import Organisation, Sign


def fill_forecasts(agency: Organisation, shop: Organisation, sign: Sign) -> None:
    """Fit a cohort, forecast a sign by it, compare a lot and test back."""
    fit = CohortFit.objects.create(
        organisation=agency,
        key="XI/prismatic/white/sheeting/none/hand_held",
        sheeting_type="XI",
        optics="prismatic",
        color="white",
        colouring="sheeting",
        overlay="none",
        how="hand_held",
        method_version="forecast-3",
        fingerprint="0" * 64,
        fitted_at=NOW,
        newest_reading_on=NOW.date(),
        sign_count=60,
        visit_count=180,
        oldest_age_years=9.0,
        scale="log",
        shape="linear",
        parameters={},
        scores={},
    )
    SignForecast.objects.create(
        organisation=agency,
        sign=sign,
        made_at=NOW,
        as_of_on=NOW.date(),
        method_version="forecast-3",
        fingerprint="0" * 64,
        basis="cohort",
        fit=fit,
        sentence="Not within 30 years.",
        safety_class=1,
    )
    ExpectedLife.objects.create(
        organisation=agency,
        end="level",
        years=12.0,
        basis="county study",
        approved_by="the county engineer",
        effective_on=NOW.date(),
        recorded_at=NOW,
    )
    make_lot_finding(agency, maker=shop)
    BackTest.objects.create(
        organisation=agency, method_version="forecast-3", started_at=NOW, cut_offs=[]
    )
    ForecastRun.objects.create(organisation=agency, started_at=NOW, seen_at=NOW)
