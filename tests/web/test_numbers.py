"""Numbers and dates as people read them."""

from datetime import date
from decimal import Decimal

import pytest

from inventory.templatetags.inventory_tags import whole_days
from inventory.units import partial_date
from inventory.web.numbers import fixed, plain


def test_negative_numbers_carry_a_minus_sign_not_a_hyphen():
    assert fixed(-1.25, 1) == "−1.2"


def test_a_figure_is_shown_as_the_table_prints_it():
    stored = (Decimal("120.000"), Decimal("2.50"), Decimal("0.000"))
    assert [plain(value) for value in stored] == ["120", "2.5", "0"]


@pytest.mark.parametrize(
    ("precision", "shown"), [("day", "2015-05-03"), ("month", "2015-05"), ("year", "2015")]
)
def test_a_date_shows_no_more_than_is_known(precision, shown):
    assert partial_date(date(2015, 5, 3), precision) == shown


def test_a_day_within_words_stays_on_one_line_and_the_words_stay_words():
    shown = whole_days("leaning <b>, seen 2026-05-01")
    day = '<span class="nowrap">2026-05-01</span>'
    assert shown == f"<span>leaning &lt;b&gt;, seen {day}</span>"
