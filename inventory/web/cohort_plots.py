"""The drawings of a cohort: its readings with its line, and how long new signs last."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from inventory.web.cohort_words import life_range, share_words, years_words
from inventory.web.forecast_plots import Column, Level, Plot, Series
from inventory.web.numbers import estimate

if TYPE_CHECKING:
    from inventory.engineering.forecast.fit import CohortCurve
    from inventory.engineering.forecast.life import Life
    from inventory.services.forecast.cohort_pages import CohortView

AGE_COLUMN = Column("Age", "years")
MOST_LEVELS = 4  # drawn, the most usual; all are in the words
LEAST_OF_LEVEL = 0.05  # of the signs, for their level to be drawn
LEAST_TOP_PERCENT = 10.0  # so that next to nothing looks like next to nothing


def plot_of_fit(view: CohortView) -> Plot | None:
    """Return the readings against age with the cohort's line; ``None`` with neither."""
    curve, cloud = view.curve, view.cloud
    if curve is None and not cloud.ages_years:
        return None
    signs_with_level = sum(signs for _value, signs in view.levels)
    levels = [
        Level(f"level {value:g} of {signs:,} sign{'' if signs == 1 else 's'}", value)
        if signs
        else Level(f"usual level {value:g}", value)
        for value, signs in view.levels[:MOST_LEVELS]
        if signs >= LEAST_OF_LEVEL * signs_with_level
    ]
    readings = Series(
        "readings",
        "points",
        cloud.ra_cd_lx_m2,
        x=cloud.ages_years,
        role="other",
    )
    return Plot.make(
        id="cohort-plot",
        title="Readings against age",
        summary=_summary(view),
        note=_cloud_note(view),
        x_label="Age in years",
        y_label="R_A in cd/lx/m²",
        series=[
            *([readings] if cloud.ages_years else []),
            *(_curve_series(curve, view.line.fit.oldest_age_years) if curve else []),
        ],
        levels=levels,
        columns=[
            AGE_COLUMN,
            Column("Middle of the cohort", "cd/lx/m²"),
            Column("known to lie from", "cd/lx/m²"),
            Column("to", "cd/lx/m²"),
            Column("90 % of signs from", "cd/lx/m²"),
            Column("to", "cd/lx/m²"),
            Column("", is_number=False),
        ],
        rows=_rows(curve, view.line.fit.oldest_age_years) if curve else [],
    )


def plot_of_life(life: Life | None) -> Plot | None:
    """Return the share of new signs below the usual level by age; ``None`` without a level."""
    if life is None:
        return None
    ages = list(range(len(life.share_below)))
    cut = next((age for age in ages if age > life.oldest_age_years), len(ages))
    parts = [(0, cut, False), (max(cut - 1, 0), len(ages), True)]
    series = []
    for start, stop, is_dashed in parts:
        place = slice(start, stop)
        if stop - start > 1:
            beyond = ", older than any read" if is_dashed else ""
            series += [
                Series(
                    f"between which it lies with 95 %{beyond}",
                    "band",
                    low=[100 * each for each in life.low[place]],
                    high=[100 * each for each in life.high[place]],
                    x=ages[place],
                    role="cohort",
                    is_dashed=is_dashed,
                ),
                Series(
                    f"share below{beyond}",
                    "line",
                    [100 * each for each in life.share_below[place]],
                    x=ages[place],
                    role="cohort",
                    is_dashed=is_dashed,
                ),
            ]
    return Plot.make(
        id="life-plot",
        title="Life table",
        summary=(
            f"Half of new signs are below {life.level_cd_lx_m2:g} cd/lx/m² after "
            f"{years_words(life.median)} years, {life_range(life.median)}."
        ),
        x_label="Age in years",
        y_label=f"% of new signs below {life.level_cd_lx_m2:g} cd/lx/m²",
        y_top=LEAST_TOP_PERCENT,
        series=series,
        columns=[AGE_COLUMN, Column("Below the level"), Column("from"), Column("to")],
        rows=[
            (str(age), share_words(share), share_words(low), share_words(high))
            for age, share, low, high in zip(
                ages, life.share_below, life.low, life.high, strict=True
            )
        ],
        is_table_open=True,
    )


def _summary(view: CohortView) -> str:
    fit, curve = view.line.fit, view.curve
    words = f"{fit.visit_count:,} visits of {fit.sign_count:,} signs"
    if curve is None:
        return f"{words}."
    oldest = fit.oldest_age_years
    new, old = (float(np.interp(age, curve.ages_years, curve.median)) for age in (0.0, oldest))
    return (
        f"{words}. The middle of the cohort is at {estimate(new)} cd/lx/m² when new and at "
        f"{estimate(old)} at {oldest:.0f} years, the oldest age read."
    )


def _cloud_note(view: CohortView) -> str:
    cloud = view.cloud
    if not cloud.visit_count:
        return "The readings of an earlier fit are not drawn."
    notes = []
    if cloud.is_thinned:
        drawn, known = len(cloud.ages_years), cloud.known_age_count
        notes.append(f"An even draw of {drawn:,} of {known:,} visits is drawn.")
    unknown = cloud.visit_count - cloud.known_age_count
    if unknown:
        visits = "visit" if unknown == 1 else "visits"
        notes.append(f"{unknown:,} {visits} of signs of unknown age are not drawn.")
    return " ".join(notes)


def _curve_series(curve: CohortCurve, oldest_age_years: float) -> list[Series]:
    """Return the line with the band of its signs; dashed past the oldest age read."""
    cut = int(np.searchsorted(curve.ages_years, oldest_age_years, side="right"))
    last = len(curve.ages_years)
    series = []
    for start, stop, is_dashed in ((0, cut, False), (max(cut - 1, 0), last, True)):
        if stop - start > 1:
            place = slice(start, stop)
            ages = curve.ages_years[place].tolist()
            beyond = ", older than any read" if is_dashed else ""
            series += [
                Series(
                    f"90 % of signs{beyond}",
                    "band",
                    low=curve.signs_low[place].tolist(),
                    high=curve.signs_high[place].tolist(),
                    x=ages,
                    role="cohort",
                    is_dashed=is_dashed,
                ),
                Series(
                    f"middle of the cohort{beyond}",
                    "line",
                    curve.median[place].tolist(),
                    x=ages,
                    role="cohort",
                    is_dashed=is_dashed,
                ),
            ]
    return series


def _rows(curve: CohortCurve, oldest_age_years: float) -> list[tuple[str, ...]]:
    whole = [n for n, age in enumerate(curve.ages_years) if float(age).is_integer()]
    columns = (
        curve.median,
        curve.line_low,
        curve.line_high,
        curve.signs_low,
        curve.signs_high,
    )
    return [
        (
            f"{curve.ages_years[n]:.0f}",
            *(estimate(float(column[n])) for column in columns),
            "older than any read" if curve.ages_years[n] > oldest_age_years else "",
        )
        for n in whole
    ]
