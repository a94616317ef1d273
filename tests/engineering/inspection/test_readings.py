"""Typed values, and what several of them come down to."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.engineering.inspection.readings import (
    check_taken_at,
    decimal_words,
    looks_swapped,
    parse_reading,
    reduce_readings,
    to_thousandths,
)
from inventory.errors import OutOfRangeError
from tests.strategies import ra_values


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("0", "0"),
        ("-0", "0"),
        ("  12.5\t", "12.5"),
        ("+7", "7"),
        (".5", "0.5"),
        ("12.", "12"),
        ("007", "7"),
        ("2000", "2000"),
        ("2000.000", "2000.000"),
        ("1999.999", "1999.999"),
    ],
)
def test_what_is_a_reading(typed, value):
    assert parse_reading(typed) == Decimal(value)
    assert not parse_reading(typed).is_signed()


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("", "A reading is empty"),
        ("   ", "A reading is empty"),
        ("-1", "The reading -1 cd/lx/m² is negative"),
        ("-0.001", "is negative"),
        ("2000.001", "is over 2000"),
        ("99999999", "is over 2000"),
        ("12.3456", "more than 3 decimals"),
        ("12.3400", "more than 3 decimals"),
        ("12,5", "'12,5' is not a number"),
        ("1e2", "is not a number"),
        ("NaN", "is not a number"),
        ("Infinity", "is not a number"),
        ("1_000", "is not a number"),
        ("12 5", "is not a number"),
        ("٣٥", "is not a number"),
        ("--1", "is not a number"),
        (".", "is not a number"),
        ("bright", "is not a number"),
        ("1" * 500, "is not a number"),
    ],
)
def test_what_is_none_and_why(typed, sentence):
    with pytest.raises(OutOfRangeError, match=sentence) as refusal:
        parse_reading(typed)
    assert str(refusal.value).endswith(".")
    assert len(str(refusal.value)) < 250


@given(ra_values)
def test_a_value_written_out_is_read_back(value):
    assert parse_reading(format(value, "f")) == value


@given(st.lists(ra_values, min_size=1, max_size=40))
def test_the_mean_is_exact(values):
    reduced = reduce_readings(values)
    assert reduced.mean == sum(map(Fraction, values)) / len(values)
    assert reduced.is_few == (len(values) < 4)  # ASTM E1709: at least four (from memory)


def test_a_mean_that_binary_fractions_miss():
    # By hand: (0.1 + 0.2) / 2 = 0.15; in binary floating point 0.1 + 0.2 is over 0.3.
    assert 0.1 + 0.2 > 0.3
    assert reduce_readings([Decimal("0.1"), Decimal("0.2")]).mean == Fraction(15, 100)


def test_no_reading_and_too_many_decimals_are_refused():
    with pytest.raises(OutOfRangeError, match="no reading to average"):
        reduce_readings([])
    with pytest.raises(OutOfRangeError, match="more than 3 decimals"):
        to_thousandths(Decimal("0.0001"))


def test_a_time_still_to_come_is_refused_with_a_little_grace_for_the_devices_clock():
    now = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
    check_taken_at(now, now)
    check_taken_at(now + timedelta(minutes=10), now)
    with pytest.raises(OutOfRangeError, match="2026-06-01 12:11 UTC, which is still to come"):
        check_taken_at(now + timedelta(minutes=11), now)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (Fraction(35), "35"),
        (Fraction(0), "0"),
        (Fraction(57, 10), "5.7"),
        (Fraction(1, 1000), "0.001"),
        (Fraction(8, 3), "2.67"),
        (Fraction(1, 2000), "0.00"),
        (Fraction(2995, 1000) + Fraction(1, 9000), "3.00"),
    ],
)
def test_values_in_words(value, words):
    assert decimal_words(value) == words


def test_a_value_apart_from_its_level_never_reads_like_it():
    just_below = Fraction(3) - Fraction(1, 9000)
    assert decimal_words(just_below, apart_from=Fraction(3)) == "2.9999"
    assert decimal_words(just_below) == "3.00"


def test_white_under_red_looks_swapped():
    assert looks_swapped(Fraction(9), Fraction(10))
    assert not looks_swapped(Fraction(10), Fraction(10))
