"""Dates as lists write them: by stated formats, to the day, the month or the year."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo

from inventory.errors import OutOfRangeError

# Lists put 1900-01-01 and the like where no date is known.
EARLIEST_YEAR = 1901
MILLISECONDS_PER_SECOND = 1000
# Day 0 of the spreadsheet count of days (it counts a 29 February 1900 that never was).
SPREADSHEET_DAY_0 = date(1899, 12, 30)
COUNTED_FORMATS = ("epoch_ms", "epoch_s", "spreadsheet")

_DAY = re.compile(r"%[djcxu]|%D")
_MONTH = re.compile(r"%[mbB]")
_YEAR = re.compile(r"%[yYG]")
_DAY_FIRST = re.compile(r"%d\W*%m\W*%[yY]")
_MONTH_FIRST = re.compile(r"%m\W*%d\W*%[yY]")


@dataclass(frozen=True, slots=True)
class PartialDate:
    """A date and how much of it is known; what is not known is set to its first."""

    day: date
    precision: str  # "day", "month" or "year"

    def spans(self) -> tuple[date, date]:
        """
        Return the first and the last day the date can be.

        Examples
        --------
        >>> [day.isoformat() for day in PartialDate(date(2024, 2, 1), "month").spans()]
        ['2024-02-01', '2024-02-29']
        """
        if self.precision == "day":
            return self.day, self.day
        if self.precision == "year":
            return date(self.day.year, 1, 1), date(self.day.year, 12, 31)
        following = (self.day.replace(day=1) + timedelta(days=32)).replace(day=1)
        return self.day.replace(day=1), following - timedelta(days=1)


def check_formats(formats: Sequence[str]) -> list[str]:
    """
    Return what is wrong with a list of date formats, one sentence each.

    Examples
    --------
    >>> check_formats(["%m/%d/%Y", "%Y"])
    []
    >>> check_formats(["%d/%m/%Y", "%m/%d/%Y"])
    ["formats has '%d/%m/%Y' and '%m/%d/%Y'; 03/04/2020 would be either, so keep one."]
    """
    problems = []
    for each in formats:
        if each in COUNTED_FORMATS:
            continue
        if _YEAR.search(each) is None:
            problems.append(
                f"format '{each}' has no year; use codes such as %Y, %m, %d (for 03/31/2020: "
                f"%m/%d/%Y), or one of {', '.join(COUNTED_FORMATS)}."
            )
            continue
        sample = datetime(2021, 11, 23, 12, 34, 56, tzinfo=UTC)
        try:
            datetime.strptime(sample.strftime(each), each).replace(tzinfo=UTC)
        except ValueError as error:
            problems.append(f"format '{each}' cannot be read back: {error}.")
    days = [each for each in formats if _DAY_FIRST.search(each)]
    months = [each for each in formats if _MONTH_FIRST.search(each)]
    if days and months:
        problems.append(
            f"formats has '{days[0]}' and '{months[0]}'; 03/04/2020 would be either, "
            "so keep one."
        )
    return problems


def read_date(
    text: str, formats: Sequence[str], zone: tzinfo, latest: date | None = None
) -> PartialDate:
    """
    Return the date a text stands for by the first format that fits.

    Parameters
    ----------
    text : str
        As the list writes it.
    formats : sequence of str
        Codes of ``strptime``; ``epoch_ms`` and ``epoch_s`` (milliseconds and seconds since
        1970, universal time) and ``spreadsheet`` (days since 30 December 1899).
    zone : tzinfo
        The place whose calendar day a moment belongs to.
    latest : date, optional
        A date that begins after this day is refused.

    Raises
    ------
    OutOfRangeError
        If no format fits, or the date is before 1901 or after ``latest``.

    References
    ----------
    .. [1] ISO 8601-1:2019, reduced precision of calendar dates.

    Examples
    --------
    >>> read_date("07/2014", ["%m/%d/%Y", "%m/%Y"], UTC)
    PartialDate(day=datetime.date(2014, 7, 1), precision='month')
    >>> read_date("1556841600000", ["epoch_ms"], UTC).day.isoformat()
    '2019-05-03'
    """
    found = next(filter(None, (_by_format(text, each, zone) for each in formats)), None)
    if found is None:
        msg = f"'{text}' is no date in any of the formats {', '.join(formats)}."
        raise OutOfRangeError(msg)
    if found.day.year < EARLIEST_YEAR:
        msg = f"'{text}' is before {EARLIEST_YEAR}; lists write such a date when none is known."
        raise OutOfRangeError(msg)
    if latest is not None and found.spans()[0] > latest:
        msg = f"'{text}' lies after {latest:%Y-%m-%d}, the day of the import."
        raise OutOfRangeError(msg)
    return found


def _by_format(text: str, form: str, zone: tzinfo) -> PartialDate | None:
    if form in COUNTED_FORMATS:
        return _by_count(text, form, zone)
    try:
        moment = datetime.strptime(text, form)  # noqa: DTZ007 - a calendar day as written
    except ValueError:
        return None
    if moment.tzinfo is not None:
        moment = moment.astimezone(zone)
    if _DAY.search(form):
        return PartialDate(moment.date(), "day")
    return PartialDate(moment.date(), "month" if _MONTH.search(form) else "year")


def _by_count(text: str, form: str, zone: tzinfo) -> PartialDate | None:
    if re.fullmatch(r"-?\d+(\.\d+)?", text) is None:
        return None
    count = float(text)
    try:
        if form == "spreadsheet":
            return PartialDate(SPREADSHEET_DAY_0 + timedelta(days=int(count)), "day")
        seconds = count / (MILLISECONDS_PER_SECOND if form == "epoch_ms" else 1)
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)
        return PartialDate(moment.astimezone(zone).date(), "day")
    except OverflowError:
        return None
