"""Numbers and dates as people read them."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date

RA_DECIMALS = 2
RATIO_DECIMALS = 2
PROBABILITY_DECIMALS = 3
ESTIMATE_DIGITS = 3
MINUS = "−"


def fixed(value: Decimal | float, decimals: int) -> str:
    """
    Return a number with so many decimals and a true minus sign.

    Examples
    --------
    >>> fixed(Decimal("-2.345"), 2)
    '−2.34'
    """
    exact = value if isinstance(value, Decimal) else Decimal(repr(value))
    text = str(exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN))
    return text.replace("-", MINUS)


def plain(value: Decimal) -> str:
    """
    Return a printed figure as it is printed, without the zeros a database column adds.

    Examples
    --------
    >>> plain(Decimal("35.000")), plain(Decimal("2.50")), plain(Decimal("120"))
    ('35', '2.5', '120')
    """
    return f"{value.normalize():f}".replace("-", MINUS)


def probability_words(probability: float) -> str:
    """
    Return a probability to three decimals; none that could be otherwise is shown as 0 or 1.

    Examples
    --------
    >>> probability_words(0.98139), probability_words(0.99999), probability_words(1e-9)
    ('0.981', 'over 0.999', 'under 0.001')
    """
    least = 10.0**-PROBABILITY_DECIMALS
    if probability > 1 - least:
        return f"over {1 - least:.{PROBABILITY_DECIMALS}f}"
    if probability < least:
        return f"under {least:.{PROBABILITY_DECIMALS}f}"
    return f"{probability:.{PROBABILITY_DECIMALS}f}"


def estimate(value: float) -> str:
    """
    Return an estimate with three significant figures, thousands apart.

    Examples
    --------
    >>> estimate(214.36), estimate(8.4), estimate(12345.0), estimate(-0.0421), estimate(0.0)
    ('214', '8.40', '12,300', '−0.0421', '0')
    """
    if value == 0:
        return "0"
    digits = Decimal(f"{value:.{ESTIMATE_DIGITS - 1}e}")
    return f"{digits:,f}".replace("-", MINUS)


def percent_words(probability: float) -> str:
    """
    Return a probability in per cent; none that could be otherwise is shown as 0 or 100.

    Examples
    --------
    >>> percent_words(0.124), percent_words(0.9999), percent_words(0.001)
    ('12 %', 'over 99 %', 'under 1 %')
    """
    percent = 100 * probability
    if percent > 99:
        return "over 99 %"
    return "under 1 %" if percent < 1 else f"{percent:.0f} %"


def month_words(day: date) -> str:
    """
    Return a month as prose writes it: a due date is not known to the day.

    Examples
    --------
    >>> from datetime import date
    >>> month_words(date(2031, 5, 17))
    'May 2031'
    """
    return f"{day:%b %Y}"
