"""Numbers and dates as people read them."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    pass

RA_DECIMALS = 2
RATIO_DECIMALS = 2
PROBABILITY_DECIMALS = 3
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
