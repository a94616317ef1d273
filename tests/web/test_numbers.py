"""Rounding never shows a value on the wrong side of its level."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.web.numbers import beside_level, fixed, partial_date, plain

values = st.decimals("0", "999", places=6, allow_nan=False, allow_infinity=False)
levels = st.decimals("0.5", "400", places=1, allow_nan=False, allow_infinity=False)


@given(values, levels)
def test_a_value_never_reads_as_its_level_unless_it_is_its_level(value, level):
    shown = beside_level(value, level, 1)
    if value == level:
        assert Decimal(shown) == level
    elif shown.startswith("just"):
        assert shown == f"just {'under' if value < level else 'over'} {plain(level)}"
    else:
        assert (Decimal(shown) < level) == (value < level)
        assert Decimal(shown) != level


def test_negative_numbers_carry_a_minus_sign_not_a_hyphen():
    assert fixed(-1.25, 1) == "−1.2"


def test_a_figure_is_shown_as_the_table_prints_it():
    assert [plain(Decimal(text)) for text in ("120.000", "2.50", "0.000")] == ["120", "2.5", "0"]


@pytest.mark.parametrize(
    ("precision", "shown"), [("day", "2015-05-03"), ("month", "2015-05"), ("year", "2015")]
)
def test_a_date_shows_no_more_than_is_known(precision, shown):
    from datetime import date

    assert partial_date(date(2015, 5, 3), precision) == shown
