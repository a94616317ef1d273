"""Dates as lists write them; what is not said stays unknown."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.errors import OutOfRangeError
from inventory.interchange.dates import PartialDate, check_formats, read_date

CHICAGO = ZoneInfo("America/Chicago")


@pytest.mark.parametrize(
    ("text", "day", "precision"),
    [
        ("07/04/2014", date(2014, 7, 4), "day"),
        ("7/4/2014", date(2014, 7, 4), "day"),
        ("07/2014", date(2014, 7, 1), "month"),
        ("2014", date(2014, 1, 1), "year"),
        ("Jul-14", date(2014, 7, 1), "month"),
        ("7/4/2014 12:00:00 AM", date(2014, 7, 4), "day"),
    ],
)
def test_a_date_is_as_exact_as_it_is_written(text, day, precision):
    formats = ["%m/%d/%Y", "%m/%Y", "%Y", "%b-%y", "%m/%d/%Y %I:%M:%S %p"]
    assert read_date(text, formats, UTC) == PartialDate(day, precision)


def test_a_counted_moment_falls_on_the_day_of_its_place():
    # 2019-05-03T03:00:00Z: still the evening of 2 May in Chicago (UTC-5 in summer).
    moment = int(datetime(2019, 5, 3, 3, tzinfo=UTC).timestamp() * 1000)
    assert read_date(str(moment), ["epoch_ms"], UTC).day == date(2019, 5, 3)
    assert read_date(str(moment), ["epoch_ms"], CHICAGO).day == date(2019, 5, 2)


def test_a_spreadsheet_counts_days_from_the_end_of_1899():
    # The documentation of common spreadsheets: 1 January 2008 is day 39448 (from memory).
    assert read_date("39448", ["spreadsheet"], UTC).day == date(2008, 1, 1)


@pytest.mark.parametrize("text", ["1/1/1900", "06/02/2026", "2014-07-04", "31/12/2014", "soon"])
def test_placeholders_days_to_come_and_other_forms_are_no_dates(text):
    with pytest.raises(OutOfRangeError) as caught:
        read_date(text, ["%m/%d/%Y"], UTC, latest=date(2026, 6, 1))
    assert text in str(caught.value)


def test_the_present_month_and_year_are_not_to_come():
    latest = date(2026, 6, 1)
    assert read_date("2026", ["%Y"], UTC, latest=latest).day == date(2026, 1, 1)
    assert read_date("06/2026", ["%m/%Y"], UTC, latest=latest).precision == "month"


def test_formats_that_cannot_be_told_apart_or_read_are_named():
    assert check_formats(["%m/%d/%Y", "%Y", "epoch_ms"]) == []
    assert "keep one" in check_formats(["%d.%m.%Y", "%m/%d/%Y"])[0]
    assert "no year" in check_formats(["MM/DD/YYYY"])[0]


@given(st.dates(min_value=date(1901, 1, 1), max_value=date(2150, 12, 31)))
def test_the_span_of_a_month_holds_each_of_its_days(day):
    first, last = PartialDate(day.replace(day=1), "month").spans()
    assert first <= day <= last
    assert first.month == last.month == day.month
    assert (last - first).days >= 27


def test_a_day_that_no_calendar_has_is_no_date_though_its_form_fits():
    # ISO 8601-1: February has 28 or 29 days.
    with pytest.raises(OutOfRangeError, match=r"is no date in any of the formats %d\.%m\.%Y\."):
        read_date("31.02.2020", ["%d.%m.%Y"], UTC)
