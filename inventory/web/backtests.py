"""How forecasts made on earlier days came out: the page of the back-test."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.shortcuts import render
from django.views.decorators.http import require_safe

from inventory.engineering.forecast.backtest import HORIZON_WORDS, Rival
from inventory.engineering.forecast.scores import TENTHS, exact_share
from inventory.models import BackTest, Role
from inventory.services.forecast.back_test_report import (
    LEAST_COVERAGE,
    MOST_COVERAGE,
    TAKEN,
    cohort_words,
    report_of,
)
from inventory.web.forecast_plots import Column, Level, Plot, Series
from inventory.web.forecast_plots import Role as SeriesRole
from inventory.web.membership import MemberRequest, role_required
from inventory.web.numbers import MINUS
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import HttpResponse

    from inventory.services.forecast.back_test_report import BackTestReport, Compared

COHORTS_PER_PAGE = 10
PERCENT = 100.0
# Where the stretches of time ahead stand on the drawing, and how far rivals are set apart.
MIDDLES_YEARS = (0.5, 1.5, 2.5, 4.0, 6.0)
APART_YEARS = 0.12
SHORT = {Rival.FORECAST: "Forecast", Rival.AGE_TABLE: "By age", Rival.OWN_LINE: "Own line"}
ROLES: dict[Rival, SeriesRole] = {
    Rival.FORECAST: "own",
    Rival.AGE_TABLE: "cohort",
    Rival.OWN_LINE: "other",
}


@require_safe
@role_required(Role.ENGINEER)
def back_test_page(request: MemberRequest) -> HttpResponse:
    tests = list(BackTest.objects.owned_by(request.organisation).defer("rows")[:2])
    under_way = tests[0] if tests and tests[0].finished_at is None else None
    # While one is made the one before is shown, and the new one where there is none before.
    shown = (tests[-1] if under_way else tests[0]) if tests else None
    report = report_of(shown) if shown else None
    page = page_of(request, report.cohorts if report else [], COHORTS_PER_PAGE)
    context = {
        "test": shown,
        "under_way": report_of(under_way) if under_way else None,
        "under_way_since": under_way.started_at if under_way else None,
        "report": report,
        "is_known_when_taken": report is not None and report.known_by == TAKEN,
        "page": page,
        "lines": [Line.of(each, cohort_words(each.name)) for each in page],
        "whole": Line.of(report.whole, "All cohorts") if report and report.whole else None,
        "next_ones": Line.of(report.next_ones, "") if report and report.next_ones else None,
        "unread": Line.of(report.unread, "") if report and report.unread else None,
        "days": [Line.of(each, each.name) for each in report.days] if report else [],
        "plots": _plots(report),
    }
    return render(request, "inventory/forecast/back_test.html", context)


@dataclass(frozen=True)
class Line:
    """One line of a table, as words."""

    name: str
    readings: str
    times: str
    inside: str
    inside_range: str
    bias: str
    scores: tuple[str, ...]
    below: str
    said_below: str
    briers: tuple[str, ...]
    is_outside: bool
    is_thin: bool

    @classmethod
    def of(cls, each: Compared, name: str) -> Line:
        """Return the line of one set of readings."""
        ours, share = each.ours, each.coverage
        tallies = [each.told.get(rival) for rival in Rival]
        return cls(
            name=name,
            readings=f"{each.readings:,}",
            times=f"{ours.count:,}",
            inside=_percent(share.share),
            inside_range=f"{_percent(share.low)} to {_percent(share.high)}",
            bias=f"{MINUS if ours.bias_rel < 0 else '+'}{_percent(abs(ours.bias_rel))}",
            scores=tuple(f"{t.crps_cd_lx_m2:.1f}" if t and t.count else "" for t in tallies),
            below=f"{ours.below:,}" if ours.judged else "",
            said_below=f"{ours.said_below_sum:,.0f}" if ours.judged else "",
            briers=tuple(f"{t.brier:.3f}" if t and t.judged else "" for t in tallies),
            is_outside=not each.is_covered,
            is_thin=each.is_thin,
        )


def _plots(report: BackTestReport | None) -> list[Plot]:
    if report is None or report.whole is None:
        return []
    plots = [_plot_of_horizons(report)]
    if report.whole.ours.judged:
        plots.append(_plot_of_chances(report.whole))
    return plots


def _plot_of_horizons(report: BackTestReport) -> Plot:
    """Return how many readings fell in the range, by how far ahead they were told."""
    places = {
        each.name: MIDDLES_YEARS[HORIZON_WORDS.index(each.name)] for each in report.horizons
    }
    series = []
    for number, rival in enumerate(Rival):
        with_it = [each for each in report.horizons if rival in each.told]
        shares = [each.told[rival].coverage for each in with_it]
        series.append(
            Series(
                rival.words,
                "errors",
                [each.share * PERCENT for each in shares],
                [each.low * PERCENT for each in shares],
                [each.high * PERCENT for each in shares],
                x=[places[each.name] + (number - 1) * APART_YEARS for each in with_it],
                role=ROLES[rival],
                is_hollow=rival is not Rival.FORECAST,
            )
        )
    columns = [Column("Told ahead", is_number=False), Column("Times told")]
    columns += [Column(SHORT[rival], "%") for rival in Rival]
    rows = [
        [
            each.name,
            f"{each.ours.count:,}",
            *(
                f"{each.told[rival].coverage.share * PERCENT:.1f}"
                if rival in each.told
                else None
                for rival in Rival
            ),
        ]
        for each in report.horizons
    ]
    return Plot.make(
        id="coverage",
        title="Readings within the 90 % range, by how far ahead they were told",
        summary=(
            "The share of later readings that fell within the 90 % range told beforehand, for "
            "the forecast and the two simpler ways. 85 to 95 % is as it should be."
        ),
        x_label="Years ahead",
        y_label="% of readings within the range",
        series=series,
        levels=[
            Level("85 %", LEAST_COVERAGE * PERCENT),
            Level("95 %", MOST_COVERAGE * PERCENT),
        ],
        columns=columns,
        rows=rows,
        is_from_zero=False,
        is_table_open=True,
    )


def _plot_of_chances(whole: Compared) -> Plot:
    """Return how often readings were below their level, by the chance told of it."""
    ours = whole.ours
    used = [place for place in range(TENTHS) if ours.said[place]]
    shares = [exact_share(ours.came[place], ours.said[place]) for place in used]
    rows = [
        [
            f"{place * 10} to {place * 10 + 10} %",
            f"{share.of:,}",
            f"{share.count:,}",
            f"{share.share * PERCENT:.0f}",
        ]
        for place, share in zip(used, shares, strict=True)
    ]
    return Plot.make(
        id="chances",
        title="Chance told of being below the level, and what came",
        summary=(
            "For readings told with each chance of being below the level, how many were. On "
            "the slanting line as many came as were told."
        ),
        x_label="Chance told of being below the level, %",
        y_label="% that were below",
        x_values=[0.0, PERCENT],
        series=[
            Series("as many as told", "line", [0.0, PERCENT], role="level", is_dashed=True),
            Series(
                "readings",
                "errors",
                [each.share * PERCENT for each in shares],
                [each.low * PERCENT for each in shares],
                [each.high * PERCENT for each in shares],
                x=[place * 10 + 5.0 for place in used],
                role="own",
            ),
        ],
        columns=[
            Column("Chance told", is_number=False),
            Column("Times told"),
            Column("Were below"),
            Column("Share", "%"),
        ],
        rows=rows,
        is_table_open=True,
    )


def _percent(share: float) -> str:
    return f"{share * PERCENT:.1f} %"
