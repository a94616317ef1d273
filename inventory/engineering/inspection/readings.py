"""Typed values to readings, and several readings to one exact mean.

Values are kept as whole thousandths of a cd/lx/m², so that sums and comparisons are exact
and a mean equal to a level meets it.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction

from inventory.errors import OutOfRangeError

MAXIMUM_RA_CD_LX_M2 = 2000
MAXIMUM_DECIMALS = 3
MAXIMUM_TYPED_LENGTH = 24
RECOMMENDED_READING_COUNT = 4  # ASTM E1709, four per colour (from memory, not checked)
THOUSANDTHS = 1000  # a one with MAXIMUM_DECIMALS noughts
MAXIMUM_CLOCK_AHEAD = timedelta(minutes=10)  # a phone's clock may run a little fast

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")


def parse_reading(typed: str) -> Decimal:
    """
    Return a typed value as the decimal it says.

    Parameters
    ----------
    typed : str
        A coefficient of retroreflection R_A in plain figures with a decimal point, 0 to 2000,
        at most three decimals; blanks around it do not matter. [cd/lx/m²]

    Returns
    -------
    Decimal
        The value with the decimals that were typed. [cd/lx/m²]

    Raises
    ------
    OutOfRangeError
        If the text is not a number, is negative, has more than three decimals, or is over
        2000, which no sign sheeting reaches (common practice, no source).

    Examples
    --------
    >>> parse_reading(" 35.0 ")
    Decimal('35.0')
    >>> parse_reading("35,0")
    Traceback (most recent call last):
    ...
    inventory.errors.OutOfRangeError: '35,0' is not a number; write the reading in figures
    with a decimal point, such as 35.0.
    """
    text = typed.strip()
    if not text:
        msg = "A reading is empty; type the value the instrument showed, or leave it out."
        raise OutOfRangeError(msg)
    if _NUMBER.fullmatch(text) is None or len(text) > MAXIMUM_TYPED_LENGTH:
        shown = text if len(text) <= MAXIMUM_TYPED_LENGTH else text[:MAXIMUM_TYPED_LENGTH] + "…"
        msg = (
            f"'{shown}' is not a number; write the reading in figures with a decimal point, "
            "such as 35.0."
        )
        raise OutOfRangeError(msg)
    if len(text.partition(".")[2]) > MAXIMUM_DECIMALS:
        msg = (
            f"The reading {text} cd/lx/m² has more than {MAXIMUM_DECIMALS} decimals; type it "
            "as the instrument showed it."
        )
        raise OutOfRangeError(msg)
    value = Decimal(text)
    if value.is_signed() and value != 0:
        msg = (
            f"The reading {text} cd/lx/m² is negative; a face cannot return less than no light "
            "(0). Zero the instrument and read again."
        )
        raise OutOfRangeError(msg)
    if value > MAXIMUM_RA_CD_LX_M2:
        msg = (
            f"The reading {text} cd/lx/m² is over {MAXIMUM_RA_CD_LX_M2}, more than any sign "
            "sheeting returns; check the decimal point and the instrument's range."
        )
        raise OutOfRangeError(msg)
    return abs(value)


def to_thousandths(value: Decimal) -> int:
    """
    Return a decimal of at most three places as a whole number of thousandths.

    Raises
    ------
    OutOfRangeError
        If the value has more than three decimals.

    Examples
    --------
    >>> to_thousandths(Decimal("35.0"))
    35000
    """
    scaled = value * THOUSANDTHS
    whole = int(scaled)
    if whole != scaled:
        msg = f"The value {value} has more than {MAXIMUM_DECIMALS} decimals; round it first."
        raise OutOfRangeError(msg)
    return whole


@dataclass(frozen=True, slots=True)
class ReducedReadings:
    """The readings of one colour as the exact sum and number they come down to."""

    total_thousandths: int
    count: int

    @property
    def mean(self) -> Fraction:
        """Return the exact mean in cd/lx/m²."""
        return Fraction(self.total_thousandths, self.count * THOUSANDTHS)

    @property
    def is_few(self) -> bool:
        """Return whether there are fewer values than the four usually taken."""
        return self.count < RECOMMENDED_READING_COUNT


def reduce_readings(values: Iterable[Decimal]) -> ReducedReadings:
    """
    Return the exact sum and number of the readings of one colour.

    Parameters
    ----------
    values : iterable of Decimal
        One or more readings, each of at most three decimals. [cd/lx/m²]

    Raises
    ------
    OutOfRangeError
        If there is no value, or one has more than three decimals.

    References
    ----------
    .. [1] FHWA, Maintaining Traffic Sign Retroreflectivity: the average of the readings is
       what is compared with the level (published summaries; see docs/methods/inspection.md).

    Examples
    --------
    >>> reduce_readings([Decimal("34.9"), Decimal("35.1"), Decimal("35")]).mean
    Fraction(35, 1)
    """
    scaled = [to_thousandths(value) for value in values]
    if not scaled:
        msg = "There is no reading to average; type at least one value for the colour."
        raise OutOfRangeError(msg)
    return ReducedReadings(sum(scaled), len(scaled))


def check_taken_at(taken_at: datetime, now: datetime, what: str = "inspection") -> None:
    """
    Refuse a time that has not come yet.

    Parameters
    ----------
    taken_at, now : datetime
        Aware times; ten minutes ahead are let pass, since a phone's clock may run fast.
    what : str
        What is dated so, for the sentence.

    Raises
    ------
    OutOfRangeError
        If the time is in the future.
    """
    if taken_at > now + MAXIMUM_CLOCK_AHEAD:
        msg = (
            f"The {what} is dated {taken_at:%Y-%m-%d %H:%M %Z}, which is still to come (it "
            f"is {now:%Y-%m-%d %H:%M %Z}); check the date and the device's clock."
        )
        raise OutOfRangeError(msg)


def looks_swapped(legend_mean: Fraction, background_mean: Fraction) -> bool:
    """
    Return whether the two colours of a white-on-red sign seem to have changed places.

    White sheeting returns several times the light of red; a white that reads below the red
    beside it is more often a slip than a face (common practice, no source).

    Examples
    --------
    >>> looks_swapped(Fraction(12), Fraction(60))
    True
    """
    return legend_mean < background_mean


def decimal_words(value: Fraction, places: int = 2, apart_from: Fraction | None = None) -> str:
    """
    Return an exact value in figures: as it is where it has few places, else rounded.

    Parameters
    ----------
    value : Fraction
        Zero or more.
    places : int
        Places to which a value of more than three is rounded, half up.
    apart_from : Fraction, optional
        A level the value differs from: as many places are written as show the difference.

    Examples
    --------
    >>> decimal_words(Fraction(35)), decimal_words(Fraction(8, 3))
    ('35', '2.67')
    >>> decimal_words(Fraction(34_999_75, 100_000), apart_from=Fraction(35))
    '34.9998'
    """
    numerator, denominator = value.numerator, value.denominator
    thousandths, left_over = divmod(numerator * THOUSANDTHS, denominator)
    if not left_over:
        whole, rest = divmod(thousandths, THOUSANDTHS)
        return f"{whole}.{rest:03d}".rstrip("0").rstrip(".")
    scale = 10**places
    rounded = (2 * numerator * scale + denominator) // (2 * denominator)
    if (
        apart_from is not None
        and value != apart_from
        and Fraction(rounded, scale) == apart_from
    ):
        return decimal_words(value, places + 1, apart_from)
    whole, rest = divmod(rounded, scale)
    return f"{whole}.{rest:0{places}d}"
