"""When the signs of an agency fall due, by the forecasts of its own readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import F
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_safe

from inventory.models import Organisation, Role
from inventory.services.forecast.back_test_report import back_test_warning
from inventory.services.forecast.due_outlook import CLASS_NUMBERS, YEARS_AHEAD, due_outlook
from inventory.services.sign_faces import local_types_of
from inventory.services.standing import policy_or_none
from inventory.web.filters import SAFETY_CLASSES, standings_of
from inventory.web.forecast_plots import Column, Plot, Series
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from django.http import HttpResponse

    from inventory.services.forecast.due_outlook import Expected, YearOfDue
    from inventory.web.forecast_plots import Role as PlotRole

FIRST_SHOWN_YEARS = 15
YEARS_OF_THE_LINE = 5
LEAST_SHOWN = 0.05
ROLE_OF_CLASS: dict[int, PlotRole] = {1: "first", 2: "second", 3: "third", 4: "other"}


@require_safe
@role_required(Role.ENGINEER)
def due_dates_page(request: MemberRequest) -> HttpResponse:
    now = timezone.now()
    today = timezone.localdate(now)
    outlook = due_outlook(organisation=request.organisation, today=today)
    shows_all = request.GET.get("years") == str(YEARS_AHEAD)
    years = outlook.years if shows_all else outlook.years[: FIRST_SHOWN_YEARS + 1]
    chosen, rows = standings_of(request.organisation, request.GET)
    rows = rows.select_related("road", "sign__forecast__fit").order_by(
        F("forecast_due_on").asc(nulls_last=True), "sign_id"
    )
    policy = policy_or_none(request.organisation, now)
    context = {
        "outlook": outlook,
        "plot": plot_of_years(years, today),
        "shows_all": shows_all,
        "years_ahead": YEARS_AHEAD,
        "soon_years": YEARS_OF_THE_LINE,
        "soon_count": count_words(outlook.expected_within(YEARS_OF_THE_LINE)),
        "below_now": count_words(outlook.expected_below_now),
        "lost": outlook.lost_a_year and count_words(outlook.lost_a_year.mean),
        "policy": policy,
        "warning": back_test_warning(request.organisation),
        "filter": chosen,
        "page": page_of(request, rows),
        "list_anchor": "#signs",
        "shops": Organisation.objects.filter(customers__agency=request.organisation).order_by(
            "name"
        ),
        "local_types": local_types_of(request.organisation),
    }
    return render(request, "inventory/forecast/due_dates.html", context)


def plot_of_years(years: Sequence[YearOfDue], today: date) -> Plot:
    """Return how many signs fall below in each year: bars by class, whiskers on the whole."""
    words = dict(SAFETY_CLASSES)
    has_age = any(each.by_age for each in years)
    return Plot.make(
        id="due-by-year",
        title="Signs expected to fall below their level, by year",
        summary=_summary(years),
        x_label="Year",
        x_kind="year",
        x_values=[each.year for each in years],
        y_label="signs",
        series=[
            *(
                Series(
                    f"class {words[number]}",
                    "bars",
                    [each.of_class[number].mean for each in years],
                    role=ROLE_OF_CLASS[number],
                )
                for number in CLASS_NUMBERS
            ),
            Series(
                "all classes, with the range that holds 90 %",
                "errors",
                [each.total.mean for each in years],
                [each.total.low for each in years],
                [each.total.high for each in years],
                role="own",
            ),
        ],
        columns=[
            Column("Year", is_number=False),
            Column("Signs"),
            Column("90 % range"),
            *(Column(f"Class {number}") for number in CLASS_NUMBERS),
            *([Column("By age or fade")] if has_age else []),
            Column("Due dates"),
        ],
        rows=[_row(each, today, has_age=has_age) for each in years],
        is_stacked=True,
        is_table_open=True,
    )


def _summary(years: Sequence[YearOfDue]) -> str:
    busiest = max(years, key=lambda each: each.total.mean)
    if busiest.total.mean < LEAST_SHOWN:
        return "No sign is expected to fall below its level in these years."
    return (
        f"How many signs are expected to fall below their level in each year, by safety class. "
        f"Most of them in {busiest.year}: {count_words(busiest.total.mean)}, "
        f"{range_words(busiest.total)} with 90 %."
    )


def _row(each: YearOfDue, today: date, *, has_age: bool) -> list[str]:
    address = f"{reverse('due-dates')}?due_year={each.year}#signs"
    year = f"rest of {each.year}" if each.year == today.year else str(each.year)
    dates = (
        format_html('<a href="{}">{}</a>', address, f"{each.due_dates:,}")
        if each.due_dates
        else "0"
    )
    return [
        year,
        count_words(each.total.mean),
        f"{each.total.low:,}–{each.total.high:,}",
        *(count_words(each.of_class[number].mean) for number in CLASS_NUMBERS),
        *([f"{each.by_age:,}"] if has_age else []),
        dates,
    ]


def range_words(expected: Expected) -> str:
    """Return the range of a count in words."""
    return f"between {expected.low:,} and {expected.high:,}"


def count_words(mean: float) -> str:
    """Return an expected number of signs: whole, and what rounds to none but is not, so."""
    if LEAST_SHOWN <= mean < 0.5:
        return "under 1"
    return f"{mean:,.0f}"
